//! Before and after: the same dial in two or more recordings, with what changed and whether the change is
//! larger than its own uncertainty.

mod change;
mod chart;
mod html;
mod json;
mod pairing;
mod shift;
mod text;

pub use change::{Change, Clocks};
pub use html::html as compare_html;
pub use json::json as compare_json;
pub use pairing::Pairing;
pub use shift::MaxShift;
pub use text::text as compare_text;

use score::Verdict;

use crate::saved::{Saved, SavedDigit, SavedFinding};

/// What the user asked of a comparison.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CompareOptions {
    /// All recordings were made by the same recorder.
    pub same_recorder: bool,
    /// Shifts that are allowed, each for its quantity.
    pub max_shifts: Vec<MaxShift>,
}

/// A series of recordings of one dial, compared step by step.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The recordings in the order given.
    pub recordings: Vec<Saved>,
    /// Each recording beside the one before it, then, of more than two, the last beside the first.
    pub steps: Vec<Step>,
    /// The shifts that were allowed.
    pub max_shifts: Vec<MaxShift>,
}

/// Two recordings side by side.
#[derive(Clone, Debug)]
pub struct Step {
    /// Index of the earlier recording.
    pub before: usize,
    /// Index of the later recording.
    pub after: usize,
    /// Which digits were compared.
    pub pairing: Pairing,
    /// Changes of each pair, in the order of [`Pairing::pairs`].
    pub changes: Vec<Vec<Change>>,
    /// Findings of the earlier recording that the later one does not have, once each.
    pub gone: Vec<SavedFinding>,
    /// Findings that only the later recording has.
    pub came: Vec<SavedFinding>,
    /// Findings of both.
    pub stayed: Vec<SavedFinding>,
    /// Allowed shifts against changes: the worst word, [`Verdict::NotJudged`] when a quantity that was to be
    /// judged could not be compared; `None` when nothing was asked.
    pub shift: Option<Verdict>,
}

/// Compares `recordings`, two or more of one dial, in their order.
#[must_use]
pub fn compare(recordings: Vec<Saved>, options: &CompareOptions) -> Comparison {
    let count = recordings.len();
    let mut spans: Vec<(usize, usize)> = (1..count).map(|after| (after - 1, after)).collect();
    if count > 2 {
        spans.push((0, count - 1));
    }
    let steps = spans
        .into_iter()
        .map(|(before, after)| step(&recordings, before, after, options))
        .collect();
    Comparison {
        recordings,
        steps,
        max_shifts: options.max_shifts.clone(),
    }
}

fn step(recordings: &[Saved], before: usize, after: usize, options: &CompareOptions) -> Step {
    let (one, two) = (&recordings[before], &recordings[after]);
    let pairing = pairing::pair(one, two);
    let clocks = Clocks {
        before_ppm: one.clock_ppm(),
        after_ppm: two.clock_ppm(),
        same: options.same_recorder,
    };
    let of = |&(i, j): &(usize, usize)| change::changes(&one.digits[i], &two.digits[j], clocks);
    let changes: Vec<Vec<Change>> = pairing.pairs.iter().map(of).collect();
    let (gone, stayed) = parted(&one.findings, &two.findings);
    let (came, _) = parted(&two.findings, &one.findings);
    Step {
        before,
        after,
        pairing,
        shift: judged(&changes, &options.max_shifts),
        changes,
        gone,
        came,
        stayed,
    }
}

/// Findings whose code `others` lacks, and those whose code it has; of each code the first.
fn parted(
    findings: &[SavedFinding],
    others: &[SavedFinding],
) -> (Vec<SavedFinding>, Vec<SavedFinding>) {
    let first = |(index, finding): &(usize, &SavedFinding)| {
        !findings[..*index]
            .iter()
            .any(|earlier| earlier.code == finding.code)
    };
    let once = findings.iter().enumerate().filter(first);
    let once: Vec<SavedFinding> = once.map(|(_, finding)| finding.clone()).collect();
    let alone = |finding: &SavedFinding| !others.iter().any(|other| other.code == finding.code);
    once.into_iter().partition(alone)
}

/// The worst word on the allowed shifts.
fn judged(changes: &[Vec<Change>], shifts: &[MaxShift]) -> Option<Verdict> {
    let word = |shift: &MaxShift| {
        let words = changes
            .iter()
            .flatten()
            .filter_map(|change| shift.verdict(change));
        words
            .max_by_key(|word| weight(*word))
            .unwrap_or(Verdict::NotJudged)
    };
    shifts.iter().map(word).max_by_key(|word| weight(*word))
}

/// Order of the words, worst last.
fn weight(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Pass => 0,
        Verdict::ConditionalPass => 1,
        Verdict::NotJudged => 2,
        Verdict::ConditionalFail => 3,
        Verdict::Fail => 4,
    }
}

/// The digit as it is named, or a query where the plan has none.
pub(crate) fn digit_name(digit: &SavedDigit) -> &str {
    digit.digit.as_deref().unwrap_or("?")
}

/// Name and unit of a quantity that is compared.
pub(crate) fn name_and_unit(quantity: &str) -> (&'static str, &'static str) {
    match quantity {
        "speed_pps" => ("pulsing speed", "pps"),
        "percent_break" => ("percent break", "%"),
        "percent_break_half_step" => ("  at half step", "%"),
        "break_ms" => ("break", "ms"),
        "make_ms" => ("make", "ms"),
        "slow_down_percent" => ("slow-down", "%"),
        "unevenness_percent" => ("unevenness", "%"),
        "chatter_ms" => ("chatter", "ms"),
        _ => ("quantity", ""),
    }
}

/// A change with its sign: `+1.7011 ± 0.0014`.
pub(crate) fn signed(change: score::Value) -> String {
    let text = crate::figure::with_uncertainty(change.value, change.u95);
    if change.value > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

#[cfg(test)]
mod tests;
