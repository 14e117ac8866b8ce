//! `synth`, `explain`, `completions`.

use crate::session::{Session, assert_ran};

#[test]
fn synth_writes_recording_and_truth_and_refuses_to_overwrite() {
    let session = Session::new();
    assert_ran(
        &session.run(&[
            "synth",
            "-o",
            "a.wav",
            "--digits",
            "25",
            "--rate",
            "8000",
            "--encoding",
            "mu-law",
        ]),
        "",
        "",
        0,
    );
    assert_eq!(session.files(), ["a.truth.json", "a.wav"]);
    let truth: serde_json::Value = serde_json::from_str(&session.read("a.truth.json")).unwrap();
    let pulses: Vec<_> = truth["digits"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["pulses"].as_u64())
        .collect();
    assert_eq!(pulses, [Some(2), Some(5)]);
    assert_ran(
        &session.run(&["synth", "-o", "a.wav"]),
        "",
        "fingerstop: a.wav exists already; add --force to overwrite it\n",
        3,
    );
    assert_ran(
        &session.run(&["synth", "-o", "a.mp3"]),
        "",
        "fingerstop: synth writes WAV: name the file a.wav\n",
        2,
    );
    assert_eq!(session.files(), ["a.truth.json", "a.wav"]);
}

#[test]
fn a_scenario_that_was_printed_makes_the_same_recording() {
    let session = Session::new();
    let options = [
        "--digits",
        "3",
        "--rate",
        "8000",
        "--noise",
        "30",
        "--hum",
        "50:0.05",
        "--coupling",
        "5",
        "--chatter",
        "1.5",
    ];
    let printed = session.run(&[&["synth", "--print-scenario"], &options[..]].concat());
    assert_eq!((printed.stderr.as_str(), printed.code), ("", Some(0)));
    assert_ran(
        &session.run(&[&["synth", "-o", "a.wav"], &options[..]].concat()),
        "",
        "",
        0,
    );
    assert_ran(
        &session.run_with(
            &["synth", "--scenario", "-", "-o", "b.wav"],
            printed.stdout.as_bytes(),
        ),
        "",
        "",
        0,
    );
    assert_eq!(
        std::fs::read(session.path("a.wav")).unwrap(),
        std::fs::read(session.path("b.wav")).unwrap()
    );
}

#[test]
fn a_wrong_scenario_is_named() {
    let session = Session::new();
    session.write("bad.json", "{\"dail\": {}}");
    let ran = session.run(&["synth", "--scenario", "bad.json", "-o", "a.wav"]);
    assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(3)));
    assert!(
        ran.stderr
            .starts_with("fingerstop: cannot read scenario bad.json: unknown field `dail`"),
        "{}",
        ran.stderr
    );
    assert_eq!(session.files(), ["bad.json"]);
}

#[test]
fn demo_fills_an_empty_folder_only() {
    let session = Session::new();
    let ran = session.run(&["synth", "--demo", "demo"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    assert!(
        ran.stdout.lines().all(|line| session.path(line).is_file()),
        "{}",
        ran.stdout
    );
    assert!(ran.stdout.lines().count() > 10);
    assert_ran(
        &session.run(&["synth", "--demo", "demo"]),
        "",
        "fingerstop: demo is not empty; add --force to write into it\n",
        3,
    );
}

#[test]
fn every_listed_code_is_explained() {
    let session = Session::new();
    let list = session.run(&["explain"]);
    assert_eq!((list.stderr.as_str(), list.code), ("", Some(0)));
    let codes: Vec<&str> = list
        .stdout
        .lines()
        .filter_map(|line| line.strip_prefix("  "))
        .collect();
    assert!(codes.len() > 50, "{codes:?}");
    for code in codes {
        let ran = session.run(&["explain", code]);
        assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)), "{code}");
        assert!(ran.stdout.starts_with(&format!("{code}\n  ")), "{code}");
    }
}

#[test]
fn completions_are_written_for_every_shell() {
    let session = Session::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let ran = session.run(&["completions", shell]);
        assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)), "{shell}");
        assert!(
            ran.stdout.contains("fingerstop") && ran.stdout.contains("judge-pauses"),
            "{shell}"
        );
    }
}
