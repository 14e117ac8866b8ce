//! The recipe: group, measure, judge, explain.

use std::collections::BTreeMap;

use edges::Trace;

use crate::findings::{self, Evidence};
use crate::grouping::{self, Group};
use crate::measure::{Measurer, span_ms};
use crate::off_normal::{self, OffNormal};
use crate::settings::Settings;
use crate::types::{Check, CountCheck, Digit, Scored, Value, Verdict};
use crate::{count, doubt, evenness, explain, facts, judge, receivers, roll_up, takes, would_say};

/// Scores what the detector found in one channel of a recording.
///
/// ```
/// use edges::{Detector, Trace};
/// let silence: Trace = Detector::new(48_000.0).finish();
/// let scored = score::score(&silence, &score::Settings::default());
/// assert_eq!(scored.verdict, score::Verdict::NotJudged);
/// assert_eq!(scored.reasons[0].code, "no-dialling");
/// ```
#[must_use]
pub fn score(trace: &Trace, settings: &Settings) -> Scored {
    let groups = grouping::digits(trace);
    let (digits, count, checks) = judged(trace, &groups, settings);
    let words: Vec<Verdict> = digits.iter().map(|digit| digit.verdict).collect();
    let verdict = with_count(roll_up::recording(&digits, &checks, &words), &count);
    Scored {
        verdict,
        reasons: explain::reasons(trace, settings, &digits, &checks, &count),
        warnings: explain::warnings(settings, verdict),
        facts: facts::of(&trace.trains),
        findings: findings::all(&Evidence {
            digits: &digits,
            groups: &groups,
            count: &count,
            checks: &checks,
            trace,
            settings,
        }),
        receivers: receivers::answers(&digits, &groups, settings),
        takes: takes::takes(&digits, settings),
        would_say: would_say::lines(&digits, settings),
        digits,
        checks,
        count,
        plan: settings.plan,
    }
}

/// Digits with their verdicts, and their checks: what of a recording that goes on can be told each time that a digit is
/// over. Findings need all of it.
#[must_use]
pub fn digits(trace: &Trace, settings: &Settings) -> (Vec<Digit>, Vec<Check>) {
    let (digits, _, checks) = judged(trace, &grouping::digits(trace), settings);
    (digits, checks)
}

fn judged(
    trace: &Trace,
    groups: &[Group],
    settings: &Settings,
) -> (Vec<Digit>, CountCheck, Vec<Check>) {
    let mut digits = measure_all(trace, groups, settings);
    let count = count::compare(&digits, settings);
    let checks = check_all(&digits, &count, settings);
    let words = roll_up::digits(&digits, &checks);
    for (digit, word) in digits.iter_mut().zip(&words) {
        digit.verdict = *word;
    }
    (digits, count, checks)
}

/// A count that was asked for is part of the verdict.
fn with_count(verdict: Verdict, count: &CountCheck) -> Verdict {
    if count.dialled.is_none() {
        return verdict;
    }
    judge::worst([verdict, count.verdict].into_iter()).unwrap_or(verdict)
}

fn check_all(digits: &[Digit], count: &CountCheck, settings: &Settings) -> Vec<Check> {
    let of_digit = |index: usize| {
        let by_limits = settings
            .limits
            .iter()
            .flat_map(move |set| judge::checks(digits, index, set, settings));
        count::check(count, digits, index)
            .into_iter()
            .chain(by_limits)
    };
    (0..digits.len()).flat_map(of_digit).collect()
}

fn measure_all(trace: &Trace, groups: &[Group], settings: &Settings) -> Vec<Digit> {
    let off_normal = off_normal::around(&trace.trains, groups);
    let measured = off_normal.into_iter().enumerate();
    measured
        .map(|(index, steps)| measure(trace, groups, index, steps, settings))
        .collect()
}

fn measure(
    trace: &Trace,
    groups: &[Group],
    index: usize,
    off_normal: OffNormal,
    settings: &Settings,
) -> Digit {
    let group = &groups[index];
    let previous = index.checked_sub(1).map(|previous| &groups[previous]);
    let next = groups.get(index + 1);
    let trains = &trace.trains;
    let is_first =
        previous.is_none_or(|previous| *previous.trains().end() < group.first().open.train);
    let is_last = next.is_none_or(|next| next.first().open.train > group.last().close.train);
    let doubt = doubt::about(trains, group, is_first, is_last);
    let measurer = Measurer::new(trains, group);
    let OffNormal {
        winding_ms,
        return_ms,
        idle_after_ms,
    } = off_normal;
    let pulses_detail = measurer.pulses();
    let mut digit = Digit {
        digit: settings.plan.label(group.breaks.len()),
        pulses: group.breaks.len(),
        start_s: group.start_s(),
        end_s: group.end_s(),
        speed_pps: measurer.speed_pps(),
        period_ms: measurer.period_ms(),
        percent_break: measurer.percent_break(),
        percent_break_half_step: measurer.percent_break_half_step(),
        break_make_ratio: measurer.break_make_ratio(),
        break_ms: measurer.break_summary_ms(),
        make_ms: measurer.make_summary_ms(),
        slow_down_percent: evenness::slow_down(&measurer),
        unevenness_percent: evenness::unevenness(&measurer),
        chatter_ms_max: pulses_detail
            .iter()
            .map(|pulse| pulse.chatter_ms)
            .fold(0.0, f64::max),
        chatter_floor_ms: chatter_floor_ms(trace, group),
        pause_before_ms: previous.map(|previous| pause_ms(trace, previous, group)),
        winding_ms,
        return_ms,
        idle_after_ms,
        verdict: Verdict::NotJudged,
        sure: doubt.is_none(),
        doubt,
        why_null: BTreeMap::new(),
        pulses_detail,
        train: group.first().open.train,
    };
    digit.why_null = why_null(&digit);
    digit
}

/// End of the last break of one digit to the start of the first break of the next.
fn pause_ms(trace: &Trace, previous: &Group, group: &Group) -> Value {
    span_ms(&trace.trains, &previous.last().close, &group.first().open)
}

fn chatter_floor_ms(trace: &Trace, group: &Group) -> f64 {
    trace.trains[group.trains()]
        .iter()
        .map(|train| 1000.0 * train.chatter_floor_s)
        .fold(0.0, f64::max)
}

/// The reason for every field that is missing. Those of the last pulse stand here too, since it has them in
/// every digit.
fn why_null(digit: &Digit) -> BTreeMap<&'static str, &'static str> {
    let single = if digit.pulses == 1 {
        "single-pulse"
    } else {
        "no-span"
    };
    let few = if digit.pulses == 1 {
        "single-pulse"
    } else {
        "fewer-than-four-pulses"
    };
    let half_step = if digit.percent_break.is_none() {
        single
    } else {
        "sharp-edges"
    };
    let missing = [
        ("digit", digit.digit.is_none(), "more-pulses-than-plan"),
        ("speed_pps", digit.speed_pps.is_none(), single),
        ("period_ms", digit.period_ms.is_none(), single),
        ("percent_break", digit.percent_break.is_none(), single),
        ("break_make_ratio", digit.break_make_ratio.is_none(), single),
        (
            "percent_break_half_step",
            digit.percent_break_half_step.is_none(),
            half_step,
        ),
        ("make_ms", digit.make_ms.is_none(), "merges-into-pause"),
        ("slow_down_percent", digit.slow_down_percent.is_none(), few),
        (
            "unevenness_percent",
            digit.unevenness_percent.is_none(),
            few,
        ),
        (
            "pause_before_ms",
            digit.pause_before_ms.is_none(),
            "first-digit",
        ),
        (
            "winding_ms",
            digit.winding_ms.is_none(),
            "no-off-normal-step",
        ),
        ("return_ms", digit.return_ms.is_none(), "no-off-normal-step"),
        (
            "idle_after_ms",
            digit.idle_after_ms.is_none(),
            "no-off-normal-step",
        ),
        ("pulses_detail.make_ms", true, "merges-into-pause"),
        ("pulses_detail.percent_break", true, "merges-into-pause"),
    ];
    missing
        .into_iter()
        .filter(|(_, is_missing, _)| *is_missing)
        .map(|(field, _, why)| (field, why))
        .collect()
}
