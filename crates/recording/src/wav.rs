//! WAV and its kin: RIFF, RIFX, RF64, BW64.
//!
//! Written to the published layouts: *Multimedia Programming Interface and Data Specifications 1.0*
//! (1991) for RIFF and WAVE, its 1994 update for the format tags, the WAVE_FORMAT_EXTENSIBLE
//! description (2001) for valid bits, EBU Tech 3306 (2009) for RF64 and Recommendation ITU-R BS.2088
//! for BW64. It is also lenient, since recordings from loggers and pipes rarely keep to them.

use crate::Error;
use crate::marks::{self, Marks};
use crate::pcm::{Length, Plain, no_samples};
use crate::sample::{Coding, Order, SampleFormat};
use crate::source::ByteSource;
use crate::stream::{Notes, Opened};

const PCM: u16 = 1;
const FLOAT: u16 = 3;
const A_LAW: u16 = 6;
const MU_LAW: u16 = 7;
const EXTENSIBLE: u16 = 0xFFFE;

/// Length fields that writers leave behind when they cannot go back to fill them in.
const PLACEHOLDERS: [u32; 4] = [0x7FFF_F000, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_F000];

/// Most bytes of a format chunk that are looked at; the longest that is understood has 40.
const MOST_FORMAT_BYTES: u32 = 4096;

/// Chunks that are known to occur; used only to tell whether a pad byte is missing.
const KNOWN_CHUNKS: [&[u8; 4]; 22] = [
    b"fmt ", b"data", b"LIST", b"fact", b"bext", b"JUNK", b"junk", b"PAD ", b"FLLR", b"cue ",
    b"smpl", b"inst", b"plst", b"iXML", b"axml", b"chna", b"PEAK", b"levl", b"link", b"cart",
    b"id3 ", b"ID3 ",
];

/// Opens a file that starts with one of the four RIFF names and `WAVE`.
pub(crate) fn open(mut source: ByteSource) -> Result<Opened, Error> {
    let header = read_header(&mut source)?;
    let mut notes = Notes::default();
    let fields = header.fields;
    notes.mark_gaps(header.marks.gaps());
    let format = sample_format(&fields, header.order, &mut notes)?;
    let sample_rate_hz = f64::from(fields.sample_rate_hz);
    let Header {
        kind: name, length, ..
    } = header;
    Plain {
        name,
        format,
        channels: fields.channels,
        sample_rate_hz,
        length,
    }
    .open(source, notes)
}

/// All that stands before the samples.
struct Header {
    kind: &'static str,
    order: Order,
    fields: Fields,
    length: Length,
    marks: Marks,
}

/// The format chunk.
#[derive(Debug, Clone, Copy)]
struct Fields {
    tag: u16,
    channels: u16,
    sample_rate_hz: u32,
    frame_bytes: u16,
    bits: u16,
    /// Valid bits and sub-format of WAVE_FORMAT_EXTENSIBLE.
    extension: Option<(u16, [u8; 16])>,
}

/// The lengths of the `ds64` chunk: of the whole and of the samples.
#[derive(Debug, Clone, Copy)]
struct Sizes64 {
    riff: u64,
    data: u64,
}

fn read_header(source: &mut ByteSource) -> Result<Header, Error> {
    let start: [u8; 12] = source.array().map_err(Error::io)?.ok_or_else(cut_off)?;
    let (kind, order) = match &start[..4] {
        b"RIFX" => ("RIFX", Order::Big),
        b"RF64" => ("RF64", Order::Little),
        b"BW64" => ("BW64", Order::Little),
        _ => ("WAV", Order::Little),
    };
    let riff_bytes = u32_at(&start, 4, order);
    let mut fields = None;
    let mut sizes = None;
    let mut marks = Marks::default();
    loop {
        let head: [u8; 8] = source
            .array()
            .map_err(Error::io)?
            .ok_or_else(|| match fields {
                Some(_) => no_samples(),
                None => cut_off(),
            })?;
        let bytes = u32_at(&head, 4, order);
        match &head[..4] {
            b"data" => {
                let fields = fields.ok_or_else(|| {
                    Error::new(
                        "bad-header",
                        "its samples come before their format is named; export it again as WAV",
                    )
                })?;
                let length = data_length(bytes, riff_bytes, sizes, source.position());
                return Ok(Header {
                    kind,
                    order,
                    fields,
                    length,
                    marks,
                });
            }
            b"fmt " => fields = Some(read_fields(source, bytes, order)?),
            b"cue " => marks.take_cues(&read_chunk(source, bytes)?, order),
            b"LIST" => marks.take_list(&read_chunk(source, bytes)?, order),
            b"ds64" => sizes = read_sizes(source, bytes, order)?,
            _ => source.skip(u64::from(bytes)).map_err(Error::io)?,
        }
        skip_pad(source, bytes)?;
    }
}

/// A chunk of odd length is followed by one byte of padding, which some writers forget.
fn skip_pad(source: &mut ByteSource, bytes: u32) -> Result<(), Error> {
    if bytes.is_multiple_of(2) {
        return Ok(());
    }
    let next = source.peek(5).map_err(Error::io)?;
    let known = |name: &[u8]| KNOWN_CHUNKS.iter().any(|known| known.as_slice() == name);
    let missing = next.len() == 5 && known(&next[..4]) && !known(&next[1..]);
    source.skip(u64::from(!missing)).map_err(Error::io)
}

/// The contents of a chunk, or as much of it as is looked at.
fn read_chunk(source: &mut ByteSource, bytes: u32) -> Result<Vec<u8>, Error> {
    let mut chunk = vec![0; bytes.min(marks::MOST_BYTES) as usize];
    let got = source.fill(&mut chunk).map_err(Error::io)?;
    chunk.truncate(got);
    source
        .skip(u64::from(bytes) - got as u64)
        .map_err(Error::io)?;
    Ok(chunk)
}

fn read_fields(source: &mut ByteSource, bytes: u32, order: Order) -> Result<Fields, Error> {
    let mut chunk = vec![0; bytes.min(MOST_FORMAT_BYTES) as usize];
    let got = source.fill(&mut chunk).map_err(Error::io)?;
    source
        .skip(u64::from(bytes) - got as u64)
        .map_err(Error::io)?;
    if got < 14 {
        return Err(cut_off());
    }
    let at = |index| u16_at(&chunk, index, order);
    let tag = at(0);
    // The oldest form of the chunk ends before the bits, which then follow from the frame's bytes.
    let frame_bytes = at(12);
    let channels = at(2);
    let bits = if got >= 16 {
        at(14)
    } else {
        (frame_bytes / channels.max(1)).saturating_mul(8)
    };
    let mut guid = [0; 16];
    let extension = (tag == EXTENSIBLE && got >= 40).then(|| {
        guid.copy_from_slice(&chunk[24..40]);
        (at(18), guid)
    });
    Ok(Fields {
        tag,
        channels,
        sample_rate_hz: u32_at(&chunk, 4, order),
        frame_bytes,
        bits,
        extension,
    })
}

fn read_sizes(source: &mut ByteSource, bytes: u32, order: Order) -> Result<Option<Sizes64>, Error> {
    if bytes < 16 {
        source.skip(u64::from(bytes)).map_err(Error::io)?;
        return Ok(None);
    }
    let chunk: [u8; 16] = source.array().map_err(Error::io)?.ok_or_else(cut_off)?;
    source.skip(u64::from(bytes) - 16).map_err(Error::io)?;
    let at = |index| {
        u64::from(u32_at(&chunk, index, order)) | u64::from(u32_at(&chunk, index + 4, order)) << 32
    };
    Ok(Some(Sizes64 {
        riff: at(0),
        data: at(8),
    }))
}

/// How many bytes of samples there are, given the header's word for it.
fn data_length(bytes: u32, riff_bytes: u32, sizes: Option<Sizes64>, data_start: u64) -> Length {
    let (data, riff) = match sizes {
        Some(sizes) if bytes == u32::MAX => (sizes.data, sizes.riff),
        _ if bytes == u32::MAX => return Length::ToEnd,
        _ => (u64::from(bytes), u64::from(riff_bytes)),
    };
    if data == u64::MAX {
        return Length::ToEnd;
    }
    if data == 0 {
        // A finished file without samples declares something behind its data chunk, or nothing at
        // all behind an honest total; a streamed one never got to fill in either length.
        let behind =
            riff.saturating_add(8) > data_start && riff != u64::from(u32::MAX) && riff != u64::MAX;
        let placeholder = PLACEHOLDERS
            .iter()
            .any(|&p| u64::from(p) <= riff + 64 && riff <= u64::from(p) + 64);
        return if behind && !placeholder {
            Length::Declared(0)
        } else {
            Length::ToEnd
        };
    }
    match u32::try_from(data) {
        Ok(short) if PLACEHOLDERS.iter().any(|&p| short.abs_diff(p) <= 64) => Length::AtMost(data),
        _ => Length::Declared(data),
    }
}

fn sample_format(fields: &Fields, order: Order, notes: &mut Notes) -> Result<SampleFormat, Error> {
    let (tag, valid_bits) = match fields.extension {
        None => (fields.tag, fields.bits),
        Some((valid, guid)) => (
            sub_format(&guid, order)?,
            if valid == 0 { fields.bits } else { valid },
        ),
    };
    match tag {
        PCM => integer_format(fields, valid_bits, order, notes),
        FLOAT if fields.bits == 32 => Ok(SampleFormat::full(Coding::Float32(order))),
        FLOAT if fields.bits == 64 => Ok(SampleFormat::full(Coding::Float64(order))),
        A_LAW if fields.bits == 8 => Ok(SampleFormat::full(Coding::ALaw)),
        MU_LAW if fields.bits == 8 => Ok(SampleFormat::full(Coding::MuLaw)),
        FLOAT | A_LAW | MU_LAW => Err(odd_bits(tag, fields.bits)),
        other => Err(crate::sniff::unknown_wav_codec(other)),
    }
}

fn integer_format(
    fields: &Fields,
    valid_bits: u16,
    order: Order,
    notes: &mut Notes,
) -> Result<SampleFormat, Error> {
    let bits = fields.bits;
    if !(1..=64).contains(&bits) {
        return Err(odd_bits(PCM, bits));
    }
    let plain = bits.div_ceil(8);
    let channels = fields.channels.max(1);
    let stated = fields.frame_bytes / channels;
    let consistent = fields.frame_bytes.is_multiple_of(channels) && (plain..=8).contains(&stated);
    if !consistent {
        notes.warn(
            "block-size",
            format!(
                "the header's {} bytes a frame contradict {} channels of {bits} bits: the latter were used",
                fields.frame_bytes, fields.channels
            ),
        );
    }
    let bytes = if consistent { stated } else { plain } as u8;
    let valid_bits = if (1..=bits).contains(&valid_bits) {
        valid_bits
    } else {
        bits
    } as u8;
    let coding = if bytes == 1 {
        Coding::Unsigned8
    } else {
        Coding::Signed { bytes, order }
    };
    Ok(SampleFormat { coding, valid_bits })
}

/// The format tag that a sub-format stands for.
fn sub_format(guid: &[u8; 16], order: Order) -> Result<u16, Error> {
    /// Tails of the sub-formats of plain and of ambisonic files.
    const TAILS: [[u8; 8]; 2] = [
        [0x80, 0x00, 0x00, 0xAA, 0x00, 0x38, 0x9B, 0x71],
        [0x86, 0x44, 0xC8, 0xC1, 0xCA, 0x00, 0x00, 0x00],
    ];
    if TAILS.iter().any(|tail| guid[8..] == tail[..]) {
        return Ok(u32_at(guid, 0, order).min(0xFFFF) as u16);
    }
    let hex: String = guid.iter().map(|byte| format!("{byte:02x}")).collect();
    Err(crate::sniff::not_decoded(&format!(
        "WAV with the sub-format {hex}"
    )))
}

fn odd_bits(tag: u16, bits: u16) -> Error {
    let what = match tag {
        FLOAT => "float",
        A_LAW => "A-law",
        MU_LAW => "mu-law",
        _ => "PCM",
    };
    Error::new(
        "bad-header",
        format!(
            "its header declares {what} samples of {bits} bits, which do not exist; export it again as 16-bit WAV"
        ),
    )
}

fn cut_off() -> Error {
    Error::new(
        "bad-header",
        "its WAV header is cut off; copy or export it again",
    )
}

fn u16_at(bytes: &[u8], index: usize, order: Order) -> u16 {
    let word = [bytes[index], bytes[index + 1]];
    if order == Order::Big {
        u16::from_be_bytes(word)
    } else {
        u16::from_le_bytes(word)
    }
}

fn u32_at(bytes: &[u8], index: usize, order: Order) -> u32 {
    let word = [
        bytes[index],
        bytes[index + 1],
        bytes[index + 2],
        bytes[index + 3],
    ];
    if order == Order::Big {
        u32::from_be_bytes(word)
    } else {
        u32::from_le_bytes(word)
    }
}
