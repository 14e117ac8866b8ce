//! What each published set would say, when the user chose none: the sets exclude each other's healthy
//! dials, so none is applied by itself.

use crate::explain;
use crate::judge;
use crate::limits::{self, LimitSet};
use crate::roll_up;
use crate::settings::Settings;
use crate::types::{Check, Digit, Verdict, WouldSay};
use crate::wording;

/// One line per citable set.
pub(crate) fn lines(digits: &[Digit], settings: &Settings) -> Vec<WouldSay> {
    if settings.limits.is_some() || digits.is_empty() {
        return Vec::new();
    }
    limits::all()
        .iter()
        .map(|set| line(set, digits, settings))
        .collect()
}

fn line(set: &LimitSet, digits: &[Digit], settings: &Settings) -> WouldSay {
    let checks: Vec<_> = (0..digits.len())
        .flat_map(|index| judge::checks(digits, index, set, settings))
        .collect();
    let words = roll_up::digits(digits, &checks);
    let verdict = roll_up::recording(digits, &checks, &words);
    WouldSay {
        name: set.name.to_string(),
        grade: set.grade,
        verdict,
        line: format!(
            "{} (grade {}) would say {}: {}",
            set.name,
            set.grade.name(),
            verdict.words(),
            why(verdict, &checks, digits)
        ),
    }
}

/// The first check that has the recording's word, or how many comparisons passed.
fn why(verdict: Verdict, checks: &[Check], digits: &[Digit]) -> String {
    let decisive = checks.iter().find(|check| check.verdict == verdict);
    match (decisive, checks.len()) {
        (Some(_), 2..) if verdict == Verdict::Pass => {
            format!("all {} comparisons within limits", checks.len())
        }
        (Some(check), _) => format!(
            "{}: {}",
            wording::which(check.digit_index, digits),
            explain::statement(check)
        ),
        (None, 0) => "nothing it limits was measured".into(),
        (None, _) => "the count of a digit is in doubt".into(),
    }
}
