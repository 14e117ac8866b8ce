//! Why a verdict is what it is, and what to keep in mind about the comparison.

use edges::Trace;

use crate::limits::{LimitSet, Scope};
use crate::settings::{Quench, Settings, Tap};
use crate::types::{Check, CountCheck, Digit, Reason, Verdict};
use crate::wording;

/// The reasons for the verdict of a recording, one line each.
pub(crate) fn reasons(
    trace: &Trace,
    settings: &Settings,
    digits: &[Digit],
    checks: &[Check],
    count: &CountCheck,
) -> Vec<Reason> {
    let mut reasons = Vec::new();
    reasons.extend(nothing_found(trace, digits));
    reasons.extend(nothing_asked(settings, digits));
    reasons.extend(wrong_count(count));
    reasons.extend((0..digits.len()).filter_map(|index| unsure(index, digits)));
    reasons.extend(
        checks
            .iter()
            .filter(|check| check.quantity != "pulses")
            .filter_map(|check| not_passed(check, digits)),
    );
    reasons.extend(checks.iter().filter_map(|check| undecidable(check, digits)));
    reasons.extend(
        settings
            .limits
            .iter()
            .flat_map(|set| nothing_to_judge(set, digits, checks)),
    );
    reasons
}

fn recording_wide(code: &'static str, text: impl Into<String>) -> Reason {
    Reason {
        code,
        text: text.into(),
        digit_index: None,
    }
}

fn nothing_found(trace: &Trace, digits: &[Digit]) -> Option<Reason> {
    if !digits.is_empty() {
        None
    } else if trace.heard_not_wired {
        let text = "only the clicks of a dial were heard, no line: a microphone beside the dial cannot show makes and \
                    breaks; record the loop itself through a probe";
        Some(recording_wide("heard-not-wired", text))
    } else {
        Some(recording_wide(
            "no-dialling",
            "no dialling was found in the recording",
        ))
    }
}

fn nothing_asked(settings: &Settings, digits: &[Digit]) -> Option<Reason> {
    if settings.limits.is_some() || digits.is_empty() {
        None
    } else if settings.dialled.is_some() {
        Some(recording_wide(
            "no-limits",
            "only the count was judged: no limits were chosen",
        ))
    } else {
        Some(recording_wide(
            "no-limits",
            "no limits were chosen, so nothing was judged",
        ))
    }
}

fn wrong_count(count: &CountCheck) -> Option<Reason> {
    let code = if count.verdict == Verdict::Fail {
        "wrong-count"
    } else {
        "count-not-judged"
    };
    count
        .reason
        .as_ref()
        .map(|reason| recording_wide(code, reason.clone()))
}

fn unsure(index: usize, digits: &[Digit]) -> Option<Reason> {
    let doubt = digits[index].doubt.as_ref()?;
    let text = format!(
        "{}: the count is not beyond doubt: {doubt}",
        wording::which(index, digits)
    );
    Some(Reason {
        code: "count-in-doubt",
        text,
        digit_index: Some(index),
    })
}

fn nothing_to_judge(set: &LimitSet, digits: &[Digit], checks: &[Check]) -> Vec<Reason> {
    let judged = |index: usize| {
        checks
            .iter()
            .any(|check| check.digit_index == index && check.quantity != "pulses")
    };
    let silent = digits
        .iter()
        .enumerate()
        .filter(|(index, digit)| digit.sure && !judged(*index));
    silent
        .map(|(index, digit)| {
            let why = if set.limits_only_pauses() {
                "it limits only pauses, and those are judged with --judge-pauses"
            } else if digit.pulses == 1 {
                "a single pulse has no speed and no percent break"
            } else {
                "nothing it limits was measured"
            };
            let text = format!(
                "{}: {} has nothing to judge: {why}",
                wording::which(index, digits),
                set.name
            );
            Reason {
                code: "nothing-to-judge",
                text,
                digit_index: Some(index),
            }
        })
        .collect()
}

/// A line for a check that did not pass; doubt about the count has its own line.
fn not_passed(check: &Check, digits: &[Digit]) -> Option<Reason> {
    let code = match check.verdict {
        Verdict::Pass => return None,
        Verdict::ConditionalPass => "conditional-pass",
        Verdict::ConditionalFail => "conditional-fail",
        Verdict::Fail => "fail",
        Verdict::NotJudged if check.quantity == "bounce_ms" && check.undecidable => {
            "bounce-not-judged"
        }
        Verdict::NotJudged => return None,
    };
    let text = format!(
        "{}: {}",
        wording::which(check.digit_index, digits),
        sentence(check)
    );
    Some(Reason {
        code,
        text,
        digit_index: Some(check.digit_index),
    })
}

/// What a check says, in one line, with its source.
fn sentence(check: &Check) -> String {
    format!("{} ({})", statement(check), check.source)
}

/// What a check says, in one line: `pulsing speed 8.2 pps is below 9.5-10.5 pps`.
#[must_use]
pub fn statement(check: &Check) -> String {
    let (name, unit) = wording::quantity(check.quantity);
    let pulse = check
        .pulse_index
        .map(|index| format!(" of pulse {}", index + 1))
        .unwrap_or_default();
    let value = wording::measured(check.value, check.guard_band);
    let limits = limits_in_words(check, unit);
    let side = if check.lower.is_some_and(|lower| check.value < lower) {
        "below"
    } else {
        "above"
    };
    let likely = check
        .conformance_probability
        .map(|p| format!("; inside with a probability of {:.0} %", 100.0 * p))
        .unwrap_or_default();
    let position = match (&check.why_not_judged, check.verdict) {
        (Some(why), _) => format!("is not judged against {limits}: {why}"),
        (None, Verdict::Pass) => format!("is within {limits}"),
        (None, Verdict::ConditionalPass) => {
            format!("is within {limits}, but by less than the uncertainty{likely}")
        }
        (None, Verdict::ConditionalFail) => {
            format!("is {side} {limits}, but by less than the uncertainty{likely}")
        }
        (None, Verdict::Fail) => format!("is {side} {limits}"),
        (None, Verdict::NotJudged) => format!("is not judged against {limits}"),
    };
    format!("{name}{pulse} {value}{unit} {position}")
}

/// `9.5-10.5 pps`, `58-70 % (percent make 30-42 %)`, `the limit of 0.5 ms`.
fn limits_in_words(check: &Check, unit: &str) -> String {
    let quoted = check
        .as_quoted
        .as_ref()
        .map(|quoted| format!(" ({quoted})"))
        .unwrap_or_default();
    match (check.lower, check.upper) {
        (Some(limit), None) | (None, Some(limit)) => format!("the limit of {limit}{unit}{quoted}"),
        (lower, upper) => format!("{}{unit}{quoted}", wording::limits(lower, upper)),
    }
}

/// How to record what this recording cannot decide.
fn undecidable(check: &Check, digits: &[Digit]) -> Option<Reason> {
    if !check.undecidable {
        return None;
    }
    let (name, unit) = wording::quantity(check.quantity);
    let digit = wording::which(check.digit_index, digits);
    let band = wording::significant(check.guard_band, 2);
    let text = if check.quantity == "bounce_ms" {
        format!(
            "{digit}: this recording cannot decide {name}: record at 48 kHz or more, with more level and less noise, \
             and across the contacts or from a bench supply rather than through a line with relays"
        )
    } else if check.guard_band > 2.0 * check.u95 {
        format!(
            "{digit}: this recording cannot decide {name}: the recorder's clock is the greater part of \
             ± {band}{unit}; calibrate the clock or use a better one"
        )
    } else {
        format!(
            "{digit}: this recording cannot decide {name}: ± {band}{unit} is more than a quarter of the \
             tolerance's half-width; record with more level, less noise and hum, straight from the contacts, or \
             dial 0 for the longest train"
        )
    };
    Some(Reason {
        code: "cannot-decide",
        text,
        digit_index: Some(check.digit_index),
    })
}

/// What to keep in mind about a comparison with the chosen set.
pub(crate) fn warnings(settings: &Settings, verdict: Verdict) -> Vec<Reason> {
    let Some(set) = &settings.limits else {
        return Vec::new();
    };
    let outside = matches!(verdict, Verdict::Fail | Verdict::ConditionalFail);
    [
        graded(set),
        for_information(set),
        if outside { set_to_only(set) } else { None },
        other_definition(set),
        settings.tap.and_then(|tap| tap_scope(set, tap)),
        settings.quench.and_then(quench_in),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn graded(set: &LimitSet) -> Option<Reason> {
    let text = || {
        format!(
            "evidence for {} is grade {}: {}",
            set.name,
            set.grade.name(),
            set.evidence
        )
    };
    set.grade
        .is_to_be_printed()
        .then(|| recording_wide("grade", text()))
}

fn for_information(set: &LimitSet) -> Option<Reason> {
    let text = || {
        format!(
            "{} is for information: its evidence is too weak to judge by",
            set.name
        )
    };
    (!set.grade.judges()).then(|| recording_wide("for-information", text()))
}

fn set_to_only(set: &LimitSet) -> Option<Reason> {
    let text = format!(
        "{} says what to set a dial to: being outside is not by itself a reason to reject it",
        set.name
    );
    set.set_to_only.then(|| recording_wide("set-to-only", text))
}

fn other_definition(set: &LimitSet) -> Option<Reason> {
    let current = set.line_current?;
    let text = format!(
        "compared under another definition: {} takes break below {} mA and make above {} mA of line current, here \
         they are the instants at which the contacts moved",
        set.name, current.break_below_ma, current.make_above_ma
    );
    Some(recording_wide("other-definition", text))
}

/// Contacts and loop current show what the dial sends; across the line, or behind a relay or an adapter,
/// line and relay have changed the percent break.
fn tap_scope(set: &LimitSet, tap: Tap) -> Option<Reason> {
    let sends = |scope: &Scope| matches!(scope, Scope::Send | Scope::Bench);
    let fits_dial = set.scopes.is_empty() || set.scopes.iter().any(sends);
    let scope = set.scopes.first().map_or("a dial", |scope| scope.words());
    let text = match tap {
        Tap::Contacts | Tap::Series if fits_dial => return None,
        Tap::Contacts | Tap::Series => {
            format!(
                "{} is about {scope}, but the probe sat at the dial",
                set.name
            )
        }
        Tap::Line => format!(
            "{} is about {scope}, but the probe sat across the line: line and ringer change the percent break",
            set.name
        ),
        Tap::Adapter => format!(
            "{} is about {scope}, but the probe sat behind an adapter or relay, which makes pulses of its own: the \
             speed is the dial's, the percent break is not",
            set.name
        ),
    };
    Some(recording_wide("tap-scope", text))
}

fn quench_in(quench: Quench) -> Option<Reason> {
    let text = "the quench capacitor was in circuit: it rounds the opening, so a relay sees a shorter break than the \
                contacts make; disconnect it to judge the dial alone";
    (quench == Quench::In).then(|| recording_wide("quench-in", text))
}
