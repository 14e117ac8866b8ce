//! Comparisons of hand-made recordings.

use score::Verdict;

use super::*;
use crate::sample;
use crate::text::page::Paint;

/// A digit of ten pulses every `period_ms`, `break_ms` of each open, judged by the set that the demos use.
fn saved(period_ms: f64, break_ms: f64, input: &str) -> Saved {
    let starts: Vec<f64> = (0..10)
        .map(|pulse| 1.0 + period_ms / 1e3 * f64::from(pulse))
        .collect();
    let settings = sample::by("us-1956-later");
    let mut record = sample::record(
        vec![sample::train(&starts, break_ms / 1e3)],
        false,
        &settings,
    );
    record.input = input.to_owned();
    Saved::of(&record, &settings, None, "0.0.0").unwrap()
}

fn series(options: &CompareOptions) -> Comparison {
    let recordings = vec![
        saved(122.0, 75.64, "before.wav"),
        saved(101.0, 62.6, "adjusted.wav"),
        saved(100.0, 62.0, "again.wav"),
    ];
    compare(recordings, options)
}

fn speed_of(step: &Step) -> Change {
    let all = step.changes[0].iter();
    *all.into_iter()
        .find(|change| change.quantity == "speed_pps")
        .unwrap()
}

#[test]
fn a_series_is_compared_step_by_step_and_end_to_end() {
    let comparison = series(&CompareOptions::default());
    let spans: Vec<_> = comparison
        .steps
        .iter()
        .map(|s| (s.before, s.after))
        .collect();
    assert_eq!(spans, [(0, 1), (1, 2), (0, 2)]);
    // 1000 / 100 − 1000 / 122 = 1.80328 pps.
    let speed = speed_of(&comparison.steps[2]);
    approx::assert_relative_eq!(speed.change.value, 10.0 - 1e3 / 122.0, max_relative = 1e-9);
    assert!(speed.is_shown());
    // 75.64 / 122 is 62 %, as is 62 / 100.
    let percent = comparison.steps[2].changes[0][1];
    assert_eq!(percent.quantity, "percent_break");
    assert!(!percent.is_shown(), "{percent:?}");
}

#[test]
fn text_names_verdicts_changes_and_what_is_within_the_uncertainty() {
    let text = compare_text(&series(&CompareOptions::default()), Paint::Plain);
    for part in [
        "  1  fail              us-1956-later     before.wav",
        "From 1 to 3: fail before, pass after",
        "digit 0, 10 pulses",
        "speed, pps  ",
        "changed",
        "within ±",
    ] {
        assert!(text.contains(part), "{part} in\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() < 80), "{text}");
}

#[test]
fn digits_without_a_partner_are_named_and_doubtful_ones_left_out() {
    let settings = sample::by("us-1956-later");
    let one = sample::record(
        vec![sample::digit(1.0, 3), sample::digit(3.0, 5)],
        false,
        &settings,
    );
    let two = sample::record(
        vec![
            sample::digit(1.0, 5),
            sample::doubtful(sample::digit(3.0, 3)),
        ],
        false,
        &settings,
    );
    let of = |record| Saved::of(&record, &settings, None, "0.0.0").unwrap();
    let comparison = compare(vec![of(one), of(two)], &CompareOptions::default());
    let pairing = &comparison.steps[0].pairing;
    assert_eq!(pairing.pairs, [(1, 0)]);
    assert_eq!(
        (pairing.only_before.as_slice(), pairing.only_after.len()),
        (&[0][..], 0)
    );
}

#[test]
fn a_shift_is_judged_by_its_worst_pair_and_not_judged_where_nothing_is_compared() {
    let options = CompareOptions {
        max_shifts: vec!["speed_pps=0.5".parse().unwrap()],
        ..CompareOptions::default()
    };
    let comparison = series(&options);
    let words: Vec<_> = comparison.steps.iter().map(|step| step.shift).collect();
    assert_eq!(
        words,
        [
            Some(Verdict::Fail),
            Some(Verdict::Pass),
            Some(Verdict::Fail)
        ]
    );
    let settings = sample::by("us-1956-later");
    let silent = Saved::of(
        &sample::record(vec![], false, &settings),
        &settings,
        None,
        "0",
    )
    .unwrap();
    let comparison = compare(vec![saved(100.0, 62.0, "a"), silent], &options);
    assert_eq!(comparison.steps[0].shift, Some(Verdict::NotJudged));
}

#[test]
fn what_was_saved_reads_back_as_it_was_and_other_json_is_refused() {
    let settings = sample::by("us-1956-later");
    let record = sample::record(vec![sample::digit(1.0, 10)], false, &settings);
    let recording = crate::json::recording(&record, &settings, Some("A"));
    let document = crate::json::document(&[recording], &settings, "1.2.3").unwrap();
    let read = crate::read_saved(&document).unwrap();
    let direct = Saved::of(&record, &settings, Some("A"), "1.2.3").unwrap();
    assert_eq!(format!("{:?}", read[0]), format!("{direct:?}"));
    let lines = ["{\"schema\":\"other/1\"}", "{}", "[]", "{\"schema\":", ""];
    for text in lines {
        assert!(crate::read_saved(text).is_err(), "{text}");
    }
    assert!(crate::may_be_saved(b"\xEF\xBB\xBF\n {") && !crate::may_be_saved(b"RIFF{"));
}
