//! Mains hum in the stream of ticks: found where it repeats, and taken out before events are looked for; and the
//! hum of any stretch of it. Pieces lie on the count of ticks, so that each is fitted but once.

use crate::hum::{Fitter, Grid, HumModel, Piece};
use crate::ticks::Ticks;
use crate::tools::Tools;
use crate::wide::{LANES, add_up, greater, lesser, wide};
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

/// Whether the trace repeats is judged over so long.
const JUDGED_S: f64 = 0.32;
/// Hum that was there once is taken to be there for so long, as far as the trace is smoother without it.
const LASTS_S: f64 = 3.0;
/// It repeats after three periods of the mains, a whole number of ticks or nearly so at 50 and at 60 Hz.
const PERIODS: f64 = 3.0;
/// Of the power of the differences, less than this changes from one repetition to the next.
const REPEATS: f32 = 0.6;
/// So many ticks, some two milliseconds, are also looked at together.
const TOGETHER: usize = 4;
/// Differences larger than so many usual ones are edges and count no more than this.
const LARGE: f32 = 4.0;
/// Pieces that hum is estimated from, and after how many more it is estimated anew.
const PIECES: u64 = 32;
const ANEW: u64 = 8;

/// Hum of the stream.
#[derive(Debug)]
pub(crate) struct Mains {
    tools: Arc<Tools>,
    trackers: Vec<Tracker>,
    /// Ticks up to which it has been judged, and which tracker's hum was found to repeat.
    judged: u64,
    repeating: Option<usize>,
    /// Tick at which it was last found to.
    repeated: u64,
    /// From tick to tick, not only over some together: what repeats so plainly is hum, however rough it leaves the trace.
    plainly: bool,
}

/// Hum near one nominal frequency.
#[derive(Debug)]
struct Tracker {
    /// Ticks in three periods.
    lag: u64,
    /// Pieces fitted, by their number since the stream began.
    pieces: BTreeMap<u64, Piece>,
    /// The model and the piece up to which it was estimated.
    model: Option<HumModel>,
    estimated: u64,
}

impl Mains {
    pub(crate) fn new(tick_rate_hz: f64, tools: Arc<Tools>) -> Self {
        let tracker = |fitter: &Fitter| Tracker {
            lag: (PERIODS / fitter.nominal_hz * tick_rate_hz).round() as u64,
            pieces: BTreeMap::new(),
            model: None,
            estimated: 0,
        };
        Mains {
            trackers: tools.fitters.iter().map(tracker).collect(),
            tools,
            judged: 0,
            repeating: None,
            repeated: 0,
            plainly: false,
        }
    }

    /// Means of the ticks from `from` to `until` without hum; `None` when there is none.
    pub(crate) fn without(&mut self, ticks: &Ticks, from: u64, until: u64) -> Option<Vec<f32>> {
        let judged = ticks.of(JUDGED_S);
        // Hum neither comes nor goes within a third of a second.
        if until >= self.judged + judged || self.judged == 0 {
            self.judged = until;
            match self.most_repeating(ticks, until.saturating_sub(judged), until) {
                Some((index, plainly)) => {
                    (self.repeating, self.repeated) = (Some(index), until);
                    self.plainly = plainly;
                }
                // Dialling and speech repeat nothing, and hum goes on below them.
                None if until > self.repeated + ticks.of(LASTS_S) => self.repeating = None,
                None => {}
            }
        }
        let index = self.repeating?;
        let model = self.trackers[index].model(&self.tools.fitters[index], ticks, until)?;
        let means = without(model, ticks, from, until);
        let now = self.plainly && self.repeated == self.judged;
        (now || roughness(&means) < roughness(ticks.means(from, until))).then_some(means)
    }

    /// The stronger hum of a stretch of ticks, repeating or not.
    pub(crate) fn estimate(&mut self, ticks: &Ticks, from: u64, until: u64) -> Option<HumModel> {
        self.trackers
            .iter_mut()
            .zip(&self.tools.fitters)
            .filter_map(|(tracker, fitter)| {
                let length = fitter.length as u64;
                fitter.model(&tracker.pieces(fitter, ticks, from.div_ceil(length)..until / length))
            })
            .max_by(|a, b| a.amplitude().total_cmp(&b.amplitude()))
    }

    /// Ticks from `from` to `until` without a hum that was estimated later; `None` where that leaves them no smoother.
    pub(crate) fn without_late(
        hum: &HumModel,
        ticks: &Ticks,
        from: u64,
        until: u64,
    ) -> Option<Vec<f32>> {
        let means = without(hum, ticks, from, until);
        (roughness(&means) < roughness(ticks.means(from, until))).then_some(means)
    }

    /// Forgets the pieces before a tick.
    pub(crate) fn forget(&mut self, until: u64) {
        for (tracker, fitter) in self.trackers.iter_mut().zip(&self.tools.fitters) {
            tracker.pieces = tracker.pieces.split_off(&(until / fitter.length as u64));
        }
    }

    /// The tracker whose hum repeats best, if any does; and whether it does from tick to tick.
    fn most_repeating(&self, ticks: &Ticks, from: u64, until: u64) -> Option<(usize, bool)> {
        let lags: Vec<usize> = self.trackers.iter().map(|t| t.lag as usize).collect();
        let longest = lags.iter().copied().max()? as u64;
        let means = ticks.means(from.checked_sub(longest)?, until);
        let best = |changed: Vec<f32>| {
            let repeating = changed.into_iter().enumerate().filter(|c| c.1 < REPEATS);
            let best = repeating.min_by(|a, b| a.1.total_cmp(&b.1));
            best.map(|(index, _)| index)
        };
        if let Some(index) = best(changing(means, &lags)) {
            return Some((index, true));
        }
        // From tick to tick noise may change more than hum does; over some of them together it does not.
        let some: Vec<f32> = means
            .chunks_exact(TOGETHER)
            .map(|some| some.iter().sum::<f32>() / TOGETHER as f32)
            .collect();
        let lags: Vec<usize> = lags
            .iter()
            .map(|lag| (lag + TOGETHER / 2) / TOGETHER)
            .collect();
        best(changing(&some, &lags)).map(|index| (index, false))
    }
}

/// Means of the ticks from `from` to `until` without hum.
fn without(hum: &HumModel, ticks: &Ticks, from: u64, until: u64) -> Vec<f32> {
    let mut means = ticks.means(from, until).to_vec();
    let rate_hz = ticks.rate_hz;
    let grid = Grid {
        start_s: ticks.middle_s(from),
        rate_hz,
        mean_s: 1.0 / rate_hz,
    };
    hum.subtract(&mut means, grid);
    means
}

/// Sum of all tick to tick changes: a few edges count no more in it than they are large.
fn roughness(means: &[f32]) -> f32 {
    let changes = means.windows(2).map(|w| (w[1] - w[0]).abs());
    changes.sum()
}

/// Share of the power of the differences from value to value that is not the same `lag` values earlier, for each of some
/// lags: one for noise, near zero for hum.
fn changing(all: &[f32], lags: &[usize]) -> Vec<f32> {
    let longest = lags.iter().copied().max().unwrap_or(0);
    if all.len() < 2 * longest || all.len() < 2 {
        return vec![1.0; lags.len()];
    }
    let mut differences = vec![0.0; all.len() - 1];
    wide(
        #[inline(always)]
        || {
            let mut sizes = [0.0f32; LANES];
            for ((out, before), now) in differences.iter_mut().zip(all).zip(&all[1..]) {
                *out = now - before;
            }
            for chunk in differences.as_chunks::<LANES>().0 {
                for k in 0..LANES {
                    sizes[k] += chunk[k].abs();
                }
            }
            // Large ones count no more than so much.
            let most = LARGE * add_up(sizes) / differences.len() as f32;
            for x in &mut differences {
                *x = greater(-most, lesser(most, *x));
            }
        },
    );
    let changed = |&lag: &usize| {
        wide(
            #[inline(always)]
            || {
                let (mut changed, mut power) = ([0.0f32; LANES], [0.0f32; LANES]);
                let now = differences[lag..].as_chunks::<LANES>().0;
                for (then, now) in differences.as_chunks::<LANES>().0.iter().zip(now) {
                    for k in 0..LANES {
                        changed[k] += (now[k] - then[k]) * (now[k] - then[k]);
                        power[k] += now[k] * now[k] + then[k] * then[k];
                    }
                }
                add_up(changed) / (add_up(power) + f32::MIN_POSITIVE)
            },
        )
    };
    lags.iter().map(changed).collect()
}

impl Tracker {
    /// The hum of the latest pieces that end by tick `until`.
    fn model(&mut self, fitter: &Fitter, ticks: &Ticks, until: u64) -> Option<&HumModel> {
        let last = until / fitter.length as u64;
        if self.model.is_none() || last >= self.estimated + ANEW {
            let numbers = last.saturating_sub(PIECES)..last;
            self.model = fitter.model(&self.pieces(fitter, ticks, numbers));
            self.estimated = last;
        }
        self.model.as_ref()
    }

    /// The pieces of these numbers, as far as their ticks are kept.
    fn pieces(&mut self, fitter: &Fitter, ticks: &Ticks, numbers: Range<u64>) -> Vec<&Piece> {
        let length = fitter.length as u64;
        let from = numbers.start.max(ticks.first().div_ceil(length));
        let numbers = from..numbers.end.max(from);
        for number in numbers.clone() {
            self.pieces.entry(number).or_insert_with(|| {
                let means = ticks.means(number * length, (number + 1) * length);
                fitter.piece(means, ticks.middle_s(number * length))
            });
        }
        self.pieces.range(numbers).map(|(_, piece)| piece).collect()
    }
}
