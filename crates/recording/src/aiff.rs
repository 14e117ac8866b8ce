//! AIFF and AIFF-C with uncompressed samples, after Apple's *Audio Interchange File Format 1.3*
//! (1989) and *AIFF-C* (1991).
//!
//! The library's reader refuses truncated files and files whose header gives no length.

use crate::Error;
use crate::pcm::{Length, Plain, no_samples};
use crate::sample::{Coding, Order, SampleFormat};
use crate::sniff::not_decoded;
use crate::source::ByteSource;
use crate::stream::{Notes, Opened};

/// Most bytes of the common chunk that are looked at; the name of the codec ends it.
const MOST_COMMON_BYTES: usize = 64;

/// Opens a file that starts with `FORM` and `AIFF` or `AIFC`.
pub(crate) fn open(mut source: ByteSource) -> Result<Opened, Error> {
    source.skip(12).map_err(Error::io)?;
    let mut common = None;
    loop {
        let head: [u8; 8] = source
            .array()
            .map_err(Error::io)?
            .ok_or_else(|| match common {
                Some(_) => no_samples(),
                None => cut_off(),
            })?;
        let bytes = u32::from_be_bytes([head[4], head[5], head[6], head[7]]);
        match &head[..4] {
            b"COMM" => common = Some(read_common(&mut source, bytes)?),
            b"SSND" => return start(source, common, bytes),
            _ => source
                .skip(u64::from(bytes) + u64::from(bytes % 2))
                .map_err(Error::io)?,
        }
    }
}

/// The common chunk: what the samples are.
struct Common {
    channels: u16,
    frames: u32,
    sample_rate_hz: f64,
    format: SampleFormat,
}

fn read_common(source: &mut ByteSource, bytes: u32) -> Result<Common, Error> {
    let mut chunk = vec![0; MOST_COMMON_BYTES.min(bytes as usize)];
    let got = source.fill(&mut chunk).map_err(Error::io)?;
    let rest = u64::from(bytes) + u64::from(bytes % 2) - got as u64;
    source.skip(rest).map_err(Error::io)?;
    if got < 18 {
        return Err(cut_off());
    }
    let at = |index: usize| u16::from_be_bytes([chunk[index], chunk[index + 1]]);
    let mut rate = [0; 10];
    rate.copy_from_slice(&chunk[8..18]);
    Ok(Common {
        channels: at(0),
        frames: u32::from(at(2)) << 16 | u32::from(at(4)),
        sample_rate_hz: extended(rate),
        format: sample_format(chunk.get(18..22).unwrap_or(b"NONE"), at(6))?,
    })
}

/// An 80-bit IEEE extended number: sign and 15 bits of exponent, then 64 bits with their leading
/// one written out.
fn extended(bytes: [u8; 10]) -> f64 {
    let [a, b, mantissa @ ..] = bytes;
    let exponent = i32::from(u16::from_be_bytes([a, b]) & 0x7FFF) - 16_383 - 63;
    let magnitude = u64::from_be_bytes(mantissa) as f64 * 2f64.powi(exponent);
    if a & 0x80 == 0 { magnitude } else { -magnitude }
}

fn sample_format(codec: &[u8], bits: u16) -> Result<SampleFormat, Error> {
    let order = if codec == b"sowt" {
        Order::Little
    } else {
        Order::Big
    };
    Ok(match codec {
        b"NONE" | b"twos" | b"sowt" | b"in24" | b"in32" if (1..=64).contains(&bits) => {
            let bytes = bits.div_ceil(8) as u8;
            SampleFormat {
                coding: Coding::Signed { bytes, order },
                valid_bits: bits as u8,
            }
        }
        b"raw " if bits == 8 => SampleFormat::full(Coding::Unsigned8),
        b"fl32" | b"FL32" => SampleFormat::full(Coding::Float32(Order::Big)),
        b"fl64" | b"FL64" => SampleFormat::full(Coding::Float64(Order::Big)),
        b"alaw" | b"ALAW" => SampleFormat::full(Coding::ALaw),
        b"ulaw" | b"ULAW" => SampleFormat::full(Coding::MuLaw),
        b"NONE" | b"twos" | b"sowt" | b"in24" | b"in32" | b"raw " => {
            let message = format!(
                "its header declares samples of {bits} bits, which do not exist; export it again as WAV"
            );
            return Err(Error::new("bad-header", message));
        }
        b"ima4" => return Err(not_decoded("AIFF with IMA ADPCM")),
        b"GSM " | b"agsm" => return Err(not_decoded("AIFF with GSM 06.10")),
        other => {
            let name = String::from_utf8_lossy(other);
            return Err(not_decoded(&format!(
                "AIFF with the codec \"{}\"",
                name.trim()
            )));
        }
    })
}

fn start(mut source: ByteSource, common: Option<Common>, bytes: u32) -> Result<Opened, Error> {
    let common = common.ok_or_else(cut_off)?;
    let head: [u8; 8] = source.array().map_err(Error::io)?.ok_or_else(no_samples)?;
    let offset = u64::from(u32::from_be_bytes([head[0], head[1], head[2], head[3]]));
    source.skip(offset).map_err(Error::io)?;
    let frame_bytes = common.format.coding.bytes() as u64 * u64::from(common.channels);
    let declared = u64::from(common.frames) * frame_bytes;
    let length = match bytes {
        0 | 8 | u32::MAX if common.frames == 0 || common.frames == u32::MAX => Length::ToEnd,
        // Writers that cannot go back leave one of the two at a placeholder.
        _ if common.frames == 0 => Length::AtMost(u64::from(bytes).saturating_sub(8 + offset)),
        _ => Length::Declared(declared),
    };
    let Common {
        channels,
        sample_rate_hz,
        format,
        ..
    } = common;
    Plain {
        name: "AIFF",
        format,
        channels,
        sample_rate_hz,
        length,
    }
    .open(source, Notes::default())
}

fn cut_off() -> Error {
    Error::new(
        "bad-header",
        "its AIFF header is cut off; copy or export it again",
    )
}
