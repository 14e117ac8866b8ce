//! The same digit of all recordings on common scales.

use super::{Comparison, digit_name};
use crate::compare::pairing;
use crate::compare::text::word;
use crate::plot::pulses::{
    self as plot, DRAWN_AT_MOST, PulsePanel, PulsePoint, PulseSeries, PulseSheet,
};
use crate::plot::{PlotError, Theme};
use crate::saved::{Saved, SavedDigit, SavedRange};
use crate::words::pulses;

/// One plot for each digit that at least two recordings hold, at most `most` of them.
pub(super) fn plots(
    comparison: &Comparison,
    theme: Theme,
    most: usize,
) -> Result<Vec<String>, PlotError> {
    sheets(comparison)
        .iter()
        .take(most)
        .map(|sheet| plot::draw(sheet, theme))
        .collect()
}

/// The recordings that are drawn: of many the first and the latest.
fn drawn(recordings: &[Saved]) -> Vec<usize> {
    let skipped = recordings.len().saturating_sub(DRAWN_AT_MOST);
    let all = 0..recordings.len();
    all.filter(|index| *index == 0 || *index > skipped)
        .collect()
}

fn sheets(comparison: &Comparison) -> Vec<PulseSheet> {
    let drawn = drawn(&comparison.recordings);
    let Some(first) = comparison.recordings.first() else {
        return Vec::new();
    };
    let sheet = |(index, digit): (usize, &SavedDigit)| {
        let of = |&place: &usize| {
            let saved = &comparison.recordings[place];
            let partner = partner(first, saved, index, place)?;
            let traces = saved.shapes.get(partner).cloned().unwrap_or_default();
            Some(series(place, saved, &saved.digits[partner], traces))
        };
        let series: Vec<PulseSeries> = drawn.iter().filter_map(of).collect();
        (series.len() > 1 && digit.pulses > 1).then(|| PulseSheet {
            title: format!("Digit {}, {}", digit_name(digit), pulses(digit.pulses)),
            series,
            panels: panels(comparison),
        })
    };
    first.sure_digits().filter_map(sheet).collect()
}

/// The digit of recording number `place` that stands beside digit `index` of the first.
fn partner(first: &Saved, saved: &Saved, index: usize, place: usize) -> Option<usize> {
    if place == 0 {
        return Some(index);
    }
    let pairs = pairing::pair(first, saved).pairs;
    pairs
        .into_iter()
        .find(|(before, _)| *before == index)
        .map(|(_, after)| after)
}

fn series(
    place: usize,
    saved: &Saved,
    digit: &SavedDigit,
    traces: Vec<Vec<(f64, f64)>>,
) -> PulseSeries {
    let at = |start_s: f64| (start_s - digit.start_s) * 1e3;
    let breaks = digit.pulses_detail.iter();
    PulseSeries {
        name: format!("{}: {} ({})", place + 1, saved.input, word(saved)),
        breaks: breaks
            .map(|pulse| (at(pulse.break_start_s), pulse.break_ms))
            .collect(),
        traces,
        values: vec![speeds(digit), percents(digit)],
    }
}

/// Speed of each period. Its bar is an upper bound: what closings share cancels in a period, but is not told
/// apart in what was saved.
fn speeds(digit: &SavedDigit) -> Vec<PulsePoint> {
    let points = digit
        .pulses_detail
        .iter()
        .enumerate()
        .filter_map(|(index, pulse)| {
            let period_ms = pulse.break_ms + pulse.make_ms?;
            let u95 = pulse.make_u95_ms.map(|make| pulse.break_u95_ms.hypot(make));
            Some(PulsePoint {
                number: index + 1,
                value: 1e3 / period_ms,
                u95: u95.map(|u95| 1e3 / period_ms * u95 / period_ms),
            })
        });
    points.collect()
}

/// Percent break of each pulse, its bar by JCGM 100:2008 clause 5.1.2 on p = 100 b / (b + m).
fn percents(digit: &SavedDigit) -> Vec<PulsePoint> {
    let points = digit
        .pulses_detail
        .iter()
        .enumerate()
        .filter_map(|(index, pulse)| {
            let (open, closed) = (pulse.break_ms, pulse.make_ms?);
            let u95 = pulse.make_u95_ms.map(|make| {
                100.0 * (closed * pulse.break_u95_ms).hypot(open * make) / (open + closed).powi(2)
            });
            Some(PulsePoint {
                number: index + 1,
                value: 100.0 * open / (open + closed),
                u95,
            })
        });
    points.collect()
}

/// Limits are drawn where all recordings were judged by one set.
fn panels(comparison: &Comparison) -> Vec<PulsePanel> {
    let sets: Vec<_> = comparison
        .recordings
        .iter()
        .map(|saved| saved.limits.as_ref())
        .collect();
    let name = |set: &Option<&crate::saved::SavedLimits>| set.map(|set| set.name.clone());
    let common = sets
        .first()
        .copied()
        .flatten()
        .filter(|_| sets.windows(2).all(|pair| name(&pair[0]) == name(&pair[1])));
    let range = |of: fn(&crate::saved::SavedLimits) -> Option<SavedRange>| {
        common.and_then(of).unwrap_or_default()
    };
    let (speed, percent) = (range(|set| set.speed_pps), range(|set| set.percent_break));
    vec![
        PulsePanel {
            name: "Pulsing speed of each period",
            unit: "pps",
            least_span: 0.4,
            lower: speed.lower,
            upper: speed.upper,
        },
        PulsePanel {
            name: "Percent break of each pulse",
            unit: "%",
            least_span: 3.0,
            lower: percent.lower,
            upper: percent.upper,
        },
    ]
}
