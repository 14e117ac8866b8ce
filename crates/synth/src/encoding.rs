//! Sample encodings: what a value becomes when it is written and read again.

use serde::{Deserialize, Serialize};

/// How samples are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Encoding {
    /// Unsigned 8-bit PCM.
    U8,
    /// Signed 16-bit PCM.
    S16,
    /// Signed 24-bit PCM.
    S24,
    /// 32-bit float.
    F32,
    /// Mu-law, 8 bit, ITU-T G.711.
    MuLaw,
    /// A-law, 8 bit, ITU-T G.711.
    ALaw,
}

impl Encoding {
    /// The value that a reader gets back, full scale ±1.
    pub(crate) fn quantised(self, value: f64) -> f32 {
        match self {
            Encoding::U8 => pcm(value, 8) as f32 / 128.0,
            Encoding::S16 => pcm(value, 16) as f32 / 32_768.0,
            Encoding::S24 => pcm(value, 24) as f32 / 8_388_608.0,
            Encoding::F32 => value as f32,
            Encoding::MuLaw => f32::from(mu_law_decoded(mu_law(value))) / 32_768.0,
            Encoding::ALaw => f32::from(a_law_decoded(a_law(value))) / 32_768.0,
        }
    }
}

impl Encoding {
    /// Distance between neighbouring values that can be written near `value`, full scale ±1.
    pub(crate) fn step_near(self, value: f64) -> f64 {
        match self {
            Encoding::U8 => 1.0 / 128.0,
            Encoding::S16 => 1.0 / 32_768.0,
            Encoding::S24 => 1.0 / 8_388_608.0,
            // 24 bits of mantissa.
            Encoding::F32 => value.abs().max(f64::MIN_POSITIVE).log2().floor().exp2() / 8_388_608.0,
            Encoding::MuLaw => segment_step(mu_law_decoded, mu_law(value)),
            Encoding::ALaw => segment_step(a_law_decoded, a_law(value)),
        }
    }
}

/// Step of a companded code: within a segment the lowest four bits of the code count evenly.
fn segment_step(decoded: impl Fn(u8) -> i16, code: u8) -> f64 {
    let neighbour = decoded(code ^ 1);
    f64::from((i32::from(decoded(code)) - i32::from(neighbour)).abs()) / 32_768.0
}

/// Nearest whole number of steps of a signed PCM of so many bits.
pub(crate) fn pcm(value: f64, bits: u32) -> i32 {
    let full = f64::exp2(f64::from(bits) - 1.0);
    (value * full).round().clamp(-full, full - 1.0) as i32
}

/// G.711 works on 13 (A-law) or 14 (mu-law) bits; here both are kept on 16-bit scale.
fn magnitude_16(value: f64) -> i32 {
    (value.abs() * 32_768.0).round().min(32_767.0) as i32
}

/// Mu-law code of a value.
pub(crate) fn mu_law(value: f64) -> u8 {
    const BIAS: i32 = 0x84;
    let magnitude = (magnitude_16(value) + BIAS).min(0x7fff);
    let exponent = 31 - magnitude.leading_zeros() as i32 - 7;
    let mantissa = magnitude >> (exponent + 3) & 0xf;
    let sign = if value < 0.0 { 0x80 } else { 0 };
    !((sign | exponent << 4 | mantissa) as u8)
}

/// 16-bit value of a mu-law code.
pub(crate) fn mu_law_decoded(code: u8) -> i16 {
    let bits = i32::from(!code);
    let (exponent, mantissa) = (bits >> 4 & 7, bits & 0xf);
    let magnitude = ((mantissa << 3 | 0x84) << exponent) - 0x84;
    (if bits & 0x80 != 0 {
        -magnitude
    } else {
        magnitude
    }) as i16
}

/// A-law code of a value.
pub(crate) fn a_law(value: f64) -> u8 {
    let negative = value < 0.0;
    let magnitude = magnitude_16(value) >> 4;
    // Segments 0 and 1 have the same step; each further one doubles it.
    let exponent = (31 - (magnitude | 1).leading_zeros() as i32 - 3).max(0);
    let mantissa = magnitude >> (exponent - 1).max(0) & 0xf;
    let code = exponent << 4 | mantissa;
    (code as u8 | if negative { 0 } else { 0x80 }) ^ 0x55
}

/// 16-bit value of an A-law code.
pub(crate) fn a_law_decoded(code: u8) -> i16 {
    let bits = i32::from(code ^ 0x55);
    let (exponent, mantissa) = (bits >> 4 & 7, bits & 0xf);
    let magnitude = match exponent {
        0 => (mantissa << 4) + 8,
        _ => ((mantissa << 4) + 0x108) << (exponent - 1),
    };
    (if bits & 0x80 != 0 {
        magnitude
    } else {
        -magnitude
    }) as i16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn companded_codes_are_their_own_encoding() {
        for code in 0..=255u8 {
            let mu = f64::from(mu_law_decoded(code)) / 32_768.0;
            // 0x7f is negative zero, which reads back as zero.
            if code != 0x7f {
                assert_eq!(mu_law(mu), code, "mu-law {code:#x}");
            }
            let a = f64::from(a_law_decoded(code)) / 32_768.0;
            assert_eq!(a_law(a), code, "A-law {code:#x}");
        }
    }

    #[test]
    fn the_recommendations_end_points() {
        // G.711 tables on 16-bit scale: largest mu-law output 8031 x 4, largest A-law 4032 x 8.
        assert_eq!(mu_law_decoded(0x80), 32_124);
        assert_eq!(a_law_decoded(0xd5 ^ 0x7f), 32_256);
        assert_eq!(a_law_decoded(0xd5), 8);
        assert_eq!(mu_law(0.0), 0xff);
    }

    #[test]
    fn steps_are_those_between_values_that_can_be_written() {
        for encoding in [
            Encoding::U8,
            Encoding::S16,
            Encoding::MuLaw,
            Encoding::ALaw,
            Encoding::F32,
        ] {
            for value in [0.013, 0.11, 0.37, -0.6] {
                let here = f64::from(encoding.quantised(value));
                let step = encoding.step_near(here);
                // Half a step and a little further is always rounded to a neighbour, a little less never.
                let moved = |by: f64| f64::from(encoding.quantised(here + by * step)) - here;
                assert_eq!(moved(0.3), 0.0, "{encoding:?} {value}");
                assert!(
                    (moved(1.0).abs() - step).abs() < 1e-3 * step,
                    "{encoding:?} {value}"
                );
            }
        }
    }

    #[test]
    fn quantising_twice_changes_nothing() {
        for encoding in [
            Encoding::U8,
            Encoding::S16,
            Encoding::S24,
            Encoding::F32,
            Encoding::MuLaw,
            Encoding::ALaw,
        ] {
            for k in -100..=100 {
                let once = encoding.quantised(f64::from(k) * 0.011);
                assert_eq!(encoding.quantised(once.into()), once, "{encoding:?} {k}");
            }
        }
    }
}
