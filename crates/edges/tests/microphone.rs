//! A microphone beside the dial: heard, not wired.

use edges::{Detector, Trace};
use std::f64::consts::TAU;

const RATE_HZ: f64 = 44_100.0;

/// Clicks at both contacts of every pulse: a body that rings at `ring_hz` and dies within milliseconds,
/// the closing louder than the opening, over the whirr of the return and a little noise.
fn heard(pulses: u32, ring_hz: f64, decay_s: f64) -> Vec<f32> {
    let mut state = 11u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1u32 << 24) - 0.5
    };
    let clicks: Vec<(f64, f64)> = (0..pulses)
        .flat_map(|k| {
            let start = 1.0 + 0.1 * f64::from(k);
            [(start, 0.2), (start + 0.0615, 0.35)]
        })
        .collect();
    (0..(3.0 * RATE_HZ) as u32)
        .map(|i| {
            let t = f64::from(i) / RATE_HZ;
            let whirr = if (1.0..2.0).contains(&t) { 0.02 } else { 0.002 };
            let rings = clicks
                .iter()
                .filter(|c| t >= c.0 && t < c.0 + 0.02)
                .map(|&(at, size)| {
                    size * (-(t - at) / decay_s).exp() * (TAU * ring_hz * (t - at)).sin()
                });
            (whirr * noise() + rings.sum::<f64>()) as f32
        })
        .collect()
}

fn detect(samples: &[f32]) -> Trace {
    let mut detector = Detector::new(RATE_HZ);
    detector.push(samples);
    detector.finish()
}

#[test]
fn clicks_in_the_rhythm_of_a_dial_are_heard_not_wired() {
    for (ring_hz, decay_s) in [
        (900.0, 0.0012),
        (1800.0, 0.0008),
        (3100.0, 0.0015),
        (5200.0, 0.001),
    ] {
        let trace = detect(&heard(8, ring_hz, decay_s));
        assert!(
            trace.trains.iter().all(|t| !t.doubts.is_empty()),
            "sure of clicks that ring at {ring_hz} Hz"
        );
        assert!(
            trace.heard_not_wired,
            "not recognised at {ring_hz} Hz: {} trains",
            trace.trains.len()
        );
    }
}

#[test]
fn a_wired_dial_is_not_taken_for_a_microphone() {
    // Two-valued, direct, 10 pps, 62 % break, a little noise.
    let samples: Vec<f32> = heard(0, 1000.0, 0.001)
        .iter()
        .enumerate()
        .map(|(i, noise)| {
            let t = i as f64 / RATE_HZ - 1.0;
            let open = (0.0..0.8).contains(&t) && (t * 10.0).fract() < 0.62;
            noise + if open { -0.2 } else { 0.2 }
        })
        .collect();
    let trace = detect(&samples);
    assert_eq!(trace.trains.len(), 1);
    assert!(trace.trains[0].doubts.is_empty() && !trace.heard_not_wired);
}
