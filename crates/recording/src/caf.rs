//! Uncompressed samples in CAF, after Apple's *Core Audio Format Specification 1.0* (2006).
//!
//! The library for compressed CAF wants to see the end of the file first, which a pipe cannot give
//! and a truncated file does not have; plain samples need no more than this.

use crate::Error;
use crate::pcm::{Length, Plain, no_samples};
use crate::sample::{Coding, Order, SampleFormat};
use crate::source::ByteSource;
use crate::stream::{Notes, Opened};

/// Opens a file whose description chunk names plain samples.
pub(crate) fn open(mut source: ByteSource) -> Result<Opened, Error> {
    source.skip(8).map_err(Error::io)?;
    let mut description = None;
    loop {
        let (name, bytes) = chunk(&mut source)?.ok_or_else(|| match description {
            Some(_) => no_samples(),
            None => cut_off(),
        })?;
        match &name {
            b"desc" => {
                let fields = source
                    .array::<32>()
                    .map_err(Error::io)?
                    .ok_or_else(cut_off)?;
                source
                    .skip(bytes.unwrap_or(0).saturating_sub(32))
                    .map_err(Error::io)?;
                description = Some(fields);
            }
            b"data" => {
                // The samples follow a count of edits.
                source.skip(4).map_err(Error::io)?;
                let length = bytes.map_or(Length::ToEnd, |bytes| {
                    Length::Declared(bytes.saturating_sub(4))
                });
                return start(source, &description.ok_or_else(cut_off)?, length);
            }
            _ => source.skip(bytes.unwrap_or(u64::MAX)).map_err(Error::io)?,
        }
    }
}

/// Name of a chunk and its length, `None` for the rest of the file.
type ChunkHead = ([u8; 4], Option<u64>);

/// The next chunk's head; a negative length means the rest of the file.
fn chunk(source: &mut ByteSource) -> Result<Option<ChunkHead>, Error> {
    let Some(head) = source.array::<12>().map_err(Error::io)? else {
        return Ok(None);
    };
    let [a, b, c, d, length @ ..] = head;
    Ok(Some((
        [a, b, c, d],
        u64::try_from(i64::from_be_bytes(length)).ok(),
    )))
}

fn start(source: ByteSource, fields: &[u8; 32], length: Length) -> Result<Opened, Error> {
    let word = |index: usize| {
        u32::from_be_bytes([
            fields[index],
            fields[index + 1],
            fields[index + 2],
            fields[index + 3],
        ])
    };
    let rate = u64::from(word(0)) << 32 | u64::from(word(4));
    let channels = u16::try_from(word(24)).map_err(|_| damaged())?;
    let format = sample_format(
        &fields[8..12],
        word(12),
        word(16),
        u32::from(channels),
        word(28),
    )?;
    let sample_rate_hz = f64::from_bits(rate);
    Plain {
        name: "CAF",
        format,
        channels,
        sample_rate_hz,
        length,
    }
    .open(source, Notes::default())
}

fn sample_format(
    id: &[u8],
    flags: u32,
    packet_bytes: u32,
    channels: u32,
    bits: u32,
) -> Result<SampleFormat, Error> {
    const FLOAT: u32 = 1;
    const LITTLE_ENDIAN: u32 = 2;
    let order = if flags & LITTLE_ENDIAN != 0 {
        Order::Little
    } else {
        Order::Big
    };
    let bytes = packet_bytes.checked_div(channels).unwrap_or(1);
    Ok(match id {
        b"alaw" => SampleFormat::full(Coding::ALaw),
        b"ulaw" => SampleFormat::full(Coding::MuLaw),
        _ if flags & FLOAT != 0 && bits == 32 => SampleFormat::full(Coding::Float32(order)),
        _ if flags & FLOAT != 0 && bits == 64 => SampleFormat::full(Coding::Float64(order)),
        _ if flags & FLOAT == 0
            && (1..=64).contains(&bits)
            && (bits.div_ceil(8)..=8).contains(&bytes) =>
        {
            SampleFormat {
                coding: Coding::Signed {
                    bytes: bytes as u8,
                    order,
                },
                valid_bits: bits as u8,
            }
        }
        _ => return Err(damaged()),
    })
}

fn cut_off() -> Error {
    Error::new(
        "bad-header",
        "its CAF header is cut off; copy or export it again",
    )
}

fn damaged() -> Error {
    Error::new(
        "bad-header",
        "its CAF header contradicts itself; export it again as WAV",
    )
}
