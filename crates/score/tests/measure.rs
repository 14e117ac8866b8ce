//! Values worked by hand.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use approx::assert_abs_diff_eq;
use common::{dial, even, measured, reopening, scored, trace, train};
use edges::{LevelStep, Polarity};
use score::{Plan, Settings};

// Instants are binary fractions of seconds near 1: 2e-16 s each, so a millisecond value errs by under 1e-12.
const ARITHMETIC: f64 = 1e-9;

#[test]
fn ten_ideal_pulses() {
    // 61 ms broken, 39 ms closed: period 100 ms, (10 - 1) / 0.9 s = 10 pps, 100 x 9 x 61 / 900 = 61 %.
    let digit = measured(even(1.0, 10, 61.0, 39.0));
    assert_eq!(digit.digit.as_deref(), Some("0"));
    assert_eq!(digit.pulses, 10);
    assert_abs_diff_eq!(digit.start_s, 1.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.end_s, 1.961, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.speed_pps.unwrap().value, 10.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.period_ms.unwrap().value, 100.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(
        digit.percent_break.unwrap().value,
        61.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(
        digit.break_make_ratio.unwrap().value,
        61.0 / 39.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(digit.break_ms.mean.value, 61.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(
        digit.make_ms.unwrap().mean.value,
        39.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(
        digit.slow_down_percent.unwrap().value,
        0.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(
        digit.unevenness_percent.unwrap().value,
        0.0,
        epsilon = ARITHMETIC
    );
    assert!(digit.sure);
    assert_eq!(digit.percent_break_half_step, None);
    assert_eq!(digit.why_null["percent_break_half_step"], "sharp-edges");
}

#[test]
fn uneven_breaks_and_makes_have_their_own_figures() {
    // Starts at 0, 100, 210 ms. Speed 2 / 0.21 s = 9.5238 pps. First two breaks 60 + 70 = 130 ms of 210 ms:
    // 61.905 %. Makes 40 and 40 ms. Breaks 60, 70, 80: mean 70.
    let digit = measured(train(1.0, &[(60.0, 40.0), (70.0, 40.0), (80.0, 0.0)]));
    assert_abs_diff_eq!(
        digit.speed_pps.unwrap().value,
        2.0 / 0.21,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(
        digit.percent_break.unwrap().value,
        100.0 * 130.0 / 210.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(
        digit.break_make_ratio.unwrap().value,
        130.0 / 80.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(digit.break_ms.mean.value, 70.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.break_ms.min, 60.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.break_ms.max, 80.0, epsilon = ARITHMETIC);
    let first = digit.pulses_detail[0];
    assert_abs_diff_eq!(first.percent_break.unwrap(), 60.0, epsilon = ARITHMETIC);
    let last = digit.pulses_detail[2];
    assert_eq!(
        (last.make_ms, last.make_u95_ms, last.percent_break),
        (None, None, None)
    );
    assert_eq!(digit.why_null["pulses_detail.make_ms"], "merges-into-pause");
}

#[test]
fn one_pulse_has_no_speed_and_says_why() {
    let digit = measured(even(1.0, 1, 61.0, 39.0));
    assert_eq!(digit.digit.as_deref(), Some("1"));
    assert_eq!(
        (digit.speed_pps, digit.percent_break, digit.make_ms),
        (None, None, None)
    );
    for field in [
        "speed_pps",
        "percent_break",
        "period_ms",
        "break_make_ratio",
        "slow_down_percent",
    ] {
        assert_eq!(digit.why_null[field], "single-pulse", "{field}");
    }
    assert_eq!(digit.why_null["make_ms"], "merges-into-pause");
    assert_abs_diff_eq!(digit.break_ms.mean.value, 61.0, epsilon = ARITHMETIC);
}

#[test]
fn every_missing_field_says_why_and_no_other() {
    let one = measured(even(1.0, 1, 61.0, 39.0));
    let ten = measured(even(1.0, 10, 61.0, 39.0));
    let expected_of_ten = [
        "idle_after_ms",
        "pause_before_ms",
        "percent_break_half_step",
        "pulses_detail.make_ms",
        "pulses_detail.percent_break",
        "return_ms",
        "winding_ms",
    ];
    assert_eq!(
        ten.why_null.keys().copied().collect::<Vec<_>>(),
        expected_of_ten
    );
    assert_eq!(one.why_null.len(), 7 + 7);
}

#[test]
fn slow_down_and_unevenness_by_the_line() {
    // Periods 98, 100, 102, 104 ms: slope 2 ms, N = 5, so 2 x 3 / 101 = 5.9406 %; no scatter.
    let slowing = [
        (60.0, 38.0),
        (60.0, 40.0),
        (60.0, 42.0),
        (60.0, 44.0),
        (60.0, 0.0),
    ];
    let digit = measured(train(1.0, &slowing));
    assert_abs_diff_eq!(
        digit.slow_down_percent.unwrap().value,
        600.0 / 101.0,
        epsilon = 1e-8
    );
    assert_abs_diff_eq!(digit.unevenness_percent.unwrap().value, 0.0, epsilon = 1e-8);
    // Periods 100, 106, 100 ms: slope 0, mean 102, distances -2, 4, -2, SSR = 24 ms^2, N - 3 = 1:
    // 100 x sqrt(24) / 102 = 4.8029 %.
    let uneven = [(60.0, 40.0), (60.0, 46.0), (60.0, 40.0), (60.0, 0.0)];
    let digit = measured(train(1.0, &uneven));
    assert_abs_diff_eq!(digit.slow_down_percent.unwrap().value, 0.0, epsilon = 1e-8);
    assert_abs_diff_eq!(
        digit.unevenness_percent.unwrap().value,
        100.0 * 24f64.sqrt() / 102.0,
        epsilon = 1e-8
    );
    // Three pulses leave no degree of freedom.
    let digit = measured(even(1.0, 3, 60.0, 40.0));
    assert_eq!(digit.slow_down_percent, None);
    assert_eq!(
        digit.why_null["unevenness_percent"],
        "fewer-than-four-pulses"
    );
}

#[test]
fn percent_break_at_half_step_beside_the_contacts() {
    // Every make rises slowly: half step 1 ms after the contact closed. A relay sees 62 ms of 100.
    let mut slow = even(1.0, 5, 61.0, 39.0);
    slow.edges
        .iter_mut()
        .skip(1)
        .step_by(2)
        .for_each(|edge| edge.half_step_s += 0.001);
    let digit = measured(slow);
    assert_abs_diff_eq!(
        digit.percent_break.unwrap().value,
        61.0,
        epsilon = ARITHMETIC
    );
    assert_abs_diff_eq!(
        digit.percent_break_half_step.unwrap().value,
        62.0,
        epsilon = ARITHMETIC
    );
    assert!(!digit.why_null.contains_key("percent_break_half_step"));
}

#[test]
fn chatter_runs_from_first_to_last_closure() {
    // Reopenings at 0.4-0.7 ms and 1.0-1.5 ms after the closure: 1.5 ms, longest 0.5 ms.
    let mut train = even(1.0, 3, 61.0, 39.0);
    train.reversals = vec![
        reopening(&train, 1, 0.4, 0.3),
        reopening(&train, 1, 1.0, 0.5),
    ];
    let digit = measured(train);
    assert_abs_diff_eq!(digit.pulses_detail[1].chatter_ms, 1.5, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(
        digit.pulses_detail[1].chatter_longest_ms,
        0.5,
        epsilon = ARITHMETIC
    );
    assert_eq!(digit.pulses_detail[0].chatter_ms, 0.0);
    assert_abs_diff_eq!(digit.chatter_ms_max, 1.5, epsilon = ARITHMETIC);
}

#[test]
fn what_begins_too_late_or_lasts_too_long_is_no_chatter() {
    // The rule: begins within 5 ms of the first closure and lasts under 5 ms.
    for (after_ms, length_ms, expected_ms) in [
        (4.9, 1.0, 5.9),
        (5.1, 1.0, 0.0),
        (1.0, 4.9, 5.9),
        (1.0, 5.1, 0.0),
    ] {
        let mut train = even(1.0, 3, 61.0, 39.0);
        train.reversals = vec![reopening(&train, 0, after_ms, length_ms)];
        assert_abs_diff_eq!(
            measured(train).chatter_ms_max,
            expected_ms,
            epsilon = ARITHMETIC
        );
    }
}

#[test]
fn opening_bounce_is_no_chatter() {
    let mut train = even(1.0, 3, 61.0, 39.0);
    let mut bounce = reopening(&train, 0, 0.0, 1.0);
    bounce.edge = 0;
    train.reversals = vec![bounce];
    assert_eq!(measured(train).chatter_ms_max, 0.0);
}

#[test]
fn pause_runs_from_the_last_break_to_the_next_first() {
    // First digit ends at 1.161 s, the second starts at 2.0 s: 839 ms (Notes on Distance Dialing 1956, 3.26).
    let scored = scored(
        vec![even(1.0, 2, 61.0, 39.0), even(2.0, 3, 61.0, 39.0)],
        &Settings::default(),
    );
    assert_eq!(scored.digits[0].pause_before_ms, None);
    assert_eq!(scored.digits[0].why_null["pause_before_ms"], "first-digit");
    assert_abs_diff_eq!(
        scored.digits[1].pause_before_ms.unwrap().value,
        839.0,
        epsilon = ARITHMETIC
    );
    assert_eq!(scored.digits[1].train, 1);
}

#[test]
fn off_normal_steps_give_winding_return_and_lost_motion() {
    let mut train = even(1.0, 3, 61.0, 39.0);
    let step = |instant_s, relative| LevelStep {
        instant_s,
        relative,
        snr: 50.0,
    };
    // Last make at 1.261 s; restoring at 1.461 s.
    train.level_steps = vec![step(0.4, 0.15), step(1.461, -0.15)];
    let digit = measured(train);
    assert_abs_diff_eq!(digit.winding_ms.unwrap(), 600.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.return_ms.unwrap(), 461.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.idle_after_ms.unwrap(), 200.0, epsilon = ARITHMETIC);
}

/// Some dials open the receiver circuit instead of shorting it: less current while winding.
#[test]
fn off_normal_steps_of_the_other_sign_are_believed_as_a_pair() {
    let mut train = even(1.0, 3, 61.0, 39.0);
    let step = |instant_s, relative| LevelStep {
        instant_s,
        relative,
        snr: 50.0,
    };
    train.level_steps = vec![step(0.4, -0.15), step(1.461, 0.15)];
    let digit = measured(train);
    assert_abs_diff_eq!(digit.winding_ms.unwrap(), 600.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(digit.idle_after_ms.unwrap(), 200.0, epsilon = ARITHMETIC);
}

/// Of a dial that opens the receiver circuit only the pause between two digits may show the steps: restoring comes first.
#[test]
fn the_pause_between_two_digits_tells_which_way_the_contacts_work() {
    let step = |instant_s, relative| LevelStep {
        instant_s,
        relative,
        snr: 50.0,
    };
    let read = |operating: f64| {
        // Last make of the first digit at 1.261 s. The pause shows beside both trains.
        let steps = vec![step(1.361, -operating), step(1.4, operating)];
        let mut first = even(1.0, 3, 61.0, 39.0);
        first.level_steps = steps.clone();
        let mut second = even(2.0, 3, 61.0, 39.0);
        second.level_steps = steps
            .into_iter()
            .map(|s| LevelStep {
                instant_s: s.instant_s + 0.001,
                ..s
            })
            .collect();
        let digits = scored(vec![first, second], &Settings::default()).digits;
        (
            digits[0].idle_after_ms.unwrap(),
            digits[1].winding_ms.unwrap(),
        )
    };
    for operating in [0.15, -0.15] {
        let (idle_ms, winding_ms) = read(operating);
        assert_abs_diff_eq!(idle_ms, 100.0, epsilon = ARITHMETIC);
        assert_abs_diff_eq!(winding_ms, 600.0, epsilon = ARITHMETIC);
    }
}

/// A click through a transformer looks like a step: there a step is believed only beside another of its size.
#[test]
fn through_a_transformer_steps_are_believed_as_a_pair() {
    let step = |instant_s, relative| LevelStep {
        instant_s,
        relative,
        snr: 50.0,
    };
    let winding_ms = |spikes_only, restoring| {
        let mut train = even(1.0, 3, 61.0, 39.0);
        train.spikes_only = spikes_only;
        train.level_steps = vec![step(0.4, 0.15), step(1.461, restoring)];
        measured(train).winding_ms
    };
    assert!(winding_ms(true, -0.13).is_some());
    assert_eq!(winding_ms(true, -0.09), None);
    assert!(winding_ms(false, -0.09).is_some());
}

/// A step belongs to a digit only if it lies after the digit before, within 5 s of the first opening, and
/// before the next digit, within 1 s of the last make.
#[test]
fn steps_too_far_from_a_digit_are_not_its_own() {
    let step = |instant_s, relative| LevelStep {
        instant_s,
        relative,
        snr: 50.0,
    };
    let lone = |steps| {
        let mut train = even(7.0, 3, 61.0, 39.0);
        train.level_steps = steps;
        let digit = measured(train);
        (digit.winding_ms.is_some(), digit.idle_after_ms.is_some())
    };
    assert_eq!(
        lone(vec![step(1.9, 0.15), step(8.3, -0.15)]),
        (false, false)
    );
    assert_eq!(lone(vec![step(2.1, 0.15), step(8.2, -0.15)]), (true, true));
    // Digits 1.0-1.261 s and 1.861-2.122 s of one train; a step in the pause is the second's winding, one
    // within the first digit nobody's.
    let mut train = train(
        1.0,
        &[
            (61.0, 39.0),
            (61.0, 39.0),
            (61.0, 600.0),
            (61.0, 39.0),
            (61.0, 39.0),
            (61.0, 0.0),
        ],
    );
    train.level_steps = vec![step(1.2, 0.15), step(2.0, -0.15)];
    let digits = scored(vec![train], &Settings::default()).digits;
    assert!(
        digits
            .iter()
            .all(|digit| digit.winding_ms.is_none() && digit.idle_after_ms.is_none())
    );
}

#[test]
fn a_lone_step_of_the_wrong_sign_is_no_off_normal_contact() {
    let mut train = even(1.0, 3, 61.0, 39.0);
    train.level_steps = vec![LevelStep {
        instant_s: 1.461,
        relative: 0.15,
        snr: 50.0,
    }];
    let digit = measured(train);
    assert_eq!(digit.idle_after_ms, None);
    assert_eq!(digit.why_null["idle_after_ms"], "no-off-normal-step");
}

#[test]
fn facts_come_from_the_worst_train() {
    let mut first = dial(3, 10.0, 61.0);
    first.noise_rms = 0.01;
    first.coupling_hz = Some(2.0);
    first.chatter_floor_s = 0.0002;
    let mut second = even(3.0, 3, 61.0, 39.0);
    second.coupling_hz = Some(4.0);
    second.polarity = Polarity::Inverted;
    let mut third = even(5.0, 3, 61.0, 39.0);
    third.polarity = Polarity::Inverted;
    let facts = scored(vec![first, second, third], &Settings::default()).facts;
    // 20 log10(1 / 0.01) = 40 dB; corners 2 and 4 Hz: median 3 Hz.
    assert_abs_diff_eq!(facts.snr_db.unwrap(), 40.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(facts.coupling_hz.unwrap(), 3.0, epsilon = ARITHMETIC);
    assert_abs_diff_eq!(facts.chatter_floor_ms.unwrap(), 0.2, epsilon = ARITHMETIC);
    assert_eq!(facts.polarity, Some(Polarity::Inverted));
}

#[test]
fn facts_of_silence_are_missing_not_zero() {
    let facts = score::score(&trace(Vec::new()), &Settings::default()).facts;
    assert_eq!(
        (facts.snr_db, facts.polarity, facts.chatter_floor_ms),
        (None, None, None)
    );
}

#[test]
fn plans_turn_pulses_into_digits() {
    // Pulses 1-10 as digits: standard (AS/CA S002:2010 cl. 5.5.1.7.1(c)), zero-first (Sweden), reversed
    // (PTC 200 cl. 5.1(3)).
    let cases = [
        (Plan::Standard, "1234567890"),
        (Plan::ZeroFirst, "0123456789"),
        (Plan::Reversed, "9876543210"),
    ];
    for (plan, digits) in cases {
        for (index, digit) in digits.chars().enumerate() {
            let settings = Settings {
                plan,
                ..Settings::default()
            };
            let scored = scored(vec![even(1.0, index + 1, 61.0, 39.0)], &settings);
            assert_eq!(
                scored.digits[0].digit,
                Some(digit.to_string()),
                "{plan:?}, {} pulses",
                index + 1
            );
        }
        assert_eq!(Plan::find(plan.name()), Some(plan));
    }
}

#[test]
fn eleven_pulses_are_no_digit() {
    let digit = measured(even(1.0, 11, 61.0, 39.0));
    assert_eq!((digit.digit, digit.pulses), (None, 11));
    assert_eq!(digit.why_null["digit"], "more-pulses-than-plan");
}
