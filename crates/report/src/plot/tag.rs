//! A small card to tie to the dial.

use super::PlotError;
use super::heading::draw_badge;
use super::ink::{Ink, Theme};
use super::paper::{self, Align, Lettering, Paper, fit};
use super::sheet::Badge;

/// Size in page units; at 96 to the inch 95 by 58 mm.
const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 220.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = WIDTH - 14.0;

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
        let figures = &sheet.figures[..sheet.figures.len().min(5)];
        for (index, (name, figure)) in figures.iter().enumerate() {
            let y = 94.0 + index as f64 * 17.0;
            paper.text(name, LEFT, y, Lettering::new(12.0, Ink::Quiet))?;
            let look = Lettering::new(12.5, Ink::Text).bold();
            paper.text(
                &fit(figure, 12.5, RIGHT - LEFT - 92.0),
                LEFT + 92.0,
                y,
                look,
            )?;
        }
        let notes = &sheet.notes[..sheet.notes.len().min(4)];
        for (index, note) in notes.iter().enumerate() {
            let y = HEIGHT - 12.0 - (notes.len() - 1 - index) as f64 * 13.0;
            paper.text(
                &fit(note, 9.5, RIGHT - LEFT),
                LEFT,
                y,
                Lettering::new(9.5, Ink::Quiet),
            )?;
        }
        Ok(())
    })
}

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
    let size = if paper::text_width(&sheet.dial, 19.0) < room {
        19.0
    } else {
        13.0
    };
    paper.text(
        &fit(&sheet.dial, size, room),
        LEFT,
        31.0,
        Lettering::new(size, Ink::Text).bold(),
    )?;
    draw_badge(paper, &sheet.badge, LEFT, 44.0, 15.0).map(drop)
}
