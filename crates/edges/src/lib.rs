//! Finds the instants at which a recorded telephone loop opened and closed, in a stream of blocks.
//!
//! This crate has never heard of a file, a limit or a report. It takes samples of one channel and gives
//! a [`Trace`].

mod types;

pub use types::{
    Direction, Doubt, Edge, Envelope, Hum, LevelStep, Polarity, Reversal, Snippet, Trace, Train,
};

/// Finds edges in the samples of one channel.
///
/// Blocks of any size may be pushed; the result does not depend on how the samples are cut.
#[derive(Debug)]
pub struct Detector {
    sample_rate_hz: f64,
    samples: u64,
}

impl Detector {
    /// Starts a detector for samples taken `sample_rate_hz` times a second.
    #[must_use]
    pub fn new(sample_rate_hz: f64) -> Self {
        Detector { sample_rate_hz, samples: 0 }
    }

    /// Takes the next samples, in full-scale units (±1).
    pub fn push(&mut self, samples: &[f32]) {
        self.samples += samples.len() as u64;
    }

    /// Says that samples are missing between the last block and the next.
    pub fn gap(&mut self) {}

    /// Ends the recording and gives what was found.
    #[must_use]
    pub fn finish(self) -> Trace {
        Trace {
            sample_rate_hz: self.sample_rate_hz,
            samples: self.samples,
            trains: Vec::new(),
            clipped: 0,
            rms: 0.0,
            peak: 0.0,
            heard_not_wired: false,
            overview: Envelope::default(),
        }
    }
}
