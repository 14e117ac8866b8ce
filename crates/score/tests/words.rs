//! The four words, the guard band and the conformance probability.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use approx::assert_abs_diff_eq;
use common::{by, dial, even, judged_by, reason_codes, scored, with_variance};
use score::limits::{LimitSet, PercentLimit, Range};
use score::{Check, Settings, Verdict};

/// Two pulses 100 ms apart at 10 pps: ∂f/∂s = f / D = 10 / 0.1 = 100 pps/s for each opening, so
/// u95 = 1.96 × 100 × sqrt(2 v). For u95 = 0.1 pps: v = (0.1 / 196)² / 2.
const VARIANCE_FOR_A_TENTH: f64 = 0.1 / 196.0 * (0.1 / 196.0) / 2.0;

fn speed_check(limits: Range, variance_s2: f64, clock_ppm: f64) -> Check {
    let set = LimitSet {
        pps: Some(limits),
        ..LimitSet::own("bands")
    };
    let settings = Settings {
        clock_ppm,
        ..judged_by(&set)
    };
    scored(
        vec![with_variance(even(1.0, 2, 61.0, 39.0), variance_s2)],
        &settings,
    )
    .checks
    .remove(0)
}

/// ILAC-G8:09/2019 clause 4.2.3 with w = 0.1 at a measured 10 pps, the limit moved past it.
#[test]
fn four_words_at_an_upper_limit() {
    let cases = [
        (10.11, Verdict::Pass),
        (10.09, Verdict::ConditionalPass),
        (10.01, Verdict::ConditionalPass),
        (9.99, Verdict::ConditionalFail),
        (9.91, Verdict::ConditionalFail),
        (9.89, Verdict::Fail),
    ];
    for (upper, expected) in cases {
        let check = speed_check(Range::at_most(upper), VARIANCE_FOR_A_TENTH, 0.0);
        assert_abs_diff_eq!(check.guard_band, 0.1, epsilon = 1e-9);
        assert_eq!(check.verdict, expected, "upper limit {upper}");
    }
}

#[test]
fn four_words_at_a_lower_limit() {
    let cases = [
        (9.89, Verdict::Pass),
        (9.91, Verdict::ConditionalPass),
        (10.01, Verdict::ConditionalFail),
        (10.09, Verdict::ConditionalFail),
        (10.11, Verdict::Fail),
    ];
    for (lower, expected) in cases {
        let check = speed_check(Range::at_least(lower), VARIANCE_FOR_A_TENTH, 0.0);
        assert_eq!(check.verdict, expected, "lower limit {lower}");
    }
}

/// Each limit is moved by itself: where the tolerance is narrower than two guard bands nothing passes
/// outright, but a value inside is not failed.
#[test]
fn a_tolerance_narrower_than_the_guard_bands() {
    let check = speed_check(Range::between(9.95, 10.05), VARIANCE_FOR_A_TENTH, 0.0);
    assert_eq!(check.verdict, Verdict::ConditionalPass);
    assert!(check.undecidable);
}

/// w² = u95² + (1.13 × value × clock)²: at 10 pps and 1000 ppm the clock's part is 0.0113 pps.
#[test]
fn the_clock_joins_the_guard_band_of_speed() {
    let check = speed_check(Range::between(9.0, 11.0), 0.0, 1000.0);
    assert_eq!(check.u95, 0.0);
    assert_abs_diff_eq!(check.guard_band, 0.0113, epsilon = 1e-12);
    let check = speed_check(Range::between(9.0, 11.0), VARIANCE_FOR_A_TENTH, 1000.0);
    assert_abs_diff_eq!(
        check.guard_band,
        (0.01f64 + 0.0113 * 0.0113).sqrt(),
        epsilon = 1e-9
    );
}

#[test]
fn the_clock_joins_durations_but_neither_percent_nor_ratio() {
    let set = LimitSet {
        percent: Some(PercentLimit::Break(Range::between(60.0, 64.0))),
        break_make_ratio: Some(Range::between(1.3, 1.9)),
        period_ms: Some(Range::between(90.0, 110.0)),
        break_ms: Some(Range::between(55.0, 70.0)),
        make_ms: Some(Range::between(30.0, 45.0)),
        ..LimitSet::own("clock")
    };
    let settings = Settings {
        clock_ppm: 1000.0,
        ..judged_by(&set)
    };
    let checks = scored(vec![even(1.0, 5, 61.0, 39.0)], &settings).checks;
    let band = |quantity| {
        checks
            .iter()
            .find(|check| check.quantity == quantity)
            .unwrap()
            .guard_band
    };
    assert_eq!(
        (band("percent_break"), band("break_make_ratio")),
        (0.0, 0.0)
    );
    assert_abs_diff_eq!(band("period_ms"), 0.113, epsilon = 1e-9);
    assert_abs_diff_eq!(band("break_ms"), 0.06893, epsilon = 1e-9);
    assert_abs_diff_eq!(band("make_ms"), 0.04407, epsilon = 1e-9);
}

/// JCGM 106:2012 clause 7, u = 0.1 / 1.96. A value on a limit conforms with 50 %; 1.96 u inside one limit
/// with 97.5 %; 1.96 u inside both with 95 %; 1.96 u outside with 2.5 %. Φ(1.96) = 0.975002.
#[test]
fn conformance_probability_by_the_normal_distribution() {
    let cases = [
        (Range::at_most(10.0), 0.5),
        (Range::at_most(10.1), 0.975002),
        (Range::at_most(9.9), 0.024998),
        (Range::at_least(9.9), 0.975002),
        (Range::between(9.9, 10.1), 0.950004),
        (Range::between(10.0, 10.1), 0.475002),
    ];
    for (limits, expected) in cases {
        let check = speed_check(limits.clone(), VARIANCE_FOR_A_TENTH, 0.0);
        assert_abs_diff_eq!(
            check.conformance_probability.unwrap(),
            expected,
            epsilon = 1e-6
        );
    }
}

/// 0.05 pps inside or outside one limit with u = 0.1 / 1.96 is 0.98 u: Φ(0.98) = 0.8365.
#[test]
fn conditional_words_say_how_likely_the_value_is_inside() {
    let said = |upper: f64| {
        let check = speed_check(Range::at_most(upper), VARIANCE_FOR_A_TENTH, 0.0);
        score::statement(&check)
    };
    assert_eq!(
        said(10.05),
        "pulsing speed 10.000 ± 0.100 pps is within the limit of 10.05 pps, but by less than the uncertainty; inside with a \
         probability of 84 %"
    );
    assert_eq!(
        said(9.95),
        "pulsing speed 10.000 ± 0.100 pps is above the limit of 9.95 pps, but by less than the uncertainty; inside with a \
         probability of 16 %"
    );
    assert!(!said(10.2).contains("probability") && !said(9.8).contains("probability"));
}

#[test]
fn without_uncertainty_conformance_is_certain_either_way() {
    assert_eq!(
        speed_check(Range::between(10.0, 11.0), 0.0, 0.0).conformance_probability,
        Some(1.0)
    );
    assert_eq!(
        speed_check(Range::between(10.1, 11.0), 0.0, 0.0).conformance_probability,
        Some(0.0)
    );
}

/// A guard band of 0.1 pps is a quarter of a half-width of 0.4: just decided. Of 0.399: not.
#[test]
fn a_recording_that_cannot_decide_says_so() {
    let check = speed_check(Range::between(9.6, 10.4), VARIANCE_FOR_A_TENTH, 0.0);
    assert!(!check.undecidable);
    let check = speed_check(Range::between(9.601, 10.399), VARIANCE_FOR_A_TENTH, 0.0);
    assert!(check.undecidable);
    let set = LimitSet {
        pps: Some(Range::between(9.601, 10.399)),
        ..LimitSet::own("narrow")
    };
    let noisy = with_variance(even(1.0, 2, 61.0, 39.0), VARIANCE_FOR_A_TENTH);
    let scored_noisy = scored(vec![noisy], &judged_by(&set));
    let reason = scored_noisy
        .reasons
        .iter()
        .find(|reason| reason.code == "cannot-decide")
        .unwrap();
    assert!(
        reason
            .text
            .contains("this recording cannot decide pulsing speed"),
        "{}",
        reason.text
    );
    assert!(
        reason.text.contains("record with more level"),
        "{}",
        reason.text
    );
    // A bad clock is another matter, and asks for another remedy: 1.13 x 10 x 2 % = 0.226 pps.
    let settings = Settings {
        clock_ppm: 20_000.0,
        ..judged_by(&set)
    };
    let bad_clock = scored(vec![even(1.0, 2, 61.0, 39.0)], &settings);
    let reason = bad_clock
        .reasons
        .iter()
        .find(|reason| reason.code == "cannot-decide")
        .unwrap();
    assert!(
        reason.text.contains("calibrate the clock"),
        "{}",
        reason.text
    );
}

/// Worst first: fail, conditional fail, not judged, conditional pass, pass.
#[test]
fn the_worst_digit_is_the_recordings_word() {
    let at = |start_s, break_ms| even(start_s, 5, break_ms, 100.0 - break_ms);
    let noisy = |train| with_variance(train, 1e-8);
    let unsure = |mut train: edges::Train| {
        train.count_risk = 0.5;
        train
    };
    // u95 of the break share of five pulses: some 0.03 %; 64.01 lies within it, 64.5 far beyond.
    let pass = || noisy(at(1.0, 62.0));
    let conditional_pass = || noisy(at(3.0, 63.99));
    let conditional_fail = || noisy(at(5.0, 64.01));
    let fail = || noisy(at(7.0, 64.5));
    let doubtful = || unsure(at(9.0, 62.0));
    let word = |trains| scored(trains, &by("us-1956-later")).verdict;
    assert_eq!(word(vec![pass()]), Verdict::Pass);
    assert_eq!(
        word(vec![pass(), conditional_pass()]),
        Verdict::ConditionalPass
    );
    assert_eq!(
        word(vec![pass(), conditional_pass(), doubtful()]),
        Verdict::NotJudged
    );
    assert_eq!(
        word(vec![pass(), conditional_fail(), doubtful()]),
        Verdict::ConditionalFail
    );
    assert_eq!(
        word(vec![conditional_fail(), fail(), doubtful()]),
        Verdict::Fail
    );
}

#[test]
fn a_digit_with_nothing_to_judge_is_left_out() {
    let one = || even(3.0, 1, 62.0, 38.0);
    let both = scored(vec![dial(5, 10.0, 62.0), one()], &by("us-1956-later"));
    assert_eq!(both.verdict, Verdict::Pass);
    assert_eq!(both.digits[1].verdict, Verdict::NotJudged);
    assert_eq!(reason_codes(&both), ["nothing-to-judge"]);
    assert_eq!(
        scored(vec![one()], &by("us-1956-later")).verdict,
        Verdict::NotJudged
    );
    // Millisecond limits do judge a single pulse.
    assert_eq!(scored(vec![one()], &by("au-s002")).verdict, Verdict::Pass);
}

#[test]
fn no_set_is_applied_unless_chosen() {
    let scored = scored(vec![dial(10, 10.0, 66.7)], &Settings::default());
    assert_eq!(scored.verdict, Verdict::NotJudged);
    assert!(scored.checks.is_empty());
    assert_eq!(reason_codes(&scored), ["no-limits"]);
    let said: Vec<_> = scored
        .would_say
        .iter()
        .map(|line| (line.name.as_str(), line.verdict))
        .collect();
    let expected = [
        ("jp-10", Verdict::Pass),
        ("au-s002", Verdict::Pass),
        ("us-1956-later", Verdict::Fail),
        ("us-1956-earlier", Verdict::Pass),
        ("uk-gpo-dial", Verdict::Pass),
        ("de-1.6", Verdict::Fail),
    ];
    assert_eq!(said, expected);
    let line = &scored.would_say[2].line;
    assert!(
        line.starts_with(
            "us-1956-later (grade A-) would say fail: first digit (0): percent break 66.7"
        ),
        "{line}"
    );
}

#[test]
fn nothing_would_be_said_when_a_set_was_chosen() {
    assert!(
        scored(vec![dial(10, 10.0, 62.0)], &by("jp-10"))
            .would_say
            .is_empty()
    );
}

/// The lines that a technician reads: figures to two digits of the uncertainty, the side of the limit, the
/// source.
#[test]
fn reasons_name_value_limit_and_source() {
    let mut train = with_variance(even(1.0, 5, 58.0, 35.0), 1e-10);
    train.reversals = vec![common::reopening(&train, 3, 0.3, 0.6)];
    let texts: Vec<_> = scored(vec![train], &by("au-s002"))
        .reasons
        .into_iter()
        .map(|reason| reason.text)
        .collect();
    // u95 of a break: 1.96 x sqrt(2 x 1e-10) s = 0.0277 ms.
    let expected = [
        "first digit (5): break of pulse 1 58.000 ± 0.028 ms is below 60-70 ms (AS/CA S002:2010, cl. 5.5.1.8(a)(i), 2010)",
        "first digit (5): contact bounce of pulse 4 0.90 ± 0.10 ms is above the limit of 0.5 ms (AS/CA S002:2010, \
         cl. 5.5.1.8(a)(iii), 2010)",
    ];
    assert_eq!(texts, expected);
}
