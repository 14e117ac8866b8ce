//! The same digit of several recordings, pulse by pulse on common scales.

use super::figure_panel::{bar, mark};
use super::frame::Frame;
use super::ink::{Ink, Theme};
use super::paper::{self, Lettering, Paper, fit};
use super::scale::{roomy, round_step};
use super::sheet::Marker;
use super::thin::thin;
use super::{PlotError, WIDTH};

/// Recordings drawn at most: more than that cannot be told apart.
pub(crate) const DRAWN_AT_MOST: usize = 5;

const LEFT: f64 = 58.0;
const RIGHT: f64 = WIDTH - 92.0;
const KEY_LINE: f64 = 20.0;
const RIBBON: f64 = 30.0;
const PANEL: f64 = 190.0;
const PANEL_SPACE: f64 = 34.0;
const AXIS: f64 = 44.0;
/// Page units that hold two points of a trace at most.
const FINENESS: f64 = 2.0;

/// One recording of the digit.
#[derive(Clone, Debug)]
pub(crate) struct PulseSeries {
    /// What it is called in the key.
    pub name: String,
    /// Start and length of every break, in milliseconds from the first opening.
    pub breaks: Vec<(f64, f64)>,
    /// Trace of every pulse, in milliseconds from its opening, between 0 (open) and 1 (closed); none of a saved measurement.
    pub traces: Vec<Vec<(f64, f64)>>,
    /// Values of each panel: number of the pulse from 1, value, uncertainty (95 %) if known.
    pub values: Vec<Vec<PulsePoint>>,
}

/// A value of one pulse.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PulsePoint {
    pub number: usize,
    pub value: f64,
    pub u95: Option<f64>,
}

/// One quantity.
#[derive(Clone, Debug)]
pub(crate) struct PulsePanel {
    pub name: &'static str,
    pub unit: &'static str,
    /// Smallest span of the scale: keeps ordinary scatter from looking like a fault.
    pub least_span: f64,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// A digit in several recordings.
#[derive(Clone, Debug)]
pub(crate) struct PulseSheet {
    pub title: String,
    /// At most [`DRAWN_AT_MOST`].
    pub series: Vec<PulseSeries>,
    pub panels: Vec<PulsePanel>,
}

/// Marks and inks in step: shapes tell the recordings apart without colour.
const LOOKS: [(Marker, Ink); DRAWN_AT_MOST] = [
    (Marker::Disc, Ink::Speed),
    (Marker::Square, Ink::Share),
    (Marker::Triangle, Ink::Chatter),
    (Marker::Diamond, Ink::Undecided),
    (Marker::Cross, Ink::Text),
];

/// Draws `sheet` as an SVG document.
pub(crate) fn draw(sheet: &PulseSheet, theme: Theme) -> Result<String, PlotError> {
    let count = sheet.series.len() as f64;
    let ribbons_top = 34.0 + count * KEY_LINE + 26.0;
    let traces_top = ribbons_top + count * RIBBON + AXIS + PANEL_SPACE;
    let traced = sheet.series.iter().any(|series| !series.traces.is_empty());
    let panels_top = if traced {
        traces_top + PANEL + PANEL_SPACE
    } else {
        traces_top
    };
    // Nothing stands below the last panel.
    let height = panels_top + sheet.panels.len() as f64 * (PANEL + PANEL_SPACE) - PANEL_SPACE + 4.0;
    paper::sheet(WIDTH, height, theme, &sheet.title, |paper| {
        key(paper, sheet)?;
        ribbons(paper, sheet, ribbons_top)?;
        if traced {
            traces(paper, sheet, traces_top)?;
        }
        for index in 0..sheet.panels.len() {
            let top = panels_top + index as f64 * (PANEL + PANEL_SPACE);
            panel(paper, sheet, index, top)?;
        }
        Ok(())
    })
}

fn key(paper: &Paper<'_>, sheet: &PulseSheet) -> Result<(), PlotError> {
    let look = Lettering::new(16.0, Ink::Text).bold();
    paper.text(&fit(&sheet.title, 16.0, WIDTH - 40.0), 20.0, 24.0, look)?;
    for (index, (series, (marker, ink))) in sheet.series.iter().zip(LOOKS).enumerate() {
        let y = 34.0 + (index + 1) as f64 * KEY_LINE - 4.0;
        mark(paper, marker, (28.0, y - 4.0), 4.2, ink)?;
        let words = fit(&series.name, 13.0, WIDTH - 80.0);
        paper.text(&words, 42.0, y, Lettering::new(13.0, Ink::Text))?;
    }
    Ok(())
}

/// Breaks as blocks, all from their first opening and to one scale of time.
fn ribbons(paper: &Paper<'_>, sheet: &PulseSheet, top: f64) -> Result<(), PlotError> {
    let end_of = |series: &PulseSeries| {
        series
            .breaks
            .last()
            .map_or(0.0, |(start, length)| start + length)
    };
    let end = sheet.series.iter().map(end_of).fold(1.0, f64::max);
    let bottom = top + sheet.series.len() as f64 * RIBBON;
    let frame = Frame::new((LEFT, RIGHT), (top, bottom), (0.0, 1.02 * end), (0.0, 1.0));
    frame.name(paper, "Breaks from the first opening")?;
    for (index, (series, (marker, ink))) in sheet.series.iter().zip(LOOKS).enumerate() {
        let upper = top + index as f64 * RIBBON + 5.0;
        mark(paper, marker, (LEFT - 16.0, upper + 10.0), 4.2, ink)?;
        for (number, (start, length)) in series.breaks.iter().enumerate() {
            let (left, right) = (frame.x.place(*start), frame.x.place(start + length));
            paper.block(left, upper, right, upper + RIBBON - 10.0, ink)?;
            let words = format!(
                "{}, pulse {}: break {length:.2} ms",
                series.name,
                number + 1
            );
            paper.spot(left, upper, right, upper + RIBBON - 10.0, &words);
        }
    }
    frame.across(
        paper,
        round_step(end, 12.0),
        "time from the first opening, ms",
    )
}

/// The pulses of all recordings laid over one another from their openings, each between open and closed as it was
/// recorded: a later closing, a longer period, chatter and slow makes lie side by side.
fn traces(paper: &Paper<'_>, sheet: &PulseSheet, top: f64) -> Result<(), PlotError> {
    let points = || {
        sheet
            .series
            .iter()
            .flat_map(|series| series.traces.iter().flatten())
    };
    let levels = roomy(points().map(|point| point.1), 1.0).unwrap_or((0.0, 1.0));
    let times = points().map(|point| (point.0, point.0));
    let span = times
        .reduce(|one, other| (one.0.min(other.0), one.1.max(other.1)))
        .unwrap_or((0.0, 1.0));
    let frame = Frame::new((LEFT, RIGHT), (top, top + PANEL - AXIS), span, levels);
    frame.name(paper, "Every pulse from its opening; closed = 1, open = 0")?;
    frame.levels(paper, 3.0)?;
    for (series, (_, ink)) in sheet.series.iter().zip(LOOKS) {
        for trace in &series.traces {
            let line: Vec<_> = trace
                .iter()
                .map(|(ms, level)| frame.at(*ms, *level))
                .collect();
            if line.len() > 1 {
                paper.path(&thin(&line, FINENESS), 0.9, ink)?;
            }
        }
    }
    // The marks tell the recordings apart in grey: at the end of the breaks, where they differ.
    for (place, (series, (marker, ink))) in sheet.series.iter().zip(LOOKS).enumerate() {
        let share = 0.35 + 0.3 * place as f64 / sheet.series.len() as f64;
        let ends = series.breaks.iter().filter(|_| !series.traces.is_empty());
        for (_, length) in ends {
            mark(paper, marker, frame.at(*length, share), 3.0, ink)?;
        }
    }
    frame.across(
        paper,
        round_step(span.1 - span.0, 14.0),
        "time from the opening, ms",
    )
}

fn panel(paper: &Paper<'_>, sheet: &PulseSheet, index: usize, top: f64) -> Result<(), PlotError> {
    let panel = &sheet.panels[index];
    let count = sheet
        .series
        .iter()
        .map(|series| series.breaks.len())
        .max()
        .unwrap_or(1);
    let Some(span) = span(sheet, index) else {
        return Ok(());
    };
    let bottom = top + PANEL - AXIS;
    let numbers = (0.5, (count as f64 - 0.5).max(1.5));
    let frame = Frame::new((LEFT, RIGHT), (top, bottom), numbers, span);
    frame.name(paper, &format!("{}, {}", panel.name, panel.unit))?;
    frame.band(paper, panel.lower, panel.upper)?;
    frame.levels(paper, 4.0)?;
    frame.limits(paper, panel.lower, panel.upper)?;
    for (place, series) in sheet.series.iter().enumerate() {
        points(
            paper,
            &series.values[index],
            &frame,
            (place, sheet.series.len()),
            &series.name,
            panel.unit,
        )?;
    }
    frame.across(paper, 1.0, "pulse")
}

/// Scale that holds every value, bar and limit.
fn span(sheet: &PulseSheet, index: usize) -> Option<(f64, f64)> {
    let panel = &sheet.panels[index];
    let values = sheet.series.iter().flat_map(|series| &series.values[index]);
    let ends = values.flat_map(|point| {
        let bar = point.u95.unwrap_or(0.0);
        [point.value - bar, point.value + bar]
    });
    let mut all: Vec<f64> = ends.collect();
    if all.is_empty() {
        return None;
    }
    all.extend(panel.lower);
    all.extend(panel.upper);
    roomy(all.into_iter(), panel.least_span)
}

/// Points of one recording, a little aside from those of the others, joined by a thin line.
fn points(
    paper: &Paper<'_>,
    points: &[PulsePoint],
    frame: &Frame,
    (place, of): (usize, usize),
    name: &str,
    unit: &str,
) -> Result<(), PlotError> {
    let (marker, ink) = LOOKS[place % LOOKS.len()];
    let aside = (place as f64 - (of as f64 - 1.0) / 2.0) * 7.0;
    let at = |point: &PulsePoint| {
        let (x, y) = frame.at(point.number as f64, point.value);
        (x + aside, y)
    };
    let line: Vec<_> = points.iter().map(at).collect();
    if line.len() > 1 {
        paper.path(&line, 0.7, ink)?;
    }
    for point in points {
        let (x, y) = at(point);
        let half = point
            .u95
            .map_or(0.0, |u95| y - frame.y.place(point.value + u95));
        if half > 3.6 {
            bar(paper, x, y - half, y + half, ink)?;
        }
        mark(paper, marker, (x, y), 3.6, ink)?;
        let value = point.u95.map_or_else(
            || format!("{:.3}", point.value),
            |u95| crate::figure::with_uncertainty(point.value, u95),
        );
        let words = format!("{name}, pulse {}: {value} {unit}", point.number);
        paper.spot(x - 5.0, y - 8.0, x + 5.0, y + 8.0, &words);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks_differ_in_shape_so_that_grey_tells_them_apart() {
        for (index, (marker, ink)) in LOOKS.iter().enumerate() {
            for (other, other_ink) in &LOOKS[..index] {
                assert!(marker != other && ink != other_ink);
            }
        }
    }
}
