//! The whole recording at a glance, its digits boxed.

use super::frame::Frame;
use super::heading::draw_tone;
use super::ink::{Ink, Theme};
use super::paper::{self, Lettering, Paper, text_width};
use super::scale::round_step;
use super::sheet::{Sheet, Strip};
use super::{PlotError, WIDTH, heading};

const LEFT: f64 = 58.0;
const RIGHT: f64 = WIDTH - 30.0;
const TRACE_HEIGHT: f64 = 190.0;
const LABELS: f64 = 44.0;

/// Draws the whole recording as an SVG document.
pub(crate) fn draw(sheet: &Sheet<'_>, theme: Theme) -> Result<String, PlotError> {
    let top = heading::height(sheet) + LABELS;
    let height = top + TRACE_HEIGHT + 44.0;
    let title = format!(
        "{}, overview: {}, {}",
        sheet.title, sheet.badge.word, sheet.headline
    );
    paper::sheet(WIDTH, height, theme, &title, |paper| {
        heading::draw(paper, sheet, WIDTH)?;
        let duration_s = sheet.duration_s.max(1e-3);
        let levels = levels(sheet);
        let frame = Frame::new(
            (LEFT, RIGHT),
            (top, top + TRACE_HEIGHT),
            (0.0, duration_s),
            levels,
        );
        frame.name(paper, "")?;
        paper.text(
            "Whole recording, full scale = 1",
            LEFT,
            top - LABELS + 10.0,
            Lettering::new(12.0, Ink::Text).bold(),
        )?;
        for strip in &sheet.strips {
            tint(paper, strip, &frame)?;
        }
        frame.levels(paper, 4.0)?;
        trace(paper, sheet, &frame)?;
        boxes(paper, sheet, &frame)?;
        frame.across(
            paper,
            round_step(duration_s, 12.0),
            "time in the recording, s",
        )
    })
}

fn levels(sheet: &Sheet<'_>) -> (f64, f64) {
    let least = sheet
        .overview
        .low
        .iter()
        .copied()
        .fold(f32::INFINITY, f32::min);
    let greatest = sheet
        .overview
        .high
        .iter()
        .copied()
        .fold(f32::NEG_INFINITY, f32::max);
    if least >= greatest {
        return (-1.0, 1.0);
    }
    let room = 0.06 * f64::from(greatest - least);
    (f64::from(least) - room, f64::from(greatest) + room)
}

fn tint(paper: &Paper<'_>, strip: &Strip<'_>, frame: &Frame) -> Result<(), PlotError> {
    let Some((left, right)) = edges(strip, frame) else {
        return Ok(());
    };
    paper.block(left, frame.top, right, frame.bottom, Ink::BreakTint)
}

/// Left and right of a digit's box: never so narrow that it is not seen.
fn edges(strip: &Strip<'_>, frame: &Frame) -> Option<(f64, f64)> {
    let (first, last) = strip.span()?;
    let (left, right) = (frame.x.place(first), frame.x.place(last));
    let missing = (3.0 - (right - left)).max(0.0) / 2.0;
    Some((left - missing, right + missing))
}

/// The envelope, one column a page unit at most, so that the plot of an evening stays small.
fn trace(paper: &Paper<'_>, sheet: &Sheet<'_>, frame: &Frame) -> Result<(), PlotError> {
    let overview = sheet.overview;
    let mut columns: Vec<(f64, f64, f64)> = Vec::new();
    for (index, (least, greatest)) in overview.low.iter().zip(&overview.high).enumerate() {
        let x = frame
            .x
            .place(overview.start_s + (index as f64 + 0.5) * overview.spacing_s)
            .min(frame.right);
        let (least, greatest) = (f64::from(*least), f64::from(*greatest));
        match columns.last_mut() {
            Some(last) if x - last.0 < 1.0 => {
                *last = (last.0, last.1.min(least), last.2.max(greatest))
            }
            _ => columns.push((x, least, greatest)),
        }
    }
    if columns.len() < 2 {
        return Ok(());
    }
    let above = columns
        .iter()
        .map(|(x, _, greatest)| (*x, frame.y.place(*greatest) - 0.5));
    let below = columns
        .iter()
        .rev()
        .map(|(x, least, _)| (*x, frame.y.place(*least) + 0.5));
    let outline: Vec<_> = above.chain(below).collect();
    paper.shape(&outline, Ink::Trace)
}

/// Boxes the digits and names them where there is room.
fn boxes(paper: &Paper<'_>, sheet: &Sheet<'_>, frame: &Frame) -> Result<(), PlotError> {
    let mut written_to = f64::NEG_INFINITY;
    for (index, strip) in sheet.strips.iter().enumerate() {
        let Some((left, right)) = edges(strip, frame) else {
            continue;
        };
        paper.frame(left, frame.top, right, frame.bottom, 1.2, Ink::Break)?;
        paper.spot(
            left,
            frame.top,
            right,
            frame.bottom,
            &spot_words(index, strip),
        );
        let width = text_width(&strip.label, 16.0) + if strip.tone.is_some() { 24.0 } else { 0.0 };
        if left < written_to {
            continue;
        }
        paper.text(
            &strip.label,
            left,
            frame.top - 6.0,
            Lettering::new(16.0, Ink::Text).bold(),
        )?;
        if let Some(tone) = strip.tone {
            draw_tone(
                paper,
                tone,
                (
                    left + text_width(&strip.label, 16.0) + 5.0,
                    frame.top - 20.0,
                ),
            )?;
        }
        written_to = left + width + 6.0;
    }
    Ok(())
}

fn spot_words(index: usize, strip: &Strip<'_>) -> String {
    let at = strip.span().map_or(0.0, |span| span.0);
    let tone = strip
        .tone
        .map(|tone| format!(", {}", tone.word()))
        .unwrap_or_default();
    format!(
        "no. {}: digit {} at {at:.2} s{tone}",
        index + 1,
        strip.label
    )
}
