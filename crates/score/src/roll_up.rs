//! From checks to the word for a digit, and from digits to the word for a recording.

use crate::judge::worst;
use crate::types::{Check, Digit, Verdict};

/// The word for each digit: the worst of its checks, which are all withheld where the count is not beyond
/// doubt. A digit with nothing to judge is not judged.
pub(crate) fn digits(digits: &[Digit], checks: &[Check]) -> Vec<Verdict> {
    let own = |index: usize| {
        checks
            .iter()
            .filter(move |check| check.digit_index == index)
    };
    let word = |index: usize| worst(own(index).map(|check| check.verdict));
    (0..digits.len())
        .map(|index| word(index).unwrap_or(Verdict::NotJudged))
        .collect()
}

/// The word for a recording: the worst digit. A sure digit with nothing to judge is left out when another
/// is judged.
pub(crate) fn recording(digits: &[Digit], checks: &[Check], words: &[Verdict]) -> Verdict {
    let has_checks = |index: usize| checks.iter().any(|check| check.digit_index == index);
    let counts = |index: &usize| !digits[*index].sure || has_checks(*index);
    worst((0..digits.len()).filter(counts).map(|index| words[index])).unwrap_or(Verdict::NotJudged)
}
