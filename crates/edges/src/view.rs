//! Pictures of the trace, of bounded size whatever the length of the recording.

use crate::analyse::Window;
use crate::coarse;
use crate::types::{Envelope, Snippet};
use crate::wide::{greater, join_all, lesser, wide};

const COLUMNS: usize = 2000;
const LEAD_S: f64 = 0.12;
const TAIL_S: f64 = 0.25;
const SNIPPET_RATE_HZ: f64 = 12_000.0;

/// Envelope, where the window is drawn, and snippet from a little before `first_s` to a little after `last_s`.
pub(crate) fn around(window: &Window<'_>, first_s: f64, last_s: f64) -> (Envelope, Snippet) {
    let index = |s: f64| {
        let place = s * window.rate_hz - window.start as f64;
        (place.max(0.0) as usize).min(window.recorded.len())
    };
    let (from, to) = (index(first_s - LEAD_S), index(last_s + TAIL_S));
    let stretch = &window.recorded[from..to];
    let start_s = (window.start as f64 + from as f64) / window.rate_hz;
    let envelope = || envelope(stretch, start_s, window.rate_hz);
    let envelope = window.drawn.then(envelope).unwrap_or_default();
    (envelope, snippet(stretch, start_s, window.rate_hz))
}

fn envelope(samples: &[f32], start_s: f64, rate_hz: f64) -> Envelope {
    let width = samples.len().div_ceil(COLUMNS).max(1);
    let chunks = samples.chunks(width);
    let (mut low, mut high) = (Vec::new(), Vec::new());
    wide(
        #[inline(always)]
        || {
            for chunk in chunks {
                low.push(join_all(chunk, f32::INFINITY, lesser));
                high.push(join_all(chunk, f32::NEG_INFINITY, greater));
            }
        },
    );
    Envelope {
        start_s,
        spacing_s: width as f64 / rate_hz,
        low,
        high,
    }
}

fn snippet(samples: &[f32], start_s: f64, rate_hz: f64) -> Snippet {
    let width = ((rate_hz / SNIPPET_RATE_HZ) as usize).max(1);
    let samples = coarse::block_means(samples, width);
    let samples: Vec<f32> = samples.iter().map(|&x| x as f32).collect();
    Snippet {
        start_s: start_s + (width as f64 - 1.0) / (2.0 * rate_hz),
        rate_hz: rate_hz / width as f64,
        samples,
    }
}

/// An envelope that grows with the recording: when it is full, neighbours merge and columns double.
#[derive(Debug)]
pub(crate) struct Overview {
    /// Ticks in a column.
    width: usize,
    filled: usize,
    low: Vec<f32>,
    high: Vec<f32>,
}

impl Overview {
    pub(crate) fn new() -> Self {
        Overview {
            width: 1,
            filled: 0,
            low: Vec::new(),
            high: Vec::new(),
        }
    }

    /// Takes least and largest sample of the next ticks.
    pub(crate) fn push(&mut self, mut lows: &[f32], mut highs: &[f32]) {
        while !lows.is_empty() {
            if self.filled == 0 {
                if self.low.len() >= 2 * COLUMNS {
                    self.halve();
                }
                self.low.push(f32::INFINITY);
                self.high.push(f32::NEG_INFINITY);
            }
            let count = (self.width - self.filled).min(lows.len());
            if let (Some(low), Some(high)) = (self.low.last_mut(), self.high.last_mut()) {
                *low = join_all(&lows[..count], *low, lesser);
                *high = join_all(&highs[..count], *high, greater);
            }
            (lows, highs) = (&lows[count..], &highs[count..]);
            self.filled = (self.filled + count) % self.width;
        }
    }

    fn halve(&mut self) {
        let merge = |v: &[f32], f: fn(f32, f32) -> f32| -> Vec<f32> {
            v.chunks(2)
                .map(|p| p.iter().copied().reduce(f).unwrap_or(0.0))
                .collect()
        };
        self.low = merge(&self.low, f32::min);
        self.high = merge(&self.high, f32::max);
        self.width *= 2;
    }

    pub(crate) fn finish(self, tick_rate_hz: f64) -> Envelope {
        Envelope {
            start_s: 0.0,
            spacing_s: self.width as f64 / tick_rate_hz,
            low: self.low,
            high: self.high,
        }
    }
}
