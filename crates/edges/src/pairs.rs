//! Which events may be pulses of a train.
//!
//! A break begins with one step and ends with another the other way, of like size, and in between the
//! contact rests. Breaks follow one another at one period, or stand alone. Sound is full of steps, but seldom
//! are two of its largest so far apart with nothing as large between them, and more seldom still does that
//! happen three times in a row. What is no part of such a row is looked at no further.

use crate::events::Event;
use std::ops::RangeInclusive;

/// A break with room to spare, in seconds.
const BREAK_S: std::ops::RangeInclusive<f64> = 0.010..=0.190;
/// From one opening to the next; a hole in a train doubles it.
const PERIOD_S: std::ops::RangeInclusive<f64> = 0.040..=0.450;
/// Sizes of opening and closing differ by less than this factor, and if they stand alone by this.
const UNLIKE: f32 = 8.0;
const UNLIKE_ALONE: f32 = 5.0;
/// Chatter and ringing after a transition, and the first departure before one, lie within these.
const AFTER_S: f64 = 0.006;
const BEFORE_S: f64 = 0.002;
/// Steps of this share of the larger of two are as large as they.
const AS_LARGE: f32 = 0.7;
/// So many as large may lie between: a click, or the two steps of a closure that splits a break; and in a row,
/// no more than one for each pulse and one besides.
const BETWEEN: usize = 2;
const EXTRA: usize = 1;
/// Breaks of a row, like steps of it, and its periods differ by less, as logarithms.
const BREAKS: f32 = 0.45;
const SIZES: f32 = 1.0;
const PERIODS: f64 = 0.28;
/// So many pulses make a row.
const ROW: usize = 3;
/// Steps of a row that is one-sided differ by less in size, and its periods, as logarithms.
const SAME_SIZE: f32 = 0.25;
const SAME_PERIOD: f64 = 0.06;
/// A pulse that is not in a row has so much quiet around it, in which so few are larger than this share.
const QUIET_S: f64 = 0.150;
const QUIET_SHARE: f32 = 0.55;
const QUIET_MOST: usize = 3;

/// So close to a likely event another belongs to it.
const NEIGHBOUR_S: f64 = 0.004;

/// An event of one kind of difference.
type Sized = (u64, f32);

/// Marks the events that may be part of a train.
pub(crate) fn likely(events: &[Event], tick_rate_hz: f64) -> Vec<bool> {
    let mut marks = vec![false; events.len()];
    for kind in 0..2 {
        let own: Vec<usize> = (0..events.len())
            .filter(|&i| events[i].size[kind] != 0.0)
            .collect();
        let sized: Vec<Sized> = own
            .iter()
            .map(|&i| (events[i].at, events[i].size[kind]))
            .collect();
        let rows = Rows {
            events: &sized,
            tick_rate_hz,
        };
        for index in rows.kept() {
            marks[own[index]] = true;
        }
        for row in rows.one_sided() {
            let within = |event: &Event| row.contains(&event.at);
            let marked = marks.iter_mut().zip(events).filter(|(_, e)| within(e));
            marked.for_each(|(mark, _)| *mark = true);
        }
    }
    with_neighbours(events, &marks, (NEIGHBOUR_S * tick_rate_hz) as u64)
}

/// Marks also what lies close to a mark: the other difference's event of the same step, and chatter.
fn with_neighbours(events: &[Event], marks: &[bool], near: u64) -> Vec<bool> {
    let marked: Vec<u64> = events
        .iter()
        .zip(marks)
        .filter(|(_, m)| **m)
        .map(|(e, _)| e.at)
        .collect();
    events
        .iter()
        .map(|e| {
            let next = marked.partition_point(|at| at + near < e.at);
            marked.get(next).is_some_and(|at| *at <= e.at + near)
        })
        .collect()
}

/// A break: indices of its events.
#[derive(Clone, Copy, Debug)]
struct Pair {
    opening: usize,
    closing: usize,
    /// Pulses of the longest row that ends here, the last period of it, and the pulse before.
    row: usize,
    /// Steps as large that lie in the break, and in the whole row.
    within: usize,
    extra: usize,
    period: f64,
    before: Option<usize>,
    /// The opening goes up.
    opens_up: bool,
    /// Logarithms of the break, in ticks, and of both sizes.
    log_length: f32,
    log_sizes: [f32; 2],
}

struct Rows<'a> {
    events: &'a [Sized],
    tick_rate_hz: f64,
}

impl Rows<'_> {
    /// Indices of events that are part of a row or of a pulse alone.
    fn kept(&self) -> Vec<usize> {
        let mut pairs = self.pairs();
        self.link(&mut pairs);
        let mut keep = vec![false; pairs.len()];
        for i in 0..pairs.len() {
            let long = pairs[i].row >= ROW;
            if long || self.alone(&pairs, i) {
                let mut at = Some(i);
                while let Some(index) = at.filter(|&index| !keep[index]) {
                    keep[index] = true;
                    at = pairs[index].before;
                }
            }
        }
        let kept = pairs.iter().zip(keep).filter(|(_, keep)| *keep);
        // What is as large within a break may split it.
        kept.flat_map(|(p, _)| {
            let large = AS_LARGE * self.size(p.opening).min(self.size(p.closing));
            (p.opening..=p.closing)
                .filter(move |&i| i == p.opening || i == p.closing || self.size(i) > large)
        })
        .collect()
    }

    /// Stretches, in ticks, of rows of steps the same way, of one size, at one period and with nothing as large between: where only
    /// openings leave a step, their closings are among what is smaller.
    fn one_sided(&self) -> Vec<RangeInclusive<u64>> {
        let mut rows = Vec::new();
        let mut first = 0;
        while first < self.events.len() {
            let row = self.row_from(first);
            match row[..] {
                [.., before, last] if row.len() >= ROW => {
                    let period = self.at(last) - self.at(before);
                    rows.push(self.at(first).saturating_sub(period)..=self.at(last) + period);
                    first = last;
                }
                _ => first += 1,
            }
        }
        rows
    }

    /// The row of steps the same way that begins with one.
    fn row_from(&self, first: usize) -> Vec<usize> {
        let own = self.events[first].1;
        let alike = |index: &usize| {
            let other = self.events[*index].1;
            own * other > 0.0 && (other / own).ln().abs() < SAME_SIZE
        };
        let mut row = vec![first];
        let mut period = None;
        loop {
            let last = row[row.len() - 1];
            let next = (last + 1..self.events.len())
                .take_while(|&i| self.at(i) - self.at(last) <= self.ticks(*PERIOD_S.end()))
                .find(|i| self.at(*i) - self.at(last) >= self.ticks(*PERIOD_S.start()) && alike(i));
            let Some(next) = next else {
                return row;
            };
            let apart = (self.at(next) - self.at(last)) as f64;
            let even = period.is_none_or(|usual: f64| (apart / usual).ln().abs() < SAME_PERIOD);
            if !even || self.between(last, next, AS_LARGE * own.abs()) > 0 {
                return row;
            }
            period = Some(apart);
            row.push(next);
        }
    }

    fn ticks(&self, seconds: f64) -> u64 {
        (seconds * self.tick_rate_hz) as u64
    }

    fn at(&self, index: usize) -> u64 {
        self.events[index].0
    }

    fn size(&self, index: usize) -> f32 {
        self.events[index].1.abs()
    }

    /// How many steps as large as `size` lie between two events, their own surroundings left out; no more are counted than
    /// say that they are too many.
    fn between(&self, first: usize, second: usize, size: f32) -> usize {
        let from = self.at(first) + self.ticks(AFTER_S);
        let to = self.at(second).saturating_sub(self.ticks(BEFORE_S));
        self.events[first..second]
            .iter()
            .filter(|(at, s)| s.abs() > size && (from..to).contains(at))
            .take(BETWEEN + 1)
            .count()
    }

    fn pairs(&self) -> Vec<Pair> {
        let (least, most) = (self.ticks(*BREAK_S.start()), self.ticks(*BREAK_S.end()));
        let mut out = Vec::new();
        for (opening, own) in self.events.iter().enumerate() {
            let mut between = Between::after(self, opening);
            for closing in opening + 1..self.events.len() {
                let length = self.at(closing) - own.0;
                if length > most {
                    break;
                }
                if length < least {
                    continue;
                }
                between.reach(closing);
                // No closing is as large as to leave fewer of these.
                if between.too_many(AS_LARGE * UNLIKE * own.1.abs()) {
                    break;
                }
                let ratio = -self.events[closing].1 / own.1;
                if !(1.0 / UNLIKE..UNLIKE).contains(&ratio) {
                    continue;
                }
                let large = AS_LARGE * self.size(opening).max(self.size(closing));
                if between.too_many(large) {
                    continue;
                }
                let within = between.count(large);
                out.push(Pair {
                    opening,
                    closing,
                    row: 1,
                    within,
                    extra: within,
                    period: 0.0,
                    before: None,
                    opens_up: own.1 > 0.0,
                    log_length: (length as f32).ln(),
                    log_sizes: [opening, closing].map(|i| self.size(i).ln()),
                });
            }
        }
        out
    }

    /// Finds for each pair the longest row that ends in it.
    fn link(&self, pairs: &mut [Pair]) {
        let most = self.ticks(*PERIOD_S.end());
        for i in 1..pairs.len() {
            let opened = self.at(pairs[i].opening);
            for j in (0..i).rev() {
                let period = opened - self.at(pairs[j].opening);
                if period > most {
                    break;
                }
                let row = pairs[j].row + 1;
                let better = |extra: usize| {
                    let own = &pairs[i];
                    (row > own.row || (row == own.row && extra < own.extra)) && extra <= row + EXTRA
                };
                // What lies between the two can only add.
                if !better(pairs[j].extra + pairs[i].within) {
                    continue;
                }
                let Some(extra) = self.follows(&pairs[j], &pairs[i]) else {
                    continue;
                };
                if better(extra) {
                    pairs[i].row = row;
                    pairs[i].extra = extra;
                    pairs[i].before = Some(j);
                    pairs[i].period = period as f64;
                }
            }
        }
    }

    /// Steps as large in the row that `own` continues; `None` when it does not follow.
    fn follows(&self, before: &Pair, own: &Pair) -> Option<usize> {
        let period = (self.at(own.opening) - self.at(before.opening)) as f64;
        let apart = |of: fn(&Pair) -> f32| (of(own) - of(before)).abs();
        let usual = before.period;
        let even = || {
            before.row < 2
                || [1.0, 2.0, 0.5]
                    .iter()
                    .any(|times| (period / (usual * times)).ln().abs() < PERIODS)
        };
        let follows = self.at(before.closing) < self.at(own.opening)
            && period >= *PERIOD_S.start() * self.tick_rate_hz
            && own.opens_up == before.opens_up
            && apart(|p| p.log_sizes[0]) < SIZES
            && apart(|p| p.log_sizes[1]) < SIZES
            && apart(|p| p.log_length) < BREAKS
            && even();
        let make = || {
            let large = AS_LARGE * self.size(own.opening).max(self.size(before.closing));
            self.between(before.closing, own.opening, large)
        };
        let between = follows.then(make).filter(|between| *between <= BETWEEN)?;
        Some(before.extra + between + own.within)
    }

    /// Whether a pulse, or two in a row, stand in quiet.
    fn alone(&self, pairs: &[Pair], index: usize) -> bool {
        let last = &pairs[index];
        let first = last.before.map_or(last, |b| &pairs[b]);
        let (opening, closing) = (self.size(last.opening), self.size(last.closing));
        if !(1.0 / UNLIKE_ALONE..UNLIKE_ALONE).contains(&(opening / closing)) {
            return false;
        }
        let quiet = self.ticks(QUIET_S);
        let from = self.at(first.opening).saturating_sub(quiet);
        let until = self.at(last.closing) + quiet;
        let own = [first.opening, first.closing, last.opening, last.closing];
        let beside = |at: u64| {
            own.iter().any(|&i| {
                at + self.ticks(BEFORE_S) >= self.at(i) && at <= self.at(i) + self.ticks(AFTER_S)
            })
        };
        let limit = QUIET_SHARE * opening.min(closing);
        let start = self.events.partition_point(|e| e.0 < from);
        self.events[start..]
            .iter()
            .take_while(|e| e.0 <= until)
            .filter(|e| e.1.abs() > limit && !beside(e.0))
            .count()
            <= QUIET_MOST
    }
}

/// The largest steps between an opening and the closings after it, one after the other.
struct Between<'a, 'b> {
    rows: &'a Rows<'b>,
    /// First step not yet looked at, and the tick from which on they count.
    next: usize,
    from: u64,
    /// One more than may lie between, in falling order.
    largest: [f32; BETWEEN + 1],
}

impl<'a, 'b> Between<'a, 'b> {
    fn after(rows: &'a Rows<'b>, opening: usize) -> Self {
        Between {
            rows,
            next: opening,
            from: rows.at(opening) + rows.ticks(AFTER_S),
            largest: [0.0; BETWEEN + 1],
        }
    }

    /// Goes on to the surroundings of a closing.
    fn reach(&mut self, closing: usize) {
        let to = self
            .rows
            .at(closing)
            .saturating_sub(self.rows.ticks(BEFORE_S));
        while self.next < closing && self.rows.at(self.next) < to {
            if self.rows.at(self.next) >= self.from {
                let mut own = self.rows.size(self.next);
                for held in &mut self.largest {
                    if own > *held {
                        std::mem::swap(held, &mut own);
                    }
                }
            }
            self.next += 1;
        }
    }

    /// Whether more of them than may lie between are larger than `size`.
    fn too_many(&self, size: f32) -> bool {
        self.largest[BETWEEN] > size
    }

    /// How many of them are larger than `size`, where these are not too many.
    fn count(&self, size: f32) -> usize {
        self.largest.iter().filter(|own| **own > size).count()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(list: &[Sized]) -> Vec<bool> {
        let events: Vec<Event> = list
            .iter()
            .map(|&(at, size)| Event {
                at,
                size: [size, 0.0],
                loud: true,
            })
            .collect();
        likely(&events, 2000.0)
    }

    #[test]
    fn a_break_alone_is_likely_and_chatter_does_not_hide_it() {
        // At 2 kHz: 60 ms of break, chatter of 1.5 ms.
        let marks = marks(&[(400, -1.0), (520, 0.9), (522, -0.8), (523, 0.8)]);
        assert_eq!(marks[..2], [true, true]);
    }

    #[test]
    fn a_row_is_likely_among_steps_half_as_large() {
        let mut list: Vec<Sized> = (0..10)
            .flat_map(|k| [(200 * k, -1.0), (200 * k + 120, 0.9)])
            .chain((0..150).map(|k| (13 * k + 5, if k % 2 == 0 { 0.6 } else { -0.6 })))
            .collect();
        list.sort_by_key(|e| e.0);
        let marks = marks(&list);
        for (mark, (_, size)) in marks.iter().zip(&list) {
            assert!(*mark || size.abs() < 0.8);
        }
    }

    #[test]
    fn openings_alone_are_likely_with_all_that_lies_among_them() {
        // Closings leave steps of a fifth that go the same way.
        let openings = (0..4).map(|k| (1000 + 200 * k, -1.0));
        let closings = (0..4).map(|k| (1120 + 200 * k, -0.2));
        let mut list: Vec<Sized> = openings.chain(closings).collect();
        list.sort_by_key(|e| e.0);
        assert!(marks(&list).iter().all(|mark| *mark));
        // Not where their periods differ, or something as large lies between.
        list[4].0 += 40;
        list[5].0 += 40;
        assert!(!marks(&list).contains(&true));
        list[4].0 -= 40;
        list[5].0 -= 40;
        list.insert(2, (1160, -0.9));
        list.insert(5, (1360, -0.9));
        assert!(!marks(&list).contains(&true));
    }

    #[test]
    fn a_voice_is_not() {
        // A step every 8 ms, up and down.
        let voice: Vec<Sized> = (0..200)
            .map(|i| (16 * i, if i % 2 == 0 { 1.0 } else { -0.9 }))
            .collect();
        assert!(!marks(&voice).contains(&true));
    }
}
