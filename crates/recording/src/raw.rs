//! Raw samples without any header.

use std::fmt;
use std::str::FromStr;

use crate::pcm::{Length, PcmStream, check_facts};
use crate::sample::{Coding, Order, SampleFormat};
use crate::source::ByteSource;
use crate::stream::{Notes, Opened};
use crate::{Error, Facts};

/// The format of raw samples, written `encoding:rate:channels`, such as `s16le:48000:1`.
///
/// Encodings: `u8`, `s8`, `s16le`, `s16be`, `s24le`, `s24be`, `s32le`, `s32be`, `f32le`, `f32be`,
/// `f64le`, `f64be`, `mulaw`, `alaw`. The rate is in Hz and above 0; channels are 1 to 65 535.
///
/// ```
/// let format: recording::RawFormat = "mulaw:8000:1".parse()?;
/// assert_eq!(format.to_string(), "mulaw:8000:1");
/// # Ok::<(), recording::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct RawFormat {
    name: &'static str,
    coding: Coding,
    sample_rate_hz: f64,
    channels: u16,
}

use Order::{Big, Little};

const ENCODINGS: [(&str, Coding); 14] = [
    ("u8", Coding::Unsigned8),
    (
        "s8",
        Coding::Signed {
            bytes: 1,
            order: Little,
        },
    ),
    (
        "s16le",
        Coding::Signed {
            bytes: 2,
            order: Little,
        },
    ),
    (
        "s16be",
        Coding::Signed {
            bytes: 2,
            order: Big,
        },
    ),
    (
        "s24le",
        Coding::Signed {
            bytes: 3,
            order: Little,
        },
    ),
    (
        "s24be",
        Coding::Signed {
            bytes: 3,
            order: Big,
        },
    ),
    (
        "s32le",
        Coding::Signed {
            bytes: 4,
            order: Little,
        },
    ),
    (
        "s32be",
        Coding::Signed {
            bytes: 4,
            order: Big,
        },
    ),
    ("f32le", Coding::Float32(Little)),
    ("f32be", Coding::Float32(Big)),
    ("f64le", Coding::Float64(Little)),
    ("f64be", Coding::Float64(Big)),
    ("mulaw", Coding::MuLaw),
    ("alaw", Coding::ALaw),
];

impl FromStr for RawFormat {
    type Err = Error;

    fn from_str(text: &str) -> Result<RawFormat, Error> {
        let mut parts = text.split(':');
        let (Some(encoding), Some(rate), Some(channels), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(bad(text, "it has not three parts"));
        };
        let &(name, coding) = ENCODINGS
            .iter()
            .find(|(name, _)| *name == encoding)
            .ok_or_else(|| bad(text, &format!("encodings are {}", names())))?;
        let sample_rate_hz = rate
            .parse()
            .ok()
            .filter(|rate: &f64| rate.is_finite() && *rate > 0.0)
            .ok_or_else(|| bad(text, "the rate is in Hz and above 0"))?;
        let channels = channels
            .parse()
            .ok()
            .filter(|&channels| channels > 0)
            .ok_or_else(|| bad(text, "channels are 1 to 65535"))?;
        Ok(RawFormat {
            name,
            coding,
            sample_rate_hz,
            channels,
        })
    }
}

impl fmt::Display for RawFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.name, self.sample_rate_hz, self.channels)
    }
}

fn names() -> String {
    ENCODINGS.map(|(name, _)| name).join(", ")
}

fn bad(text: &str, why: &str) -> Error {
    Error::new(
        "bad-raw-format",
        format!(
            "raw format \"{text}\" is not encoding:rate:channels, such as s16le:48000:1: {why}"
        ),
    )
}

/// Opens bytes that are samples from the first to the last.
pub(crate) fn open(source: ByteSource, raw: &RawFormat) -> Result<Opened, Error> {
    let format = SampleFormat::full(raw.coding);
    let facts = Facts {
        sample_rate_hz: raw.sample_rate_hz,
        channels: raw.channels,
        encoding: format!("raw, {}", raw.describe()),
        frames: None,
    };
    check_facts(&facts)?;
    let mut stream = PcmStream::new(source, format, raw.channels, Length::ToEnd);
    if !stream.has_samples()? {
        return Err(Error::new(
            "no-samples",
            format!("it is shorter than one frame of {raw}; check the raw format"),
        ));
    }
    Ok(Opened {
        facts,
        extremes: format.extremes(),
        stream: Box::new(stream),
        notes: Notes::default(),
    })
}

impl RawFormat {
    fn describe(&self) -> String {
        let plain = SampleFormat::full(self.coding).describe();
        match self.coding {
            Coding::Unsigned8 => format!("{plain}, unsigned"),
            Coding::Signed {
                bytes: 2..,
                order: Big,
            }
            | Coding::Float32(Big)
            | Coding::Float64(Big) => {
                format!("{plain}, big-endian")
            }
            _ => plain,
        }
    }
}
