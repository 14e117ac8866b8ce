//! Several takes of one dial, and what receivers make of it.

use score::{Answer, Check, Taken, Takes};

use super::page::{Page, Paint};
use crate::figure::{limits, to_its_place, with_uncertainty};
use crate::words::{quantity, verdict_words};

/// Takes over several recordings, with a newline at the end.
#[must_use]
pub fn text_takes(takes: &Takes) -> String {
    let mut page = Page::new(Paint::Plain);
    write_takes(&mut page, takes, "of the recordings together");
    page.finish()
}

/// Writes mean and spread beside the uncertainty that the recordings allow.
pub(super) fn write_takes(page: &mut Page, takes: &Takes, of_what: &str) {
    page.heading(&format!(
        "Takes {of_what}: {} of {} pulses",
        takes.count, takes.pulses
    ));
    for taken in &takes.quantities {
        let (name, unit) = quantity(taken.quantity);
        page.line(
            2,
            &format!(
                "{name:<16} mean {}",
                in_unit(&with_uncertainty(taken.mean, taken.u95_as_read()), unit)
            ),
        );
        page.paragraph(4, &spread(taken, unit));
        if let Some(check) = &taken.check {
            page.line(4, &judged(check, unit));
        }
    }
    if let Some(seconds) = takes.ten_pulses_s() {
        page.line(
            2,
            &format!("ten pulses in {seconds:.3} s; one pps is one impulse a second (ips)"),
        );
    }
}

/// A figure with its unit; a ratio has none.
fn in_unit(figure: &str, unit: &str) -> String {
    format!("{figure} {unit}").trim_end().to_owned()
}

/// How the takes differ, in words.
pub(crate) fn spread(taken: &Taken, unit: &str) -> String {
    let place = |value: f64| to_its_place(value, taken.u95_as_read());
    let (least, most) = taken.range;
    let decides = if taken.spread_decides() {
        "the spread between takes decides"
    } else {
        "what the recordings leave uncertain decides"
    };
    format!(
        "from {} to {}, spread {}; {decides}",
        place(least),
        in_unit(&place(most), unit),
        to_its_place(taken.spread, taken.spread)
    )
}

/// What the mean is worth against the limits, in words.
pub(crate) fn judged(check: &Check, unit: &str) -> String {
    let range = check
        .as_quoted
        .clone()
        .unwrap_or_else(|| limits(check.lower, check.upper));
    format!(
        "{} against {}",
        verdict_words(check.verdict),
        in_unit(&range, unit)
    )
}

/// Writes what each receiver makes of the dial: another question than whether it is in adjustment.
pub(super) fn write_receivers(page: &mut Page, answers: &[Answer]) {
    if answers.is_empty() {
        return;
    }
    page.heading("Will it be understood (not: is it in adjustment)");
    for answer in answers {
        page.item(&format!(
            "{}, {}: {}",
            answer.receiver,
            answer.title,
            answer.understood.words()
        ));
        page.paragraph(
            4,
            &format!(
                "grade {} ({}): {}",
                answer.grade.name(),
                answer.grade.words(),
                answer.source
            ),
        );
        for reason in &answer.reasons {
            page.paragraph(4, reason);
        }
    }
}
