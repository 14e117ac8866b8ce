//! The speed changes steadily through a digit.

use super::{COMMON_PRACTICE, Evidence};
use crate::evenness::{PeriodLine, student_95};
use crate::grouping::Group;
use crate::types::{Digit, Finding, Value};
use crate::wording;

/// A change of less than this is not worth a word, in percent of the mean period.
const NOTABLE_PERCENT: f64 = 2.0;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    evidence
        .steady()
        .filter_map(|(index, digit)| in_digit(index, digit, &evidence.groups[index]))
        .collect()
}

/// Beyond the recording's uncertainty, and beyond what the scatter of the periods alone would give.
fn in_digit(digit_index: usize, digit: &Digit, group: &Group) -> Option<Finding> {
    let change = digit.slow_down_percent?;
    let line = PeriodLine::fit(&group.breaks)?;
    let scatter = student_95(line.degrees()) * line.slow_down_error_percent();
    let threshold = NOTABLE_PERCENT.max(change.u95).max(scatter);
    if change.value > threshold {
        Some(slows(digit_index, digit, &change))
    } else if change.value < -threshold {
        Some(quickens(digit_index, digit, &change))
    } else {
        None
    }
}

fn slows(digit_index: usize, digit: &Digit, change: &Value) -> Finding {
    Finding {
        code: "slow-down",
        title: format!("The dial slows through the {}", wording::nth_digit(digit_index, digit.digit.as_deref())),
        evidence: format!("the period grows by {} % through {} pulses", wording::of(change), digit.pulses),
        likely_cause: "the drive fades: dirt, congealed oil or a weak main spring; the speed has fallen below the \
                       governor's grip"
            .into(),
        advice: "clean and oil the dial first; then look at the main spring".into(),
        basis: "congealed oil dragging the return is on record in maintenance minutes; the rest is common practice, no \
                source; no source limits slow-down",
        digit_index: Some(digit_index),
        pulse_index: None,
    }
}

fn quickens(digit_index: usize, digit: &Digit, change: &Value) -> Finding {
    let change = Value {
        value: -change.value,
        ..*change
    };
    Finding {
        code: "speed-up",
        title: format!(
            "The dial quickens through the {}",
            wording::nth_digit(digit_index, digit.digit.as_deref())
        ),
        evidence: format!(
            "the period shrinks by {} % through {} pulses",
            wording::of(&change),
            digit.pulses
        ),
        likely_cause: "the governor grips late, or there is oil on its brake surface".into(),
        advice: "clean the governor's brake surface; keep oil off it".into(),
        basis: COMMON_PRACTICE,
        digit_index: Some(digit_index),
        pulse_index: None,
    }
}
