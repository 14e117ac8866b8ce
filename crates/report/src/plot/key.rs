//! What the marks of a plot stand for.

use super::PlotError;
use super::figure_panel;
use super::heading;
use super::ink::Ink;
use super::paper::{Lettering, Paper, text_width};
use super::sheet::{Marker, Sheet, Tone};
use super::trace_panel;

const SIZE: f64 = 11.0;
const MARK_WIDTH: f64 = 20.0;
const SPACE: f64 = 16.0;
const LINE: f64 = 22.0;
const BOTTOM: f64 = 8.0;

/// One mark and its meaning.
#[derive(Clone, Debug, PartialEq)]
enum Entry {
    Break,
    Make,
    Chatter,
    OffNormal,
    Limits,
    Uncertainty,
    Mean,
    Verdict(Tone),
    LeftOut(usize),
}

impl Entry {
    fn words(&self) -> String {
        match self {
            Entry::Break => "break".to_owned(),
            Entry::Make => "make".to_owned(),
            Entry::Chatter => "chatter".to_owned(),
            Entry::OffNormal => "off-normal step".to_owned(),
            Entry::Limits => "within limits".to_owned(),
            Entry::Uncertainty => {
                "value; bar: 95 % uncertainty, where larger than the mark".to_owned()
            }
            Entry::Mean => "mean of the digit".to_owned(),
            Entry::Verdict(tone) => tone.word().to_owned(),
            Entry::LeftOut(count) => format!("{count} more digits are not drawn"),
        }
    }

    /// Draws the mark with its left end at `x`, beside text whose baseline is `y`.
    fn mark(&self, paper: &Paper<'_>, x: f64, y: f64) -> Result<(), PlotError> {
        match self {
            Entry::Break => paper.block(x, y - 9.0, x + 15.0, y + 1.0, Ink::Break),
            Entry::Make => paper.frame(x, y - 9.0, x + 15.0, y + 1.0, 1.0, Ink::Break),
            Entry::Chatter => trace_panel::cross(paper, (x + 8.0, y - 4.0)),
            Entry::OffNormal => trace_panel::flag(paper, (x + 8.0, y - 8.0)),
            Entry::Limits => {
                paper.block(x, y - 9.0, x + 15.0, y + 1.0, Ink::Band)?;
                paper.dashes((x, y - 9.0), (x + 15.0, y - 9.0), 1.2, Ink::Limit)
            }
            Entry::Uncertainty => {
                figure_panel::bar(paper, x + 8.0, y - 10.0, y + 2.0, Ink::Text)?;
                figure_panel::mark(paper, Marker::Disc, (x + 8.0, y - 4.0), 3.0, Ink::Text)
            }
            Entry::Mean => paper.line((x, y - 4.0), (x + 15.0, y - 4.0), 1.6, Ink::Text),
            Entry::Verdict(tone) => heading::draw_tone(paper, *tone, (x - 1.0, y - 12.0)),
            Entry::LeftOut(_) => Ok(()),
        }
    }
}

/// The marks that `sheet` uses.
fn entries(sheet: &Sheet<'_>, left_out: usize) -> Vec<Entry> {
    let series = || sheet.figures.iter().flat_map(|figure| &figure.series);
    let points = series().any(|s| s.points.iter().any(|digit| !digit.is_empty()));
    let candidates = [
        (!sheet.strips.is_empty(), Entry::Break),
        (sheet.strips.iter().any(|s| s.breaks.len() > 1), Entry::Make),
        (
            sheet.strips.iter().any(|s| !s.chatter.is_empty()),
            Entry::Chatter,
        ),
        (
            sheet.strips.iter().any(|s| !s.steps.is_empty()),
            Entry::OffNormal,
        ),
        (
            points && series().any(|s| s.lower.or(s.upper).is_some()),
            Entry::Limits,
        ),
        (points, Entry::Uncertainty),
        (
            series().any(|s| s.means.iter().any(Option::is_some)),
            Entry::Mean,
        ),
    ];
    let plain = candidates
        .into_iter()
        .filter(|(used, _)| *used)
        .map(|(_, entry)| entry);
    let verdicts = tones(sheet).into_iter().map(Entry::Verdict);
    let rest = (left_out > 0).then_some(Entry::LeftOut(left_out));
    plain.chain(verdicts).chain(rest).collect()
}

/// The verdicts that are drawn as marks, each once.
fn tones(sheet: &Sheet<'_>) -> Vec<Tone> {
    let several = sheet.strips.len() > 1;
    let all = [
        Tone::Pass,
        Tone::ConditionalPass,
        Tone::ConditionalFail,
        Tone::Fail,
        Tone::Undecided,
    ];
    all.into_iter()
        .filter(|tone| several && sheet.strips.iter().any(|s| s.tone == Some(*tone)))
        .collect()
}

/// Entries with their place: distance from the left end, and line.
fn places(sheet: &Sheet<'_>, width: f64, left_out: usize) -> Vec<(Entry, f64, usize)> {
    let (mut x, mut line) = (0.0, 0);
    let place = |entry: Entry| {
        let taken = MARK_WIDTH + text_width(&entry.words(), SIZE) + SPACE;
        if x + taken > width {
            (x, line) = (0.0, line + 1);
        }
        let placed = (entry, x, line);
        x += taken;
        placed
    };
    entries(sheet, left_out).into_iter().map(place).collect()
}

/// Height that the key takes, in page units.
pub(super) fn height(sheet: &Sheet<'_>, width: f64, left_out: usize) -> f64 {
    let lines = places(sheet, width, left_out)
        .last()
        .map_or(0, |(_, _, line)| line + 1);
    lines as f64 * LINE + BOTTOM
}

/// Draws the key between `left` and `right` from `top` on.
pub(super) fn draw(
    paper: &Paper<'_>,
    sheet: &Sheet<'_>,
    (left, right): (f64, f64),
    top: f64,
    left_out: usize,
) -> Result<(), PlotError> {
    for (entry, x, line) in places(sheet, right - left, left_out) {
        let y = top + (line + 1) as f64 * LINE - 6.0;
        entry.mark(paper, left + x, y)?;
        paper.text(
            &entry.words(),
            left + x + MARK_WIDTH,
            y,
            Lettering::new(SIZE, Ink::Quiet),
        )?;
    }
    Ok(())
}
