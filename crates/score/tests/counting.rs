//! Which pulses make a digit, whether the count is sure, and dialled against found.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use common::{by, even, finding_codes, measured, reason_codes, scored, trace, train};
use edges::{Doubt, Train};
use score::{DialledError, Plan, Settings, Verdict};

/// Pulses of each digit.
fn counts(trains: Vec<Train>) -> Vec<usize> {
    scored(trains, &Settings::default())
        .digits
        .iter()
        .map(|digit| digit.pulses)
        .collect()
}

/// The rule: a make of max(180 ms, 1.7 median periods) or more parts two digits.
#[test]
fn a_long_make_parts_digits() {
    let pair = |pause_ms| {
        train(
            1.0,
            &[
                (61.0, 39.0),
                (61.0, 39.0),
                (61.0, pause_ms),
                (61.0, 39.0),
                (61.0, 39.0),
                (61.0, 0.0),
            ],
        )
    };
    // At 10 pps 1.7 periods are 170 ms: 180 ms decide.
    assert_eq!(counts(vec![pair(180.1)]), [3, 3]);
    assert_eq!(counts(vec![pair(179.9)]), [6]);
    let slow = |pause_ms| {
        train(
            1.0,
            &[
                (90.0, 60.0),
                (90.0, 60.0),
                (90.0, pause_ms),
                (90.0, 60.0),
                (90.0, 60.0),
                (90.0, 0.0),
            ],
        )
    };
    // At 6.67 pps 1.7 periods are 255 ms.
    assert_eq!(counts(vec![slow(255.1)]), [3, 3]);
    assert_eq!(counts(vec![slow(254.9)]), [6]);
}

#[test]
fn trains_nearer_than_a_pause_are_one_digit() {
    // The first ends at 1.161 s.
    assert_eq!(
        counts(vec![even(1.0, 2, 61.0, 39.0), even(1.2, 3, 61.0, 39.0)]),
        [5]
    );
    assert_eq!(
        counts(vec![even(1.0, 2, 61.0, 39.0), even(1.4, 3, 61.0, 39.0)]),
        [2, 3]
    );
}

#[test]
fn digits_of_one_pulse_are_parted_too() {
    assert_eq!(
        counts(vec![train(
            1.0,
            &[(61.0, 600.0), (61.0, 600.0), (61.0, 0.0)]
        )]),
        [1, 1, 1]
    );
}

/// Five pulses of 61/39 with the third missing: opening to opening 200 ms, two periods.
#[test]
fn a_hole_is_counted_as_opened_and_named() {
    let holed = train(
        1.0,
        &[(61.0, 39.0), (61.0, 139.0), (61.0, 39.0), (61.0, 0.0)],
    );
    let settings = Settings {
        dialled: Some("5".into()),
        ..by("us-1956-later")
    };
    let scored = scored(vec![holed], &settings);
    assert_eq!(scored.digits[0].pulses, 4);
    assert!(scored.digits[0].sure);
    assert_eq!(finding_codes(&scored), ["hole", "missing-pulses"]);
    assert_eq!(scored.findings[0].pulse_index, Some(1));
    assert_eq!(scored.verdict, Verdict::Fail);
    assert!(reason_codes(&scored).contains(&"wrong-count"));
}

/// Within 0.15 period of two periods: 184 and 216 ms at a median of 100 ms are none, 186 and 214 are.
#[test]
fn a_hole_is_two_periods_wide() {
    for (distance_ms, expected) in [(184.0, false), (186.0, true), (214.0, true), (216.0, false)] {
        let make_ms = distance_ms - 61.0;
        let train = train(
            1.0,
            &[
                (61.0, 39.0),
                (61.0, 39.0),
                (61.0, make_ms),
                (61.0, 39.0),
                (61.0, 0.0),
            ],
        );
        let scored = scored(vec![train], &Settings::default());
        assert_eq!(
            finding_codes(&scored).contains(&"hole"),
            expected,
            "{distance_ms} ms"
        );
    }
}

/// 25 ms broken, 5 ms closed, 31 ms broken: one pulse of 61 ms, not beyond doubt.
#[test]
fn a_split_break_is_one_pulse_and_unsure() {
    let split = train(1.0, &[(61.0, 39.0), (25.0, 5.0), (31.0, 39.0), (61.0, 0.0)]);
    let scored = scored(vec![split], &by("us-1956-later"));
    let digit = &scored.digits[0];
    assert_eq!(
        (digit.pulses, digit.sure, digit.verdict),
        (3, false, Verdict::NotJudged)
    );
    approx::assert_abs_diff_eq!(digit.pulses_detail[1].break_ms, 61.0, epsilon = 1e-9);
    assert_eq!(finding_codes(&scored), ["split-break"]);
    assert_eq!(
        digit.doubt.as_deref(),
        Some("a break is split by a closure of 5.0 ms at 1.125 s")
    );
}

/// With one period and one hole the period is taken, not the mean of both.
#[test]
fn a_hole_shows_in_three_pulses() {
    let scored = scored(
        vec![train(1.0, &[(61.0, 39.0), (61.0, 139.0), (61.0, 0.0)])],
        &Settings::default(),
    );
    assert_eq!(
        (scored.digits[0].pulses, finding_codes(&scored)),
        (3, vec!["hole"])
    );
}

/// A split break ends with its last part: the chatter after that is the pulse's.
#[test]
fn a_split_break_has_the_chatter_of_its_last_closure() {
    let mut split = train(1.0, &[(25.0, 5.0), (31.0, 39.0), (61.0, 0.0)]);
    split.reversals = vec![common::reopening(&split, 1, 0.4, 0.6)];
    approx::assert_abs_diff_eq!(
        measured(split).pulses_detail[0].chatter_ms,
        1.0,
        epsilon = 1e-9
    );
}

#[test]
fn fifteen_milliseconds_part_two_pulses() {
    assert_eq!(
        counts(vec![train(1.0, &[(61.0, 14.9), (61.0, 39.0), (61.0, 0.0)])]),
        [2]
    );
    assert_eq!(
        counts(vec![train(1.0, &[(61.0, 15.1), (61.0, 39.0), (61.0, 0.0)])]),
        [3]
    );
}

/// 22 pps at 70 % break: every make is 13.6 ms, and none of them splits a break.
#[test]
fn the_short_makes_of_a_fast_dial_part_its_pulses() {
    assert_eq!(counts(vec![common::dial(7, 22.0, 70.0)]), [7]);
    // A lone closure has no other make to be compared with; two openings 31 ms apart are no two pulses.
    assert_eq!(counts(vec![train(1.0, &[(25.0, 6.0), (31.0, 0.0)])]), [1]);
}

/// 10 ms closed, then 6 ms open: too late for chatter, too short to split a break.
#[test]
fn a_late_reopening_is_not_counted_and_unsure() {
    let train = train(1.0, &[(61.0, 39.0), (61.0, 10.0), (6.0, 23.0), (61.0, 0.0)]);
    let scored = scored(vec![train], &by("us-1956-later"));
    let digit = &scored.digits[0];
    assert_eq!((digit.pulses, digit.sure), (3, false));
    approx::assert_abs_diff_eq!(digit.pulses_detail[1].break_ms, 61.0, epsilon = 1e-9);
    approx::assert_abs_diff_eq!(
        digit.pulses_detail[1].make_ms.unwrap(),
        39.0,
        epsilon = 1e-9
    );
    assert_eq!(finding_codes(&scored), ["late-reopening"]);
}

#[test]
fn every_doubt_of_the_detector_makes_a_digit_unsure_and_unjudged() {
    let doubts = [
        Doubt::StartsInside,
        Doubt::EndsInside,
        Doubt::Gap(1.2),
        Doubt::WeakEdge(1.2),
        Doubt::UnexplainedEdge(1.2),
        Doubt::CutOff(1.2),
        Doubt::OtherCount(4),
        Doubt::Irregular,
        Doubt::EdgeKind,
        Doubt::MayBeFlash,
    ];
    for doubt in doubts {
        let mut train = even(1.0, 5, 62.0, 38.0);
        train.doubts = vec![doubt];
        let scored = scored(vec![train], &by("us-1956-later"));
        assert_eq!(scored.verdict, Verdict::NotJudged, "{doubt:?}");
        assert!(
            !scored.digits[0].sure && scored.digits[0].doubt.is_some(),
            "{doubt:?}"
        );
        assert!(
            scored
                .checks
                .iter()
                .all(|check| check.verdict == Verdict::NotJudged
                    && check.why_not_judged.is_some()
                    && check.conformance_probability.is_none())
        );
        assert_eq!(reason_codes(&scored), ["count-in-doubt"], "{doubt:?}");
        let mut train = even(1.0, 5, 62.0, 38.0);
        train.doubts = vec![doubt];
        let by_milliseconds = common::scored(vec![train], &by("au-s002"));
        assert_eq!(
            reason_codes(&by_milliseconds),
            ["count-in-doubt"],
            "{doubt:?}"
        );
    }
}

/// Sure only if every other count is less likely than 1 in 1000.
#[test]
fn the_risk_of_another_count_decides() {
    for (risk, sure) in [
        (0.0, true),
        (0.001, true),
        (0.0011, false),
        (f64::NAN, false),
    ] {
        let mut train = even(1.0, 5, 62.0, 38.0);
        train.count_risk = risk;
        assert_eq!(measured(train).sure, sure, "risk {risk}");
    }
}

/// Two trains that make one digit: either may be miscounted, 1 − 0.9994² = 0.0012.
#[test]
fn risks_of_joined_trains_add_up() {
    let joined = |risk| {
        let mut trains = vec![even(1.0, 2, 61.0, 39.0), even(1.2, 3, 61.0, 39.0)];
        trains.iter_mut().for_each(|train| train.count_risk = risk);
        scored(trains, &Settings::default()).digits.remove(0)
    };
    assert_eq!((joined(0.0006).pulses, joined(0.0006).sure), (5, false));
    assert!(joined(0.0004).sure);
}

/// Where a digit has its train to itself the detector has decided that the doubt concerns it.
#[test]
fn a_doubt_about_a_digits_own_train_is_not_questioned() {
    let mut train = even(1.0, 5, 62.0, 38.0);
    train.doubts = vec![Doubt::Gap(9.0)];
    assert!(!measured(train).sure);
}

/// Doubts with an instant concern the digits within two periods of it; a start inside concerns the first.
#[test]
fn doubts_of_a_shared_train_go_to_the_digit_they_concern() {
    // Digits 1.0-1.261 s and 1.861-2.122 s.
    let two = |doubt| {
        let pulses = [
            (61.0, 39.0),
            (61.0, 39.0),
            (61.0, 600.0),
            (61.0, 39.0),
            (61.0, 39.0),
            (61.0, 0.0),
        ];
        let mut train = train(1.0, &pulses);
        train.doubts = vec![doubt];
        let scored = scored(vec![train], &Settings::default());
        scored
            .digits
            .iter()
            .map(|digit| digit.sure)
            .collect::<Vec<_>>()
    };
    assert_eq!(two(Doubt::StartsInside), [false, true]);
    assert_eq!(two(Doubt::EndsInside), [true, false]);
    assert_eq!(two(Doubt::Gap(1.4)), [false, true]);
    assert_eq!(two(Doubt::Gap(1.6)), [true, true]);
    assert_eq!(two(Doubt::Gap(1.8)), [true, false]);
    assert_eq!(two(Doubt::Irregular), [false, false]);
}

fn dialled(dialled: &str, pulses: &[usize]) -> score::Scored {
    let trains = pulses.iter().enumerate();
    let trains = trains
        .map(|(index, pulses)| even(1.0 + 3.0 * index as f64, *pulses, 62.0, 38.0))
        .collect();
    let settings = Settings {
        dialled: Some(dialled.into()),
        ..by("us-1956-later")
    };
    scored(trains, &settings)
}

#[test]
fn a_right_count_passes() {
    let scored = dialled("52-0", &[5, 2, 10]);
    assert_eq!(
        (scored.verdict, scored.count.verdict),
        (Verdict::Pass, Verdict::Pass)
    );
    assert_eq!(scored.count.expected_pulses, [5, 2, 10]);
    assert_eq!(
        scored
            .checks
            .iter()
            .filter(|check| check.quantity == "pulses")
            .count(),
        3
    );
    assert_eq!(finding_codes(&scored), [""; 0]);
}

#[test]
fn a_wrong_count_fails_and_says_which_digit() {
    let scored = dialled("520", &[5, 3, 10]);
    assert_eq!(
        (scored.verdict, scored.count.verdict),
        (Verdict::Fail, Verdict::Fail)
    );
    assert_eq!(
        scored.count.reason.as_deref(),
        Some("2nd digit: 2 pulses were dialled, 3 found")
    );
    let words: Vec<_> = scored.digits.iter().map(|digit| digit.verdict).collect();
    assert_eq!(words, [Verdict::Pass, Verdict::Fail, Verdict::Pass]);
    assert_eq!(finding_codes(&scored), ["extra-pulses"]);
}

#[test]
fn a_missing_digit_fails() {
    let scored = dialled("520", &[5, 2]);
    assert_eq!(scored.verdict, Verdict::Fail);
    assert_eq!(
        scored.count.reason.as_deref(),
        Some(
            "3 digits were dialled, 2 found; one may be hidden in noise, or two ran together: --plot-kind overview shows the whole recording"
        )
    );
}

#[test]
fn a_wrong_count_that_is_in_doubt_is_not_judged() {
    let mut train = even(1.0, 4, 62.0, 38.0);
    train.count_risk = 0.2;
    let settings = Settings {
        dialled: Some("5".into()),
        ..by("us-1956-later")
    };
    let scored = scored(vec![train], &settings);
    assert_eq!(
        (scored.verdict, scored.count.verdict),
        (Verdict::NotJudged, Verdict::NotJudged)
    );
}

/// A recording that hides pulses must not send anybody to the dial's cam.
#[test]
fn a_count_in_doubt_leads_to_the_recording_and_not_to_the_dial() {
    let mut train = even(1.0, 4, 62.0, 38.0);
    let settings = Settings {
        dialled: Some("5".into()),
        ..Settings::default()
    };
    let advice = |train: &edges::Train| {
        let finding = scored(vec![train.clone()], &settings).findings.remove(0);
        assert_eq!(finding.code, "missing-pulses");
        finding.advice
    };
    assert!(advice(&train).starts_with("dial it again, finger to the stop"));
    train.count_risk = 0.2;
    assert!(advice(&train).starts_with("leave the dial as it is"));
}

#[test]
fn a_missing_digit_beside_a_doubtful_one_is_not_judged() {
    let mut train = even(1.0, 5, 62.0, 38.0);
    train.doubts = vec![Doubt::StartsInside];
    let settings = Settings {
        dialled: Some("35".into()),
        ..Settings::default()
    };
    let scored = scored(vec![train], &settings);
    assert_eq!(scored.verdict, Verdict::NotJudged);
    assert_eq!(
        scored.count.reason.as_deref(),
        Some(
            "2 digits were dialled, 1 found; one may be hidden in noise, or two ran together: --plot-kind overview shows the whole recording"
        )
    );
}

/// A single pulse has no speed to judge; one in doubt still keeps the recording from passing, since it may
/// be more than a single pulse.
#[test]
fn a_doubtful_digit_is_never_left_out() {
    let mut doubtful = even(3.0, 1, 62.0, 38.0);
    doubtful.doubts = vec![Doubt::MayBeFlash];
    let scored = scored(
        vec![even(1.0, 5, 62.0, 38.0), doubtful],
        &by("us-1956-later"),
    );
    assert_eq!(scored.verdict, Verdict::NotJudged);
}

/// If the digit before may have had another pulse, its end and so the pause is in doubt.
#[test]
fn a_pause_after_a_doubtful_digit_is_not_judged() {
    let trains = |first_risk, second_risk| {
        let mut trains = vec![even(1.0, 5, 62.0, 38.0), even(3.0, 5, 62.0, 38.0)];
        trains[0].count_risk = first_risk;
        trains[1].count_risk = second_risk;
        trains
    };
    let settings = Settings {
        judge_pauses: true,
        ..by("jp-10")
    };
    let word = |first, second| {
        let checks = scored(trains(first, second), &settings).checks;
        checks
            .iter()
            .find(|check| check.quantity == "pause_before_ms")
            .map(|check| check.verdict)
    };
    assert_eq!(word(0.0, 0.0), Some(Verdict::Pass));
    assert_eq!(word(0.5, 0.0), Some(Verdict::NotJudged));
    assert_eq!(word(0.0, 0.5), Some(Verdict::NotJudged));
}

#[test]
fn a_count_without_limits_is_judged_and_says_that_it_is_all() {
    let settings = Settings {
        dialled: Some("5".into()),
        ..Settings::default()
    };
    let scored = scored(vec![even(1.0, 5, 62.0, 38.0)], &settings);
    assert_eq!(scored.verdict, Verdict::Pass);
    assert_eq!(reason_codes(&scored), ["no-limits"]);
    assert!(
        scored.reasons[0]
            .text
            .starts_with("only the count was judged")
    );
}

#[test]
fn the_plan_decides_what_was_dialled() {
    let settings = Settings {
        dialled: Some("9".into()),
        plan: Plan::Reversed,
        ..Settings::default()
    };
    assert_eq!(
        scored(vec![even(1.0, 1, 62.0, 38.0)], &settings).verdict,
        Verdict::Pass
    );
    assert_eq!(Plan::ZeroFirst.pulses_of("09"), Ok(vec![1, 10]));
    assert_eq!(
        Plan::Standard.pulses_of("5A"),
        Err(DialledError::NotADigit('A'))
    );
    assert_eq!(Plan::Standard.pulses_of(" - "), Err(DialledError::Empty));
}

#[test]
fn no_dialling_is_said() {
    let silent = scored(Vec::new(), &by("jp-10"));
    assert_eq!(
        (silent.verdict, reason_codes(&silent)),
        (Verdict::NotJudged, vec!["no-dialling"])
    );
    let mut heard = trace(Vec::new());
    heard.heard_not_wired = true;
    let heard = score::score(&heard, &by("jp-10"));
    assert_eq!(reason_codes(&heard), ["heard-not-wired"]);
}
