//! A detector so plain that it is obviously right on clean direct recordings, and the real one held
//! against it. State levels by histogram, instants by crossing of the mid-reference level: IEEE Std 181.

mod support;

use edges::{Direction, Polarity};
use proptest::prelude::*;
use support::{clean_digits, fixed, measured};

/// Bins of the histogram of the samples.
const BINS: usize = 256;

/// Linear interpolation of a band-limited step, in samples. The step of a low-pass at 0.45 of the sample
/// rate is 1/2 + Si(0.9 pi t) / pi. A chord between its values at -a and 1 - a crosses 1/2 at most 0.0454
/// samples from t = 0 (by search over a, with Kaiser's window of parameter 9 over 64 samples; worst at
/// a = 0.2 and 0.8, none at 0, 1/2 and 1). That is an error of the naive detector.
const CHORD: f64 = 0.0454;
/// The levels are known to half a bin of the trace's whole swing, overshoot of 9 % at both ends included:
/// 1.18 / 256 / 2 = 0.0023 of the step. A chord across the middle of the step rises at least 0.58 in a
/// sample, so that a mid-reference level so far off is crossed 0.004 samples off.
const LEVEL: f64 = 0.004;

/// What the naive detector sees of one transition: its instant in samples, and whether the trace rises.
struct Crossing {
    at: f64,
    rising: bool,
}

/// State levels: the fullest bins of the lower and of the upper half of the histogram.
fn state_levels(samples: &[f32]) -> (f64, f64) {
    let value = |x: &f32| f64::from(*x);
    let least = samples.iter().map(value).fold(f64::INFINITY, f64::min);
    let most = samples.iter().map(value).fold(f64::NEG_INFINITY, f64::max);
    let width = (most - least) / BINS as f64;
    let mut counts = [0usize; BINS];
    for x in samples.iter().map(value) {
        counts[(((x - least) / width) as usize).min(BINS - 1)] += 1;
    }
    let fullest = |bins: std::ops::Range<usize>| {
        let bin = bins.max_by_key(|&i| counts[i]).unwrap_or(0);
        least + (bin as f64 + 0.5) * width
    };
    (fullest(0..BINS / 2), fullest(BINS / 2..BINS))
}

/// Crossings of the mid-reference level, on a straight line between neighbouring samples.
fn crossings(samples: &[f32]) -> Vec<Crossing> {
    let (lower, upper) = state_levels(samples);
    let middle = (lower + upper) / 2.0;
    let above: Vec<f64> = samples.iter().map(|&x| f64::from(x) - middle).collect();
    above
        .windows(2)
        .enumerate()
        .filter(|(_, pair)| (pair[0] < 0.0) != (pair[1] < 0.0))
        .map(|(i, pair)| Crossing {
            at: i as f64 + pair[0] / (pair[0] - pair[1]),
            rising: pair[1] > pair[0],
        })
        .collect()
}

/// The real detector does not know the recorder's anti-alias filter: its sharp template may be 0.012
/// samples off for each transition and 0.006 for all alike (standard deviations, part of its stated
/// variances). Five deviations of both: 5 x sqrt(0.012^2 + 0.006^2).
const TEMPLATE: f64 = 0.067;

proptest! {
    #![proptest_config(fixed(181, 24))]

    /// The naive detector itself is right: it returns the instants at which the contact was moved.
    #[test]
    fn naive_crossings_are_the_instants_drawn(scenario in clean_digits()) {
        let rendered = synth::render(&scenario);
        let crossings = crossings(&rendered.channels[0]);
        let drawn: Vec<f64> = rendered.truth.digits[0]
            .breaks
            .iter()
            .flat_map(|b| [b.break_start_s, b.make_start_s])
            .map(|s| s * rendered.sample_rate_hz)
            .collect();
        prop_assert_eq!(crossings.len(), drawn.len());
        for (crossing, drawn) in crossings.iter().zip(drawn) {
            prop_assert!((crossing.at - drawn).abs() < CHORD + LEVEL, "{} for {drawn}", crossing.at);
        }
    }

    /// On a clean trace there is nothing to be clever about: both must see the same transitions.
    #[test]
    fn instants_equal_naive_crossings(scenario in clean_digits()) {
        let rendered = synth::render(&scenario);
        let (samples, rate) = (&rendered.channels[0], rendered.sample_rate_hz);
        let crossings = crossings(samples);
        let trace = measured(samples, rate);
        prop_assert_eq!(trace.trains.len(), 1);
        let train = &trace.trains[0];
        prop_assert_eq!(train.edges.len(), crossings.len());
        // The loop is closed at rest, so the first crossing is an opening.
        let inverted = crossings[0].rising;
        prop_assert_eq!(train.polarity, if inverted { Polarity::Inverted } else { Polarity::Normal });
        for (edge, crossing) in train.edges.iter().zip(&crossings) {
            let opening = crossing.rising == inverted;
            let apart = edge.instant_s * rate - crossing.at;
            prop_assert_eq!(edge.direction, if opening { Direction::Opening } else { Direction::Closing });
            prop_assert!(apart.abs() < CHORD + LEVEL + TEMPLATE, "{apart} samples apart");
        }
    }
}
