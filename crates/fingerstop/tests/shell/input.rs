//! Wrong input of every kind, and several inputs at once.

use std::process::Stdio;

use crate::schema::{Verdict, document};
use crate::session::{Session, assert_ran, demo_recording};

/// Name, bytes, code in JSON, words that the error line must have.
fn wrong_files() -> Vec<(&'static str, Vec<u8>, &'static str, &'static str)> {
    vec![
        ("empty.wav", Vec::new(), "empty-file", "it is empty"),
        (
            "text.wav",
            b"this is a letter, not a recording\n".to_vec(),
            "text",
            "",
        ),
        (
            "noise.wav",
            (0..4000u32)
                .map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8 | 0x80)
                .collect(),
            "unknown-format",
            "(--raw ENCODING:RATE:CHANNELS)",
        ),
        (
            "header.wav",
            b"RIFF\x24\0\0\0WAVEfmt ".to_vec(),
            "bad-header",
            "",
        ),
    ]
}

#[test]
fn a_file_that_cannot_be_read_gets_one_line_and_keeps_its_place() {
    for (name, bytes, code, words) in wrong_files() {
        let session = Session::new();
        session.write(name, bytes);
        let ran = session.run(&["check", name, "--format", "json"]);
        assert_eq!(ran.code, Some(3), "{ran:?}");
        assert_eq!(ran.stderr.lines().count(), 1, "{ran:?}");
        assert!(
            ran.stderr
                .starts_with(&format!("fingerstop: cannot read {name}: "))
                && ran.stderr.contains(words),
            "{ran:?}"
        );
        let document = document(&ran.stdout);
        let recording = &document.recordings[0];
        assert_eq!(
            (recording.input.as_str(), recording.verdict),
            (name, Verdict::NotJudged)
        );
        assert_eq!(recording.error.as_ref().unwrap().code, code);
        assert!(recording.digits.is_empty() && recording.trace.is_none());
        assert_eq!(
            (document.summary.not_judged, document.summary.unreadable),
            (1, 1)
        );
    }
}

#[test]
fn a_file_that_is_not_there_and_a_folder_are_named_with_the_way_out() {
    let session = Session::new();
    std::fs::create_dir(session.path("folder")).unwrap();
    let ran = session.run(&["check", "gone.wav", "--format", "csv", "-o", "-"]);
    assert_eq!(
        (ran.stderr.as_str(), ran.code),
        (
            "fingerstop: cannot read gone.wav: there is no such file; check the path\n",
            Some(3)
        )
    );
    let ran = session.run(&["check", "folder", "--format", "ndjson"]);
    assert_eq!(
        (ran.stderr.as_str(), ran.code),
        (
            "fingerstop: cannot read folder: it is a folder; name the files in it\n",
            Some(3)
        )
    );
}

#[test]
fn a_bad_file_never_stops_the_others() {
    let session = Session::new();
    session
        .dial("good.wav", "3", &[])
        .dial("good2.wav", "7", &[])
        .write("bad.wav", "");
    let ran = session.run(&[
        "check",
        "good.wav",
        "bad.wav",
        "good2.wav",
        "--limits",
        "us-1956-later",
        "--format",
        "json",
    ]);
    assert_eq!(
        (ran.stderr.as_str(), ran.code),
        (
            "fingerstop: cannot read bad.wav: it is empty; record or copy it again\n",
            Some(3)
        )
    );
    let document = document(&ran.stdout);
    let inputs: Vec<_> = document
        .recordings
        .iter()
        .map(|r| (r.input.as_str(), r.verdict))
        .collect();
    assert_eq!(
        inputs,
        [
            ("good.wav", Verdict::Pass),
            ("bad.wav", Verdict::NotJudged),
            ("good2.wav", Verdict::Pass)
        ]
    );
    assert_eq!(
        (
            document.summary.pass,
            document.summary.not_judged,
            document.summary.fail
        ),
        (2, 1, 0)
    );
    let text = session.run(&[
        "check",
        "good.wav",
        "bad.wav",
        "good2.wav",
        "--limits",
        "us-1956-later",
    ]);
    assert!(
        text.stdout.contains("CANNOT BE READ  bad.wav\n"),
        "{}",
        text.stdout
    );
    assert!(
        text.stdout
            .ends_with("\n3 recordings: 2 pass, 1 cannot be read\n"),
        "{}",
        text.stdout
    );
}

#[test]
fn unreadable_wins_over_fail() {
    let session = Session::new();
    let fails = demo_recording("dial-b-before.wav");
    let limits = ["--limits", "us-1956-later", "--format", "csv"];
    assert_eq!(
        session
            .run(&[&["check", fails.as_str()], &limits[..]].concat())
            .code,
        Some(1)
    );
    assert_eq!(
        session
            .run(&[&["check", fails.as_str(), "gone.wav"], &limits[..]].concat())
            .code,
        Some(3)
    );
    assert_eq!(
        session
            .run(&[&["check", "gone.wav", fails.as_str()], &limits[..]].concat())
            .code,
        Some(3)
    );
}

#[test]
fn standard_input_is_read_like_a_file() {
    let session = Session::new();
    let bytes = std::fs::read(demo_recording("dial-a-good.wav")).unwrap();
    let from_file = session
        .write("dial.wav", &bytes)
        .run(&["check", "dial.wav", "--format", "json"]);
    let from_pipe = session.run_with(&["check", "-", "--format", "json"], &bytes);
    assert_eq!((from_pipe.stderr.as_str(), from_pipe.code), ("", Some(0)));
    assert_eq!(
        from_pipe
            .stdout
            .replace("\"input\": \"-\"", "\"input\": \"dial.wav\""),
        from_file.stdout
    );
    let nothing = session.run_with(&["check", "-", "--format", "ndjson"], b"");
    assert_eq!(
        (nothing.stderr.as_str(), nothing.code),
        (
            "fingerstop: cannot read -: it is empty; record or copy it again\n",
            Some(3)
        )
    );
}

#[test]
fn raw_samples_need_only_their_format() {
    let session = Session::new();
    session.dial("dial.wav", "4", &["--encoding", "s16"]);
    let bytes = std::fs::read(session.path("dial.wav")).unwrap();
    let data = bytes.windows(4).position(|tag| tag == b"data").unwrap() + 8;
    let ran = session.run_with(
        &["check", "-", "--raw", "s16le:16000:1", "--format", "json"],
        &bytes[data..],
    );
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    assert_eq!(
        document(&ran.stdout).recordings[0].digits[0]
            .digit
            .as_deref(),
        Some("4")
    );
}

#[test]
fn a_truncated_file_is_measured_with_a_note() {
    let session = Session::new();
    session.dial("dial.wav", "3", &["--encoding", "s16"]);
    let mut bytes = std::fs::read(session.path("dial.wav")).unwrap();
    // The last 0.1 s of the 0.7 s after the digit.
    bytes.truncate(bytes.len() - 3200);
    session.write("cut.wav", bytes);
    let ran = session.run(&["check", "cut.wav", "--format", "json"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    let recording = &document(&ran.stdout).recordings[0];
    let codes: Vec<_> = recording
        .trace
        .as_ref()
        .unwrap()
        .warnings
        .iter()
        .map(|w| w.code.as_str())
        .collect();
    assert_eq!(codes, ["truncated"]);
    assert_eq!(recording.digits[0].digit.as_deref(), Some("3"));
}

#[test]
fn the_channel_with_the_dialling_is_taken_and_named() {
    let session = Session::new();
    let scenario = r#"{"numbers": [6], "recorder": {"sample_rate_hz": 16000, "channels": 2, "wanted_channel": 2, "other_channel": "silent"}}"#;
    session.write("scenario.json", scenario);
    assert_ran(
        &session.run(&["synth", "--scenario", "scenario.json", "-o", "two.wav"]),
        "",
        "",
        0,
    );
    let ran = session.run(&["check", "two.wav", "--format", "json"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    let recording = &document(&ran.stdout).recordings[0];
    let trace = recording.trace.as_ref().unwrap();
    assert_eq!((trace.channel, trace.channels), (2, 2));
    assert_eq!(
        trace.warnings[0].message,
        "channel 2 was taken; no sure dialling in channel 1"
    );
    assert_eq!(recording.digits[0].digit.as_deref(), Some("6"));
    let named = session.run(&["check", "two.wav", "--channel", "2", "--format", "json"]);
    assert!(
        document(&named.stdout).recordings[0]
            .trace
            .as_ref()
            .unwrap()
            .warnings
            .is_empty()
    );
    let other = session.run(&["check", "two.wav", "--channel", "1"]);
    assert!(
        other
            .stdout
            .starts_with("NOT JUDGED: NO DIALLING FOUND  two.wav\n"),
        "{}",
        other.stdout
    );
    assert_eq!(other.code, Some(0));
    let wrong = session.run(&["check", "two.wav", "--channel", "3", "--format", "csv"]);
    assert_eq!(
        (wrong.stderr.as_str(), wrong.code),
        (
            "fingerstop: cannot read two.wav: it has 2 channels, so there is no channel 3\n",
            Some(3)
        )
    );
}

/// A sound card that writes one input to both channels is no fault.
#[test]
fn of_two_channels_with_the_same_dialling_the_first_is_taken() {
    let session = Session::new();
    session.dial("mono.wav", "36", &["--encoding", "s16"]);
    let mono = std::fs::read(session.path("mono.wav")).unwrap();
    let data = mono.windows(4).position(|tag| tag == b"data").unwrap() + 8;
    let both: Vec<u8> = mono[data..]
        .chunks_exact(2)
        .flat_map(|sample| [sample, sample].concat())
        .collect();
    let check = |raw: &str, bytes: &[u8]| {
        let ran = session.run_with(&["check", "-", "--raw", raw, "--format", "json"], bytes);
        assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
        document(&ran.stdout).recordings.remove(0)
    };
    let (one, two) = (
        check("s16le:16000:1", &mono[data..]),
        check("s16le:16000:2", &both),
    );
    let trace = two.trace.unwrap();
    assert_eq!((trace.channel, trace.channels), (1, 2));
    assert!(trace.warnings.is_empty(), "{:?}", trace.warnings);
    let names: Vec<_> = two
        .digits
        .iter()
        .map(|digit| digit.digit.as_deref())
        .collect();
    assert_eq!(names, [Some("3"), Some("6")]);
    // The same samples, so the same figures to the last bit.
    assert_eq!(format!("{:?}", one.digits), format!("{:?}", two.digits));
}

#[test]
fn a_section_is_measured_in_the_time_of_the_file() {
    let session = Session::new();
    session.dial("dial.wav", "25", &[]);
    let whole = document(
        &session
            .run(&["check", "dial.wav", "--format", "json"])
            .stdout,
    );
    let digits = &whole.recordings[0].digits;
    let cut = (digits[0].end_s + 0.3).to_string();
    let part = document(
        &session
            .run(&["check", "dial.wav", "--from", &cut, "--format", "json"])
            .stdout,
    );
    let found = &part.recordings[0].digits;
    assert_eq!(found.iter().map(|d| d.pulses).collect::<Vec<_>>(), [5]);
    // The same edges through the same filters, from another first sample: within a hundredth of a sample.
    assert!(
        (found[0].start_s - digits[1].start_s).abs() < 0.01 / 16_000.0 * 10.0,
        "{} {}",
        found[0].start_s,
        digits[1].start_s
    );
    let behind = session.run(&["check", "dial.wav", "--from", "9:00", "--format", "csv"]);
    assert_eq!(behind.code, Some(3));
    assert!(
        behind.stderr.ends_with("before --from 540.00 s\n"),
        "{}",
        behind.stderr
    );
}

#[test]
fn a_silent_recording_says_what_to_check() {
    let session = Session::new();
    session.write(
        "scenario.json",
        r#"{"numbers": [], "recorder": {"sample_rate_hz": 8000}}"#,
    );
    assert_ran(
        &session.run(&["synth", "--scenario", "scenario.json", "-o", "quiet.wav"]),
        "",
        "",
        0,
    );
    let ran = session.run(&["check", "quiet.wav"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    for part in [
        "NOT JUDGED: NO DIALLING FOUND",
        "No dial pulses were found",
        "silent",
        "check that the probe is wired",
        "75-105 V",
    ] {
        assert!(ran.stdout.contains(part), "{part} in\n{}", ran.stdout);
    }
    assert_eq!(
        session
            .run(&["check", "quiet.wav", "--limits", "jp-10"])
            .code,
        Some(3)
    );
    assert_eq!(
        session.run(&["check", "quiet.wav", "--dialled", "5"]).code,
        Some(3)
    );
}

#[test]
fn a_closed_pipe_ends_quietly() {
    let session = Session::new();
    let path = demo_recording("number-1234567.wav");
    let mut child = session
        .command(&["check", &path, &path, &path, "--format", "ndjson"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    assert_eq!(
        (done.stderr.as_slice(), done.status.code()),
        (&b""[..], Some(0))
    );
}

#[test]
fn a_table_without_times_needs_its_rate() {
    let session = Session::new();
    let row = |n: u32| {
        if (8_000..8_496).contains(&n) || (8_800..9_296).contains(&n) {
            "0\n"
        } else {
            "22.5\n"
        }
    };
    // Two breaks of 62 ms, 100 ms apart, at 8 kHz.
    let table: String = std::iter::once("current\n")
        .chain((0..17_000).map(row))
        .collect();
    session.write("scope.csv", table);
    let refused = session.run(&["check", "scope.csv", "--format", "json"]);
    assert_eq!(refused.code, Some(3));
    assert!(
        refused.stderr.contains("--csv-rate HZ"),
        "{}",
        refused.stderr
    );
    let ran = session.run(&[
        "check",
        "scope.csv",
        "--csv-rate",
        "8000",
        "--format",
        "json",
    ]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    let digit = &document(&ran.stdout).recordings[0].digits[0];
    // One sample of 125 us in 62 ms.
    assert!(
        (digit.pulses == 2) && (digit.break_ms.mean - 62.0).abs() < 0.125,
        "{digit:?}"
    );
}

/// A digit that is wholly missing is no reason to adjust the dial.
#[test]
fn a_missing_digit_leads_to_another_take_and_not_to_the_dial() {
    let session = Session::new();
    session.dial("two.wav", "85", &[]);
    let ran = session.run(&["check", "two.wav", "--dialled", "085", "--limits", "none"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(1)));
    for part in [
        "3 digits were dialled, 2 found;",
        "dial the number once more",
    ] {
        assert!(ran.stdout.contains(part), "{}", ran.stdout);
    }
    assert!(!ran.stdout.contains("adjust the dial"), "{}", ran.stdout);
}
