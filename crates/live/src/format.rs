//! How the samples of an input are written, and what they mean.

use hound::{SampleFormat, WavSpec};

use crate::error::Error;

/// Channels at most; what a measurement from a file takes too.
const CHANNELS_AT_MOST: u16 = 16;

/// How one sample is written, little-endian.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// 16-bit two's complement.
    I16,
    /// 24-bit two's complement in three bytes.
    I24,
    /// 32-bit two's complement.
    I32,
    /// 32-bit IEEE 754, full scale ±1.
    F32,
}

/// What an input delivers: interleaved frames of this rate, channels and encoding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// Frames a second.
    pub sample_rate_hz: u32,
    /// Samples of a frame.
    pub channels: u16,
    /// How a sample is written.
    pub encoding: Encoding,
}

impl Encoding {
    /// Bytes of one sample.
    #[must_use]
    pub fn bytes(self) -> usize {
        match self {
            Encoding::I16 => 2,
            Encoding::I24 => 3,
            Encoding::I32 | Encoding::F32 => 4,
        }
    }

    /// Samples of this magnitude or more are at the end of the scale, upwards; downwards it is 1.
    pub(crate) fn highest(self) -> f32 {
        match self {
            Encoding::I16 => 32767.0 / 32768.0,
            // The last code of 24 and 32 bits rounds to the same as the few before it, or to 1.
            Encoding::I24 => 8_388_607.0 / 8_388_608.0,
            Encoding::I32 | Encoding::F32 => 0.999_999,
        }
    }

    /// One sample, full scale ±1, exactly as a reader of the file gives it.
    fn value(self, bytes: &[u8]) -> f32 {
        match (self, bytes) {
            (Encoding::I16, [a, b]) => f32::from(i16::from_le_bytes([*a, *b])) / 32768.0,
            (Encoding::I24, [a, b, c]) => {
                i32::from_le_bytes([0, *a, *b, *c]) as f32 / 2_147_483_648.0
            }
            (Encoding::I32, [a, b, c, d]) => {
                i32::from_le_bytes([*a, *b, *c, *d]) as f32 / 2_147_483_648.0
            }
            (Encoding::F32, [a, b, c, d]) => {
                let value = f32::from_le_bytes([*a, *b, *c, *d]);
                if value.is_finite() { value } else { 0.0 }
            }
            _ => 0.0,
        }
    }

    /// Appends the samples of `bytes` to `out`.
    pub(crate) fn decode(self, bytes: &[u8], out: &mut Vec<f32>) {
        out.extend(
            bytes
                .chunks_exact(self.bytes())
                .map(|sample| self.value(sample)),
        );
    }
}

impl Format {
    /// Bytes of one frame.
    #[must_use]
    pub fn frame_bytes(&self) -> usize {
        self.encoding.bytes() * usize::from(self.channels)
    }

    pub(crate) fn verify(&self) -> Result<(), Error> {
        if !(1..=CHANNELS_AT_MOST).contains(&self.channels) {
            return Err(Error::Format(format!(
                "the input has {} channels; at most {CHANNELS_AT_MOST} can be captured",
                self.channels
            )));
        }
        if !(4000..=768_000).contains(&self.sample_rate_hz) {
            return Err(Error::Format(format!(
                "the input gives {} samples a second; 4000 to 768000 can be measured",
                self.sample_rate_hz
            )));
        }
        Ok(())
    }

    pub(crate) fn spec(&self) -> WavSpec {
        let (bits_per_sample, sample_format) = match self.encoding {
            Encoding::I16 => (16, SampleFormat::Int),
            Encoding::I24 => (24, SampleFormat::Int),
            Encoding::I32 => (32, SampleFormat::Int),
            Encoding::F32 => (32, SampleFormat::Float),
        };
        WavSpec {
            channels: self.channels,
            sample_rate: self.sample_rate_hz,
            bits_per_sample,
            sample_format,
        }
    }
}
