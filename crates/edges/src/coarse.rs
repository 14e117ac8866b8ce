//! The coarse stage: block means at 8 to 16 kHz, fast enough to place every edge of a dial to a tenth of
//! a millisecond and slow enough to try many hypotheses.

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

/// Means of blocks of `factor` samples. One sample of every block is added at a time, so that many blocks are summed
/// side by side.
pub(crate) fn block_means(samples: &[f32], factor: usize) -> Vec<f64> {
    const SIDE: usize = 64;
    let mut means = Vec::with_capacity(samples.len() / factor);
    let mut sums = [0.0f32; SIDE];
    let whole = samples.len() / factor * factor;
    for samples in samples[..whole].chunks(SIDE * factor) {
        let blocks = samples.len() / factor;
        let sums = &mut sums[..blocks];
        sums.fill(0.0);
        for k in 0..factor {
            let each = samples[k..].iter().step_by(factor);
            sums.iter_mut().zip(each).for_each(|(sum, x)| *sum += x);
        }
        means.extend(sums.iter().map(|&sum| f64::from(sum) / factor as f64));
    }
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
