//! The stream: samples come in blocks of any size, windows go to the analysis, trains come out.

use crate::analyse::{self, Seen, Window};
use crate::types::{Doubt, Trace, Train};
use crate::view::Overview;

/// Longest stretch analysed at once.
const WINDOW_S: f64 = 12.0;
/// A train is taken only when so much quiet after it lies in the window; otherwise it waits for the next.
const SETTLED_S: f64 = 1.0;
/// A window without a train hands on so much to the next, the longest train and its rest.
const CARRY_S: f64 = 4.0;

/// Finds edges in the samples of one channel.
///
/// Blocks of any size may be pushed; the result does not depend on how the samples are cut.
#[derive(Debug)]
pub struct Detector {
    rate_hz: f64,
    /// Samples not yet done with.
    pending: Vec<f32>,
    /// Samples of the recording before `pending`.
    done: u64,
    gaps: Vec<u64>,
    /// `pending` begins inside something that may be a train.
    cut_in: bool,
    trains: Vec<Train>,
    overview: Overview,
    sum: f64,
    squares: f64,
    peak: f32,
    clipped: u64,
    /// Clicks in the rhythm of a dial were heard.
    clicks: bool,
}

impl Detector {
    /// Starts a detector for samples taken `sample_rate_hz` times a second.
    #[must_use]
    pub fn new(sample_rate_hz: f64) -> Self {
        Detector {
            rate_hz: sample_rate_hz,
            pending: Vec::new(),
            done: 0,
            gaps: Vec::new(),
            cut_in: false,
            trains: Vec::new(),
            overview: Overview::new(),
            sum: 0.0,
            squares: 0.0,
            peak: 0.0,
            clipped: 0,
            clicks: false,
        }
    }

    /// Takes the next samples, in full-scale units (±1).
    pub fn push(&mut self, samples: &[f32]) {
        self.overview.push(samples);
        let length = self.seconds(WINDOW_S);
        for chunk in samples.chunks(4096) {
            let mut rest = chunk;
            while !rest.is_empty() {
                let take = (length - self.pending.len()).min(rest.len());
                self.account(&rest[..take]);
                self.pending.extend_from_slice(&rest[..take]);
                rest = &rest[take..];
                if self.pending.len() == length {
                    self.analyse(false);
                }
            }
        }
    }

    /// Says that samples are missing between the last block and the next.
    pub fn gap(&mut self) {
        self.gaps.push(self.done + self.pending.len() as u64);
    }

    /// Ends the recording and gives what was found.
    #[must_use]
    pub fn finish(mut self) -> Trace {
        self.analyse(true);
        let samples = self.done + self.pending.len() as u64;
        let count = (samples as f64).max(1.0);
        let mean = self.sum / count;
        // What a microphone hears beside a wired line does not count.
        let heard_not_wired = self.clicks && self.trains.is_empty();
        Trace {
            sample_rate_hz: self.rate_hz,
            samples,
            trains: self.trains,
            clipped: self.clipped,
            rms: (self.squares / count - mean * mean).max(0.0).sqrt(),
            peak: f64::from(self.peak),
            heard_not_wired,
            overview: self.overview.finish(self.rate_hz),
        }
    }

    fn seconds(&self, seconds: f64) -> usize {
        (seconds * self.rate_hz).round() as usize
    }

    fn account(&mut self, samples: &[f32]) {
        for &x in samples {
            self.sum += f64::from(x);
            self.squares += f64::from(x) * f64::from(x);
            self.peak = self.peak.max(x.abs());
        }
    }

    /// Analyses what is pending, keeps the trains that are over, hands the rest on.
    fn analyse(&mut self, last: bool) {
        let window = Window {
            samples: &self.pending,
            start: self.done,
            rate_hz: self.rate_hz,
            first: self.done == 0 || self.cut_in,
            last,
        };
        let end_s = (self.done + self.pending.len() as u64) as f64 / self.rate_hz;
        let analysis = analyse::window(window);
        self.clicks |= analysis.clicks;
        let (over, open): (Vec<Seen>, Vec<Seen>) = analysis
            .seen
            .into_iter()
            .partition(|s| last || end_of(&s.train) + SETTLED_S < end_s);
        let over_until = over.last().map(|s| end_of(&s.train));
        for seen in over {
            self.clipped += seen.clipped;
            self.trains
                .push(mark_gaps(seen.train, &self.gaps, self.rate_hz));
        }
        if last {
            return;
        }
        // What follows must not see a finished train's last edge again, yet keep the lead of the next.
        let mut keep = self.pending.len() - self.seconds(CARRY_S);
        let place = |s: f64| ((s * self.rate_hz) as u64).saturating_sub(self.done) as usize;
        if let Some(seen) = open.first() {
            keep = keep.min(place(start_of(&seen.train) - 0.5));
        }
        if let Some(end) = over_until {
            keep = keep.max(place(end + 0.1));
        }
        // No train of a dial lasts half a window: what does is cut, and the rest of it starts inside.
        let least = self.pending.len() / 2;
        self.cut_in = keep < least;
        let keep = keep.clamp(least, self.pending.len());
        self.pending.drain(..keep);
        self.done += keep as u64;
    }
}

fn start_of(train: &Train) -> f64 {
    train.edges.first().map_or(0.0, |e| e.instant_s)
}

fn end_of(train: &Train) -> f64 {
    train.edges.last().map_or(0.0, |e| e.instant_s)
}

fn mark_gaps(mut train: Train, gaps: &[u64], rate_hz: f64) -> Train {
    let (start, end) = (start_of(&train), end_of(&train));
    let pulses = (train.edges.len() / 2).max(1) as f64;
    let near = 2.0 * ((end - start) / pulses).max(0.1);
    let gap = gaps
        .iter()
        .map(|&g| g as f64 / rate_hz)
        .find(|g| (start - near..end + near).contains(g));
    train.doubts.extend(gap.map(Doubt::Gap));
    train
}
