//! What is known of a recording beside its samples.

use crate::raw::RawFormat;

/// How to open what the bytes alone do not tell.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OpenOptions {
    /// Read the bytes as raw samples of this format, without looking for a header.
    pub raw: Option<RawFormat>,
    /// Sampling rate of a CSV file in Hz, for files without a time column; above 0.
    pub csv_rate_hz: Option<f64>,
}

/// What the file says of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// Sampling rate in Hz; finite and above 0.
    pub sample_rate_hz: f64,
    /// Number of channels; at least 1.
    pub channels: u16,
    /// Container and coding for a person, such as `WAV, 16-bit PCM`.
    pub encoding: String,
    /// Frames (one sample of every channel) as the file declares them. `None` where it does not.
    /// What really was there is [`crate::Recording::frames_read`] at the end.
    pub frames: Option<u64>,
}

/// Something wrong with a recording that could be read all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning {
    /// Stable code, such as `truncated`.
    ///
    /// | code | what happened |
    /// |---|---|
    /// | `streamed-length` | the header gives no length (written to a pipe); read to the end |
    /// | `truncated` | the file ends before the length that its header declares |
    /// | `partial-frame` | the samples end in mid-frame; the incomplete frame was left out |
    /// | `block-size` | the header's frame size contradicts channels and bits; the latter were used |
    /// | `non-finite` | samples that are not numbers or infinite; replaced by 0 |
    /// | `damaged-packet` | a compressed packet could not be decoded; its time is filled, see [`crate::Recording::gaps`] |
    /// | `format-changed` | rate or channels change in mid-file; the recording ends there |
    /// | `marked-gap` | the file marks in itself where samples were lost when it was captured, see [`crate::Recording::gaps`] |
    /// | `csv-cell` | cells without a number; the value before them was held, and a row without any is a gap |
    /// | `csv-resampled` | the times are not uniform; resampled by straight lines |
    /// | `csv-time` | times that run backwards or jump |
    /// | `csv-rate` | the given rate and the time column disagree, or the rate is implausibly small |
    pub code: &'static str,
    /// One line for a person.
    pub message: String,
}

/// A stretch whose samples are missing in the file and were filled, by holding the last value or as the file marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// First filled frame, counted from the start of the recording.
    pub start_frame: u64,
    /// Number of filled frames; 0 where it is not known how many are missing, as where times run backwards.
    pub frames: u64,
}
