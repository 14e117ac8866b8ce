//! The trace with its breaks and makes, and the contact ribbon below it.

use edges::Envelope;

use super::PlotError;
use super::fold::Stretch;
use super::frame;
use super::heading::draw_tone;
use super::ink::Ink;
use super::paper::{Align, Lettering, Paper, text_width};
use super::rows::Row;
use super::scale::Scale;
use super::sheet::{Sheet, Strip};

/// Height of the labels of several digits above the trace, in page units.
pub(super) const LABEL_HEIGHT: f64 = 26.0;
/// Height of the name above the trace.
pub(super) const TITLE_HEIGHT: f64 = 20.0;
/// Height of pulse numbers and contact ribbon below the trace.
pub(super) const RIBBON_HEIGHT: f64 = 56.0;

const RIBBON_TOP: f64 = 28.0;
const RIBBON_BAR: f64 = 20.0;

/// Draws the digits of a row from `top` on; gives the bottom.
pub(super) fn draw(
    paper: &Paper<'_>,
    sheet: &Sheet<'_>,
    row: &Row,
    top: f64,
    height: f64,
    single: bool,
) -> Result<f64, PlotError> {
    let strips = &sheet.strips[row.digits.clone()];
    let title_bottom = top + TITLE_HEIGHT;
    let upper = if single {
        title_bottom
    } else {
        title_bottom + LABEL_HEIGHT
    };
    let lower = upper + height;
    let left = row.axis.stretches.first().map_or(0.0, |s| s.left);
    paper.text(
        "Trace, full scale = 1",
        left,
        title_bottom - 6.0,
        Lettering::new(12.0, Ink::Text).bold(),
    )?;
    let scale = level_scale(sheet, row, upper, lower);
    draw_levels(paper, row, &scale)?;
    for strip in strips {
        draw_breaks(paper, strip, row, upper, lower)?;
        if !single {
            draw_label(paper, strip, row, title_bottom, lower)?;
        }
    }
    draw_traces(paper, sheet, row, &scale)?;
    for strip in strips {
        draw_steps(paper, strip, row, upper, lower)?;
        draw_ribbon(paper, strip, row, (upper, lower))?;
        draw_chatter(paper, strip, row, lower)?;
    }
    draw_pauses(paper, strips, row, lower)?;
    Ok(lower + RIBBON_HEIGHT)
}

/// The trace of a stretch: that of its digits, or the overview where no digit is.
fn envelopes<'a>(sheet: &Sheet<'a>, row: &Row, stretch: &Stretch) -> Vec<&'a Envelope> {
    let digits = sheet.strips[row.digits.clone()].iter();
    let within: Vec<_> = digits
        .flat_map(|strip| strip.envelopes.iter().copied())
        .filter(|e| overlaps(e, stretch))
        .collect();
    if within.is_empty() {
        vec![sheet.overview]
    } else {
        within
    }
}

fn overlaps(envelope: &Envelope, stretch: &Stretch) -> bool {
    let end_s = envelope.start_s + envelope.spacing_s * envelope.low.len() as f64;
    envelope.start_s < stretch.end_s && end_s > stretch.start_s
}

fn draw_traces(
    paper: &Paper<'_>,
    sheet: &Sheet<'_>,
    row: &Row,
    scale: &Scale,
) -> Result<(), PlotError> {
    for stretch in &row.axis.stretches {
        for envelope in envelopes(sheet, row, stretch) {
            draw_envelope(paper, envelope, stretch, scale)?;
        }
    }
    Ok(())
}

/// Scale that holds every sample of the row, with a little room.
fn level_scale(sheet: &Sheet<'_>, row: &Row, upper: f64, lower: f64) -> Scale {
    let drawn: Vec<_> = row
        .axis
        .stretches
        .iter()
        .flat_map(|stretch| envelopes(sheet, row, stretch))
        .collect();
    let envelopes = || drawn.iter();
    let lowest = envelopes()
        .flat_map(|e| &e.low)
        .fold(f64::INFINITY, |a, b| a.min(f64::from(*b)));
    let greatest = envelopes()
        .flat_map(|e| &e.high)
        .fold(f64::NEG_INFINITY, |a, b| a.max(f64::from(*b)));
    let (lowest, greatest) = if lowest < greatest {
        (lowest, greatest)
    } else {
        (-1.0, 1.0)
    };
    let room = 0.06 * (greatest - lowest);
    Scale::new(lowest - room, greatest + room, lower, upper)
}

fn draw_levels(paper: &Paper<'_>, row: &Row, scale: &Scale) -> Result<(), PlotError> {
    let stretches = row.axis.stretches.iter();
    let spans: Vec<_> = stretches
        .map(|stretch| (stretch.left, stretch.right))
        .collect();
    frame::levels(paper, scale, &spans, 5.0)
}

/// Tints the breaks behind the trace, so that the eye can join trace and ribbon.
fn draw_breaks(
    paper: &Paper<'_>,
    strip: &Strip<'_>,
    row: &Row,
    upper: f64,
    lower: f64,
) -> Result<(), PlotError> {
    for &(open, close) in &strip.breaks {
        if let (Some(left), Some(right)) = (row.axis.place(open), row.axis.place(close)) {
            paper.block(left, upper, right, lower + RIBBON_TOP, Ink::BreakTint)?;
            paper.line((left, upper), (left, lower + RIBBON_TOP), 0.8, Ink::Break)?;
            paper.dashes((right, upper), (right, lower + RIBBON_TOP), 0.8, Ink::Break)?;
        }
    }
    Ok(())
}

/// Boxes a digit and names it.
fn draw_label(
    paper: &Paper<'_>,
    strip: &Strip<'_>,
    row: &Row,
    top: f64,
    lower: f64,
) -> Result<(), PlotError> {
    let Some((first, last)) = strip.span() else {
        return Ok(());
    };
    let (Some(left), Some(right)) = (row.axis.place(first), row.axis.place(last)) else {
        return Ok(());
    };
    let (left, right) = (left - 5.0, right + 5.0);
    let bottom = top + LABEL_HEIGHT - 3.0;
    paper.frame(
        left,
        bottom,
        right,
        lower + RIBBON_TOP + RIBBON_BAR + 4.0,
        1.2,
        Ink::Quiet,
    )?;
    paper.text(
        &strip.label,
        left,
        bottom - 5.0,
        Lettering::new(17.0, Ink::Text).bold(),
    )?;
    match strip.tone {
        Some(tone) => draw_tone(
            paper,
            tone,
            (left + text_width(&strip.label, 17.0) + 6.0, top + 3.0),
        ),
        None => Ok(()),
    }
}

/// Draws minima and maxima as one shape, never thinner than a line.
fn draw_envelope(
    paper: &Paper<'_>,
    envelope: &Envelope,
    stretch: &Stretch,
    scale: &Scale,
) -> Result<(), PlotError> {
    let columns = page_columns(envelope, stretch);
    if columns.len() < 2 {
        return Ok(());
    }
    draw_jumps(paper, &columns, scale)?;
    let above = columns.iter().map(|c| (c.x, scale.place(c.greatest) - 0.5));
    let below = columns
        .iter()
        .rev()
        .map(|c| (c.x, scale.place(c.least) + 0.5));
    let outline: Vec<_> = above.chain(below).collect();
    paper.shape(&outline, Ink::Trace)
}

/// Joins columns that a step parts, so that its flank is seen however steep.
fn draw_jumps(paper: &Paper<'_>, columns: &[Column], scale: &Scale) -> Result<(), PlotError> {
    for pair in columns.windows(2) {
        let (from, to) = (&pair[0], &pair[1]);
        let (from_y, to_y) = if to.least > from.greatest {
            (from.greatest, to.least)
        } else if to.greatest < from.least {
            (from.least, to.greatest)
        } else {
            continue;
        };
        paper.line(
            (from.x, scale.place(from_y)),
            (to.x, scale.place(to_y)),
            1.2,
            Ink::Trace,
        )?;
    }
    Ok(())
}

/// Extremes of the trace at one place of the page.
struct Column {
    x: f64,
    least: f64,
    greatest: f64,
}

/// The envelope within `stretch`, at most two columns a page unit.
fn page_columns(envelope: &Envelope, stretch: &Stretch) -> Vec<Column> {
    const FINEST: f64 = 0.5;
    let mut columns: Vec<Column> = Vec::new();
    for (index, (least, greatest)) in envelope.low.iter().zip(&envelope.high).enumerate() {
        let time_s = envelope.start_s + (index as f64 + 0.5) * envelope.spacing_s;
        if time_s < stretch.start_s || time_s > stretch.end_s {
            continue;
        }
        let (x, least, greatest) = (
            stretch.place(time_s),
            f64::from(*least),
            f64::from(*greatest),
        );
        match columns.last_mut() {
            Some(last) if x - last.x < FINEST => {
                last.least = last.least.min(least);
                last.greatest = last.greatest.max(greatest);
            }
            _ => columns.push(Column { x, least, greatest }),
        }
    }
    columns
}

/// Marks the off-normal contacts' steps.
fn draw_steps(
    paper: &Paper<'_>,
    strip: &Strip<'_>,
    row: &Row,
    upper: f64,
    lower: f64,
) -> Result<(), PlotError> {
    for step in &strip.steps {
        if let Some(x) = row.axis.place(*step) {
            paper.dashes((x, upper), (x, lower), 1.0, Ink::Share)?;
            flag(paper, (x, upper - 2.0))?;
        }
    }
    Ok(())
}

/// The mark of an off-normal step: a triangle that points at its instant.
pub(super) fn flag(paper: &Paper<'_>, (x, y): (f64, f64)) -> Result<(), PlotError> {
    paper.shape(&[(x - 5.0, y), (x + 5.0, y), (x, y + 9.0)], Ink::Share)
}

/// The mark of chatter.
pub(super) fn cross(paper: &Paper<'_>, (x, y): (f64, f64)) -> Result<(), PlotError> {
    paper.line((x - 3.5, y - 3.5), (x + 3.5, y + 3.5), 1.8, Ink::Chatter)?;
    paper.line((x - 3.5, y + 3.5), (x + 3.5, y - 3.5), 1.8, Ink::Chatter)
}

/// Draws breaks as filled and makes as empty blocks, numbered, with their length where it fits.
fn draw_ribbon(
    paper: &Paper<'_>,
    strip: &Strip<'_>,
    row: &Row,
    (upper, lower): (f64, f64),
) -> Result<(), PlotError> {
    let (top, bottom) = (lower + RIBBON_TOP, lower + RIBBON_TOP + RIBBON_BAR);
    for (index, &(open, close)) in strip.breaks.iter().enumerate() {
        let (Some(left), Some(right)) = (row.axis.place(open), row.axis.place(close)) else {
            continue;
        };
        paper.block(left, top, right, bottom, Ink::Break)?;
        let number = (index + 1).to_string();
        let middle = Lettering::new(12.0, Ink::Text).bold().align(Align::Middle);
        // Of narrow pulses only every fifth is numbered, and the first.
        if right - left > 15.0 || index == 0 || (index + 1) % 5 == 0 {
            paper.text(&number, (left + right) / 2.0, top - 5.0, middle)?;
        }
        length(paper, (left, right), close - open, bottom, Ink::OnBreak)?;
        let next = strip.breaks.get(index + 1);
        let make = next.map(|(reopen, _)| format!(", make {:.2} ms", (reopen - close) * 1e3));
        let words = format!(
            "pulse {number}: break {:.2} ms{}",
            (close - open) * 1e3,
            make.unwrap_or_default()
        );
        let reach = next.and_then(|(reopen, _)| row.axis.place(*reopen));
        paper.spot(left, upper, reach.unwrap_or(right), bottom, &words);
        let Some(&(reopen, _)) = next else {
            continue;
        };
        if let Some(next) = row.axis.place(reopen) {
            paper.frame(right, top + 0.5, next, bottom - 0.5, 1.0, Ink::Break)?;
            length(paper, (right, next), reopen - close, bottom, Ink::Text)?;
        }
    }
    Ok(())
}

/// Writes a length in ms within a block of the ribbon, if there is room.
fn length(
    paper: &Paper<'_>,
    (left, right): (f64, f64),
    seconds: f64,
    bottom: f64,
    ink: Ink,
) -> Result<(), PlotError> {
    let text = format!("{:.1}", seconds * 1e3);
    let fits = |size: f64| text_width(&text, size) + 3.0 <= right - left;
    let Some(size) = [11.0, 10.0].into_iter().find(|size| fits(*size)) else {
        return Ok(());
    };
    paper.text(
        &text,
        (left + right) / 2.0,
        bottom - 6.0,
        Lettering::new(size, ink).align(Align::Middle),
    )
}

/// Marks chatter with crosses above the ribbon.
fn draw_chatter(
    paper: &Paper<'_>,
    strip: &Strip<'_>,
    row: &Row,
    lower: f64,
) -> Result<(), PlotError> {
    for instant in &strip.chatter {
        if let Some(x) = row.axis.place(*instant) {
            cross(paper, (x, lower + 7.0))?;
        }
    }
    Ok(())
}

/// Writes the interdigital pauses between the ribbons of neighbouring digits.
fn draw_pauses(
    paper: &Paper<'_>,
    strips: &[Strip<'_>],
    row: &Row,
    lower: f64,
) -> Result<(), PlotError> {
    for pair in strips.windows(2) {
        let (Some((_, last)), Some((first, _))) = (pair[0].span(), pair[1].span()) else {
            continue;
        };
        let (Some(left), Some(right)) = (row.axis.place(last), row.axis.place(first)) else {
            continue;
        };
        let text = format!("{:.0} ms", (first - last) * 1e3);
        if text_width(&text, 11.0) < right - left - 16.0 {
            let look = Lettering::new(11.0, Ink::Quiet).align(Align::Middle);
            paper.text(&text, (left + right) / 2.0, lower + RIBBON_TOP + 14.0, look)?;
        }
    }
    Ok(())
}
