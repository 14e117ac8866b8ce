//! What to keep in mind about a comparison.

mod common;

use common::{by, dial, judged_by, scored};
use score::limits::{LimitSet, PercentLimit, Range, Scope};
use score::{Quench, Scored, Settings, Tap};

fn codes(scored: &Scored) -> Vec<&'static str> {
    scored.warnings.iter().map(|warning| warning.code).collect()
}

fn with(settings: Settings) -> Vec<&'static str> {
    codes(&scored(vec![dial(5, 10.0, 62.0)], &settings))
}

#[test]
fn grades_below_a_minus_are_told() {
    assert_eq!(with(by("jp-10")), [""; 0]);
    assert_eq!(with(by("us-1956-later")), [""; 0]);
    assert_eq!(with(by("de-1.6")), ["grade"]);
    assert_eq!(with(by("uk-gpo-dial")), ["grade"]);
}

#[test]
fn a_set_to_limit_says_that_outside_is_no_reject() {
    let outside = scored(vec![dial(5, 8.0, 62.0)], &by("us-1956-later"));
    assert_eq!(codes(&outside), ["set-to-only"]);
    let text = &outside.warnings[0].text;
    assert!(text.contains("not by itself a reason to reject"), "{text}");
}

/// AS/CA S002:2010 cl. 5.5.1.8: break below 2.8 mA, make above 12 mA.
#[test]
fn limits_defined_by_current_are_compared_under_another_definition() {
    let scored = scored(vec![dial(5, 10.0, 62.0)], &by("au-s002"));
    assert_eq!(codes(&scored), ["other-definition"]);
    let text = &scored.warnings[0].text;
    assert!(text.contains("2.8 mA") && text.contains("12 mA"), "{text}");
}

#[test]
fn a_probe_that_does_not_fit_the_scope_is_told() {
    let receive_only = LimitSet {
        scopes: vec![Scope::Receive].into(),
        percent: Some(PercentLimit::Break(Range::between(60.0, 64.0))),
        ..LimitSet::own("exchange")
    };
    let cases = [
        (by("jp-10"), Tap::Contacts, false),
        (by("jp-10"), Tap::Series, false),
        (by("jp-10"), Tap::Line, true),
        (by("us-1956-later"), Tap::Adapter, true),
        (by("us-1956-later"), Tap::Contacts, false),
        (judged_by(&receive_only), Tap::Contacts, true),
    ];
    for (settings, tap, warned) in cases {
        let codes = with(Settings {
            tap: Some(tap),
            ..settings
        });
        assert_eq!(codes.contains(&"tap-scope"), warned, "{tap:?}");
    }
}

#[test]
fn a_quench_capacitor_in_circuit_is_told() {
    assert_eq!(
        with(Settings {
            quench: Some(Quench::In),
            ..by("jp-10")
        }),
        ["quench-in"]
    );
    assert_eq!(
        with(Settings {
            quench: Some(Quench::Out),
            ..by("jp-10")
        }),
        [""; 0]
    );
}

#[test]
fn nothing_is_told_when_nothing_was_compared() {
    let settings = Settings {
        tap: Some(Tap::Adapter),
        quench: Some(Quench::In),
        ..Settings::default()
    };
    assert_eq!(with(settings), [""; 0]);
}
