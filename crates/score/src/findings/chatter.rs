//! The contacts chatter: the loop reopens just after a closure, for longer than contacts in order do.

use super::Evidence;
use crate::types::{Digit, Finding, HowSure, Verdict};
use crate::wording::{nth_digit, significant};

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    evidence
        .digits
        .iter()
        .enumerate()
        .filter_map(|(index, digit)| in_digit(evidence, index, digit))
        .collect()
}

/// Chatter up to this long, first to last closure, is usual for contacts in order, in milliseconds. Common practice, no
/// source.
const USUAL_MS: f64 = 2.0;

/// Longer than usual, or beyond a bounce limit that the user chose.
fn is_notable(evidence: &Evidence, index: usize, worst_ms: f64) -> bool {
    let beyond_limit = |check: &crate::Check| {
        check.quantity == "bounce_ms"
            && check.digit_index == index
            && matches!(check.verdict, Verdict::Fail | Verdict::ConditionalFail)
    };
    worst_ms > USUAL_MS || evidence.checks.iter().any(beyond_limit)
}

fn in_digit(evidence: &Evidence, digit_index: usize, digit: &Digit) -> Option<Finding> {
    let chattering = digit
        .pulses_detail
        .iter()
        .filter(|pulse| pulse.chatter_ms > 0.0)
        .count();
    let (pulse_index, worst) = digit
        .pulses_detail
        .iter()
        .enumerate()
        .max_by(|(_, one), (_, other)| one.chatter_ms.total_cmp(&other.chatter_ms))?;
    if !is_notable(evidence, digit_index, worst.chatter_ms) {
        return None;
    }
    Some(Finding {
        code: "chatter",
        title: format!("The contacts chatter in the {}", nth_digit(digit_index, digit.digit.as_deref())),
        evidence: format!(
            "{chattering} of {} makes reopen; worst in pulse {}: {} ms from first to last closure, longest reopening \
             {} ms (reopenings under {} ms cannot be told from noise)",
            digit.pulses,
            pulse_index + 1,
            significant(worst.chatter_ms, 2),
            significant(worst.chatter_longest_ms, 2),
            significant(digit.chatter_floor_ms, 2),
        ),
        likely_cause: "dirt or wear on the pulse contacts, or a contact spring of little tension; 0.2-2 ms is usual for \
                       contacts in order"
            .into(),
        advice: "clean the contacts; look at spring tension if it stays".into(),
        basis: "only AS/CA S002:2010 cl. 5.5.1.8(a)(iii) limits bounce, to 0.5 ms; the usual range, cause and advice are \
                common practice, no source",
        how_sure: HowSure::Shown,
        how_much: None,
        digit_index: Some(digit_index),
        pulse_index: Some(pulse_index),
    })
}
