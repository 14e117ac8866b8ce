//! Level, clipping, and what stands in the way, from the samples alone.

use crate::event::{Event, Hint, Level};
use crate::format::Format;
use crate::hum::HumWatch;

const LEVEL_S: f64 = 0.050;
/// Clipping is told so often at most, in levels.
const CLIPPING_EVERY: u32 = 20;
/// Hints are given when the input was so for this long, in levels.
const PATIENCE: u32 = 40;
/// Peaks below -60 dB of full scale: the probe is off, or the input's gain is all the way down.
const LOW: f64 = 0.001;

#[derive(Clone, Debug, Default)]
struct Sums {
    peak: f64,
    sum: f64,
    squares: f64,
    clipped: u64,
    /// Samples at one end of the scale, running; the sign tells which end.
    run: i64,
}

/// Meters all channels.
#[derive(Debug)]
pub(crate) struct Meter {
    rate_hz: f64,
    channels: usize,
    highest: f32,
    window: u64,
    seen: u64,
    in_window: u64,
    sums: Vec<Sums>,
    hums: Vec<HumWatch>,
    since_clipping: u32,
    low_for: u32,
    still_for: u32,
    hinted: Option<&'static str>,
}

impl Meter {
    pub(crate) fn new(format: Format) -> Self {
        let rate_hz = f64::from(format.sample_rate_hz);
        Meter {
            rate_hz,
            channels: usize::from(format.channels),
            highest: format.encoding.highest(),
            window: (LEVEL_S * rate_hz) as u64,
            seen: 0,
            in_window: 0,
            sums: vec![Sums::default(); usize::from(format.channels)],
            hums: (1..=format.channels)
                .map(|channel| HumWatch::new(channel, rate_hz))
                .collect(),
            since_clipping: CLIPPING_EVERY,
            low_for: 0,
            still_for: 0,
            hinted: None,
        }
    }

    /// Takes whole frames, interleaved.
    pub(crate) fn push(&mut self, frames: &[f32], events: &mut Vec<Event>) {
        for frame in frames.chunks_exact(self.channels) {
            self.seen += 1;
            self.in_window += 1;
            for ((sums, hum), &x) in self.sums.iter_mut().zip(&mut self.hums).zip(frame) {
                sums.take(x, self.highest);
                events.extend(hum.push(x).map(Event::Hum));
            }
            if self.in_window == self.window {
                self.end_window(events);
            }
        }
    }

    fn end_window(&mut self, events: &mut Vec<Event>) {
        let count = self.in_window as f64;
        let at_s = self.seen as f64 / self.rate_hz;
        let rms = |sums: &Sums| {
            let mean = sums.sum / count;
            (sums.squares / count - mean * mean).max(0.0).sqrt()
        };
        let level = Level {
            at_s,
            peak: self.sums.iter().map(|sums| sums.peak).collect(),
            rms: self.sums.iter().map(rms).collect(),
        };
        self.hint(&level, events);
        events.push(Event::Level(level));
        self.since_clipping += 1;
        if self.since_clipping > CLIPPING_EVERY && self.sums.iter().any(|sums| sums.clipped > 0) {
            self.since_clipping = 0;
            for (channel, sums) in (1..)
                .zip(&mut self.sums)
                .filter(|(_, sums)| sums.clipped > 0)
            {
                let samples = std::mem::take(&mut sums.clipped);
                events.push(Event::Clipping {
                    channel,
                    samples,
                    at_s,
                });
            }
        }
        self.in_window = 0;
        for sums in &mut self.sums {
            (sums.peak, sums.sum, sums.squares) = (0.0, 0.0, 0.0);
        }
    }

    fn hint(&mut self, level: &Level, events: &mut Vec<Event>) {
        let low = level.peak.iter().all(|peak| *peak < LOW);
        let still = level.peak.iter().all(|peak| *peak == 0.0);
        let longer = |yes: bool, for_: u32| if yes { for_ + 1 } else { 0 };
        self.low_for = longer(low, self.low_for);
        self.still_for = longer(still, self.still_for);
        let hint = if self.still_for >= PATIENCE {
            Some((
                "input-still",
                "every sample is zero: the input is muted, switched off or another one",
            ))
        } else if self.low_for >= PATIENCE {
            Some((
                "input-low",
                "hardly anything arrives: below -60 dB of full scale. Check the probe and its supply, or turn \
                 the input's gain up",
            ))
        } else {
            if !low {
                self.hinted = None;
            }
            None
        };
        if let Some((code, text)) = hint
            && self.hinted != Some(code)
        {
            self.hinted = Some(code);
            let text = text.to_owned();
            events.push(Event::Hint(Hint { code, text }));
        }
    }
}

impl Sums {
    fn take(&mut self, x: f32, highest: f32) {
        let value = f64::from(x);
        self.peak = self.peak.max(value.abs());
        self.sum += value;
        self.squares += value * value;
        // One sample at the end may be a true peak; two in a row are clipped.
        let end = i64::from(x >= highest) - i64::from(x <= -1.0);
        if end == 0 {
            self.run = 0;
        } else if self.run * end > 0 {
            self.clipped += if self.run.abs() == 1 { 2 } else { 1 };
            self.run += end;
        } else {
            self.run = end;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Encoding;

    fn events(frames: &[f32]) -> Vec<Event> {
        let mut meter = Meter::new(Format {
            sample_rate_hz: 8000,
            channels: 1,
            encoding: Encoding::I16,
        });
        let mut events = Vec::new();
        meter.push(frames, &mut events);
        events
    }

    #[test]
    fn a_level_comes_every_50_ms_and_rms_is_about_the_mean() {
        let square: Vec<f32> = (0..800).map(|n| [0.5, 0.1][n % 2]).collect();
        let events = events(&square);
        assert_eq!(events.len(), 2);
        let Event::Level(level) = &events[1] else {
            panic!("{events:?}")
        };
        assert_eq!((level.at_s, level.peak[0]), (0.1, 0.5));
        assert!((level.rms[0] - 0.2).abs() < 1e-6);
    }

    #[test]
    fn clipping_is_two_samples_at_one_end_or_more() {
        let mut frames = vec![0.1; 800];
        frames[10] = 1.0;
        frames[20..23].fill(-1.0);
        let clipped: Vec<_> = events(&frames)
            .into_iter()
            .filter(|event| matches!(event, Event::Clipping { .. }))
            .collect();
        let (channel, samples, at_s) = (1, 3, 0.05);
        assert_eq!(
            clipped,
            [Event::Clipping {
                channel,
                samples,
                at_s
            }]
        );
    }

    #[test]
    fn an_input_without_anything_is_hinted_at_once() {
        let hints = |x: f32| -> Vec<&'static str> {
            events(&vec![x; 5 * 8000])
                .into_iter()
                .filter_map(|event| match event {
                    Event::Hint(hint) => Some(hint.code),
                    _ => None,
                })
                .collect()
        };
        assert_eq!(hints(0.0), ["input-still"]);
        assert_eq!(hints(0.0005), ["input-low"]);
        assert!(hints(0.1).is_empty());
    }
}
