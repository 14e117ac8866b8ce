//! Where something may have happened: steps of the tick trace that stand out of what surrounds them.
//!
//! Two differences are looked at: half a millisecond against the one and a half before it, in which the spike
//! behind a transformer shows where it begins and with its own sign, and 3 ms against the 3 ms before, in which
//! a slow make or a step in noise does. A difference is an event when it exceeds what the
//! calmer quarter of the ticks around it lets expect of noise.

use crate::wide::{greater, largest, lesser, wide};
use std::cell::OnceCell;

/// Ticks are judged by pieces of so long.
const HOP_S: f64 = 0.080;
/// Ticks to either side of a place in the wide difference. In the narrow one it is one after and three before.
const WIDE: usize = 6;
/// A normal variable is below 0.319 standard deviations in a quarter of all cases, and below 0.674 in half.
const QUARTER: f32 = 0.319;
const HALF: f32 = 0.674;
/// Standard deviations by which an event stands out.
const STANDS_OUT: f32 = 5.0;
/// Of the narrow difference's standard deviation the wide one has this share in white noise, and more in any noise
/// that droops: it has few independent values in a piece, and its calmer quarter alone is often too calm.
const WHITE: f32 = 0.5;
/// Pieces before and after one whose calm counts for it too: dialling may have begun or ended inside it.
const BEFORE: usize = 2;
/// What is no more than so many times the least difference that coarse values make, is their flicker.
const FLICKERS: f32 = 10.0;
/// In a recording without any noise the least difference may be the dial's own. So flicker passes so soon that wide
/// differences are less than this share of narrow ones, or is less than this share of the largest differences of
/// late, which lose so much from piece to piece.
const PASSING: f32 = 0.6;
const FLICKER_SHARE: f32 = 0.25;
const FADES: f32 = 0.98;
/// Rounding of single precision, as a share of the signal.
const ROUNDING: f32 = 3e-7;
/// Largest among so many ticks to either side.
const ALONE: [usize; 2] = [3, 5];

/// Of the strongest event in the time that a rest is waited for, this share disturbs the rest, and this is
/// kept at all: behind a transformer, a slow make leaves little beside the spike of an opening.
const LOUD: f32 = 0.3;
const NOTABLE: f32 = 0.1;
const MEMORY_S: f64 = 0.450;

/// A step of the tick trace, between tick `at - 1` and tick `at` of the stream.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Event {
    pub(crate) at: u64,
    /// Narrow and wide difference there; zero where it does not stand out.
    pub(crate) size: [f32; 2],
    /// Large beside those before it.
    pub(crate) loud: bool,
}

/// Differences of one piece.
#[derive(Debug, Default)]
struct Hop {
    /// Tick of the first difference.
    first: u64,
    differences: [Vec<f32>; 2],
    /// Standard deviation that rounding lets expect.
    rounding: f32,
    /// Standard deviation of noise by the calmer quarter, found out when it matters.
    calm: [OnceCell<f32>; 2],
}

impl Hop {
    fn calm(&self, kind: usize) -> f32 {
        *self.calm[kind].get_or_init(|| calm(&self.differences[kind], self.rounding))
    }

    /// What a few samples of the next value of a coarse recording make, where most of the piece shows nothing.
    fn flicker(&self, kind: usize) -> f32 {
        if self.calm(kind) > self.rounding {
            return 0.0;
        }
        let sizes = self.differences[kind].iter().map(|d| d.abs());
        let least = sizes.filter(|d| *d > self.rounding).fold(f32::MAX, lesser);
        FLICKERS * least
    }

    /// Whether noise has at least this standard deviation, which is sooner seen than what it has.
    fn is_calm_above(&self, kind: usize, least: f32) -> bool {
        if let Some(calm) = self.calm[kind].get() {
            return *calm >= least;
        }
        let differences = &self.differences[kind];
        let below = least * QUARTER;
        let count: u32 = wide(
            #[inline(always)]
            || {
                let counted = differences.iter().map(|d| u32::from(d.abs() < below));
                counted.sum()
            },
        );
        self.rounding >= least || (count as usize) <= differences.len() / 4
    }
}

/// Finds events as ticks come in.
#[derive(Debug)]
pub(crate) struct Finder {
    /// Ticks in a piece.
    length: usize,
    /// Latest pieces, the newest last.
    hops: Vec<Hop>,
    /// Largest differences of the last seconds.
    largest: [f32; 2],
    /// Ticks up to which differences are taken.
    taken: u64,
    /// Ticks up to which events are known.
    known: u64,
}

impl Finder {
    pub(crate) fn new(tick_rate_hz: f64) -> Self {
        Finder {
            length: ((HOP_S * tick_rate_hz).round() as usize).max(1),
            hops: Vec::new(),
            largest: [0.0; 2],
            taken: WIDE as u64,
            known: WIDE as u64,
        }
    }

    /// Events of a whole stretch of ticks, which begins with tick `first` of the stream.
    pub(crate) fn all(tick_rate_hz: f64, means: &[f32], first: u64) -> Vec<Event> {
        let mut finder = Finder::new(tick_rate_hz);
        let mut events = Vec::new();
        while finder.needs_from() + (2 * WIDE as u64) < means.len() as u64 {
            let until = means.len().min(finder.wants() as usize);
            events.extend(finder.take(&means[finder.needs_from() as usize..until]));
        }
        events.extend(finder.finish());
        events.iter_mut().for_each(|event| event.at += first);
        events
    }

    /// Ticks up to which events are known.
    pub(crate) fn known(&self) -> u64 {
        self.known
    }

    /// Ticks in a piece.
    pub(crate) fn length(&self) -> usize {
        self.length
    }

    /// Ticks needed before the next piece can be taken.
    pub(crate) fn wants(&self) -> u64 {
        self.taken + (self.length + WIDE) as u64
    }

    /// First tick whose mean the next piece needs.
    pub(crate) fn needs_from(&self) -> u64 {
        self.taken - WIDE as u64
    }

    /// Takes a piece. `means` begin at `needs_from` and end at `wants`, or earlier at the end of the
    /// stream. Gives the events of the piece before it.
    pub(crate) fn take(&mut self, means: &[f32]) -> Vec<Event> {
        let count = means.len().saturating_sub(2 * WIDE);
        let mut hop = Hop {
            first: self.taken,
            ..Hop::default()
        };
        hop.rounding = ROUNDING * largest(means);
        if count > 0 {
            hop.differences = [
                differences::<1, 3>(means, count),
                differences::<WIDE, WIDE>(means, count),
            ];
        }
        self.taken += count as u64;
        self.hops.push(hop);
        let events = self.judge(self.hops.len() - 1);
        if self.hops.len() > BEFORE + 2 {
            self.hops.remove(0);
        }
        events
    }

    /// Events of the last piece, at the end of the stream.
    pub(crate) fn finish(&mut self) -> Vec<Event> {
        self.judge(self.hops.len())
    }

    /// Events of the piece before `next`.
    fn judge(&mut self, next: usize) -> Vec<Event> {
        let Some(index) = next.checked_sub(1) else {
            return Vec::new();
        };
        let around = &self.hops[index.saturating_sub(BEFORE)..(next + 1).min(self.hops.len())];
        let hop = &self.hops[index];
        self.known = hop.first + hop.differences[0].len() as u64;
        let mut events: Vec<Event> = Vec::new();
        self.largest = self.largest.map(|largest| FADES * largest);
        let [narrow, wide] = [0, 1].map(|kind| largest(&hop.differences[kind]));
        for kind in 0..2 {
            let differences = &hop.differences[kind];
            let most = [narrow, wide][kind];
            // Whether the largest stands out at all is cheaper to say than what it must exceed.
            let quiet =
                |kind: usize, least: f32| around.iter().all(|h| h.is_calm_above(kind, least));
            let deviation = most / STANDS_OUT;
            if quiet(kind, deviation) || (kind == 1 && quiet(0, deviation / WHITE)) {
                continue;
            }
            let calmest =
                |kind: usize| around.iter().map(|h| h.calm(kind)).fold(f32::MAX, f32::min);
            let noise = match kind {
                0 => calmest(0),
                _ => greater(calmest(1), WHITE * calmest(0)),
            };
            self.largest[kind] = greater(self.largest[kind], most);
            let flicker = hop.flicker(kind);
            let passing = wide < PASSING * narrow || flicker < FLICKER_SHARE * self.largest[kind];
            let limit = if passing {
                greater(STANDS_OUT * noise, flicker)
            } else {
                STANDS_OUT * noise
            };
            for i in peaks(differences, limit, ALONE[kind]) {
                let mut size = [0.0; 2];
                size[kind] = differences[i];
                events.push(Event {
                    at: hop.first + i as u64,
                    size,
                    loud: false,
                });
            }
        }
        events.sort_by_key(|e| e.at);
        events
    }
}

/// Lets through what is notable beside the strongest events of late.
#[derive(Debug)]
pub(crate) struct Sieve {
    /// Ticks that the strongest are remembered for.
    memory: u64,
    /// For each kind of difference: tick and size.
    strongest: [Vec<(u64, f32)>; 2],
}

impl Sieve {
    pub(crate) fn new(tick_rate_hz: f64) -> Self {
        Sieve {
            memory: (MEMORY_S * tick_rate_hz).round() as u64,
            strongest: [Vec::new(), Vec::new()],
        }
    }

    pub(crate) fn notable(&mut self, events: Vec<Event>) -> impl Iterator<Item = Event> {
        events
            .into_iter()
            .map(|event| self.weighed(event))
            .filter(|event| event.size != [0.0; 2])
    }

    fn weighed(&mut self, event: Event) -> Event {
        let mut notable = event;
        for kind in 0..2 {
            let own = event.size[kind].abs();
            let strongest = &mut self.strongest[kind];
            strongest.retain(|(at, size)| at + self.memory >= event.at && *size > own);
            if own > 0.0 {
                strongest.push((event.at, own));
            }
            let most = strongest.first().map_or(0.0, |s| s.1);
            notable.loud |= own > 0.0 && own >= LOUD * most;
            if own < NOTABLE * most {
                notable.size[kind] = 0.0;
            }
        }
        notable
    }
}

/// Mean of so many ticks from a place on, less that of so many before it. Of a fixed number the compiler makes
/// straight sums.
fn differences<const AFTER: usize, const BEFORE: usize>(means: &[f32], count: usize) -> Vec<f32> {
    let (each_after, each_before) = (1.0 / AFTER as f32, 1.0 / BEFORE as f32);
    let mut out = vec![0.0; count];
    wide(
        #[inline(always)]
        || {
            // Sums of one tick, of two, and so on, each over all places: such loops become vector instructions.
            for k in 0..AFTER {
                let later = &means[WIDE + k..][..count];
                out.iter_mut().zip(later).for_each(|(o, x)| *o += x);
            }
            out.iter_mut().for_each(|o| *o *= each_after);
            for k in 0..BEFORE {
                let earlier = &means[WIDE - BEFORE + k..][..count];
                out.iter_mut()
                    .zip(earlier)
                    .for_each(|(o, x)| *o -= each_before * x);
            }
        },
    );
    out
}

/// Standard deviation of noise by the calmer quarter; by the calmer half where a quarter shows nothing, because the
/// recording has so few values that noise seldom reaches the next. Never less than rounding.
fn calm(differences: &[f32], rounding: f32) -> f32 {
    // The bits of what is not negative are in the order of its values, and whole numbers sort faster.
    let mut sizes: Vec<u32> = differences.iter().map(|d| d.abs().to_bits()).collect();
    if sizes.is_empty() {
        return rounding;
    }
    let (quarter, half) = (sizes.len() / 4, sizes.len() / 2);
    let calm = f32::from_bits(*sizes.select_nth_unstable(quarter).1) / QUARTER;
    if calm > rounding {
        return calm;
    }
    let calm = f32::from_bits(*sizes.select_nth_unstable(half).1) / HALF;
    calm.max(rounding)
}

/// Places whose magnitude exceeds `limit` and is the largest among `alone` neighbours to either side.
fn peaks(differences: &[f32], limit: f32, alone: usize) -> Vec<usize> {
    let largest = |from: usize, to: usize| {
        differences[from..to.min(differences.len())]
            .iter()
            .fold(0.0f32, |m, d| greater(m, d.abs()))
    };
    (0..differences.len())
        .filter(|&i| {
            let own = differences[i].abs();
            own > limit
                && own > largest(i.saturating_sub(alone), i)
                && own >= largest(i + 1, i + 1 + alone)
        })
        .collect()
}
