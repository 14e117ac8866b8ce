//! Whether as many samples came as time passed.
//!
//! Blocks come late now and then and catch up; lost samples never catch up. So when blocks are late, they are
//! kept back for a moment: if the time is made good, nothing was lost; if not, what is missing lies before the
//! first late block.

use std::collections::VecDeque;
use std::time::Duration;

/// Lateness of less than this is nothing: blocks of 10-20 ms and the scheduling of the system.
const NOTABLE_S: f64 = 0.015;
/// Late blocks are kept back for so long.
const PATIENCE_S: f64 = 0.250;
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

/// Watches the clock of a stream of blocks.
#[derive(Debug)]
pub(crate) struct ClockWatch {
    rate_hz: f64,
    began: Option<Duration>,
    /// Frames that came or are known to be missing.
    frames: f64,
    /// Lateness of late: when, and seconds.
    recent: VecDeque<(f64, f64)>,
    /// Late since, and the least lateness beyond the usual since then, in seconds.
    late: Option<(f64, f64)>,
}

impl ClockWatch {
    pub(crate) fn new(rate_hz: f64) -> Self {
        ClockWatch {
            rate_hz,
            began: None,
            frames: 0.0,
            recent: VecDeque::new(),
            late: None,
        }
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
            return Say::Take;
        }
        let (since_s, least_s) = self.late.unwrap_or((now_s, excess_s));
        let least_s = least_s.min(excess_s);
        self.late = Some((since_s, least_s));
        if now_s - since_s < PATIENCE_S {
            return Say::Keep;
        }
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
    fn a_clock_off_by_1_in_1000_is_no_loss() {
        let mut watch = ClockWatch::new(48_000.0);
        for block in 0..60_000u64 {
            let say = watch.block(480, Duration::from_micros(block * 10_010));
            assert_eq!(say, Say::Take, "block {block}");
        }
    }
}
