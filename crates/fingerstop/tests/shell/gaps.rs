//! Samples that are missing: a digit near them is never sure.

use std::fmt::Write as _;

use crate::schema::{Digit, Verdict, document};
use crate::session::Session;

/// Loop current in mA at 8 kHz: five breaks of 62 ms, 100 ms apart, from 1 s on, in 6 s.
fn row(n: u32) -> f64 {
    let in_train = (8_000..8_000 + 5 * 800).contains(&n);
    if in_train && n % 800 < 496 { 0.0 } else { 22.5 }
}

/// A table of rows, `time` giving each row's time in seconds; `None` leaves the row out.
fn table(time: impl Fn(u32) -> Option<f64>) -> String {
    let mut table = String::from("time (s),current (mA)\n");
    for n in 0..48_000 {
        if let Some(time_s) = time(n) {
            writeln!(table, "{time_s:.6},{}", row(n)).unwrap();
        }
    }
    table
}

fn seconds(n: u32) -> f64 {
    f64::from(n) / 8_000.0
}

/// The digits found in a table, judged by a set that they pass, with verdict and exit code.
fn digits(session: &Session, table: &str) -> (Vec<Digit>, Verdict, Option<i32>) {
    session.write("loop.csv", table);
    let ran = session.run(&[
        "check",
        "loop.csv",
        "--limits",
        "us-1956-later",
        "--format",
        "json",
    ]);
    assert_eq!(ran.stderr, "");
    let recording = document(&ran.stdout).recordings.remove(0);
    (recording.digits, recording.verdict, ran.code)
}

#[test]
fn a_digit_across_missing_samples_is_never_sure() {
    let session = Session::new();
    // All inside the make that follows the second break (8 800 + 496 to 9 600): every edge is there, yet a whole
    // pulse may be lost with the samples.
    let without_value = |n: u32| {
        let time_s = seconds(n);
        if (9_350..9_390).contains(&n) {
            format!("{time_s:.6},---\n")
        } else {
            format!("{time_s:.6},{}\n", row(n))
        }
    };
    let rows: String = (0..48_000).map(without_value).collect();
    let tables = [
        (
            "5 ms of rows without a value",
            format!("time (s),current (mA)\n{rows}"),
        ),
        (
            "20 ms of rows left out",
            table(|n| Some(seconds(n)).filter(|_| !(9_350..9_510).contains(&n))),
        ),
        (
            "a leap of a minute",
            table(|n| Some(seconds(n) + if n < 9_400 { 0.0 } else { 60.0 })),
        ),
        (
            "time begins again",
            table(|n| Some(seconds(n) - if n < 9_400 { 0.0 } else { 1.0 })),
        ),
    ];
    for (name, table) in tables {
        let (digits, verdict, code) = digits(&session, &table);
        assert!(digits.iter().all(|digit| !digit.sure), "{name}: {digits:?}");
        assert_eq!((verdict, code), (Verdict::NotJudged, Some(3)), "{name}");
    }
}

#[test]
fn the_gap_is_named_at_its_own_time() {
    let (digits, ..) = digits(
        &Session::new(),
        &table(|n| Some(seconds(n)).filter(|_| !(9_350..9_510).contains(&n))),
    );
    let [digit] = digits.as_slice() else {
        panic!("{digits:?}")
    };
    // 9 350 / 8 000 s.
    let doubt = digit.doubt.as_deref().unwrap();
    assert!(doubt.contains("samples are missing at 1.169 s"), "{doubt}");
}

#[test]
fn missing_samples_far_from_a_digit_do_it_no_harm() {
    // Two seconds behind the digit, in the same block of the reader.
    let table = table(|n| Some(seconds(n)).filter(|_| !(28_000..28_160).contains(&n)));
    let (digits, verdict, code) = digits(&Session::new(), &table);
    assert_eq!(
        (digits.len(), digits[0].sure, verdict, code),
        (1, true, Verdict::Pass, Some(0))
    );
}
