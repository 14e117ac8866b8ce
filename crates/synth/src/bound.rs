//! The Cramér-Rao bound: no unbiased estimate of a contact's instant can scatter less than this, given the
//! recording's white noise and the steps of its encoding.
//!
//! The recording near an edge is x(n; t) + level + slope n + noise, with x the noise-free trace, whose size is
//! unknown too. With white normal noise of standard deviation σ the information on the instant is the squared
//! length of ∂x/∂t over σ, less all of it that level, slope, size or a neighbouring movement of the contact
//! could imitate; the variance of an unbiased estimate is at least its reciprocal (S. M. Kay, Fundamentals of
//! Statistical Signal Processing, vol. I: Estimation Theory, Prentice Hall 1993, sections 3.8 and 3.9).

use crate::dial::dialled;
use crate::impairment::noise_rms;
use crate::recorder::step_after_coupling;
use crate::scenario::{Line, Scenario};
use crate::sensitivity::{Course, Window};
use crate::truth::{DigitTruth, Truth};
use crate::waveform::rendered;

/// Farthest that a window reaches from its edge, in seconds: beyond it nothing is learnt of the instant.
const REACH_S: f64 = 0.04;
/// What is left of a column of unit length that others imitate, below which it is taken to be none.
const SAME: f64 = 1e-6;

/// What can at best be known of one contact instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgeBound {
    /// The instant, in seconds.
    pub instant_s: f64,
    /// Least variance of an unbiased estimate of it, in s².
    pub variance_s2: f64,
    /// Matched-filter signal-to-noise ratio: the transition's amplitude over the least standard error of an
    /// estimate of it, level and slope unknown.
    pub snr: f64,
}

/// Bounds for the two instants of a break.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BreakBound {
    /// First opening.
    pub opening: EdgeBound,
    /// First closure.
    pub closing: EdgeBound,
}

/// Bounds for a digit and all its instants.
#[derive(Clone, Debug, PartialEq)]
pub struct DigitBound {
    /// One for each pulse.
    pub breaks: Vec<BreakBound>,
    /// Least standard error of the pulsing speed, in pulses per second; `None` for a single pulse.
    pub speed_pps: Option<f64>,
    /// Least standard error of the percent break, in points; `None` for a single pulse.
    pub percent_break: Option<f64>,
}

/// Bounds for every digit of a rendered scenario; `None` when the recording has no noise at all, not even that
/// of steps coarser than a 32-bit float's. Hum, wander, sounds and the other channel are left out: the bounds
/// are those of the same recording without them.
pub fn bounds(scenario: &Scenario, truth: &Truth) -> Option<Vec<DigitBound>> {
    let noise = Noise::of(scenario, truth)?;
    let course = Course::new(scenario, &dialled(scenario));
    let edges = main_edges(truth);
    let bound = |instant_s: f64| {
        edge_bound(
            &course,
            &noise,
            window(&course, &edges, instant_s),
            instant_s,
        )
    };
    let of_digit = |digit: &DigitTruth| -> Option<DigitBound> {
        let breaks = digit.breaks.iter().map(|b| {
            Some(BreakBound {
                opening: bound(b.break_start_s)?,
                closing: bound(b.make_start_s)?,
            })
        });
        Some(propagated(breaks.collect::<Option<_>>()?))
    };
    truth.digits.iter().map(of_digit).collect()
}

/// What hides the trace, in units of the noise-free trace before any gain.
struct Noise {
    white_rms: f64,
    scenario: Scenario,
    /// Full-scale size of the value 1 of the trace.
    gain: f64,
    /// Values outside these are cut off.
    limits: [f64; 2],
}

impl Noise {
    fn of(scenario: &Scenario, truth: &Truth) -> Option<Self> {
        let recorder = &scenario.recorder;
        if recorder.noise_db.is_none() && recorder.encoding == crate::Encoding::F32 {
            return None;
        }
        let dialling = dialled(scenario);
        let rate = crate::waveform::true_rate_hz(scenario);
        // Only a solved loop's step has to be looked up in the trace, and only its first sample else.
        let length = if scenario.line == Line::Ideal {
            1
        } else {
            (truth.duration_s * rate) as usize
        };
        let trace = rendered(scenario, &dialling, length.max(1));
        let raw_step = step_after_coupling(scenario, &dialling, &trace, rate);
        let resting = trace.first().copied().unwrap_or(0.0);
        let reach = recorder.clipping.map_or(f64::INFINITY, |c| c.at * raw_step);
        Some(Self {
            white_rms: recorder.noise_db.map_or(0.0, noise_rms) * raw_step,
            scenario: scenario.clone(),
            gain: truth.step / raw_step,
            limits: [resting - reach, resting + reach],
        })
    }

    /// One over the standard deviation of a sample whose noise-free value this is; a sample cut off says
    /// nothing. An even spread over a step q has variance q² / 12.
    fn weight(&self, value: f64) -> f64 {
        if value < self.limits[0] || value > self.limits[1] {
            return 0.0;
        }
        let encoding = self.scenario.recorder.encoding;
        let step = encoding.step_near(value * self.gain) / self.gain;
        1.0 / (self.white_rms.powi(2) + step.powi(2) / 12.0).sqrt()
    }
}

/// Instants of all openings and closings of the line that are no chatter, in time order, in seconds.
fn main_edges(truth: &Truth) -> Vec<f64> {
    let pulses = truth.digits.iter().flat_map(|d| &d.breaks);
    let mut edges: Vec<f64> = pulses
        .flat_map(|b| [b.break_start_s, b.make_start_s])
        .chain(truth.other_openings_s.iter().flatten().copied())
        .collect();
    edges.sort_by(f64::total_cmp);
    edges
}

/// From half-way to the edge before to half-way to the edge after.
fn window(course: &Course, edges: &[f64], instant_s: f64) -> Window {
    let half_way =
        |other: Option<f64>| other.map_or(REACH_S, |o| (0.5 * (o - instant_s).abs()).min(REACH_S));
    let before = edges.iter().copied().rfind(|e| *e < instant_s);
    let after = edges.iter().copied().find(|e| *e > instant_s);
    let sample = |s: f64| (s * course.rate_hz()).round() as i64;
    let first = sample(instant_s - half_way(before)).max(0);
    Window {
        first,
        length: (sample(instant_s + half_way(after)) - first).max(1) as usize,
    }
}

fn edge_bound(course: &Course, noise: &Noise, window: Window, instant_s: f64) -> Option<EdgeBound> {
    let k = course.switching_at(instant_s)?;
    let trace = course.trace(window);
    let weights: Vec<f64> = trace.iter().map(|x| noise.weight(*x)).collect();
    let weighted = |column: Vec<f64>| -> Vec<f64> {
        column.iter().zip(&weights).map(|(x, w)| x * w).collect()
    };
    let level = weighted(vec![1.0; window.length]);
    let slope = weighted((0..window.length).map(|n| n as f64).collect());
    let others = course
        .switchings_in(window)
        .into_iter()
        .filter(|other| *other != k);
    let mut nuisances = vec![level.clone(), slope.clone(), weighted(trace.clone())];
    nuisances.extend(others.map(|other| weighted(course.slope(window, other))));
    let information = left_of(weighted(course.slope(window, k)), nuisances);
    let before = course.without_from(window, k);
    let transition = trace.iter().zip(&before).map(|(x, b)| x - b).collect();
    Some(EdgeBound {
        instant_s,
        variance_s2: 1.0 / (information * course.rate_hz().powi(2)),
        snr: left_of(weighted(transition), vec![level, slope]).sqrt(),
    })
}

/// Squared length of what is left of `column` when all that `nuisances` can imitate is taken out
/// (Gram and Schmidt, each projection done twice against rounding).
fn left_of(mut column: Vec<f64>, nuisances: Vec<Vec<f64>>) -> f64 {
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for mut nuisance in nuisances {
        let length = dot(&nuisance, &nuisance).sqrt();
        project_out(&mut nuisance, &basis);
        let left = dot(&nuisance, &nuisance).sqrt();
        if left > SAME * length {
            nuisance.iter_mut().for_each(|x| *x /= left);
            basis.push(nuisance);
        }
    }
    project_out(&mut column, &basis);
    dot(&column, &column)
}

fn project_out(column: &mut [f64], basis: &[Vec<f64>]) {
    for direction in basis.iter().chain(basis) {
        let share = dot(column, direction);
        column
            .iter_mut()
            .zip(direction)
            .for_each(|(c, d)| *c -= share * d);
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// From instants to speed and percent break, by their definitions; the instants' errors are independent.
fn propagated(breaks: Vec<BreakBound>) -> DigitBound {
    let count = breaks.len();
    let mut bound = DigitBound {
        speed_pps: None,
        percent_break: None,
        breaks,
    };
    let [first, inner @ .., last] = bound.breaks.as_slice() else {
        return bound;
    };
    let span = last.opening.instant_s - first.opening.instant_s;
    let ends = first.opening.variance_s2 + last.opening.variance_s2;
    bound.speed_pps = Some((count - 1) as f64 / span.powi(2) * ends.sqrt());
    let broken: f64 = bound.breaks[..count - 1]
        .iter()
        .map(|b| b.closing.instant_s - b.opening.instant_s)
        .sum();
    let share = broken / span;
    let variance = first.closing.variance_s2
        + inner
            .iter()
            .map(|b| b.opening.variance_s2 + b.closing.variance_s2)
            .sum::<f64>()
        + (1.0 - share).powi(2) * first.opening.variance_s2
        + share.powi(2) * last.opening.variance_s2;
    bound.percent_break = Some(100.0 / span * variance.sqrt());
    bound
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Encoding;
    use crate::render;
    use crate::scenario::{Chatter, Clipping, Coupling, Dial, Probe, Recorder};
    use approx::assert_relative_eq;

    fn noisy() -> Scenario {
        Scenario {
            recorder: Recorder {
                noise_db: Some(20.0),
                ..Recorder::default()
            },
            ..Scenario::default()
        }
    }

    fn of(scenario: &Scenario) -> Vec<DigitBound> {
        bounds(scenario, &render(scenario).truth).unwrap()
    }

    #[test]
    fn a_step_behind_a_flat_filter_is_known_to_noise_over_slope() {
        // The slope of the recorded step is the filter's kernel, whose squared length is by Parseval the
        // integral of its squared gain: 0.9 for a flat filter up to 0.45, less what the transition loses,
        // 0.09 wide and cosine-like: 2 x (0.405 + 3/8 x 0.09) = 0.8775. Half of the transition's exact
        // shape is not known here: 1 %.
        let rms_samples = 0.1 / 0.8775f64.sqrt();
        for pulse in &of(&noisy())[0].breaks {
            for edge in [pulse.opening, pulse.closing] {
                assert_relative_eq!(
                    edge.variance_s2.sqrt() * 48_000.0,
                    rms_samples,
                    max_relative = 0.01
                );
            }
        }
    }

    #[test]
    fn a_digit_follows_from_its_instants() {
        // Ten pulses at 10 pps, 62 % break, every instant known to u: the span of nine periods is known to
        // u sqrt(2); percent break to (100 / span) u sqrt(9 + 8 + 0.38² + 0.62²).
        let digit = &of(&noisy())[0];
        let u = digit.breaks[0].opening.variance_s2.sqrt();
        let span = 0.9f64;
        assert_relative_eq!(
            digit.speed_pps.unwrap(),
            9.0 / span.powi(2) * u * 2f64.sqrt(),
            max_relative = 1e-3
        );
        let squares: f64 = 17.0 + 0.38f64.powi(2) + 0.62f64.powi(2);
        assert_relative_eq!(
            digit.percent_break.unwrap(),
            100.0 / span * u * squares.sqrt(),
            max_relative = 1e-3
        );
    }

    #[test]
    fn the_signal_to_noise_ratio_is_that_of_a_step_less_level_and_slope() {
        // Of a step of 1 in the middle of N samples a constant leaves N/4, and a line takes 3/4 of that.
        // Windows reach half the make (19 ms) and half the break (31 ms); for an edge a share p of the way in,
        // what is left is N p(1-p) (1 - 3 p(1-p)).
        let digit = &of(&noisy())[0];
        let (samples, p) = (48_000.0 * 0.05, 0.38f64);
        let q = p * (1.0 - p);
        let expected = (samples * q * (1.0 - 3.0 * q)).sqrt() / 0.1;
        assert_relative_eq!(digit.breaks[4].opening.snr, expected, max_relative = 0.005);
    }

    #[test]
    fn coupling_hardly_matters_chatter_and_clipping_do() {
        let variance = |scenario: &Scenario| of(scenario)[0].breaks[2].closing.variance_s2;
        let plain = variance(&noisy());
        let coupled = Scenario {
            probe: Probe {
                coupling: Coupling::Capacitor { corner_hz: 10.0 },
                inverted: true,
            },
            ..noisy()
        };
        assert_relative_eq!(variance(&coupled), plain, max_relative = 0.01);
        // A reopening within a sample of the closure; two samples off the filter tells the two apart.
        let chattering = Scenario {
            dial: Dial {
                chatter: Some(Chatter {
                    total_s: 0.00002,
                    reopenings: 1,
                }),
                ..Dial::default()
            },
            ..noisy()
        };
        assert!(variance(&chattering) > 1.1 * plain);
        let clipped = Scenario {
            recorder: Recorder {
                clipping: Some(Clipping { at: 0.5 }),
                ..noisy().recorder
            },
            ..noisy()
        };
        // Half of the step is cut off, and with it half of the slope's energy.
        assert!(variance(&clipped) > 1.5 * plain);
    }

    #[test]
    fn coarse_steps_are_noise_and_none_at_all_has_no_bound() {
        let written = |encoding| Scenario {
            recorder: Recorder {
                encoding,
                ..Recorder::default()
            },
            ..Scenario::default()
        };
        assert!(
            bounds(
                &written(Encoding::F32),
                &render(&written(Encoding::F32)).truth
            )
            .is_none()
        );
        let variance = |encoding| of(&written(encoding))[0].breaks[2].opening.variance_s2;
        // Steps of 8 and of 16 bits are 256 apart.
        assert_relative_eq!(
            variance(Encoding::U8),
            65_536.0 * variance(Encoding::S16),
            max_relative = 1e-6
        );
        assert!(variance(Encoding::MuLaw) > variance(Encoding::S16));
    }
}
