//! Digits set in rows, like lines of a page, each with its own folded time axis.

use std::ops::Range;

use super::PlotError;
use super::fold::{FOLD_WIDTH, FoldedAxis, Stretch, extent};
use super::ink::Ink;
use super::paper::{Align, Lettering, Paper};
use super::scale::{round_step, tick_label, ticks};
use super::sheet::Strip;

/// Height of the time axis below a row, in page units.
pub(super) const TIME_HEIGHT: f64 = 36.0;

/// A row holds at most this many digits, and this many seconds drawn to scale, so that a pulse of a
/// 10 pps dial is at least 13 page units wide.
const DIGITS_A_ROW: usize = 8;
const SECONDS_A_ROW: f64 = 8.0;

/// Rows drawn at most; the rest is counted below the plot.
const ROWS_AT_MOST: usize = 10;

/// Trace shown before the first opening and after the last closing, in seconds.
const LEAD_S: f64 = 0.06;
const TAIL_S: f64 = 0.11;

/// Trace shown on either side of an off-normal step, in seconds.
const STEP_S: f64 = 0.045;

/// Off-normal steps farther than this from a digit of several are not drawn, in seconds.
const STEP_NEAR_S: f64 = 0.35;

/// A stretch of digits and its time axis.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub digits: Range<usize>,
    pub axis: FoldedAxis,
    /// Instant that the time axis counts from, in seconds.
    pub zero_s: f64,
}

/// Sets `strips` in rows between `left` and `right`; gives them and the number of digits left out.
/// Without digits the whole recording is one row.
pub(super) fn arrange(
    strips: &[Strip<'_>],
    duration_s: f64,
    left: f64,
    right: f64,
) -> (Vec<Row>, usize) {
    if strips.is_empty() {
        return (vec![whole_recording(duration_s, left, right)], 0);
    }
    let mut ranges = split(strips);
    ranges.truncate(ROWS_AT_MOST);
    let drawn = ranges.last().map_or(0, |range| range.end);
    let scale = ranges
        .iter()
        .map(|range| scale_of(strips, range, right - left))
        .fold(f64::INFINITY, f64::min);
    let row = |digits: Range<usize>| {
        let axis = FoldedAxis::new(&intervals(strips, &digits), left, scale);
        let zero_s = if strips.len() == 1 {
            strips[0].span().map_or(0.0, |span| span.0)
        } else {
            0.0
        };
        Row {
            digits,
            axis,
            zero_s,
        }
    };
    (ranges.into_iter().map(row).collect(), strips.len() - drawn)
}

fn whole_recording(duration_s: f64, left: f64, right: f64) -> Row {
    let duration_s = duration_s.max(1e-3);
    let axis = FoldedAxis::new(&[(0.0, duration_s)], left, (right - left) / duration_s);
    Row {
        digits: 0..0,
        axis,
        zero_s: 0.0,
    }
}

/// Cuts the digits into rows of about equal length.
fn split(strips: &[Strip<'_>]) -> Vec<Range<usize>> {
    let total: f64 = extent(&intervals(strips, &(0..strips.len()))).0;
    let rows = (strips.len().div_ceil(DIGITS_A_ROW))
        .max((total / SECONDS_A_ROW).ceil() as usize)
        .max(1);
    let a_row = strips.len().div_ceil(rows).max(1);
    (0..strips.len())
        .step_by(a_row)
        .map(|start| start..(start + a_row).min(strips.len()))
        .collect()
}

/// Page units a second at which the digits of `range` fill `width`.
fn scale_of(strips: &[Strip<'_>], range: &Range<usize>, width: f64) -> f64 {
    let (seconds, folds) = extent(&intervals(strips, range));
    (width - folds as f64 * FOLD_WIDTH) / seconds
}

/// Stretches of time that must be seen.
fn intervals(strips: &[Strip<'_>], range: &Range<usize>) -> Vec<(f64, f64)> {
    let single = strips.len() == 1;
    strips[range.clone()]
        .iter()
        .flat_map(|strip| wanted(strip, single))
        .collect()
}

fn wanted(strip: &Strip<'_>, single: bool) -> Vec<(f64, f64)> {
    let Some((first, last)) = strip.span() else {
        return Vec::new();
    };
    let (start, end) = (first - LEAD_S, last + TAIL_S);
    let near = |at: f64| single || (at > start - STEP_NEAR_S && at < end + STEP_NEAR_S);
    let steps = strip.steps.iter().copied().filter(|at| near(*at));
    steps
        .map(|at| (at - STEP_S, at + STEP_S))
        .chain([(start, end)])
        .collect()
}

/// Draws the time axis below a row whose panels end at `top`.
pub(super) fn draw_time_axis(
    paper: &Paper<'_>,
    row: &Row,
    top: f64,
    single: bool,
) -> Result<(), PlotError> {
    let (unit, name) = if single {
        (1e-3, "time from the first break, ms")
    } else {
        (1.0, "time in the recording, s")
    };
    let scale = row
        .axis
        .stretches
        .first()
        .map_or(1.0, |s| (s.right - s.left) / (s.end_s - s.start_s));
    let step = round_step(64.0 / scale / unit, 1.0);
    for stretch in &row.axis.stretches {
        paper.line((stretch.left, top), (stretch.right, top), 1.0, Ink::Quiet)?;
        draw_ticks(paper, stretch, row.zero_s, unit, step, top)?;
    }
    for pair in row.axis.stretches.windows(2) {
        draw_fold(paper, pair[0], pair[1], top)?;
    }
    let middle = (row.axis.stretches.first().map_or(0.0, |s| s.left) + row.axis.right()) / 2.0;
    paper.text(
        name,
        middle,
        top + 31.0,
        Lettering::new(12.0, Ink::Text).align(Align::Middle),
    )
}

fn draw_ticks(
    paper: &Paper<'_>,
    stretch: &Stretch,
    zero_s: f64,
    unit: f64,
    step: f64,
    top: f64,
) -> Result<(), PlotError> {
    let (low, upper) = (
        (stretch.start_s - zero_s) / unit,
        (stretch.end_s - zero_s) / unit,
    );
    let mut values = ticks(low, upper, step);
    let mut fineness = step;
    if values.is_empty() {
        // A short stretch between two round values: name its middle, rounded to a tenth of the step.
        fineness = step / 10.0;
        values = vec![((low + upper) / 2.0 / fineness).round() * fineness];
    }
    for value in values {
        let x = stretch.place(zero_s + value * unit);
        let look = Lettering::new(11.0, Ink::Quiet).align(Align::Middle);
        paper.line((x, top), (x, top + 4.0), 1.0, Ink::Quiet)?;
        paper.text(&tick_label(value, fineness), x, top + 16.0, look)?;
    }
    Ok(())
}

/// Marks time that was left out.
fn draw_fold(
    paper: &Paper<'_>,
    before: Stretch,
    after: Stretch,
    top: f64,
) -> Result<(), PlotError> {
    let middle = (before.right + after.left) / 2.0;
    for x in [middle - 3.0, middle + 3.0] {
        paper.line((x - 3.0, top + 5.0), (x + 3.0, top - 5.0), 1.2, Ink::Quiet)?;
    }
    Ok(())
}
