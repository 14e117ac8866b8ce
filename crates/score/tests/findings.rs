//! Findings appear where the evidence is, and nowhere else.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use common::{even, finding_codes, reopening, scored, train, with_variance};
use edges::Train;
use score::{Finding, HowSure, Plan, Settings};

fn found(train: Train) -> Vec<&'static str> {
    finding_codes(&scored(vec![train], &Settings::default()))
}

/// Pulses whose periods are given in milliseconds, 61 ms broken; a last pulse closes the last period.
fn by_periods(periods_ms: &[f64]) -> Train {
    let mut pulses: Vec<(f64, f64)> = periods_ms
        .iter()
        .map(|period| (61.0, period - 61.0))
        .collect();
    pulses.push((61.0, 0.0));
    train(1.0, &pulses)
}

#[test]
fn a_dial_in_order_has_no_findings() {
    assert_eq!(found(even(1.0, 10, 61.0, 39.0)), [""; 0]);
    // Half a percent of scatter and drift is a dial in order.
    assert_eq!(
        found(by_periods(&[
            99.6, 100.3, 99.9, 100.1, 100.4, 99.8, 100.5, 100.0, 100.4
        ])),
        [""; 0]
    );
}

/// Nine periods from 98 to 102 ms in equal steps: 100 x 4 / 100 = 4 % slower.
#[test]
fn a_dial_that_slows_or_quickens() {
    let slowing: Vec<f64> = (0..9).map(|k| 98.0 + 0.5 * f64::from(k)).collect();
    let quickening: Vec<f64> = slowing.iter().rev().copied().collect();
    assert_eq!(found(by_periods(&slowing)), ["slow-down"]);
    assert_eq!(found(by_periods(&quickening)), ["speed-up"]);
    // The same within 2 %: not worth a word.
    let little: Vec<f64> = (0..9).map(|k| 99.2 + 0.2 * f64::from(k)).collect();
    assert_eq!(found(by_periods(&little)), [""; 0]);
}

/// The same 4 %, with edges so uncertain that it may be noise: 3 ms each. With nine periods the slope's
/// weights are (k − 4) / 60, so the openings' are 4/60 at the ends and 1/60 between: u95 = 1.96 × 8 × 3 ×
/// sqrt(2 × 16 + 8) / 60 = 4.96 %.
#[test]
fn a_change_within_its_uncertainty_is_no_finding() {
    let slowing: Vec<f64> = (0..9).map(|k| 98.0 + 0.5 * f64::from(k)).collect();
    assert_eq!(found(with_variance(by_periods(&slowing), 9e-6)), [""; 0]);
}

/// A line through scattered periods slopes by chance: with three periods and one degree of freedom the
/// quantile of t is 12.7, and 100, 97, 104 ms is no proof of slowing.
#[test]
fn scatter_is_not_mistaken_for_slowing() {
    assert_eq!(found(by_periods(&[100.0, 97.0, 104.0])), ["unevenness"]);
}

/// 100, 101, 104 ms: slower by 3.9 %, scatter 0.8 %, standard error of the slow-down by scatter 1.1 %. Two
/// standard errors would call it proof; with one degree of freedom it takes 12.7.
#[test]
fn three_periods_are_little_proof() {
    assert_eq!(found(by_periods(&[100.0, 101.0, 104.0])), [""; 0]);
}

/// Alternately 97 and 103 ms: scatter 3 % and a little more.
#[test]
fn uneven_pulses() {
    let uneven: Vec<f64> = (0..9)
        .map(|k| if k % 2 == 0 { 97.0 } else { 103.0 })
        .collect();
    assert_eq!(found(by_periods(&uneven)), ["two-pulse-pattern"]);
    assert_eq!(found(with_variance(by_periods(&uneven), 1e-6)), [""; 0]);
}

/// A hole explains what would otherwise look like uneven periods.
#[test]
fn a_hole_is_named_once() {
    assert_eq!(
        found(by_periods(&[100.0, 100.0, 200.0, 100.0, 100.0])),
        ["hole"]
    );
}

#[test]
fn chatter_names_the_worst_pulse_and_the_floor() {
    let mut train = even(1.0, 3, 61.0, 39.0);
    train.reversals = vec![
        reopening(&train, 0, 0.3, 0.3),
        reopening(&train, 1, 0.4, 1.8),
    ];
    let finding = scored(vec![train], &Settings::default()).findings.remove(0);
    assert_eq!((finding.code, finding.pulse_index), ("chatter", Some(1)));
    assert_eq!(
        finding.evidence,
        "2 of 3 makes reopen; worst in pulse 2: 2.2 ms from first to last closure, longest reopening 1.8 ms \
         (reopenings under 0.10 ms cannot be told from noise)"
    );
}

#[test]
fn more_than_ten_pulses_are_too_many() {
    assert_eq!(found(even(1.0, 12, 61.0, 39.0)), ["extra-pulses"]);
}

/// Eleven pulses are a fault on most dials and none on one with an eleventh position.
#[test]
fn eleven_pulses_may_be_an_eleventh_position() {
    let scored_by = |plan: Plan, pulses: usize| {
        let settings = Settings {
            plan,
            ..Settings::default()
        };
        scored(vec![even(1.0, pulses, 61.0, 39.0)], &settings)
    };
    let advice = |pulses| scored_by(Plan::Standard, pulses).findings.remove(0).advice;
    assert!(advice(11).contains("--plan eleventh"), "{}", advice(11));
    assert!(!advice(12).contains("--plan eleventh"), "{}", advice(12));
    assert!(scored_by(Plan::Eleventh, 11).findings.is_empty());
}

/// 3, 5 and 7 pulses where 1, 3 and 5 were dialled: two idle pulses of every digit reach the line.
#[test]
fn the_same_surplus_in_every_digit_points_to_the_idle_run() {
    let trains = vec![
        even(1.0, 3, 61.0, 39.0),
        even(3.0, 5, 61.0, 39.0),
        even(5.0, 7, 61.0, 39.0),
    ];
    let settings = |dialled: &str| Settings {
        dialled: Some(dialled.into()),
        ..Settings::default()
    };
    let scored_same = scored(trains.clone(), &settings("135"));
    let expected = ["idle-run-not-bridged"];
    assert_eq!(finding_codes(&scored_same), expected);
    assert_eq!(
        scored_same.findings[0].title,
        "Every digit has 2 extra pulses"
    );
    assert_eq!(
        finding_codes(&scored(trains, &settings("136"))),
        ["extra-pulses", "extra-pulses", "extra-pulses"]
    );
}

/// Several digits, each by the places of its openings in milliseconds from its start, all breaks 61 ms.
fn by_places(digits: &[Vec<f64>]) -> Vec<Train> {
    let digit = |(index, places): (usize, &Vec<f64>)| {
        let mut periods: Vec<f64> = places.windows(2).map(|pair| pair[1] - pair[0]).collect();
        periods.push(100.0);
        let pulses: Vec<(f64, f64)> = periods.iter().map(|period| (61.0, period - 61.0)).collect();
        train(1.0 + 3.0 * index as f64, &pulses)
    };
    digits.iter().enumerate().map(digit).collect()
}

/// Pulses at 100 ms, each moved by what a function of its index and of the number of pulses says, in milliseconds.
fn moved(pulses: usize, by: impl Fn(usize, usize) -> f64) -> Vec<f64> {
    (0..pulses)
        .map(|index| 100.0 * index as f64 + by(index, pulses))
        .collect()
}

/// A little scatter, always the same, so that nothing is exact: within ± 0.2 ms.
fn scatter(index: usize) -> f64 {
    [0.1, -0.2, 0.15, 0.0, -0.1, 0.2, -0.15, 0.05, 0.18, -0.08][index % 10]
}

fn findings_of(digits: &[Vec<f64>]) -> Vec<Finding> {
    scored(by_places(digits), &Settings::default()).findings
}

fn codes(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().map(|finding| finding.code).collect()
}

/// The third pulse from the last comes 5 ms late in digits of 7, 9 and 10 pulses: the wheel. In one digit alone it is
/// a hint.
#[test]
fn a_bad_tooth_is_counted_from_the_last_pulse() {
    let tooth = |index: usize, pulses: usize| {
        scatter(index + pulses) + if index + 3 == pulses { 5.0 } else { 0.0 }
    };
    let findings = findings_of(&[moved(7, tooth), moved(9, tooth), moved(10, tooth)]);
    assert_eq!(codes(&findings), ["bad-tooth"]);
    assert_eq!(
        findings[0].title,
        "One pulse is out of place: the 3rd from the last"
    );
    assert_ne!(findings[0].how_sure, HowSure::Hint);
    assert!(
        findings[0].evidence.contains("opens late by")
            && findings[0].evidence.contains("in 3 digits"),
        "{}",
        findings[0].evidence
    );
    let alone = findings_of(&[moved(10, tooth)]);
    assert_eq!(
        (codes(&alone), alone[0].how_sure),
        (vec!["bad-tooth"], HowSure::Hint)
    );
    // The same place from the start is no wheel: each digit's is another tooth.
    let from_start =
        |index: usize, pulses: usize| scatter(index + pulses) + if index == 2 { 5.0 } else { 0.0 };
    let findings = findings_of(&[
        moved(7, from_start),
        moved(9, from_start),
        moved(10, from_start),
    ]);
    assert!(
        findings
            .iter()
            .all(|finding| finding.how_sure != HowSure::Shown || finding.code != "bad-tooth"),
        "{findings:?}"
    );
}

/// A swing of 4 ms once in 3.3 pulses.
#[test]
fn a_ripple_is_found_with_its_length() {
    let swing = |index: usize, pulses: usize| {
        scatter(index + pulses) + 4.0 * (std::f64::consts::TAU * index as f64 / 3.3).sin()
    };
    let findings = findings_of(&[moved(10, swing), moved(9, swing)]);
    assert_eq!(codes(&findings), ["governor-ripple"]);
    assert!(
        findings[0].evidence.contains("once in 3.3 pulses"),
        "{}",
        findings[0].evidence
    );
}

/// The first period 8 ms longer; normal where the idle run is at the end.
#[test]
fn a_long_first_period_is_normal_with_the_idle_run_at_the_end() {
    let late =
        |index: usize, pulses: usize| scatter(index + pulses) + if index > 0 { 8.0 } else { 0.0 };
    let digits = [moved(8, late), moved(10, late)];
    assert_eq!(codes(&findings_of(&digits)), ["first-period-long"]);
    let settings = Settings {
        idle_run: Some(score::IdleRun::End),
        ..Settings::default()
    };
    assert_eq!(
        finding_codes(&scored(by_places(&digits), &settings)),
        [""; 0]
    );
}

/// 4 % of scatter without a pattern, drawn once by a dice.
#[test]
fn scatter_without_a_pattern_is_jitter() {
    let thrown = [
        3.1, -4.4, 1.0, 5.2, -2.7, -0.4, 4.0, -5.1, 2.2, -1.9, 0.6, -3.3, 4.7, 1.4, -2.1, 3.8,
    ];
    let thrown = |index: usize, pulses: usize| thrown[(7 * index + 3 * pulses) % 16];
    assert_eq!(
        codes(&findings_of(&[moved(10, thrown), moved(9, thrown)])),
        ["unevenness"]
    );
}

/// Slow by 4.1 % against 9.5-10.5 pps is 9.59 pps, inside; 9.2 pps is 8 % below the middle. A perfect recorder: the
/// change that passes runs from 0.3 to 1.3 pps, and 0.8 pps reach the middle.
#[test]
fn how_much_to_change_a_speed() {
    let findings = scored(
        vec![common::dial(10, 9.2, 62.0)],
        &common::by("us-1956-later"),
    )
    .findings;
    assert_eq!(codes(&findings), ["slow"]);
    let how_much = findings[0].how_much.unwrap();
    let figures = [
        how_much.middle,
        how_much.change,
        how_much.least,
        how_much.most,
    ]
    .map(Option::unwrap);
    for (found, expected) in figures.into_iter().zip([10.0, 0.8, 0.3, 1.3]) {
        assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
    }
    assert!(
        findings[0].evidence.contains("8.0 % below the middle"),
        "{}",
        findings[0].evidence
    );
    assert!(
        findings[0].advice.starts_with("raise it by 0.80 pps to reach the middle of the limits; from +0.30 to +1.3 pps passes; "),
        "{}",
        findings[0].advice
    );
}

/// 58 % against 60-64 % is 4 points below the middle, which is 6.5 % of it: the two must not be mixed up.
#[test]
fn a_difference_of_percentages_is_in_points() {
    let findings = scored(
        vec![common::dial(10, 10.0, 58.0)],
        &common::by("us-1956-later"),
    )
    .findings;
    let finding = &findings[0];
    assert_eq!(finding.code, "percent-break-low");
    assert!(
        finding.evidence.ends_with(", 4.0 points below the middle"),
        "{}",
        finding.evidence
    );
    assert!(
        finding.advice.starts_with("raise it by 4.0 points to reach the middle of the limits; from +2.0 to +6.0 points passes; "),
        "{}",
        finding.advice
    );
}

/// A ratio stays a ratio, a period a period, and milliseconds stay milliseconds.
#[test]
fn how_much_is_said_in_the_kind_of_the_limit() {
    let quantities = |set: &str, pps: f64, percent: f64| -> Vec<(&'static str, &'static str)> {
        let findings = scored(vec![common::dial(10, pps, percent)], &common::by(set)).findings;
        findings
            .iter()
            .map(|finding| (finding.code, finding.how_much.unwrap().quantity))
            .collect()
    };
    assert_eq!(quantities("de-1.6", 8.5, 62.0), [("slow", "period_ms")]);
    assert_eq!(
        quantities("de-1.6", 10.0, 68.0),
        [("percent-break-high", "break_make_ratio")]
    );
    assert_eq!(
        quantities("jp-10", 10.0, 72.0),
        [("percent-break-high", "percent_break")]
    );
    assert_eq!(
        quantities("us-1956-later", 10.8, 58.0),
        [
            ("fast", "speed_pps"),
            ("percent-break-low", "percent_break")
        ]
    );
    assert_eq!(
        quantities("au-s002", 9.0, 63.0),
        [("make-length", "make_ms")]
    );
    assert_eq!(
        quantities("au-s002", 8.5, 64.0),
        [("break-length", "break_ms"), ("make-length", "make_ms")]
    );
    // Grade C is for information: nothing to adjust by.
    assert_eq!(quantities("ussr-gost", 7.0, 62.0), []);
}

/// Nothing passes for sure when the guard band is wider than the tolerance: then no range is given.
#[test]
fn no_range_is_promised_that_the_uncertainty_does_not_allow() {
    let noisy = with_variance(common::dial(3, 9.0, 62.0), 400e-6);
    let findings = scored(vec![noisy], &common::by("us-1956-later")).findings;
    let slow = findings
        .iter()
        .find(|finding| finding.code == "slow")
        .unwrap();
    let how_much = slow.how_much.unwrap();
    assert_eq!((how_much.least, how_much.most), (None, None));
    assert!(
        slow.advice.contains("record better first"),
        "{}",
        slow.advice
    );
}

/// One pulse less in every digit; by the plan `reversed` nothing fits, so it is the dial.
#[test]
fn one_pulse_less_in_every_digit_is_a_lost_first_pulse() {
    let dialled = |pulses: [usize; 3], dialled: &str| {
        let digit =
            |(index, pulses): (usize, usize)| even(1.0 + 2.0 * index as f64, pulses, 61.0, 39.0);
        let settings = Settings {
            dialled: Some(dialled.into()),
            ..Settings::default()
        };
        finding_codes(&scored(
            pulses.into_iter().enumerate().map(digit).collect(),
            &settings,
        ))
    };
    assert_eq!(dialled([3, 5, 7], "468"), ["first-pulse-lost"]);
    // 7, 5, 3 where 3, 5, 7 was dialled: the plan reversed sends that. 4, 6, 8: zero-first.
    assert_eq!(dialled([7, 5, 3], "357"), ["other-plan"]);
    assert_eq!(dialled([4, 6, 8], "357"), ["other-plan"]);
}

/// Steps of the openings that fall from 1 to 0.88 between the second pulse and the last.
fn sagging() -> Train {
    let mut train = even(1.0, 10, 61.0, 39.0);
    for (index, edge) in train.edges.iter_mut().step_by(2).enumerate() {
        let share = (index.max(1) - 1) as f64 / 8.0;
        edge.level_before = 0.5 - 0.12 * share + 0.001 * scatter(index);
    }
    train
}

#[test]
fn a_sagging_make_level_is_found_unless_the_recording_is_cut_off() {
    let found = scored(vec![sagging()], &Settings::default()).findings;
    assert_eq!(codes(&found), ["make-level-sags"]);
    assert!(
        found[0].evidence.contains("falls by 1"),
        "{}",
        found[0].evidence
    );
    let mut cut_off = common::trace(vec![sagging()]);
    cut_off.clipped = 40;
    // Direct, the cut is always at the same level.
    assert_eq!(
        codes(&score::score(&cut_off, &Settings::default()).findings),
        ["make-level-sags"]
    );
    cut_off.trains[0].coupling_hz = Some(5.0);
    assert_eq!(score::score(&cut_off, &Settings::default()).findings, []);
}

/// Two openings 0.3 s before a digit, off-normal contacts operating before them and restoring after the digit.
fn winding_pulses() -> Vec<Train> {
    let step = |instant_s: f64, relative: f64| edges::LevelStep {
        instant_s,
        relative,
        snr: 50.0,
    };
    let mut before = train(1.0, &[(40.0, 60.0), (50.0, 0.0)]);
    before.level_steps = vec![step(0.8, 0.15)];
    let mut digit = even(1.45, 5, 61.0, 39.0);
    digit.level_steps = vec![step(2.0, -0.15)];
    vec![before, digit]
}

#[test]
fn pulses_while_winding_need_the_steps_of_the_off_normal_contacts() {
    assert_eq!(
        finding_codes(&scored(winding_pulses(), &Settings::default())),
        ["pulses-while-winding"]
    );
    let mut restored = winding_pulses();
    restored[0].level_steps.push(edges::LevelStep {
        instant_s: 1.25,
        relative: -0.15,
        snr: 50.0,
    });
    assert_eq!(
        finding_codes(&scored(restored, &Settings::default())),
        [""; 0]
    );
    // Without a step anywhere, or with a rest that a hand needs to wind again, nothing tells them from a digit.
    let mut silent = winding_pulses();
    silent[1].level_steps.clear();
    assert_eq!(
        finding_codes(&scored(silent, &Settings::default())),
        [""; 0]
    );
    let mut later = winding_pulses();
    later[1] = even(1.75, 5, 61.0, 39.0);
    later[1].level_steps = vec![edges::LevelStep {
        instant_s: 2.3,
        relative: -0.15,
        snr: 50.0,
    }];
    assert_eq!(finding_codes(&scored(later, &Settings::default())), [""; 0]);
}

/// 91 ms from the last make, which is at 1.961 s.
fn short_lost_motion() -> Train {
    let mut train = even(1.0, 10, 61.0, 39.0);
    train.level_steps = vec![edges::LevelStep {
        instant_s: 2.052,
        relative: -0.15,
        snr: 50.0,
    }];
    train
}

#[test]
fn a_short_lost_motion_is_a_finding_only_of_a_dial_that_idles_at_the_end() {
    let with = |idle_run| {
        let settings = Settings {
            idle_run,
            ..Settings::default()
        };
        finding_codes(&scored(vec![short_lost_motion()], &settings))
    };
    assert_eq!(with(None), [""; 0]);
    assert_eq!(with(Some(score::IdleRun::Start)), [""; 0]);
    assert_eq!(with(Some(score::IdleRun::End)), ["lost-motion-short"]);
}

/// A snippet of the loop at 12 kHz: 1 closed, 0 open, with a tone in the makes, in the breaks, or in both.
fn heard(in_makes: f32, in_breaks: f32) -> Train {
    let mut train = even(1.0, 10, 61.0, 39.0);
    let open = |at_s: f64| {
        train
            .edges
            .chunks(2)
            .any(|pair| at_s >= pair[0].instant_s && at_s < pair[1].instant_s)
    };
    let sample = |index: usize| {
        let at_s = 0.88 + index as f64 / 12_000.0;
        let tone = (std::f64::consts::TAU * 437.0 * at_s).sin() as f32;
        if open(at_s) {
            in_breaks * tone
        } else {
            1.0 + in_makes * tone
        }
    };
    let samples = (0..16_000).map(sample).collect();
    train.snippet = edges::Snippet {
        start_s: 0.88,
        rate_hz: 12_000.0,
        samples,
    };
    train
}

#[test]
fn sound_in_the_makes_alone_comes_through_the_contacts() {
    let found = |makes, breaks| found(heard(makes, breaks));
    assert_eq!(found(0.05, 0.002), ["off-normal-not-shorting"]);
    assert_eq!(found(0.05, 0.05), [""; 0]);
    assert_eq!(found(0.01, 0.0), [""; 0]);
    assert_eq!(found(0.0, 0.05), [""; 0]);
}

/// A train of which a transition is unexplained at `at_s`, where the contact is in the other state for a while: 1 closed, 0
/// open, at 12 kHz, behind a first-order high-pass of 8 Hz.
fn unexplained(pulses: &[(f64, f64)], at_s: f64, other_s: std::ops::Range<f64>) -> Train {
    let mut train = train(1.0, pulses);
    let edges = train.edges.clone();
    let open = |at_s: f64| {
        let pairs = edges.chunks(2);
        let mut breaks = pairs.map(|pair| pair[0].instant_s..pair[1].instant_s);
        breaks.any(|span| span.contains(&at_s)) != other_s.contains(&at_s)
    };
    let kept = (-std::f64::consts::TAU * 8.0 / 12_000.0).exp();
    let (mut level, mut before) = (0.0, 1.0);
    let samples = (0..16_000).map(|index| {
        let state = if open(0.88 + f64::from(index) / 12_000.0) {
            0.0
        } else {
            1.0
        };
        level = kept * (level + state - before);
        before = state;
        level as f32
    });
    train.snippet = edges::Snippet {
        start_s: 0.88,
        rate_hz: 12_000.0,
        samples: samples.collect(),
    };
    train.doubts = vec![edges::Doubt::UnexplainedEdge(at_s)];
    train
}

/// The length that is told, in milliseconds: within a sample of the snippet, 0.083 ms, at either end.
fn is_told(evidence: &str, words: &str, length_ms: f64, at: &str) {
    let after = evidence.split(words).nth(1).unwrap_or_default();
    let told: f64 = after.split(' ').next().unwrap_or_default().parse().unwrap();
    assert!((told - length_ms).abs() < 0.17, "{evidence}");
    assert!(evidence.contains(at), "{evidence}");
}

/// Breaks of 61 ms from 1.0 s, every 100 ms: what the detector could only point at is told from the trace, whichever of
/// its two ends it points at; a click, a long closure and nothing at all are not.
#[test]
fn an_unexplained_transition_is_told_from_the_trace() {
    let even = [(61.0, 39.0); 6];
    let told = |at_s: f64, other_s: std::ops::Range<f64>| {
        let train = unexplained(&even, at_s, other_s);
        let scored = scored(vec![train], &Settings::default());
        assert!(!scored.digits[0].sure);
        let evidence = scored.findings.iter().map(|finding| &finding.evidence);
        let doubt = scored.digits[0].doubt.clone().unwrap();
        (
            finding_codes(&scored),
            evidence.cloned().collect::<String>(),
            doubt,
        )
    };
    for at_s in [1.220, 1.229] {
        let (codes, evidence, doubt) = told(at_s, 1.220..1.229);
        assert_eq!(codes, ["split-break"]);
        is_told(&evidence, "closes for ", 9.0, "at 1.220 s");
        // Said once.
        assert!(
            doubt.contains("split") && !doubt.contains("click"),
            "{doubt}"
        );
    }
    for at_s in [1.369, 1.373] {
        let (codes, evidence, _) = told(at_s, 1.369..1.373);
        assert_eq!(codes, ["late-reopening"]);
        is_told(&evidence, "opens again for ", 4.0, "at 1.369 s");
    }
    for (at_s, other_s) in [
        (1.370, 1.370..1.3705),
        (1.210, 1.210..1.228),
        (1.240, 1.9..1.91),
    ] {
        let (codes, _, doubt) = told(at_s, other_s.clone());
        assert_eq!(codes, [""; 0], "{other_s:?}");
        assert!(doubt.contains("click"), "{doubt}");
    }
}

/// The detector took the last of two closings: of the break of 73 ms the first 62 were open, then 7 closed and 4 open.
#[test]
fn a_closing_that_was_taken_too_late_is_a_reopening() {
    let train = unexplained(
        &[(61.0, 39.0), (73.0, 27.0), (61.0, 39.0), (61.0, 39.0)],
        1.162,
        1.162..1.169,
    );
    let scored = scored(vec![train], &Settings::default());
    assert_eq!(finding_codes(&scored), ["late-reopening"]);
    let evidence = &scored.findings[0].evidence;
    is_told(evidence, "opens again for ", 4.0, "at 1.169 s");
}

/// No finding tells which way to bend a spring, each says where it comes from, and every code can be made.
#[test]
fn findings_name_their_basis_and_never_a_bending_direction() {
    let mut chattering = even(1.0, 12, 61.0, 39.0);
    chattering.reversals = vec![reopening(&chattering, 0, 0.3, 2.3)];
    let slowing: Vec<f64> = (0..9).map(|k| 98.0 + 0.5 * f64::from(k)).collect();
    let quickening: Vec<f64> = slowing.iter().rev().copied().collect();
    let uneven: Vec<f64> = (0..9)
        .map(|k| if k % 2 == 0 { 97.0 } else { 103.0 })
        .collect();
    let trains = vec![
        chattering,
        by_periods(&slowing),
        by_periods(&quickening),
        by_periods(&uneven),
        by_periods(&[100.0, 97.0, 104.0]),
        by_periods(&[100.0, 200.0, 100.0]),
        train(1.0, &[(61.0, 39.0), (25.0, 5.0), (31.0, 39.0), (61.0, 0.0)]),
        train(1.0, &[(61.0, 39.0), (61.0, 10.0), (6.0, 23.0), (61.0, 0.0)]),
        sagging(),
        heard(0.05, 0.0),
        short_lost_motion(),
    ];
    let dialled = |pulses: [u8; 2], dialled: &str| {
        let digit = |(index, pulses): (usize, u8)| {
            even(1.0 + 2.0 * index as f64, usize::from(pulses), 61.0, 39.0)
        };
        let settings = Settings {
            dialled: Some(dialled.into()),
            ..Settings::default()
        };
        let trains = pulses.into_iter().enumerate().map(digit).collect();
        scored(trains, &settings).findings
    };
    let at_end = Settings {
        idle_run: Some(score::IdleRun::End),
        ..Settings::default()
    };
    let judged = |set: &str, pps: f64, percent: f64| {
        scored(vec![common::dial(10, pps, percent)], &common::by(set)).findings
    };
    let first_long =
        |index: usize, pulses: usize| scatter(index + pulses) + if index > 0 { 8.0 } else { 0.0 };
    let tooth =
        |index: usize, pulses: usize| scatter(index) + if index + 3 == pulses { 5.0 } else { 0.0 };
    let swing =
        |index: usize, _| scatter(index) + 4.0 * (index as f64 * std::f64::consts::TAU / 3.3).sin();
    let findings: Vec<Finding> = trains
        .into_iter()
        .flat_map(|train| scored(vec![train], &at_end).findings)
        .chain(findings_of(&[moved(10, first_long)]))
        .chain(findings_of(&[moved(10, tooth)]))
        .chain(findings_of(&[moved(10, swing)]))
        .chain(scored(winding_pulses(), &Settings::default()).findings)
        .chain(dialled([5, 7], "35"))
        .chain(dialled([3, 5], "46"))
        .chain(dialled([3, 4], "56"))
        .chain(dialled([7, 5], "35"))
        .chain(judged("us-1956-later", 9.0, 70.0))
        .chain(judged("us-1956-later", 11.0, 55.0))
        .chain(judged("au-s002", 8.5, 64.0))
        .collect();
    let mut codes = codes(&findings);
    codes.sort_unstable();
    codes.dedup();
    assert_eq!(codes, score::FINDING_CODES);
    for finding in findings {
        let text = format!(
            "{} {} {}",
            finding.title, finding.likely_cause, finding.advice
        );
        // A bent part may be a cause; to bend one is never an advice.
        assert!(!finding.advice.contains("bend"), "{text}");
        assert!(
            !finding.basis.is_empty() && !finding.evidence.is_empty(),
            "{}",
            finding.code
        );
    }
}

/// A dial at 9.4 pps against 9.5-10.5 pps: fail when the recording is clean, conditional when it is so noisy that the
/// limit lies within the uncertainty, as it should. u95 = 1.96 f / D sqrt(2) s, with D = 9 / f: 2.895 s² /(s pps) × s,
/// so an edge of 1 ms gives 0.027 pps, one of 5 ms 0.136 pps.
#[test]
fn a_fail_becomes_conditional_when_the_recording_gets_noisier() {
    let verdict = |edge_s: f64| {
        let train = with_variance(common::dial(10, 9.4, 62.0), edge_s * edge_s);
        let scored = scored(vec![train], &common::by("us-1956-later"));
        scored
            .checks
            .into_iter()
            .find(|check| check.quantity == "speed_pps")
            .unwrap()
            .verdict
    };
    assert_eq!(verdict(0.001), score::Verdict::Fail);
    assert_eq!(verdict(0.005), score::Verdict::ConditionalFail);
}
