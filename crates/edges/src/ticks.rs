//! Half milliseconds: the only thing that is done with every sample.
//!
//! A tick is some 24 samples, of which mean, energy, least and largest are kept. What follows looks at samples themselves only where
//! ticks say that something may have happened.

use crate::coarse;

/// Coarse blocks in a tick: 2 to 4 kHz.
const BLOCKS: usize = 4;
/// Sums run over so many samples side by side, which the compiler turns into vector instructions.
const LANES: usize = 4;

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

/// What one tick adds to the account of a whole recording.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tick {
    pub(crate) mean: f64,
    /// Sum of squared deviations from the mean.
    pub(crate) squares: f64,
    pub(crate) low: f32,
    pub(crate) high: f32,
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

    /// Takes the next tick of samples.
    pub(crate) fn push(&mut self, samples: &[f32]) -> Tick {
        let tick = summarise(samples);
        self.means.push(tick.mean as f32);
        tick
    }

    /// Takes the last tick once more, its samples mended.
    pub(crate) fn replace(&mut self, samples: &[f32]) -> Tick {
        self.means.pop();
        self.push(samples)
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

    /// Forgets the ticks before `until`.
    pub(crate) fn forget(&mut self, until: u64) {
        let old = self.kept(self.first, until).len();
        self.means.drain(..old);
        self.first += old as u64;
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

/// Sums are taken of the differences from the first sample: a large offset then costs no digits.
pub(crate) fn summarise(samples: &[f32]) -> Tick {
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
    let count = samples.len() as f64;
    let mean = f64::from(all.sum.iter().sum::<f32>()) / count;
    let squares = f64::from(all.squares.iter().sum::<f32>()) - mean * mean * count;
    Tick {
        mean: f64::from(shift) + mean,
        squares: squares.max(0.0),
        low: all.low.into_iter().fold(shift, lesser),
        high: all.high.into_iter().fold(shift, greater),
    }
}

/// Sums side by side.
struct Lanes {
    sum: [f32; LANES],
    squares: [f32; LANES],
    low: [f32; LANES],
    high: [f32; LANES],
}

impl Lanes {
    fn new(first: f32) -> Self {
        Lanes {
            sum: [0.0; LANES],
            squares: [0.0; LANES],
            low: [first; LANES],
            high: [first; LANES],
        }
    }

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

/// One machine instruction, unlike `f32::min`, which minds what is no number.
pub(crate) fn lesser(a: f32, b: f32) -> f32 {
    if b < a { b } else { a }
}

pub(crate) fn greater(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_tick_is_mean_span_and_energy() {
        let samples: Vec<f32> = (0..21).map(|i| 0.5 + 0.01 * i as f32).collect();
        let tick = summarise(&samples);
        assert_relative_eq!(tick.mean, 0.6, max_relative = 1e-6);
        // Squares of -10..=10 times 0.01 squared.
        assert_relative_eq!(tick.squares, 770.0e-4, max_relative = 1e-4);
        assert_relative_eq!(tick.low, 0.5);
        assert_relative_eq!(tick.high, 0.7);
    }

    #[test]
    fn old_ticks_are_forgotten_and_the_count_goes_on() {
        let mut ticks = Ticks::new(8000.0);
        for k in 0..10 {
            ticks.push(&[k as f32; 4]);
        }
        ticks.forget(6);
        assert_eq!(ticks.count(), 10);
        assert_eq!(ticks.means(0, 8), &[6.0, 7.0]);
        assert_eq!(ticks.means(9, 40), &[9.0]);
    }
}
