//! Live capture: a [`Sitting`] takes the samples of an input as they come, keeps them as a WAV file, and says
//! what it hears: level, clipping, hum, gaps, and each digit a moment after the pause that ends it.
//!
//! The capture is written as it goes, so that it is a valid file whenever the program dies. Gaps in the samples
//! are marked in that file, so that [`Sitting::finish`] and a later reading of the file give the same figures to
//! the last bit: the final record *is* a reading of the file.
//!
//! This crate does not know how a verdict is reached.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod alike;
mod calibration;
mod capture_file;
mod change;
mod clock;
mod digits;
mod error;
mod event;
mod findings;
mod fitness;
mod format;
mod hum;
mod input;
mod meter;
pub mod page;
mod seam;
mod sitting;
mod tone;

pub use calibration::{Calibration, Calibrations, DialStep, KnownTone};
pub use change::{Change, Difference};
pub use clock::ClockReading;
pub use error::Error;
pub use event::{Event, Heard, Hint, Hum, Level, Lost, LostHow};
pub use fitness::{Finding, Fit, Noticed, fitness, overall};
pub use format::{Encoding, Format};
pub use input::{Device, Input, InputError, Next, devices, open};
pub use sitting::{Arrival, Setup, Sitting};
pub use tone::{Tone, ToneMeter};
