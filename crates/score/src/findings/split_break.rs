//! A break is interrupted: by a short closure (split break), or by a reopening too late for chatter.

use super::Evidence;
use crate::grouping::{Group, Interruption};
use crate::types::{Digit, Finding, HowSure};
use crate::wording;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    evidence
        .groups
        .iter()
        .enumerate()
        .flat_map(|(index, group)| in_digit(index, group, evidence.digits))
        .collect()
}

fn in_digit(digit_index: usize, group: &Group, digits: &[Digit]) -> Vec<Finding> {
    let pulses = group.breaks.iter().enumerate();
    let interruptions = pulses
        .flat_map(|(index, pulse)| pulse.interruptions.iter().map(move |found| (index, found)));
    interruptions
        .map(|(pulse_index, found)| finding(found, digit_index, pulse_index, digits))
        .collect()
}

fn finding(
    interruption: &Interruption,
    digit_index: usize,
    pulse_index: usize,
    digits: &[Digit],
) -> Finding {
    let (code, what, evidence) = match interruption {
        Interruption::Split { at_s, closure_s } => (
            "split-break",
            "is split",
            format!(
                "the loop closes for {:.1} ms at {at_s:.3} s and opens again for longer: counted as one pulse, \
                 not beyond doubt",
                1000.0 * closure_s
            ),
        ),
        Interruption::Reopening { at_s, opening_s } => (
            "late-reopening",
            "is followed by a reopening",
            format!(
                "the loop opens again for {:.1} ms at {at_s:.3} s, too late for chatter and too soon for a pulse: \
                 not counted, not beyond doubt",
                1000.0 * opening_s
            ),
        ),
    };
    Finding {
        code,
        title: format!("The break of pulse {} of the {} {what}", pulse_index + 1, wording::which(digit_index, digits)),
        evidence,
        likely_cause: "dirty or chattering contacts, or a contact spring that follows weakly".into(),
        advice: "clean the pulse contacts and look at the tension of their springs; an exchange may count such a pulse \
                 twice"
            .into(),
        basis: "a receiver counts each part that exceeds its own least break (derived); cause and advice are common \
                practice, no source",
        how_sure: HowSure::Shown,
        how_much: None,
        digit_index: Some(digit_index),
        pulse_index: Some(pulse_index),
    }
}
