//! What receivers make of a dial, what several takes of it say together, and the plans by which it is read.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use approx::assert_abs_diff_eq;
use common::{by, dial, even, scored, train, with_variance};
use edges::{LevelStep, Train};
use score::limits::{LimitSet, Range};
use score::receivers;
use score::{Answer, DialledError, Plan, Receiver, Settings, Understood, Verdict, takes};

fn asking(receiver: Receiver) -> Settings {
    Settings {
        receivers: vec![receiver],
        clock_ppm: 0.0,
        opening_delay_ms: 0.0,
        ..Settings::default()
    }
}

fn asked(trains: Vec<Train>, settings: &Settings) -> Answer {
    scored(trains, settings).receivers.remove(0)
}

fn answer(train: Train, receiver: &str) -> Answer {
    asked(vec![train], &asking(receivers::find(receiver).unwrap()))
}

/// Every receiving scope, and the adapter; 15-200 ms are the adapter's, 90 ms on are Finland's hook flash.
#[test]
fn the_receivers_are_those_that_state_what_they_take() {
    let all = receivers::all();
    let names: Vec<&str> = all
        .iter()
        .map(|receiver| receiver.set.name.as_ref())
        .collect();
    let expected = [
        "jp-10",
        "jp-20",
        "uk-gpo-exchange",
        "us-switch-1924",
        "us-switch",
        "fi-rx",
        "adapter",
    ];
    assert_eq!(names, expected);
    let counted: Vec<&str> = all
        .iter()
        .filter(|receiver| receiver.counted_ms.is_some())
        .map(|receiver| receiver.set.name.as_ref())
        .collect();
    assert_eq!(counted, ["adapter"]);
    let flashing: Vec<&str> = all
        .iter()
        .filter(|receiver| receiver.flash_ms.is_some())
        .map(|receiver| receiver.set.name.as_ref())
        .collect();
    assert_eq!(flashing, ["fi-rx"]);
    let adapter = receivers::find("adapter").unwrap();
    assert_eq!(adapter.counted_ms, Some(Range::between(15.0, 200.0)));
    assert_eq!(adapter.set.grade.name(), "practice");
    assert_eq!(
        receivers::find("fi-rx").unwrap().flash_ms,
        Some(Range::between(90.0, 500.0))
    );
    assert_eq!(receivers::find("us-1956-later"), None);
}

/// Openings of 15 and 200 ms count, the last included; shorter and longer ones do not.
#[test]
fn the_adapter_counts_openings_of_15_to_200_ms() {
    let cases = [
        (14.9, 40.0, 0, Understood::No),
        (15.0, 40.0, 5, Understood::Yes),
        (61.0, 39.0, 5, Understood::Yes),
        (200.0, 39.0, 5, Understood::Yes),
        (200.1, 39.0, 0, Understood::No),
    ];
    for (break_ms, make_ms, pulses, understood) in cases {
        let found = answer(even(1.0, 5, break_ms, make_ms), "adapter");
        assert_eq!(found.counted, [Some(pulses)], "{break_ms} ms");
        assert_eq!(found.understood, understood, "{break_ms} ms");
        assert_eq!(found.reasons.is_empty(), understood == Understood::Yes);
    }
    let long = answer(even(1.0, 5, 201.0, 39.0), "adapter");
    assert!(
        long.reasons[0].contains(
            "0 of 5 pulses would be counted; an opening of 201.0 ms lies at or beyond 15-200 ms"
        ),
        "{:?}",
        long.reasons
    );
}

/// A break of 15.2 ms: with u95 = 1.96 sqrt(2 v) = 0.3 ms it may lie on either side, with 0.1 ms not. The same at 199.8.
#[test]
fn an_opening_within_its_uncertainty_of_a_bound_may_be_misunderstood() {
    let variance = |u95_ms: f64| (u95_ms / 1960.0).powi(2) / 2.0;
    for break_ms in [15.2, 199.8] {
        let of = |u95_ms: f64| {
            let dial = with_variance(even(1.0, 5, break_ms, 50.0), variance(u95_ms));
            answer(dial, "adapter").understood
        };
        assert_eq!(of(0.3), Understood::Perhaps, "{break_ms} ms");
        assert_eq!(of(0.1), Understood::Yes, "{break_ms} ms");
    }
}

/// A digit is over 50 ms after the longest pulse: 250 ms of make.
#[test]
fn the_adapter_ends_a_digit_after_a_long_make() {
    let with_make = |make_ms: f64| {
        let pulses = [
            (190.0, 170.0),
            (190.0, make_ms),
            (190.0, 170.0),
            (190.0, 0.0),
        ];
        answer(train(1.0, &pulses), "adapter")
    };
    assert_eq!(with_make(249.0).understood, Understood::Yes);
    let parted = with_make(251.0);
    assert_eq!(parted.understood, Understood::No);
    assert!(
        parted.reasons[0].contains("a make of 251 ms would end the digit"),
        "{:?}",
        parted.reasons
    );
}

/// 27 ms, 4 closed, 30 ms: one pulse here and doubtful. The adapter cannot be told then.
#[test]
fn a_digit_in_doubt_cannot_be_told() {
    let mut doubtful = even(1.0, 5, 61.0, 39.0);
    doubtful.count_risk = 0.5;
    let found = answer(doubtful, "adapter");
    assert_eq!(found.understood, Understood::CannotTell);
    assert_eq!(found.counted, [None]);
    assert!(found.reasons[0].contains("its own count is not beyond doubt"));
    // A digit that is misunderstood for sure weighs more, one that is understood less.
    let mut doubtful = even(3.0, 5, 61.0, 39.0);
    doubtful.count_risk = 0.5;
    let both = |first: Train| {
        asked(
            vec![first, doubtful.clone()],
            &asking(receivers::find("adapter").unwrap()),
        )
        .understood
    };
    assert_eq!(both(even(1.0, 5, 61.0, 39.0)), Understood::CannotTell);
    assert_eq!(both(even(1.0, 5, 14.0, 86.0)), Understood::No);
}

/// Published limits: inside, outside, and by less than the uncertainty. 8-11 pps; the names of the answers.
#[test]
fn a_published_receiver_answers_by_its_limits() {
    for (pps, understood, code, words) in [
        (10.0, Understood::Yes, "yes", "will be understood"),
        (7.5, Understood::No, "no", "will not be understood reliably"),
    ] {
        let found = answer(dial(10, pps, 62.0), "us-switch");
        assert_eq!(found.understood, understood);
        assert_eq!((understood.code(), understood.words()), (code, words));
        assert_eq!(found.counted, [None]);
        assert_eq!(found.grade.name(), "B-");
        assert!(found.source.contains("p. 113") && found.title.contains("tolerates"));
    }
    // u95 of the speed of ten pulses, edges of 1 ms: 1.96 x 8 / 1.125 x 1.414 x 1e-3 = 0.02 pps.
    let near = |pps: f64| answer(with_variance(dial(10, pps, 62.0), 1e-6), "us-switch").understood;
    assert_eq!(
        [near(8.01), near(7.99), near(7.9)].map(Understood::code),
        ["perhaps", "perhaps", "no"]
    );
    assert_eq!(Understood::Perhaps.words(), "may be misunderstood");
    // One pulse has no speed, and nothing else is limited.
    let single = answer(even(1.0, 1, 61.0, 39.0), "us-switch");
    assert_eq!(single.understood, Understood::CannotTell);
    assert_eq!(single.understood.words(), "cannot be told");
    assert_eq!(single.understood.code(), "cannot-tell");
    assert_eq!(
        single.reasons,
        ["nothing was recorded that it has bounds for"]
    );
}

/// Finland: 47-80 ms, and a hook flash from 90 ms on, for the longest break of all. u95 = 1.96 sqrt(2 v).
#[test]
fn a_long_break_may_be_a_hook_flash() {
    let flash = |break_ms: f64, u95_ms: f64| {
        let variance = (u95_ms / 1960.0).powi(2) / 2.0;
        let pulses = [(70.0, 45.0), (break_ms, 45.0), (70.0, 45.0), (70.0, 45.0)];
        let found = answer(with_variance(train(1.0, &pulses), variance), "fi-rx");
        let flash = found
            .reasons
            .iter()
            .find(|reason| reason.contains("hook flash"));
        (found.understood, flash.cloned())
    };
    assert_eq!(flash(85.0, 0.1), (Understood::No, None));
    let (_, reason) = flash(90.0, 0.0);
    assert!(
        reason.unwrap().contains(
            "a break of 90.0 ms may be taken for a hook flash, which starts at 90 ms there"
        )
    );
    assert!(flash(89.9, 0.2).1.is_some());
    assert!(flash(89.9, 0.05).1.is_none());
    // With a set that limits nothing else the flash alone decides.
    let alone = |break_ms: f64| {
        let receiver = Receiver {
            flash_ms: Some(Range::at_least(90.0)),
            ..Receiver::of_set(LimitSet::own("flash"))
        };
        let dial = with_variance(
            even(1.0, 4, break_ms, 40.0),
            (0.2f64 / 1960.0).powi(2) / 2.0,
        );
        asked(vec![dial], &asking(receiver)).understood
    };
    assert_eq!(alone(90.3), Understood::No);
    assert_eq!(alone(90.1), Understood::Perhaps);
    assert_eq!(alone(89.9), Understood::Perhaps);
    assert_eq!(alone(89.7), Understood::CannotTell);
}

/// The hand makes most of a pause: said, and of no weight unless pauses are judged. jp-10 wants 600 ms.
#[test]
fn a_short_pause_is_said_and_weighs_only_when_pauses_are_judged() {
    let pause = |pause_ms: f64, judge_pauses: bool| {
        let trains = vec![
            even(1.0, 5, 62.0, 38.0),
            even(1.462 + pause_ms / 1000.0, 5, 62.0, 38.0),
        ];
        let settings = Settings {
            judge_pauses,
            ..asking(receivers::find("jp-10").unwrap())
        };
        asked(trains, &settings)
    };
    let said = pause(500.0, false);
    assert_eq!(said.understood, Understood::Yes);
    assert!(
        said.reasons[0]
            .contains("the pause before it, 500 ms, is shorter than the 600 ms needed there"),
        "{:?}",
        said.reasons
    );
    assert_eq!(pause(600.5, false).reasons, [""; 0]);
    let judged = pause(500.0, true);
    assert_eq!(
        (judged.understood, judged.reasons.len()),
        (Understood::No, 1)
    );
}

/// Takes of ten pulses at 9.4, 9.5 and 9.6 pps by 9.5-10.5: mean 9.5, deviation 0.1, t(2) = 4.30, so the spread's u95 is
/// 4.30 x 0.1 / sqrt(3) = 0.2483. Perfect recordings leave nothing.
#[test]
fn takes_of_one_dial_by_hand() {
    let speeds = [9.4, 9.5, 9.6];
    let digits = |speeds: &[f64], variance: f64| -> Vec<score::Digit> {
        speeds
            .iter()
            .map(|pps| common::measured(with_variance(dial(10, *pps, 62.0), variance)))
            .collect()
    };
    let all = digits(&speeds, 0.0);
    let found = takes(&all, &by("us-1956-later")).unwrap();
    assert_eq!((found.pulses, found.count), (10, 3));
    let speed = &found.quantities[0];
    assert_eq!(speed.quantity, "speed_pps");
    assert_abs_diff_eq!(speed.mean, 9.5, epsilon = 1e-9);
    assert_abs_diff_eq!(speed.spread, 0.1, epsilon = 1e-9);
    assert_abs_diff_eq!(speed.spread_u95, 0.2483, epsilon = 1e-4);
    assert_abs_diff_eq!(speed.range.0, 9.4, epsilon = 1e-9);
    assert_abs_diff_eq!(speed.range.1, 9.6, epsilon = 1e-9);
    assert_eq!(speed.recordings_u95, 0.0);
    assert!(speed.spread_decides() && speed.u95() == speed.spread_u95);
    // 9.5 is on the limit, which belongs to the tolerance, and 0.25 is more than the rest.
    let check = speed.check.as_ref().unwrap();
    assert_eq!(
        (check.verdict, check.lower),
        (Verdict::ConditionalPass, Some(9.5))
    );
    assert_abs_diff_eq!(check.guard_band, speed.spread_u95, epsilon = 1e-12);
    let percent = &found.quantities[1];
    assert_eq!(percent.quantity, "percent_break");
    assert_eq!(percent.check.as_ref().unwrap().verdict, Verdict::Pass);
    assert_abs_diff_eq!(found.ten_pulses_s().unwrap(), 10.0 / 9.5, epsilon = 1e-9);
    // Alike takes of noisy recordings: √(3 u²) / 3 of each one's u95, and that decides.
    let noisy = digits(&[9.5, 9.5, 9.5], 1e-6);
    let found = takes(&noisy, &Settings::default()).unwrap();
    let each = noisy[0].speed_pps.unwrap().u95;
    let speed = &found.quantities[0];
    assert_abs_diff_eq!(speed.recordings_u95, each / 3f64.sqrt(), epsilon = 1e-9);
    assert!(!speed.spread_decides() && speed.u95() == speed.recordings_u95);
    assert_eq!(speed.check, None);
    // A set for information judges nothing, and one of milliseconds has no such limit.
    assert_eq!(
        takes(&all, &by("us-switch")).unwrap().quantities[1].check,
        None
    );
    assert_eq!(takes(&all, &by("fi-rx")).unwrap().quantities[0].check, None);
    assert!(
        takes(&all, &by("us-switch")).unwrap().quantities[0]
            .check
            .is_some()
    );
}

/// Takes by a set of period and ratio: periods of 100, 101 and 102 ms have mean 101 and deviation 1, so the spread's u95 is
/// 4.30 x 1 / sqrt(3) = 2.483 ms; the ratio is 62 / 38 in all. The set limits no speed and no percent break.
#[test]
fn takes_are_judged_in_the_kind_that_the_set_states() {
    let take = |period_ms: f64| common::measured(dial(10, 1000.0 / period_ms, 62.0));
    let all = [take(100.0), take(101.0), take(102.0)];
    let found = takes(&all, &by("de-1.6")).unwrap();
    let names: Vec<&str> = found
        .quantities
        .iter()
        .map(|taken| taken.quantity)
        .collect();
    assert_eq!(
        names,
        [
            "speed_pps",
            "percent_break",
            "period_ms",
            "break_make_ratio"
        ]
    );
    let word = |index: usize| {
        let check = found.quantities[index].check.as_ref();
        check.map(|check| check.verdict)
    };
    assert_eq!((word(0), word(1)), (None, None));
    assert_eq!(
        (word(2), word(3)),
        (Some(Verdict::Pass), Some(Verdict::Pass))
    );
    let period = &found.quantities[2];
    assert_abs_diff_eq!(period.mean, 101.0, epsilon = 1e-9);
    assert_abs_diff_eq!(period.spread_u95, 2.483, epsilon = 1e-3);
    assert_abs_diff_eq!(found.quantities[3].mean, 62.0 / 38.0, epsilon = 1e-9);
}

/// One recorder's clock is alike in all takes, so more of them do not lessen it: 1.13 x 9.5 pps x 100 ppm = 0.001074 pps.
#[test]
fn the_clock_joins_the_mean_of_takes_once() {
    let all = [9.5, 9.5].map(|pps| common::measured(dial(10, pps, 62.0)));
    let settings = Settings {
        clock_ppm: 100.0,
        ..Settings::default()
    };
    let found = takes(&all, &settings).unwrap();
    assert_abs_diff_eq!(found.quantities[0].u95_as_read(), 0.001_074, epsilon = 1e-6);
    // Openings are late by up to 0.8 µs, in every take alike: 1.13 x 0.0008 ms x 9.5 pps / 10 = 0.000859 points.
    assert_abs_diff_eq!(found.quantities[1].u95_as_read(), 0.000_859, epsilon = 1e-6);
}

/// Alike are digits of one number, sure, and of four pulses or more: the number dialled most often, the largest of several.
#[test]
fn only_digits_alike_are_takes_of_one_another() {
    let digit = |pulses: usize| common::measured(dial(pulses, 10.0, 62.0));
    let of = |pulses: &[usize]| {
        let digits: Vec<score::Digit> = pulses.iter().map(|pulses| digit(*pulses)).collect();
        takes(&digits, &Settings::default()).map(|takes| (takes.pulses, takes.count))
    };
    assert_eq!(of(&[10, 7, 7, 5, 5]), Some((7, 2)));
    assert_eq!(of(&[10, 10, 7, 7, 7]), Some((7, 3)));
    assert_eq!(of(&[10, 7, 5]), None);
    assert_eq!(of(&[3, 3, 3]), None);
    assert_eq!(of(&[4, 4, 3, 3, 3]), Some((4, 2)));
    assert_eq!(of(&[]), None);
    let mut doubtful = digit(10);
    doubtful.sure = false;
    assert_eq!(takes(&[digit(10), doubtful], &Settings::default()), None);
}

/// Digits 1 to 9 and 0 by every plan, and back; names; the eleventh position.
#[test]
fn plans_by_hand() {
    let rows = [
        (
            Plan::Standard,
            "standard",
            [10, 1, 2, 3, 4, 5, 6, 7, 8, 9],
            10,
        ),
        (
            Plan::ZeroFirst,
            "zero-first",
            [1, 2, 3, 4, 5, 6, 7, 8, 9, 10],
            10,
        ),
        (
            Plan::Reversed,
            "reversed",
            [10, 9, 8, 7, 6, 5, 4, 3, 2, 1],
            10,
        ),
        (
            Plan::Eleventh,
            "eleventh",
            [10, 1, 2, 3, 4, 5, 6, 7, 8, 9],
            11,
        ),
    ];
    assert_eq!(Plan::ALL.len(), rows.len());
    for (plan, name, pulses, most) in rows {
        assert_eq!((plan.name(), Plan::find(name)), (name, Some(plan)));
        assert_eq!(plan.most_pulses(), most);
        for (digit, pulses) in (0..10).zip(pulses) {
            assert_eq!(plan.pulses(digit), Some(pulses), "{name}, {digit}");
            assert_eq!(plan.digit(pulses), Some(digit), "{name}, {pulses} pulses");
            assert_eq!(plan.label(pulses), Some(digit.to_string()));
        }
        assert_eq!(
            (plan.pulses(10), plan.digit(11), plan.digit(0)),
            (None, None, None)
        );
        assert_eq!(plan.label(12), None);
        assert_eq!(
            plan.pulses_of("1-2 (3).4/0").unwrap(),
            [1, 2, 3, 4, 0].map(|d| plan.pulses(d).unwrap())
        );
        assert_eq!(plan.pulses_of("12a"), Err(DialledError::NotADigit('a')));
        assert_eq!(plan.pulses_of(" - "), Err(DialledError::Empty));
    }
    assert_eq!(Plan::find("no plan"), None);
    assert_eq!(Plan::Eleventh.label(11).as_deref(), Some("E"));
    assert_eq!(Plan::Standard.label(11), None);
    assert_eq!(Plan::Eleventh.pulses_of("5Ee"), Ok(vec![5, 11, 11]));
    assert_eq!(
        Plan::Standard.pulses_of("E"),
        Err(DialledError::EleventhOnly('E'))
    );
}

/// Ten pulses from 2.0 s, the last make at 2.961 s; the contacts operate at 1.2 s and restore at 3.111 s.
fn with_steps(steps: &[(f64, f64)]) -> (Option<f64>, Option<f64>, Option<f64>) {
    let mut train = even(2.0, 10, 61.0, 39.0);
    train.level_steps = steps
        .iter()
        .map(|(instant_s, relative)| LevelStep {
            instant_s: *instant_s,
            relative: *relative,
            snr: 50.0,
        })
        .collect();
    let digit = common::measured(train);
    let round = |value: Option<f64>| value.map(|ms| (1e6 * ms).round() / 1e6);
    (
        round(digit.winding_ms),
        round(digit.return_ms),
        round(digit.idle_after_ms),
    )
}

#[test]
fn winding_return_and_lost_motion_by_the_steps_of_the_off_normal_contacts() {
    let all = (Some(800.0), Some(1111.0), Some(150.0));
    assert_eq!(with_steps(&[(1.2, 0.15), (3.111, -0.15)]), all);
    // A dial that opens the receiver instead turns both round: believed of a pair only.
    assert_eq!(with_steps(&[(1.2, -0.15), (3.111, 0.15)]), all);
    assert_eq!(with_steps(&[(1.2, -0.15)]), (None, None, None));
    assert_eq!(with_steps(&[(3.111, 0.15)]), (None, None, None));
    assert_eq!(with_steps(&[(1.2, 0.15)]), (Some(800.0), None, None));
    assert_eq!(
        with_steps(&[(3.111, -0.15)]),
        (None, Some(1111.0), Some(150.0))
    );
    // Two of the same sign: each is believed only where it belongs.
    assert_eq!(
        with_steps(&[(1.2, 0.15), (3.111, 0.15)]),
        (Some(800.0), None, None)
    );
    assert_eq!(
        with_steps(&[(1.2, -0.15), (3.111, -0.15)]),
        (None, Some(1111.0), Some(150.0))
    );
    // The nearest to the pulses count, and none more than a second after them.
    assert_eq!(
        with_steps(&[(0.5, 0.15), (1.2, 0.15), (3.111, -0.15), (3.5, -0.15)]),
        all
    );
    assert_eq!(with_steps(&[(3.97, -0.15)]), (None, None, None));
    assert_eq!(with_steps(&[(2.5, 0.15)]), (None, None, None));
}

/// No hand winds for more than five seconds.
#[test]
fn a_step_long_before_a_digit_is_no_winding() {
    let winding = |before_s: f64| {
        let mut train = even(8.0, 5, 61.0, 39.0);
        train.level_steps = vec![LevelStep {
            instant_s: 8.0 - before_s,
            relative: 0.15,
            snr: 50.0,
        }];
        common::measured(train).winding_ms.is_some()
    };
    assert!(winding(4.99) && !winding(5.01));
}
