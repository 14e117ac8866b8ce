//! Counts samples that sit at the ends of the scale.

/// Samples per look at whether anything is at an end at all; small enough for the first cache.
const LOOK: usize = 4096;

/// Counts, per channel, samples at the same end of the scale in runs of at least two.
///
/// One sample at the end may be a true peak; two in a row are a clipped one.
pub(crate) struct ClipCounter {
    lowest: f32,
    highest: f32,
    counts: Vec<u64>,
    runs: Vec<Run>,
}

/// The run of end codes that a channel is in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Run {
    None,
    One { high: bool },
    More { high: bool },
}

impl ClipCounter {
    /// A counter for `channels` channels whose scale ends at `extremes`; with `None` it counts
    /// nothing.
    pub(crate) fn new(channels: u16, extremes: Option<(f32, f32)>) -> ClipCounter {
        let (lowest, highest) = extremes.unwrap_or((f32::NEG_INFINITY, f32::INFINITY));
        let channels = usize::from(channels);
        ClipCounter {
            lowest,
            highest,
            counts: vec![0; channels],
            runs: vec![Run::None; channels],
        }
    }

    /// Samples counted so far, one entry a channel.
    pub(crate) fn counts(&self) -> &[u64] {
        &self.counts
    }

    /// Takes the next interleaved frames.
    pub(crate) fn count(&mut self, frames: &[f32]) {
        if self.lowest == f32::NEG_INFINITY {
            return;
        }
        let channels = self.counts.len();
        let look = (LOOK / channels).max(1) * channels;
        for part in frames.chunks(look) {
            // Without a branch inside, and with as many bits to a flag as to a sample, this loop runs
            // at vector speed; clipping is the exception.
            let at_end = |x: f32| u32::from(x <= self.lowest) | u32::from(x >= self.highest);
            let any = part.iter().fold(0, |any, &x| any | at_end(x)) != 0;
            if any {
                self.count_each(part);
            } else {
                self.runs.fill(Run::None);
            }
        }
    }

    fn count_each(&mut self, part: &[f32]) {
        for frame in part.chunks_exact(self.counts.len()) {
            for ((&sample, count), run) in frame.iter().zip(&mut self.counts).zip(&mut self.runs) {
                let at_end = sample <= self.lowest || sample >= self.highest;
                let high = sample > 0.0;
                *run = match *run {
                    _ if !at_end => Run::None,
                    Run::One { high: before } if before == high => {
                        *count += 2;
                        Run::More { high }
                    }
                    Run::More { high: before } if before == high => {
                        *count += 1;
                        Run::More { high }
                    }
                    _ => Run::One { high },
                };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(parts: &[&[f32]], channels: u16) -> Vec<u64> {
        let mut counter = ClipCounter::new(channels, Some((-1.0, 1.0)));
        parts.iter().for_each(|part| counter.count(part));
        counter.counts().to_vec()
    }

    #[test]
    fn a_clean_stretch_ends_a_run() {
        let clean = [0.0; LOOK];
        assert_eq!(counted(&[&[1.0], &clean, &[1.0]], 1), [0]);
        assert_eq!(counted(&[&[1.0, 1.0], &clean, &[1.0, 1.0, 1.0]], 1), [5]);
    }

    #[test]
    fn a_run_goes_on_across_blocks_and_channels_are_apart() {
        assert_eq!(counted(&[&[0.0, 1.0], &[1.0, 0.0]], 1), [2]);
        assert_eq!(counted(&[&[1.0, -1.0, 1.0, 0.0], &[1.0, -1.0]], 2), [3, 0]);
    }

    #[test]
    fn without_ends_nothing_is_counted() {
        let mut counter = ClipCounter::new(1, None);
        counter.count(&[1.0, 1.0, 1.0]);
        assert_eq!(counter.counts(), [0]);
    }
}
