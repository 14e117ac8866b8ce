//! From a record to the plot that lays all pulses of a digit over one another.

use edges::{Snippet, Train};
use score::Digit;

use crate::plot::overlay::{self, Lay, OverlaySheet};
use crate::plot::{PlotError, Theme};
use crate::record::Measured;

/// Trace shown before each opening, in milliseconds.
const LEAD_MS: f64 = 6.0;

/// Trace shown after the last closing, as a share of the longest period.
const TAIL: f64 = 0.1;

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
    let sheet = OverlaySheet {
        title: format!("{input}, channel {}", measured.channel),
        headline: format!(
            "{}: {} pulses laid over one another",
            score::nth_digit(index, digit.digit.as_deref()),
            digit.pulses
        ),
        pulses: lays(digit, &measured.trace.trains),
    };
    if sheet.pulses.iter().all(|pulse| pulse.trace.is_empty()) {
        return Ok(None);
    }
    overlay::draw(&sheet, theme).map(Some)
}

fn lays(digit: &Digit, trains: &[Train]) -> Vec<Lay> {
    let pairs = digit.pulses_detail.windows(2);
    let periods = pairs.map(|pair| (pair[1].break_start_s - pair[0].break_start_s) * 1e3);
    let longest = periods.fold(0.0, f64::max);
    let lay = |pulse: &score::Pulse| Lay {
        trace: levelled(
            trains,
            pulse.break_start_s,
            stretch(
                trains,
                pulse.break_start_s,
                (-LEAD_MS, longest * (1.0 + TAIL)),
            ),
        ),
        break_ms: pulse.break_ms,
    };
    digit.pulses_detail.iter().map(lay).collect()
}

/// The trace about the mid-reference level of its opening: an input that does not pass direct current lets the
/// levels wander from pulse to pulse, which says nothing of the dial.
fn levelled(trains: &[Train], opening_s: f64, trace: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    const SAME_S: f64 = 1e-6;
    let mut edges = trains.iter().flat_map(|train| &train.edges);
    let middle = edges
        .find(|edge| (edge.instant_s - opening_s).abs() < SAME_S)
        .map_or(0.0, |edge| (edge.level_before + edge.level_after) / 2.0);
    trace
        .into_iter()
        .map(|(ms, level)| (ms, level - middle))
        .collect()
}

/// The trace from `span_ms.0` to `span_ms.1` about `zero_s`, in milliseconds from there.
fn stretch(trains: &[Train], zero_s: f64, span_ms: (f64, f64)) -> Vec<(f64, f64)> {
    let holds = |snippet: &&Snippet| {
        let end_s = snippet.start_s + snippet.samples.len() as f64 / snippet.rate_hz;
        snippet.rate_hz > 0.0 && (snippet.start_s..end_s).contains(&zero_s)
    };
    let Some(snippet) = trains.iter().map(|train| &train.snippet).find(holds) else {
        return Vec::new();
    };
    let ms = |index: usize| (snippet.start_s + index as f64 / snippet.rate_hz - zero_s) * 1e3;
    let samples = snippet.samples.iter().enumerate();
    samples
        .map(|(index, level)| (ms(index), f64::from(*level)))
        .filter(|(ms, _)| (span_ms.0..=span_ms.1).contains(ms))
        .collect()
}
