//! Speed or share of break off as a whole: what to change and by how much. Only the chosen limits say what is
//! off, and only they have a middle.

use super::Evidence;
use crate::apart;
use crate::judge::{self, worst};
use crate::limits::{PercentLimit, Range};
use crate::types::{Digit, Finding, HowMuch, HowSure, Value, Verdict};
use crate::wording::{limits, measured, quantity, significant};

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let Some(set) = evidence
        .settings
        .limits
        .as_ref()
        .filter(|set| set.grade.judges())
    else {
        return Vec::new();
    };
    let percent = set.percent.as_ref().map(PercentLimit::percent_break);
    let means = [
        Mean::new("speed_pps", set.pps.as_ref(), |digit| digit.speed_pps),
        Mean::new("period_ms", set.period_ms.as_ref(), |digit| digit.period_ms),
        Mean::new("percent_break", percent.as_ref(), |digit| {
            digit.percent_break
        }),
        Mean::new("break_make_ratio", set.break_make_ratio.as_ref(), |digit| {
            digit.break_make_ratio
        }),
    ];
    let mut findings: Vec<Finding> = means
        .into_iter()
        .flatten()
        .filter_map(|mean| mean.finding(evidence))
        .collect();
    findings.extend(length(evidence, "break_ms", set.break_ms.as_ref()));
    findings.extend(length(evidence, "make_ms", set.make_ms.as_ref()));
    findings
}

/// A mean that a range holds for.
struct Mean<'a> {
    quantity: &'static str,
    range: &'a Range,
    of_digit: fn(&Digit) -> Option<Value>,
}

impl<'a> Mean<'a> {
    fn new(
        quantity: &'static str,
        range: Option<&'a Range>,
        of_digit: fn(&Digit) -> Option<Value>,
    ) -> Option<Self> {
        Some(Mean {
            quantity,
            range: range?,
            of_digit,
        })
    }

    fn finding(&self, evidence: &Evidence) -> Option<Finding> {
        let (value, digits) = self.over_digits(evidence)?;
        let period_ms = Mean {
            of_digit: |digit| digit.period_ms,
            ..*self
        };
        let band = value.u95.hypot(apart::u95(
            self.quantity,
            value.value,
            period_ms
                .over_digits(evidence)
                .map(|(period, _)| period.value),
            evidence.settings,
        ));
        let word = judge::word(value.value, self.range.lower, self.range.upper, band);
        if !matches!(word, Verdict::Fail | Verdict::ConditionalFail) {
            return None;
        }
        let how_much = HowMuch::to_pass(self.quantity, value.value..=value.value, self.range, band);
        Some(told(
            self.quantity,
            value.value,
            band,
            self.range,
            digits,
            word,
            how_much,
        ))
    }

    /// Mean over the sure digits, each by its number of periods, with the larger of its own uncertainty and of what
    /// the digits' spread gives.
    fn over_digits(&self, evidence: &Evidence) -> Option<(Value, usize)> {
        let parts: Vec<(f64, Value)> = evidence
            .steady()
            .filter_map(|(_, digit)| {
                Some((
                    (digit.pulses.checked_sub(1)?) as f64,
                    (self.of_digit)(digit)?,
                ))
            })
            .collect();
        let weights: f64 = parts.iter().map(|(weight, _)| weight).sum();
        if weights <= 0.0 {
            return None;
        }
        let value = parts
            .iter()
            .map(|(weight, part)| weight * part.value)
            .sum::<f64>()
            / weights;
        let own = parts
            .iter()
            .map(|(weight, part)| (weight * part.u95).powi(2))
            .sum::<f64>()
            .sqrt()
            / weights;
        let values: Vec<f64> = parts.iter().map(|(_, part)| part.value).collect();
        let spread = crate::takes::mean_u95(&values).unwrap_or(0.0);
        let u95 = own.max(spread);
        Some((Value { value, u95 }, parts.len()))
    }
}

/// Breaks or makes that a limit in milliseconds holds for one by one: the same change for all of them.
fn length(evidence: &Evidence, quantity: &'static str, range: Option<&Range>) -> Option<Finding> {
    let range = range?;
    let sure = || {
        evidence
            .steady()
            .flat_map(|(_, digit)| &digit.pulses_detail)
    };
    let of_pulse = |pulse: &crate::Pulse| match quantity {
        "break_ms" => Some((pulse.break_ms, pulse.break_u95_ms)),
        _ => pulse.make_ms.zip(pulse.make_u95_ms),
    };
    let values: Vec<(f64, f64)> = sure().filter_map(of_pulse).collect();
    let band = values
        .iter()
        .map(|(value, u95)| u95.hypot(apart::u95(quantity, *value, None, evidence.settings)))
        .fold(0.0, f64::max);
    let word = worst(
        values
            .iter()
            .map(|(value, _)| judge::word(*value, range.lower, range.upper, band)),
    )?;
    let mean = values.iter().map(|(value, _)| value).sum::<f64>() / values.len() as f64;
    let outside = judge::word(mean, range.lower, range.upper, 0.0) == Verdict::Fail;
    // Single ones outside about a mean inside are unevenness, not adjustment.
    if !outside || !matches!(word, Verdict::Fail | Verdict::ConditionalFail) {
        return None;
    }
    let least = values
        .iter()
        .map(|(value, _)| *value)
        .fold(f64::INFINITY, f64::min);
    let most = values
        .iter()
        .map(|(value, _)| *value)
        .fold(f64::NEG_INFINITY, f64::max);
    let how_much = HowMuch::to_pass(quantity, least..=most, range, band);
    let digits = evidence.steady().count();
    Some(told(quantity, mean, band, range, digits, word, how_much))
}

const PERCENT: &str = " %";
/// Differences of percentages.
const POINTS: &str = " points";

fn told(
    quantity_name: &'static str,
    value: f64,
    band: f64,
    range: &Range,
    digits: usize,
    word: Verdict,
    how_much: HowMuch,
) -> Finding {
    let above = range.upper.is_some_and(|upper| value > upper);
    let told = words_of(quantity_name, above);
    let (name, unit) = quantity(quantity_name);
    let over = if digits == 1 {
        String::new()
    } else {
        format!(", mean of {digits} digits")
    };
    let relative = how_much
        .middle
        .map(|middle| {
            // A share of a percentage would be taken for a difference of percentages.
            let (apart, unit) = if unit == PERCENT {
                (value - middle, POINTS)
            } else {
                (100.0 * (value - middle) / middle, PERCENT)
            };
            format!(
                ", {}{unit} {} the middle",
                significant(apart.abs(), 2),
                if apart < 0.0 { "below" } else { "above" }
            )
        })
        .unwrap_or_default();
    Finding {
        code: told.code,
        title: told.title.into(),
        evidence: format!(
            "{name} {}{unit} against {}{unit}{over}{relative}",
            measured(value, band),
            limits(range.lower, range.upper)
        ),
        likely_cause: told.cause.into(),
        advice: format!("{}{}", how_much_in_words(&how_much, unit), told.advice),
        basis: told.basis,
        how_sure: if word == Verdict::Fail {
            HowSure::Shown
        } else {
            HowSure::Likely
        },
        how_much: Some(how_much),
        digit_index: None,
        pulse_index: None,
    }
}

/// `raise it by 0.4 pps to reach the middle of the limits; from +0.1 to +1.1 pps passes; `.
fn how_much_in_words(how_much: &HowMuch, unit: &str) -> String {
    let unit = if unit == PERCENT { POINTS } else { unit };
    let signed = |change: f64| {
        format!(
            "{}{}",
            if change < 0.0 { "-" } else { "+" },
            significant(change.abs(), 2)
        )
    };
    let middle = how_much.change.map(|change| {
        let verb = if change < 0.0 { "lower" } else { "raise" };
        format!(
            "{verb} it by {}{unit} to reach the middle of the limits; ",
            significant(change.abs(), 2)
        )
    });
    let passes = match (how_much.least, how_much.most) {
        (Some(least), Some(most)) => {
            format!("from {} to {}{unit} passes; ", signed(least), signed(most))
        }
        (Some(least), None) => format!("{}{unit} and more passes; ", signed(least)),
        (None, Some(most)) => format!("{}{unit} and less passes; ", signed(most)),
        (None, None) => {
            "the uncertainty leaves no change that is sure to pass: record better first; ".into()
        }
    };
    format!("{}{passes}", middle.unwrap_or_default())
}

struct Told {
    code: &'static str,
    title: &'static str,
    cause: &'static str,
    advice: &'static str,
    basis: &'static str,
}

fn words_of(quantity: &str, above: bool) -> Told {
    match (quantity, above) {
        ("speed_pps", false) | ("period_ms", true) => Told {
            code: "slow",
            title: "The dial is slow as a whole",
            cause: "the governor holds the speed too low, or the train drags",
            advice: "clean and oil first, then adjust the governor; more tension of a friction governor's spring raises \
                     the speed, other governors differ",
            basis: GOVERNOR,
        },
        ("speed_pps" | "period_ms", _) => Told {
            code: "fast",
            title: "The dial is fast as a whole",
            cause: "the governor lets the speed rise too far: its spring too tight, or oil on the brake surface",
            advice: "see that the brake surface is dry and clean, then adjust the governor",
            basis: GOVERNOR,
        },
        ("percent_break" | "break_make_ratio", true) => Told {
            code: "percent-break-high",
            title: "The percent break is too high",
            cause: "the pulse contacts open early and close late: they stand too far apart, or the cam works them too \
                    long",
            advice: "look at contacts and springs for wear and dirt, then set their working distance in small steps and \
                     measure again; which way depends on the dial, since some cams make and others break",
            basis: CONTACTS,
        },
        ("percent_break" | "break_make_ratio", false) => Told {
            code: "percent-break-low",
            title: "The percent break is too low",
            cause: "the pulse contacts open late and close early: they stand too close, or they are pitted",
            advice: "clean the contacts and look for pits, then set their working distance in small steps and measure \
                     again; which way depends on the dial, since some cams make and others break",
            basis: CONTACTS,
        },
        ("break_ms", _) => Told {
            code: "break-length",
            title: if above {
                "The breaks are too long"
            } else {
                "The breaks are too short"
            },
            cause: "speed and percent break together make the length of a break",
            advice: "bring the speed to its nominal first, then the working distance of the contacts",
            basis: CONTACTS,
        },
        _ => Told {
            code: "make-length",
            title: if above {
                "The makes are too long"
            } else {
                "The makes are too short"
            },
            cause: "speed and percent break together make the length of a make",
            advice: "bring the speed to its nominal first, then the working distance of the contacts",
            basis: CONTACTS,
        },
    }
}

const GOVERNOR: &str = "the effect of a friction governor's spring is on record in a restorers' forum; the rest is common \
                        practice, no source";
const CONTACTS: &str = "that the pulse springs set the percent break is on record in a restorers' forum; the rest is common \
                        practice, no source";
