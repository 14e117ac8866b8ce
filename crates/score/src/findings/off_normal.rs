//! What the off-normal contacts show beside the pulses: pulses sent while winding, and a lost motion too short.

use edges::LevelStep;

use super::Evidence;
use crate::settings::IdleRun;
use crate::types::{Finding, HowSure};
use crate::wording::which;

/// Least lost motion that keeps fast-dialled digits apart, in milliseconds: 500 ms between trains less the 300 ms that a
/// practised hand needs to wind (CCITT U.2, considerings; the difference is derived).
const LEAST_LOST_MOTION_MS: f64 = 200.0;
/// A step's instant is not surer than this, in milliseconds.
const STEP_DOUBT_MS: f64 = 10.0;
/// Pulses at most this long before a digit, in seconds, may be of the same winding: from the stop the wheel is let go at
/// once. To wind for another digit takes a hand longer.
const LONGEST_WAIT_S: f64 = 0.5;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let winding = (1..evidence.groups.len()).filter_map(|index| while_winding(evidence, index));
    let short = evidence.digits.iter().enumerate();
    let short =
        short.filter_map(|(index, digit)| lost_motion(evidence, index, digit.idle_after_ms?));
    winding.chain(short).collect()
}

/// Pulses just before a digit, and the off-normal contacts, whose restoring shows after it, did not restore in between: the
/// finger wheel was away from rest all the time, so they were sent while winding. That they operated before need not show:
/// a hand that winds slowly may have begun before the part that was looked at.
fn while_winding(evidence: &Evidence, index: usize) -> Option<Finding> {
    let (before, digit) = (&evidence.groups[index - 1], &evidence.groups[index]);
    let wait_s = digit.start_s() - before.end_s();
    let steps: Vec<&LevelStep> = evidence
        .trace
        .trains
        .iter()
        .flat_map(|train| &train.level_steps)
        .collect();
    let between = |from_s: f64, to_s: f64| {
        steps
            .iter()
            .filter(move |step| step.instant_s > from_s && step.instant_s < to_s)
    };
    let restored = between(before.end_s(), digit.start_s()).next().is_some();
    let restored_later = between(digit.end_s(), f64::INFINITY).any(|step| step.relative < 0.0);
    (wait_s < LONGEST_WAIT_S && !restored && restored_later).then(|| Finding {
        code: "pulses-while-winding",
        title: format!("Pulses are sent while winding, before the {}", which(index, evidence.digits)),
        evidence: format!(
            "{} openings end {:.0} ms before the first pulse, and the off-normal contacts did not restore in between",
            before.breaks.len(),
            1000.0 * wait_s
        ),
        likely_cause: "the slipping cam or the trigger does not hold the pulse contacts off while the wheel is wound".into(),
        advice: "wind slowly by hand and watch the pulse contacts: they must not move; look at cam or trigger and its \
                 spring"
            .into(),
        basis: "derived from the design: pulses belong to the return only (pamphlet Telephones 5/1)",
        how_sure: HowSure::Likely,
        how_much: None,
        digit_index: Some(index),
        pulse_index: None,
    })
}

/// Only where the user says that the dial idles at the end: other dials have none by design.
fn lost_motion(evidence: &Evidence, index: usize, idle_ms: f64) -> Option<Finding> {
    let idles_at_end = evidence.settings.idle_run == Some(IdleRun::End);
    (idles_at_end && idle_ms < LEAST_LOST_MOTION_MS - STEP_DOUBT_MS).then(|| Finding {
        code: "lost-motion-short",
        title: format!("The lost motion after the {} is short", which(index, evidence.digits)),
        evidence: format!(
            "{idle_ms:.0} ms from the last make to the off-normal contacts restoring, {LEAST_LOST_MOTION_MS:.0} ms \
             keep digits apart that are dialled fast"
        ),
        likely_cause: "the off-normal contacts restore too early, or the dial is fast".into(),
        advice: "see that the wheel comes home to its stop and that the off-normal contacts restore only there".into(),
        basis: "500 ms between trains and 300 ms for a practised hand stand in CCITT U.2 (considerings); the difference \
                is derived, the rest is common practice, no source",
        how_sure: HowSure::Likely,
        how_much: None,
        digit_index: Some(index),
        pulse_index: None,
    })
}
