//! The table of several digits.

use score::{Digit, Settings, Value};

use super::page::Page;
use crate::figure::{clock_joined, with_uncertainty};
use crate::words::name;
use crate::words::verdict_words;

/// Writes one line a digit.
pub(super) fn table(page: &mut Page, digits: &[Digit], settings: &Settings) {
    page.blank();
    page.line(
        2,
        "no.  digit  pulses  speed, pps          break, %          pause, ms  verdict",
    );
    for (index, digit) in digits.iter().enumerate() {
        let clock =
            |value: Value| with_uncertainty(value.value, clock_joined(value, settings.clock_ppm));
        let row = format!(
            "  {:>3}  {:>5}  {:>6}  {:<18}  {:<16}  {:>9}  ",
            index + 1,
            name(digit),
            digit.pulses,
            digit.speed_pps.map(clock).unwrap_or_else(|| "-".to_owned()),
            digit
                .percent_break_as_read(settings)
                .map(|value| with_uncertainty(value.value, value.u95))
                .unwrap_or_else(|| "-".to_owned()),
            digit
                .pause_before_ms
                .map(|value| format!("{:.0}", value.value))
                .unwrap_or_else(|| "-".to_owned()),
        );
        page.verdict_row(&row, digit.verdict, word(digit, settings));
    }
}

/// A digit's word: its verdict, or what stands in its way.
fn word(digit: &Digit, settings: &Settings) -> &'static str {
    match (digit.sure, &settings.limits) {
        (false, _) => "count unsure",
        (true, None) if digit.verdict == score::Verdict::NotJudged => "measured",
        (true, _) => verdict_words(digit.verdict),
    }
}
