//! Every published limit, at and around it. The recorder is perfect here (no uncertainty, no clock error),
//! so a value on a limit passes: limits belong to the tolerance.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use common::{by, dial, even, reopening, scored, train, verdict};
use score::limits::{Range, all, find};
use score::{Settings, Verdict};

const SETS: [&str; 7] = [
    "us-1956-later",
    "us-1956-earlier",
    "uk-gpo-dial",
    "de-1.6",
    "jp-10",
    "au-s002",
    "fi-rx",
];

fn passes(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Pass | Verdict::ConditionalPass)
}

/// Speed and percent break just within and just outside a set: pass, or fail.
fn assert_corners(corners: &[(&str, f64, f64, bool)]) {
    for &(set, pps, percent, within) in corners {
        let expected = if within { Verdict::Pass } else { Verdict::Fail };
        assert_eq!(
            verdict(dial(10, pps, percent), &by(set)),
            expected,
            "{set} at {pps} pps, {percent} %"
        );
    }
}

/// Nominal dials against every set: speed, break and make in ms, then P or F in the order of [`SETS`].
/// `fi-rx` only informs: P is inside.
/// Worked by hand from the limits: the 1.6 and the 2.0 ratio families fail each other's healthy dials.
#[test]
fn nominal_dials() {
    let rows = [
        ("US later", 62.0, 38.0, "PPFPPPP"),
        ("German or Dutch", 61.5, 38.5, "PPFPPPP"),
        ("60/40", 60.0, 40.0, "PPFPPPP"),
        // Exactly two thirds: 66.67 % is above 64 and within 59.5-67.5; ratio 2.0 is above 1.9.
        ("UK or French", 200.0 / 3.0, 100.0 / 3.0, "FPPFPPP"),
        // 9 pps, 70 %: period 111.1 ms, break 77.8 ms.
        ("UK slow corner", 700.0 / 9.0, 300.0 / 9.0, "FFPFPFP"),
        // 11 pps, 63 %: period 90.9 ms, ratio 1.703, break 57.3 ms.
        ("UK fast corner", 630.0 / 11.0, 370.0 / 11.0, "FFPPPFP"),
    ];
    for (dial, break_ms, make_ms, expected) in rows {
        for (set, expected) in SETS.iter().zip(expected.chars()) {
            let scored = scored(vec![even(1.0, 10, break_ms, make_ms)], &by(set));
            let inside = passes(scored.verdict) || lies_inside(&scored);
            assert_eq!(
                inside,
                expected == 'P',
                "{dial} by {set}: {:?}",
                scored.verdict
            );
            let judges = find(set).unwrap().grade.judges();
            assert_eq!(
                scored.verdict != Verdict::NotJudged,
                judges,
                "{dial} by {set}"
            );
        }
    }
}

/// Corners of the rate and percent sets: set, pps, percent break, within or not.
#[test]
fn rate_and_percent_corners() {
    let corners = [
        // Notes on Distance Dialing 1956, Sect. IV Table 1, later dial: 9.5-10.5 pps, 60-64 %.
        ("us-1956-later", 9.5, 60.0, true),
        ("us-1956-later", 10.5, 64.0, true),
        ("us-1956-later", 9.49, 60.0, false),
        ("us-1956-later", 10.51, 62.0, false),
        ("us-1956-later", 10.5, 64.1, false),
        ("us-1956-later", 10.0, 59.9, false),
        // The same table, earlier dial: 8.5-10.5 pps, 59.5-67.5 %.
        ("us-1956-earlier", 8.5, 59.5, true),
        ("us-1956-earlier", 10.5, 67.5, true),
        ("us-1956-earlier", 8.49, 62.0, false),
        ("us-1956-earlier", 10.51, 62.0, false),
        ("us-1956-earlier", 10.0, 59.4, false),
        ("us-1956-earlier", 10.0, 67.6, false),
        // Teaching notes "Pulsing", dial limits: 9-11 pps, 63-70 %.
        ("uk-gpo-dial", 9.0, 63.0, true),
        ("uk-gpo-dial", 11.0, 70.0, true),
        ("uk-gpo-dial", 8.99, 66.0, false),
        ("uk-gpo-dial", 11.01, 66.0, false),
        ("uk-gpo-dial", 10.0, 62.9, false),
        ("uk-gpo-dial", 10.0, 70.1, false),
        // MPT Ordinance 30 (1985) Art. 30(2)(ii), Annexed Table 1: 10 +- 1.0 pps, percent make 30-42.
        ("jp-10", 9.0, 58.0, true),
        ("jp-10", 11.0, 70.0, true),
        ("jp-10", 8.99, 62.0, false),
        ("jp-10", 11.01, 62.0, false),
        ("jp-10", 10.0, 57.9, false),
        ("jp-10", 10.0, 70.1, false),
    ];
    assert_corners(&corners);
}

/// German postal text and dictionary entry: period 90-110 ms, break to make 1.3-1.9.
#[test]
fn ratio_and_period_corners() {
    let corners = [
        (90.0, 1.3, true),
        (110.0, 1.9, true),
        (110.0, 1.3, true),
        (110.1, 1.9, false),
        (89.9, 1.6, false),
        (100.0, 1.29, false),
        (100.0, 1.91, false),
    ];
    for (period_ms, ratio, within) in corners {
        let break_ms = period_ms * ratio / (1.0 + ratio);
        let expected = if within { Verdict::Pass } else { Verdict::Fail };
        let verdict = verdict(even(1.0, 10, break_ms, period_ms - break_ms), &by("de-1.6"));
        assert_eq!(verdict, expected, "period {period_ms} ms, ratio {ratio}");
    }
}

/// AS/CA S002:2010 cl. 5.5.1.8(a)(i)-(ii): every break 60-70 ms, every make 30-40 ms, both included.
#[test]
fn millisecond_corners() {
    let corners = [
        (60.0, 30.0, true),
        (60.0, 40.0, true),
        (70.0, 30.0, true),
        (70.0, 40.0, true),
        (59.9, 35.0, false),
        (70.1, 35.0, false),
        (65.0, 29.9, false),
        (65.0, 40.1, false),
    ];
    for (break_ms, make_ms, within) in corners {
        let expected = if within { Verdict::Pass } else { Verdict::Fail };
        let verdict = verdict(even(1.0, 10, break_ms, make_ms), &by("au-s002"));
        assert_eq!(verdict, expected, "{break_ms}/{make_ms} ms");
    }
}

/// 9.0 pps at 63 %: break 70.0 ms, make 41.1 ms. The rate set passes it, the millisecond set does not.
#[test]
fn kinds_of_limit_are_not_converted() {
    assert_eq!(verdict(dial(10, 9.0, 63.0), &by("jp-10")), Verdict::Pass);
    let scored = scored(vec![dial(10, 9.0, 63.0)], &by("au-s002"));
    assert_eq!(scored.verdict, Verdict::Fail);
    let word = |quantity| {
        scored
            .checks
            .iter()
            .find(|check| check.quantity == quantity)
            .unwrap()
            .verdict
    };
    assert_eq!(
        (word("break_ms"), word("make_ms")),
        (Verdict::Pass, Verdict::Fail)
    );
    let quantities: Vec<_> = scored.checks.iter().map(|check| check.quantity).collect();
    assert_eq!(quantities, ["break_ms", "make_ms", "bounce_ms"]);
}

/// The last break is judged, the last make is not: it merges into the pause.
#[test]
fn millisecond_limits_hold_for_every_break_and_name_the_worst() {
    let pulses = [(65.0, 35.0), (71.0, 35.0), (65.0, 42.0), (72.0, 1000.0)];
    let scored = scored(vec![train(1.0, &pulses)], &by("au-s002"));
    let worst = |quantity| {
        scored
            .checks
            .iter()
            .find(|check| check.quantity == quantity)
            .unwrap()
    };
    assert_eq!(worst("break_ms").pulse_index, Some(3));
    assert_eq!(worst("make_ms").pulse_index, Some(2));
    assert_eq!(
        worst("break_ms").source,
        "AS/CA S002:2010, cl. 5.5.1.8(a)(i), 2010"
    );
}

/// AS/CA S002:2010 cl. 5.5.1.8(a)(iii): contact bounce at most 0.5 ms; judged from four times the floor.
#[test]
fn bounce_corners() {
    // Reopening from 0.1 ms for the rest: bounce, chatter floor, word.
    let cases = [
        (0.3, 0.1, Verdict::Pass),
        (0.45, 0.1, Verdict::ConditionalPass),
        (0.55, 0.1, Verdict::ConditionalFail),
        (0.7, 0.1, Verdict::Fail),
        (0.5, 0.0, Verdict::Pass),
        (0.501, 0.0, Verdict::Fail),
        // 4 x 0.125 = 0.5: just judged. 4 x 0.126 > 0.5: not.
        (0.3, 0.125, Verdict::Pass),
        (0.3, 0.126, Verdict::NotJudged),
        (3.0, 0.126, Verdict::NotJudged),
    ];
    for (bounce_ms, floor_ms, expected) in cases {
        let mut train = even(1.0, 5, 65.0, 35.0);
        train.chatter_floor_s = floor_ms / 1000.0;
        train.reversals = vec![reopening(&train, 2, 0.1, bounce_ms - 0.1)];
        let scored = scored(vec![train], &by("au-s002"));
        let check = scored
            .checks
            .iter()
            .find(|check| check.quantity == "bounce_ms")
            .unwrap();
        assert_eq!(
            check.verdict, expected,
            "{bounce_ms} ms with a floor of {floor_ms} ms"
        );
        assert_eq!(check.undecidable, expected == Verdict::NotJudged);
        assert_eq!(scored.verdict, expected);
    }
}

/// AS/CA S002:2010 cl. 5.5.1.8(c): pause 750 ms to 3 s; MPT Ordinance 30, Annexed Table 1: at least 600 ms.
#[test]
fn pauses_are_judged_only_on_request() {
    let cases = [
        ("jp-10", 600.0, true),
        ("jp-10", 599.0, false),
        ("jp-10", 9000.0, true),
        ("au-s002", 750.0, true),
        ("au-s002", 749.0, false),
        ("au-s002", 3000.0, true),
        ("au-s002", 3001.0, false),
    ];
    for (set, pause_ms, within) in cases {
        // The first digit's last break ends at 1.465 s.
        let trains = vec![
            even(1.0, 5, 65.0, 35.0),
            even(1.465 + pause_ms / 1000.0, 5, 65.0, 35.0),
        ];
        assert_eq!(
            scored(trains.clone(), &by(set)).verdict,
            Verdict::Pass,
            "{set}: not asked"
        );
        let asked = scored(
            trains,
            &Settings {
                judge_pauses: true,
                ..by(set)
            },
        );
        let expected = if within { Verdict::Pass } else { Verdict::Fail };
        assert_eq!(asked.verdict, expected, "{set} at {pause_ms} ms");
        let check = asked
            .checks
            .iter()
            .find(|check| check.quantity == "pause_before_ms")
            .unwrap();
        assert_eq!(check.digit_index, 1);
    }
}

/// The table as it is printed: name, grade, set-to, document and year.
#[test]
fn every_set_names_its_source() {
    let expected = [
        ("jp-10", "A", false, "MPT Ordinance 30", "1985"),
        ("jp-20", "A", false, "MPT Ordinance 30", "1985"),
        ("au-s002", "A", false, "AS/CA S002:2010", "2010"),
        (
            "us-1956-later",
            "A-",
            true,
            "Notes on Distance Dialing",
            "1956",
        ),
        (
            "us-1956-earlier",
            "A-",
            true,
            "Notes on Distance Dialing",
            "1956",
        ),
        ("uk-gpo-dial", "B+", false, "Pulsing", "not stated"),
        ("de-1.6", "B+", false, "German", "not stated"),
        ("nl-1.6", "B-", false, "Dutch", "not stated"),
        (
            "us-interdigit-step",
            "A-",
            false,
            "Notes on Distance Dialing",
            "1956",
        ),
        (
            "us-interdigit-common",
            "A-",
            false,
            "Notes on Distance Dialing",
            "1956",
        ),
        ("uk-gpo-exchange", "B", false, "Pulsing", "not stated"),
        ("us-switch-1924", "B", false, "Automatic Telephony", "1924"),
        ("us-switch", "B-", false, "Specification 4566", "1926"),
        ("fi-rx", "C+", false, "country table", "not stated"),
        ("ussr-gost", "C", false, "GOST 23595-79", "1979"),
        ("cis-training", "C", false, "student text", "not stated"),
    ];
    let names: Vec<_> = all().iter().map(|set| set.name.as_ref()).collect();
    assert_eq!(names, expected.map(|row| row.0));
    for (name, grade, set_to_only, document, year) in expected {
        let set = find(name).unwrap();
        assert_eq!(
            (set.grade.name(), set.set_to_only),
            (grade, set_to_only),
            "{name}"
        );
        assert!(
            set.document.contains(document) && set.year.contains(year),
            "{name}"
        );
        assert!(
            !set.evidence.is_empty() && !set.clause.is_empty() && !set.scopes.is_empty(),
            "{name}"
        );
    }
    // Nominal figures without a tolerance are no set.
    assert_eq!(find("fr-nominal"), None);
}

/// Corners of the other sets: set, pps, percent break, within or not.
#[test]
fn corners_of_the_other_sets() {
    let corners = [
        // The same Annexed Table 1, 20 pps class: 20 +- 1.6 pps, percent make 30-36.
        ("jp-20", 18.4, 64.0, true),
        ("jp-20", 21.6, 70.0, true),
        ("jp-20", 18.39, 66.0, false),
        ("jp-20", 21.61, 66.0, false),
        ("jp-20", 20.0, 63.9, false),
        ("jp-20", 20.0, 70.1, false),
        // Teaching notes "Pulsing", the exchange: 7-12 pps, 63-70 %.
        ("uk-gpo-exchange", 7.0, 63.0, true),
        ("uk-gpo-exchange", 12.0, 70.0, true),
        ("uk-gpo-exchange", 6.99, 66.0, false),
        ("uk-gpo-exchange", 12.01, 66.0, false),
        ("uk-gpo-exchange", 10.0, 62.9, false),
        ("uk-gpo-exchange", 10.0, 70.1, false),
        // Principles of Automatic Telephony 1924: 8-12 pps. AT&T Specification 4566: 8-11 pps.
        ("us-switch-1924", 8.0, 50.0, true),
        ("us-switch-1924", 12.0, 75.0, true),
        ("us-switch-1924", 7.99, 62.0, false),
        ("us-switch-1924", 12.01, 62.0, false),
        ("us-switch", 8.0, 62.0, true),
        ("us-switch", 11.0, 62.0, true),
        ("us-switch", 7.99, 62.0, false),
        ("us-switch", 11.01, 62.0, false),
        // Dutch text: ratio 1.3-1.9 at any speed. 1.3 is 56.5217 %, 1.9 is 65.5172 %.
        ("nl-1.6", 7.0, 56.53, true),
        ("nl-1.6", 13.0, 65.51, true),
        ("nl-1.6", 10.0, 56.51, false),
        ("nl-1.6", 10.0, 65.53, false),
    ];
    assert_corners(&corners);
}

/// Grade C and C+ say where a value lies and judge nothing. Break and make in ms, inside or not.
#[test]
fn sets_for_information_give_no_verdict() {
    let rows = [
        ("fi-rx", 47.0, 30.0, true),
        ("fi-rx", 80.0, 55.0, true),
        ("fi-rx", 46.9, 40.0, false),
        ("fi-rx", 80.1, 40.0, false),
        ("fi-rx", 60.0, 29.9, false),
        ("fi-rx", 60.0, 55.1, false),
        ("ussr-gost", 39.0, 30.0, true),
        ("ussr-gost", 75.0, 50.0, true),
        ("ussr-gost", 38.9, 40.0, false),
        ("ussr-gost", 75.1, 40.0, false),
        ("cis-training", 60.0, 40.0, true),
        ("cis-training", 70.0, 46.0, true),
        ("cis-training", 70.1, 46.0, false),
        // 53/39 ms is within both millisecond limits, and ratio 1.36 is below 1.4.
        ("cis-training", 53.0, 39.0, false),
    ];
    for (set, break_ms, make_ms, inside) in rows {
        let scored = scored(vec![even(1.0, 10, break_ms, make_ms)], &by(set));
        assert_eq!(scored.verdict, Verdict::NotJudged);
        assert_eq!(
            lies_inside(&scored),
            inside,
            "{set} at {break_ms}/{make_ms} ms"
        );
        assert!(
            scored
                .warnings
                .iter()
                .any(|caution| caution.code == "for-information")
        );
        assert!(
            scored
                .checks
                .iter()
                .all(|check| check.conformance_probability.is_none())
        );
    }
}

fn lies_inside(scored: &score::Scored) -> bool {
    let inside = "for information, the value lies inside";
    !scored.checks.is_empty()
        && scored
            .checks
            .iter()
            .all(|check| check.why_not_judged.as_deref() == Some(inside))
}

/// A set that limits only pauses says how to have them judged.
#[test]
fn pause_sets_judge_pauses_only() {
    // The first digit's last break ends at 1.465 s; the pause is 0.45 s.
    let trains = || vec![even(1.0, 5, 65.0, 35.0), even(1.915, 5, 65.0, 35.0)];
    let unasked = scored(trains(), &by("us-interdigit-step"));
    assert_eq!(unasked.verdict, Verdict::NotJudged);
    assert!(
        unasked.reasons[0].text.contains("--judge-pauses"),
        "{:?}",
        unasked.reasons
    );
    for (set, expected) in [
        ("us-interdigit-step", Verdict::Fail),
        ("us-interdigit-common", Verdict::Pass),
    ] {
        let settings = Settings {
            judge_pauses: true,
            ..by(set)
        };
        assert_eq!(scored(trains(), &settings).verdict, expected, "{set}");
    }
}

/// With none chosen, the 20 pps class is offered to a fast dial only; sets for receivers never are.
#[test]
fn a_dial_is_told_of_the_sets_of_its_class() {
    let told = |pps: f64| -> Vec<String> {
        let scored = scored(vec![dial(10, pps, 66.0)], &Settings::default());
        scored.would_say.into_iter().map(|set| set.name).collect()
    };
    let tens = [
        "jp-10",
        "au-s002",
        "us-1956-later",
        "us-1956-earlier",
        "uk-gpo-dial",
        "de-1.6",
    ];
    assert_eq!(told(10.0), tens);
    assert_eq!(told(6.0), tens);
    assert_eq!(told(20.0), ["jp-20", "au-s002", "de-1.6"]);
}

/// The Japanese table states percent make 30-42; the check shows it so.
#[test]
fn percent_make_is_shown_as_quoted() {
    let scored = scored(vec![dial(10, 10.0, 72.0)], &by("jp-10"));
    let check = scored
        .checks
        .iter()
        .find(|check| check.quantity == "percent_break")
        .unwrap();
    assert_eq!(check.as_quoted.as_deref(), Some("percent make 30-42 %"));
    assert_eq!((check.lower, check.upper), (Some(58.0), Some(70.0)));
    assert!(
        scored.reasons[0].text.contains("percent make 30-42 %"),
        "{}",
        scored.reasons[0].text
    );
}

#[test]
fn a_range_knows_its_half_width() {
    assert_eq!(Range::between(9.5, 10.5).half_width(), Some(0.5));
    assert_eq!(Range::at_least(600.0).half_width(), None);
}
