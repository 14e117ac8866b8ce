//! Recordings of a subscriber loop simulated by ngspice (fixtures/loop): battery, feed relays, cable,
//! quench, ringer and a contact whose instants come from the source that drives it. Nothing of this
//! project had a hand in their shapes.

mod outside_support;

use outside_support::{Complaints, frozen, measured, numbers};
use score::Digit;
use serde_json::Value;

/// How near a measurement must come to the contact's own instants.
struct Tolerance {
    /// Relative error of speed.
    speed: f64,
    /// Error of percent break, in points.
    percent_break: f64,
    /// Error of an instant after taking away the mean error of its kind, in seconds.
    scatter_s: f64,
}

/// A sharp step in noise of rms r (relative to the step) is timed to some 1.1 r samples by the
/// Cramér-Rao bound with a free level and slope; the worst r here is 0.01, far below the 0.06 sample of a
/// straight-line interpolation, which is 1.25 µs at 48 kHz: allow four times that for one instant.
/// Ten pulses in 0.9 s: speed 2 × 5 µs / 0.9 s. Percent break: nine breaks of each 2 × 1.25 µs in 0.9 s
/// would be 0.0025 points were they all wrong one way; twice that.
const SHARP: Tolerance = Tolerance {
    speed: 1e-5,
    percent_break: 0.005,
    scatter_s: 5e-6,
};

/// A current that a coil or a quench capacitor lets move only gradually leaves its straight line by 1 % of
/// the step some 30 µs after the contact, and noise hides where; the openings and closings of a train
/// are all alike, so speed hardly suffers. One tenth of a millisecond of 100 is 0.1 points: half of that.
const GRADUAL: Tolerance = Tolerance {
    speed: 1e-5,
    percent_break: 0.05,
    scatter_s: 2e-5,
};

/// Three pulses: the span is 0.2 s instead of 0.9, so the same instants weigh 4.5 times as much in speed.
fn few(tolerance: Tolerance) -> Tolerance {
    Tolerance {
        speed: 4.5 * tolerance.speed,
        ..tolerance
    }
}

fn tolerance(truth: &Value) -> Tolerance {
    let sharp = truth["loop"] == "bench" && truth["probe"] != "150hz";
    let class = if sharp { SHARP } else { GRADUAL };
    if truth["pulses"].as_u64().unwrap() < 4 {
        few(class)
    } else {
        class
    }
}

/// Errors of the instants of one kind: their mean, and the largest departure from it.
fn errors_s(found: impl Iterator<Item = f64>, truth: &[f64]) -> (f64, f64) {
    let errors: Vec<f64> = found.zip(truth).map(|(a, b)| a - b).collect();
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    (
        mean,
        errors.iter().map(|e| (e - mean).abs()).fold(0.0, f64::max),
    )
}

fn compare(name: &str, digit: &Digit, truth: &Value, complaints: &mut Complaints) {
    let allowed = tolerance(truth);
    let (speed, percent) = (digit.speed_pps.unwrap(), digit.percent_break.unwrap());
    let speed_error = speed.value / truth["speed_pps"].as_f64().unwrap() - 1.0;
    complaints.unless(speed_error.abs() <= allowed.speed, || {
        format!(
            "{name}: speed off by {:.4} % (u95 {:.4} %)",
            100.0 * speed_error,
            100.0 * speed.u95 / speed.value
        )
    });
    let percent_error = percent.value - truth["percent_break"].as_f64().unwrap();
    complaints.unless(percent_error.abs() <= allowed.percent_break, || {
        format!(
            "{name}: percent break off by {percent_error:.4} points (u95 {:.4})",
            percent.u95
        )
    });
    let kinds = [
        (
            "openings",
            errors_s(
                digit.pulses_detail.iter().map(|p| p.break_start_s),
                &numbers(&truth["break_start_s"]),
            ),
        ),
        (
            "closings",
            errors_s(
                digit.pulses_detail.iter().map(|p| p.make_start_s),
                &numbers(&truth["make_start_s"]),
            ),
        ),
    ];
    for (kind, (mean, scatter)) in kinds {
        complaints.unless(scatter <= allowed.scatter_s, || {
            format!(
                "{name}: {kind} scatter by {:.1} µs about a mean error of {:.1} µs",
                1e6 * scatter,
                1e6 * mean
            )
        });
    }
}

/// Checks every recording that `wanted` picks: the count beyond doubt, and the measures.
fn check(wanted: impl Fn(&Value) -> bool) {
    let mut complaints = Complaints::default();
    let mut seen = 0;
    for truth in frozen("loop", "truth.json").iter().filter(|t| wanted(t)) {
        seen += 1;
        let name = truth["file"].as_str().unwrap();
        let scored = measured("loop", name);
        let pulses = truth["pulses"].as_u64().unwrap() as usize;
        match &scored.digits[..] {
            [digit] if digit.pulses == pulses && digit.sure => {
                compare(name, digit, truth, &mut complaints)
            }
            digits => complaints.unless(false, || {
                let found: Vec<_> = digits
                    .iter()
                    .map(|d| (d.pulses, d.sure, d.doubt.clone()))
                    .collect();
                format!("{name}: wanted {pulses} pulses, sure; found {found:?}")
            }),
        }
    }
    assert!(seen > 0, "no recording was picked");
    complaints.raise();
}

fn is(truth: &Value, key: &str, value: &str) -> bool {
    truth[key] == value
}

#[test]
fn all_recordings_are_there() {
    // Nine runs; see make_loop.py.
    assert_eq!(frozen("loop", "truth.json").len(), 28);
}

/// A wrong digit reported as sure is the worst thing the tool can do.
#[test]
fn no_count_is_sure_and_wrong() {
    let mut complaints = Complaints::default();
    for truth in frozen("loop", "truth.json") {
        let name = truth["file"].as_str().unwrap();
        let wanted = truth["pulses"].as_u64().unwrap() as usize;
        let sure: Vec<usize> = measured("loop", name)
            .digits
            .iter()
            .filter(|d| d.sure)
            .map(|d| d.pulses)
            .collect();
        complaints.unless(sure.is_empty() || sure == [wanted], || {
            format!("{name}: {wanted} pulses were sent, sure of {sure:?}")
        });
    }
    complaints.raise();
}

#[test]
#[ignore = "waits for the detector"]
fn bench_supply_without_a_line() {
    check(|t| is(t, "loop", "bench"));
}

#[test]
#[ignore = "waits for the detector"]
fn short_loop_with_feed_relays() {
    check(|t| is(t, "loop", "short"));
}

#[test]
#[ignore = "waits for the detector"]
fn medium_loop_tapped_at_the_contacts() {
    check(|t| {
        is(t, "loop", "medium")
            && is(t, "tap", "contacts")
            && !t["file"].as_str().unwrap().contains("bounce")
    });
}

#[test]
#[ignore = "waits for the detector"]
fn medium_loop_with_bounce() {
    check(|t| t["file"].as_str().unwrap().contains("bounce"));
}

#[test]
#[ignore = "waits for the detector"]
fn long_loop_tapped_at_the_contacts() {
    check(|t| is(t, "loop", "long") && is(t, "tap", "contacts"));
}

#[test]
#[ignore = "waits for the detector"]
fn loops_tapped_in_the_line_outside_the_quench() {
    check(|t| is(t, "tap", "line"));
}
