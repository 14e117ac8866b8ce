//! Drives samples along the road `recording → edges → score`, to a [`report::Record`].
//!
//! A file goes through [`record`]; a live input feeds the same [`Channels`] block by block, so both give the
//! same figures. This crate measures nothing itself, prints nothing, and knows no option of any command.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod channels;
mod gaps;
mod measure;
mod section;

pub use channels::{Channel, Channels, Sample, Taken};
pub use measure::{Options, record};
