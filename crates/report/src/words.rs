//! The fixed words of verdicts and settings.

use score::limits::LimitSet;
use score::{Digit, Quench, Tap, Verdict};

/// The digit, or a query where the plan has none for its number of pulses.
pub(crate) fn name(digit: &Digit) -> String {
    digit.digit.clone().unwrap_or_else(|| "?".to_owned())
}

/// A number of pulses in words.
pub(crate) fn pulses(count: usize) -> String {
    if count == 1 {
        "1 pulse".to_owned()
    } else {
        format!("{count} pulses")
    }
}

/// Document, clause and year of a set, in one line.
pub(crate) fn source(set: &LimitSet) -> String {
    let parts = [
        set.document.as_ref(),
        set.clause.as_ref(),
        set.year.as_ref(),
    ];
    parts
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(", ")
}

/// The verdict as programs read it: `pass`, `conditional-pass`, `conditional-fail`, `fail`, `not-judged`.
#[must_use]
pub fn verdict_code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::ConditionalPass => "conditional-pass",
        Verdict::ConditionalFail => "conditional-fail",
        Verdict::Fail => "fail",
        Verdict::NotJudged => "not-judged",
    }
}

/// The verdict as people read it, in the words of ILAC-G8:09/2019.
#[must_use]
pub fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::ConditionalPass => "conditional pass",
        Verdict::ConditionalFail => "conditional fail",
        Verdict::Fail => "fail",
        Verdict::NotJudged => "not judged",
    }
}

/// Where the probe sat: `contacts`, `series`, `line`, `adapter`.
#[must_use]
pub fn tap_word(tap: Tap) -> &'static str {
    match tap {
        Tap::Contacts => "contacts",
        Tap::Series => "series",
        Tap::Line => "line",
        Tap::Adapter => "adapter",
    }
}

/// Whether the spark-quench capacitor was in circuit: `in` or `out`.
#[must_use]
pub fn quench_word(quench: Quench) -> &'static str {
    match quench {
        Quench::In => "in",
        Quench::Out => "out",
    }
}

/// No chatter is longer than what is looked for after a closing, in milliseconds: a floor beyond that hides all of it.
const CHATTER_MS: f64 = 5.0;

/// What is said of chatter where none was seen.
pub(crate) fn no_chatter(floor_ms: f64) -> String {
    if floor_ms > CHATTER_MS {
        "cannot be told in this recording".to_owned()
    } else {
        format!("none longer than {floor_ms:.2} ms")
    }
}

/// The name of a quantity for people, and its unit.
pub(crate) fn quantity(name: &str) -> (&'static str, &'static str) {
    match name {
        "speed_pps" => ("pulsing speed", "pps"),
        "period_ms" => ("period", "ms"),
        "percent_break" => ("percent break", "%"),
        "break_make_ratio" => ("break/make ratio", ""),
        "break_ms" => ("break", "ms"),
        "make_ms" => ("make", "ms"),
        "bounce_ms" => ("chatter", "ms"),
        "pause_before_ms" => ("pause before", "ms"),
        "pulses" => ("pulses", ""),
        _ => ("quantity", ""),
    }
}
