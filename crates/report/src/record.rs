//! What a report is made from.

use edges::Trace;
use recording::{Facts, Warning};
use score::Scored;

/// One input and what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The path as the user gave it; `-` is standard input.
    pub input: String,
    /// What was measured, or why nothing was.
    pub outcome: Result<Box<Measured>, Unreadable>,
}

/// Why an input could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// Stable code, such as `empty-file`.
    pub code: String,
    /// What is wrong and the way out, a lower-case fragment that fits behind "cannot read X: ".
    pub message: String,
}

/// A recording that was read and scored.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// What the file says of itself.
    pub facts: Facts,
    /// Frames really read.
    pub frames: u64,
    /// What was wrong with the file, and what was noticed on the way.
    pub warnings: Vec<Warning>,
    /// The channel that was measured, counted from 1.
    pub channel: u16,
    /// Samples of that channel at the extreme of the format.
    pub clipped: u64,
    /// What the detector found.
    pub trace: Trace,
    /// What it means.
    pub scored: Scored,
}

impl Measured {
    /// Length of the recording, in seconds.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.frames as f64 / self.facts.sample_rate_hz
    }

    /// Clipped samples by whichever of file and trace shows more.
    #[must_use]
    pub fn clipped(&self) -> u64 {
        self.clipped.max(self.trace.clipped)
    }
}
