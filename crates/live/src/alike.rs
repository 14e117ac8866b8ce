//! Two channels that carry one signal: a system that knows no mono hands the one channel of an input out twice. One of them
//! is enough: the other would double the capture and the work, and tells nothing.

use crate::format::Format;
use crate::sitting::Arrival;

/// Frames that move are looked at for so long before both channels count as one: the noise of two converters is never
/// the same for so many frames.
const LOOKED_AT_S: f64 = 0.2;
/// An input that stands still for so long is taken as it comes.
const STILL_S: f64 = 1.0;

/// What is known of the two channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Not yet known; blocks are kept back.
    Looking,
    /// One signal: the first channel is taken.
    One,
    /// Taken as they come.
    AsTheyCome,
}

/// Looks at the first moments of an input, and takes one of two channels that are alike to the last bit.
#[derive(Debug)]
pub(crate) struct Alike {
    frame_bytes: usize,
    rate_hz: f64,
    state: State,
    held: Vec<(Vec<u8>, Arrival)>,
    frames: usize,
    /// Frames that differ from the frame before.
    moving: usize,
    last: Vec<u8>,
}

/// The two channels were one signal, and are no more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Parted;

impl Alike {
    /// For an input of that format; where `wanted` is false, or there are not two channels, all is taken as it comes.
    pub(crate) fn new(format: Format, wanted: bool) -> Self {
        let looks = wanted && format.channels == 2;
        Alike {
            frame_bytes: format.frame_bytes(),
            rate_hz: f64::from(format.sample_rate_hz),
            state: if looks {
                State::Looking
            } else {
                State::AsTheyCome
            },
            held: Vec::new(),
            frames: 0,
            moving: 0,
            last: Vec::new(),
        }
    }

    /// Both channels are one signal.
    pub(crate) fn is_one(&self) -> bool {
        self.state == State::One
    }

    /// Frames that are kept back.
    pub(crate) fn held_frames(&self) -> usize {
        let bytes: usize = self.held.iter().map(|(block, _)| block.len()).sum();
        bytes / self.frame_bytes
    }

    /// Takes a block, and gives all that can be taken on.
    pub(crate) fn take(
        &mut self,
        block: Vec<u8>,
        arrival: Arrival,
    ) -> Result<Vec<(Vec<u8>, Arrival)>, Parted> {
        match self.state {
            State::AsTheyCome => Ok(vec![(block, arrival)]),
            State::One if !self.are_alike(&block) => Err(Parted),
            State::One => Ok(vec![(self.first_of(&block), arrival)]),
            State::Looking => {
                self.look(&block);
                self.held.push((block, arrival));
                match self.state {
                    State::Looking => Ok(Vec::new()),
                    State::One | State::AsTheyCome => Ok(self.let_go()),
                }
            }
        }
    }

    /// Decides by what is known: something else than a block comes now.
    pub(crate) fn decide(&mut self) -> Vec<(Vec<u8>, Arrival)> {
        if self.state == State::Looking {
            self.state = State::AsTheyCome;
        }
        self.let_go()
    }

    fn look(&mut self, block: &[u8]) {
        if !self.are_alike(block) {
            self.state = State::AsTheyCome;
            return;
        }
        for frame in block.chunks_exact(self.frame_bytes) {
            self.frames += 1;
            self.moving += usize::from(self.last != frame);
            self.last.clear();
            self.last.extend_from_slice(frame);
        }
        let frames = |seconds: f64| (seconds * self.rate_hz) as usize;
        // Half of them at least: a coarse converter stands still now and then.
        if self.frames >= frames(LOOKED_AT_S) && 2 * self.moving >= self.frames {
            self.state = State::One;
        } else if self.frames >= frames(STILL_S) {
            self.state = State::AsTheyCome;
        }
    }

    fn let_go(&mut self) -> Vec<(Vec<u8>, Arrival)> {
        let held = std::mem::take(&mut self.held);
        if !self.is_one() {
            return held;
        }
        held.into_iter()
            .map(|(block, arrival)| (self.first_of(&block), arrival))
            .collect()
    }

    fn are_alike(&self, block: &[u8]) -> bool {
        let half = self.frame_bytes / 2;
        block
            .chunks_exact(self.frame_bytes)
            .all(|frame| frame[..half] == frame[half..])
    }

    /// The first channel; a part of a frame at the end stays one.
    fn first_of(&self, block: &[u8]) -> Vec<u8> {
        let half = self.frame_bytes / 2;
        let frames = block.chunks_exact(self.frame_bytes);
        let rest = frames.remainder();
        let rest = &rest[..rest.len().min(half.saturating_sub(1))];
        let mut first: Vec<u8> = frames.flat_map(|frame| &frame[..half]).copied().collect();
        first.extend_from_slice(rest);
        first
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Encoding;

    const FORMAT: Format = Format {
        sample_rate_hz: 8000,
        channels: 2,
        encoding: Encoding::I16,
    };

    /// 10 ms of two channels, sample by sample.
    fn block(at: usize, left: impl Fn(usize) -> i16, right: impl Fn(usize) -> i16) -> Vec<u8> {
        (at * 80..(at + 1) * 80)
            .flat_map(|n| [left(n).to_le_bytes(), right(n).to_le_bytes()].concat())
            .collect()
    }

    fn noise(n: usize) -> i16 {
        (n.wrapping_mul(7919) % 101) as i16
    }

    fn taken(alike: &mut Alike, blocks: usize, right: impl Fn(usize) -> i16) -> Vec<u8> {
        let taken = (0..blocks).flat_map(|at| {
            alike
                .take(block(at, noise, &right), Arrival::default())
                .unwrap()
        });
        taken.flat_map(|(block, _)| block).collect()
    }

    #[test]
    fn a_signal_that_comes_twice_is_kept_once() {
        let mut alike = Alike::new(FORMAT, true);
        let kept = taken(&mut alike, 30, noise);
        let wanted: Vec<u8> = (0..30 * 80).flat_map(|n| noise(n).to_le_bytes()).collect();
        assert!(alike.is_one() && kept == wanted);
        assert_eq!(alike.held_frames(), 0);
        // From then on a difference is told.
        let parted = alike.take(block(30, noise, |n| noise(n) + 1), Arrival::default());
        assert_eq!(parted, Err(Parted));
    }

    #[test]
    fn what_differs_in_one_bit_is_taken_as_it_comes() {
        let mut alike = Alike::new(FORMAT, true);
        let kept = taken(&mut alike, 30, |n| noise(n) ^ i16::from(n == 700));
        assert!(!alike.is_one());
        assert_eq!(kept.len(), 30 * 80 * 4);
    }

    #[test]
    fn silence_is_not_called_one_signal() {
        let mut alike = Alike::new(FORMAT, true);
        for at in 0..99 {
            let block = block(at, |_| 0, |_| 0);
            assert_eq!(alike.take(block, Arrival::default()), Ok(Vec::new()));
        }
        assert_eq!(alike.held_frames(), 99 * 80);
        let block = block(99, |_| 0, |_| 0);
        let taken = alike.take(block, Arrival::default()).unwrap();
        assert_eq!((taken.len(), alike.is_one()), (100, false));
    }

    #[test]
    fn one_channel_or_a_chosen_one_is_taken_at_once() {
        let mono = Format {
            channels: 1,
            ..FORMAT
        };
        for mut alike in [Alike::new(mono, true), Alike::new(FORMAT, false)] {
            assert_eq!(taken(&mut alike, 1, noise).len(), 80 * 4);
        }
    }
}
