//! A comparison for a person at a terminal.

use score::Verdict;

use super::{Change, Comparison, Step, digit_name, name_and_unit, signed};
use crate::figure::with_uncertainty;
use crate::saved::{Saved, SavedFinding};
use crate::text::page::{Page, Paint};
use crate::words::{pulses, verdict_words};

/// The comparison as text, with a newline at its end.
#[must_use]
pub fn text(comparison: &Comparison, paint: Paint) -> String {
    let mut page = Page::new(paint);
    recordings(&mut page, &comparison.recordings);
    if let Some(caution) = limits_differ(&comparison.recordings) {
        page.blank();
        page.paragraph(2, caution);
    }
    for step in &comparison.steps {
        show_step(&mut page, comparison, step);
    }
    page.blank();
    page.paragraph(
        2,
        "± is the 95 % uncertainty of the measurement, the recorders' clocks included. A change within its ± \
        is not shown to be one. A dial also differs from one winding to the next: more takes show by how much.",
    );
    page.finish()
}

/// Every recording with its verdict and the set that it was judged by.
fn recordings(page: &mut Page, recordings: &[Saved]) {
    page.line(0, "no.  verdict           limits            recording");
    for (index, saved) in recordings.iter().enumerate() {
        let word = page.painted(
            &format!("{:<17}", word(saved)),
            crate::text::page::colour(saved.verdict),
        );
        let limits = saved.limits.as_ref().map_or("none", |limits| &limits.name);
        let name: String = saved
            .input
            .chars()
            .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
            .collect();
        page.raw(&format!("{:>3}  {word} {limits:<17} {name}", index + 1));
    }
}

/// What keeps verdicts of different sets from being compared; a saved verdict stays what it was.
pub(super) fn limits_differ(recordings: &[Saved]) -> Option<&'static str> {
    let name = |saved: &Saved| saved.limits.as_ref().map(|limits| limits.name.clone());
    let first = recordings.first().and_then(name);
    let differ = recordings.iter().any(|saved| name(saved) != first);
    differ.then_some(
        "The recordings were judged by different limits, so their verdicts and what limits lead to among their findings \
        cannot be compared; compare the recordings themselves to judge all by one set.",
    )
}

/// What each receiver made of the dial before and after, one line each.
pub(super) fn receivers(before: &Saved, after: &Saved) -> Vec<String> {
    let answer = |saved: &Saved, name: &str| {
        let of = saved
            .receivers
            .iter()
            .find(|answer| answer.receiver == name);
        of.map_or("not asked", |answer| answer.understood.words())
    };
    let mut names: Vec<&str> = Vec::new();
    for answer in before.receivers.iter().chain(&after.receivers) {
        if !names.contains(&answer.receiver.as_str()) {
            names.push(&answer.receiver);
        }
    }
    let line = |name: &str| match (answer(before, name), answer(after, name)) {
        (one, two) if one == two => format!("{name}: {one}, as before"),
        (one, two) => format!("{name}: {one} before, {two} after"),
    };
    names.into_iter().map(line).collect()
}

/// The verdict in words; without limits nothing was judged.
pub(super) fn word(saved: &Saved) -> &'static str {
    match saved.verdict {
        _ if saved.error.is_some() => "cannot be read",
        Verdict::NotJudged if saved.limits.is_none() && !saved.digits.is_empty() => "measured",
        verdict => verdict_words(verdict),
    }
}

fn show_step(page: &mut Page, comparison: &Comparison, step: &Step) {
    let (before, after) = (
        &comparison.recordings[step.before],
        &comparison.recordings[step.after],
    );
    page.heading(&format!(
        "From {} to {}: {}",
        step.before + 1,
        step.after + 1,
        verdict_change(before, after)
    ));
    if step.pairing.pairs.is_empty() {
        page.paragraph(2, &nothing_to_compare(before, after));
    }
    for (&(index, _), changes) in step.pairing.pairs.iter().zip(&step.changes) {
        let digit = &before.digits[index];
        page.line(
            2,
            &format!("digit {}, {}", digit_name(digit), pulses(digit.pulses)),
        );
        table(page, changes, comparison);
    }
    lone(page, "only before", before, &step.pairing.only_before);
    lone(page, "only after", after, &step.pairing.only_after);
    findings(page, "findings gone", &step.gone);
    findings(page, "findings new", &step.came);
    findings(page, "findings still there", &step.stayed);
    for line in receivers(before, after) {
        page.paragraph_after("  receiver ", &line);
    }
    shift(page, comparison, step);
}

fn verdict_change(before: &Saved, after: &Saved) -> String {
    let (one, two) = (word(before), word(after));
    if one == two {
        format!("{one}, as before")
    } else {
        format!("{one} before, {two} after")
    }
}

/// Why no digit stands beside another.
pub(super) fn nothing_to_compare(before: &Saved, after: &Saved) -> String {
    for (saved, which) in [(before, "before"), (after, "after")] {
        if let Some(error) = &saved.error {
            return format!("the recording {which} could not be read: {}", error.message);
        }
        if saved.sure_digits().next().is_none() {
            return format!(
                "the recording {which} holds no digit whose pulse count is beyond doubt"
            );
        }
    }
    "no digit of one has as many pulses as one of the other: dial the same digit before and after"
        .to_owned()
}

fn table(page: &mut Page, changes: &[Change], comparison: &Comparison) {
    let cells: Vec<[String; 4]> = changes
        .iter()
        .map(|change| {
            [
                narrow_name(change.quantity).to_owned(),
                with_value(change, |change| change.before),
                with_value(change, |change| change.after),
                signed(change.change),
            ]
        })
        .collect();
    let head = ["", "before", "after", "change"];
    // A column is as wide as its longest figure, and two blanks part it from the next.
    let width = |column: usize| {
        let longest = cells.iter().map(|row| row[column].chars().count()).max();
        longest.unwrap_or(0).max(head[column].len())
    };
    let widths = [width(0), width(1), width(2), width(3)];
    let line = |row: [&str; 4]| -> String {
        let padded = row
            .iter()
            .zip(widths)
            .map(|(cell, width)| format!("{cell:<width$}"));
        padded.collect::<Vec<_>>().join("  ")
    };
    page.line(2, line(head).trim_end());
    for (change, row) in changes.iter().zip(&cells) {
        let row = format!("  {}  ", line([&row[0], &row[1], &row[2], &row[3]]));
        let judged = comparison
            .max_shifts
            .iter()
            .find_map(|shift| shift.verdict(change));
        let word = if change.is_shown() {
            "changed"
        } else {
            "within ±"
        };
        // Without colours the word must tell which quantity shifted too far.
        let beyond = judged
            .filter(|verdict| *verdict != Verdict::Pass)
            .map(|verdict| format!(", shift: {}", verdict_words(verdict)))
            .unwrap_or_default();
        let word = format!("{word}{beyond}");
        page.verdict_row(&row, judged.unwrap_or(Verdict::NotJudged), &word);
    }
}

/// A quantity and its unit in as many characters as the table has room for.
fn narrow_name(quantity: &str) -> &'static str {
    match quantity {
        "speed_pps" => "speed, pps",
        "percent_break" => "break, %",
        "percent_break_half_step" => " at half step",
        "break_ms" => "break, ms",
        "make_ms" => "make, ms",
        "slow_down_percent" => "slow-down, %",
        "unevenness_percent" => "unevenness, %",
        "chatter_ms" => "chatter, ms",
        _ => "",
    }
}

/// A value with its uncertainty; chatter has a floor instead, under which nothing is seen.
pub(super) fn with_value(change: &Change, of: impl Fn(&Change) -> score::Value) -> String {
    let value = of(change);
    if change.quantity != "chatter_ms" {
        return with_uncertainty(value.value, value.u95);
    }
    if value.value == 0.0 {
        format!("none over {:.2}", value.u95)
    } else {
        format!("{:.2}", value.value)
    }
}

fn lone(page: &mut Page, words: &str, saved: &Saved, indexes: &[usize]) {
    if indexes.is_empty() {
        return;
    }
    let names: Vec<&str> = indexes
        .iter()
        .map(|index| digit_name(&saved.digits[*index]))
        .collect();
    page.paragraph(2, &format!("{words}: digit {}", names.join(", ")));
}

fn findings(page: &mut Page, words: &str, findings: &[SavedFinding]) {
    if findings.is_empty() {
        return;
    }
    let titles: Vec<String> = findings
        .iter()
        .map(|finding| format!("{} ({})", finding.title, finding.code))
        .collect();
    page.paragraph_after(&format!("  {words}: "), &titles.join("; "));
}

/// What is said of the shifts that were allowed.
fn shift(page: &mut Page, comparison: &Comparison, step: &Step) {
    if let Some(verdict) = step.shift {
        let line = shift_line(comparison);
        page.verdict_row(&format!("  {line}: "), verdict, verdict_words(verdict));
    }
}

/// The allowed shifts in words.
pub(super) fn shift_line(comparison: &Comparison) -> String {
    let shifts: Vec<String> = comparison
        .max_shifts
        .iter()
        .map(|shift| {
            let (name, unit) = name_and_unit(&shift.quantity);
            format!(
                "{} by at most {} {unit}",
                name.trim(),
                crate::figure::plain(shift.most)
            )
        })
        .collect();
    format!("allowed shift, {}", shifts.join(", "))
}
