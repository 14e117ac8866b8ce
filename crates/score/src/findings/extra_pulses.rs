//! More pulses than a dial has, or more (or fewer) than were dialled.

use super::Evidence;
use crate::types::{CountCheck, Digit, Finding};
use crate::wording;

/// No plan has a digit of more pulses.
const MOST_PULSES: usize = 10;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let same = same_surplus(evidence.count);
    let digits = evidence.digits.iter().enumerate();
    let mut findings: Vec<Finding> = digits
        .filter_map(|(index, digit)| in_digit(evidence, index, digit))
        .collect();
    if let Some(surplus) = same {
        findings.push(every_digit(surplus, evidence.digits.len()));
    }
    findings
}

fn in_digit(evidence: &Evidence, index: usize, digit: &Digit) -> Option<Finding> {
    match expected(evidence.count, index) {
        Some(expected) if digit.pulses > expected => {
            let evidence = format!("{} pulses found, {expected} dialled", digit.pulses);
            Some(too_many(index, digit, evidence))
        }
        Some(expected) if digit.pulses < expected => {
            let evidence = format!("{} pulses found, {expected} dialled", digit.pulses);
            Some(too_few(index, digit, evidence))
        }
        None if digit.pulses > MOST_PULSES => {
            let evidence = format!(
                "{} pulses found, no dial sends more than {MOST_PULSES}",
                digit.pulses
            );
            Some(too_many(index, digit, evidence))
        }
        _ => None,
    }
}

/// Pulses that were dialled, where digits and dialled number can be paired.
fn expected(count: &CountCheck, index: usize) -> Option<usize> {
    let paired = count.expected_pulses.len() == count.found_pulses.len();
    if paired {
        count.expected_pulses.get(index).copied()
    } else {
        None
    }
}

/// The surplus, when every one of at least two digits has the same.
fn same_surplus(count: &CountCheck) -> Option<usize> {
    let surplus = |index: usize| count.found_pulses[index].checked_sub(expected(count, index)?);
    let first = if count.found_pulses.len() < 2 {
        None
    } else {
        surplus(0).filter(|surplus| *surplus > 0)
    }?;
    (1..count.found_pulses.len())
        .all(|index| surplus(index) == Some(first))
        .then_some(first)
}

fn too_many(index: usize, digit: &Digit, evidence: String) -> Finding {
    Finding {
        code: "extra-pulses",
        title: format!("The {} has too many pulses", wording::nth_digit(index, None)),
        evidence: with_doubt(evidence, digit),
        likely_cause: "the contact that bridges the idle run does not, or two digits ran together, or pulses were sent \
                       while winding"
            .into(),
        advice: "dial other digits: the same surplus in all of them points to the idle-run contact".into(),
        basis: "derived from the design of dials with bridged idle pulses; no source gives limits",
        digit_index: Some(index),
        pulse_index: None,
    }
}

fn too_few(index: usize, digit: &Digit, evidence: String) -> Finding {
    Finding {
        code: "missing-pulses",
        title: format!("The {} has too few pulses", wording::nth_digit(index, None)),
        evidence: with_doubt(evidence, digit),
        likely_cause: "a slipping cam or trigger, an idle-run contact that bridges too long, contacts that fail to open, \
                       or a finger taken out before the stop"
            .into(),
        advice: "dial it again, finger to the stop; a pulse missing at the start of every digit points to the cam or \
                 the idle-run contact"
            .into(),
        basis: "slip of a lubricated or weak cam is on record in maintenance minutes; the rest is derived",
        digit_index: Some(index),
        pulse_index: None,
    }
}

fn every_digit(surplus: usize, digits: usize) -> Finding {
    let pulses = if surplus == 1 {
        "1 extra pulse".into()
    } else {
        format!("{surplus} extra pulses")
    };
    Finding {
        code: "idle-run-not-bridged",
        title: format!("Every digit has {pulses}"),
        evidence: format!("all {digits} digits have {pulses}"),
        likely_cause: "the contact that bridges the idle run has failed".into(),
        advice: "inspect and clean the contact that bridges the idle pulses at the start or end of the run".into(),
        basis: "derived from the design of dials with bridged idle pulses",
        digit_index: None,
        pulse_index: None,
    }
}

fn with_doubt(evidence: String, digit: &Digit) -> String {
    match &digit.doubt {
        Some(doubt) => format!("{evidence}; not beyond doubt: {doubt}"),
        None => evidence,
    }
}
