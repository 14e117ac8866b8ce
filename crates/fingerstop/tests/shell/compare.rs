//! `compare`.

use serde::Deserialize;

use crate::session::{Ran, Session, demo_recording};

/// A strict reader of `fingerstop.comparison/1`.
#[allow(
    dead_code,
    reason = "every field is named so that a missing or extra one is seen"
)]
mod schema {
    use super::Deserialize;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Comparison {
        pub(super) schema: String,
        pub(super) tool_version: String,
        pub(super) recordings: Vec<Recording>,
        pub(super) steps: Vec<Step>,
        pub(super) uncertainty_verified: bool,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Recording {
        pub(super) input: String,
        pub(super) verdict: String,
        pub(super) limits: Option<String>,
        pub(super) dial_id: Option<String>,
        pub(super) error: Option<String>,
        pub(super) clock_ppm: Option<f64>,
        pub(super) receivers: Vec<Answer>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Answer {
        pub(super) receiver: String,
        pub(super) understood: String,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Step {
        pub(super) before: usize,
        pub(super) after: usize,
        pub(super) verdict_before: String,
        pub(super) verdict_after: String,
        pub(super) digits: Vec<Pair>,
        pub(super) only_before: Vec<usize>,
        pub(super) only_after: Vec<usize>,
        pub(super) findings_gone: Vec<Finding>,
        pub(super) findings_new: Vec<Finding>,
        pub(super) findings_stayed: Vec<Finding>,
        pub(super) shift_verdict: Option<String>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Pair {
        pub(super) digit: Option<String>,
        pub(super) pulses: usize,
        pub(super) before_index: usize,
        pub(super) after_index: usize,
        pub(super) changes: Vec<Change>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Change {
        pub(super) quantity: String,
        pub(super) unit: String,
        pub(super) before: Value,
        pub(super) after: Value,
        pub(super) change: Value,
        pub(super) changed: bool,
        pub(super) max_shift: Option<f64>,
        pub(super) shift_verdict: Option<String>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Value {
        pub(super) value: f64,
        pub(super) u95: f64,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    pub(super) struct Finding {
        pub(super) code: String,
        pub(super) title: String,
    }
}

fn compare(session: &Session, more: &[&str]) -> Ran {
    let (before, after) = (
        demo_recording("dial-b-before.wav"),
        demo_recording("dial-b-after.wav"),
    );
    session.run(
        &[
            &["compare", &before, &after, "--limits", "us-1956-later"],
            more,
        ]
        .concat(),
    )
}

#[test]
fn before_and_after_stand_side_by_side_with_the_change() {
    let ran = compare(&Session::new(), &[]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    for part in [
        "  1  fail              us-1956-later",
        "  2  pass              us-1956-later",
        "From 1 to 2: fail before, pass after",
        "speed, pps ",
        "changed",
    ] {
        assert!(ran.stdout.contains(part), "{part} in {}", ran.stdout);
    }
}

#[test]
fn the_json_holds_the_change_with_its_own_uncertainty() {
    let ran = compare(&Session::new(), &["--format", "json"]);
    let comparison: schema::Comparison = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(comparison.schema, "fingerstop.comparison/1");
    assert_eq!(
        (comparison.recordings.len(), comparison.steps.len()),
        (2, 1)
    );
    let speed = &comparison.steps[0].digits[0].changes[0];
    assert_eq!(
        (speed.quantity.as_str(), speed.unit.as_str(), speed.changed),
        ("speed_pps", "pps", true)
    );
    // The demos are drawn at 8.2 and 9.9 pps, with a jitter of 0.15 % of a period.
    assert!((speed.change.value - 1.7).abs() < 0.02, "{speed:?}");
    let independent = speed.before.u95.hypot(speed.after.u95);
    assert!(
        (speed.change.u95 / independent - 1.0).abs() < 1e-9,
        "{speed:?}"
    );
}

#[test]
fn saved_measurements_compare_as_the_recordings_do() {
    let session = Session::new();
    let (before, after) = (
        demo_recording("dial-b-before.wav"),
        demo_recording("dial-b-after.wav"),
    );
    let direct = compare(&session, &["--format", "json"]);
    for (format, name) in [("json", "both.json"), ("ndjson", "both.ndjson")] {
        let both = [
            "check",
            &before,
            &after,
            "--limits",
            "us-1956-later",
            "--format",
            format,
            "-o",
            name,
        ];
        assert_eq!(session.run(&both).code, Some(1));
        let saved = session.run(&["compare", name, "--format", "json"]);
        assert_eq!(
            (saved.stdout, saved.code),
            (direct.stdout.clone(), Some(0)),
            "{name}"
        );
    }
}

#[test]
fn the_same_recorder_leaves_a_smaller_uncertainty() {
    let of = |more: &[&str]| {
        let ran = compare(&Session::new(), &[&["--format", "json"], more].concat());
        let comparison: schema::Comparison = serde_json::from_str(&ran.stdout).unwrap();
        comparison.steps[0].digits[0].changes[0].change.u95
    };
    assert!(of(&["--same-recorder"]) < 0.5 * of(&[]));
}

#[test]
fn a_shift_is_judged_only_when_it_is_asked_for() {
    let session = Session::new();
    let too_far = compare(&session, &["--max-shift", "speed_pps=0.5"]);
    assert_eq!(too_far.code, Some(1));
    assert!(
        too_far
            .stdout
            .contains("allowed shift, pulsing speed by at most 0.5 pps: fail"),
        "{}",
        too_far.stdout
    );
    let speed = |line: &&str| line.trim_start().starts_with("speed, pps");
    let row = too_far.stdout.lines().find(speed).unwrap();
    assert!(row.ends_with("changed, shift: fail"), "{row}");
    let near = compare(
        &session,
        &[
            "--max-shift",
            "speed_pps=2",
            "--max-shift",
            "percent_break=1",
        ],
    );
    assert_eq!(near.code, Some(0), "{near:?}");
    assert!(!near.stdout.contains("shift: "), "{near:?}");
    let unknown = compare(&session, &["--max-shift", "speed=2"]);
    assert_eq!((unknown.stdout.as_str(), unknown.code), ("", Some(2)));
    assert!(
        unknown.stderr.contains("there is no quantity `speed`"),
        "{}",
        unknown.stderr
    );
}

#[test]
fn what_cannot_be_compared_ends_with_3_and_says_why() {
    let session = Session::new();
    session
        .write("none.wav", "")
        .write("other.json", "{\"schema\":\"other/1\"}")
        .dial("three.wav", "3", &[]);
    let before = demo_recording("dial-b-before.wav");
    for (name, says) in [
        ("none.wav", "could not be read"),
        ("three.wav", "dial the same digit before and after"),
        ("other.json", "not a measurement saved by"),
        ("missing.wav", "could not be read"),
    ] {
        let ran = session.run(&["compare", &before, name]);
        assert_eq!(ran.code, Some(3), "{name}");
        // Words are wrapped where the line ends.
        let said = format!("{}{}", ran.stdout, ran.stderr)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        assert!(said.contains(says), "{said}");
    }
    let alone = session.run(&["compare", &before]);
    assert_eq!((alone.stdout.as_str(), alone.code), ("", Some(2)));
    assert!(
        alone.stderr.contains("two recordings or more"),
        "{}",
        alone.stderr
    );
}

#[test]
fn verdicts_by_different_limits_are_not_passed_off_as_comparable() {
    let session = Session::new();
    let (before, after) = (
        demo_recording("dial-b-before.wav"),
        demo_recording("dial-b-after.wav"),
    );
    session.run(&[
        "check",
        &before,
        "--limits",
        "none",
        "--format",
        "json",
        "-o",
        "before.json",
    ]);
    let ran = session.run(&[
        "compare",
        "before.json",
        &after,
        "--limits",
        "us-1956-later",
    ]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    assert!(
        ran.stdout.contains("judged by different limits"),
        "{}",
        ran.stdout
    );
}

/// 8.2 pps is inside the 8-11 pps of the one and outside the 9-11 pps of the other, 9.9 pps inside both.
#[test]
fn receivers_are_asked_before_and_after() {
    let session = Session::new();
    let asked = [
        "--for",
        "us-switch",
        "--for",
        "jp-10",
        "--html",
        "both.html",
    ];
    let ran = compare(&session, &asked);
    assert_eq!(ran.code, Some(0));
    for line in [
        "receiver us-switch: will be understood, as before",
        "receiver jp-10: will not be understood reliably before, will be understood",
    ] {
        assert!(ran.stdout.contains(line), "{}", ran.stdout);
    }
    let page = session.read("both.html");
    assert!(
        page.contains("jp-10: will not be understood reliably before, will be understood after")
    );
    let ran = compare(&session, &["--for", "jp-10", "--format", "json"]);
    let found: schema::Comparison = serde_json::from_str(&ran.stdout).unwrap();
    let answers: Vec<(&str, &str)> = found
        .recordings
        .iter()
        .flat_map(|recording| &recording.receivers)
        .map(|answer| (answer.receiver.as_str(), answer.understood.as_str()))
        .collect();
    assert_eq!(answers, [("jp-10", "no"), ("jp-10", "yes")]);
}

#[test]
fn the_page_of_a_comparison_stands_alone() {
    let session = Session::new();
    let ran = compare(&session, &["--html", "both.html"]);
    assert_eq!(ran.code, Some(0));
    let page = session.read("both.html");
    for part in [
        "Before and after",
        "changed",
        "max 10.5",
        "Pulse by pulse, on common scales",
    ] {
        assert!(page.contains(part), "{part}");
    }
    for foreign in ["src=", "@import", "url("] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}
