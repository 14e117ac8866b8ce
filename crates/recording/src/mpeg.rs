//! Frames of MPEG audio and AAC streams: enough to know them and to notice when some are missing.
//!
//! Such streams have no time stamps. After damage, the library takes the next bytes that resemble a
//! frame, of whatever kind, and goes on without a word, which would shift all that follows. So it
//! is given whole frames of the stream's own kind only, and what was passed over is counted.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::sync::{Arc, Mutex};

use crate::source::ByteSource;

/// Bytes that decide about a frame: the longest of the heads looked for is that of a leading tag.
const HEAD_BYTES: usize = 10;

const CHUNK_BYTES: usize = 64 * 1024;

/// Most losses kept while nobody takes them.
const MOST_LOSSES: usize = 10_000;

/// What a frame's header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Frame {
    bytes: usize,
    samples: u64,
    /// The parts of the header that do not change within a stream.
    kind: [u8; 2],
}

/// Whether two frames follow each other at the start. One header alone occurs in any random file.
pub(crate) fn starts_with_frames(head: &[u8]) -> bool {
    let Some(first) = frame(head) else {
        return false;
    };
    let second = head.get(first.bytes..).and_then(frame);
    second.is_some_and(|second| second.kind == first.kind)
}

fn frame(head: &[u8]) -> Option<Frame> {
    let frame = mpeg_frame(head).or_else(|| adts_frame(head))?;
    (frame.bytes > HEAD_BYTES).then_some(frame)
}

/// The header of a frame of layers 1 to 3 (ISO/IEC 11172-3, 2.4.1, and 13818-3; version 2.5 has
/// half the rates of version 2).
fn mpeg_frame(head: &[u8]) -> Option<Frame> {
    const KBPS: [[usize; 14]; 5] = [
        [
            32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448,
        ],
        [
            32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384,
        ],
        [
            32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320,
        ],
        [
            32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256,
        ],
        [8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160],
    ];
    let &[0xFF, b1, b2, _, ..] = head else {
        return None;
    };
    let (version, layer) = ((b1 >> 3) & 3, (b1 >> 1) & 3);
    let (rate_index, bitrate_index) = (usize::from(b2 >> 2) & 3, usize::from(b2 >> 4));
    if b1 & 0xE0 != 0xE0 || version == 1 || layer == 0 || rate_index == 3 {
        return None;
    }
    let full_rate = version == 3;
    let row = match (full_rate, layer) {
        (true, 3) => 0,
        (true, 2) => 1,
        (true, _) => 2,
        (false, 3) => 3,
        (false, _) => 4,
    };
    let bits_per_s = KBPS[row].get(bitrate_index.checked_sub(1)?)? * 1000;
    let halvings = [2, 2, 1, 0][usize::from(version)];
    let rate_hz = [44_100, 48_000, 32_000][rate_index] >> halvings;
    let samples = match layer {
        3 => 384,
        1 if !full_rate => 576,
        _ => 1152,
    };
    // Layer 1 counts in slots of four bytes.
    let slot = if layer == 3 { 4 } else { 1 };
    let padding = usize::from(b2 >> 1) & 1;
    let bytes = (samples / 8 / slot * bits_per_s / rate_hz + padding) * slot;
    Some(Frame {
        bytes,
        samples: samples as u64,
        kind: [b1, b2 & 0x0C],
    })
}

/// The header of an AAC frame (ADTS, ISO/IEC 13818-7, 6.2).
fn adts_frame(head: &[u8]) -> Option<Frame> {
    let &[0xFF, b1, b2, b3, b4, b5, ..] = head else {
        return None;
    };
    if b1 & 0xF6 != 0xF0 {
        return None;
    }
    let bytes = usize::from(b3 & 3) << 11 | usize::from(b4) << 3 | usize::from(b5 >> 5);
    Some(Frame {
        bytes,
        samples: 1024,
        kind: [b1, b2 & 0xFC],
    })
}

/// Samples that were passed over in search of the next frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Loss {
    /// Whole frames before it.
    pub(crate) frames_before: u64,
    /// About as many samples of each channel, by the length of the frame before.
    pub(crate) samples: u64,
}

/// Lets whole frames of one kind pass and drops what stands between them: tags and damage.
#[derive(Debug, Default)]
pub(crate) struct Watch {
    head: Vec<u8>,
    /// Bytes left of the frame or tag at hand.
    left: u64,
    /// Whether these are a frame's.
    in_frame: bool,
    last: Option<Frame>,
    frames: u64,
    lost_bytes: u64,
    pub(crate) losses: VecDeque<Loss>,
}

impl Watch {
    /// Takes in the next bytes and appends to `out` those that are frames.
    pub(crate) fn pass(&mut self, mut bytes: &[u8], out: &mut Vec<u8>) {
        while !bytes.is_empty() {
            let step = bytes
                .len()
                .min(usize::try_from(self.left).unwrap_or(usize::MAX));
            self.left -= step as u64;
            if self.in_frame {
                out.extend_from_slice(&bytes[..step]);
            }
            bytes = &bytes[step..];
            let wanted = (HEAD_BYTES - self.head.len()).min(bytes.len());
            self.head.extend_from_slice(&bytes[..wanted]);
            bytes = &bytes[wanted..];
            if self.head.len() == HEAD_BYTES {
                self.look(out);
            }
        }
    }

    /// Decides what stands at the current place.
    fn look(&mut self, out: &mut Vec<u8>) {
        let known =
            frame(&self.head).filter(|frame| self.last.is_none_or(|last| last.kind == frame.kind));
        if let Some(frame) = known {
            self.note_loss(frame);
            self.frames += 1;
            self.last = Some(frame);
            out.append(&mut self.head);
            self.in_frame = true;
            self.left = (frame.bytes - HEAD_BYTES) as u64;
        } else if self.last.is_none() && self.head.starts_with(b"ID3") {
            // Four bytes of seven bits each give the length of a leading tag.
            let tag = self.head[6..10]
                .iter()
                .fold(0, |length, &byte| length << 7 | u64::from(byte & 0x7F));
            self.head.clear();
            self.in_frame = false;
            self.left = tag;
        } else {
            self.lost_bytes += u64::from(self.last.is_some());
            self.head.remove(0);
        }
    }

    /// A frame after bytes that were none: what came between is lost. At the end of a file such
    /// bytes are a tag.
    fn note_loss(&mut self, frame: Frame) {
        let lost = std::mem::take(&mut self.lost_bytes);
        let length = self.last.unwrap_or(frame).bytes as u64;
        let frames = (lost + length / 2) / length;
        if frames > 0 && self.losses.len() < MOST_LOSSES {
            self.losses.push_back(Loss {
                frames_before: self.frames,
                samples: frames * frame.samples,
            });
        }
    }
}

/// The frames of a stream, and nothing between them.
pub(crate) struct Frames {
    source: ByteSource,
    watch: Arc<Mutex<Watch>>,
    raw: Vec<u8>,
    passed: Vec<u8>,
    taken: usize,
}

impl Frames {
    pub(crate) fn new(source: ByteSource, watch: Arc<Mutex<Watch>>) -> Frames {
        Frames {
            source,
            watch,
            raw: vec![0; CHUNK_BYTES],
            passed: Vec::new(),
            taken: 0,
        }
    }
}

impl Read for Frames {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.taken == self.passed.len() {
            let count = self.source.read(&mut self.raw)?;
            if count == 0 {
                return Ok(0);
            }
            self.passed.clear();
            self.taken = 0;
            let mut watch = self
                .watch
                .lock()
                .map_err(|_| io::Error::other("a reader failed before"))?;
            watch.pass(&self.raw[..count], &mut self.passed);
        }
        let count = buffer.len().min(self.passed.len() - self.taken);
        buffer[..count].copy_from_slice(&self.passed[self.taken..self.taken + count]);
        self.taken += count;
        Ok(count)
    }
}
