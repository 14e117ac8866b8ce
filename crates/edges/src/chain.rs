//! Chains of pulses: which of the candidate steps are the openings and closings of a dial.
//!
//! The amplitude of the step is a hypothesis, and so is the polarity. Under each, every opening is paired
//! with the closings within the bounds of a dial, and dynamic programming finds the sequence of pairs that
//! explains most: each edge gains its log-likelihood ratio, each irregularity, each step left out costs.

use crate::bank::{self, Candidate};
use crate::linear;
use std::cell::OnceCell;
use std::f64::consts::LN_2;

/// Bounds of a dial from 5 to 22 pps and 35 to 85 % break, with room to spare, in seconds.
const BREAK_S: std::ops::RangeInclusive<f64> = 0.012..=0.185;
const LEAST_MAKE_S: f64 = 0.004;
const LONGEST_MAKE_S: f64 = 0.450;
/// Rests shorter than this never separate digits.
const LEAST_PAUSE_S: f64 = 0.150;
const PERIOD_S: std::ops::RangeInclusive<f64> = 0.040..=0.240;
/// Two breaks closer than a period are at best one that is split.
const SPLIT_COST: f64 = 12.0;
/// Two matches of one step lie no further apart.
const DOUBLE_S: f64 = 0.0006;

/// Amplitudes of one train agree to about a quarter (clipping and bounce included).
const SPREAD: f64 = 0.25;
const START_COST: f64 = 10.0;
const PULSE_COST: f64 = 4.0;
const DIGIT_COST: f64 = 8.0;
const HOLE_COST: f64 = 6.0;

/// Steps so many times larger than a chain's, and of so clear a shape, cost so much each, but not without
/// end: a handset may have been lifted.
const OVERLOOKED: f64 = 2.2;
const OVERLOOKED_SHARE: f64 = 0.6;
const OVERLOOKED_COST: f64 = 40.0;
const OVERLOOKED_MOST: f64 = 160.0;

/// Chatter follows a closing for so long.
pub(crate) const CHATTER_S: f64 = 0.0055;

/// The coarse trace that candidates come from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    pub(crate) rate_hz: f64,
    /// Blocks in the trace.
    pub(crate) length: usize,
    /// Side lobes of a match reach so far before and after a step.
    pub(crate) lobe_s: f64,
}

/// Closings tried for each opening.
const CLOSINGS_KEPT: usize = 5;

/// One break.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Pulse {
    pub(crate) opening: Candidate,
    pub(crate) closing: Candidate,
}

impl Pulse {
    /// The same pulse in a trace that begins `blocks` later.
    pub(crate) fn earlier(&self, blocks: usize) -> Self {
        let mut pulse = *self;
        pulse.opening.at -= blocks;
        pulse.closing.at -= blocks;
        pulse
    }
}

/// A sequence of pulses under one hypothesis.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Chain {
    pub(crate) pulses: Vec<Pulse>,
    pub(crate) score: f64,
    /// Sign of the amplitude of an opening.
    pub(crate) sign: f64,
    pub(crate) amplitude: f64,
}

/// The amplitude hypothesis.
#[derive(Clone, Copy, Debug)]
struct Hypothesis {
    sign: f64,
    opening: f64,
    closing: f64,
}

/// A step that may be in a chain, and what every hypothesis asks about it.
#[derive(Clone, Copy, Debug)]
struct Place {
    step: Candidate,
    /// Log-likelihood ratio of its shape.
    shape: f64,
    /// Logarithm of its size.
    log_size: f64,
    /// Standard error of its size.
    error: f64,
}

impl Place {
    fn new(step: Candidate) -> Self {
        Place {
            step,
            shape: bank::likelihood_of_shape(step.share),
            log_size: step.amplitude.abs().ln(),
            error: (step.amplitude / step.t).abs(),
        }
    }

    /// What it gains as an opening, or as a closing if it goes the other way; `None` where it is not of the size that the
    /// hypothesis says.
    fn gain(&self, hypothesis: Hypothesis) -> Option<f64> {
        let amplitude = self.step.amplitude.abs();
        let expected = if self.opens(hypothesis) {
            hypothesis.opening
        } else {
            hypothesis.closing
        };
        let fits = (0.4 * expected..2.2 * expected).contains(&amplitude);
        fits.then(|| gain(amplitude, self.error, expected) + self.shape)
    }

    fn opens(&self, hypothesis: Hypothesis) -> bool {
        self.step.amplitude * hypothesis.sign > 0.0
    }
}

/// A place that may be an edge under a hypothesis, and what it gains.
#[derive(Clone, Copy, Debug)]
struct Edge<'a> {
    place: &'a Place,
    gain: f64,
    opens: bool,
}

/// The same step matched in two windows stands twice in the list; only the better match is tried.
fn without_doubles(places: &[Candidate], scale: &Scale) -> Vec<Candidate> {
    let near = (DOUBLE_S * scale.rate_hz).ceil() as usize;
    let beaten = |i: usize| {
        let own = &places[i];
        let alike = |other: &Candidate| {
            let ratio = other.amplitude / own.amplitude;
            (0.8..1.25).contains(&ratio) && other.share > own.share
        };
        let before = places[..i]
            .iter()
            .rev()
            .take_while(|c| own.at - c.at <= near);
        let after = places[i + 1..].iter().take_while(|c| c.at - own.at <= near);
        before.chain(after).any(alike)
    };
    (0..places.len())
        .filter(|&i| !beaten(i))
        .map(|i| places[i])
        .collect()
}

/// Log-likelihood ratio of a step of `amplitude` (standard error `error`) against none, when `expected`
/// is its size give or take a quarter.
fn gain(amplitude: f64, error: f64, expected: f64) -> f64 {
    let variance = error * error + (SPREAD * expected).powi(2);
    (expected * expected - (amplitude - expected).powi(2)) / (2.0 * variance)
}

/// Either sign of an opening's amplitude.
pub(crate) const EITHER: [f64; 2] = [-1.0, 1.0];

/// Best chain over amplitudes and the given signs of an opening's; `None` when nothing explains anything.
///
/// `places` may hold the same step twice, matched in windows of different width; `steps` holds each once
/// and says what must be explained.
pub(crate) fn best(
    places: &[Candidate],
    steps: &[Candidate],
    scale: &Scale,
    signs: &[f64],
) -> Option<Chain> {
    let strongest = steps
        .iter()
        .filter(|c| c.t.abs() > 4.0)
        .map(|c| c.amplitude.abs())
        .fold(0.0, f64::max);
    let places: Vec<Place> = without_doubles(places, scale)
        .into_iter()
        .map(Place::new)
        .collect();
    let ranked = OnceCell::new();
    let mut best: Option<Chain> = None;
    for step in 0..12 {
        let amplitude = strongest * 0.5f64.powf(0.5 * f64::from(step));
        if amplitude <= 0.0 {
            break;
        }
        for &sign in signs {
            for ratio in [1.0, 0.6] {
                let hypothesis = Hypothesis {
                    sign,
                    opening: amplitude,
                    closing: amplitude * ratio,
                };
                let least = best.as_ref().map_or(0.0, |c| c.score);
                let edge = |place| {
                    Place::gain(place, hypothesis).map(|gain| Edge {
                        place,
                        gain,
                        opens: place.opens(hypothesis),
                    })
                };
                let edges: Vec<Edge> = places.iter().filter_map(edge).collect();
                // No chain can gain more: every place in it with its own gain, for nothing.
                let most = edges.iter().map(|e| e.gain.max(0.0)).sum::<f64>() - START_COST;
                if most <= least {
                    continue;
                }
                let overlooked = overlooked(steps, amplitude);
                if most - overlooked <= least {
                    continue;
                }
                let ranks = ranked.get_or_init(|| ranks(steps, scale.length));
                let chain = Search::new(&edges, (steps, ranks), scale, hypothesis)
                    .run(least + overlooked)
                    .map(|c| Chain {
                        score: c.score - overlooked,
                        ..c
                    })
                    .filter(|c| c.score > 0.0);
                if chain.as_ref().map_or(0.0, |c| c.score) > best.as_ref().map_or(0.0, |c| c.score)
                {
                    best = chain;
                }
            }
        }
    }
    best
}

/// Cost of clear steps that are far larger than a dial's would be.
fn overlooked(steps: &[Candidate], amplitude: f64) -> f64 {
    let larger = steps
        .iter()
        .filter(|c| c.amplitude.abs() > OVERLOOKED * amplitude && c.share > OVERLOOKED_SHARE)
        .count();
    (larger as f64 * OVERLOOKED_COST).min(OVERLOOKED_MOST)
}

/// A pair of an opening and a closing, and the best chain that ends in it.
#[derive(Clone, Copy, Debug)]
struct Pair {
    opening: Candidate,
    closing: Candidate,
    gain: f64,
    score: f64,
    before: Option<usize>,
    /// Period of the chain so far, in blocks.
    period: Option<f64>,
    /// Logarithms of the break and of both sizes: likeness is asked for very often.
    logs: [f64; 3],
}

impl Pair {
    fn new(opening: &Place, closing: &Place, gain: f64) -> Self {
        let length = closing.step.at - opening.step.at;
        Pair {
            opening: opening.step,
            closing: closing.step,
            gain,
            logs: [(length as f64).ln(), opening.log_size, closing.log_size],
            score: 0.0,
            before: None,
            period: None,
        }
    }

    fn break_blocks(&self) -> f64 {
        (self.closing.at - self.opening.at) as f64
    }
}

struct Search<'a> {
    rate_hz: f64,
    lobe_s: f64,
    pairs: Vec<Pair>,
    /// Running sum over steps of what they would gain, unexplained.
    unexplained: Vec<f64>,
    /// Steps before each block.
    ranks: &'a [u32],
    hypothesis: Hypothesis,
}

impl<'a> Search<'a> {
    fn new(
        edges: &[Edge<'_>],
        (steps, ranks): (&[Candidate], &'a [u32]),
        scale: &Scale,
        hypothesis: Hypothesis,
    ) -> Self {
        let mut search = Search {
            rate_hz: scale.rate_hz,
            lobe_s: scale.lobe_s,
            pairs: Vec::new(),
            unexplained: running_unexplained(steps, hypothesis),
            ranks,
            hypothesis,
        };
        search.pair_up(edges);
        search
    }

    fn blocks(&self, seconds: f64) -> usize {
        (seconds * self.rate_hz).round() as usize
    }

    fn left_out(&self, from: usize, to: usize) -> f64 {
        let last = self.ranks.len() - 1;
        let until = |block: usize| self.unexplained[self.ranks[block.min(last)] as usize];
        (until(to) - until(from)).max(0.0)
    }

    fn pair_up(&mut self, edges: &[Edge<'_>]) {
        let (least, most) = (self.blocks(*BREAK_S.start()), self.blocks(*BREAK_S.end()));
        let skip = (
            self.blocks(CHATTER_S.max(self.lobe_s)),
            self.blocks(self.lobe_s),
        );
        for (i, opening) in edges.iter().enumerate().filter(|(_, edge)| edge.opens) {
            let first = self.pairs.len();
            let opened = opening.place.step.at;
            for closing in &edges[i + 1..] {
                let closed = closing.place.step.at;
                if closed - opened > most {
                    break;
                }
                let both = opening.gain + closing.gain;
                if closing.opens || closed - opened < least || both <= 0.0 {
                    continue;
                }
                let from = opened + skip.0;
                let gain = both - self.left_out(from, closed.saturating_sub(skip.1).max(from));
                if gain > 0.0 {
                    self.pairs
                        .push(Pair::new(opening.place, closing.place, gain));
                }
            }
            keep_best(&mut self.pairs, first);
        }
    }

    /// The best chain; `None` also where it cannot be better than `least`.
    fn run(mut self, least: f64) -> Option<Chain> {
        // Indices of pairs by the instant of their closing, to find the predecessors of an opening.
        let mut by_closing: Vec<usize> = (0..self.pairs.len()).collect();
        by_closing.sort_by_key(|&i| self.pairs[i].closing.at);
        if self.most(&by_closing) <= least {
            return None;
        }
        let mut rested = Rested::default();
        let mut next_rested = 0;
        for index in 0..self.pairs.len() {
            let at = self.pairs[index].opening.at;
            let rest_end = at.saturating_sub(self.blocks(LEAST_PAUSE_S));
            while next_rested < by_closing.len()
                && self.pairs[by_closing[next_rested]].closing.at <= rest_end
            {
                rested.take(by_closing[next_rested], &self.pairs);
                next_rested += 1;
            }
            self.extend(index, &by_closing, &rested);
        }
        self.trace_back()
    }

    /// What no chain exceeds: the gains of pairs that do not overlap, whatever their rhythm.
    fn most(&self, by_closing: &[usize]) -> f64 {
        let make = self.blocks(LEAST_MAKE_S);
        let mut most = vec![0.0f64; self.pairs.len()];
        let (mut before, mut best) = (0.0f64, 0.0f64);
        let mut closed = by_closing.iter().peekable();
        for (index, pair) in self.pairs.iter().enumerate() {
            let latest = pair.opening.at.saturating_sub(make);
            while let Some(&i) = closed.next_if(|&&i| self.pairs[i].closing.at <= latest) {
                before = before.max(most[i]);
            }
            most[index] = before + pair.gain - PULSE_COST;
            best = best.max(most[index]);
        }
        best + PULSE_COST - START_COST
    }

    /// Finds the best predecessor of a pair.
    fn extend(&mut self, index: usize, by_closing: &[usize], rested: &Rested) {
        let own = self.pairs[index];
        let mut best = (own.gain - START_COST, None, None);
        let earliest = own.opening.at.saturating_sub(self.blocks(LONGEST_MAKE_S));
        let latest = own.opening.at.saturating_sub(self.blocks(LEAST_MAKE_S));
        let first = by_closing.partition_point(|&i| self.pairs[i].closing.at < earliest);
        for &i in &by_closing[first..] {
            let before = &self.pairs[i];
            if before.closing.at > latest {
                break;
            }
            let most = before.score + own.gain - best.0;
            if let Some((cost, period)) = self.step_cost(before, &own, most) {
                best = (before.score + own.gain - cost, Some(i), Some(period));
            }
        }
        for &i in &rested.best {
            let before = &self.pairs[i];
            let score = before.score + own.gain - self.rest_cost(before, &own);
            if score > best.0 {
                best = (score, Some(i), before.period);
            }
        }
        let pair = &mut self.pairs[index];
        (pair.score, pair.before, pair.period) = best;
    }

    /// Cost of `own` following `before` in the same digit, and the period that goes on; `None` when it is not less than `most`.
    fn step_cost(&self, before: &Pair, own: &Pair, most: f64) -> Option<(f64, f64)> {
        if PULSE_COST >= most {
            return None;
        }
        let period = (own.opening.at - before.opening.at) as f64;
        let split = if period < PERIOD_S.start() * self.rate_hz {
            SPLIT_COST
        } else {
            0.0
        };
        let mut cost = PULSE_COST + split + likeness(before, own);
        if cost >= most {
            return None;
        }
        let (skip_after, skip_before) = (
            self.blocks(CHATTER_S.max(self.lobe_s)),
            self.blocks(self.lobe_s),
        );
        let from = before.closing.at + skip_after;
        cost += self.left_out(from, own.opening.at.saturating_sub(skip_before).max(from));
        if cost >= most {
            return None;
        }
        let mut unit = period;
        match before.period {
            Some(usual) => {
                let apart = (period / usual).ln();
                let single = spread_cost(apart, 0.08, 12.0);
                let double = spread_cost(apart - LN_2, 0.08, 12.0) + HOLE_COST;
                cost += single.min(double);
                if double < single {
                    unit = period / 2.0;
                }
            }
            None if !PERIOD_S.contains(&(period / self.rate_hz)) => {
                cost += HOLE_COST;
                unit = period / 2.0;
            }
            None => {}
        }
        let percent = before.break_blocks() / unit;
        if !(0.28..0.92).contains(&percent) {
            cost += 8.0;
        }
        (cost < most).then_some((cost, unit))
    }

    /// Cost of `own` beginning another digit of the same number.
    fn rest_cost(&self, before: &Pair, own: &Pair) -> f64 {
        DIGIT_COST + likeness(before, own)
    }

    fn trace_back(&self) -> Option<Chain> {
        let (mut at, last) = self
            .pairs
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.score.total_cmp(&b.1.score))?;
        let score = last.score;
        let mut pulses = Vec::new();
        loop {
            let pair = &self.pairs[at];
            pulses.push(Pulse {
                opening: pair.opening,
                closing: pair.closing,
            });
            match pair.before {
                Some(before) => at = before,
                None => break,
            }
        }
        pulses.reverse();
        let openings: Vec<f64> = pulses.iter().map(|p| p.opening.amplitude.abs()).collect();
        let amplitude = linear::median(&openings)?;
        (score > 0.0).then_some(Chain {
            pulses,
            score,
            sign: self.hypothesis.sign,
            amplitude,
        })
    }
}

/// The best few pairs after which a rest has passed. A few, since likeness to the next digit decides too.
#[derive(Default)]
struct Rested {
    best: Vec<usize>,
}

impl Rested {
    const KEPT: usize = 6;

    fn take(&mut self, index: usize, pairs: &[Pair]) {
        self.best.push(index);
        if self.best.len() > Self::KEPT {
            self.best
                .sort_by(|&a, &b| pairs[b].score.total_cmp(&pairs[a].score));
            self.best.truncate(Self::KEPT);
        }
    }
}

/// Of the pairs from `first` on, which share an opening, the few that gain most.
fn keep_best(pairs: &mut Vec<Pair>, first: usize) {
    if pairs.len() - first > CLOSINGS_KEPT {
        pairs[first..].sort_by(|a, b| b.gain.total_cmp(&a.gain));
        pairs.truncate(first + CLOSINGS_KEPT);
    }
}

/// How unlike two neighbouring pulses are: break lengths and amplitudes.
fn likeness(before: &Pair, own: &Pair) -> f64 {
    let apart = |i: usize| own.logs[i] - before.logs[i];
    spread_cost(apart(0), 0.12, 10.0)
        + spread_cost(apart(1), 0.2, 6.0)
        + spread_cost(apart(2), 0.3, 6.0)
}

/// Half the squared deviation in standard deviations, never more than `most`.
fn spread_cost(deviation: f64, standard: f64, most: f64) -> f64 {
    (deviation * deviation / (2.0 * standard * standard)).min(most)
}

/// What the first so many steps would gain, for each number of them.
fn running_unexplained(steps: &[Candidate], hypothesis: Hypothesis) -> Vec<f64> {
    let expected = hypothesis.opening.min(hypothesis.closing);
    let mut sum = 0.0;
    let mut sums = Vec::with_capacity(steps.len() + 1);
    sums.push(sum);
    for step in steps {
        let amplitude = step.amplitude.abs();
        if amplitude > 0.55 * expected {
            let error = (step.amplitude / step.t).abs();
            sum += gain(amplitude.min(expected), error, expected).max(0.0);
        }
        sums.push(sum);
    }
    sums
}

/// How many of the steps, which are in order, lie before each block, and before the end.
fn ranks(steps: &[Candidate], blocks: usize) -> Vec<u32> {
    let mut ranks = Vec::with_capacity(blocks + 1);
    for (before, step) in (0..).zip(steps) {
        ranks.resize((step.at + 1).clamp(ranks.len(), blocks + 1), before);
    }
    ranks.resize(blocks + 1, steps.len() as u32);
    ranks
}
