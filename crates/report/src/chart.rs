//! From a record to its timing plot: what is drawn, in which unit, against which limits.

use edges::{Direction, Edge, Train};
use score::limits::{LimitSet, Range};
use score::{COVERAGE_FACTOR, Digit, Pulse, Settings, Value, Verdict};

use crate::figure::{clock_joined, with_uncertainty};
use crate::plot::sheet::{
    Badge, Figure, Marker, Mean, Point, Series, SeriesInk, Sheet, Strip, Tone,
};
use crate::plot::{self, PlotError, Theme};
use crate::record::Measured;
use crate::words::verdict_words;

/// The timing plot of a recording as an SVG document.
///
/// Shows the trace with every break and make marked and numbered, off-normal steps and chatter, and below
/// it pulsing speed and percent break pulse by pulse with limits and uncertainty. Limits in milliseconds,
/// as a ratio or as a period are drawn in their own unit, never converted.
///
/// # Errors
/// When the drawing library refuses.
pub fn timing_plot(
    input: &str,
    measured: &Measured,
    settings: &Settings,
    theme: Theme,
) -> Result<String, PlotError> {
    plot::draw(&sheet(input, measured, settings), theme)
}

/// The whole recording at a glance, its digits boxed and named, as an SVG document.
///
/// # Errors
/// When the drawing library refuses.
pub fn overview_plot(
    input: &str,
    measured: &Measured,
    settings: &Settings,
    theme: Theme,
) -> Result<String, PlotError> {
    plot::overview(&sheet(input, measured, settings), theme)
}

fn sheet<'a>(input: &str, measured: &'a Measured, settings: &Settings) -> Sheet<'a> {
    let digits = &measured.scored.digits;
    Sheet {
        title: format!(
            "{input}, channel {} of {}, {} Hz, {}",
            measured.channel,
            measured.facts.channels,
            measured.facts.sample_rate_hz,
            measured.facts.encoding
        ),
        badge: badge(measured, settings),
        headline: headline(digits, settings),
        notes: notes(measured, settings),
        overview: &measured.trace.overview,
        duration_s: measured.duration_s(),
        strips: digits
            .iter()
            .map(|digit| strip(digit, &measured.trace.trains, settings))
            .collect(),
        figures: if digits.is_empty() {
            Vec::new()
        } else {
            figures(measured, settings)
        },
    }
}

pub(crate) fn tone(verdict: Verdict) -> Tone {
    match verdict {
        Verdict::Pass => Tone::Pass,
        Verdict::ConditionalPass => Tone::ConditionalPass,
        Verdict::ConditionalFail => Tone::ConditionalFail,
        Verdict::Fail => Tone::Fail,
        Verdict::NotJudged => Tone::Undecided,
    }
}

fn badge(measured: &Measured, settings: &Settings) -> Badge {
    let verdict = measured.scored.verdict;
    let measured_only = verdict == Verdict::NotJudged
        && settings.limits.is_none()
        && !measured.scored.digits.is_empty();
    let word = if measured_only {
        "measured"
    } else {
        verdict_words(verdict)
    };
    Badge {
        word: word.to_owned(),
        tone: tone(verdict),
    }
}

fn headline(digits: &[Digit], settings: &Settings) -> String {
    let name = |digit: &Digit| digit.digit.clone().unwrap_or_else(|| "?".to_owned());
    match digits {
        [] => "no dialling found".to_owned(),
        [digit] => {
            let speed = digit.speed_pps.map(|v| {
                format!(
                    "{} pps",
                    with_uncertainty(v.value, clock_joined(v, settings.clock_ppm))
                )
            });
            let share = digit
                .percent_break_as_read(settings)
                .map(|v| format!("{} % break", with_uncertainty(v.value, v.u95)));
            let parts = [Some(format!("digit {}", name(digit))), speed, share];
            parts
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join("  ·  ")
        }
        digits => {
            let names: Vec<String> = digits.iter().map(name).collect();
            format!("{} digits:  {}", digits.len(), names.join(" "))
        }
    }
}

fn notes(measured: &Measured, settings: &Settings) -> Vec<String> {
    let limits = match &settings.limits {
        Some(set) => {
            let use_of = if set.set_to_only {
                "; tells what to set a dial to"
            } else {
                ""
            };
            format!(
                "limits {}, grade {}{use_of}: {}, {}, {}",
                set.name,
                set.grade.name(),
                set.document,
                set.clause,
                set.year
            )
        }
        None => "no limits were chosen: nothing is judged".to_owned(),
    };
    let verified = if crate::UNCERTAINTY_VERIFIED {
        ""
    } else {
        "; uncertainty not yet verified"
    };
    let uncertainty = format!(
        "± is the 95 % uncertainty, a recorder clock good to {} ppm included{verified}",
        settings.clock_ppm
    );
    let doubts = measured
        .scored
        .digits
        .iter()
        .enumerate()
        .filter_map(|(index, digit)| {
            digit.doubt.as_ref().map(|doubt| {
                format!(
                    "the {} is not sure: {doubt}",
                    score::nth_digit(index, digit.digit.as_deref())
                )
            })
        });
    [limits, uncertainty]
        .into_iter()
        .chain(doubts.take(4))
        .collect()
}

/// Trains that reach into the digit.
fn trains_of<'a>(digit: &Digit, trains: &'a [Train]) -> Vec<&'a Train> {
    let reaches = |train: &&Train| match (train.edges.first(), train.edges.last()) {
        (Some(first), Some(last)) => {
            first.instant_s <= digit.end_s && last.instant_s >= digit.start_s
        }
        _ => false,
    };
    trains.iter().filter(reaches).collect()
}

/// Instants of the off-normal steps whose times the report gives: winding before the digit, return after its first opening.
fn off_normal(digit: &Digit) -> impl Iterator<Item = f64> {
    let from_start_ms = [digit.winding_ms.map(|ms| -ms), digit.return_ms];
    let start_s = digit.start_s;
    from_start_ms
        .into_iter()
        .flatten()
        .map(move |ms| start_s + 0.001 * ms)
}

fn strip<'a>(digit: &Digit, trains: &'a [Train], settings: &Settings) -> Strip<'a> {
    let trains = trains_of(digit, trains);
    let judged = settings.limits.is_some() || digit.verdict != Verdict::NotJudged;
    let reversals = trains
        .iter()
        .flat_map(|train| &train.reversals)
        .map(|reversal| reversal.start_s);
    Strip {
        breaks: digit
            .pulses_detail
            .iter()
            .map(|pulse| (pulse.break_start_s, pulse.make_start_s))
            .collect(),
        chatter: reversals
            .filter(|at| (digit.start_s..digit.end_s + 0.05).contains(at))
            .collect(),
        steps: off_normal(digit).collect(),
        envelopes: trains.iter().map(|train| &train.envelope).collect(),
        label: digit.digit.clone().unwrap_or_else(|| "?".to_owned()),
        tone: judged.then(|| tone(digit.verdict)),
    }
}

/// The panels below the trace: speed or period, then percent break, ratio or milliseconds, by what the
/// chosen set limits.
fn figures(measured: &Measured, settings: &Settings) -> Vec<Figure> {
    let set = settings.limits.as_ref();
    let panels = Panels { measured, settings };
    let mut figures = vec![match set.and_then(|set| set.period_ms.as_ref()) {
        Some(range) => panels.period(range),
        None => panels.speed(set.and_then(|set| set.pps.clone())),
    }];
    let ratio = set.and_then(|set| set.break_make_ratio.as_ref());
    let milliseconds = set.filter(|set| set.break_ms.is_some() || set.make_ms.is_some());
    let percent = set
        .and_then(|set| set.percent.as_ref())
        .map(|percent| percent.percent_break());
    figures.extend(ratio.map(|range| panels.ratio(range)));
    figures.extend(milliseconds.map(|set| panels.milliseconds(set)));
    if percent.is_some() || figures.len() == 1 {
        figures.push(panels.percent(percent));
    }
    figures
}

struct Panels<'a> {
    measured: &'a Measured,
    settings: &'a Settings,
}

/// A pulse with the make after it, and what its edges allow.
struct Cycle<'a> {
    pulse: &'a Pulse,
    make_ms: f64,
    spread: Option<Spread>,
}

/// Standard uncertainties of one pulse, in seconds squared.
struct Spread {
    opening: f64,
    closing: f64,
    reopening: f64,
    common: f64,
}

impl Cycle<'_> {
    fn period_ms(&self) -> f64 {
        self.pulse.break_ms + self.make_ms
    }

    fn middle_s(&self) -> f64 {
        self.pulse.break_start_s + self.period_ms() / 2e3
    }

    /// Uncertainty (95 %) of the period, in milliseconds: both ends are openings, so what openings share
    /// cancels.
    fn period_u95_ms(&self) -> Option<f64> {
        let spread = self.spread.as_ref()?;
        Some(COVERAGE_FACTOR * 1e3 * (spread.opening + spread.reopening).sqrt())
    }

    /// Uncertainty (95 %) of percent break, by JCGM 100:2008 clause 5.1.2 on
    /// p = 100 (closing − opening) / (reopening − opening).
    fn percent_u95(&self) -> Option<f64> {
        let spread = self.spread.as_ref()?;
        let period_s = self.period_ms() / 1e3;
        let (break_part, make_part) = (
            self.pulse.break_ms / self.period_ms(),
            self.make_ms / self.period_ms(),
        );
        let variance = spread.closing
            + spread.common
            + make_part.powi(2) * spread.opening
            + break_part.powi(2) * spread.reopening;
        Some(COVERAGE_FACTOR * 100.0 / period_s * variance.sqrt())
    }
}

/// The opening or closing of `trains` at an instant that a pulse names.
fn edge_at<'a>(
    trains: &[&'a Train],
    direction: Direction,
    instant_s: f64,
) -> Option<(&'a Train, &'a Edge)> {
    const SAME_S: f64 = 1e-6;
    trains.iter().find_map(|train| {
        let edge = train
            .edges
            .iter()
            .find(|e| e.direction == direction && (e.instant_s - instant_s).abs() < SAME_S)?;
        Some((*train, edge))
    })
}

fn spread(trains: &[&Train], pulse: &Pulse, next: &Pulse) -> Option<Spread> {
    let (train, opening) = edge_at(trains, Direction::Opening, pulse.break_start_s)?;
    let (_, closing) = edge_at(trains, Direction::Closing, pulse.make_start_s)?;
    let (_, reopening) = edge_at(trains, Direction::Opening, next.break_start_s)?;
    Some(Spread {
        opening: opening.variance_s2,
        closing: closing.variance_s2,
        reopening: reopening.variance_s2,
        common: train.opening_common_s2 + train.closing_common_s2,
    })
}

impl<'a> Panels<'a> {
    fn digits(&self) -> &'a [Digit] {
        &self.measured.scored.digits
    }

    fn cycles(&self, digit: &'a Digit) -> Vec<Cycle<'a>> {
        let trains = trains_of(digit, &self.measured.trace.trains);
        let pairs = digit.pulses_detail.windows(2);
        pairs
            .filter_map(|pair| {
                Some(Cycle {
                    pulse: &pair[0],
                    make_ms: pair[0].make_ms?,
                    spread: spread(&trains, &pair[0], &pair[1]),
                })
            })
            .collect()
    }

    /// One point a pulse: its value and uncertainty from `of`.
    fn points(&self, of: impl Fn(&Cycle<'_>) -> (f64, Option<f64>)) -> Vec<Vec<Point>> {
        let point = |cycle: Cycle<'_>| {
            let (value, u95) = of(&cycle);
            Point {
                time_s: cycle.middle_s(),
                value,
                u95,
            }
        };
        self.digits()
            .iter()
            .map(|digit| self.cycles(digit).into_iter().map(point).collect())
            .collect()
    }

    /// The mean of each digit by `of`, labelled with `unit`; `clock` joins the recorder's clock.
    fn means(
        &self,
        of: impl Fn(&Digit) -> Option<Value>,
        unit: &str,
        clock: bool,
    ) -> Vec<Option<Mean>> {
        let mean = |value: Value| {
            let u95 = if clock {
                clock_joined(value, self.settings.clock_ppm)
            } else {
                value.u95
            };
            // Several digits leave no room for the unit, which stands in the name of the panel.
            let unit = if self.digits().len() == 1 { unit } else { "" };
            let label = format!("{} {unit}", with_uncertainty(value.value, u95));
            Mean {
                value: value.value,
                label: label.trim_end().to_owned(),
            }
        };
        self.digits()
            .iter()
            .map(|digit| of(digit).map(mean))
            .collect()
    }

    fn speed(&self, range: Option<Range>) -> Figure {
        let points = self.points(|cycle| {
            let pps = 1e3 / cycle.period_ms();
            (
                pps,
                cycle
                    .period_u95_ms()
                    .map(|u95| pps * u95 / cycle.period_ms()),
            )
        });
        let means = self.means(|digit| digit.speed_pps, "pps", true);
        single(
            "Pulsing speed of each period",
            "pps",
            0.4,
            series(SeriesInk::Speed, points, means, range),
        )
    }

    fn period(&self, range: &Range) -> Figure {
        let points = self.points(|cycle| (cycle.period_ms(), cycle.period_u95_ms()));
        let means = self.means(|digit| digit.period_ms, "ms", true);
        single(
            "Period of each pulse",
            "ms",
            4.0,
            series(SeriesInk::Speed, points, means, Some(range.clone())),
        )
    }

    fn percent(&self, range: Option<Range>) -> Figure {
        let percent = |cycle: &Cycle<'_>| 100.0 * cycle.pulse.break_ms / cycle.period_ms();
        let points = self.points(|cycle| (percent(cycle), cycle.percent_u95()));
        let means = self.means(
            |digit| digit.percent_break_as_read(self.settings),
            "%",
            false,
        );
        single(
            "Percent break of each pulse",
            "%",
            3.0,
            series(SeriesInk::Share, points, means, range),
        )
    }

    fn ratio(&self, range: &Range) -> Figure {
        let points = self.points(|cycle| {
            let make_part = cycle.make_ms / cycle.period_ms();
            (
                cycle.pulse.break_ms / cycle.make_ms,
                cycle
                    .percent_u95()
                    .map(|u95| u95 / 100.0 / make_part.powi(2)),
            )
        });
        let means = self.means(|digit| digit.break_make_ratio, "", false);
        single(
            "Break/make ratio of each pulse",
            "break : make",
            0.2,
            series(SeriesInk::Share, points, means, Some(range.clone())),
        )
    }

    /// Breaks and makes in milliseconds, every one of them under its own limits.
    fn milliseconds(&self, set: &LimitSet) -> Figure {
        let at = |start_s: f64, ms: f64, u95: Option<f64>| Point {
            time_s: start_s + ms / 2e3,
            value: ms,
            u95,
        };
        let breaks = |digit: &Digit| -> Vec<Point> {
            digit
                .pulses_detail
                .iter()
                .map(|p| at(p.break_start_s, p.break_ms, Some(p.break_u95_ms)))
                .collect()
        };
        let makes = |digit: &Digit| -> Vec<Point> {
            digit
                .pulses_detail
                .iter()
                .filter_map(|p| Some(at(p.make_start_s, p.make_ms?, p.make_u95_ms)))
                .collect()
        };
        let none = vec![None; self.digits().len()];
        let breaks = self.digits().iter().map(breaks).collect();
        let makes = self.digits().iter().map(makes).collect();
        Figure {
            name: "Break and make",
            unit: "ms",
            least_span: 4.0,
            series: vec![
                Series {
                    name: "break",
                    ..series(SeriesInk::Speed, breaks, none.clone(), set.break_ms.clone())
                },
                Series {
                    name: "make",
                    ..series(SeriesInk::Share, makes, none, set.make_ms.clone())
                },
            ],
        }
    }
}

fn series(
    ink: SeriesInk,
    points: Vec<Vec<Point>>,
    means: Vec<Option<Mean>>,
    range: Option<Range>,
) -> Series {
    let marker = if ink == SeriesInk::Speed {
        Marker::Disc
    } else {
        Marker::Square
    };
    let (lower, upper) = range.map_or((None, None), |range| (range.lower, range.upper));
    Series {
        name: "",
        marker,
        ink,
        points,
        means,
        lower,
        upper,
    }
}

fn single(name: &'static str, unit: &'static str, least_span: f64, series: Series) -> Figure {
    Figure {
        name,
        unit,
        series: vec![series],
        least_span,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{EDGE_S, by, digit, record};

    fn measured(settings: &Settings) -> Measured {
        let record = record(vec![digit(1.0, 4)], false, settings);
        *record.outcome.unwrap()
    }

    #[test]
    fn bars_follow_from_the_edges() {
        let settings = Settings::default();
        let measured = measured(&settings);
        let panels = Panels {
            measured: &measured,
            settings: &settings,
        };
        let speed = panels.speed(None);
        let points = &speed.series[0].points[0];
        assert_eq!(points.len(), 3);
        // Two openings of 20 us each: 1.96 x 28.3 us = 55.4 us of 100 ms, so 0.00554 pps of 10.
        approx::assert_relative_eq!(
            points[0].u95.unwrap(),
            1.96 * EDGE_S * 2f64.sqrt() * 100.0,
            max_relative = 1e-9
        );
        let share = panels.percent(None);
        // 100 / 100 ms x sqrt(1 + 0.38^2 + 0.62^2) x 20 us = 0.0247 points; times 1.96.
        let expected = 1.96 * 1000.0 * EDGE_S * (1.0 + 0.38f64.powi(2) + 0.62f64.powi(2)).sqrt();
        approx::assert_relative_eq!(
            share.series[0].points[0][0].u95.unwrap(),
            expected,
            max_relative = 1e-6
        );
    }

    /// A step that no figure is read from is not marked: here one of the wrong sign by itself.
    #[test]
    fn off_normal_steps_are_marked_where_the_report_gives_their_times() {
        let settings = Settings::default();
        let marked = |steps: &[(f64, f64)]| -> Vec<f64> {
            let mut train = digit(1.0, 4);
            let step = |&(instant_s, relative): &(f64, f64)| edges::LevelStep {
                instant_s,
                relative,
                snr: 50.0,
            };
            train.level_steps = steps.iter().map(step).collect();
            let measured = *record(vec![train], false, &settings).outcome.unwrap();
            off_normal(&measured.scored.digits[0]).collect()
        };
        let drawn = marked(&[(0.5, 0.15), (1.6, -0.15)]);
        assert_eq!(drawn.len(), 2);
        approx::assert_abs_diff_eq!(drawn[0], 0.5, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(drawn[1], 1.6, epsilon = 1e-9);
        assert!(marked(&[(0.5, -0.15)]).is_empty());
    }

    #[test]
    fn every_set_is_drawn_in_its_own_unit() {
        let names = |set: &str| -> Vec<&'static str> {
            let settings = by(set);
            let measured = measured(&settings);
            figures(&measured, &settings)
                .iter()
                .map(|figure| figure.unit)
                .collect()
        };
        assert_eq!(names("us-1956-later"), ["pps", "%"]);
        assert_eq!(names("au-s002"), ["pps", "ms"]);
        assert_eq!(names("de-1.6"), ["ms", "break : make"]);
    }

    #[test]
    fn a_plot_names_verdict_figures_and_limits() {
        let settings = by("us-1956-later");
        let svg = timing_plot("bench.wav", &measured(&settings), &settings, Theme::Light).unwrap();
        for part in [
            "PASS",
            "digit 4  ·  10.000",
            "max 64",
            "grade A-",
            "± is the 95 % uncertainty",
        ] {
            assert!(svg.contains(part), "{part}");
        }
    }

    #[test]
    fn a_recording_without_dialling_is_drawn_too() {
        let settings = Settings::default();
        let record = record(Vec::new(), false, &settings);
        let svg = timing_plot(
            "bench.wav",
            &record.outcome.unwrap(),
            &settings,
            Theme::Light,
        )
        .unwrap();
        assert!(svg.contains("no dialling found"));
    }
}
