//! What the tests of the detector share: dials drawn at random, and one way to measure a recording.

use edges::{Detector, Trace};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use synth::{Dial, Probe, Recorder, Scenario};

/// A run of so many cases from a fixed seed: a failure repeats itself, so none needs to be written down.
pub(crate) fn fixed(seed: u64, cases: u32) -> ProptestConfig {
    ProptestConfig {
        rng_seed: RngSeed::Fixed(seed),
        failure_persistence: None,
        // Each try renders and measures a recording: some tries make a failure simpler, many only slower.
        max_shrink_iters: 24,
        ..ProptestConfig::with_cases(cases)
    }
}

/// One digit of a dial from very slow to very fast, recorded directly and cleanly at any usual rate.
pub(crate) fn clean_digits() -> impl Strategy<Value = Scenario> {
    (
        8_000u32..=48_000,
        5.0..22.0f64,
        35.0..85.0f64,
        1u8..=10,
        any::<bool>(),
        // The first opening falls anywhere between two samples.
        0.8..1.0f64,
    )
        .prop_map(
            |(rate, speed_pps, percent_break, pulses, inverted, lead_in_s)| Scenario {
                dial: Dial {
                    speed_pps,
                    percent_break,
                    jitter_percent: 0.2,
                    ..Dial::default()
                },
                numbers: vec![pulses],
                probe: Probe {
                    inverted,
                    ..Probe::default()
                },
                recorder: Recorder {
                    sample_rate_hz: f64::from(rate),
                    ..Recorder::default()
                },
                lead_in_s,
                ..Scenario::default()
            },
        )
}

/// What the detector says of a whole recording.
pub(crate) fn measured(samples: &[f32], rate_hz: f64) -> Trace {
    let mut detector = Detector::new(rate_hz);
    detector.push(samples);
    detector.finish()
}
