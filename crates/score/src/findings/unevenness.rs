//! The periods scatter about a steady course.

use super::{COMMON_PRACTICE, Evidence};
use crate::types::{Digit, Finding};
use crate::wording;

/// Scatter of less than this is not worth a word, in percent of the mean period.
const NOTABLE_PERCENT: f64 = 2.0;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    evidence
        .steady()
        .filter_map(|(index, digit)| in_digit(index, digit))
        .collect()
}

fn in_digit(digit_index: usize, digit: &Digit) -> Option<Finding> {
    let unevenness = digit.unevenness_percent?;
    // What noise alone could have made is not the dial's.
    if unevenness.value - unevenness.u95 <= NOTABLE_PERCENT {
        return None;
    }
    Some(Finding {
        code: "unevenness",
        title: format!("The pulses of the {} are uneven", wording::nth_digit(digit_index, digit.digit.as_deref())),
        evidence: format!(
            "the periods scatter by {} % about a straight line ({} pulses)",
            wording::of(&unevenness),
            digit.pulses
        ),
        likely_cause: "a loose governor, slack pivots, a gear meshed too deep, or a finger dragging on the wheel".into(),
        advice: "dial again with the finger clear of the wheel; if it stays, look at governor, pivots and the mesh of \
                 its gear"
            .into(),
        basis: COMMON_PRACTICE,
        digit_index: Some(digit_index),
        pulse_index: None,
    })
}
