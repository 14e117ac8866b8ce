//! The demo recordings: right digits, right verdict, right exit code.

use crate::schema::{Verdict, document};
use crate::session::{Session, demo_recording};

/// Recording, limits, what was dialled, exit code, verdict, digits.
const CASES: [(&str, &str, &str, i32, Verdict, &str); 12] = [
    (
        "dial-a-good.wav",
        "us-1956-later",
        "0",
        0,
        Verdict::Pass,
        "0",
    ),
    ("dial-a-good.wav", "uk-gpo-dial", "0", 1, Verdict::Fail, "0"),
    (
        "dial-a-good.wav",
        "us-1956-later",
        "9",
        1,
        Verdict::Fail,
        "0",
    ),
    (
        "dial-b-before.wav",
        "us-1956-later",
        "0",
        1,
        Verdict::Fail,
        "0",
    ),
    (
        "dial-b-after.wav",
        "us-1956-later",
        "0",
        0,
        Verdict::Pass,
        "0",
    ),
    (
        "dial-c-high-break.wav",
        "us-1956-later",
        "0",
        1,
        Verdict::Fail,
        "0",
    ),
    ("dial-c-high-break.wav", "jp-10", "0", 1, Verdict::Fail, "0"),
    (
        "dial-d-sluggish.wav",
        "us-1956-later",
        "0",
        0,
        Verdict::Pass,
        "0",
    ),
    (
        "dial-e-chatter.wav",
        "us-1956-later",
        "0",
        0,
        Verdict::Pass,
        "0",
    ),
    ("dial-e-chatter.wav", "au-s002", "0", 1, Verdict::Fail, "0"),
    (
        "number-1234567.wav",
        "us-1956-later",
        "1234567",
        0,
        Verdict::Pass,
        "1234567",
    ),
    (
        "phone-quality-50.wav",
        "us-1956-later",
        "50",
        0,
        Verdict::Pass,
        "50",
    ),
];

#[test]
fn every_demo_recording_gets_its_digits_and_its_verdict() {
    let session = Session::new();
    for (name, limits, dialled, code, verdict, digits) in CASES {
        let path = demo_recording(name);
        let ran = session.run(&[
            "check",
            &path,
            "--limits",
            limits,
            "--dialled",
            dialled,
            "--format",
            "json",
        ]);
        assert_eq!(
            (ran.stderr.as_str(), ran.code),
            ("", Some(code)),
            "{name} {limits} {dialled}"
        );
        let recording = &document(&ran.stdout).recordings[0];
        assert_eq!(recording.verdict, verdict, "{name} {limits} {dialled}");
        let found: String = recording
            .digits
            .iter()
            .map(|digit| digit.digit.clone().unwrap())
            .collect();
        assert_eq!(found, digits, "{name}");
        assert!(recording.digits.iter().all(|digit| digit.sure), "{name}");
    }
}

/// Commands that the folder's own page shows, with what they end with.
const SHOWN: [(&str, i32); 9] = [
    ("dial-a-good", 0),
    ("dial-b-before", 1),
    // Before and after in one run: the worse of both.
    ("dial-b-before dial-b-after", 1),
    ("dial-c-high-break", 1),
    ("dial-d-sluggish", 0),
    ("dial-e-chatter", 0),
    ("number-1234567", 0),
    ("phone-quality-50", 0),
    ("nothing-dialled", 0),
];

#[test]
fn every_command_on_the_page_of_the_demo_recordings_runs_as_it_stands() {
    let page = std::fs::read_to_string(demo_recording("README.md")).unwrap();
    let session = Session::new();
    let commands: Vec<&str> = page
        .lines()
        .filter_map(|line| line.strip_prefix("    fingerstop "))
        .collect();
    assert_eq!(commands.len(), SHOWN.len());
    for (command, (names, code)) in commands.iter().zip(SHOWN) {
        let arguments: Vec<String> = command
            .split_whitespace()
            .map(|word| match word.strip_prefix("demo-recordings/") {
                Some(name) => demo_recording(name),
                None => word.to_owned(),
            })
            .collect();
        for name in names.split(' ') {
            assert!(command.contains(&format!("/{name}.wav")), "{command}");
        }
        let ran = session.run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(
            (ran.stderr.as_str(), ran.code),
            ("", Some(code)),
            "{command}"
        );
    }
}

/// The page tells which of the recordings a chosen set passes; the other choice fails the good dial.
#[test]
fn the_good_dial_fails_limits_that_want_more_break() {
    let session = Session::new();
    let path = demo_recording("dial-a-good.wav");
    let ran = session.run(&["check", &path, "--limits", "de-1.6", "--format", "json"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    let ran = session.run(&[
        "check",
        &path,
        "--limits",
        "uk-gpo-dial",
        "--format",
        "json",
    ]);
    let recording = document(&ran.stdout).recordings.remove(0);
    let failed: Vec<_> = recording
        .checks
        .iter()
        .filter(|check| check.verdict == Verdict::Fail)
        .map(|check| check.quantity.as_str())
        .collect();
    assert_eq!(
        (failed.as_slice(), ran.code),
        (&["percent_break"][..], Some(1))
    );
}

#[test]
fn the_findings_name_what_is_wrong_with_the_demo_dials() {
    let session = Session::new();
    for (name, expected) in [
        ("dial-a-good.wav", &[][..]),
        ("dial-d-sluggish.wav", &["slow-down"]),
        ("dial-e-chatter.wav", &["chatter"]),
    ] {
        let ran = session.run(&["check", &demo_recording(name), "--format", "json"]);
        let codes: Vec<_> = document(&ran.stdout)
            .recordings
            .remove(0)
            .findings
            .into_iter()
            .map(|f| f.code)
            .collect();
        assert_eq!(codes, expected, "{name}");
    }
}

/// 10 pps and 62 % break were asked for; quantisation to 16 bits and a sample rate of 16 kHz leave far less
/// than a thousandth.
#[test]
fn what_synth_was_told_is_measured() {
    let session = Session::new();
    session.dial(
        "dial.wav",
        "9",
        &["--speed", "9.7", "--percent-break", "64"],
    );
    let ran = session.run(&["check", "dial.wav", "--format", "json"]);
    let digit = &document(&ran.stdout).recordings[0].digits[0];
    let (speed, share) = (
        digit.speed_pps.as_ref().unwrap(),
        digit.percent_break.as_ref().unwrap(),
    );
    assert!((speed.value / 9.7 - 1.0).abs() < 1e-3, "{speed:?}");
    assert!((share.value - 64.0).abs() < 0.064, "{share:?}");
    assert_eq!((digit.pulses, digit.pulses_detail.len()), (9, 9));
    let last = digit.pulses_detail.last().unwrap();
    assert_eq!((last.make_ms, last.percent_break), (None, None));
}

#[test]
fn nothing_sure_is_found_where_nothing_was_dialled() {
    let session = Session::new();
    let path = demo_recording("nothing-dialled.wav");
    let ran = session.run(&[
        "check",
        &path,
        "--limits",
        "us-1956-later",
        "--format",
        "json",
    ]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(3)));
    let recording = &document(&ran.stdout).recordings[0];
    assert_eq!(recording.verdict, Verdict::NotJudged);
    assert!(recording.digits.iter().all(|digit| !digit.sure));
}
