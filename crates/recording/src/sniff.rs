//! What a file is, told from its first bytes.

use crate::Error;

/// Bytes at the start that decide what a file is.
pub(crate) const HEAD_BYTES: usize = 4096;

/// A format that can be read here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// RIFF, RIFX, RF64 or BW64 with samples.
    Wav,
}

/// Decides what the file is, or names what it is not.
pub(crate) fn kind(head: &[u8]) -> Result<Kind, Error> {
    if is_wav(head) {
        return Ok(Kind::Wav);
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

/// The refusal of a codec by its WAV format tag.
pub(crate) fn unknown_wav_codec(tag: u16) -> Error {
    let name = match tag {
        0x0002 => "ADPCM",
        0x0011 => "IMA ADPCM",
        0x0031 => "GSM 06.10",
        0x0050 => "MPEG layer 2",
        0x0055 => "MP3",
        0x0160..=0x0163 => "WMA",
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
