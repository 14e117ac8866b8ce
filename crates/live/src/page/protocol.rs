//! What page and program say to each other: JSON in text messages, samples in binary ones.

use serde::{Deserialize, Serialize};

/// Bytes before the samples of a block.
const HEADER_BYTES: usize = 24;
/// Longest text message that is looked at.
const TEXT_BYTES: usize = 16 * 1024;
/// Longest name of a dial or an input, in characters.
const NAME_CHARACTERS: usize = 120;

/// What the page says.
#[derive(Debug, Deserialize, PartialEq)]
#[serde(tag = "say", rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) enum Heard {
    /// A capture begins; blocks of it follow, numbered from 0.
    Begin(Begin),
    /// The page was here before, under this name.
    Resume { page: String },
    /// Something happened to the input or to the page.
    Happened { what: Happening },
    /// What is measured, and by what it is judged.
    Choose(Choice),
    /// The guided run through all digits begins or ends.
    Guide { on: bool },
    /// The digit that is asked for is passed over.
    PassOver,
    /// Whether the set-up is fit is to be told, or no longer.
    Probe { on: bool },
    /// The input's clock is to be calibrated by a tone that it hears now.
    CalibrateClock { hz: f64, tolerance_ppm: f64 },
    /// The step of the digits that were just dialled is this current.
    CalibrateLevel { current_ma: f64 },
    /// The latest attempt is the one to compare with.
    FirstTake,
    /// The figures are to be saved.
    Save,
    /// The report of the capture is to be shown.
    Report,
    /// The latest attempt is to be shown beside the first take.
    Compare,
    /// The capture ends.
    End,
    /// The page is still there.
    Ping,
}

/// A capture as the browser describes it.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub(crate) struct Begin {
    pub(crate) sample_rate_hz: f64,
    pub(crate) channels: u16,
    pub(crate) device: String,
    pub(crate) processing: Processing,
}

/// Voice processing as the browser reports it: off, on, or nothing said.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq)]
#[serde(rename_all = "camelCase", deny_unknown_fields)]
pub(crate) struct Processing {
    pub(crate) echo_cancellation: Option<bool>,
    pub(crate) noise_suppression: Option<bool>,
    pub(crate) auto_gain_control: Option<bool>,
}

impl Processing {
    /// Names of what is on.
    pub(crate) fn on(self) -> Vec<&'static str> {
        self.named(Some(true))
    }

    /// Names of what the browser says nothing of.
    pub(crate) fn unknown(self) -> Vec<&'static str> {
        self.named(None)
    }

    fn named(self, is: Option<bool>) -> Vec<&'static str> {
        let all = [
            ("echo cancellation", self.echo_cancellation),
            ("noise suppression", self.noise_suppression),
            ("automatic gain control", self.auto_gain_control),
        ];
        let wanted = all.into_iter().filter(|(_, said)| *said == is);
        wanted.map(|(name, _)| name).collect()
    }
}

/// What can happen to an input or a page.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Happening {
    /// The input is gone.
    Unplugged,
    /// The system gives silence instead of the input.
    Muted,
    /// The input is back.
    Unmuted,
    /// The browser paused the capture.
    Suspended,
    /// The page went to the background.
    Hidden,
    /// The page is in sight again.
    Visible,
}

/// What is measured, and by what it is judged. Names are looked up in lists, never opened.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(deny_unknown_fields)]
pub(crate) struct Choice {
    /// Name of a limit set, or `none`.
    pub(crate) limits: String,
    /// Name of a plan.
    pub(crate) plan: String,
    /// Name of the dial; may be empty.
    pub(crate) dial_id: String,
}

/// Reads a text message.
pub(crate) fn heard(text: &str) -> Result<Heard, String> {
    if text.len() > TEXT_BYTES {
        return Err("the message is too long".to_owned());
    }
    serde_json::from_str(text).map_err(|error| error.to_string())
}

/// Text for people without control characters and of bounded length.
pub(crate) fn shown(text: &str) -> String {
    text.chars()
        .take(NAME_CHARACTERS)
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect()
}

/// A block of samples.
#[derive(Debug, PartialEq)]
pub(crate) struct Block<'a> {
    /// Its number, from 0, by one.
    pub(crate) number: u32,
    /// Frame of its first sample by the browser's audio clock, from the first of the capture.
    pub(crate) frame: u64,
    /// When the page had it, in seconds of a clock of its own.
    pub(crate) at_s: f64,
    /// Interleaved 32-bit floats, little-endian.
    pub(crate) samples: &'a [u8],
}

/// Reads a block of `channels` channels: number (u32), channels (u16), nothing (u16), frame (f64), time in
/// milliseconds (f64), all little-endian; then the samples.
pub(crate) fn block(bytes: &[u8], channels: u16) -> Result<Block<'_>, &'static str> {
    let (header, samples) = bytes
        .split_at_checked(HEADER_BYTES)
        .ok_or("a block is shorter than its header")?;
    let part = |from: usize| -> [u8; 8] {
        let mut part = [0; 8];
        part.copy_from_slice(&header[from..from + 8]);
        part
    };
    let word = u64::from_le_bytes(part(0));
    let (number, said) = (word as u32, (word >> 32) as u16);
    let (frame, time_ms) = (f64::from_le_bytes(part(8)), f64::from_le_bytes(part(16)));
    // Beyond this, a double no longer counts by ones.
    let counts = |x: f64| (0.0..9.0e15).contains(&x);
    if said != channels {
        return Err("a block has other channels than the capture");
    }
    if samples.is_empty() || samples.len() % (4 * usize::from(channels)) != 0 {
        return Err("a block does not hold whole frames");
    }
    if !counts(frame) || !counts(time_ms) {
        return Err("a block has no usable time");
    }
    Ok(Block {
        number,
        frame: frame as u64,
        at_s: time_ms / 1000.0,
        samples,
    })
}

/// What the program says.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "say", rename_all = "kebab-case")]
pub(crate) enum Say {
    /// The first message of every connection.
    Hello(Box<Hello>),
    /// The capture has begun, and where its sound is kept.
    Begun { file: String },
    /// What is known of the input.
    Known { words: String },
    /// The page is known again; its capture wants the blocks from this number on, if one is open.
    Resumed {
        page: String,
        next_block: Option<u32>,
    },
    /// The page is not known, or no longer.
    UnknownPage,
    /// The capture is not begun, for this reason.
    Refused { words: String },
    /// How loud the input is, and how far its blocks are taken.
    Level(Level),
    /// A digit, new or said anew.
    Digit(Box<Attempt>),
    /// All digits of the sitting, since what was chosen has changed.
    Attempts {
        attempts: Vec<Attempt>,
        first: Option<usize>,
    },
    /// Something to keep in mind or to mend.
    Caution {
        code: &'static str,
        words: String,
        note: bool,
    },
    /// What a caution said no longer holds.
    Settled { code: &'static str },
    /// The guided run.
    Guide(Guide),
    /// Whether the set-up is fit.
    Probe(Probe),
    /// The capture has ended.
    Ended { words: String, failed: bool },
    /// A report is ready.
    Report {
        ticket: String,
        title: String,
        name: String,
    },
    /// The program ends.
    Closing { words: String },
}

/// What a page must know to begin.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Hello {
    pub(crate) page: String,
    pub(crate) limits: Vec<Named>,
    pub(crate) plans: Vec<Named>,
    pub(crate) chosen: Chosen,
    pub(crate) about: String,
}

/// Something that can be chosen.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Named {
    pub(crate) name: String,
    pub(crate) words: String,
    pub(crate) about: String,
}

/// What is chosen.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Chosen {
    pub(crate) limits: String,
    pub(crate) plan: String,
    pub(crate) dial_id: String,
}

/// The level meter.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Level {
    /// Number of the last block that was taken.
    pub(crate) took: u32,
    /// Length of the bar, 0 to 1.
    pub(crate) part: f64,
    /// Samples at the end of the scale came of late.
    pub(crate) over: bool,
    pub(crate) words: String,
    pub(crate) hum: String,
}

/// A figure with its uncertainty, as numbers and in words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Figure {
    pub(crate) value: f64,
    pub(crate) u95: f64,
    /// The value, rounded to be read from afar.
    pub(crate) text: String,
    /// With all that was measured and the uncertainty.
    pub(crate) full: String,
    /// The same with the unit.
    pub(crate) words: String,
}

/// The limits of a figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Edges {
    pub(crate) lower: Option<f64>,
    pub(crate) upper: Option<f64>,
    pub(crate) words: String,
}

/// Limits by what they are of.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub(crate) struct Limits {
    pub(crate) speed: Option<Edges>,
    pub(crate) percent: Option<Edges>,
    #[serde(rename = "break")]
    pub(crate) of_break: Option<Edges>,
}

/// What changed against another attempt, in words.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub(crate) struct Changed {
    pub(crate) speed: Option<String>,
    pub(crate) percent: Option<String>,
}

/// One pulse.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Pulse {
    pub(crate) break_ms: f64,
    pub(crate) make_ms: Option<f64>,
}

/// One digit of the sitting.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Attempt {
    /// From 1, through all captures of the sitting.
    pub(crate) number: usize,
    pub(crate) digit: Option<String>,
    pub(crate) pulses: usize,
    pub(crate) sure: bool,
    /// `pass` and so on.
    pub(crate) verdict: &'static str,
    pub(crate) word: String,
    pub(crate) reason: String,
    /// For who listens.
    pub(crate) spoken: String,
    pub(crate) speed: Option<Figure>,
    pub(crate) percent: Option<Figure>,
    /// How far and which way to the middle of the limits.
    pub(crate) speed_aim: Option<String>,
    pub(crate) percent_aim: Option<String>,
    pub(crate) limits: Limits,
    pub(crate) change: Option<Changed>,
    pub(crate) against_first: Option<String>,
    /// Whether the sitting gets nearer to the limits' middle.
    pub(crate) better: Option<String>,
    pub(crate) pulses_detail: Vec<Pulse>,
    pub(crate) pulses_words: String,
    /// From and to of each break, in seconds of the capture.
    pub(crate) breaks_s: Vec<[f64; 2]>,
    pub(crate) findings: Vec<String>,
}

/// The guided run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Guide {
    pub(crate) on: bool,
    /// The digit to dial next; `None` when all are done.
    pub(crate) asked: Option<String>,
    pub(crate) words: String,
    pub(crate) digits: Vec<Asked>,
}

/// The probe check.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Probe {
    pub(crate) on: bool,
    pub(crate) fit: &'static str,
    pub(crate) words: &'static str,
    pub(crate) caution: &'static str,
    pub(crate) properties: Vec<Property>,
}

/// One property of the set-up.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Property {
    pub(crate) name: &'static str,
    pub(crate) fit: &'static str,
    pub(crate) figure: String,
    pub(crate) mend: &'static str,
}

/// One digit of the guided run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Asked {
    pub(crate) digit: String,
    pub(crate) state: AskedState,
}

/// How a digit that was asked for came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum AskedState {
    /// Not yet.
    Open,
    /// As asked.
    Right,
    /// With another count.
    Wrong,
    /// Not dialled.
    PassedOver,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(number: u32, channels: u16, frame: f64, time_ms: f64, samples: &[f32]) -> Vec<u8> {
        let mut bytes = Vec::new();
        bytes.extend(number.to_le_bytes());
        bytes.extend(channels.to_le_bytes());
        bytes.extend([0, 0]);
        bytes.extend(frame.to_le_bytes());
        bytes.extend(time_ms.to_le_bytes());
        bytes.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
        bytes
    }

    #[test]
    fn a_block_is_read_as_it_was_written() {
        let bytes = bytes(7, 2, 4096.0, 1500.5, &[0.5, -0.5, 0.25, 1.0]);
        let block = block(&bytes, 2).unwrap();
        assert_eq!((block.number, block.frame, block.at_s), (7, 4096, 1.5005));
        assert_eq!(block.samples, &bytes[24..]);
    }

    #[test]
    fn what_is_no_block_is_refused() {
        let cases = [
            (Vec::new(), "header"),
            (vec![0; 23], "header"),
            (bytes(0, 1, 0.0, 0.0, &[]), "whole frames"),
            (bytes(0, 2, 0.0, 0.0, &[0.0, 0.0]), "other channels"),
            (bytes(0, 1, -1.0, 0.0, &[0.0]), "usable time"),
            (bytes(0, 1, f64::NAN, 0.0, &[0.0]), "usable time"),
            (bytes(0, 1, 0.0, f64::INFINITY, &[0.0]), "usable time"),
            (bytes(0, 1, 1e300, 0.0, &[0.0]), "usable time"),
            (
                [bytes(0, 1, 0.0, 0.0, &[0.0]), vec![0]].concat(),
                "whole frames",
            ),
        ];
        for (bytes, why) in cases {
            let refused = block(&bytes, 1).unwrap_err();
            assert!(refused.contains(why), "{refused}");
        }
    }

    #[test]
    fn messages_have_one_shape() {
        let choice = heard(r#"{"say":"choose","limits":"none","plan":"standard","dial_id":"A"}"#);
        assert!(matches!(choice, Ok(Heard::Choose(_))));
        assert_eq!(heard(r#"{"say":"pass-over"}"#), Ok(Heard::PassOver));
        for wrong in [
            "",
            "[]",
            r#"{"say":"open","path":"/etc/passwd"}"#,
            r#"{"say":"choose","limits":"none"}"#,
        ] {
            assert!(heard(wrong).is_err(), "{wrong}");
        }
        let long = format!(r#"{{"say":"resume","page":"{}"}}"#, "a".repeat(20_000));
        assert!(heard(&long).is_err());
    }

    #[test]
    fn names_lose_what_no_screen_shows() {
        assert_eq!(shown("dial\n\u{1b}[31m A"), "dial\u{FFFD}\u{FFFD}[31m A");
        assert_eq!(shown(&"a".repeat(500)).len(), 120);
    }
}
