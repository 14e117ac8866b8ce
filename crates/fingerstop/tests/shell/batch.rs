//! `batch`.

use std::fs;

use serde_json::Value;

use crate::schema;
use crate::session::{Ran, Session, assert_ran, demo_recording};

/// A box of three dials, two takes each, and a file that is no recording.
fn box_of_dials() -> Session {
    let session = Session::new();
    fs::create_dir(session.path("box")).unwrap();
    fs::create_dir(session.path("box/shelf")).unwrap();
    for (dial, speed) in [("hall-7", "10"), ("attic-2", "8.4"), ("shelf/shed", "10.3")] {
        for take in ["1", "2"] {
            let name = format!("box/{dial}-{take}.wav");
            session.dial(
                &name,
                "0",
                &["--speed", speed, "--percent-break", "62", "--seed", take],
            );
        }
    }
    session.write("box/torn-1.wav", "RIFF");
    session.write("box/notes.txt", "not a recording, and not looked at");
    session.write("box/._hall-7-1.wav", "hidden");
    session
}

const JUDGED: [&str; 2] = ["--limits", "us-1956-later"];

fn batch(session: &Session, more: &[&str]) -> Ran {
    session.run(&[&["batch", "box"], &JUDGED[..], more].concat())
}

fn lines(text: &str) -> Vec<Value> {
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn inputs(text: &str) -> Vec<String> {
    let input = |line: &Value| line["input"].as_str().unwrap().to_owned();
    lines(text).iter().map(input).collect()
}

#[test]
fn a_bad_file_is_a_row_and_the_best_dial_comes_first() {
    let ran = batch(&box_of_dials(), &["--name", "{dial}-{take}"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(3)));
    let rows: Vec<&str> = ran
        .stdout
        .lines()
        .filter(|line| !line.starts_with(' '))
        .collect();
    let begins = [
        "verdict",
        "pass             hall-7",
        "pass             shed",
        "fail             attic-2",
        "cannot be read",
    ];
    for (row, begin) in rows.iter().zip(begins) {
        assert!(row.starts_with(begin), "{begin} in\n{}", ran.stdout);
    }
    assert!(ran.stdout.contains("spread "), "{}", ran.stdout);
    let says = "4 dials in 7 recordings: 2 pass, 1 fail, 1 cannot be read\n\
        judged by us-1956-later (grade A-): Notes on Distance Dialing (AT&T), Sect. IV Table 1, §§3.21-3.24, 1956\n";
    assert!(ran.stdout.ends_with(says), "{}", ran.stdout);
}

#[test]
fn results_come_in_the_order_of_the_inputs_and_keep_the_schema() {
    let session = box_of_dials();
    let one = batch(&session, &["--format", "ndjson", "--jobs", "1"]);
    let many = batch(&session, &["--format", "ndjson", "--jobs", "5"]);
    assert_eq!(
        (one.stdout.as_str(), one.code),
        (many.stdout.as_str(), many.code)
    );
    let names = [
        "attic-2-1",
        "attic-2-2",
        "hall-7-1",
        "hall-7-2",
        "shelf/shed-1",
        "shelf/shed-2",
        "torn-1",
    ];
    let expected: Vec<String> = names.iter().map(|name| format!("box/{name}.wav")).collect();
    assert_eq!(inputs(&one.stdout), expected);
    for mut line in lines(&one.stdout) {
        let fields = line.as_object_mut().unwrap();
        // What a batch adds to a line of `check`; the rest must be exactly that.
        for added in ["dial", "take", "source"] {
            assert!(fields.remove(added).is_some(), "{added}");
        }
        let _: schema::Line = serde_json::from_value(line).unwrap();
    }
}

#[test]
fn folders_patterns_and_lists_lead_to_the_same_recordings() {
    let session = box_of_dials();
    let folder = batch(&session, &["--format", "csv"]);
    let pattern = session.run(
        &[
            &["batch", "box/**/*-[12].wav", "--format", "csv"],
            &JUDGED[..],
        ]
        .concat(),
    );
    assert_eq!(pattern.stdout, folder.stdout);
    let list = "box/attic-2-1.wav\nbox/attic-2-2.wav\r\nbox/hall-7-1.wav\0box/hall-7-2.wav\0box/shelf\nbox/torn-1.wav\nbox/torn-1.wav\n";
    let listed = session.run_with(
        &[&["batch", "-", "--format", "csv"], &JUDGED[..]].concat(),
        list.as_bytes(),
    );
    assert_eq!((listed.stdout, listed.code), (folder.stdout, Some(3)));
}

#[test]
fn paths_that_lead_nowhere_are_rows_too() {
    let session = box_of_dials();
    let ran = session.run(&[
        "batch",
        "box/*.flac",
        "gone.wav",
        "box/hall-7-1.wav",
        "--format",
        "csv",
    ]);
    assert_eq!(ran.code, Some(3));
    for part in [
        "no file fits this pattern",
        "gone.wav,",
        "box/hall-7-1.wav,1,not-judged,0,",
    ] {
        assert!(ran.stdout.contains(part), "{part} in {}", ran.stdout);
    }
    fs::create_dir(session.path("empty")).unwrap();
    let empty = session.run(&["batch", "empty"]);
    assert_eq!((empty.stdout.as_str(), empty.code), ("", Some(3)));
    assert!(
        empty
            .stderr
            .starts_with("fingerstop: no recordings were found"),
        "{}",
        empty.stderr
    );
}

#[test]
fn takes_of_a_dial_are_combined_in_csv() {
    let ran = batch(
        &box_of_dials(),
        &[
            "--name",
            "{dial}-{take}",
            "--format",
            "csv",
            "--sort",
            "speed",
        ],
    );
    let rows: Vec<Vec<&str>> = ran
        .stdout
        .lines()
        .map(|line| line.split(',').collect())
        .collect();
    assert_eq!(rows[0][..4], ["dial", "takes", "verdict", "digits"]);
    let dials: Vec<&str> = rows[1..].iter().map(|row| row[0]).collect();
    assert_eq!(dials, ["attic-2", "hall-7", "shed", "torn"]);
    assert_eq!(rows[1][1..4], ["2", "fail", "0; 0"]);
    // Both takes are drawn from the same dial: they differ by their jitter alone.
    let spread: f64 = rows[1][6].parse().unwrap();
    assert!((0.0..0.2).contains(&spread), "{spread}");
    assert_eq!(rows[4][4..9], ["", "", "", "", ""]);
}

#[test]
fn a_run_goes_on_where_it_was_cut_off() {
    let session = box_of_dials();
    let whole = batch(&session, &["--ndjson", "whole.ndjson"]);
    let kept = session.read("whole.ndjson");
    let third = kept.match_indices('\n').nth(2).unwrap().0;
    // Three whole lines and a torn one.
    session.write("cut.ndjson", &kept[..third + 40]);
    let resumed = batch(&session, &["--ndjson", "cut.ndjson", "--resume"]);
    assert_eq!((resumed.stdout, resumed.code), (whole.stdout, whole.code));
    assert_eq!(session.read("cut.ndjson"), kept);
}

/// Killed as hard as a system can, each time after a result or more has come: what is there in the end is what an
/// undisturbed run leaves, every recording once. `tests/outside/kill_and_resume.py` does the same with 10 000.
#[test]
fn a_run_that_is_killed_loses_no_recording_and_counts_none_twice() {
    const RECORDINGS: usize = 48;
    const KILLS: usize = 4;
    let session = Session::new();
    session.dial("one.wav", "3", &[]);
    fs::create_dir(session.path("many")).unwrap();
    for index in 0..RECORDINGS {
        let path = session.path(&format!("many/{index:02}-1.wav"));
        fs::copy(session.path("one.wav"), path).unwrap();
    }
    let arguments = ["batch", "many", "--limits", "us-1956-later", "--ndjson"];
    let whole = session.run(&[&arguments[..], &["whole.ndjson"]].concat());
    let resumed = [&arguments[..], &["killed.ndjson", "--resume"]].concat();
    let there = || fs::read_to_string(session.path("killed.ndjson")).unwrap_or_default();
    let mut kills = 0;
    while kills < KILLS {
        let before = there().lines().count();
        let mut child = session
            .command(&resumed)
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        while there().matches('\n').count() <= before && child.try_wait().unwrap().is_none() {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        let ended = child.try_wait().unwrap().is_some();
        child.kill().unwrap();
        child.wait().unwrap();
        if ended {
            break;
        }
        kills += 1;
    }
    assert!(kills > 0, "no run was killed on its way");
    let ran = session.run(&resumed);
    assert_eq!((ran.stdout, ran.code), (whole.stdout, whole.code));
    assert_eq!(there(), session.read("whole.ndjson"));
    let mut names = inputs(&there());
    names.sort();
    names.dedup();
    assert_eq!(names.len(), RECORDINGS);
}

#[test]
fn resuming_measures_again_only_what_changed() {
    let session = box_of_dials();
    batch(&session, &["--ndjson", "all.ndjson"]);
    // A mark in an earlier line that measuring again would wipe out.
    let marked = session
        .read("all.ndjson")
        .replace("\"encoding\":\"WAV", "\"encoding\":\"marked WAV");
    assert_eq!(marked.matches("marked").count(), 6);
    session.write("all.ndjson", &marked);
    session.dial("box/hall-7-1.wav", "0", &["--speed", "9", "--force"]);
    batch(&session, &["--ndjson", "all.ndjson", "--resume"]);
    let after = session.read("all.ndjson");
    let mut names = inputs(&after);
    assert_eq!(names.len(), 7);
    names.sort();
    names.dedup();
    assert_eq!(names.len(), 7);
    let unmarked: Vec<String> = lines(&after)
        .iter()
        .filter(|line| {
            line["trace"]["encoding"]
                .as_str()
                .is_some_and(|encoding| encoding.starts_with("WAV"))
        })
        .map(|line| line["input"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(unmarked, ["box/hall-7-1.wav"]);
}

#[test]
fn results_of_other_options_are_not_mixed_and_files_not_overwritten() {
    let session = box_of_dials();
    batch(&session, &["--ndjson", "all.ndjson"]);
    let other = session.run(&["batch", "box", "--ndjson", "all.ndjson", "--resume"]);
    assert_eq!((other.stdout.as_str(), other.code), ("", Some(2)));
    assert!(
        other
            .stderr
            .contains("made by other options (limits=us-1956-later"),
        "{}",
        other.stderr
    );
    let again = batch(&session, &["--ndjson", "all.ndjson"]);
    let says = "fingerstop: all.ndjson exists already; add --resume to go on with it, or --force to overwrite it\n";
    assert_ran(&again, "", says, 3);
    session.write("other.ndjson", "{}\n");
    let no_result = batch(&session, &["--ndjson", "other.ndjson", "--resume"]);
    assert_eq!(no_result.code, Some(2));
    assert_eq!(session.read("other.ndjson"), "{}\n");
}

/// What may change under an unchanged name or path of options: a receiver asked, where the dial idles, and the content of a
/// set of one's own.
#[test]
fn results_of_another_question_are_not_gone_on_with() {
    let session = box_of_dials();
    let set = |upper: &str| {
        let text = format!("name = \"bench\"\n[speed_pps]\nlower = 9.5\nupper = {upper}\n");
        session.write("bench.toml", &text);
    };
    let run = |more: &[&str]| {
        let all = [
            "batch",
            "box",
            "--ndjson",
            "all.ndjson",
            "--limits",
            "bench.toml",
        ];
        session.run(&[&all, more].concat())
    };
    set("10.5");
    assert_eq!(run(&[]).code, Some(3));
    let before = session.read("all.ndjson");
    for more in [&["--for", "adapter"], &["--idle-run", "end"]] {
        let other = run(&[&["--resume"], &more[..]].concat());
        assert_eq!(other.code, Some(2), "{more:?}");
        assert!(
            other.stderr.contains("made by other options"),
            "{}",
            other.stderr
        );
    }
    set("10.2");
    assert_eq!(run(&["--resume"]).code, Some(2));
    assert_eq!(session.read("all.ndjson"), before);
    set("10.5");
    assert_eq!(run(&["--resume"]).code, Some(3));
}

/// Receivers are answered dial by dial, the worst take counting, and a dial that will not be understood ends with 1.
#[test]
fn receivers_are_answered_for_every_dial() {
    let session = box_of_dials();
    let asked = [
        "--name",
        "{dial}-{take}",
        "--for",
        "us-switch",
        "--for",
        "adapter",
    ];
    let run =
        |more: &[&str]| session.run(&[&["batch", "box/attic-*.wav"], &asked[..], more].concat());
    let table = run(&[]);
    assert_eq!((table.stderr.as_str(), table.code), ("", Some(0)));
    assert!(
        table
            .stdout
            .contains("us-switch: will be understood; adapter: will be understood"),
        "{}",
        table.stdout
    );
    session.dial("box/attic-2-2.wav", "0", &["--speed", "7.4", "--force"]);
    let csv = run(&["--format", "csv", "--html", "sheet.html"]);
    assert_eq!(csv.code, Some(1));
    assert!(
        csv.stdout
            .lines()
            .next()
            .unwrap()
            .ends_with(",receivers,limits")
    );
    assert!(
        csv.stdout
            .trim_end()
            .ends_with(",us-switch no; adapter yes,"),
        "{}",
        csv.stdout
    );
    let sheet = session.read("sheet.html");
    assert!(
        sheet.contains("us-switch: will not be understood reliably; adapter: will be understood")
    );
}

/// The line below the table counts dials by the words of their rows: what was only measured is not called unjudged, and a
/// dial with one good take is not unreadable.
#[test]
fn the_line_below_the_table_agrees_with_its_rows() {
    let session = box_of_dials();
    let ran = session.run(&["batch", "box/hall-7-1.wav"]);
    assert_eq!(ran.code, Some(0));
    assert!(ran.stdout.contains("\nmeasured "), "{}", ran.stdout);
    let unjudged = "no limits were chosen: nothing was judged\n";
    let says = format!("\n1 dial in 1 recording: 1 measured\n{unjudged}");
    assert!(ran.stdout.ends_with(&says), "{}", ran.stdout);
    session.write("box/hall-7-3.wav", "RIFF");
    let ran = session.run(&["batch", "box", "--name", "{dial}-{take}"]);
    assert_eq!(ran.code, Some(3));
    assert!(
        ran.stdout.contains("\nnot judged       hall-7"),
        "{}",
        ran.stdout
    );
    let says =
        format!("4 dials in 8 recordings: 2 measured, 1 not judged, 1 cannot be read\n{unjudged}");
    assert!(ran.stdout.ends_with(&says), "{}", ran.stdout);
}

#[test]
fn parts_measured_apart_merge_to_the_table_of_the_whole() {
    let session = box_of_dials();
    let name = ["--name", "{dial}-{take}"];
    let whole = batch(&session, &name);
    for (part, paths) in [
        (
            "a",
            ["box/hall-7-1.wav", "box/attic-2-1.wav", "box/torn-1.wav"],
        ),
        ("b", ["box/shelf", "box/attic-2-2.wav", "box/hall-7-2.wav"]),
    ] {
        let file = format!("{part}.ndjson");
        let ran = session.run(
            &[
                &["batch"],
                &paths[..],
                &JUDGED[..],
                &name,
                &["--ndjson", &file, "--format", "csv", "-o", part],
            ]
            .concat(),
        );
        assert_eq!(ran.stdout, "", "{ran:?}");
    }
    let merged = session.run(&["batch", "--merge", "a.ndjson", "b.ndjson", "a.ndjson"]);
    assert_eq!(
        (merged.stdout, merged.stderr, merged.code),
        (whole.stdout, String::new(), whole.code)
    );
}

#[test]
fn the_contact_sheet_stands_alone() {
    let session = box_of_dials();
    batch(
        &session,
        &["--name", "{dial}-{take}", "--html", "sheet.html"],
    );
    let sheet = session.read("sheet.html");
    assert!(sheet.starts_with("<!DOCTYPE html>") && sheet.ends_with("</html>\n"));
    assert_eq!(sheet.matches("<article").count(), 4);
    assert_eq!(sheet.matches("<svg").count(), 6);
    for foreign in ["http:", "https:", "src=", "@import", "url("] {
        assert!(!sheet.contains(foreign), "{foreign}");
    }
}

#[test]
fn patterns_and_orders_that_make_no_sense_are_refused() {
    let session = box_of_dials();
    for (more, says) in [
        (&["--name", "{take}"][..], "name {dial} once"),
        (
            &["--format", "ndjson", "--reverse"],
            "leave out --sort and --reverse",
        ),
        (&["--resume"], "--ndjson"),
        (&["--html", "x", "--ndjson", "x"], "name the same file"),
    ] {
        let ran = batch(&session, more);
        assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(2)), "{more:?}");
        assert!(ran.stderr.contains(says), "{}", ran.stderr);
    }
}

/// Against what `demo-recordings/box/README.md` says was planted.
#[test]
fn every_planted_fault_of_the_demo_box_is_found_and_no_other() {
    let folder = demo_recording("box");
    let page = fs::read_to_string(format!("{folder}/README.md")).unwrap();
    let command = [
        "batch",
        &folder,
        "--name",
        "{dial}-{take}",
        "--format",
        "csv",
        "--sort",
        "input",
    ];
    let ran = Session::new().run(&[&command[..], &JUDGED].concat());
    assert_eq!(ran.code, Some(3));
    let rows: Vec<Vec<&str>> = ran
        .stdout
        .lines()
        .skip(1)
        .map(|line| line.split(',').collect())
        .collect();
    assert_eq!(rows.len(), 26);
    let mut planted = 0;
    for row in &rows[..24] {
        let (dial, takes, verdict, findings) = (row[0], row[1], row[2], row[13]);
        let line = page
            .lines()
            .find(|line| line.starts_with(&format!("| {dial} ")))
            .unwrap();
        let outside = ["| slow |", "| fast |", "too large", "too small"]
            .iter()
            .any(|fault| line.contains(fault));
        assert_eq!(
            (takes, verdict),
            ("2", if outside { "fail" } else { "pass" }),
            "{dial}"
        );
        for (fault, code) in [
            ("slows by", "slow-down"),
            ("chatters", "chatter"),
            ("comes late", "bad-tooth"),
        ] {
            assert_eq!(
                findings.contains(code),
                line.contains(fault),
                "{dial}: {findings}"
            );
        }
        planted += usize::from(outside);
    }
    assert_eq!(planted, 9);
    assert!(rows[24..].iter().all(|row| !row[15].is_empty()));
}
