//! What a file is, told from its first bytes.

use crate::{Error, mpeg};

/// Bytes at the start that decide what a file is.
pub(crate) const HEAD_BYTES: usize = 4096;

/// A format that can be read here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// RIFF, RIFX, RF64 or BW64 with samples of fixed size.
    Wav,
    /// AIFF or AIFF-C.
    Aiff,
    /// CAF with samples of fixed size.
    PlainCaf,
    /// A container whose packets a library decodes.
    Packets(Container),
    /// Text, which may be a table of numbers.
    Text,
}

/// A container whose packets a library decodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Container {
    Flac,
    Caf,
    Ogg,
    Mpeg,
    Mp4,
    /// WAV with ADPCM.
    Wav,
}

impl Container {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Container::Flac => "FLAC",
            Container::Caf => "CAF",
            Container::Ogg => "Ogg",
            Container::Mpeg => "MPEG audio",
            Container::Mp4 => "M4A",
            Container::Wav => "WAV",
        }
    }
}

/// Formats that are known by their first bytes and not read: offset, bytes, name.
const NAMED: [(usize, &[u8], &str); 13] = [
    (0, b"#!AMR", "AMR"),
    (0, b"#!SILK", "SILK"),
    (0, b"\x30\x26\xB2\x75\x8E\x66\xCF\x11", "WMA (ASF)"),
    (0, b"wvpk", "WavPack"),
    (0, b"MAC ", "Monkey's Audio"),
    (0, b"TTA1", "True Audio"),
    (0, b".snd", "AU"),
    (0, b"NIST_1A", "NIST SPHERE"),
    (0, b"riff\x2E\x91\xCF\x11", "Wave64"),
    (0, b"Creative Voice File", "VOC"),
    (0, b".RMF", "RealMedia"),
    (8, b"AVI ", "AVI video"),
    (0, b"FLV\x01", "Flash video"),
];

/// What holds no sound by itself: offset, bytes, and what it is and what to do.
const SILENT: [(usize, &[u8], &str); 6] = [
    (
        0,
        b"MThd",
        "it is MIDI, which holds notes and no sound; name a recording",
    ),
    (
        0,
        b"PK\x03\x04",
        "it is a ZIP archive; unpack it and name the recording in it",
    ),
    (
        0,
        b"\x1F\x8B",
        "it is a gzip archive; unpack it and name the recording in it",
    ),
    (0, b"%PDF", "it is a PDF and no sound; name a recording"),
    (
        0,
        b"\x89PNG",
        "it is a picture (PNG) and no sound; name a recording",
    ),
    (
        0,
        b"\xFF\xD8\xFF",
        "it is a picture (JPEG) and no sound; name a recording",
    ),
];

/// Decides what the file is, or names what it is not.
pub(crate) fn kind(head: &[u8]) -> Result<Kind, Error> {
    if is_wav(head) {
        return Ok(wav_kind(head));
    }
    if head.starts_with(b"FORM") && matches!(head.get(8..12), Some(b"AIFF" | b"AIFC")) {
        return Ok(Kind::Aiff);
    }
    if head.starts_with(b"caff") && is_plain_caf(head) {
        return Ok(Kind::PlainCaf);
    }
    if let Some(container) = container(head) {
        refuse_unread_codec(container, head)?;
        return Ok(Kind::Packets(container));
    }
    let named = |list: &[(usize, &[u8], &'static str)]| {
        list.iter()
            .find(|(at, magic, _)| head.get(*at..).is_some_and(|h| h.starts_with(magic)))
            .map(|(.., words)| *words)
    };
    if let Some(name) = named(&NAMED) {
        return Err(not_decoded(name));
    }
    if let Some(words) = named(&SILENT) {
        return Err(Error::new("no-sound", words));
    }
    if head.starts_with(&[0x1A, 0x45, 0xDF, 0xA3]) {
        return Err(not_decoded(matroska_name(head)));
    }
    if head.starts_with(&[0xFF, 0xFE]) || head.starts_with(&[0xFE, 0xFF]) {
        return Err(Error::new(
            "text",
            "it is text in UTF-16; save it as UTF-8 or plain CSV",
        ));
    }
    if is_text(head) {
        return Ok(Kind::Text);
    }
    Err(Error::new(
        "unknown-format",
        "its content is no known audio format; if it holds raw samples, give their encoding, rate and \
         channels, such as s16le:48000:1",
    ))
}

fn is_wav(head: &[u8]) -> bool {
    let names: [&[u8]; 4] = [b"RIFF", b"RIFX", b"RF64", b"BW64"];
    names.iter().any(|name| head.starts_with(name)) && head.get(8..12) == Some(b"WAVE")
}

/// ADPCM is left to the library; all else in WAV is read here.
fn wav_kind(head: &[u8]) -> Kind {
    let tag = head
        .windows(10)
        .find(|window| window.starts_with(b"fmt "))
        .map(|window| [window[8], window[9]]);
    match tag.map(u16::from_le_bytes) {
        Some(0x0002 | 0x0011) if head.starts_with(b"RIFF") => Kind::Packets(Container::Wav),
        _ => Kind::Wav,
    }
}

fn container(head: &[u8]) -> Option<Container> {
    match head {
        [b'f', b'L', b'a', b'C', ..] => Some(Container::Flac),
        [b'c', b'a', b'f', b'f', ..] => Some(Container::Caf),
        [b'O', b'g', b'g', b'S', ..] => Some(Container::Ogg),
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => Some(Container::Mp4),
        [b'I', b'D', b'3', 2..=4, ..] => Some(Container::Mpeg),
        _ if mpeg::starts_with_frames(head) => Some(Container::Mpeg),
        _ => None,
    }
}

/// Names codecs that no library here decodes, in containers that it reads.
fn refuse_unread_codec(container: Container, head: &[u8]) -> Result<(), Error> {
    let name = match container {
        Container::Ogg => ogg_codec(head),
        Container::Caf => caf_codec(head),
        Container::Mp4 => mp4_codec(head),
        _ => None,
    };
    match name {
        Some(codec) => Err(not_decoded(&format!("{} with {codec}", container.name()))),
        None => Ok(()),
    }
}

/// The first packet of an Ogg stream names its codec.
fn ogg_codec(head: &[u8]) -> Option<String> {
    let segments = usize::from(*head.get(26)?);
    let packet = head.get(27 + segments..)?;
    let names: [(&[u8], &str); 4] = [
        (b"OpusHead", "Opus"),
        (b"Speex   ", "Speex"),
        (b"\x80theora", "Theora video"),
        (b"CELT    ", "CELT"),
    ];
    names
        .iter()
        .find(|(magic, _)| packet.starts_with(magic))
        .map(|(_, name)| (*name).to_owned())
}

fn is_plain_caf(head: &[u8]) -> bool {
    head.get(8..12) == Some(b"desc")
        && matches!(head.get(28..32), Some(b"lpcm" | b"alaw" | b"ulaw"))
}

/// The description chunk comes first in CAF and names the codec.
fn caf_codec(head: &[u8]) -> Option<String> {
    let codec = head
        .get(28..32)
        .filter(|_| head.get(8..12) == Some(b"desc"))?;
    let read = [b"alac", b"aac ", b"flac", b".mp3", b".mp2", b".mp1"];
    let name = match codec {
        known if read.iter().any(|read| read.as_slice() == known) => return None,
        b"opus" => "Opus",
        b"ima4" => "IMA ADPCM",
        b"samr" => "AMR",
        other => {
            return Some(format!(
                "the codec \"{}\"",
                String::from_utf8_lossy(other).trim()
            ));
        }
    };
    Some(name.to_owned())
}

/// Sample entries of MP4 that are not read; where the index stands at the end, the library refuses.
fn mp4_codec(head: &[u8]) -> Option<String> {
    let description = head.windows(4).position(|window| window == b"stsd")?;
    let entry = head.get(description + 16..description + 20)?;
    let name = match entry {
        b"samr" => "AMR",
        b"sawb" => "AMR wideband",
        b"Opus" => "Opus",
        b"ac-3" => "AC-3",
        b"ec-3" => "E-AC-3",
        _ => return None,
    };
    Some(name.to_owned())
}

fn matroska_name(head: &[u8]) -> &'static str {
    let has = |name: &[u8]| head.windows(name.len()).any(|window| window == name);
    match () {
        () if has(b"A_OPUS") => "WebM or Matroska with Opus",
        () if has(b"A_VORBIS") => "WebM or Matroska with Vorbis",
        () => "WebM or Matroska",
    }
}

/// Text has no control characters but tab, line ends, form feed and escape.
fn is_text(head: &[u8]) -> bool {
    head.iter().all(
        |&byte| matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C | 0x1A | 0x1B | 0x20..=0x7E | 0x80..),
    ) && head.iter().filter(|&&byte| byte >= 0x80).count() * 4 <= head.len()
}

/// The refusal of a codec by its WAV format tag.
pub(crate) fn unknown_wav_codec(tag: u16) -> Error {
    let name = match tag {
        0x0002 => "ADPCM",
        0x0011 => "IMA ADPCM",
        0x0022 => "TrueSpeech",
        0x0031 => "GSM 06.10",
        0x0040 | 0x0045 | 0x0064 => "G.726 ADPCM",
        0x0042 => "G.723.1",
        0x0050 => "MPEG layer 2",
        0x0055 => "MP3",
        0x0065 => "G.722 ADPCM",
        0x00FF => "AAC",
        0x0160..=0x0163 => "WMA",
        0x2000 => "AC-3",
        0xA109 => "Speex",
        0xF1AC => "FLAC",
        _ => return not_decoded(&format!("WAV with the format tag 0x{tag:04x}")),
    };
    not_decoded(&format!("WAV with {name} (format tag 0x{tag:04x})"))
}

/// The refusal of what is known by name only.
pub(crate) fn not_decoded(name: &str) -> Error {
    Error::new(
        "unknown-codec",
        format!(
            "{name} is not read here; convert it to WAV first, for example `ffmpeg -i FILE out.wav`"
        ),
    )
}
