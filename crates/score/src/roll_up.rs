//! From checks to the word for a digit, and from digits to the word for a recording.

use crate::judge::worst;
use crate::types::{Check, Digit, Verdict};

/// The word for each digit: the worst of its checks. A digit whose count is not beyond doubt is not judged,
/// nor is one with nothing to judge.
pub(crate) fn digits(digits: &[Digit], checks: &[Check]) -> Vec<Verdict> {
    let word = |(index, digit): (usize, &Digit)| {
        let own = checks
            .iter()
            .filter(|check| check.digit_index == index)
            .map(|check| check.verdict);
        let own = worst(own).unwrap_or(Verdict::NotJudged);
        if digit.sure { own } else { Verdict::NotJudged }
    };
    digits.iter().enumerate().map(word).collect()
}

/// The word for a recording: the worst digit. A sure digit with nothing to judge is left out when another
/// is judged.
pub(crate) fn recording(digits: &[Digit], checks: &[Check], words: &[Verdict]) -> Verdict {
    let has_checks = |index: usize| checks.iter().any(|check| check.digit_index == index);
    let counts = |index: &usize| !digits[*index].sure || has_checks(*index);
    worst((0..digits.len()).filter(counts).map(|index| words[index])).unwrap_or(Verdict::NotJudged)
}
