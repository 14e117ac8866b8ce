//! The coarse stage: block means at 8 to 16 kHz, fast enough to place every edge of a dial to a tenth of
//! a millisecond and slow enough to try many hypotheses.

use crate::wide::wide;

/// A window of the trace as block means.
#[derive(Clone, Debug)]
pub(crate) struct Coarse {
    /// Samples of the recording in one block.
    pub(crate) factor: usize,
    /// Blocks in a second.
    pub(crate) rate_hz: f64,
    /// Means of the blocks.
    pub(crate) means: Vec<f64>,
}

/// Samples in one block at a sample rate.
pub(crate) fn factor(sample_rate_hz: f64) -> usize {
    // Truncation is wanted: 44.1 kHz gives blocks of five (8.82 kHz).
    ((sample_rate_hz / 8000.0) as usize).max(1)
}

/// Means of blocks of `factor` samples. Of a fixed number the compiler makes straight sums.
pub(crate) fn block_means(samples: &[f32], factor: usize) -> Vec<f64> {
    match factor {
        1 => samples.iter().map(|&x| f64::from(x)).collect(),
        2 => means_of::<2>(samples),
        4 => means_of::<4>(samples),
        5 => means_of::<5>(samples),
        6 => means_of::<6>(samples),
        12 => means_of::<12>(samples),
        _ => {
            let blocks = samples.chunks_exact(factor);
            let mean = |block: &[f32]| f64::from(block.iter().sum::<f32>()) / factor as f64;
            blocks.map(mean).collect()
        }
    }
}

fn means_of<const FACTOR: usize>(samples: &[f32]) -> Vec<f64> {
    let (blocks, _) = samples.as_chunks::<FACTOR>();
    let mut means = vec![0.0; blocks.len()];
    wide(
        #[inline(always)]
        || {
            for (mean, block) in means.iter_mut().zip(blocks) {
                let sum = block[1..].iter().fold(block[0], |sum, x| sum + x);
                *mean = f64::from(sum) / FACTOR as f64;
            }
        },
    );
    means
}

impl Coarse {
    pub(crate) fn new(samples: &[f32], sample_rate_hz: f64) -> Self {
        let factor = factor(sample_rate_hz);
        let means = block_means(samples, factor);
        Coarse {
            factor,
            rate_hz: sample_rate_hz / factor as f64,
            means,
        }
    }

    /// Samples of the recording before the middle of block `index`, fractional.
    pub(crate) fn middle(&self, index: usize) -> f64 {
        index as f64 * self.factor as f64 + (self.factor as f64 - 1.0) / 2.0
    }
}
