//! Compares values with limits: guard band, the four words, conformance probability.

use crate::COVERAGE_FACTOR;
use crate::apart;
use crate::limits::{Grade, LimitSet, PercentLimit, Range};
use crate::settings::Settings;
use crate::types::{Check, Digit, Value, Verdict};
use crate::wording;

/// A limit and a value nearer to each other than this part of the limit are equal: limits belong to the
/// tolerance, and instants as binary fractions carry errors of this size and less.
pub(crate) const EQUAL: f64 = 1e-9;
/// A bounce limit is judged only from this many times the chatter floor.
const FLOORS_BELOW_BOUNCE_LIMIT: f64 = 4.0;
/// A recording decides when its guard band is at most this part of the tolerance half-width.
const DECIDING_PART: f64 = 0.25;

/// What is compared, before a word is found.
struct Comparison<'a> {
    quantity: &'static str,
    digit_index: usize,
    pulse_index: Option<usize>,
    value: Value,
    range: Range,
    as_quoted: Option<String>,
    /// What the recording does not show of itself, 95 %: [`apart`].
    apart: f64,
    set: &'a LimitSet,
}

/// Every comparison that a set asks of a digit, with its word withheld where evidence or count do not allow one. A
/// quantity that was not measured, or that the set does not limit, gives none.
pub(crate) fn checks(
    digits: &[Digit],
    index: usize,
    set: &LimitSet,
    settings: &Settings,
) -> Vec<Check> {
    let mut checks = comparisons(digits, index, set, settings);
    if !set.grade.judges() {
        checks.iter_mut().for_each(inform);
    }
    if let Some(doubt) = &digits[index].doubt {
        checks.iter_mut().for_each(|check| withhold(check, doubt));
    }
    checks
}

/// The comparisons as they come out, whatever the grade of the evidence.
pub(crate) fn comparisons(
    digits: &[Digit],
    index: usize,
    set: &LimitSet,
    settings: &Settings,
) -> Vec<Check> {
    let digit = &digits[index];
    let judge = Judge {
        digit,
        index,
        set,
        settings,
    };
    let mut checks: Vec<Check> = [
        judge.mean("speed_pps", digit.speed_pps, set.pps.as_ref()),
        judge.mean("period_ms", digit.period_ms, set.period_ms.as_ref()),
        judge.percent(),
        judge.mean(
            "break_make_ratio",
            digit.break_make_ratio,
            set.break_make_ratio.as_ref(),
        ),
        judge.every_break(),
        judge.every_make(),
        judge.bounce(),
    ]
    .into_iter()
    .flatten()
    .collect();
    if settings.judge_pauses {
        checks.extend(judge.pause(digits));
    }
    checks
}

/// One value against one range, outside any digit; `apart` is what the recordings do not show of themselves, 95 %.
pub(crate) fn compare(
    quantity: &'static str,
    value: Value,
    range: &Range,
    apart: f64,
    set: &LimitSet,
) -> Check {
    Comparison {
        quantity,
        digit_index: 0,
        pulse_index: None,
        value,
        range: range.clone(),
        as_quoted: None,
        apart,
        set,
    }
    .check()
}

/// Evidence too weak for a verdict: says where the value lies and takes the word back.
fn inform(check: &mut Check) {
    let place = match check.verdict {
        Verdict::Pass => "inside",
        Verdict::ConditionalPass => "inside, by less than the uncertainty",
        Verdict::ConditionalFail => "outside, by less than the uncertainty",
        Verdict::Fail => "outside",
        Verdict::NotJudged => return,
    };
    withhold(check, &format!("for information, the value lies {place}"));
    check.undecidable = false;
}

/// One digit against one set.
struct Judge<'a> {
    digit: &'a Digit,
    index: usize,
    set: &'a LimitSet,
    settings: &'a Settings,
}

impl<'a> Judge<'a> {
    fn comparison(&self, quantity: &'static str, value: Value, range: &Range) -> Comparison<'a> {
        Comparison {
            quantity,
            digit_index: self.index,
            pulse_index: None,
            value,
            range: range.clone(),
            as_quoted: None,
            apart: apart::u95(
                quantity,
                value.value,
                self.digit.period_ms.map(|period| period.value),
                self.settings,
            ),
            set: self.set,
        }
    }

    fn mean(
        &self,
        quantity: &'static str,
        value: Option<Value>,
        range: Option<&Range>,
    ) -> Option<Check> {
        Some(self.comparison(quantity, value?, range?).check())
    }

    fn percent(&self) -> Option<Check> {
        let limit = self.set.percent.as_ref()?;
        let as_quoted = match limit {
            PercentLimit::Break(_) => None,
            PercentLimit::Make(range) => Some(format!("percent make {} %", wording::range(range))),
        };
        let comparison = self.comparison(
            "percent_break",
            self.digit.percent_break?,
            &limit.percent_break(),
        );
        Some(
            Comparison {
                as_quoted,
                ..comparison
            }
            .check(),
        )
    }

    fn every_break(&self) -> Option<Check> {
        let value = |pulse: &crate::Pulse| {
            Some(Value {
                value: pulse.break_ms,
                u95: pulse.break_u95_ms,
            })
        };
        self.worst_pulse("break_ms", self.set.break_ms.as_ref()?, value)
    }

    fn every_make(&self) -> Option<Check> {
        let value = |pulse: &crate::Pulse| {
            Some(Value {
                value: pulse.make_ms?,
                u95: pulse.make_u95_ms?,
            })
        };
        self.worst_pulse("make_ms", self.set.make_ms.as_ref()?, value)
    }

    /// Bounce of every make, the last included. What is shorter than the floor cannot be seen, so the floor
    /// is the least uncertainty.
    fn bounce(&self) -> Option<Check> {
        let range = self.set.bounce_ms.as_ref()?;
        let floor_ms = self.digit.chatter_floor_ms;
        let value = |pulse: &crate::Pulse| {
            // Both ends of a chatter are edges like the end of the break.
            let u95 = pulse.break_u95_ms.max(floor_ms);
            Some(Value {
                value: pulse.chatter_ms,
                u95,
            })
        };
        let mut check = self.worst_pulse("bounce_ms", range, value)?;
        let least_ms = FLOORS_BELOW_BOUNCE_LIMIT * floor_ms;
        let can_tell = range
            .upper
            .is_none_or(|upper| least_ms <= upper * (1.0 + EQUAL));
        if !can_tell {
            let floor = wording::significant(floor_ms, 2);
            withhold(
                &mut check,
                &format!("reopenings under {floor} ms cannot be told from noise here"),
            );
            check.undecidable = true;
        }
        Some(check)
    }

    fn worst_pulse(
        &self,
        quantity: &'static str,
        range: &Range,
        value: impl Fn(&crate::Pulse) -> Option<Value>,
    ) -> Option<Check> {
        let checked = |(pulse_index, pulse): (usize, &crate::Pulse)| {
            let comparison = self.comparison(quantity, value(pulse)?, range);
            Some(
                Comparison {
                    pulse_index: Some(pulse_index),
                    ..comparison
                }
                .check(),
            )
        };
        let checks = self
            .digit
            .pulses_detail
            .iter()
            .enumerate()
            .filter_map(checked);
        checks.reduce(|worst, next| if is_worse(&next, &worst) { next } else { worst })
    }

    /// A pause lies between two digits: doubt about the one before is doubt about it, as about its own.
    fn pause(&self, digits: &[Digit]) -> Option<Check> {
        let range = self.set.pause_ms.as_ref()?;
        let mut check = self.mean("pause_before_ms", self.digit.pause_before_ms, Some(range))?;
        let previous = self
            .index
            .checked_sub(1)
            .and_then(|previous| digits[previous].doubt.as_ref());
        if let Some(doubt) = previous {
            withhold(&mut check, doubt);
        }
        Some(check)
    }
}

impl Comparison<'_> {
    fn check(self) -> Check {
        let guard_band = self.guard_band();
        let Range { lower, upper, .. } = self.range;
        let value = self.value.value;
        Check {
            quantity: self.quantity,
            digit_index: self.digit_index,
            pulse_index: self.pulse_index,
            value,
            u95: self.value.u95,
            lower,
            upper,
            as_quoted: self.as_quoted,
            guard_band,
            verdict: word(value, lower, upper, guard_band),
            why_not_judged: None,
            conformance_probability: Some(conformance_probability(
                value,
                guard_band / COVERAGE_FACTOR,
                lower,
                upper,
            )),
            source: self.set.source_of(&self.range),
            grade: Some(self.set.grade),
            undecidable: self
                .range
                .half_width()
                .is_some_and(|half_width| guard_band > DECIDING_PART * half_width * (1.0 + EQUAL)),
        }
    }

    fn guard_band(&self) -> f64 {
        self.value.u95.hypot(self.apart)
    }
}

/// The word for a value, by ILAC-G8:09/2019 clause 4.2.3: for each limit by itself the acceptance limit is
/// moved inward by the guard band. The limits belong to the tolerance.
pub(crate) fn word(value: f64, lower: Option<f64>, upper: Option<f64>, guard_band: f64) -> Verdict {
    let below = lower.map(|lower| one_sided(value - lower, guard_band, EQUAL * lower.abs()));
    let above = upper.map(|upper| one_sided(upper - value, guard_band, EQUAL * upper.abs()));
    [below, above]
        .into_iter()
        .flatten()
        .max_by_key(|verdict| severity(*verdict))
        .unwrap_or(Verdict::NotJudged)
}

/// The word for a value that lies inside its limit by `inside` (outside where negative).
fn one_sided(inside: f64, guard_band: f64, equal: f64) -> Verdict {
    if inside.is_nan() || guard_band.is_nan() {
        Verdict::NotJudged
    } else if inside >= guard_band - equal {
        Verdict::Pass
    } else if inside >= -equal {
        Verdict::ConditionalPass
    } else if inside >= -guard_band - equal {
        Verdict::ConditionalFail
    } else {
        Verdict::Fail
    }
}

/// Probability that the true value lies within the limits (JCGM 106:2012 clause 7), for a normal
/// distribution about the measured value with standard uncertainty `u`:
/// Φ((T_U − y) / u) − Φ((T_L − y) / u).
pub(crate) fn conformance_probability(
    value: f64,
    u: f64,
    lower: Option<f64>,
    upper: Option<f64>,
) -> f64 {
    let beyond = |inside: f64, limit: f64| {
        if u > 0.0 {
            // The smaller tail keeps its digits where 1 − Φ would lose them.
            0.5 * libm::erfc(inside / u / std::f64::consts::SQRT_2)
        } else if inside >= -EQUAL * limit.abs() {
            0.0
        } else {
            1.0
        }
    };
    let below = lower.map_or(0.0, |lower| beyond(value - lower, lower));
    let above = upper.map_or(0.0, |upper| beyond(upper - value, upper));
    (1.0 - below - above).clamp(0.0, 1.0)
}

/// Order of the words, worst last: pass, conditional pass, not judged, conditional fail, fail.
pub(crate) fn severity(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Pass => 0,
        Verdict::ConditionalPass => 1,
        Verdict::NotJudged => 2,
        Verdict::ConditionalFail => 3,
        Verdict::Fail => 4,
    }
}

/// The worst of some words; `None` of none.
pub(crate) fn worst(verdicts: impl Iterator<Item = Verdict>) -> Option<Verdict> {
    verdicts.max_by_key(|verdict| severity(*verdict))
}

/// Takes the word back: the recording does not allow it.
pub(crate) fn withhold(check: &mut Check, why: &str) {
    check.verdict = Verdict::NotJudged;
    check.why_not_judged = Some(why.to_owned());
    check.conformance_probability = None;
}

/// By the word first, then by how far inside the nearer acceptance limit.
fn is_worse(next: &Check, worst: &Check) -> bool {
    let rank = |check: &Check| severity(check.verdict);
    rank(next) > rank(worst) || (rank(next) == rank(worst) && margin(next) < margin(worst))
}

fn margin(check: &Check) -> f64 {
    let below = check
        .lower
        .map_or(f64::INFINITY, |lower| check.value - lower);
    let above = check
        .upper
        .map_or(f64::INFINITY, |upper| upper - check.value);
    below.min(above) - check.guard_band
}

/// A check of a count: no uncertainty, one right answer.
pub(crate) fn count_check(
    digit_index: usize,
    digit: &Digit,
    expected: usize,
    dialled: &str,
) -> Check {
    let verdict = if digit.pulses == expected {
        Verdict::Pass
    } else {
        Verdict::Fail
    };
    let limit = Some(expected as f64);
    let mut check = Check {
        quantity: "pulses",
        digit_index,
        pulse_index: None,
        value: digit.pulses as f64,
        u95: 0.0,
        lower: limit,
        upper: limit,
        as_quoted: None,
        guard_band: 0.0,
        verdict,
        why_not_judged: None,
        conformance_probability: None,
        source: format!("dialled {dialled}"),
        grade: None::<Grade>,
        undecidable: false,
    };
    if let Some(doubt) = &digit.doubt {
        withhold(&mut check, doubt);
    }
    check
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// The two-sided example of JCGM 106:2012 clause 7.4: 13.6, u = 1.8, within 12.5-16.3, as a teaching page on decision
    /// rules in spreadsheets (metrologyrules.com, March 2022) takes it over to check its own answer. The guide was not
    /// opened, and its answer not seen. Then a dial's own figures. The expected values are another program's, to be had
    /// again with Python's standard library:
    /// `d = statistics.NormalDist(y, u); d.cdf(upper) - d.cdf(lower)`.
    #[test]
    fn conformance_probabilities_of_another_program() {
        for (value, u, lower, upper, expected) in [
            (13.6, 1.8, 12.5, 16.3, 0.662_629_786_495_307_7),
            (10.46, 0.03, 9.5, 10.5, 0.908_788_780_274_127_5),
            (9.02, 0.05, 9.0, 11.0, 0.655_421_741_610_321),
            (63.8, 0.25, 60.0, 64.0, 0.788_144_601_416_606_6),
            (59.6, 0.02, 59.5, 67.5, 0.999_999_713_348_428_2),
            (10.6, 0.03, 9.5, 10.5, 0.000_429_060_333_196_840_1),
        ] {
            let probability = conformance_probability(value, u, Some(lower), Some(upper));
            assert_abs_diff_eq!(probability, expected, epsilon = 1e-12);
        }
    }

    /// Shares outside two limits as suncal, an open calculator of measurement uncertainty, has them in its tests
    /// (`test_risk.py`, `test_cpk`), where they are said to agree with a spreadsheet: to five decimals, for limits of 9 and
    /// 11 and a standard deviation of 0.4.
    #[test]
    fn shares_outside_as_an_open_calculator_has_them() {
        for (value, outside) in [(10.0, 0.012_42), (10.5, 0.105_74), (12.0, 0.993_79)] {
            let probability = conformance_probability(value, 0.4, Some(9.0), Some(11.0));
            assert_abs_diff_eq!(1.0 - probability, outside, epsilon = 0.5e-5);
        }
    }

    /// JCGM 106:2012 clause 7.3, Table 1: how many standard uncertainties a value lies inside one limit that it conforms
    /// to with a given probability. The guide was not opened; a public program that reproduces its examples names the
    /// table. Its figures are quantiles of the normal distribution, to be had again with Python's standard library,
    /// `statistics.NormalDist().inv_cdf(p)`; rounded to 0.005 they change the probability by that times its density.
    #[test]
    fn one_sided_conformance_by_the_guides_table() {
        for (p, z) in [
            (0.80, 0.84),
            (0.85, 1.04),
            (0.90, 1.28),
            (0.95, 1.64),
            (0.99, 2.33),
            (0.999, 3.09),
        ] {
            let density = (-z * z / 2.0f64).exp() / std::f64::consts::TAU.sqrt();
            let rounded = 1.01 * 0.005 * density;
            let u = 0.03;
            let above = conformance_probability(10.0 - z * u, u, None, Some(10.0));
            assert_abs_diff_eq!(above, p, epsilon = rounded);
            let below = conformance_probability(10.0 + z * u, u, Some(10.0), None);
            assert_abs_diff_eq!(below, p, epsilon = rounded);
        }
    }

    /// The bands of ILAC-G8:09/2019 clause 4.2.3 worked by hand for an error of at most ± 0.003 and U = 0.0010: pass up to
    /// 0.002, conditional pass to the limit, conditional fail up to 0.004, then fail. The figures are ours: no published
    /// example of the four words with figures was found.
    #[test]
    fn the_four_words_by_hand() {
        let word_of = |error_mm| word(error_mm, Some(-0.003), Some(0.003), 0.0010);
        assert_eq!(word_of(0.0017), Verdict::Pass);
        assert_eq!(word_of(0.0025), Verdict::ConditionalPass);
        assert_eq!(word_of(-0.0035), Verdict::ConditionalFail);
        assert_eq!(word_of(0.0045), Verdict::Fail);
    }

    /// Limits belong to the tolerance, to a thousand-millionth of themselves: 3 µs of 3000 ms, whichever side.
    #[test]
    fn a_value_on_a_limit_is_inside_whatever_binary_fractions_leave_of_it() {
        for (off_ms, expected) in [
            (0.0, Verdict::Pass),
            (1e-6, Verdict::Pass),
            (1e-5, Verdict::Fail),
        ] {
            assert_eq!(word(3000.0 + off_ms, None, Some(3000.0), 0.0), expected);
            assert_eq!(word(3000.0 - off_ms, Some(3000.0), None, 0.0), expected);
        }
    }

    /// So does the guard band beyond a limit; and what is no number, value or band, is judged by nobody.
    #[test]
    fn the_guard_band_has_its_ends_and_no_number_has_no_word() {
        assert_eq!(word(10.1, None, Some(10.0), 0.1), Verdict::ConditionalFail);
        assert_eq!(word(f64::NAN, None, Some(10.0), 0.1), Verdict::NotJudged);
        assert_eq!(word(9.0, None, Some(10.0), f64::NAN), Verdict::NotJudged);
    }

    /// ILAC-G8:09/2019 with w = U: a value that just passes is outside with 2.5 % at most (k = 1.96).
    #[test]
    fn a_pass_is_wrong_once_in_forty_at_most() {
        let u = 0.1 / COVERAGE_FACTOR;
        assert_eq!(word(9.9, None, Some(10.0), 0.1), Verdict::Pass);
        let outside = 1.0 - conformance_probability(9.9, u, None, Some(10.0));
        assert_abs_diff_eq!(outside, 0.025, epsilon = 1e-4);
    }
}
