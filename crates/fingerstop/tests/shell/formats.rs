//! Text, JSON, NDJSON and CSV.

use crate::schema::{Line, Verdict, document};
use crate::session::{Session, demo_recording};

#[test]
fn text_says_verdict_figures_limits_source_and_uncertainty() {
    let session = Session::new();
    let path = demo_recording("dial-a-good.wav");
    let ran = session.run(&["check", &path, "--limits", "us-1956-later"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    assert!(ran.stdout.starts_with("PASS  "), "{}", ran.stdout);
    for part in [
        "digit 0, 10 pulses",
        "pulsing speed    10.00",
        "9.5 to 10.5",
        "60 to 64",
        "us-1956-later (grade A-)",
        "1956",
        "± is the 95 % uncertainty, a recorder clock good to 100 ppm included\n",
        "22050 Hz",
    ] {
        assert!(ran.stdout.contains(part), "{part} in\n{}", ran.stdout);
    }
    assert!(!ran.stdout.contains('\u{1b}'));
    // The path of the recording is as long as it is; everything else fits 80 columns.
    assert!(
        ran.stdout
            .lines()
            .skip(1)
            .all(|line| line.chars().count() < 80),
        "{}",
        ran.stdout
    );
}

#[test]
fn without_limits_every_set_says_what_it_would_say_and_how_to_choose() {
    let session = Session::new();
    let ran = session.run(&["check", &demo_recording("dial-a-good.wav")]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(0)));
    assert!(ran.stdout.starts_with("MEASURED, NOT JUDGED  "));
    for part in [
        "jp-10",
        "au-s002",
        "us-1956-later",
        "us-1956-earlier",
        "uk-gpo-dial",
        "de-1.6",
        "--limits NAME",
        "FINGERSTOP_LIMITS",
        "limits use",
    ] {
        assert!(ran.stdout.contains(part), "{part} in\n{}", ran.stdout);
    }
    let told_not_to = session.run(&[
        "check",
        &demo_recording("dial-a-good.wav"),
        "--limits",
        "none",
    ]);
    assert!(!told_not_to.stdout.contains("jp-10"));
    assert_eq!(told_not_to.code, Some(0));
}

#[test]
fn json_is_the_same_to_the_last_byte_on_every_run() {
    let session = Session::new();
    let path = demo_recording("number-1234567.wav");
    let arguments = [
        "check",
        path.as_str(),
        "--limits",
        "au-s002",
        "--format",
        "json",
    ];
    let (first, second) = (session.run(&arguments), session.run(&arguments));
    assert_eq!(first.stdout, second.stdout);
    assert!(
        first
            .stdout
            .starts_with("{\n  \"schema\": \"fingerstop.measurement/1\",\n  \"tool_version\": \"")
    );
}

#[test]
fn json_gives_a_reason_for_every_null_of_a_digit() {
    let session = Session::new();
    session.dial("one.wav", "1", &[]);
    let ran = session.run(&["check", "one.wav", "--format", "json"]);
    let digit = &document(&ran.stdout).recordings[0].digits[0];
    assert!(digit.speed_pps.is_none() && digit.percent_break.is_none() && digit.make_ms.is_none());
    for field in ["speed_pps", "percent_break", "make_ms"] {
        assert!(
            digit.why_null.contains_key(field),
            "{field} in {:?}",
            digit.why_null
        );
    }
    assert_eq!(digit.why_null["speed_pps"], "single-pulse");
}

#[test]
fn ndjson_has_a_line_a_recording_and_each_stands_alone() {
    let session = Session::new();
    let (good, before) = (
        demo_recording("dial-a-good.wav"),
        demo_recording("dial-b-before.wav"),
    );
    session.write("bad.wav", "");
    let ran = session.run(&[
        "check",
        &good,
        "bad.wav",
        &before,
        "--format",
        "ndjson",
        "--limits",
        "jp-10",
        "--dial-id",
        "shelf 3",
    ]);
    assert_eq!(ran.code, Some(3));
    let lines: Vec<Line> = ran
        .stdout
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let verdicts: Vec<_> = lines.iter().map(|line| line.verdict).collect();
    assert_eq!(verdicts, [Verdict::Pass, Verdict::NotJudged, Verdict::Fail]);
    assert!(
        lines
            .iter()
            .all(|line| line.schema == "fingerstop.measurement/1"
                && line.limits.as_ref().unwrap().name == "jp-10")
    );
    assert!(
        lines
            .iter()
            .all(|line| line.dial_id.as_deref() == Some("shelf 3"))
    );
    assert_eq!(lines[1].error.as_ref().unwrap().code, "empty-file");
}

#[test]
fn csv_has_a_row_a_digit_and_empty_cells_for_what_is_missing() {
    let session = Session::new();
    session.dial("1,2.wav", "12", &[]).write("bad.wav", "");
    let ran = session.run(&["check", "1,2.wav", "bad.wav", "--format", "csv"]);
    assert_eq!(ran.code, Some(3));
    let rows: Vec<&str> = ran.stdout.split_terminator("\r\n").collect();
    assert_eq!(rows.len(), 4, "{}", ran.stdout);
    let header: Vec<&str> = rows[0].split(',').collect();
    let column = |name: &str| header.iter().position(|column| *column == name).unwrap();
    // The comma in the name is quoted, so the first row has one comma more.
    assert!(rows[1].starts_with("\"1,2.wav\","), "{}", rows[1]);
    let cells = |row: &str| -> Vec<String> {
        row.replace("\"1,2.wav\"", "name")
            .split(',')
            .map(str::to_owned)
            .collect()
    };
    let (one, two, bad) = (cells(rows[1]), cells(rows[2]), cells(rows[3]));
    assert!(
        [&one, &two, &bad]
            .iter()
            .all(|row| row.len() == header.len())
    );
    assert_eq!(
        (
            one[column("digit")].as_str(),
            two[column("digit")].as_str(),
            bad[column("digit")].as_str()
        ),
        ("1", "2", "")
    );
    assert_eq!(one[column("speed_pps")], "");
    assert_eq!(one[column("pause_before_ms")], "");
    let speed: f64 = two[column("speed_pps")].parse().unwrap();
    assert!((speed - 10.0).abs() < 0.01, "{speed}");
    assert_eq!(bad[column("error")], "empty-file");
    assert_eq!(bad[column("verdict")], "not-judged");
}

#[test]
fn colour_comes_only_when_told_and_no_color_does_not_overrule_always() {
    let session = Session::new().with_env("NO_COLOR", "1");
    let path = demo_recording("dial-a-good.wav");
    let run = |when: &str| {
        session
            .run(&["check", &path, "--color", when])
            .stdout
            .contains('\u{1b}')
    };
    assert_eq!(
        (run("auto"), run("never"), run("always")),
        (false, false, true)
    );
}
