//! What a sitting says.

use score::{Check, Digit, Finding};

use crate::change::Change;

/// Something heard or noticed. Times are seconds from the first captured sample.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The level of the last 50 ms.
    Level(Level),
    /// Both channels of the input carry one signal, alike to the last bit; the capture keeps one of them.
    OneSignal,
    /// Samples at the end of the scale: told at most once a second.
    Clipping {
        /// Channel, from 1.
        channel: u16,
        /// Clipped samples since it was last told.
        samples: u64,
        /// When, in seconds.
        at_s: f64,
    },
    /// Mains hum: told when it is found and when its size changes by half.
    Hum(Hum),
    /// What stands in the way of a recording that can be judged.
    Hint(Hint),
    /// Samples are missing, or what is there is none of the input. No digit near it is sure.
    Lost(Lost),
    /// A digit, its count beyond doubt.
    Digit(Box<Heard>),
    /// A digit whose count is not beyond doubt; the reason is in `digit.doubt`. Never judged.
    Doubtful(Box<Heard>),
    /// What was said of an earlier digit no longer holds: what came later lifted a doubt or brought one.
    Revised(Box<Heard>),
    /// What was taken for a digit was none, by what came later; its index.
    Withdrawn(usize),
}

/// Level of a stretch of 50 ms.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// End of the stretch, in seconds.
    pub at_s: f64,
    /// Largest magnitude of each channel, full scale 1.
    pub peak: Vec<f64>,
    /// Root mean square about the mean of each channel, full scale 1.
    pub rms: Vec<f64>,
}

/// Mains hum in one channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hum {
    /// Channel, from 1.
    pub channel: u16,
    /// 50 or 60 Hz.
    pub frequency_hz: f64,
    /// Root sum of squares of the amplitudes of the fundamental and two harmonics, full scale 1.
    pub amplitude: f64,
    /// The same relative to the dial step, in percent; `None` before the first digit.
    pub percent_of_step: Option<f64>,
}

/// What stands in the way, with the way out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hint {
    /// Stable code: `input-still`, `input-low`.
    pub code: &'static str,
    /// One line in plain words.
    pub text: String,
}

/// Missing samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lost {
    /// Where, in seconds of the capture.
    pub at_s: f64,
    /// How many frames are missing or were put in by something else; `None` where nobody knows.
    pub frames: Option<u64>,
    /// How it was noticed.
    pub how: LostHow,
}

/// How missing samples were noticed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LostHow {
    /// The source of the samples said so, or counts them and its count leapt.
    Counted,
    /// Fewer samples came than the time that passed.
    Clock,
    /// The trace stands still, to the last bit, amid noise: something else than the input wrote it.
    Seam,
    /// The input went away and came back.
    Away,
}

impl LostHow {
    /// A stable word: `counted`, `clock`, `seam`, `away`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            LostHow::Counted => "counted",
            LostHow::Clock => "clock",
            LostHow::Seam => "seam",
            LostHow::Away => "away",
        }
    }
}

/// One digit as it was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Its number in this sitting, from 0.
    pub index: usize,
    /// The channel that it was taken from, from 1.
    pub channel: u16,
    /// What was measured, with verdict, and the doubt if there is one.
    pub digit: Digit,
    /// Its comparisons with the chosen limits.
    pub checks: Vec<Check>,
    /// What it shows about the dial.
    pub findings: Vec<Finding>,
    /// What changed against an earlier digit; `None` for the first.
    pub change: Option<Change>,
}
