//! What a recording shows about a dial. One family of findings a file; each family is a function from the
//! scored digits to findings.
//!
//! A finding states the effect and the figures that show it. It never tells which way to bend a spring:
//! that differs between dials whose cam makes and dials whose cam breaks.

use crate::grouping::Group;
use crate::types::{CountCheck, Digit, Finding};

mod chatter;
mod extra_pulses;
mod hole;
mod slow_down;
mod split_break;
mod unevenness;

/// What the families look at.
pub(crate) struct Evidence<'a> {
    pub(crate) digits: &'a [Digit],
    pub(crate) groups: &'a [Group],
    pub(crate) count: &'a CountCheck,
}

/// Code of every finding that can be made, in alphabetical order.
pub const FINDING_CODES: [&str; 10] = [
    "chatter",
    "extra-pulses",
    "hole",
    "idle-run-not-bridged",
    "late-reopening",
    "missing-pulses",
    "slow-down",
    "speed-up",
    "split-break",
    "unevenness",
];

/// Cause and advice of repair benches, for which no published text was found.
const COMMON_PRACTICE: &str = "common practice, no source";

/// Every finding, digit by digit; those about the whole recording come first.
pub(crate) fn all(evidence: &Evidence) -> Vec<Finding> {
    let families: [fn(&Evidence) -> Vec<Finding>; 6] = [
        hole::find,
        split_break::find,
        extra_pulses::find,
        chatter::find,
        slow_down::find,
        unevenness::find,
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
