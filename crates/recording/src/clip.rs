//! Counts samples that sit at the ends of the scale.

/// Samples per look at whether anything is at an end at all; small enough for the first cache.
const LOOK: usize = 4096;
/// Samples looked at side by side.
const SIDE: usize = 32;

/// Counts, per channel, samples at the same end of the scale in runs of at least two.
///
/// One sample at the end may be a true peak; two in a row are a clipped one.
pub(crate) struct ClipCounter {
    extremes: Option<Extremes>,
    counts: Vec<u64>,
    runs: Vec<Run>,
}

/// The ends of the scale, in full-scale units and in 16-bit integers.
#[derive(Clone, Copy)]
struct Extremes {
    floats: (f32, f32),
    words: (i16, i16),
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
        let channels = usize::from(channels);
        ClipCounter {
            extremes: extremes.map(|(lowest, highest)| Extremes {
                floats: (lowest, highest),
                words: ((32_768.0 * lowest) as i16, (32_768.0 * highest) as i16),
            }),
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
        if let Some(extremes) = self.extremes {
            self.count_between(frames, extremes.floats);
        }
    }

    /// The same in 16-bit integers.
    pub(crate) fn count_words(&mut self, frames: &[i16]) {
        if let Some(extremes) = self.extremes {
            self.count_between(frames, extremes.words);
        }
    }

    fn count_between<S: Copy + PartialOrd + Default>(&mut self, frames: &[S], ends: (S, S)) {
        let channels = self.counts.len();
        let look = (LOOK / channels).max(1) * channels;
        for part in frames.chunks(look) {
            // Counted in bytes side by side, not left at the first: such a loop runs at vector speed; clipping is the
            // exception.
            let at_end = |x: S| u8::from(x <= ends.0) | u8::from(x >= ends.1);
            let (lanes, rest) = part.as_chunks::<SIDE>();
            let mut any = [0; SIDE];
            for lane in lanes {
                for (any, x) in any.iter_mut().zip(lane) {
                    *any |= at_end(*x);
                }
            }
            let any = any.into_iter().chain(rest.iter().map(|x| at_end(*x)));
            if any.fold(0, |any, own| any | own) != 0 {
                self.count_each(part, ends);
            } else {
                self.runs.fill(Run::None);
            }
        }
    }

    fn count_each<S: Copy + PartialOrd + Default>(&mut self, part: &[S], ends: (S, S)) {
        for frame in part.chunks_exact(self.counts.len()) {
            for ((&sample, count), run) in frame.iter().zip(&mut self.counts).zip(&mut self.runs) {
                let at_end = sample <= ends.0 || sample >= ends.1;
                let high = sample > S::default();
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
    fn words_are_counted_by_the_ends_of_their_own_scale() {
        let highest = (2f32.powi(11) - 1.0) / 2f32.powi(11);
        let mut counter = ClipCounter::new(1, Some((-1.0, highest)));
        let top = 2047 << 4;
        counter.count_words(&[top, top, 0, i16::MIN, i16::MIN, i16::MIN, top - 1, top]);
        assert_eq!(counter.counts(), [5]);
    }

    #[test]
    fn without_ends_nothing_is_counted() {
        let mut counter = ClipCounter::new(1, None);
        counter.count(&[1.0, 1.0, 1.0]);
        assert_eq!(counter.counts(), [0]);
    }
}
