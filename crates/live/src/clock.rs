//! Whether as many samples came as time passed.
//!
//! Blocks come late now and then and catch up; lost samples never catch up. So when blocks are late, they are
//! kept back for a moment: if the time is made good, nothing was lost; if not, what is missing lies before the
//! first late block.

use std::collections::VecDeque;
use std::time::Duration;

/// Lateness of less than this is nothing: blocks of 10-20 ms and the scheduling of the system.
const NOTABLE_S: f64 = 0.015;
/// Late blocks are kept back for so long after they last made good some of their lateness, and for so long in all.
const PATIENCE_S: f64 = 0.250;
const LONGEST_PATIENCE_S: f64 = 2.0;
/// Lateness that falls by so much is being made good, however slowly a busy system does it.
const GAINED_S: f64 = 0.002;
/// The usual lateness is the least of so long, which is short enough for a clock off by 1 in 1000.
const MEMORY_S: f64 = 3.0;
/// At the start, servers hand out what they have; nothing is judged for so long.
const SETTLING_S: f64 = 0.5;

/// What to do with the block just told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Say {
    /// Take it, and all that was kept back.
    Take,
    /// Keep it back.
    Keep,
    /// Before the first of the kept blocks so many frames are missing; then take all.
    Missing(u64),
}

/// The clock of the samples against that of the computer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockReading {
    /// How much faster the samples come than they are said to, in parts per million of the computer's clock.
    pub ppm: f64,
    /// Its 95 % uncertainty from the jitter of the blocks, in parts per million; the computer's own clock is not in it.
    pub u95_ppm: f64,
    /// Time that was looked at, in seconds.
    pub seconds: f64,
}

/// A straight line through the lateness of the blocks.
#[derive(Clone, Copy, Debug, Default)]
struct Drift {
    count: f64,
    time: f64,
    late: f64,
    times: f64,
    product: f64,
    lates: f64,
    last_s: f64,
}

/// Below this a drift says nothing.
const LEAST_READING_S: f64 = 5.0;

impl Drift {
    fn take(&mut self, now_s: f64, late_s: f64) {
        self.count += 1.0;
        self.time += now_s;
        self.late += late_s;
        self.times += now_s * now_s;
        self.product += now_s * late_s;
        self.lates += late_s * late_s;
        self.last_s = now_s;
    }

    fn reading(&self) -> Option<ClockReading> {
        let n = self.count;
        let spread = self.times - self.time * self.time / n;
        if n < 10.0 || self.last_s < LEAST_READING_S || spread <= 0.0 {
            return None;
        }
        let slope = (self.product - self.time * self.late / n) / spread;
        let residual = self.lates - self.late * self.late / n - slope * slope * spread;
        // Lateness of blocks is far from independent: their scatter counts as if there were one block a second.
        let independent = n.min(self.last_s).max(3.0);
        let sd = (residual.max(0.0) / n).sqrt();
        let slope_sd = sd / (spread / n).sqrt() / (independent - 2.0).max(1.0).sqrt();
        Some(ClockReading {
            // Lateness falls when samples come fast.
            ppm: -1e6 * slope,
            u95_ppm: 1.96e6 * slope_sd,
            seconds: self.last_s,
        })
    }
}

/// Watches the clock of a stream of blocks.
#[derive(Debug)]
pub(crate) struct ClockWatch {
    rate_hz: f64,
    began: Option<Duration>,
    /// Frames that came or are known to be missing.
    frames: f64,
    /// Lateness of late: when, and seconds.
    recent: VecDeque<(f64, f64)>,
    late: Option<Late>,
    drift: Drift,
}

/// A time of lateness, in seconds.
#[derive(Clone, Copy, Debug)]
struct Late {
    began_s: f64,
    /// When lateness last fell.
    fell_s: f64,
    /// The least lateness beyond the usual.
    least_s: f64,
}

impl ClockWatch {
    pub(crate) fn new(rate_hz: f64) -> Self {
        ClockWatch {
            rate_hz,
            began: None,
            frames: 0.0,
            recent: VecDeque::new(),
            late: None,
            drift: Drift::default(),
        }
    }

    /// How the clock of the samples runs, since the stream began.
    pub(crate) fn reading(&self) -> Option<ClockReading> {
        self.drift.reading()
    }

    /// Forgets everything: the stream begins anew.
    pub(crate) fn restart(&mut self) {
        *self = ClockWatch::new(self.rate_hz);
    }

    /// Frames known to be missing are no news.
    pub(crate) fn missing(&mut self, frames: u64) {
        self.frames += frames as f64;
    }

    /// A block of `frames` arrived at `at`.
    pub(crate) fn block(&mut self, frames: u64, at: Duration) -> Say {
        let began = *self.began.get_or_insert(at);
        let now_s = at.saturating_sub(began).as_secs_f64();
        self.frames += frames as f64;
        let lateness_s = now_s - self.frames / self.rate_hz;
        let usual_s = self
            .recent
            .iter()
            .map(|(_, lateness)| *lateness)
            .fold(f64::INFINITY, f64::min);
        let excess_s = lateness_s - usual_s;
        let notable_s = NOTABLE_S.max(1.5 * frames as f64 / self.rate_hz);
        if now_s < SETTLING_S || !excess_s.is_finite() || excess_s < notable_s {
            self.late = None;
            self.remember(now_s, lateness_s);
            if now_s >= SETTLING_S {
                self.drift.take(now_s, lateness_s);
            }
            return Say::Take;
        }
        let mut late = self.late.unwrap_or(Late {
            began_s: now_s,
            fell_s: now_s,
            least_s: excess_s,
        });
        if excess_s < late.least_s - GAINED_S {
            late.fell_s = now_s;
        }
        late.least_s = late.least_s.min(excess_s);
        self.late = Some(late);
        let waits = now_s - late.fell_s < PATIENCE_S && now_s - late.began_s < LONGEST_PATIENCE_S;
        if waits {
            return Say::Keep;
        }
        let least_s = late.least_s;
        self.late = None;
        let missing = (least_s * self.rate_hz) as u64;
        self.frames += missing as f64;
        self.remember(now_s, lateness_s - least_s);
        Say::Missing(missing)
    }

    fn remember(&mut self, now_s: f64, lateness_s: f64) {
        self.recent.push_back((now_s, lateness_s));
        while self
            .recent
            .front()
            .is_some_and(|(when, _)| when + MEMORY_S < now_s)
        {
            self.recent.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> Duration {
        Duration::from_millis(5000 + ms)
    }

    /// Blocks of 10 ms at 48 kHz, of which `lost` never came and `late` came late; what is said at each.
    fn said(
        blocks: u64,
        lost: std::ops::Range<u64>,
        late: std::ops::Range<u64>,
    ) -> Vec<(u64, Say)> {
        let mut watch = ClockWatch::new(48_000.0);
        let mut said = Vec::new();
        for block in 0..blocks {
            if lost.contains(&block) {
                continue;
            }
            let when = if late.contains(&block) {
                late.end
            } else {
                block
            };
            said.push((block, watch.block(480, at(10 * when))));
        }
        said
    }

    #[test]
    fn an_even_stream_is_taken() {
        assert!(
            said(1000, 0..0, 0..0)
                .iter()
                .all(|(_, say)| *say == Say::Take)
        );
    }

    #[test]
    fn blocks_that_come_late_and_catch_up_lose_nothing() {
        let said = said(1000, 0..0, 300..320);
        let kept = said.iter().filter(|(_, say)| *say == Say::Keep).count();
        assert!(kept > 0, "late blocks must be waited for");
        assert!(said.iter().all(|(_, say)| !matches!(say, Say::Missing(_))));
    }

    #[test]
    fn lateness_that_is_made_good_slowly_is_no_loss() {
        let mut watch = ClockWatch::new(48_000.0);
        let mut said = Vec::new();
        for block in 0..1000u64 {
            // From block 300 on a stall of 0.6 s, of which each block makes good 5 ms.
            let late_ms = if block < 300 {
                0
            } else {
                600u64.saturating_sub(5 * (block - 300))
            };
            said.push(watch.block(480, at(10 * block + late_ms)));
        }
        assert!(said.contains(&Say::Keep));
        assert!(said.iter().all(|say| !matches!(say, Say::Missing(_))));
    }

    #[test]
    fn what_never_comes_is_missing_before_the_first_late_block() {
        let said = said(1000, 300..305, 0..0);
        let first = said.iter().find(|(_, say)| *say != Say::Take).unwrap();
        assert_eq!(*first, (305, Say::Keep));
        let missing: Vec<_> = said
            .iter()
            .filter_map(|(_, say)| match say {
                Say::Missing(frames) => Some(*frames),
                _ => None,
            })
            .collect();
        // Five blocks of 480 frames, rounded down from binary fractions of seconds.
        assert_eq!(missing.len(), 1);
        assert!((2399..=2400).contains(&missing[0]), "{missing:?}");
    }

    #[test]
    fn a_clock_off_by_1_in_1000_is_no_loss_and_is_read() {
        let mut watch = ClockWatch::new(48_000.0);
        for block in 0..6000u64 {
            // Up to 4 ms late, without a pattern.
            let jitter = block * 7919 % 4000;
            let say = watch.block(480, Duration::from_micros(block * 10_010 + jitter));
            assert_eq!(say, Say::Take, "block {block}");
        }
        let reading = watch.reading().unwrap();
        // 10 ms of samples in 10.01 ms: slow by 1 in 1001.
        assert!((reading.ppm + 999.0).abs() < reading.u95_ppm, "{reading:?}");
        assert!(reading.u95_ppm < 20.0, "{reading:?}");
    }
}
