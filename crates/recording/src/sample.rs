//! How one sample is written in bytes, and the loops that decode many.

use crate::g711;

/// Which byte of a sample comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    /// Least significant byte first.
    Little,
    /// Most significant byte first.
    Big,
}

/// What the bytes of a sample mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Coding {
    /// Offset binary in one byte, 128 is zero.
    Unsigned8,
    /// Two's complement, left-justified in 1 to 8 bytes.
    Signed { bytes: u8, order: Order },
    /// IEEE 754 binary32.
    Float32(Order),
    /// IEEE 754 binary64.
    Float64(Order),
    /// G.711 mu-law.
    MuLaw,
    /// G.711 A-law.
    ALaw,
}

/// A coding with its count of meaningful bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SampleFormat {
    pub(crate) coding: Coding,
    /// Bits of resolution, at most the container's; 8 for G.711.
    pub(crate) valid_bits: u8,
}

impl SampleFormat {
    /// A format that uses all bits of its container.
    pub(crate) fn full(coding: Coding) -> SampleFormat {
        SampleFormat {
            coding,
            valid_bits: coding.bytes() as u8 * 8,
        }
    }

    /// The lowest and the highest code on the ±1 scale; `None` for floats, which have no end.
    ///
    /// Integers of more than 25 bits are rounded by `f32`: there the ends take in the few codes
    /// that round to full scale.
    pub(crate) fn extremes(&self) -> Option<(f32, f32)> {
        match self.coding {
            Coding::Unsigned8 | Coding::Signed { .. } => Some(integer_extremes(self.valid_bits)),
            Coding::MuLaw => Some((-32124.0 / 32768.0, 32124.0 / 32768.0)),
            Coding::ALaw => Some((-32256.0 / 32768.0, 32256.0 / 32768.0)),
            Coding::Float32(_) | Coding::Float64(_) => None,
        }
    }

    /// For a person: `16-bit PCM`.
    pub(crate) fn describe(&self) -> String {
        let bits = self.valid_bits;
        match self.coding {
            Coding::MuLaw => "mu-law".to_owned(),
            Coding::ALaw => "A-law".to_owned(),
            Coding::Float32(_) | Coding::Float64(_) => format!("{bits}-bit float"),
            coding if coding.bytes() * 8 == usize::from(bits) => format!("{bits}-bit PCM"),
            coding => format!("{bits}-bit PCM in {}-bit words", coding.bytes() * 8),
        }
    }
}

/// Ends of a two's complement scale of `bits` bits, as fractions of full scale.
pub(crate) fn integer_extremes(bits: u8) -> (f32, f32) {
    let steps = 2f64.powi(i32::from(bits) - 1);
    (-1.0, ((steps - 1.0) / steps) as f32)
}

impl Coding {
    /// Bytes of one sample.
    pub(crate) fn bytes(self) -> usize {
        match self {
            Coding::Unsigned8 | Coding::MuLaw | Coding::ALaw => 1,
            Coding::Signed { bytes, .. } => usize::from(bytes),
            Coding::Float32(_) => 4,
            Coding::Float64(_) => 8,
        }
    }

    /// Which byte comes first of a sample of 16 bits; `None` where samples are anything else.
    pub(crate) fn order_of_words(self) -> Option<Order> {
        match self {
            Coding::Signed { bytes: 2, order } => Some(order),
            _ => None,
        }
    }

    /// Appends the samples of `bytes`, full scale ±1; a remainder shorter than a sample is ignored.
    pub(crate) fn decode(self, bytes: &[u8], out: &mut Vec<f32>) {
        use Order::{Big, Little};
        match self {
            Coding::Unsigned8 => out.extend(bytes.iter().map(|&b| (f32::from(b) - 128.0) / 128.0)),
            Coding::MuLaw => out.extend(bytes.iter().map(|&b| g711::MU_LAW[usize::from(b)])),
            Coding::ALaw => out.extend(bytes.iter().map(|&b| g711::A_LAW[usize::from(b)])),
            Coding::Signed {
                bytes: 2,
                order: Little,
            } => {
                each(bytes, out, |b| f32::from(i16::from_le_bytes(b)) / 32768.0);
            }
            Coding::Signed {
                bytes: 2,
                order: Big,
            } => {
                each(bytes, out, |b| f32::from(i16::from_be_bytes(b)) / 32768.0);
            }
            Coding::Signed {
                bytes: 4,
                order: Little,
            } => {
                each(bytes, out, |b| {
                    i32::from_le_bytes(b) as f32 / 2_147_483_648.0
                });
            }
            Coding::Signed {
                bytes: 4,
                order: Big,
            } => {
                each(bytes, out, |b| {
                    i32::from_be_bytes(b) as f32 / 2_147_483_648.0
                });
            }
            Coding::Signed { bytes: 1, .. } => {
                out.extend(bytes.iter().map(|&b| f32::from(b as i8) / 128.0));
            }
            Coding::Signed { bytes: 3, order } => {
                each(bytes, out, |[a, b, c]: [u8; 3]| match order {
                    Little => i32::from_le_bytes([0, a, b, c]) as f32 / 2_147_483_648.0,
                    Big => i32::from_be_bytes([a, b, c, 0]) as f32 / 2_147_483_648.0,
                });
            }
            Coding::Signed {
                bytes: width,
                order,
            } => wide(bytes, usize::from(width), order, out),
            Coding::Float32(Little) => each(bytes, out, f32::from_le_bytes),
            Coding::Float32(Big) => each(bytes, out, f32::from_be_bytes),
            Coding::Float64(Little) => each(bytes, out, |b| f64::from_le_bytes(b) as f32),
            Coding::Float64(Big) => each(bytes, out, |b| f64::from_be_bytes(b) as f32),
        }
    }
}

/// One loop over whole samples of `N` bytes, in a form that the compiler turns into vector code.
fn each<const N: usize>(bytes: &[u8], out: &mut Vec<f32>, value: impl Fn([u8; N]) -> f32) {
    let (samples, _) = bytes.as_chunks::<N>();
    out.extend(samples.iter().map(|&sample| value(sample)));
}

/// Integers of 5 to 8 bytes, which are rare.
fn wide(bytes: &[u8], width: usize, order: Order, out: &mut Vec<f32>) {
    const FULL_SCALE: f32 = 9_223_372_036_854_775_808.0;
    out.extend(bytes.chunks_exact(width.clamp(1, 8)).map(|sample| {
        let mut word = [0; 8];
        for (index, &byte) in sample.iter().enumerate() {
            word[if order == Order::Big {
                index
            } else {
                8 - sample.len() + index
            }] = byte;
        }
        let value = if order == Order::Big {
            i64::from_be_bytes(word)
        } else {
            i64::from_le_bytes(word)
        };
        value as f32 / FULL_SCALE
    }));
}
