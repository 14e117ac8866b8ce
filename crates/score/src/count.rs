//! Dialled against found.

use crate::judge::count_check;
use crate::plan::Plan;
use crate::settings::Settings;
use crate::types::{Check, CountCheck, Digit, Verdict};
use crate::wording;

/// Compares what was said to be dialled with what was found, across digits.
pub(crate) fn compare(digits: &[Digit], settings: &Settings) -> CountCheck {
    let mut count = CountCheck {
        dialled: settings.dialled.clone(),
        expected_pulses: Vec::new(),
        found_pulses: digits.iter().map(|digit| digit.pulses).collect(),
        verdict: Verdict::NotJudged,
        reason: None,
        other_plan: None,
    };
    let Some(dialled) = &settings.dialled else {
        return count;
    };
    match settings.plan.pulses_of(dialled) {
        Ok(expected) => {
            count.expected_pulses = expected;
            (count.verdict, count.reason) = word(&count, digits);
            count.other_plan = other_plan(&count, dialled, settings.plan);
            if let (Some(plan), Some(reason)) = (count.other_plan, &mut count.reason) {
                reason.push_str(&format!(
                    "; by the plan {name} every digit is right: a recording cannot show the plan, so choose it by --plan \
                     {name} if the dial follows it",
                    name = plan.name()
                ));
            }
        }
        Err(error) => count.reason = Some(error.to_string()),
    }
    count
}

/// The plan by which all of at least two different digits are right, where they are not by the chosen one. A single
/// digit fits some plan too often to say anything.
fn other_plan(count: &CountCheck, dialled: &str, chosen: Plan) -> Option<Plan> {
    let (expected, found) = (&count.expected_pulses, &count.found_pulses);
    let differ = expected.iter().any(|pulses| *pulses != expected[0]);
    if !differ || expected == found {
        return None;
    }
    let fits = |plan: &Plan| {
        *plan != chosen && plan.pulses_of(dialled).is_ok_and(|pulses| pulses == *found)
    };
    Plan::ALL.iter().map(|(_, plan)| *plan).find(fits)
}

/// A digit that is wholly missing need not be the dial's fault.
const MISSING: &str = "; one may be hidden in noise, or two ran together: --plot-kind overview shows the whole recording";

/// The word for a count: a wrong digit fails only if its count is beyond doubt.
fn word(count: &CountCheck, digits: &[Digit]) -> (Verdict, Option<String>) {
    let (expected, found) = (&count.expected_pulses, &count.found_pulses);
    let unsure = digits.iter().any(|digit| !digit.sure);
    if found.is_empty() {
        return (
            Verdict::NotJudged,
            Some(format!(
                "{} were dialled, no dialling was found",
                digits_in_words(expected)
            )),
        );
    }
    if expected.len() != found.len() {
        let verdict = if unsure {
            Verdict::NotJudged
        } else {
            Verdict::Fail
        };
        let missing = if found.len() < expected.len() {
            MISSING
        } else {
            ""
        };
        let reason = format!(
            "{} were dialled, {} found{missing}",
            digits_in_words(expected),
            found.len()
        );
        return (verdict, Some(reason));
    }
    let wrong: Vec<usize> = (0..found.len())
        .filter(|index| expected[*index] != found[*index])
        .collect();
    let reason = wrong
        .iter()
        .map(|index| wrong_digit(*index, expected[*index], found[*index]));
    let reason = Some(reason.collect::<Vec<_>>().join("; ")).filter(|reason| !reason.is_empty());
    if wrong.iter().any(|index| digits[*index].sure) {
        (Verdict::Fail, reason)
    } else if unsure {
        (
            Verdict::NotJudged,
            reason.or(Some("the count of a digit is in doubt".into())),
        )
    } else {
        (Verdict::Pass, None)
    }
}

fn digits_in_words(expected: &[usize]) -> String {
    if expected.len() == 1 {
        "1 digit".into()
    } else {
        format!("{} digits", expected.len())
    }
}

fn wrong_digit(index: usize, expected: usize, found: usize) -> String {
    format!(
        "{}: {expected} pulses were dialled, {found} found",
        wording::nth_digit(index, None)
    )
}

/// The count of one digit as a check; `None` where digits and dialled number cannot be paired.
pub(crate) fn check(count: &CountCheck, digits: &[Digit], index: usize) -> Option<Check> {
    let dialled = count.dialled.as_ref()?;
    if count.expected_pulses.len() != digits.len() {
        return None;
    }
    Some(count_check(
        index,
        &digits[index],
        count.expected_pulses[index],
        dialled,
    ))
}
