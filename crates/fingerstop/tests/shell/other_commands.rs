//! `synth`, `explain`, `completions`.

use crate::schema::document;
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

/// Whether a receiver understands the dial is another question than whether it is in adjustment.
#[test]
fn a_receiver_is_asked_by_itself() {
    let session = Session::new();
    session.dial(
        "slow.wav",
        "0",
        &["--speed", "7.4", "--percent-break", "67"],
    );
    let ran = session.run(&[
        "check",
        "slow.wav",
        "--for",
        "adapter",
        "--for",
        "fi-rx",
        "--for",
        "uk-gpo-exchange",
    ]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(1)));
    for part in [
        "adapter, common adapter for a rotary telephone: will be understood",
        "grade practice (common practice, no published limit)",
        "fi-rx, Finland, what an exchange must receive: will not be understood",
        "may be taken for a hook flash",
        "uk-gpo-exchange, UK, step-by-step exchange, what it accepts: will be",
    ] {
        let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(part), "{part} in\n{}", ran.stdout);
    }
    let json = session.run(&["check", "slow.wav", "--for", "adapter", "--format", "json"]);
    assert_eq!((json.stderr.as_str(), json.code), ("", Some(0)));
    let answer = &document(&json.stdout).recordings[0].receivers[0];
    assert_eq!(
        (answer.receiver.as_str(), answer.understood.as_str()),
        ("adapter", "yes")
    );
    assert_eq!(answer.counted_pulses, [Some(10)]);
    assert_eq!(
        (answer.grade.as_str(), answer.reasons.len()),
        ("practice", 0)
    );
    assert!(!answer.title.is_empty() && !answer.source.is_empty());
    let refused = session.run(&["check", "slow.wav", "--for", "de-1.6"]);
    assert_eq!((refused.stdout.as_str(), refused.code), ("", Some(2)));
    assert!(
        refused.stderr.contains("de-1.6 says nothing of receiving"),
        "{}",
        refused.stderr
    );
}

/// Three takes of one dial: mean and spread beside what each recording allows, and the larger decides.
#[test]
fn takes_of_one_dial_give_mean_and_spread() {
    let session = Session::new();
    for (name, speed) in [("a.wav", "9.40"), ("b.wav", "9.50"), ("c.wav", "9.55")] {
        session.dial(name, "0", &["--speed", speed]);
    }
    let files = [
        "check",
        "a.wav",
        "b.wav",
        "c.wav",
        "--limits",
        "us-1956-later",
        "--takes",
    ];
    let ran = session.run(&files);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(1)));
    for part in [
        "Takes of the recordings together: 3 of 10 pulses",
        "from 9.40 to 9.55 pps, spread 0.076; the spread between takes decides",
        "conditional fail against 9.5 to 10.5 pps",
        "ten pulses in 1.054 s",
    ] {
        assert!(ran.stdout.contains(part), "{part} in\n{}", ran.stdout);
    }
    let json = session.run(&[&files[..], &["--format", "json"]].concat());
    let document = document(&json.stdout);
    let takes = document.takes.unwrap();
    assert_eq!((takes.pulses, takes.count), (10, 3));
    let speed = &takes.quantities[0];
    // Mean 9.4833, standard deviation 0.0764, t(2) = 4.30: 4.30 x 0.0764 / sqrt(3) = 0.19.
    assert!(
        (speed.mean - 9.4833).abs() < 2e-4 && (speed.u95 - 0.1896).abs() < 1e-3,
        "{speed:?}"
    );
    assert_eq!(
        (speed.quantity.as_str(), speed.decides.as_str()),
        ("speed_pps", "spread")
    );
    assert!(
        speed.recordings_u95 < speed.spread_u95 && speed.spread > 0.07 && speed.min < speed.max
    );
    assert_eq!(speed.check.as_ref().unwrap().quantity, "speed_pps");
    assert!((takes.ten_pulses_s.unwrap() - 10.0 / speed.mean).abs() < 1e-12);
    // Not said to be of one dial, they are not put together.
    let apart = session.run(&[&files[..6], &["--format", "json"]].concat());
    assert!(crate::schema::document(&apart.stdout).takes.is_none());
}

/// A number that fits another plan says so; the eleventh position is dialled as E.
#[test]
fn plans_are_told_apart_by_the_number_dialled() {
    let session = Session::new();
    session.dial("number.wav", "753", &[]);
    let ran = session.run(&["check", "number.wav", "--dialled", "357"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(1)));
    assert!(
        ran.stdout.contains("choose it by --plan reversed")
            || ran.stdout.contains("--plan reversed"),
        "{}",
        ran.stdout
    );
    assert!(ran.stdout.contains("(other-plan;"), "{}", ran.stdout);
    let right = session.run(&[
        "check",
        "number.wav",
        "--dialled",
        "357",
        "--plan",
        "reversed",
    ]);
    assert_eq!((right.stderr.as_str(), right.code), ("", Some(0)));
    assert!(
        right.stdout.contains("dialled 357: the count is right"),
        "{}",
        right.stdout
    );
}
