//! Finds the instants at which a recorded telephone loop opened and closed, in a stream of blocks.
//!
//! This crate has never heard of a file, a limit or a report. It takes samples of one channel through a
//! [`Detector`] and gives a [`Trace`].

mod analyse;
mod bank;
mod chain;
mod clicks;
mod cluster;
mod coarse;
mod confirm;
mod cut;
mod decode;
mod detector;
mod doubt;
mod events;
mod hum;
mod latest;
mod levels;
mod linear;
mod look;
mod mains;
mod onset;
mod own;
mod pairs;
mod rails;
mod reclosures;
mod refine;
mod remainder;
mod response;
mod settle;
mod shape;
mod ticks;
mod tone;
mod tools;
mod types;
mod view;
mod wide;

pub use detector::Detector;
pub use types::{
    Direction, Doubt, Edge, Envelope, Hum, LevelStep, Polarity, Reversal, Snippet, Trace, Train,
};
