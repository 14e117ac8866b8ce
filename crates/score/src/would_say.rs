//! What each published set would say, when the user chose none: the sets exclude each other's healthy
//! dials, so none is applied by itself.

use crate::explain;
use crate::judge;
use crate::limits::{self, Grade, LimitSet};
use crate::roll_up;
use crate::settings::Settings;
use crate::types::{Check, Digit, Verdict, WouldSay};
use crate::wording;

/// A set whose speeds are this much farther from the dial's than those of another set is for another class of
/// dial (ln 1.6: the classes of 10 and 20 pps are ln 2 apart). To tell a 10 pps dial that it fails as a 20 pps
/// dial helps nobody.
const OTHER_CLASS: f64 = 0.47;

/// One line per citable set.
pub(crate) fn lines(digits: &[Digit], settings: &Settings) -> Vec<WouldSay> {
    if settings.limits.is_some() || digits.is_empty() {
        return Vec::new();
    }
    let citable: Vec<&LimitSet> = limits::all().iter().filter(|set| is_citable(set)).collect();
    let nearest = citable
        .iter()
        .filter_map(|set| distance(set, digits))
        .fold(f64::INFINITY, f64::min);
    citable
        .into_iter()
        .filter(|set| distance(set, digits).is_none_or(|far| far <= nearest + OTHER_CLASS))
        .map(|set| line(set, digits, settings))
        .collect()
}

/// Sets that say something of a dial on evidence that can be cited (B+ and better).
fn is_citable(set: &LimitSet) -> bool {
    set.grade <= Grade::BPlus && set.is_about_dials() && !set.limits_only_pauses()
}

/// How far the middle of the set's speeds lies from the dial's, as the logarithm of their ratio; `None` where
/// the set has no speed or no digit has one.
fn distance(set: &LimitSet, digits: &[Digit]) -> Option<f64> {
    let speeds = || {
        digits
            .iter()
            .filter(|digit| digit.sure)
            .filter_map(|digit| digit.speed_pps)
    };
    let count = speeds().count();
    if count == 0 {
        return None;
    }
    let speed = speeds().map(|speed| speed.value).sum::<f64>() / count as f64;
    let range = set.pps.as_ref()?;
    let middle = range.lower?.midpoint(range.upper?);
    Some((middle / speed).ln().abs())
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
