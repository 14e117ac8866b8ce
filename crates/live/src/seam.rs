//! Whether the trace stands still, to the last bit, amid noise.
//!
//! A real input is never exactly still for a millisecond when it was noisy before: such a stretch was put in by
//! something else, to cover samples that it had lost. What was still before may be still again, so an input
//! whose noise is below its own resolution shows no seam.

/// A stretch this long is none of the input, if the input was noisy.
const STILL_S: f64 = 0.001;
/// Longest stretch of the last second up to which an input counts as noisy, as a share of the above.
const NOISY: f64 = 0.25;
/// Nothing is judged before so much was seen.
const LEARNING_S: f64 = 0.25;
/// Samples above this are clipped, and clipping stands still by nature.
const LOUDEST: f32 = 0.9;

/// What the next frames are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Part {
    /// So many frames of the input.
    Input(usize),
    /// So many frames that something else put in; the stretch begins with them.
    Begins(usize),
    /// So many more of these.
    GoesOn(usize),
}

/// Looks for stretches that stand still.
#[derive(Debug)]
pub(crate) struct SeamFinder {
    channels: usize,
    least: usize,
    learning: u64,
    bucket: u64,
    seen: u64,
    last: Vec<f32>,
    /// Frames equal to the one before, up to now.
    run: usize,
    inside: bool,
    /// Longest run of the current and of the last half second.
    longest: [usize; 2],
}

impl SeamFinder {
    pub(crate) fn new(rate_hz: f64, channels: u16) -> Self {
        SeamFinder {
            channels: usize::from(channels),
            least: ((STILL_S * rate_hz) as usize).max(24),
            learning: (LEARNING_S * rate_hz) as u64,
            bucket: (0.5 * rate_hz) as u64,
            seen: 0,
            last: Vec::new(),
            run: 0,
            inside: false,
            longest: [0; 2],
        }
    }

    /// Tells the parts of `frames` that can be told now. Frames at the end that may yet turn out to stand still
    /// are in none of the parts; they come first in the next call's `frames`, of which `known` were seen before.
    pub(crate) fn parts(&mut self, frames: &[f32], known: usize) -> Vec<Part> {
        let count = frames.len() / self.channels;
        let mut parts = Vec::new();
        let mut told = 0;
        for (index, frame) in frames.chunks_exact(self.channels).enumerate().skip(known) {
            let still = self.is_still(frame);
            if still {
                self.run += 1;
                if !self.inside && self.run == self.least && self.is_noisy() {
                    let start = index + 1 - self.run;
                    if start > told {
                        parts.push(Part::Input(start - told));
                    }
                    parts.push(Part::Begins(self.run));
                    (told, self.inside) = (index + 1, true);
                }
                // An input that is still by nature is known by it at once, not only when the run ends.
                if !self.inside && self.run >= self.least {
                    self.longest[0] = self.longest[0].max(self.run);
                }
            } else {
                if self.inside && index > told {
                    parts.push(Part::GoesOn(index - told));
                    told = index;
                }
                if !self.inside {
                    self.longest[0] = self.longest[0].max(self.run);
                }
                (self.inside, self.run) = (false, 0);
            }
        }
        if self.inside {
            if count > told {
                parts.push(Part::GoesOn(count - told));
            }
            return parts;
        }
        let kept = if self.run < self.least && self.is_noisy() {
            self.run
        } else {
            0
        };
        if count > told + kept {
            parts.push(Part::Input(count - kept - told));
        }
        parts
    }

    fn is_still(&mut self, frame: &[f32]) -> bool {
        self.seen += 1;
        if self.seen.is_multiple_of(self.bucket) {
            self.longest = [0, self.longest[0]];
        }
        let still = self.last == frame && frame.iter().all(|x| x.abs() < LOUDEST);
        if !still {
            self.last.clear();
            self.last.extend_from_slice(frame);
        }
        still
    }

    fn is_noisy(&self) -> bool {
        let longest = self.longest[0].max(self.longest[1]);
        self.seen > self.learning && (longest as f64) < NOISY * self.least as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise of two channels, never the same twice running.
    fn noise(frames: usize) -> Vec<f32> {
        (0..frames)
            .flat_map(|frame| {
                let x = ((frame * 7919) % 1000) as f32 / 1e5;
                [x, -x]
            })
            .collect()
    }

    /// Parts of `frames` in blocks of `block` frames, as stretches (is input, frames), joined.
    fn stretches(frames: &[f32], block: usize) -> Vec<(bool, usize)> {
        let mut finder = SeamFinder::new(48_000.0, 2);
        let (mut joined, mut kept) = (Vec::<(bool, usize)>::new(), Vec::new());
        for block in frames.chunks(2 * block) {
            let known = kept.len() / 2;
            kept.extend_from_slice(block);
            let mut told = 0;
            for part in finder.parts(&kept, known) {
                let (input, frames) = match part {
                    Part::Input(frames) => (true, frames),
                    Part::Begins(frames) | Part::GoesOn(frames) => (false, frames),
                };
                told += frames;
                match joined.last_mut() {
                    Some((same, sum)) if *same == input => *sum += frames,
                    _ => joined.push((input, frames)),
                }
            }
            kept.drain(..2 * told);
        }
        joined
    }

    #[test]
    fn ten_milliseconds_of_silence_amid_noise_are_found_to_the_sample() {
        let mut frames = noise(24_000);
        frames[2 * 20_000..2 * 20_480].fill(0.0);
        for block in [1, 100, 128, 5000, 24_000] {
            // The first of the zeros differs from the frame before it, so it passes for the input's.
            assert_eq!(
                stretches(&frames, block),
                [(true, 20_001), (false, 479), (true, 3520)],
                "blocks of {block}"
            );
        }
    }

    #[test]
    fn an_input_that_is_still_by_nature_has_no_seams() {
        let mut frames = vec![0.25; 2 * 24_000];
        frames[2 * 20_000..2 * 20_100].copy_from_slice(&noise(100));
        assert_eq!(stretches(&frames, 128), [(true, 24_000)]);
    }

    #[test]
    fn clipping_is_no_seam() {
        let mut frames = noise(24_000);
        frames[2 * 20_000..2 * 20_480].fill(0.999);
        let found: usize = stretches(&frames, 128)
            .iter()
            .filter(|(input, _)| !input)
            .count();
        assert_eq!(found, 0);
    }
}
