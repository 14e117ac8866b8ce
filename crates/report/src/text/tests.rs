use score::Settings;

use super::{Paint, text, text_summary};
use crate::record::{Record, Unreadable};
use crate::sample::{by, digit, doubtful, record};

fn plain(record: &Record, settings: &Settings) -> String {
    text(record, settings, false, Paint::Plain)
}

#[track_caller]
fn assert_says(text: &str, parts: &[&str]) {
    let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in parts {
        assert!(flowing.contains(part), "{part} is missing in\n{text}");
    }
}

#[test]
fn a_passed_digit_reads_verdict_first_and_shows_no_more_digits_than_were_measured() {
    let settings = by("us-1956-later");
    let text = plain(&record(vec![digit(1.0, 10)], false, &settings), &settings);
    assert!(
        text.starts_with("PASS  bench.wav\n  digit 0, 10 pulses\n"),
        "{text}"
    );
    // Edges of 20 us: u95 of the speed is 1.96 x 10 pps x 28 us / 0.9 s = 0.00062 pps, with the clock's
    // 1.13 x 10 pps x 100 ppm = 0.00113 pps it is 0.0013 pps.
    assert_says(
        &text,
        &[
            "pulsing speed 10.0000 ± 0.0013 pps 9.5 to 10.5 pass",
            "60 to 64 pass",
            "us-1956-later (grade A-)",
            "± is the 95 % uncertainty, a recorder clock good to",
        ],
    );
}

#[test]
fn limits_in_milliseconds_name_the_worst_pulse() {
    let settings = by("au-s002");
    let text = plain(
        &record(
            vec![crate::sample::train(&[1.0, 1.1, 1.2, 1.32], 0.062)],
            false,
            &settings,
        ),
        &settings,
    );
    assert!(text.starts_with("FAIL  "), "{text}");
    // From 1.262 s to 1.32 s the loop is closed for 58 ms.
    assert_says(
        &text,
        &["worst, no. 3 58.000 ±", "30 to 40 fail", "make of pulse 3"],
    );
}

#[test]
fn a_microphone_is_recognised_and_not_judged() {
    let settings = by("us-1956-later");
    let text = plain(&record(Vec::new(), true, &settings), &settings);
    assert!(
        text.starts_with("NOT JUDGED: HEARD, NOT WIRED  bench.wav\n"),
        "{text}"
    );
    assert_says(
        &text,
        &[
            "A dial is heard",
            "wired probe",
            "75-105 V a.c.",
            "bench supply of a few volts",
        ],
    );
}

#[test]
fn no_dialling_says_what_to_check() {
    let settings = Settings::default();
    let text = plain(&record(Vec::new(), false, &settings), &settings);
    assert!(
        text.starts_with("NOT JUDGED: NO DIALLING FOUND  bench.wav\n"),
        "{text}"
    );
    assert_says(
        &text,
        &[
            "No dial pulses were found in 10.00 s of channel 1",
            "Its level is -26 dB",
            "check that the probe is wired",
            "isolate and divide",
        ],
    );
}

#[test]
fn a_doubtful_count_is_said_and_not_judged() {
    let settings = by("us-1956-later");
    let text = plain(
        &record(vec![doubtful(digit(1.0, 5))], false, &settings),
        &settings,
    );
    assert!(
        text.starts_with("NOT JUDGED: NO DIGIT IS BEYOND DOUBT  "),
        "{text}"
    );
    assert_says(
        &text,
        &[
            "the count is not beyond doubt: the recording starts inside the digit",
            "record the digit again",
        ],
    );
}

#[test]
fn several_digits_make_a_table_that_fits_the_terminal() {
    let settings = Settings {
        dialled: Some("5519".into()),
        ..by("us-1956-later")
    };
    let trains = vec![digit(1.0, 5), digit(2.5, 5), digit(4.0, 1), digit(5.5, 9)];
    let text = plain(&record(trains, false, &settings), &settings);
    assert_says(
        &text,
        &["4 digits: 5 5 1 9", "dialled 5519: the count is right"],
    );
    let rows: Vec<&str> = text
        .lines()
        .skip_while(|line| !line.contains("no.  digit"))
        .skip(1)
        .take(4)
        .collect();
    assert!(
        rows[2]
            .split_whitespace()
            .collect::<Vec<_>>()
            .starts_with(&["3", "1", "1", "-", "-"]),
        "{text}"
    );
    assert!(text.lines().all(|line| line.chars().count() < 80), "{text}");
}

#[test]
fn a_recording_full_of_doubts_stays_readable() {
    let settings = Settings::default();
    let trains = (0..60)
        .map(|index| doubtful(digit(1.0 + 2.0 * f64::from(index), 2)))
        .collect();
    let text = plain(&record(trains, false, &settings), &settings);
    assert_says(&text, &["and 50 more; --format json has them all"]);
}

#[test]
fn what_cannot_be_read_says_why_and_the_way_out() {
    let unreadable = Unreadable {
        code: "empty-file".into(),
        message: "it is empty; record or copy it again".into(),
    };
    let record = Record {
        input: "a.wav".into(),
        outcome: Err(unreadable),
    };
    assert_eq!(
        plain(&record, &Settings::default()),
        "CANNOT BE READ  a.wav\n  it is empty; record or copy it again\n"
    );
}

#[test]
fn the_summary_counts_every_recording_once() {
    use score::Verdict::{Fail, NotJudged, Pass};
    let verdicts = [Ok(Pass), Err(()), Ok(Fail), Ok(Pass), Ok(NotJudged)];
    assert_eq!(
        text_summary(&verdicts),
        "5 recordings: 2 pass, 1 fail, 1 not judged, 1 cannot be read\n"
    );
}
