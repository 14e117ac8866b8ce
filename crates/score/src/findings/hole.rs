//! A pulse is missing within a digit: the distance between two openings is two periods.

use super::{COMMON_PRACTICE, Evidence};
use crate::grouping::{Group, period_s};
use crate::types::{Digit, Finding, HowSure};
use crate::wording;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let holes = |(digit_index, group): (usize, &Group)| {
        let finding = |pulse_index: &usize| hole(group, digit_index, *pulse_index, evidence.digits);
        group.holes.iter().map(finding).collect::<Vec<_>>()
    };
    evidence.groups.iter().enumerate().flat_map(holes).collect()
}

fn hole(group: &Group, digit_index: usize, pulse_index: usize, digits: &[Digit]) -> Finding {
    let pulse = &group.breaks[pulse_index];
    let distance_ms = 1000.0 * period_s(pulse, &group.breaks[pulse_index + 1]);
    let median_ms = 1000.0 * group.median_period_s().unwrap_or(0.0);
    Finding {
        code: "hole",
        title: format!("A pulse is missing after pulse {} of the {}", pulse_index + 1, wording::which(digit_index, digits)),
        evidence: format!(
            "{distance_ms:.1} ms from opening to opening at {:.3} s, {:.2} periods of {median_ms:.1} ms; the digit is \
             counted as opened, {} pulses, and its speed includes the hole",
            pulse.open.instant_s,
            distance_ms / median_ms,
            group.breaks.len(),
        ),
        likely_cause: "the contacts stayed closed for one pulse: a worn or burred place of the pulse wheel or cam, \
                       or contacts that barely open"
            .into(),
        advice: "dial the digit again: a hole at the same place from the end points to the wheel, one that moves \
                 points to the contacts; inspect and clean before adjusting"
            .into(),
        basis: COMMON_PRACTICE,
        how_sure: HowSure::Shown,
        how_much: None,
        digit_index: Some(digit_index),
        pulse_index: Some(pulse_index),
    }
}
