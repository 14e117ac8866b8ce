//! The annotated example reports of `docs/examples`, run again as their pages say.
//!
//! A page holds its inputs (a name and a colon, then a block of JSON), its commands (indented lines), what they print (a
//! block of text) and their exit codes. The words of every report must be those of the page. Its figures may differ in
//! their last digits when the detector changes, so they are left out of the comparison: `UPDATE_EXAMPLES=1` writes all
//! that is printed today into the pages.

use std::path::{Path, PathBuf};

use crate::schema::Verdict;
use crate::session::{Ran, Session};

/// What a page says, piece by piece.
#[derive(Debug, PartialEq)]
enum Piece {
    /// A line that is shown and not run.
    Other(String),
    /// A file to be written: its name and what it holds.
    Input(String, String),
    /// A command, without the program's name.
    Command(String),
    /// What the last command prints.
    Printed(String),
    /// Its exit code.
    Code(i32),
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/examples")
}

fn pages() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder()).unwrap();
    let mut pages: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    pages.retain(|path| path.file_name().unwrap() != "README.md");
    pages.sort();
    assert_eq!(pages.len(), 10);
    // What the command explains, for those who read on paper or in a browser.
    pages.extend(["../explained.md", "../limits-shown.md"].map(|page| folder().join(page)));
    pages
}

fn pieces(page: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut name = None;
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        let named = line.strip_prefix('`').and_then(|l| l.strip_suffix("`:"));
        let code = line
            .strip_prefix("Exit code ")
            .map(|l| l.trim_end_matches('.'));
        if line == "```json" || line == "```text" {
            let block = lines.by_ref().take_while(|line| *line != "```");
            let block: String = block.map(|line| format!("{line}\n")).collect();
            pieces.push(match name.take() {
                Some(name) => Piece::Input(name, block),
                None => Piece::Printed(block),
            });
        } else if let Some(command) = line.strip_prefix("    fingerstop ") {
            pieces.push(Piece::Command(command.to_owned()));
        } else if let Some(code) = code {
            pieces.push(Piece::Code(code.parse().unwrap()));
        } else {
            if let Some(named) = named {
                name = Some(named.to_owned());
            }
            pieces.push(Piece::Other(line.to_owned()));
        }
    }
    pieces
}

/// The page again, with what is printed today.
fn page(pieces: &[Piece]) -> String {
    let shown = |piece: &Piece| match piece {
        Piece::Other(line) => format!("{line}\n"),
        Piece::Input(_, block) => format!("```json\n{block}```\n"),
        Piece::Command(command) => format!("    fingerstop {command}\n"),
        Piece::Printed(text) => format!("```text\n{text}```\n"),
        Piece::Code(code) => format!("Exit code {code}.\n"),
    };
    pieces.iter().map(shown).collect()
}

/// Runs every command of a page in a folder of its own.
fn rerun(pieces: &[Piece]) -> Vec<Piece> {
    let session = Session::new();
    let mut last: Option<Ran> = None;
    let again = |piece: &Piece| match piece {
        Piece::Other(line) => Piece::Other(line.clone()),
        Piece::Input(name, block) => {
            session.write(name, block);
            Piece::Input(name.clone(), block.clone())
        }
        Piece::Command(command) => {
            let arguments: Vec<&str> = command.split(' ').collect();
            let ran = session.run(&arguments);
            assert_eq!(ran.stderr, "", "fingerstop {command}");
            last = Some(ran);
            Piece::Command(command.clone())
        }
        Piece::Printed(_) => Piece::Printed(last.as_ref().unwrap().stdout.clone()),
        Piece::Code(_) => Piece::Code(last.as_ref().unwrap().code.unwrap()),
    };
    pieces.iter().map(again).collect()
}

/// The words, each figure a `#`, however lines are broken.
fn words(text: &str) -> String {
    let figure = |c: char| c.is_ascii_digit();
    let word = |word: &str| {
        if word.contains(figure) {
            let plain = word.replace(figure, "").replace(['.', '-', '+'], "");
            format!("#{plain}")
        } else {
            word.to_owned()
        }
    };
    let words: Vec<String> = text.split_whitespace().map(word).collect();
    words.join(" ")
}

/// No code of a finding and no published set is left out of its page.
#[test]
fn every_finding_and_every_set_has_its_place() {
    let commands = |name: &str| -> Vec<String> {
        let page = std::fs::read_to_string(folder().join(name)).unwrap();
        let commands = pieces(&page).into_iter().filter_map(|piece| match piece {
            Piece::Command(command) => Some(command),
            _ => None,
        });
        commands.collect()
    };
    let explained = score::FINDING_CODES.map(|code| format!("explain {code}"));
    let mut shown = commands("../explained.md");
    shown.sort();
    let mut expected = explained.to_vec();
    expected.sort();
    assert_eq!(shown, expected);
    let sets = score::limits::all();
    let expected: Vec<String> = sets
        .iter()
        .map(|set| format!("limits show {}", set.name))
        .collect();
    assert_eq!(commands("../limits-shown.md"), expected);
}

#[test]
fn every_example_prints_what_its_page_shows() {
    let update = std::env::var_os("UPDATE_EXAMPLES").is_some();
    for path in pages() {
        let shown = std::fs::read_to_string(&path).unwrap();
        let pieces = pieces(&shown);
        assert_eq!(page(&pieces), shown, "{}", path.display());
        let now = rerun(&pieces);
        if update {
            std::fs::write(&path, page(&now)).unwrap();
            continue;
        }
        let measures = pieces
            .iter()
            .any(|piece| matches!(piece, Piece::Command(command) if command.starts_with("check")));
        let printed = |piece: &Piece| matches!(piece, Piece::Printed(_));
        assert!(pieces.iter().any(printed), "{}", path.display());
        for (shown, now) in pieces.iter().zip(&now) {
            match (shown, now) {
                (Piece::Printed(shown), Piece::Printed(now)) if measures => {
                    assert_eq!(words(shown), words(now), "{}", path.display());
                }
                _ => assert_eq!(shown, now, "{}", path.display()),
            }
        }
    }
}

/// The page says that a dial in order gives no finding in noise and hum: not one that would only be worded otherwise.
#[test]
fn a_noisy_recording_of_a_dial_in_order_gives_no_finding() {
    let session = Session::new();
    for (noise, hum) in [("12", "50:0.3"), ("16", "60:0.15"), ("20", "50:0.5")] {
        let settings = [
            "--noise",
            noise,
            "--hum",
            hum,
            "--speed",
            "9.8",
            "--percent-break",
            "63.5",
        ];
        session.dial("noisy.wav", "084", &[&settings[..], &["--force"]].concat());
        let check = [
            "check",
            "noisy.wav",
            "--limits",
            "us-1956-earlier",
            "--format",
            "json",
        ];
        let ran = session.run(&check);
        let document = crate::schema::document(&ran.stdout);
        let recording = &document.recordings[0];
        assert_eq!(
            (recording.verdict, ran.code),
            (Verdict::Pass, Some(0)),
            "{noise} dB"
        );
        let codes: Vec<&str> = recording.findings.iter().map(|f| f.code.as_str()).collect();
        assert_eq!(codes, [""; 0], "{noise} dB");
        assert_eq!(recording.digits.len(), 3);
        assert!(recording.digits.iter().all(|digit| digit.sure));
    }
}

/// A dial a little outside: a fail where the recording shows it, and no more than conditional where the limit lies within
/// the uncertainty.
#[test]
fn a_fail_becomes_conditional_in_noise() {
    let session = Session::new();
    let verdict = |noise: &str| {
        let settings = [
            "--noise", noise, "--speed", "9.498", "--rate", "8000", "--force",
        ];
        let made = ["synth", "-o", "near.wav", "--digits", "4"];
        let made = session.run(&[&made[..], &settings[..]].concat());
        assert_eq!(made.code, Some(0), "{made:?}");
        let ran = session.run(&[
            "check",
            "near.wav",
            "--limits",
            "us-1956-later",
            "--format",
            "json",
        ]);
        assert_eq!(ran.code, Some(1));
        crate::schema::document(&ran.stdout).recordings[0].verdict
    };
    assert_eq!(verdict("50"), Verdict::Fail);
    assert_eq!(verdict("15"), Verdict::ConditionalFail);
}

/// A loop with relays, whose current rises slowly: a contact that chatters for 7 ms is found, and one of which nothing
/// can be told is not passed for want of evidence.
#[test]
fn chatter_is_found_in_a_loop_with_relays_and_a_bounce_limit_is_not_passed_there() {
    let session = Session::new();
    let scenario = |total_s: f64, farad: f64| {
        format!(
            r#"{{"seed": 7, "dial": {{"percent_break": 64.0, "chatter": {{"total_s": {total_s}, "reopenings": 2}}}},
            "numbers": [8, 7], "pauses_s": [1.1], "line": {{"loop": {{"supply_v": 48, "feed_henry": 1.5, "feed_ohm": 400,
            "line_ohm": 300, "line_farad": {farad}, "core_loss_ohm": 20000, "tap": "series"}}}},
            "recorder": {{"sample_rate_hz": 48000, "noise_db": 50, "encoding": "s16"}}}}"#
        )
    };
    for (total_s, farad, found) in [
        (0.007, 0.05e-6, true),
        (0.0015, 0.05e-6, false),
        (0.0015, 0.0, false),
    ] {
        session.write("loop.json", scenario(total_s, farad));
        let made = session.run(&[
            "synth",
            "--scenario",
            "loop.json",
            "-o",
            "loop.wav",
            "--force",
        ]);
        assert_eq!(made.code, Some(0), "{made:?}");
        let ran = session.run(&[
            "check", "loop.wav", "--limits", "au-s002", "--format", "json",
        ]);
        let document = crate::schema::document(&ran.stdout);
        let recording = &document.recordings[0];
        let chatters = recording
            .findings
            .iter()
            .any(|finding| finding.code == "chatter");
        assert_eq!(
            chatters, found,
            "{total_s} s, {farad} F: {:?}",
            recording.findings
        );
        let mut bounces = recording
            .checks
            .iter()
            .filter(|check| check.quantity == "bounce_ms");
        assert!(bounces.clone().count() > 0);
        assert!(
            bounces.all(|check| check.verdict != Verdict::Pass),
            "{total_s} s, {farad} F"
        );
    }
}
