//! A bank of step responses, matched against the coarse trace in the recorded domain.
//!
//! Each entry is the answer of some probe to a step, made orthogonal to a constant and a straight line
//! over its window, so that droop, wander and bias do not count. Correlated with the trace it gives, at
//! every instant, the amplitude of a step there and Student's t of that amplitude against what the window
//! holds besides: a statistic that does not know the level of the recording.

use crate::linear::{RunningSums, dot, span};
use crate::response::{Response, second_order_poles};
use crate::wide::{LANES, add_up, wide};
use rustfft::num_complex::Complex64;
use std::ops::Range;

/// Half window for sharp edges. Two edges of a dial are never closer than about 7 ms (22 pps, 85 % break).
const SHARP_HALF_S: f64 = 0.004;
/// Half window in which a chattering closing still shows its step, and a step in much noise.
const WIDE_HALF_S: f64 = 0.009;
/// Half window for slow makes: long enough to average the ringing after an opening.
const SLOW_HALF_S: f64 = 0.012;
/// Half window in which a small step shows in noise, and a slow one of any kind.
const LONG_HALF_S: f64 = 0.025;
/// Rise of a slow make: feed relays of 1-2 H over a loop of some 500-1000 ohm.
const RISE_S: f64 = 0.0018;

/// A step lies so near to the event that it makes of the tick trace.
const NEAR_S: f64 = 0.001_25;
const NEAR_SLOW_S: f64 = 0.002_5;
/// Of the blocks in reach of a slow step, which has no sharp best place, one in so many is tried.
const STRIDE_SLOW: usize = 2;
/// Entries are searched with when they are so little worse than the best of their kind, as a share of its
/// likelihood and as such. Of 930 windows of all families one, at 0.93, was won by a lesser one.
const KEPT_SHARE: f64 = 0.08;
const KEPT_LEAST: f64 = 12.0;
/// Slow makes won in none that was below 1.05 of the sharp ones.
const SLOW_SHARE: f64 = 0.8;

/// What an entry of the bank stands for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Probe {
    /// First-order high-pass, corner in hertz; 0 is direct.
    FirstOrder(f64),
    /// Second-order high-pass, corner in hertz and quality.
    SecondOrder(f64, f64),
}

impl Probe {
    pub(crate) fn poles(&self) -> Vec<Complex64> {
        match *self {
            Probe::FirstOrder(corner) if corner <= 0.0 => Vec::new(),
            Probe::FirstOrder(corner) => vec![Complex64::new(-std::f64::consts::TAU * corner, 0.0)],
            Probe::SecondOrder(corner, q) => second_order_poles(corner, q).to_vec(),
        }
    }

    pub(crate) fn response(&self) -> Response {
        Response::from_poles(&self.poles())
    }
}

/// One step response to match.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    pub(crate) probe: Probe,
    /// True when the step itself rises slowly.
    pub(crate) slow: bool,
    half: usize,
    template: Vec<f32>,
    /// Energy of the template, in blocks.
    pub(crate) energy: f64,
}

impl Entry {
    /// The same step in a wider window; for slow makes the window is wide already.
    fn widened(&self, rate_hz: f64) -> Option<Self> {
        (!self.slow).then(|| Entry::windowed(self.probe.clone(), false, WIDE_HALF_S, rate_hz))
    }

    /// The same step and window for a trace of another rate.
    pub(crate) fn at_rate(&self, rate_hz: f64) -> Self {
        Entry::new(self.probe.clone(), self.slow, rate_hz)
    }

    /// A sharp step through the same probe in longer windows, for a trace of another rate. Of a step through a transformer
    /// nothing is left in them.
    pub(crate) fn longer(&self, rate_hz: f64) -> Vec<Self> {
        let lasts = matches!(self.probe, Probe::FirstOrder(_));
        let halves = [WIDE_HALF_S, LONG_HALF_S].into_iter().filter(|_| lasts);
        halves
            .map(|half_s| Entry::windowed(self.probe.clone(), false, half_s, rate_hz))
            .collect()
    }

    /// Half of the window, with a little room, in seconds: so far reach the side lobes of a match.
    pub(crate) fn half_s(&self, rate_hz: f64) -> f64 {
        self.half as f64 / rate_hz + 0.000_5
    }

    /// A transition as it was seen through this entry's probe, so many blocks of which lie before it.
    pub(crate) fn seen(&self, mut waveform: Vec<f64>, before: usize) -> Self {
        project_out_line(&mut waveform);
        Entry {
            probe: self.probe.clone(),
            slow: self.slow,
            half: before,
            energy: dot(&waveform, &waveform),
            template: waveform.iter().map(|&x| x as f32).collect(),
        }
    }

    fn new(probe: Probe, slow: bool, rate_hz: f64) -> Self {
        let half_s = if slow { SLOW_HALF_S } else { SHARP_HALF_S };
        Self::windowed(probe, slow, half_s, rate_hz)
    }

    fn windowed(probe: Probe, slow: bool, half_s: f64, rate_hz: f64) -> Self {
        let response = if slow {
            Response::lagged(&probe.poles(), RISE_S)
        } else {
            probe.response()
        };
        let half = (half_s * rate_hz).round() as usize;
        let mut shape: Vec<f64> = (0..2 * half)
            .map(|i| response.at((i as f64 + 0.5 - half as f64) / rate_hz))
            .collect();
        if slow {
            // A rise seen through a high-pass never reaches one; amplitudes are of its largest value.
            let peak = shape.iter().copied().fold(0.0, f64::max);
            shape.iter_mut().for_each(|x| *x /= peak);
        }
        project_out_line(&mut shape);
        let energy = dot(&shape, &shape);
        Entry {
            probe,
            slow,
            half,
            template: shape.iter().map(|&x| x as f32).collect(),
            energy,
        }
    }
}

/// Lag-one autocorrelation of what the step leaves of its window. White noise leaves about zero; speech,
/// music and tones, of which a step is a poor likeness, leave nearly one.
pub(crate) fn colour(entry: &Entry, trace: &[f64], candidate: &Candidate) -> f64 {
    let start = candidate.at.saturating_sub(entry.half);
    let Some(window) = trace.get(start..start + entry.template.len()) else {
        return 1.0;
    };
    let mut rest = window.to_vec();
    project_out_line(&mut rest);
    for (r, t) in rest.iter_mut().zip(&entry.template) {
        *r -= candidate.amplitude * f64::from(*t);
    }
    let energy = dot(&rest, &rest);
    if energy <= 0.0 {
        0.0
    } else {
        dot(&rest[1..], &rest[..rest.len() - 1]) / energy
    }
}

/// Takes the best constant and straight line out of `shape`.
fn project_out_line(shape: &mut [f64]) {
    let n = shape.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mean = shape.iter().sum::<f64>() / n;
    let spread: f64 = (0..shape.len()).map(|i| (i as f64 - middle).powi(2)).sum();
    let slope: f64 = shape
        .iter()
        .enumerate()
        .map(|(i, x)| (i as f64 - middle) * x)
        .sum::<f64>()
        / spread;
    for (i, x) in shape.iter_mut().enumerate() {
        *x -= mean + slope * (i as f64 - middle);
    }
}

/// A place where a step of an entry's shape may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Candidate {
    /// The step lies between block `at - 1` and block `at`.
    pub(crate) at: usize,
    /// Amplitude of the step, with its sign.
    pub(crate) amplitude: f64,
    /// Amplitude over its own standard error, with its sign.
    pub(crate) t: f64,
    /// Share of the window's energy (without constant and line) that the step explains.
    pub(crate) share: f64,
}

/// The entries tried: corners and qualities spaced so that between two of them the match loses less
/// than a few percent.
fn entries(rate_hz: f64) -> Vec<Entry> {
    let sharp = [
        Probe::FirstOrder(0.0),
        Probe::FirstOrder(20.0),
        Probe::FirstOrder(50.0),
        Probe::FirstOrder(90.0),
        Probe::FirstOrder(170.0),
        Probe::FirstOrder(280.0),
        Probe::SecondOrder(110.0, 0.5),
        Probe::SecondOrder(110.0, 0.75),
        Probe::SecondOrder(180.0, 0.5),
        Probe::SecondOrder(180.0, 0.75),
        Probe::SecondOrder(290.0, 0.5),
        Probe::SecondOrder(290.0, 0.75),
    ];
    let slow = [
        Probe::FirstOrder(0.0),
        Probe::FirstOrder(20.0),
        Probe::FirstOrder(60.0),
        Probe::SecondOrder(130.0, 0.6),
        Probe::SecondOrder(250.0, 0.6),
    ];
    sharp
        .into_iter()
        .map(|p| Entry::new(p, false, rate_hz))
        .chain(slow.into_iter().map(|p| Entry::new(p, true, rate_hz)))
        .collect()
}

/// An entry and the same step in a wider window, where that is another.
#[derive(Clone, Debug)]
pub(crate) struct Probed {
    pub(crate) entry: Entry,
    pub(crate) wide: Option<Entry>,
}

/// All entries for a trace of so many blocks a second.
pub(crate) fn probed(rate_hz: f64) -> Vec<Probed> {
    entries(rate_hz)
        .into_iter()
        .map(|entry| Probed {
            wide: entry.widened(rate_hz),
            entry,
        })
        .collect()
}

/// Energies of the windows of a trace.
#[derive(Debug)]
pub(crate) struct Energies {
    sums: RunningSums,
    /// Variance of a sample below which nothing is believed: rounding, not sound.
    floor: f64,
}

/// Rounding of single precision, as a share of the largest deviation in the trace.
const ROUNDING: f64 = 2e-5;

impl Energies {
    pub(crate) fn new(trace: &[f64]) -> Self {
        let (lowest, highest) = span(trace);
        Energies {
            sums: RunningSums::new(trace),
            floor: (ROUNDING * (highest - lowest).max(0.0)).powi(2),
        }
    }

    /// Energy of `length` samples from `start` on, constant and line taken out.
    fn without_line(&self, start: usize, length: usize) -> f64 {
        self.sums.without_line(start, length)
    }
}

/// Correlation of the trace with the template, for windows that begin in `starts`.
fn correlate(entry: &Entry, trace: &[f32], starts: Range<usize>) -> Vec<f32> {
    // So many places side by side that their sums stay in registers.
    const SIDE: usize = 2 * LANES;
    let mut out = vec![0.0f32; starts.len()];
    let template = &entry.template[..];
    let trace = &trace[starts.start..starts.end - 1 + template.len()];
    let last = out.len().saturating_sub(SIDE);
    wide(
        #[inline(always)]
        || {
            if out.len() < SIDE {
                for (k, &weight) in template.iter().enumerate() {
                    let from = &trace[k..];
                    out.iter_mut()
                        .zip(from)
                        .for_each(|(sum, x)| *sum += weight * x);
                }
                return;
            }
            // The last block may overlap the one before.
            for block in (0..last).step_by(SIDE).chain([last]) {
                let mut sums = [0.0f32; SIDE];
                let windows = trace[block..].windows(SIDE);
                for (weight, from) in template.iter().zip(windows) {
                    for k in 0..SIDE {
                        sums[k] += weight * from[k];
                    }
                }
                out[block..block + SIDE].copy_from_slice(&sums);
            }
        },
    );
    out
}

/// The same for windows that begin at the first of `starts` and every second one after it.
fn every_other(entry: &Entry, trace: &[f32], starts: Range<usize>) -> Vec<f32> {
    let mut out = vec![0.0f32; starts.len().div_ceil(STRIDE_SLOW)];
    let template = &entry.template[..];
    let (left, left_rest) = template.as_chunks::<LANES>();
    wide(
        #[inline(always)]
        || {
            for (slot, start) in out.iter_mut().zip(starts.step_by(STRIDE_SLOW)) {
                let here = &trace[start..start + template.len()];
                let (right, right_rest) = here.as_chunks::<LANES>();
                let mut sums = [0.0f32; LANES];
                for (x, y) in left.iter().zip(right) {
                    for k in 0..LANES {
                        sums[k] += x[k] * y[k];
                    }
                }
                let rest = left_rest.iter().zip(right_rest);
                *slot = add_up(sums) + rest.map(|(x, y)| x * y).sum::<f32>();
            }
        },
    );
    out
}

/// Index of the product of the largest magnitude.
fn farthest(products: &[f32]) -> Option<usize> {
    let mut best: Option<(usize, f32)> = None;
    for (index, product) in products.iter().enumerate() {
        if best.is_none_or(|(_, most)| product.abs() >= most) {
            best = Some((index, product.abs()));
        }
    }
    best.map(|(index, _)| index)
}

/// A trace and where steps are looked for in it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Field<'a> {
    pub(crate) trace: &'a [f32],
    pub(crate) energies: &'a Energies,
    pub(crate) rate_hz: f64,
    /// Places of steps, in order, none touching another.
    pub(crate) spots: &'a [Range<usize>],
    /// No smaller steps are looked for.
    pub(crate) least: f64,
}

/// Places where the window holds energy enough for a step of `least` size, in runs.
pub(crate) fn where_a_step_fits(
    entry: &Entry,
    energies: &Energies,
    least: f64,
) -> Vec<Range<usize>> {
    let length = entry.template.len();
    let enough = least * least * entry.energy;
    let mut runs: Vec<Range<usize>> = Vec::new();
    let starts = (energies.sums.length() + 1).saturating_sub(length);
    for some in (0..starts).step_by(length.max(1)) {
        let some = some..(some + length).min(starts);
        // What all of them together do not hold, none of them does.
        if energies.without_line(some.start, length + some.len() - 1) < enough {
            continue;
        }
        for start in some {
            if energies.without_line(start, length) < enough {
                continue;
            }
            let at = start + entry.half;
            match runs.last_mut() {
                Some(run) if run.end == at => run.end += 1,
                _ => runs.push(at..at + 1),
            }
        }
    }
    runs
}

/// Local extremes of Student's t of the entry's amplitude in the spots.
pub(crate) fn candidates(entry: &Entry, field: &Field<'_>, least_t: f64) -> Vec<Candidate> {
    let length = entry.template.len();
    let reach = ((if entry.slow { 0.002 } else { 0.0006 }) * field.rate_hz).ceil() as usize;
    let Some(windows) = (field.trace.len() + 1).checked_sub(length) else {
        return Vec::new();
    };
    let least = (field.least * entry.energy) as f32;
    let mut found = Vec::new();
    for spot in field.spots {
        let first = spot.start.saturating_sub(entry.half);
        let last = spot.end.saturating_sub(entry.half).min(windows);
        // Neighbours beyond the spot decide whether its ends are extremes.
        let starts = first.saturating_sub(reach)..(last + reach).min(windows);
        if first >= last {
            continue;
        }
        let products = correlate(entry, field.trace, starts.clone());
        for i in first..last {
            let index = i - starts.start;
            if products[index].abs() >= least && is_extreme(&products, index, reach) {
                let found_here = weigh(entry, field.energies, i, f64::from(products[index]));
                found.extend(found_here.filter(|c| c.t.abs() >= least_t));
            }
        }
    }
    found
}

/// What the entry makes of a place, be it an extreme or not.
pub(crate) fn at(entry: &Entry, field: &Field<'_>, at: usize) -> Option<Candidate> {
    let start = at.checked_sub(entry.half)?;
    let window = field.trace.get(start..start + entry.template.len())?;
    let products = window.iter().zip(&entry.template);
    let product = products.map(|(x, t)| f64::from(x * t)).sum();
    weigh(entry, field.energies, start, product)
}

/// How like a step of the entry's shape the trace is at each of some places: log-likelihood ratios added up,
/// each as large as the chain lets it be. It is given up when it cannot reach `least` any more.
fn likeness(entry: &Entry, field: &Field<'_>, places: &[usize], least: f64) -> Option<f64> {
    let (near_s, stride) = if entry.slow {
        (NEAR_SLOW_S, STRIDE_SLOW)
    } else {
        (NEAR_S, 1)
    };
    let reach = (near_s * field.rate_hz).ceil() as usize;
    let length = entry.template.len();
    let Some(windows) = (field.trace.len() + 1).checked_sub(length) else {
        return Some(0.0);
    };
    let at_place = |place: &usize| {
        let first = place.saturating_sub(entry.half + reach).min(windows);
        let last = (place + reach + 1).saturating_sub(entry.half).min(windows);
        if first >= last {
            return None;
        }
        let products = if stride > 1 {
            every_other(entry, field.trace, first..last)
        } else {
            correlate(entry, field.trace, first..last)
        };
        let best = farthest(&products)?;
        let step = weigh(
            entry,
            field.energies,
            first + stride * best,
            f64::from(products[best]),
        )?;
        Some(likelihood_of_shape(step.share))
    };
    let mut all = 0.0;
    for (index, place) in places.iter().enumerate() {
        let others = (places.len() - index) as f64;
        if all + MOST_LIKELY * others < least {
            return None;
        }
        all += at_place(place).unwrap_or(0.0);
    }
    Some(all)
}

/// Most that one step counts.
const MOST_LIKELY: f64 = 30.0;

/// How much more likely the window is as a step than as anything else. Speech and music are no white
/// noise: eight independent values stand for the window's many, and no edge may count for more than a few
/// others.
pub(crate) fn likelihood_of_shape(share: f64) -> f64 {
    (-8.0 * (1.0 - share).max(1e-9).ln()).min(MOST_LIKELY)
}

/// The entries most like what is found at some places of the trace.
pub(crate) fn shortlist<'a>(
    bank: &'a [Probed],
    field: &Field<'_>,
    places: &[usize],
) -> Vec<&'a Probed> {
    let within = |best: f64| best - (KEPT_SHARE * best).max(KEPT_LEAST);
    let (slow, sharp): (Vec<&Probed>, Vec<&Probed>) = bank.iter().partition(|p| p.entry.slow);
    // What cannot be within reach of the best, or of what the best must be at least, need not be known any better.
    let scored = |entries: Vec<&'a Probed>, worthwhile: f64| {
        let mut best = worthwhile;
        let mut scored: Vec<(f64, &Probed)> = Vec::new();
        for probed in entries {
            if let Some(score) = likeness(&probed.entry, field, places, within(best)) {
                best = best.max(score);
                scored.push((score, probed));
            }
        }
        scored
    };
    let most = |scored: &[(f64, &Probed)]| scored.iter().map(|s| s.0).fold(0.0, f64::max);
    let sharp = scored(sharp, 0.0);
    let worthwhile = SLOW_SHARE * most(&sharp);
    let mut slow = scored(slow, worthwhile);
    if most(&slow) < worthwhile {
        slow.clear();
    }
    let kept = |scored: Vec<(f64, &'a Probed)>| {
        let least = within(most(&scored));
        let kept = scored.into_iter().filter(move |(score, _)| *score >= least);
        kept.map(|(_, probed)| probed)
    };
    kept(sharp).chain(kept(slow)).collect()
}

/// The step that a product of template and window stands for.
fn weigh(entry: &Entry, energies: &Energies, start: usize, product: f64) -> Option<Candidate> {
    let length = entry.template.len();
    let freedom = length as f64 - 3.0;
    let explained = product * product / entry.energy;
    let rest = (energies.without_line(start, length) - explained)
        .max(energies.floor * freedom)
        .max(f64::MIN_POSITIVE);
    let t = (explained / (rest / freedom)).sqrt();
    t.is_finite().then(|| Candidate {
        at: start + entry.half,
        amplitude: product / entry.energy,
        t: t.copysign(product),
        share: (explained / (explained + rest)).min(1.0),
    })
}

/// True when no neighbour within `reach` has the larger magnitude (the first of equals wins).
fn is_extreme(products: &[f32], i: usize, reach: usize) -> bool {
    let (own, sign) = (products[i].abs(), products[i].signum());
    let before = &products[i.saturating_sub(reach)..i];
    let after = &products[i + 1..(i + 1 + reach).min(products.len())];
    own > 0.0
        && before.iter().rev().all(|p| p * sign < own)
        && after.iter().all(|p| p * sign <= own)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn step(at: usize, length: usize, size: f64, response: &Response, rate_hz: f64) -> Vec<f64> {
        (0..length)
            .map(|i| size * response.at((i as f64 + 0.5 - at as f64) / rate_hz))
            .collect()
    }

    #[test]
    fn every_entry_finds_its_own_step() {
        let rate = 8000.0;
        for entry in entries(rate) {
            let response = if entry.slow {
                Response::lagged(&entry.probe.poles(), RISE_S)
            } else {
                entry.probe.response()
            };
            let mut trace = step(400, 800, -0.25, &response, rate);
            // Droop and bias must not count.
            trace
                .iter_mut()
                .enumerate()
                .for_each(|(i, x)| *x += 0.1 + 1e-4 * i as f64);
            let single: Vec<f32> = trace.iter().map(|&x| x as f32).collect();
            let everywhere = 0..trace.len();
            let field = Field {
                trace: &single,
                energies: &Energies::new(&trace),
                rate_hz: rate,
                spots: std::slice::from_ref(&everywhere),
                least: 0.0,
            };
            let found = candidates(&entry, &field, 3.0);
            let best = found
                .iter()
                .max_by(|a, b| a.t.abs().total_cmp(&b.t.abs()))
                .expect("a step");
            // A slow rise has no sharp best place: half a millisecond to either side is as good.
            let reach = 4 * usize::from(entry.slow);
            assert!(
                best.at.abs_diff(400) <= reach,
                "{:?} slow {}",
                entry.probe,
                entry.slow
            );
            assert!(best.amplitude < 0.0);
            if !entry.slow {
                assert_relative_eq!(best.amplitude, -0.25, max_relative = 1e-3);
            }
            assert!(
                best.share > if entry.slow { 0.98 } else { 0.999 },
                "{}",
                best.share
            );
        }
    }
}
