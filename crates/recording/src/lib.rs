//! Yields the samples of a recording in blocks, with what is known of the file.
//!
//! A [`Recording`] is opened from a path or from any reader, also one that cannot seek. What it is
//! is decided by its first bytes, never by its name. Samples come as interleaved `f32`, full scale
//! ±1, in blocks of bounded size, so that an hour costs no more memory than a second. CSV is the
//! exception in scale: its values pass through unchanged, in whatever unit the column has.
//!
//! A file that is damaged but holds samples is given as far as it goes, with [`Warning`]s; a file
//! that holds none is refused with an [`Error`] of one line and a stable code.
//!
//! ```no_run
//! # fn main() -> Result<(), recording::Error> {
//! use recording::{OpenOptions, Recording};
//! let mut recording = Recording::open("digit.wav".as_ref(), &OpenOptions::default())?;
//! let mut frames = Vec::new();
//! while recording.next_block(&mut frames)? {
//!     // `frames` holds the next interleaved block.
//! }
//! # Ok(())
//! # }
//! ```
//!
//! This crate does not know what a dial is.
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod aiff;
mod caf;
mod clip;
mod csv;
mod error;
mod facts;
mod g711;
mod marks;
mod mpeg;
mod packets;
mod pcm;
mod raw;
mod recording;
mod sample;
mod sniff;
mod source;
mod stream;
mod wav;

pub use error::Error;
pub use facts::{Facts, Gap, OpenOptions, Warning};
pub use raw::RawFormat;
pub use recording::Recording;
