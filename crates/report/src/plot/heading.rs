//! The head of a plot: verdict and figures.

use super::PlotError;
use super::ink::Ink;
use super::paper::{Align, Lettering, Paper, fit, text_width};
use super::sheet::{Badge, Sheet, Tone};

const MARGIN: f64 = 20.0;
const NOTE_LINE: f64 = 17.0;
const TITLE_SIZE: f64 = 13.0;
const NOTE_SIZE: f64 = 12.0;

/// Height that the heading of `sheet` takes, in page units.
pub(super) fn height(sheet: &Sheet<'_>) -> f64 {
    68.0 + sheet.notes.len() as f64 * NOTE_LINE + 10.0
}

/// Draws verdict, figures and notes at the top of the sheet.
pub(super) fn draw(paper: &Paper<'_>, sheet: &Sheet<'_>, width: f64) -> Result<(), PlotError> {
    let room = width - 2.0 * MARGIN;
    paper.text(
        &fit(&sheet.title, TITLE_SIZE, room),
        MARGIN,
        22.0,
        Lettering::new(TITLE_SIZE, Ink::Quiet),
    )?;
    let badge_right = draw_badge(paper, &sheet.badge, MARGIN, 33.0, 17.0)?;
    let left = badge_right + 14.0;
    let size = headline_size(&sheet.headline, width - left - MARGIN);
    let headline = fit(&sheet.headline, size, width - left - MARGIN);
    paper.text(
        &headline,
        left,
        52.0,
        Lettering::new(size, Ink::Text).bold(),
    )?;
    for (index, note) in sheet.notes.iter().enumerate() {
        let y = 78.0 + index as f64 * NOTE_LINE;
        paper.text(
            &fit(note, NOTE_SIZE, room),
            MARGIN,
            y,
            Lettering::new(NOTE_SIZE, Ink::Text),
        )?;
    }
    Ok(())
}

/// The largest size from 20 down to 13 at which `text` fits.
fn headline_size(text: &str, width: f64) -> f64 {
    [20.0, 18.0, 16.0, 14.5]
        .into_iter()
        .find(|size| text_width(text, *size) <= width)
        .unwrap_or(13.0)
}

/// Draws a verdict in a box whose top is `top`; gives its right end.
pub(super) fn draw_badge(
    paper: &Paper<'_>,
    badge: &Badge,
    left: f64,
    top: f64,
    size: f64,
) -> Result<f64, PlotError> {
    let word = badge.word.to_uppercase();
    let ink = badge.tone.ink();
    // Bold capitals run about a quarter wider than running text.
    let right = left + text_width(&word, size) * 1.25 + 1.2 * size;
    let bottom = top + 1.6 * size;
    let written = if badge.tone.filled() {
        paper.block(left, top, right, bottom, ink)?;
        Ink::OnBadge
    } else {
        paper.frame(left, top, right, bottom, 1.6, ink)?;
        ink
    };
    let look = Lettering::new(size, written).bold().align(Align::Middle);
    paper.text(&word, (left + right) / 2.0, top + 1.16 * size, look)?;
    Ok(right)
}

/// Side of the box that holds a verdict's mark, in page units.
const MARK_SIDE: f64 = 16.0;

/// Draws a verdict as a mark in a box: a tick, a cross or a query; filled when sure, an outline when
/// conditional or not judged.
pub(super) fn draw_tone(
    paper: &Paper<'_>,
    tone: Tone,
    (left, top): (f64, f64),
) -> Result<(), PlotError> {
    let (right, bottom) = (left + MARK_SIDE, top + MARK_SIDE);
    let written = if tone.filled() {
        paper.block(left, top, right, bottom, tone.ink())?;
        Ink::OnBadge
    } else {
        paper.frame(left, top, right, bottom, 1.4, tone.ink())?;
        tone.ink()
    };
    let at = |x: f64, y: f64| (left + x, top + y);
    match tone {
        Tone::Pass | Tone::ConditionalPass => {
            paper.path(&[at(3.5, 8.5), at(6.8, 12.0), at(12.5, 4.2)], 2.0, written)
        }
        Tone::Fail | Tone::ConditionalFail => {
            paper.path(&[at(4.0, 4.0), at(12.0, 12.0)], 2.0, written)?;
            paper.path(&[at(12.0, 4.0), at(4.0, 12.0)], 2.0, written)
        }
        Tone::Undecided => {
            let look = Lettering::new(12.0, written).bold().align(Align::Middle);
            paper.text("?", left + MARK_SIDE / 2.0, bottom - 3.6, look)
        }
    }
}
