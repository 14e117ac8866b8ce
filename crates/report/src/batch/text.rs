//! The table of a batch for a person.

use score::Verdict;

use super::nearest::Nearest;
use super::row::Row;
use super::takes::{Dial, Mean};
use crate::figure::{plain, with_uncertainty};
use crate::text::page::{Page, Paint, colour};
use crate::words::{quantity, verdict_words};

/// Widest name of a dial shown in full, in characters.
const NAME_WIDTH: usize = 26;

/// The head of the table, with its line end.
#[must_use]
pub fn table_head(paint: Paint) -> String {
    let mut page = Page::new(paint);
    page.line(
        0,
        &format!(
            "{:<17}{:<27}{:>5}  {:<17} {:<17} {:<23} findings",
            "verdict", "dial", "takes", "speed, pps", "break, %", "nearest limit"
        ),
    );
    page.finish()
}

/// One dial in a row, and in a second row how its takes differ or what is wrong, with line ends.
#[must_use]
pub fn table_row(dial: &Dial, paint: Paint) -> String {
    let mut page = Page::new(paint);
    let verdict = dial.verdict();
    let word = page.painted(&format!("{:<16}", word(dial)), colour(verdict));
    let row = format!(
        "{word} {:<26} {:>5}  {:<17} {:<17} {:<23} {}",
        shortened(&dial.name),
        dial.takes.len(),
        figure(dial.speed_pps()),
        figure(dial.percent_break()),
        dial.nearest().map(inside).unwrap_or_default(),
        dial.findings().join(", ")
    );
    page.raw(row.trim_end());
    if let Some(trouble) = dial.trouble() {
        page.paragraph_after(&" ".repeat(17), trouble);
    }
    if let Some(receivers) = receivers(dial) {
        page.paragraph_after(&" ".repeat(17), &receivers);
    }
    page.finish() + &spread_row(dial)
}

fn spread_row(dial: &Dial) -> String {
    let spread = |mean: Option<Mean>| mean.and_then(|mean| mean.spread);
    let (Some(speed), Some(share)) = (spread(dial.speed_pps()), spread(dial.percent_break()))
    else {
        return String::new();
    };
    let (speed, share) = (format!("spread {speed:.3}"), format!("spread {share:.2}"));
    format!("{:<52}{speed:<17} {share}\n", "")
}

/// What receivers make of a dial, in words: `adapter: will be understood`.
pub(super) fn receivers(dial: &Dial) -> Option<String> {
    let answers: Vec<String> = dial
        .receivers()
        .iter()
        .map(|(name, answer)| format!("{name}: {}", answer.words()))
        .collect();
    (!answers.is_empty()).then(|| answers.join("; "))
}

/// The word of a dial in the table.
pub(super) fn word(dial: &Dial) -> &'static str {
    match dial.verdict() {
        _ if dial.is_unreadable() => "cannot be read",
        Verdict::NotJudged if dial.takes.iter().all(Row::is_measured) => "measured",
        verdict => verdict_words(verdict),
    }
}

fn figure(mean: Option<Mean>) -> String {
    mean.map_or_else(
        || "-".to_owned(),
        |mean| with_uncertainty(mean.value.value, mean.value.u95),
    )
}

/// The nearest limit in words: `speed 0.31 pps inside`.
pub(super) fn inside(nearest: &Nearest) -> String {
    let (name, unit) = quantity(&nearest.quantity);
    let name = name
        .strip_prefix("pulsing ")
        .or(name.strip_prefix("percent "))
        .unwrap_or(name);
    let side = if nearest.inside < 0.0 {
        "outside"
    } else {
        "inside"
    };
    let distance = plain((nearest.inside.abs() * 1e3).round() / 1e3);
    format!("{name} {distance} {unit} {side}").replace("  ", " ")
}

/// A long path keeps its end, which tells more than its beginning: if it fits, the whole file name.
fn shortened(name: &str) -> String {
    let safe: Vec<char> = name
        .chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect();
    if safe.len() <= NAME_WIDTH {
        return safe.into_iter().collect();
    }
    let room = safe.len() - NAME_WIDTH + 1;
    let whole = safe[room..].iter().position(|c| *c == '/').unwrap_or(0);
    std::iter::once(&'…').chain(&safe[room + whole..]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_paths_are_cut_at_a_folder_where_they_can_be() {
        assert_eq!(shortened("box/hall-7-1.wav"), "box/hall-7-1.wav");
        assert_eq!(
            shortened("a/long/way/to/the/box/hall-7-1.wav"),
            "…/to/the/box/hall-7-1.wav"
        );
        assert_eq!(
            shortened("one-name-that-is-longer-than-the-column.wav"),
            "…onger-than-the-column.wav"
        );
    }
}
