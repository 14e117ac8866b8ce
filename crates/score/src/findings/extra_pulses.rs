//! More pulses than a dial has, or more (or fewer) than were dialled.

use super::{COMMON_PRACTICE, Evidence};
use crate::plan::Plan;
use crate::types::{CountCheck, Digit, Finding, HowSure};
use crate::wording;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    if let Some(plan) = evidence.count.other_plan {
        return vec![other_plan(plan, evidence)];
    }
    // What is the same in every digit is said once.
    if let Some(finding) = same_in_every_digit(evidence) {
        return vec![finding];
    }
    let digits = evidence.digits.iter().enumerate();
    digits
        .filter_map(|(index, digit)| in_digit(evidence, index, digit))
        .collect()
}

fn in_digit(evidence: &Evidence, index: usize, digit: &Digit) -> Option<Finding> {
    let most = evidence.settings.plan.most_pulses();
    match expected(evidence.count, index) {
        Some(expected) if digit.pulses > expected => {
            let found = format!("{} pulses found, {expected} dialled", digit.pulses);
            Some(too_many(index, digit, found))
        }
        Some(expected) if digit.pulses < expected => {
            let found = format!("{} pulses found, {expected} dialled", digit.pulses);
            Some(too_few(index, digit, found))
        }
        None if digit.pulses > most => {
            let found = format!(
                "{} pulses found, by the plan no dial sends more than {most}",
                digit.pulses
            );
            let mut finding = too_many(index, digit, found);
            if digit.pulses == Plan::Eleventh.most_pulses() {
                finding.advice += "; if the dial has an eleventh position, choose --plan eleventh";
            }
            Some(finding)
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

/// The same surplus or want in each of at least two digits.
fn same_in_every_digit(evidence: &Evidence) -> Option<Finding> {
    let count = evidence.count;
    let surplus = |index: usize| {
        let found = i64::try_from(count.found_pulses[index]).ok()?;
        Some(found - i64::try_from(expected(count, index)?).ok()?)
    };
    let digits = count.found_pulses.len();
    let first = if digits < 2 { None } else { surplus(0) }?;
    if !(1..digits).all(|index| surplus(index) == Some(first)) {
        return None;
    }
    let sure = evidence.digits.iter().all(|digit| digit.sure);
    let how_sure = if sure {
        HowSure::Shown
    } else {
        HowSure::Likely
    };
    match first {
        2 | 3 => Some(idle_run(first, digits, how_sure)),
        -1 => Some(first_lost(digits, how_sure)),
        _ => None,
    }
}

/// A blank finding about one digit.
fn about(index: Option<usize>, code: &'static str, title: String, evidence: String) -> Finding {
    Finding {
        code,
        title,
        evidence,
        likely_cause: String::new(),
        advice: String::new(),
        basis: COMMON_PRACTICE,
        how_sure: HowSure::Likely,
        how_much: None,
        digit_index: index,
        pulse_index: None,
    }
}

/// What to do where the recording may be at fault, and not the dial.
const RECORD_AGAIN: &str = "leave the dial as it is and record the digit again, with more level and less noise and hum: the \
                            recording may hide pulses or add some";

fn too_many(index: usize, digit: &Digit, found: String) -> Finding {
    let title = format!(
        "The {} has too many pulses",
        wording::nth_digit(index, None)
    );
    Finding {
        likely_cause: "the contact that bridges the idle run does not, or two digits ran together, or pulses were sent \
                       while winding"
            .into(),
        advice: if digit.sure {
            "dial other digits: a surplus of two or three in all of them points to the idle-run contact".into()
        } else {
            RECORD_AGAIN.into()
        },
        basis: "derived from the design of dials with bridged idle pulses; no source gives limits",
        how_sure: surety(digit),
        ..about(Some(index), "extra-pulses", title, with_doubt(found, digit))
    }
}

fn too_few(index: usize, digit: &Digit, found: String) -> Finding {
    let title = format!("The {} has too few pulses", wording::nth_digit(index, None));
    Finding {
        likely_cause: "a slipping cam or trigger, an idle-run contact that bridges too long, contacts that fail to open, \
                       or a finger taken out before the stop"
            .into(),
        advice: if digit.sure {
            "dial it again, finger to the stop; a pulse missing at the start of every digit points to the cam or the \
             idle-run contact"
                .into()
        } else {
            RECORD_AGAIN.into()
        },
        basis: "slip of a lubricated or weak cam is on record in maintenance minutes; the rest is derived",
        how_sure: surety(digit),
        ..about(Some(index), "missing-pulses", title, with_doubt(found, digit))
    }
}

fn idle_run(surplus: i64, digits: usize, how_sure: HowSure) -> Finding {
    let title = format!("Every digit has {surplus} extra pulses");
    let found = format!("all {digits} digits have {surplus} extra pulses");
    Finding {
        likely_cause: "the contact that bridges the idle run has failed: its two or three pulses reach the line".into(),
        advice: "inspect and clean the contact that bridges the idle pulses at the start or end of the run".into(),
        basis: "derived from the design of dials with bridged idle pulses",
        how_sure,
        ..about(None, "idle-run-not-bridged", title, found)
    }
}

fn first_lost(digits: usize, how_sure: HowSure) -> Finding {
    let title = "Every digit has lost one pulse".to_owned();
    let found = format!("all {digits} digits have one pulse less than was dialled");
    Finding {
        likely_cause: "the cam slips or the trigger comes late, or the contact that bridges the idle run lets go too \
                       late: the first pulse is swallowed"
            .into(),
        advice: "look at cam and trigger for excess oil and weak pressure, then at the idle-run contact; a weak \
                 slipping-cam washer is replaced, not tightened"
            .into(),
        basis: "slip of a lubricated or weak cam is on record in maintenance minutes and an engineering instruction \
                (B5126 §5); that the first pulse is the lost one is derived",
        how_sure,
        ..about(None, "first-pulse-lost", title, found)
    }
}

fn other_plan(plan: Plan, evidence: &Evidence) -> Finding {
    let chosen = evidence.settings.plan.name();
    let title = format!("The pulses fit the plan {}, not {chosen}", plan.name());
    let found = format!(
        "by {} every one of the {} digits is what was dialled",
        plan.name(),
        evidence.digits.len()
    );
    Finding {
        likely_cause: "the dial follows another plan than the one chosen; a recording cannot show which plan a dial \
                       follows, only the number that was dialled can"
            .into(),
        advice: format!("look at the dial's finger plate; if it follows that plan, choose --plan {}", plan.name()),
        basis: "the plans are those of AS/CA S002:2010 cl. 5.5.1.7.1(c), PTC 200 cl. 5.1(3) and signalling guides",
        ..about(None, "other-plan", title, found)
    }
}

fn surety(digit: &Digit) -> HowSure {
    if digit.sure {
        HowSure::Shown
    } else {
        HowSure::Hint
    }
}

fn with_doubt(evidence: String, digit: &Digit) -> String {
    match &digit.doubt {
        Some(doubt) => format!("{evidence}; not beyond doubt: {doubt}"),
        None => evidence,
    }
}
