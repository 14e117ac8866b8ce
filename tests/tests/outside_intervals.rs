//! Our figures beside those of a second opinion: state levels and mid-reference instants by the general
//! method of IEEE Std 181-2011, written in numpy (tests/outside/measure_intervals.py) and frozen, on
//! recordings with exact truth from a generator that shares no code with ours
//! (tests/outside/make_intervals.py).

#![allow(
    clippy::unwrap_used,
    reason = "a fixture that is not as it was frozen must fail the test"
)]

mod outside_support;

use outside_support::{Complaints, frozen, measured, numbers};
use score::Digit;
use serde_json::Value;

/// Largest error, in samples, of an instant found by a straight line between two samples of a
/// band-limited step. Between -d and 1 - d of its middle the step runs as Si(πu)/π; the line crosses at
/// -d + F(d) / (F(d) + F(1 - d)) with F(u) = Si(πu)/π, worst 0.060 at d = 0.23. A histogram bin
/// of 1/1000 of the range moves the mid-reference level by at most 0.0005, hence the instant by 0.0005
/// sample; recorder noise of -70 dBFS on steps of 0.3 and more adds up to 4 × 0.001 sample.
const LINE_SAMPLES: f64 = 0.065;

/// Largest error that we allow ourselves for one instant, in samples. The Cramér-Rao bound is 0.001
/// sample here; the rest is for the shape of a recorder's low-pass, which the detector cannot know.
const OURS_SAMPLES: f64 = 0.06;

/// Largest error of a length between two instants, in seconds.
fn length_s(samples: f64, rate_hz: f64) -> f64 {
    2.0 * samples / rate_hz
}

fn breaks_ms(truth: &Value) -> Vec<f64> {
    let (starts, ends) = (
        numbers(&truth["break_start_s"]),
        numbers(&truth["make_start_s"]),
    );
    starts
        .iter()
        .zip(ends)
        .map(|(a, b)| 1e3 * (b - a))
        .collect()
}

fn makes_ms(truth: &Value) -> Vec<f64> {
    let (starts, ends) = (
        numbers(&truth["break_start_s"]),
        numbers(&truth["make_start_s"]),
    );
    starts
        .iter()
        .skip(1)
        .zip(ends)
        .map(|(a, b)| 1e3 * (a - b))
        .collect()
}

fn largest_difference(a: &[f64], b: &[f64]) -> f64 {
    assert_eq!(a.len(), b.len());
    a.iter()
        .zip(b)
        .map(|(x, y)| (x - y).abs())
        .fold(0.0, f64::max)
}

/// Gives breaks and first N - 1 makes of a digit, in ms.
type Lengths = fn(&Value) -> (Vec<f64>, Vec<f64>);

fn as_measured(digit: &Value) -> (Vec<f64>, Vec<f64>) {
    (numbers(&digit["break_ms"]), numbers(&digit["make_ms"]))
}

fn as_drawn(digit: &Value) -> (Vec<f64>, Vec<f64>) {
    (breaks_ms(digit), makes_ms(digit))
}

/// What a digit of `pulses` may differ by when one of its lengths may by `length_s`.
struct Allowed {
    length_ms: f64,
    speed_relative: f64,
    percent_points: f64,
}

impl Allowed {
    /// The span between two starts errs like any length. Percent break: every break of the sum errs one
    /// way at worst, which is (N - 1) lengths in a span of N - 1 periods.
    fn new(length_s: f64, speed_pps: f64, pulses: usize) -> Allowed {
        let periods = (pulses - 1) as f64;
        Allowed {
            length_ms: 1e3 * length_s,
            speed_relative: length_s * speed_pps / periods,
            percent_points: 100.0 * length_s * speed_pps,
        }
    }
}

fn compare(
    name: &str,
    digit: &Digit,
    other: &Value,
    breaks: &[f64],
    makes: &[f64],
    length_s: f64,
    complaints: &mut Complaints,
) {
    let speed = other["speed_pps"].as_f64().unwrap();
    let percent = other["percent_break"].as_f64().unwrap();
    let allowed = Allowed::new(length_s, speed, digit.pulses);
    let ours_breaks: Vec<f64> = digit.pulses_detail.iter().map(|p| p.break_ms).collect();
    let ours_makes: Vec<f64> = digit
        .pulses_detail
        .iter()
        .filter_map(|p| p.make_ms)
        .collect();
    for (kind, off) in [
        ("breaks", largest_difference(&ours_breaks, breaks)),
        ("makes", largest_difference(&ours_makes, makes)),
    ] {
        complaints.unless(off <= allowed.length_ms, || {
            format!(
                "{name}: {kind} differ by up to {off:.5} ms, {:.5} allowed",
                allowed.length_ms
            )
        });
    }
    let speed_off = digit.speed_pps.unwrap().value / speed - 1.0;
    complaints.unless(speed_off.abs() <= allowed.speed_relative, || {
        format!(
            "{name}: speed differs by {:.5} %, {:.5} allowed",
            100.0 * speed_off,
            100.0 * allowed.speed_relative
        )
    });
    let percent_off = digit.percent_break.unwrap().value - percent;
    complaints.unless(percent_off.abs() <= allowed.percent_points, || {
        format!(
            "{name}: percent break differs by {percent_off:.5} points, {:.5} allowed",
            allowed.percent_points
        )
    });
}

/// One recording has chatter, seven have none.
fn has_chatter(recording: &Value) -> bool {
    recording["file"].as_str().unwrap().contains("chatter")
}

/// Compares each digit with `recordings`, whose lengths `lengths` gives; counts must agree and be sure.
fn check(recordings: Vec<Value>, samples: f64, lengths: Lengths) {
    assert!(!recordings.is_empty());
    let mut complaints = Complaints::default();
    for wanted in recordings {
        let name = wanted["file"].as_str().unwrap();
        let rate_hz = wanted["rate_hz"].as_f64().unwrap();
        let wanted_digits = wanted["digits"].as_array().unwrap();
        let counts: Vec<(u64, bool)> = wanted_digits
            .iter()
            .map(|d| (d["pulses"].as_u64().unwrap(), true))
            .collect();
        let scored = measured("intervals", name);
        let found: Vec<(u64, bool)> = scored
            .digits
            .iter()
            .map(|d| (d.pulses as u64, d.sure))
            .collect();
        complaints.unless(found == counts, || {
            format!("{name}: wanted (pulses, sure) {counts:?}, found {found:?}")
        });
        if found != counts {
            continue;
        }
        for (digit, wanted) in scored.digits.iter().zip(wanted_digits) {
            let (breaks, makes) = lengths(wanted);
            compare(
                name,
                digit,
                wanted,
                &breaks,
                &makes,
                length_s(samples, rate_hz),
                &mut complaints,
            );
        }
    }
    complaints.raise();
}

/// The second opinion itself agrees with the truth of its recordings: had a file been changed after
/// freezing, this would tell.
#[test]
fn the_frozen_second_opinion_fits_the_truth() {
    for (opinion, truth) in frozen("intervals", "ieee181.json")
        .iter()
        .zip(sorted(frozen("intervals", "truth.json")))
    {
        assert_eq!(opinion["file"], truth["file"]);
        let allowed_ms = 1e3 * length_s(LINE_SAMPLES, truth["rate_hz"].as_f64().unwrap());
        let pairs = opinion["digits"]
            .as_array()
            .unwrap()
            .iter()
            .zip(truth["digits"].as_array().unwrap());
        for (found, exact) in pairs {
            let off = largest_difference(&numbers(&found["break_ms"]), &breaks_ms(exact));
            assert!(
                off <= allowed_ms,
                "{}: {off} ms, {allowed_ms} allowed",
                truth["file"]
            );
        }
    }
}

fn sorted(mut recordings: Vec<Value>) -> Vec<Value> {
    recordings.sort_by_key(|r| r["file"].as_str().unwrap().to_owned());
    recordings
}

fn picked(file: &str, chatter: bool) -> Vec<Value> {
    let all = frozen("intervals", file);
    assert_eq!(all.len(), 8);
    all.into_iter()
        .filter(|r| has_chatter(r) == chatter)
        .collect()
}

#[test]
fn we_agree_with_the_standard_method() {
    check(
        picked("ieee181.json", false),
        LINE_SAMPLES + OURS_SAMPLES,
        as_measured,
    );
}

#[test]
fn we_agree_with_the_truth() {
    check(picked("truth.json", false), OURS_SAMPLES, as_drawn);
}

#[test]
fn we_agree_in_spite_of_chatter() {
    check(
        picked("ieee181.json", true),
        LINE_SAMPLES + OURS_SAMPLES,
        as_measured,
    );
    check(picked("truth.json", true), OURS_SAMPLES, as_drawn);
}
