//! What a recording shows about a dial. One family of findings a file; each family is a function from the
//! scored digits to findings.
//!
//! A finding states the effect and the figures that show it. It never tells which way to bend a spring:
//! that differs between dials whose cam makes and dials whose cam breaks.

use edges::Trace;

use crate::grouping::Group;
use crate::settings::Settings;
use crate::types::{Check, CountCheck, Digit, Finding};

mod adjustment;
mod chatter;
mod contact_sound;
mod course;
mod extra_pulses;
mod hole;
mod make_level;
mod off_normal;
mod rhythm;
mod split_break;

/// What the families look at.
pub(crate) struct Evidence<'a> {
    pub(crate) digits: &'a [Digit],
    pub(crate) groups: &'a [Group],
    pub(crate) count: &'a CountCheck,
    pub(crate) checks: &'a [Check],
    pub(crate) trace: &'a Trace,
    pub(crate) settings: &'a Settings,
}

/// Code of every finding that can be made, in alphabetical order.
pub const FINDING_CODES: [&str; 26] = [
    "bad-tooth",
    "break-length",
    "chatter",
    "extra-pulses",
    "fast",
    "first-period-long",
    "first-pulse-lost",
    "governor-ripple",
    "hole",
    "idle-run-not-bridged",
    "late-reopening",
    "lost-motion-short",
    "make-length",
    "make-level-sags",
    "missing-pulses",
    "off-normal-not-shorting",
    "other-plan",
    "percent-break-high",
    "percent-break-low",
    "pulses-while-winding",
    "slow",
    "slow-down",
    "speed-up",
    "split-break",
    "two-pulse-pattern",
    "unevenness",
];

/// Cause and advice of repair benches, for which no published text was found.
const COMMON_PRACTICE: &str = "common practice, no source";

/// Every finding, digit by digit; those about the whole recording come first.
pub(crate) fn all(evidence: &Evidence) -> Vec<Finding> {
    let families: [fn(&Evidence) -> Vec<Finding>; 9] = [
        adjustment::find,
        hole::find,
        split_break::find,
        extra_pulses::find,
        off_normal::find,
        chatter::find,
        course::find,
        make_level::find,
        contact_sound::find,
    ];
    let mut findings: Vec<Finding> = families.iter().flat_map(|find| find(evidence)).collect();
    findings.sort_by_key(|finding| finding.digit_index);
    debug_assert!(
        findings
            .iter()
            .all(|finding| FINDING_CODES.contains(&finding.code))
    );
    findings
}

impl Evidence<'_> {
    /// Digits whose periods can be trusted to be the dial's: sure, and without a hole.
    fn steady(&self) -> impl Iterator<Item = (usize, &Digit)> {
        let holes = |index: usize| !self.groups[index].holes.is_empty();
        self.digits
            .iter()
            .enumerate()
            .filter(move |(index, digit)| digit.sure && !holes(*index))
    }
}
/// Patterns are looked for in so many digits of a recording: more add nothing that one could act on, and the
/// work grows with their cube.
const MOST_DIGITS: usize = 60;

/// Digits spread evenly over a recording, all of them when they are few.
fn spread_over<'a>(groups: &[&'a Group]) -> Vec<&'a Group> {
    let count = groups.len().min(MOST_DIGITS);
    (0..count)
        .map(|i| groups[i * groups.len() / count])
        .collect()
}
