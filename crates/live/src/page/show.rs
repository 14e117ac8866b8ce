//! From what was measured to what the page shows: words and rounded figures, nothing measured here.

use report::{clock_joined, verdict_code, with_uncertainty};
use score::limits::{LimitSet, Range};
use score::{Check, Digit, Finding, Settings, Value, Verdict};

use super::protocol::{Attempt, Changed, Edges, Figure, Limits, Pulse};
use crate::change::Difference;

/// Findings shown under a digit; the report has all.
const FINDINGS: usize = 3;

/// One digit with everything that is said of it.
#[derive(Clone, Debug)]
pub(crate) struct Told {
    pub(crate) digit: Digit,
    pub(crate) checks: Vec<Check>,
    pub(crate) findings: Vec<Finding>,
}

/// What a digit is shown beside.
pub(crate) struct Beside<'a> {
    /// The latest earlier digit that it can be compared with.
    pub(crate) before: Option<&'a Told>,
    /// The first take.
    pub(crate) first: Option<&'a Told>,
}

/// A digit as the page shows it.
pub(crate) fn attempt(
    number: usize,
    told: &Told,
    beside: &Beside<'_>,
    settings: &Settings,
) -> Attempt {
    let digit = &told.digit;
    let limits = limits(settings.limits.as_ref());
    // What is not sure is no reason to turn a screw.
    let judged = settings.limits.as_ref().filter(|_| digit.sure);
    let speed = digit.speed_pps.map(|value| speed(value, settings));
    let percent = digit.percent_break_as_read(settings).map(percent);
    let word = word(digit, settings).to_owned();
    let reason = reason(told, settings);
    let name = digit.digit.as_deref().unwrap_or("unknown");
    Attempt {
        number,
        digit: digit.digit.clone(),
        pulses: digit.pulses,
        sure: digit.sure,
        verdict: verdict_code(digit.verdict),
        spoken: format!("Digit {name}, {word}. {reason}"),
        word,
        reason,
        speed,
        percent,
        change: beside.before.map(|before| changed(&before.digit, digit)),
        against_first: beside.first.map(|first| against_first(&first.digit, digit)),
        better: beside
            .before
            .and_then(|before| better(&before.digit, digit, settings.limits.as_ref())),
        speed_aim: judged.and_then(|set| aim(digit.speed_pps?, set.pps.as_ref()?, "pps")),
        percent_aim: judged
            .and_then(|set| aim(digit.percent_break?, &percent_range(set)?, "points")),
        limits,
        pulses_detail: digit
            .pulses_detail
            .iter()
            .map(|pulse| Pulse {
                break_ms: pulse.break_ms,
                make_ms: pulse.make_ms,
            })
            .collect(),
        pulses_words: pulses_words(digit),
        breaks_s: digit
            .pulses_detail
            .iter()
            .map(|pulse| [pulse.break_start_s, pulse.make_start_s])
            .collect(),
        findings: told
            .findings
            .iter()
            .take(FINDINGS)
            .map(|finding| format!("{}: {}", finding.title, finding.advice))
            .collect(),
    }
}

/// The word of the verdict; one that was not asked for is no reproach.
fn word(digit: &Digit, settings: &Settings) -> &'static str {
    match digit.verdict {
        _ if !digit.sure => "not sure",
        Verdict::NotJudged if settings.limits.is_none() => "measured",
        verdict => report::verdict_words(verdict),
    }
}

/// Weight of a word: the reason that counts is that of the worst.
fn weight(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Fail => 4,
        Verdict::ConditionalFail => 3,
        Verdict::NotJudged => 2,
        Verdict::ConditionalPass => 1,
        Verdict::Pass => 0,
    }
}

/// Why the word is what it is, short enough to be read from afar.
fn reason(told: &Told, settings: &Settings) -> String {
    let digit = &told.digit;
    if let Some(doubt) = &digit.doubt {
        return format!(
            "{}; the count is not beyond doubt: {doubt}",
            pulses(digit.pulses)
        );
    }
    let Some(set) = &settings.limits else {
        return format!("{}; no limits are chosen", pulses(digit.pulses));
    };
    let judged: Vec<&Check> = told
        .checks
        .iter()
        .filter(|check| check.quantity != "pulses")
        .collect();
    let worst = judged.iter().map(|check| weight(check.verdict)).max();
    let lines: Vec<String> = judged
        .iter()
        .filter(|check| Some(weight(check.verdict)) == worst && check.verdict != Verdict::Pass)
        .map(|check| score::statement(check))
        .collect();
    match (lines.is_empty(), judged.is_empty()) {
        (false, _) => lines.join("; "),
        (true, false) => format!("{}; within {}", pulses(digit.pulses), set.name),
        (true, true) => format!(
            "{}; {} limits nothing that it shows",
            pulses(digit.pulses),
            set.name
        ),
    }
}

fn pulses(count: usize) -> String {
    match count {
        1 => "1 pulse".to_owned(),
        count => format!("{count} pulses"),
    }
}

fn pulses_words(digit: &Digit) -> String {
    let breaks: Vec<String> = digit
        .pulses_detail
        .iter()
        .map(|pulse| format!("{:.1}", pulse.break_ms))
        .collect();
    format!(
        "{}, breaks of {} ms",
        pulses(digit.pulses),
        breaks.join(", ")
    )
}

fn speed(value: Value, settings: &Settings) -> Figure {
    let u95 = clock_joined(value, settings.clock_ppm);
    figure(value.value, u95, 2, "pps")
}

fn percent(value: Value) -> Figure {
    figure(value.value, value.u95, 1, "%")
}

/// A figure for far and near: from afar no more than `decimals`, near with all that was measured.
fn figure(value: f64, u95: f64, decimals: usize, unit: &str) -> Figure {
    let full = with_uncertainty(value, u95);
    let measured = full.split(' ').next().unwrap_or_default();
    let places = measured
        .split_once('.')
        .map_or(0, |(_, places)| places.len());
    let text = if places > decimals {
        format!("{value:.decimals$}")
    } else {
        measured.to_owned()
    };
    Figure {
        value,
        u95,
        text,
        words: format!("{full} {unit}"),
        full,
    }
}

/// The limits that the page draws. Those of other kinds stand in the reason and in the report.
pub(crate) fn limits(set: Option<&LimitSet>) -> Limits {
    let Some(set) = set else {
        return Limits::default();
    };
    Limits {
        speed: set.pps.as_ref().map(|range| edges(range, "pps")),
        percent: percent_range(set).map(|range| edges(&range, "%")),
        of_break: set.break_ms.as_ref().map(|range| edges(range, "ms")),
    }
}

fn percent_range(set: &LimitSet) -> Option<Range> {
    set.percent
        .as_ref()
        .map(score::limits::PercentLimit::percent_break)
}

fn edges(range: &Range, unit: &str) -> Edges {
    let words = match (range.lower, range.upper) {
        (Some(lower), Some(upper)) => format!("{lower} to {upper} {unit}"),
        (Some(lower), None) => format!("at least {lower} {unit}"),
        (None, Some(upper)) => format!("at most {upper} {unit}"),
        (None, None) => String::new(),
    };
    Edges {
        lower: range.lower,
        upper: range.upper,
        words,
    }
}

/// True where one can be set beside the other: both sure, and both long enough to have a speed.
pub(crate) fn comparable(one: &Digit, other: &Digit) -> bool {
    one.sure && other.sure && one.speed_pps.is_some() && other.speed_pps.is_some()
}

fn changed(before: &Digit, now: &Digit) -> Changed {
    Changed {
        speed: difference(before.speed_pps, now.speed_pps).map(|change| in_words(change, 2, "pps")),
        percent: difference(before.percent_break, now.percent_break)
            .map(|change| in_words(change, 2, "points")),
    }
}

fn difference(before: Option<Value>, now: Option<Value>) -> Option<Difference> {
    Difference::between(before, now)
}

fn in_words(change: Difference, decimals: usize, unit: &str) -> String {
    if !change.exceeds() {
        return "no certain change".to_owned();
    }
    // A change that is certain is never shown as none.
    let decimals = (decimals..9)
        .find(|places| change.value.abs() >= 0.5 * 0.1_f64.powi(*places as i32))
        .unwrap_or(decimals);
    let arrow = if change.value > 0.0 {
        "▲ +"
    } else {
        "▼ −"
    };
    format!("{arrow}{:.decimals$} {unit}", change.value.abs())
}

fn against_first(first: &Digit, now: &Digit) -> String {
    if !comparable(first, now) {
        return String::new();
    }
    let changed = changed(first, now);
    let parts = [("speed", changed.speed), ("break", changed.percent)];
    let mut words: Vec<String> = parts
        .into_iter()
        .filter_map(|(name, change)| Some(format!("{name} {}", change?)))
        .collect();
    if first.pulses != now.pulses {
        words.push("another digit".to_owned());
    }
    words.join("\n")
}

/// How far it is to the middle of the limits, and which way: what the next turn of the adjustment is for.
fn aim(value: Value, range: &Range, unit: &str) -> Option<String> {
    let change = range.lower?.midpoint(range.upper?) - value.value;
    Some(match change {
        change if change.abs() <= value.u95 => "at the middle".to_owned(),
        change if change > 0.0 => format!("{change:.2} {unit} below the middle"),
        change => format!("{:.2} {unit} above the middle", -change),
    })
}

/// Nearer to the middle of the limits, or farther: what the last turn of the adjustment did.
fn better(before: &Digit, now: &Digit, set: Option<&LimitSet>) -> Option<String> {
    let set = set?;
    let parts = [
        (
            "speed",
            set.pps.clone(),
            before.speed_pps,
            now.speed_pps,
            "pps",
        ),
        (
            "break",
            percent_range(set),
            before.percent_break,
            now.percent_break,
            "points",
        ),
    ];
    let words: Vec<String> = parts
        .into_iter()
        .filter_map(|(name, range, before, now, unit)| nearer(name, &range?, before?, now?, unit))
        .collect();
    (!words.is_empty()).then(|| words.join(" · "))
}

fn nearer(name: &str, range: &Range, before: Value, now: Value, unit: &str) -> Option<String> {
    let middle = range.lower?.midpoint(range.upper?);
    let off = |value: Value| (value.value - middle).abs();
    let word = match off(now) - off(before) {
        change if change.abs() <= before.u95.hypot(now.u95) => "as far off as before",
        change if change < 0.0 => "nearer",
        _ => "farther off",
    };
    Some(format!(
        "{name} {word}: {:.2} {unit} from the middle, was {:.2}",
        off(now),
        off(before)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_aim_is_the_middle_of_the_limits() {
        let value = |value: f64| Value { value, u95: 0.01 };
        let limits = Range::between(9.5, 10.5);
        let cases = [
            (8.2, Some("1.80 pps below the middle")),
            (10.4, Some("0.40 pps above the middle")),
            (10.005, Some("at the middle")),
        ];
        for (measured, expected) in cases {
            assert_eq!(aim(value(measured), &limits, "pps").as_deref(), expected);
        }
        assert_eq!(aim(value(8.2), &Range::at_least(7.0), "pps"), None);
    }

    #[test]
    fn a_figure_shows_afar_no_more_than_was_measured() {
        let sharp = figure(8.199_012, 0.000_93, 2, "pps");
        assert_eq!(
            (sharp.text.as_str(), sharp.words.as_str()),
            ("8.20", "8.19901 ± 0.00093 pps")
        );
        let blunt = figure(61.6, 2.4, 1, "%");
        assert_eq!(
            (blunt.text.as_str(), blunt.full.as_str()),
            ("61.6", "61.6 ± 2.4")
        );
        let coarse = figure(61.6, 24.0, 1, "%");
        assert_eq!(coarse.text, "62");
    }

    #[test]
    fn a_change_that_is_certain_is_never_shown_as_none() {
        let change = |value: f64, u95: f64| in_words(Difference { value, u95 }, 2, "pps");
        assert_eq!(change(0.5, 0.1), "▲ +0.50 pps");
        assert_eq!(change(-0.003, 0.001), "▼ −0.003 pps");
        assert_eq!(change(0.1, 0.1), "no certain change");
    }
}
