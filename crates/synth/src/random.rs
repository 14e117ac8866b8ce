//! Seeded random numbers, one independent stream for each use, so that changing one impairment leaves the
//! others as they were.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// What a stream of random numbers is for.
#[derive(Clone, Copy)]
pub(crate) enum Stream {
    Dial = 1,
    Noise,
    Hum,
    Wander,
    OtherChannel,
    Draw,
    Winding,
    /// The first sound; sounds after it count on from here.
    Sounds = 100,
}

/// Seeded source of random numbers.
pub(crate) struct Random(ChaCha8Rng);

impl Random {
    pub(crate) fn new(seed: u64, stream: Stream, index: u64) -> Self {
        let mut source = ChaCha8Rng::seed_from_u64(seed);
        source.set_stream(stream as u64 + index);
        Self(source)
    }

    /// Uniform between `from` and `to`.
    pub(crate) fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.0.random::<f64>()
    }

    /// Uniform in the logarithm between `from` and `to`, both positive.
    pub(crate) fn log_between(&mut self, from: f64, to: f64) -> f64 {
        self.between(from.ln(), to.ln()).exp()
    }

    /// Whole number from `from` to `to`, both included.
    pub(crate) fn whole(&mut self, from: usize, to: usize) -> usize {
        self.0.random_range(from as u64..=to as u64) as usize
    }

    /// True with this probability.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    /// One of several.
    pub(crate) fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.whole(0, choices.len() - 1)]
    }

    /// Normal with mean 0 and standard deviation 1.
    pub(crate) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Angle between 0 and 2 pi.
    pub(crate) fn phase(&mut self) -> f64 {
        self.between(0.0, std::f64::consts::TAU)
    }

    /// A seed for something else.
    pub(crate) fn seed(&mut self) -> u64 {
        self.0.random()
    }
}
