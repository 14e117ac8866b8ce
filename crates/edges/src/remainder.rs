//! What a train leaves unexplained: the coarse trace with the train's own steps taken out of it.
//!
//! Sharp transitions and their chatter are drawn from the fitted instants and the probe. Slow ones are
//! taken out as the mean of their kind, so what differs from transition to transition stays.

use crate::coarse::Coarse;
use crate::refine::{Fitted, Refined};
use crate::response::{Response, Term};
use crate::shape;
use rustfft::num_complex::Complex64;

/// Blocks before and after an onset.
const BRIDGE: usize = 2;
/// An exponential below this share of its step is over.
const NOTHING: f64 = 1e-7;
/// A slow transition rings for so long.
const SLOW_BEFORE_S: f64 = 0.001;
const SLOW_AFTER_S: f64 = 0.030;
/// But not as far as the next transition.
const BEFORE_NEXT_S: f64 = 0.002;

/// The trace without the train, from block `from` up to block `to`.
pub(crate) fn without_train(
    coarse: &Coarse,
    refined: &Refined,
    sign: f64,
    from: usize,
    to: usize,
) -> Vec<f64> {
    let mut rest = coarse.means[from..to].to_vec();
    let sheet = Sheet { coarse, from };
    let response = Response::from_poles(&refined.poles);
    let openings: Vec<&Fitted> = refined.pulses.iter().map(|p| &p.0).collect();
    let closings: Vec<&Fitted> = refined.pulses.iter().map(|p| &p.1).collect();
    let shortest = |spans: &mut dyn Iterator<Item = f64>| spans.fold(f64::MAX, f64::min);
    let pulses = &refined.pulses;
    let shortest_break = shortest(&mut pulses.iter().map(|(o, c)| c.at - o.at));
    let shortest_make = shortest(&mut pulses.windows(2).map(|w| w[1].0.at - w[0].1.at));
    for (kind, sign, slow, next) in [
        (openings, sign, refined.kinds[0].slow, shortest_break),
        (closings, -sign, refined.kinds[1].slow, shortest_make),
    ] {
        if slow {
            sheet.take_mean(&mut rest, &kind, next);
        } else {
            sheet.take_steps(&mut rest, &kind, sign, &response);
        }
    }
    rest
}

/// A spike shorter than a block falls into blocks otherwise each time, and its mean leaves some of it: where an
/// onset is, a straight line is drawn from before it to after it.
fn bridge(rest: &mut [f64], onset: usize) {
    let (first, last) = (
        onset.saturating_sub(BRIDGE),
        (onset + BRIDGE).min(rest.len() - 1),
    );
    let (from, to) = (rest[first], rest[last]);
    for (i, x) in rest[first..last].iter_mut().enumerate() {
        *x = from + (to - from) * i as f64 / (last - first) as f64;
    }
}

/// What steps up to a block have left of one exponential.
struct Tail<'a> {
    term: &'a Term,
    from: usize,
    now: Complex64,
    /// Size of the largest step so far.
    largest: f64,
}

impl<'a> Tail<'a> {
    fn new(term: &'a Term) -> Self {
        Tail {
            term,
            from: 0,
            now: Complex64::default(),
            largest: 0.0,
        }
    }

    /// Adds that of a step, from here on.
    fn take(&mut self, step: Complex64, size: f64) {
        self.now += step;
        self.largest = self.largest.max(size.abs());
    }

    /// Adds it up to, not including, block `to`.
    fn run(&mut self, rest: &mut [f64], to: usize, rate_hz: f64) {
        let to = to.min(rest.len());
        if self.from >= to {
            return;
        }
        let pole = self.term.pole / rate_hz;
        let blocks = to - self.from;
        let size = self.now.norm();
        // What has died away need not be added.
        let lasts = (size / (NOTHING * self.largest)).ln().max(0.0) / -pole.re;
        let lasts = if lasts < blocks as f64 {
            lasts as usize
        } else {
            blocks
        };
        if size > 0.0 {
            shape::add_decay(&mut rest[self.from..self.from + lasts], self.now, pole);
        }
        self.now *= (pole * blocks as f64).exp();
        self.from = to;
    }
}

struct Sheet<'a> {
    coarse: &'a Coarse,
    from: usize,
}

impl Sheet<'_> {
    /// Seconds from a place in samples to the middle of block `index` of the sheet.
    fn since(&self, place: f64, index: usize) -> f64 {
        (self.coarse.middle(self.from + index) - place)
            / (self.coarse.rate_hz * self.coarse.factor as f64)
    }

    /// First block of which some part comes after a place.
    fn first_after(&self, place: f64, blocks: usize) -> Option<usize> {
        let half_block_s = 0.5 / self.coarse.rate_hz;
        let guess = (place / self.coarse.factor as f64) as usize;
        let from = guess.saturating_sub(self.from + 2);
        (from..blocks).find(|&i| self.since(place, i) > -half_block_s)
    }

    /// Takes out all steps of a kind and of their chatter, in order: what is left of each goes on with the next.
    fn take_steps(&self, rest: &mut [f64], kind: &[&Fitted], sign: f64, response: &Response) {
        let mut steps: Vec<(f64, f64)> = Vec::new();
        for fitted in kind {
            let size = sign * fitted.amplitude;
            steps.push((fitted.at, size));
            let reversals = fitted.reversals.iter();
            steps.extend(reversals.flat_map(|&(start, end)| [(start, -size), (end, size)]));
        }
        steps.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut tails: Vec<Tail> = response.terms.iter().map(Tail::new).collect();
        for (at, size) in steps {
            let Some(first) = self.first_after(at, rest.len()) else {
                break;
            };
            // The block in which the step falls holds only part of it.
            let half_block_s = 0.5 / self.coarse.rate_hz;
            let t = self.since(at, first);
            let share = ((t + half_block_s) / (2.0 * half_block_s)).min(1.0);
            rest[first] -= size * share * response.at(t.max(0.5 * (t + half_block_s)));
            let since = self.since(at, first + 1);
            for tail in &mut tails {
                tail.run(rest, first + 1, self.coarse.rate_hz);
                let left = tail.term.weight * (tail.term.pole * since).exp();
                tail.take(-size * left, size);
            }
        }
        for tail in &mut tails {
            tail.run(rest, rest.len(), self.coarse.rate_hz);
        }
    }

    /// `next` is the least time to the next transition, in samples.
    fn take_mean(&self, rest: &mut [f64], kind: &[&Fitted], next: f64) {
        let rate_hz = self.coarse.rate_hz;
        let next_s = next / (rate_hz * self.coarse.factor as f64);
        let before = (SLOW_BEFORE_S * rate_hz).round() as usize;
        let after = (SLOW_AFTER_S.min(next_s - BEFORE_NEXT_S) * rate_hz).round() as usize;
        let starts: Vec<usize> = kind
            .iter()
            .filter_map(|fitted| {
                let block = (fitted.at / self.coarse.factor as f64) as usize;
                let start = block.checked_sub(self.from + before)?;
                (start + before + after < rest.len()).then_some(start)
            })
            .collect();
        let mut mean = vec![0.0; before + after];
        for &start in &starts {
            for (m, x) in mean.iter_mut().zip(&rest[start..]) {
                *m += (x - rest[start]) / starts.len() as f64;
            }
        }
        let settled = mean.last().copied().unwrap_or(0.0);
        for &start in &starts {
            for (i, x) in rest[start..].iter_mut().enumerate() {
                *x -= mean.get(i).copied().unwrap_or(settled);
            }
            bridge(rest, start + before);
        }
    }
}
