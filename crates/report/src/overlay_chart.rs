//! From a record to the plot that lays all pulses of a digit over one another.

use edges::{Polarity, Snippet, Train};
use score::Digit;

use crate::plot::overlay::{self, Lay, OverlaySheet};
use crate::plot::{PlotError, Theme};
use crate::record::Measured;

/// Trace shown before each opening, in milliseconds.
const LEAD_MS: f64 = 6.0;

/// Trace shown after the last closing, as a share of the longest period.
const TAIL: f64 = 0.1;

/// The level at an opening is taken over so much to either side, in milliseconds, but for what is nearest.
const LEVEL_MS: std::ops::Range<f64> = 0.2..2.0;

/// All pulses of the digit with the most pulses, laid over one another from their openings, as an SVG document.
/// `None` when the recording holds no digit of two pulses or more.
///
/// # Errors
/// When the drawing library refuses.
pub fn overlay_plot(
    input: &str,
    measured: &Measured,
    theme: Theme,
) -> Result<Option<String>, PlotError> {
    let digits = measured.scored.digits.iter().enumerate();
    let most = digits.rev().max_by_key(|(_, digit)| digit.pulses);
    let Some((index, digit)) = most.filter(|(_, digit)| digit.pulses > 1) else {
        return Ok(None);
    };
    let trains = &measured.trace.trains;
    let sheet = OverlaySheet {
        title: format!("{input}, channel {}", measured.channel),
        headline: format!(
            "{}: {} pulses laid over one another",
            score::nth_digit(index, digit.digit.as_deref()),
            digit.pulses
        ),
        undone_hz: trains
            .get(digit.train)
            .and_then(undone_hz)
            .filter(|hz| *hz > 0.0),
        pulses: lays(digit, trains),
    };
    if sheet.pulses.iter().all(|pulse| pulse.trace.is_empty()) {
        return Ok(None);
    }
    overlay::draw(&sheet, theme).map(Some)
}

/// The trace of every pulse of every digit from its opening, in milliseconds, between 0 (open) and 1 (closed); empty where
/// none was kept.
pub(crate) fn shapes(measured: &Measured) -> Vec<Vec<Vec<(f64, f64)>>> {
    let trains = &measured.trace.trains;
    let of_digit = |digit: &Digit| {
        let scale = trains.get(digit.train).map_or(1.0, scale);
        let between = |(ms, level): (f64, f64)| (ms, 0.5 + level / scale);
        let lays = lays(digit, trains).into_iter();
        lays.map(|lay| lay.trace.into_iter().map(between).collect())
            .collect()
    };
    let digits = measured.scored.digits.iter();
    let shapes: Vec<Vec<Vec<_>>> = digits.map(of_digit).collect();
    if shapes.iter().flatten().all(Vec::is_empty) {
        return Vec::new();
    }
    shapes
}

/// The step of a closing.
fn scale(train: &Train) -> f64 {
    match train.polarity {
        Polarity::Normal => train.step,
        Polarity::Inverted => -train.step,
    }
}

fn lays(digit: &Digit, trains: &[Train]) -> Vec<Lay> {
    let pairs = digit.pulses_detail.windows(2);
    let periods = pairs.map(|pair| (pair[1].break_start_s - pair[0].break_start_s) * 1e3);
    let longest = periods.fold(0.0, f64::max);
    let span_ms = (-LEAD_MS, longest * (1.0 + TAIL));
    let lay = |pulse: &score::Pulse| Lay {
        trace: levelled(stretch(trains, pulse.break_start_s, span_ms)),
        break_ms: pulse.break_ms,
    };
    digit.pulses_detail.iter().map(lay).collect()
}

/// The trace about the middle of its opening: where levels wander from pulse to pulse, that says nothing of the dial.
fn levelled(trace: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let mean = |side: f64| {
        let beside = trace
            .iter()
            .filter(|(ms, _)| LEVEL_MS.contains(&(ms * side)));
        let (sum, count) = beside.fold((0.0, 0.0), |(sum, count), (_, level)| {
            (sum + level, count + 1.0)
        });
        sum / f64::max(count, 1.0)
    };
    let middle = f64::midpoint(mean(-1.0), mean(1.0));
    trace
        .iter()
        .map(|(ms, level)| (*ms, level - middle))
        .collect()
}

/// Corner of the coupling that can be undone: of a transformer only spikes are left.
fn undone_hz(train: &Train) -> Option<f64> {
    train.coupling_hz.filter(|_| !train.spikes_only)
}

/// The trace from `span_ms.0` to `span_ms.1` about `zero_s`, in milliseconds from there. What an input that does not
/// pass direct current has taken from the levels is put back: y = x + 2π f ∫ x dt, for a high-pass of first order.
fn stretch(trains: &[Train], zero_s: f64, span_ms: (f64, f64)) -> Vec<(f64, f64)> {
    let holds = |train: &&Train| {
        let snippet = &train.snippet;
        let end_s = snippet.start_s + snippet.samples.len() as f64 / snippet.rate_hz;
        snippet.rate_hz > 0.0 && (snippet.start_s..end_s).contains(&zero_s)
    };
    let Some(train) = trains.iter().find(holds) else {
        return Vec::new();
    };
    let snippet: &Snippet = &train.snippet;
    let ms = |index: usize| (snippet.start_s + index as f64 / snippet.rate_hz - zero_s) * 1e3;
    let share = std::f64::consts::TAU * undone_hz(train).unwrap_or(0.0) / snippet.rate_hz;
    let mut taken = 0.0;
    let samples = snippet.samples.iter().enumerate();
    samples
        .map(|(index, level)| (ms(index), f64::from(*level)))
        .filter(|(ms, _)| (span_ms.0..=span_ms.1).contains(ms))
        .map(|(ms, level)| {
            taken += share * level;
            (ms, level + taken)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A loop that closes 60 ms after it opened, seen through 5 Hz: put back, the make is as high as it was before the
    /// break, within what a sample of 1/12 ms in the sum is worth (2π 5 / 12 000 = 0.3 % of the step).
    #[test]
    fn the_coupling_is_undone() {
        let kept = (-std::f64::consts::TAU * 5.0 / 12_000.0).exp();
        let (mut level, mut before) = (0.0, 1.0);
        let samples = (0..3000).map(|index| {
            let state = if (1200..1920).contains(&index) {
                0.0
            } else {
                1.0
            };
            level = kept * level + state - before;
            before = state;
            level as f32
        });
        let mut train = crate::sample::train(&[0.1], 0.06);
        train.coupling_hz = Some(5.0);
        train.snippet = Snippet {
            start_s: 0.0,
            rate_hz: 12_000.0,
            samples: samples.collect(),
        };
        let trace = levelled(stretch(&[train.clone()], 0.1, (-6.0, 100.0)));
        let at = |ms: f64| trace.iter().find(|(place, _)| *place >= ms).unwrap().1;
        for (ms, expected) in [
            (-3.0, 0.5),
            (3.0, -0.5),
            (55.0, -0.5),
            (65.0, 0.5),
            (95.0, 0.5),
        ] {
            approx::assert_abs_diff_eq!(at(ms), expected, epsilon = 0.02);
        }
        // Of spikes nothing can be put back.
        train.spikes_only = true;
        let trace = stretch(&[train], 0.1, (-6.0, 100.0));
        assert!(trace.last().unwrap().1 > 0.1 && trace.last().unwrap().1 < 0.9);
    }
}
