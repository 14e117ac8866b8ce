//! Half milliseconds: the only thing that is done with every sample.
//!
//! A tick is some 24 samples, of which mean, least and largest are kept. What follows looks at samples themselves only where
//! ticks say that something may have happened.

use crate::coarse;
use crate::hum::Grid;
use crate::latest::Sample;
use crate::tone::Tone;
use crate::wide::{LANES, greater, largest, wide};

/// Coarse blocks in a tick: 2 to 4 kHz.
const BLOCKS: usize = 4;

/// Ticks of a stream, the older ones forgotten.
#[derive(Clone, Debug)]
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
    pub(crate) low: Vec<f32>,
    pub(crate) high: Vec<f32>,
}

impl Summary {
    /// Summarises samples of `factor` to a tick, in place of what was summarised before. What is left over is
    /// a tick of its own.
    pub(crate) fn take<S: Sample>(&mut self, samples: &[S], factor: usize) {
        let count = samples.len().div_ceil(factor);
        for list in [&mut self.mean, &mut self.low, &mut self.high] {
            list.clear();
            list.resize(count, 0.0);
        }
        let lists = [&mut self.mean, &mut self.low, &mut self.high];
        wide(
            #[inline(always)]
            || summarise(samples, factor, lists),
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

    /// The same ticks without a tone.
    pub(crate) fn without(&self, tone: &Tone) -> Self {
        let mut ticks = self.clone();
        let grid = self.grid(self.first);
        tone.subtract(&mut ticks.means, grid);
        ticks
    }

    /// Where ticks from one on lie in time.
    pub(crate) fn grid(&self, from: u64) -> Grid {
        Grid {
            start_s: self.middle_s(from),
            rate_hz: self.rate_hz,
            mean_s: 1.0 / self.rate_hz,
        }
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

/// Ticks summarised side by side: as many as there are lanes, so that their lanes are joined all at once.
const SIDE: usize = LANES;

/// Mean, least and largest of every tick. Sums are taken of the differences from its first sample: a large offset then
/// costs no digits.
#[inline(always)]
fn summarise<S: Sample>(samples: &[S], factor: usize, [means, lows, highs]: [&mut Vec<f32>; 3]) {
    let out = lows.chunks_mut(SIDE).zip(highs.chunks_mut(SIDE));
    let out = means.chunks_mut(SIDE).zip(out);
    for (samples, (means, (lows, highs))) in samples.chunks(SIDE * factor).zip(out) {
        let mut first = [S::default(); SIDE];
        let mut sums = [[S::Sum::default(); LANES]; SIDE];
        let mut low = [[S::default(); LANES]; SIDE];
        let mut high = [[S::default(); LANES]; SIDE];
        for (row, tick) in samples.chunks(factor).enumerate() {
            first[row] = tick[0];
            (sums[row], low[row], high[row]) = lanes(tick);
        }
        let sums = joined(sums, S::plus).map(S::value_of_sum);
        let low = joined(low, S::lesser).map(S::value);
        let high = joined(high, S::greater).map(S::value);
        let count = factor as f32;
        let mut mean = [0.0; SIDE];
        for k in 0..SIDE {
            mean[k] = first[k].value() + sums[k] / count;
        }
        // The last tick may have fewer samples.
        let last = means.len() - 1;
        let left = samples.len() - last * factor;
        if left < factor {
            mean[last] = first[last].value() + sums[last] / left as f32;
        }
        means.copy_from_slice(&mean[..=last]);
        lows.copy_from_slice(&low[..=last]);
        highs.copy_from_slice(&high[..=last]);
    }
}

/// Sums of the differences from the first sample, least and largest, side by side.
#[inline(always)]
fn lanes<S: Sample>(samples: &[S]) -> ([S::Sum; LANES], [S; LANES], [S; LANES]) {
    let first = samples[0];
    let mut sums = [S::Sum::default(); LANES];
    let (mut low, mut high) = ([first; LANES], [first; LANES]);
    let mut add = |lane: &[S; LANES]| {
        for (k, &x) in lane.iter().enumerate() {
            sums[k] = S::plus(sums[k], x.since(first));
            low[k] = low[k].lesser(x);
            high[k] = high[k].greater(x);
        }
    };
    let (lanes, rest) = samples.as_chunks::<LANES>();
    lanes.iter().for_each(&mut add);
    if !rest.is_empty() {
        // Filled up with the first sample, which adds nothing to the sums.
        let mut lane = [first; LANES];
        lane[..rest.len()].copy_from_slice(rest);
        add(&lane);
    }
    (sums, low, high)
}

/// Joins the lanes of each tick by `join`, half onto half: what is left of two ticks fills one row, of four, and of all.
#[inline(always)]
fn joined<T: Copy + Default>(rows: [[T; LANES]; SIDE], join: impl Fn(T, T) -> T) -> [T; SIDE] {
    const HALF: usize = LANES / 2;
    const QUARTER: usize = LANES / 4;
    let mut halves = [[T::default(); LANES]; SIDE / 2];
    for (pair, half) in halves.iter_mut().enumerate() {
        let [one, other] = [rows[2 * pair], rows[2 * pair + 1]];
        for k in 0..HALF {
            half[k] = join(one[k], one[k + HALF]);
            half[k + HALF] = join(other[k], other[k + HALF]);
        }
    }
    let mut quarters = [[T::default(); LANES]; SIDE / 4];
    for (pair, quarter) in quarters.iter_mut().enumerate() {
        for (side, row) in [halves[2 * pair], halves[2 * pair + 1]].iter().enumerate() {
            for tick in 0..2 {
                for k in 0..QUARTER {
                    let from = tick * HALF + k;
                    quarter[side * HALF + tick * QUARTER + k] =
                        join(row[from], row[from + QUARTER]);
                }
            }
        }
    }
    let mut out = [T::default(); SIDE];
    for (side, row) in quarters.iter().enumerate() {
        for tick in 0..SIDE / 2 {
            out[side * HALF + tick] = join(row[2 * tick], row[2 * tick + 1]);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_tick_is_mean_and_span() {
        let samples: Vec<f32> = (0..21).map(|i| 0.5 + 0.01 * i as f32).collect();
        let mut summary = Summary::default();
        summary.take(&samples, 21);
        assert_relative_eq!(summary.mean[0], 0.6, max_relative = 1e-6);
        assert_relative_eq!(summary.low[0], 0.5);
        assert_relative_eq!(summary.high[0], 0.7);
    }

    /// Of any number of samples to a tick, and with some left over.
    #[test]
    fn ticks_of_integers_are_those_of_their_values() {
        let words: Vec<i16> = (0..1013)
            .map(|i: i64| (i * i * 7919 % 65_536 - 32_768) as i16)
            .collect();
        let values: Vec<f32> = words.iter().map(|word| word.value()).collect();
        for factor in [4, 8, 20, 24, 48, 96] {
            let (mut own, mut theirs) = (Summary::default(), Summary::default());
            own.take(&words, factor);
            theirs.take(&values, factor);
            assert_eq!(own.mean, theirs.mean, "{factor}");
            assert_eq!((own.low, own.high), (theirs.low, theirs.high), "{factor}");
            for (mean, tick) in own.mean.iter().zip(values.chunks(factor)) {
                let plain = tick.iter().map(|x| f64::from(*x)).sum::<f64>() / tick.len() as f64;
                assert_relative_eq!(f64::from(*mean), plain, epsilon = 2e-7);
            }
        }
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
