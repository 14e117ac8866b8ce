//! Half milliseconds: the only thing that is done with every sample.
//!
//! A tick is some 24 samples, of which mean, energy, least and largest are kept. What follows looks at samples themselves only where
//! ticks say that something may have happened.

use crate::coarse;
use crate::wide::{LANES, add_up, fold, greater, largest, lesser, wide};

/// Coarse blocks in a tick: 2 to 4 kHz.
const BLOCKS: usize = 4;

/// Ticks of a stream, the older ones forgotten.
#[derive(Debug)]
pub(crate) struct Ticks {
    /// Samples in a tick.
    pub(crate) factor: usize,
    /// Ticks in a second.
    pub(crate) rate_hz: f64,
    /// Ticks before those that are kept.
    first: u64,
    means: Vec<f32>,
}

/// What is kept of some ticks, one list for each quantity.
#[derive(Debug, Default)]
pub(crate) struct Summary {
    pub(crate) mean: Vec<f32>,
    /// Sums of squared deviations from the mean.
    pub(crate) squares: Vec<f32>,
    pub(crate) low: Vec<f32>,
    pub(crate) high: Vec<f32>,
}

impl Summary {
    /// Summarises samples of `factor` to a tick, in place of what was summarised before. What is left over is
    /// a tick of its own.
    pub(crate) fn take(&mut self, samples: &[f32], factor: usize) {
        let count = samples.len().div_ceil(factor);
        for list in [
            &mut self.mean,
            &mut self.squares,
            &mut self.low,
            &mut self.high,
        ] {
            list.clear();
            list.resize(count, 0.0);
        }
        wide(
            #[inline(always)]
            || {
                let out = self.mean.iter_mut().zip(&mut self.squares);
                let out = out.zip(self.low.iter_mut().zip(&mut self.high));
                for (samples, ((mean, squares), (low, high))) in samples.chunks(factor).zip(out) {
                    [*mean, *squares, *low, *high] = summarise(samples);
                }
            },
        );
    }

    /// Whether all samples are numbers, and none as large as `most`.
    pub(crate) fn is_sane(&self, most: f32) -> bool {
        // A sum is no number when one of its terms is none.
        [&self.mean, &self.low, &self.high].iter().all(|values| {
            wide(
                #[inline(always)]
                || {
                    // Counted, not left at the first: such a loop becomes vector instructions.
                    let sane: u32 = values.iter().map(|x| u32::from(x.abs() < most)).sum();
                    sane as usize == values.len()
                },
            )
        })
    }

    /// Largest magnitude of all samples.
    pub(crate) fn peak(&self) -> f32 {
        greater(largest(&self.low), largest(&self.high))
    }
}

impl Ticks {
    pub(crate) fn new(sample_rate_hz: f64) -> Self {
        let factor = factor(sample_rate_hz);
        Ticks {
            factor,
            rate_hz: sample_rate_hz / factor as f64,
            first: 0,
            means: Vec::new(),
        }
    }

    /// Takes the next ticks.
    pub(crate) fn push(&mut self, means: &[f32]) {
        self.means.extend_from_slice(means);
    }

    /// First tick that is kept.
    pub(crate) fn first(&self) -> u64 {
        self.first
    }

    /// Ticks seen since the stream began.
    pub(crate) fn count(&self) -> u64 {
        self.first + self.means.len() as u64
    }

    /// Time of the middle of a tick, in seconds.
    pub(crate) fn middle_s(&self, tick: u64) -> f64 {
        middle_s(tick, self.factor, self.rate_hz)
    }

    /// Means of a stretch of ticks, as far as they are kept.
    pub(crate) fn means(&self, from: u64, to: u64) -> &[f32] {
        &self.means[self.kept(from, to)]
    }

    fn kept(&self, from: u64, to: u64) -> std::ops::Range<usize> {
        let place = |at: u64| (at.saturating_sub(self.first) as usize).min(self.means.len());
        place(from)..place(to).max(place(from))
    }

    /// Forgets the ticks before `until`, sooner or later: moving what stays costs as much as it is long.
    pub(crate) fn forget(&mut self, until: u64) {
        let old = self.kept(self.first, until).len();
        if old > self.means.len() / 2 {
            self.means.drain(..old);
            self.first += old as u64;
        }
    }

    /// Ticks in a time, rounded.
    pub(crate) fn of(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz).round() as u64
    }
}

/// Samples in a tick at a sample rate.
pub(crate) fn factor(sample_rate_hz: f64) -> usize {
    coarse::factor(sample_rate_hz) * BLOCKS
}

/// Time of the middle of a tick of `factor` samples, in seconds from the first sample.
pub(crate) fn middle_s(tick: u64, factor: usize, tick_rate_hz: f64) -> f64 {
    (tick as f64 + 0.5 - 0.5 / factor as f64) / tick_rate_hz
}

/// Mean, squared deviations from it, least and largest. Sums are taken of the differences from the first sample: a
/// large offset then costs no digits.
#[inline(always)]
fn summarise(samples: &[f32]) -> [f32; 4] {
    let shift = samples[0];
    let (lanes, rest) = samples.as_chunks::<LANES>();
    let mut all = Lanes::new(shift);
    for lane in lanes {
        all.take(lane, shift);
    }
    if !rest.is_empty() {
        // Filled up with the first sample, which adds nothing to any of the sums.
        let mut lane = [shift; LANES];
        lane[..rest.len()].copy_from_slice(rest);
        all.take(&lane, shift);
    }
    let count = samples.len() as f32;
    let mean = add_up(all.sum) / count;
    let squares = add_up(all.squares) - mean * mean * count;
    [
        shift + mean,
        greater(squares, 0.0),
        fold(all.low, lesser),
        fold(all.high, greater),
    ]
}

/// Sums side by side.
struct Lanes {
    sum: [f32; LANES],
    squares: [f32; LANES],
    low: [f32; LANES],
    high: [f32; LANES],
}

impl Lanes {
    #[inline(always)]
    fn new(first: f32) -> Self {
        Lanes {
            sum: [0.0; LANES],
            squares: [0.0; LANES],
            low: [first; LANES],
            high: [first; LANES],
        }
    }

    #[inline(always)]
    fn take(&mut self, lane: &[f32; LANES], shift: f32) {
        for (k, &x) in lane.iter().enumerate() {
            let apart = x - shift;
            self.sum[k] += apart;
            self.squares[k] += apart * apart;
            self.low[k] = lesser(self.low[k], x);
            self.high[k] = greater(self.high[k], x);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_tick_is_mean_span_and_energy() {
        let samples: Vec<f32> = (0..21).map(|i| 0.5 + 0.01 * i as f32).collect();
        let [mean, squares, low, high] = summarise(&samples);
        assert_relative_eq!(mean, 0.6, max_relative = 1e-6);
        // Squares of -10..=10 times 0.01 squared.
        assert_relative_eq!(squares, 770.0e-4, max_relative = 1e-4);
        assert_relative_eq!(low, 0.5);
        assert_relative_eq!(high, 0.7);
    }

    #[test]
    fn what_is_no_number_shows_in_the_summary() {
        let mut summary = Summary::default();
        for wild in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e6, -1e6] {
            let mut samples = vec![0.25f32; 53];
            summary.take(&samples, 24);
            assert!(summary.is_sane(1e6));
            samples[31] = wild;
            summary.take(&samples, 24);
            assert!(!summary.is_sane(1e6), "{wild}");
        }
    }

    #[test]
    fn old_ticks_are_forgotten_and_the_count_goes_on() {
        let mut ticks = Ticks::new(8000.0);
        ticks.push(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]);
        ticks.forget(6);
        assert_eq!(ticks.count(), 10);
        assert_eq!(ticks.means(0, 8), &[6.0, 7.0]);
        assert_eq!(ticks.means(9, 40), &[9.0]);
    }
}
