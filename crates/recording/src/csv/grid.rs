//! Puts rows with times onto the uniform grid of a sampling rate.

use crate::Gap;
use crate::stream::{MOST_FILLED_SAMPLES, Notes};

/// Samples by which a time may miss its place on the grid and still count as uniform, beside the
/// rounding of its last digit.
const SLACK: f64 = 0.05;

/// Rows of a table on their way to uniform frames. Positions are in sample periods.
pub(crate) struct Grid {
    channels: usize,
    /// Most frames that one hole is filled with.
    most_filled: f64,
    /// Place on the grid of the next frame.
    next: u64,
    /// What is added to a row's own position to get its place.
    offset: f64,
    last_place: f64,
    last: Vec<f32>,
}

impl Grid {
    pub(crate) fn new(channels: usize, sample_rate_hz: f64) -> Grid {
        let most_filled = (10.0 * sample_rate_hz)
            .min(MOST_FILLED_SAMPLES as f64 / channels as f64)
            .floor();
        Grid {
            channels,
            most_filled,
            next: 0,
            offset: 0.0,
            last_place: 0.0,
            last: Vec::new(),
        }
    }

    /// Frames given so far.
    pub(crate) fn frames(&self) -> u64 {
        self.next
    }

    /// Takes a row without a time: it is one period after the row before.
    pub(crate) fn push_next(&mut self, row: &[f32], out: &mut Vec<f32>) {
        self.last_place = self.next as f64;
        self.next += 1;
        self.last.clear();
        self.last.extend_from_slice(row);
        out.extend_from_slice(row);
    }

    /// Takes a row at `position`, whose last digit is worth `resolution`.
    pub(crate) fn push(
        &mut self,
        position: f64,
        resolution: f64,
        row: &[f32],
        out: &mut Vec<f32>,
        notes: &mut Notes,
    ) {
        if self.next == 0 {
            self.offset = -position;
        }
        let place = position + self.offset;
        let late = place - self.next as f64;
        if late.abs() <= SLACK + 0.6 * resolution {
            self.push_next(row, out);
        } else if place <= self.last_place {
            // How much time lies between the rows is not known: nothing can be filled.
            notes.gap(Gap {
                start_frame: self.next,
                frames: 0,
            });
            self.rebase(position, notes);
            self.push_next(row, out);
        } else if late > self.most_filled {
            self.hold(out, notes);
            self.rebase(position, notes);
            self.push_next(row, out);
        } else {
            self.interpolate(place, row, out, notes);
        }
    }

    /// Counts time on from this row: its own time leads nowhere.
    fn rebase(&mut self, position: f64, notes: &mut Notes) {
        self.offset = self.next as f64 - position;
        let template = "times that run backwards or leap ({}): taken as the next sample";
        notes.count("csv-time", 1, template);
    }

    /// Fills the most that a hole is filled with.
    fn hold(&mut self, out: &mut Vec<f32>, notes: &mut Notes) {
        let frames = self.most_filled as u64;
        notes.gap(Gap {
            start_frame: self.next,
            frames,
        });
        for _ in 0..frames {
            out.extend_from_slice(&self.last);
        }
        self.next += frames;
    }

    /// Draws straight lines from the row before to this one and reads them off on the grid.
    fn interpolate(&mut self, place: f64, row: &[f32], out: &mut Vec<f32>, notes: &mut Notes) {
        let span = place - self.last_place;
        let start = self.next;
        while self.next as f64 <= place {
            let share = ((self.next as f64 - self.last_place) / span) as f32;
            out.extend(
                (0..self.channels)
                    .map(|index| self.last[index] + share * (row[index] - self.last[index])),
            );
            self.next += 1;
        }
        // Jitter stays below a period or two; more means that rows are missing.
        if span > 2.5 {
            let filled = self.next - start;
            // A last frame that falls on the row itself is no filling.
            let own = u64::from(filled > 0 && place - (self.next - 1) as f64 <= SLACK);
            notes.gap(Gap {
                start_frame: start,
                frames: filled - own,
            });
        }
        self.last_place = place;
        self.last.clear();
        self.last.extend_from_slice(row);
        let template = "times that are not uniform ({}): resampled by straight lines";
        notes.count("csv-resampled", 1, template);
    }
}
