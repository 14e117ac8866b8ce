//! Laws that hold for every train.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use common::{by, scored, train};
use edges::Train;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use score::{Digit, Settings, Value, Verdict};

/// One to ten pulses of a dial that no rule calls a hole, a split or a pause.
fn pulses() -> impl Strategy<Value = Vec<(f64, f64)>> {
    prop::collection::vec((50.0..70.0, 30.0..45.0), 1..=10)
}

/// A train with errors of both sorts.
fn noisy(pulses_ms: &[(f64, f64)]) -> Train {
    let mut train = common::with_variance(train(1.0, pulses_ms), 4e-10);
    train.opening_common_s2 = 1e-10;
    train.closing_common_s2 = 9e-10;
    train
}

/// Moves every instant by `shift_s` after stretching it by `factor`; variances stretch with the square.
fn moved(train: &Train, factor: f64, shift_s: f64) -> Train {
    let mut moved = train.clone();
    for edge in &mut moved.edges {
        edge.instant_s = factor * edge.instant_s + shift_s;
        edge.half_step_s = factor * edge.half_step_s + shift_s;
        edge.variance_s2 *= factor * factor;
    }
    moved.opening_common_s2 *= factor * factor;
    moved.closing_common_s2 *= factor * factor;
    moved
}

fn digit(train: Train) -> Digit {
    scored(vec![train], &Settings::default()).digits.remove(0)
}

/// Every figure of a digit but its place in time: rates, durations, ratios, each with its uncertainty.
fn figures(digit: &Digit) -> [Vec<f64>; 3] {
    let of = |value: Option<Value>| value.map_or(vec![], |value| vec![value.value, value.u95]);
    let rates = of(digit.speed_pps);
    let mut durations = of(Some(digit.break_ms.mean));
    durations.extend(of(digit.make_ms.map(|makes| makes.mean)));
    durations.extend(of(digit.period_ms));
    durations.extend(
        digit
            .pulses_detail
            .iter()
            .flat_map(|pulse| [pulse.break_ms, pulse.break_u95_ms]),
    );
    durations.extend(digit.pulses_detail.iter().filter_map(|pulse| pulse.make_ms));
    let mut ratios = of(digit.percent_break);
    ratios.extend(of(digit.break_make_ratio));
    ratios.extend(of(digit.slow_down_percent));
    ratios.extend(of(digit.unevenness_percent));
    [rates, durations, ratios]
}

/// Instants of up to 1000 s are rounded to 1.1e-13 s, so a duration errs by some 2e-13 s: 1e-8 relative to
/// the smallest figure compared (some 1e-3 ms), with a margin for the differences formed from it.
fn alike(one: &[f64], other: &[f64], factor: f64) -> Result<(), TestCaseError> {
    prop_assert_eq!(one.len(), other.len());
    for (one, other) in one.iter().zip(other) {
        prop_assert!(
            (one * factor - other).abs() <= 1e-6 * (one * factor).abs() + 1e-7,
            "{} {}",
            one,
            other
        );
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        rng_seed: RngSeed::Fixed(1956), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_delay_changes_nothing_but_the_starts(pulses_ms in pulses(), shift_s in 0.0..1000.0) {
        let train = noisy(&pulses_ms);
        let (here, later) = (digit(train.clone()), digit(moved(&train, 1.0, shift_s)));
        for (one, other) in figures(&here).iter().zip(figures(&later)) {
            alike(one, &other, 1.0)?;
        }
        prop_assert!((later.start_s - here.start_s - shift_s).abs() < 1e-9);
        prop_assert_eq!((here.digit, here.pulses, here.sure), (later.digit, later.pulses, later.sure));
        prop_assert_eq!(here.why_null, later.why_null);
    }

    #[test]
    fn time_stretched_stretches_durations_and_slows_the_dial(pulses_ms in pulses(), factor in 0.8..1.2) {
        let train = noisy(&pulses_ms);
        let (here, stretched) = (digit(train.clone()), digit(moved(&train, factor, 0.0)));
        let [rates, durations, ratios] = figures(&here);
        let [slower, longer, same] = figures(&stretched);
        alike(&rates, &slower, 1.0 / factor)?;
        alike(&durations, &longer, factor)?;
        alike(&ratios, &same, 1.0)?;
    }

    #[test]
    fn make_and_break_are_the_period(pulses_ms in pulses()) {
        let digit = digit(noisy(&pulses_ms));
        for pair in digit.pulses_detail.windows(2) {
            let period_ms = 1000.0 * (pair[1].break_start_s - pair[0].break_start_s);
            prop_assert!((pair[0].break_ms + pair[0].make_ms.unwrap() - period_ms).abs() < 1e-9);
        }
        if let (Some(speed), Some(period)) = (digit.speed_pps, digit.period_ms) {
            prop_assert!((speed.value * period.value - 1000.0).abs() < 1e-9);
        }
    }

    #[test]
    fn percent_break_and_ratio_are_one_figure(pulses_ms in pulses()) {
        let digit = digit(noisy(&pulses_ms));
        if let (Some(percent), Some(ratio)) = (digit.percent_break, digit.break_make_ratio) {
            prop_assert!((percent.value - 100.0 * ratio.value / (1.0 + ratio.value)).abs() < 1e-9);
        }
    }

    /// More uncertainty never makes a word firmer: pass may become conditional, fail may become conditional,
    /// neither may turn into the other's side.
    #[test]
    fn uncertainty_only_softens_the_word(pulses_ms in pulses(), factor in 1.0..100.0) {
        let train = noisy(&pulses_ms);
        let mut noisier = train.clone();
        noisier.edges.iter_mut().for_each(|edge| edge.variance_s2 *= factor);
        let settings = by("us-1956-later");
        let words = scored(vec![train], &settings).checks;
        let softer = scored(vec![noisier], &settings).checks;
        for (word, softer) in words.iter().zip(&softer) {
            let allowed: &[Verdict] = match word.verdict {
                Verdict::Pass => &[Verdict::Pass, Verdict::ConditionalPass],
                Verdict::ConditionalPass => &[Verdict::ConditionalPass],
                Verdict::ConditionalFail => &[Verdict::ConditionalFail],
                Verdict::Fail => &[Verdict::Fail, Verdict::ConditionalFail],
                Verdict::NotJudged => &[],
            };
            prop_assert!(allowed.contains(&softer.verdict), "{:?} became {:?}", word.verdict, softer.verdict);
        }
    }

    #[test]
    fn every_figure_is_finite_and_a_conformance_is_a_probability(pulses_ms in pulses()) {
        let scored = scored(vec![noisy(&pulses_ms)], &by("au-s002"));
        let figures = figures(&scored.digits[0]);
        prop_assert!(figures.iter().flatten().all(|figure| figure.is_finite()));
        for check in &scored.checks {
            let probability = check.conformance_probability.unwrap();
            prop_assert!((0.0..=1.0).contains(&probability));
            let inside = matches!(check.verdict, Verdict::Pass | Verdict::ConditionalPass);
            // A value inside both limits is at least as likely to conform by the nearer one as not; the
            // farther limit takes less than that away.
            prop_assert!(!matches!(check.verdict, Verdict::Fail) || probability < 0.025 + 1e-9);
            prop_assert!(inside || probability <= 0.5 + 1e-9);
        }
    }
}
