//! A small card to tie to the dial.

use super::PlotError;
use super::heading::draw_badge;
use super::ink::{Ink, Theme};
use super::paper::{self, Align, Lettering, Paper, fit, text_width};
use super::sheet::Badge;

/// Size in page units; at 96 to the inch 95 by 58 mm.
const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 220.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = WIDTH - 14.0;
/// Baseline of the first figure, and of the last small line.
const FIRST: f64 = 87.0;
const LAST: f64 = HEIGHT - 12.0;
/// Most figures and small lines that a card has room for.
const FIGURES_AT_MOST: usize = 5;
const NOTES_AT_MOST: usize = 5;

/// What a card says.
#[derive(Clone, Debug)]
pub(crate) struct TagSheet {
    /// Name of the dial.
    pub dial: String,
    /// Date as the user gave it.
    pub date: Option<String>,
    pub badge: Badge,
    /// Quantity and figure, the most important first.
    pub figures: Vec<(String, String)>,
    /// Lines in small letters: limits, findings, file.
    pub notes: Vec<String>,
}

/// Draws `sheet` as an SVG document, in light colours: it is for paper.
pub(crate) fn draw(sheet: &TagSheet) -> Result<String, PlotError> {
    let title = format!("Dial {}: {}", sheet.dial, sheet.badge.word);
    paper::sheet(WIDTH, HEIGHT, Theme::Light, &title, |paper| {
        outline(paper)?;
        head(paper, sheet)?;
        let notes = &sheet.notes[..sheet.notes.len().min(NOTES_AT_MOST)];
        let first_note = LAST - notes.len().saturating_sub(1) as f64 * 13.0;
        let figures = &sheet.figures[..sheet.figures.len().min(FIGURES_AT_MOST)];
        let pitch = pitch(figures.len(), first_note);
        for (index, (name, figure)) in figures.iter().enumerate() {
            let y = FIRST + index as f64 * pitch;
            paper.text(name, LEFT, y, Lettering::new(12.0, Ink::Quiet))?;
            let look = Lettering::new(12.5, Ink::Text).bold();
            let room = RIGHT - LEFT - 92.0;
            paper.text(&fit(figure, BOLD * 12.5, room), LEFT + 92.0, y, look)?;
        }
        for (index, note) in notes.iter().enumerate() {
            let y = first_note + index as f64 * 13.0;
            let look = Lettering::new(9.5, Ink::Quiet);
            paper.text(&fit(note, 9.5, RIGHT - LEFT), LEFT, y, look)?;
        }
        Ok(())
    })
}

/// From one figure to the next, so that the last stays clear of the small lines below it.
fn pitch(figures: usize, first_note: f64) -> f64 {
    const WIDEST: f64 = 17.0;
    let room = first_note - 12.0 - FIRST;
    match figures {
        0 | 1 => WIDEST,
        _ => WIDEST.min(room / (figures - 1) as f64),
    }
}

/// Bold letters are wider than the estimate of [`text_width`] by this much.
const BOLD: f64 = 1.15;

/// The edge to cut along and the hole for the string.
fn outline(paper: &Paper<'_>) -> Result<(), PlotError> {
    paper.frame(4.0, 4.0, WIDTH - 4.0, HEIGHT - 4.0, 1.2, Ink::Quiet)?;
    paper.disc((30.0, HEIGHT / 2.0), 13.0, Ink::Quiet)?;
    paper.disc((30.0, HEIGHT / 2.0), 11.6, Ink::Paper)?;
    paper.dashes((52.0, 14.0), (52.0, HEIGHT - 14.0), 0.8, Ink::Grid)
}

fn head(paper: &Paper<'_>, sheet: &TagSheet) -> Result<(), PlotError> {
    let date = sheet.date.as_deref().unwrap_or_default();
    let look = Lettering::new(12.0, Ink::Text).align(Align::Right);
    paper.text(date, RIGHT, 30.0, look)?;
    let room = RIGHT - LEFT - if date.is_empty() { 0.0 } else { 84.0 };
    let size = if text_width(&sheet.dial, BOLD * 19.0) < room {
        19.0
    } else {
        13.0
    };
    paper.text(
        &fit(&sheet.dial, BOLD * size, room),
        LEFT,
        31.0,
        Lettering::new(size, Ink::Text).bold(),
    )?;
    draw_badge(paper, &sheet.badge, LEFT, 44.0, 15.0).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Letters of 12.5 units rise some 9 above their baseline and hang 3 below it, small ones rise some 7.
    #[test]
    fn figures_and_small_lines_never_meet() {
        for notes in 1..=NOTES_AT_MOST {
            let first_note = LAST - (notes - 1) as f64 * 13.0;
            for figures in 1..=FIGURES_AT_MOST {
                let pitch = pitch(figures, first_note);
                assert!(pitch >= 12.5, "{figures} above {notes}: {pitch}");
                let last = FIRST + (figures - 1) as f64 * pitch;
                assert!(last + 3.0 <= first_note - 7.0, "{figures} above {notes}");
            }
        }
    }
}
