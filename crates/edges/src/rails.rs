//! Where the recorder cut off the open and the closed line alike.
//!
//! An overloaded input holds at the limits of its converter what would go past them. Where hum or drift pushes the trace so
//! far that the open line and the closed one both lie at the same limit, a pulse that falls there leaves nothing behind, and
//! what comes of one that falls beside it is less than a pulse. Nothing else in the trace tells of it.

use crate::wide::{greater, join_all, lesser, wide};
use std::ops::Range;

/// Looked at so many periods around a train, or so long where it has but one pulse.
const AROUND_PERIODS: f64 = 2.0;
const AROUND_SINGLE_S: f64 = 0.1;
/// Left out on both sides of every transition: bounce, and what a filter makes of the step, reach a limit as well.
const GUARD_S: f64 = 0.001;
/// A state is cut off where the trace stays at a limit for so long, and for so many samples.
const LEAST_S: f64 = 0.0015;
const LEAST_SAMPLES: usize = 6;

/// The first sample of the longest run in which the closed line lies at a limit at which the open line lies elsewhere around
/// the train; `None` if there is none. `breaks` are the samples at which each opens and closes, in time order.
pub(crate) fn alike(samples: &[f32], rate_hz: f64, breaks: &[(f64, f64)]) -> Option<usize> {
    let (first, last) = (breaks.first()?, breaks.last()?);
    let periods = breaks.len() - 1;
    let around = if periods == 0 {
        AROUND_SINGLE_S * rate_hz
    } else {
        AROUND_PERIODS * (last.0 - first.0) / periods as f64
    };
    let place = |at: f64| (at.max(0.0) as usize).min(samples.len());
    let (from, to) = (place(first.0 - around), place(last.1 + around));
    let stretch = samples.get(from..to)?;
    let guard = (GUARD_S * rate_hz).ceil();
    let between = |begin: f64, end: f64| place(begin + guard).max(from)..place(end - guard).min(to);
    let open: Vec<Range<usize>> = breaks.iter().map(|b| between(b.0, b.1)).collect();
    let mut bounds = vec![from as f64 - guard];
    bounds.extend(breaks.iter().flat_map(|b| [b.0, b.1]));
    bounds.push(to as f64 + guard);
    let closed: Vec<Range<usize>> = bounds
        .chunks_exact(2)
        .map(|ends| between(ends[0], ends[1]))
        .collect();
    let least = LEAST_SAMPLES.max((LEAST_S * rate_hz).ceil() as usize);
    let (lowest, highest) = extremes(stretch);
    [highest, lowest]
        .into_iter()
        .filter_map(|limit| {
            longest_at(samples, limit, &open, least)?;
            longest_at(samples, limit, &closed, least)
        })
        .max_by_key(Range::len)
        .map(|run| run.start)
}

/// Lowest and highest sample.
fn extremes(samples: &[f32]) -> (f32, f32) {
    wide(
        #[inline(always)]
        || {
            let lowest = join_all(samples, f32::MAX, lesser);
            (lowest, join_all(samples, f32::MIN, greater))
        },
    )
}

/// The longest run of samples of exactly this value in some stretches, the first of equals; `None` where none is as long as
/// `least`.
fn longest_at(
    samples: &[f32],
    limit: f32,
    stretches: &[Range<usize>],
    least: usize,
) -> Option<Range<usize>> {
    let is_at = |x: &f32| x.to_bits() == limit.to_bits();
    let mut longest: Option<Range<usize>> = None;
    for stretch in stretches.iter().filter(|s| s.start < s.end) {
        let own = &samples[stretch.clone()];
        // A run as long as that holds one of these.
        let mut at = least - 1;
        while let Some(x) = own.get(at) {
            if !is_at(x) {
                at += least;
                continue;
            }
            let before = own[..at].iter().rev().take_while(|x| is_at(x)).count();
            let after = own[at..].iter().take_while(|x| is_at(x)).count();
            let run = stretch.start + at - before..stretch.start + at + after;
            let most = longest.as_ref().map_or(least - 1, Range::len);
            if run.len() > most {
                longest = Some(run);
            }
            at += after + least;
        }
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 8000.0;

    /// Three breaks of 60 ms with 40 ms between, half the step being 1, in hum of 50 Hz, and no more than `limit` of it.
    fn recording(hum: f32, limit: f32) -> (Vec<f32>, Vec<(f64, f64)>) {
        let breaks: Vec<(f64, f64)> = (0..3)
            .map(|i| 2000.0 + 800.0 * f64::from(i))
            .map(|at| (at, at + 480.0))
            .collect();
        let samples = (0..8000)
            .map(|i| {
                let open = breaks.iter().any(|b| (b.0..b.1).contains(&f64::from(i)));
                let swing = hum * (std::f32::consts::TAU * 50.0 * i as f32 / 8000.0).sin();
                (if open { -1.0 } else { 1.0 } + swing).clamp(-limit, limit)
            })
            .collect();
        (samples, breaks)
    }

    #[test]
    fn a_limit_that_holds_both_states_is_found() {
        let (samples, breaks) = recording(0.8, 0.15);
        assert_eq!(
            alike(&samples, RATE_HZ, &breaks),
            None,
            "each lies at its own limit"
        );
        let (samples, breaks) = recording(1.5, 0.15);
        let at = alike(&samples, RATE_HZ, &breaks).expect("hum carries both to either limit");
        let is_open = breaks.iter().any(|b| (b.0..b.1).contains(&(at as f64)));
        assert!(!is_open && samples[at].abs() == 0.15, "{at}");
    }

    #[test]
    fn the_longest_run_of_a_value_is_found_wherever_it_lies() {
        let mut samples = vec![0.5f32; 200];
        for (from, length) in [(3, 5), (20, 6), (41, 9), (70, 9), (191, 9)] {
            samples[from..from + length].fill(1.0);
        }
        let all = std::slice::from_ref(&(0..200));
        for least in 1..=9 {
            assert_eq!(
                longest_at(&samples, 1.0, all, least),
                Some(41..50),
                "{least}"
            );
        }
        assert_eq!(longest_at(&samples, 1.0, all, 10), None);
        assert_eq!(
            longest_at(&samples, 1.0, &[0..47, 60..200], 7),
            Some(70..79)
        );
        assert_eq!(extremes(&samples), (0.5, 1.0));
        samples[199] = -2.0;
        samples[11] = 3.0;
        assert_eq!(extremes(&samples), (-2.0, 3.0));
    }

    #[test]
    fn what_is_not_cut_off_reaches_no_limit_for_long() {
        let (samples, breaks) = recording(1.5, 9.0);
        assert_eq!(alike(&samples, RATE_HZ, &breaks), None);
        assert_eq!(alike(&samples, RATE_HZ, &[]), None);
    }
}
