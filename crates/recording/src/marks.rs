//! Places that a file itself marks as missing samples.
//!
//! A cue point says where, an `ltxt` entry of the associated data list (`LIST adtl`) with the purpose `lost` says
//! how many frames were put in there for the missing ones. Both chunks are those of *Multimedia Programming
//! Interface and Data Specifications 1.0* (1991); the purpose is this project's own, written by its live capture.

use crate::Gap;
use crate::sample::Order;

/// Bytes of a chunk that are looked at, at most; longer ones belong to something else.
pub(crate) const MOST_BYTES: u32 = 1 << 20;

const PURPOSE: &[u8; 4] = b"lost";

/// Marks as they are read, chunk by chunk, in whichever order these come.
#[derive(Debug, Default)]
pub(crate) struct Marks {
    /// Name and frame of each cue point.
    cues: Vec<(u32, u32)>,
    /// Name and length of each stretch.
    lost: Vec<(u32, u32)>,
}

impl Marks {
    /// Takes the contents of a `cue ` chunk.
    pub(crate) fn take_cues(&mut self, chunk: &[u8], order: Order) {
        let points = chunk.get(4..).unwrap_or_default().chunks_exact(24);
        self.cues
            .extend(points.map(|point| (word(point, 0, order), word(point, 20, order))));
    }

    /// Takes the contents of a `LIST` chunk; any but `adtl` says nothing.
    pub(crate) fn take_list(&mut self, chunk: &[u8], order: Order) {
        let Some((b"adtl", mut rest)) = chunk.split_first_chunk::<4>() else {
            return;
        };
        while let Some((head, after)) = rest.split_first_chunk::<8>() {
            let bytes = word(head, 4, order) as usize;
            let body = &after[..bytes.min(after.len())];
            if &head[..4] == b"ltxt" && body.len() >= 12 && &body[8..12] == PURPOSE {
                self.lost.push((word(body, 0, order), word(body, 4, order)));
            }
            rest = after
                .get(bytes.saturating_add(bytes % 2)..)
                .unwrap_or_default();
        }
    }

    /// The gaps, in order of time.
    pub(crate) fn gaps(&self) -> Vec<Gap> {
        let place = |name: u32| self.cues.iter().find(|(cue, _)| *cue == name);
        let mut gaps: Vec<Gap> = self
            .lost
            .iter()
            .filter_map(|(name, frames)| {
                let (_, start) = place(*name)?;
                Some(Gap {
                    start_frame: u64::from(*start),
                    frames: u64::from(*frames),
                })
            })
            .collect();
        gaps.sort_by_key(|gap| (gap.start_frame, gap.frames));
        gaps
    }
}

fn word(bytes: &[u8], at: usize, order: Order) -> u32 {
    let word = [bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]];
    match order {
        Order::Big => u32::from_be_bytes(word),
        Order::Little => u32::from_le_bytes(word),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cue(points: &[(u32, u32)]) -> Vec<u8> {
        let mut bytes = (points.len() as u32).to_le_bytes().to_vec();
        for (name, frame) in points {
            bytes.extend(name.to_le_bytes());
            bytes.extend([0; 16]);
            bytes.extend(frame.to_le_bytes());
        }
        bytes
    }

    fn entry(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut bytes = kind.to_vec();
        bytes.extend((body.len() as u32).to_le_bytes());
        bytes.extend(body);
        bytes.resize(bytes.len().next_multiple_of(2), 0);
        bytes
    }

    fn ltxt(name: u32, frames: u32, purpose: &[u8; 4]) -> Vec<u8> {
        let mut body = name.to_le_bytes().to_vec();
        body.extend(frames.to_le_bytes());
        body.extend(purpose);
        body.extend([0; 8]);
        entry(b"ltxt", &body)
    }

    #[test]
    fn only_stretches_marked_as_lost_are_gaps() {
        let mut marks = Marks::default();
        let list = [
            b"adtl".to_vec(),
            entry(b"labl", b"\x01\0\0\0odd"),
            ltxt(2, 480, b"lost"),
            ltxt(1, 9, b"rgn "),
            ltxt(3, 0, b"lost"),
            ltxt(7, 5, b"lost"),
        ];
        marks.take_list(&list.concat(), Order::Little);
        marks.take_cues(&cue(&[(1, 10), (2, 5000), (3, 20)]), Order::Little);
        let gap = |start_frame, frames| Gap {
            start_frame,
            frames,
        };
        assert_eq!(marks.gaps(), [gap(20, 0), gap(5000, 480)]);
    }

    #[test]
    fn what_is_cut_off_is_passed_over() {
        let whole = [b"adtl".to_vec(), ltxt(1, 480, b"lost")].concat();
        for length in 0..whole.len() {
            let mut marks = Marks::default();
            marks.take_list(&whole[..length], Order::Little);
            marks.take_cues(&cue(&[(1, 10)])[..length.min(28)], Order::Little);
            assert!(marks.gaps().len() <= 1);
        }
    }
}
