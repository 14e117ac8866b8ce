//! A tone that goes on until the first break, as dial tone does: a few sine waves, found before the dialling and taken out
//! up to where they end.
//!
//! Behind a probe that passes little of the steps a tone is as large as they are, and hides the first of them.

use crate::hum::{Grid, Value, but_where_cut_off, left_of_mean, take_turning};
use crate::linear;
use crate::response::Response;
use crate::shape::Shape;
use crate::types::Train;
use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

/// A tone is looked for in a stretch so long, which ends so long before the first large step, or so much earlier again and again.
const LOOKED_AT_S: f64 = 0.25;
const BEFORE_STEP_S: f64 = 0.01;
const EARLIER_S: f64 = 0.06;
const TIMES: usize = 4;
/// It is at least so large beside the largest step.
const AUDIBLE: f64 = 0.015;
/// The logarithms of its power in both halves of the stretch differ by less.
const STEADY: f64 = 0.2;
/// What is lower is hum, which goes on, and is taken out by itself.
const LOWEST_HZ: f64 = 200.0;
/// Sine waves of a tone, hum beside it included.
const MOST_PARTS: usize = 6;
/// The largest of them has this share of all, and together they leave no more than this.
const LARGEST_SHARE: f64 = 0.3;
const LEFT: f64 = 0.1;
/// It lasts so long at least, and of so long a stretch after it, it has less than this share of its size.
const LASTS_S: f64 = 0.35;
const AFTERWARDS_S: f64 = 0.12;
const STAYS: f64 = 0.4;
/// One that explains less than this of what is left is none.
const EXPLAINS: f64 = 0.3;
/// So long a stretch tells whether the tone is still there: it leaves less than this of what the tone has there.
const BLOCK_S: f64 = 0.003;
const STILL_THERE: f64 = 0.35;
/// Where the tone has less than this of its usual size, nothing can be told.
const FAINT: f64 = 0.5;
/// It is over where so many blocks in a row do not hold it.
const MISSED: usize = 12;
/// The tone ends where the trace departs from it by so many times the noise, or by this much of it.
const DEPARTS_NOISES: f64 = 6.0;
const DEPARTS: f64 = 0.2;
/// The transition with which it ends is placed less surely by so many samples, times its size over the step's: how it dies away
/// behind the probe is not known. Found on dial tones of all kinds.
const ENDS_WITHIN: f64 = 0.2;
/// The recorder's filter swings for so many samples.
const SWINGS: f64 = 20.0;
/// Fitted again to all of it as long as that gets longer, and no more often.
const ROUNDS: usize = 4;
const SETTLES: usize = 4;

/// One sine wave: the real part of the amplitude turned by its frequency since the stream began.
#[derive(Clone, Copy, Debug)]
struct Part {
    frequency_hz: f64,
    amplitude: Complex64,
}

/// A tone between two instants.
#[derive(Clone, Debug)]
pub(crate) struct Tone {
    parts: Vec<Part>,
    from_s: f64,
    until_s: f64,
}

/// A stretch of a trace.
#[derive(Clone, Copy, Debug)]
struct Stretch<'a> {
    values: &'a [f32],
    grid: Grid,
}

impl Stretch<'_> {
    fn of(&self, range: Range<usize>) -> Stretch<'_> {
        Stretch {
            grid: Grid {
                start_s: self.seconds(range.start),
                ..self.grid
            },
            values: &self.values[range],
        }
    }

    fn seconds(&self, index: usize) -> f64 {
        self.grid.start_s + index as f64 / self.grid.rate_hz
    }

    /// Values in a block that tells whether a tone is there.
    fn block(&self) -> usize {
        ((BLOCK_S * self.grid.rate_hz).round() as usize).max(4)
    }

    fn middle_s(&self) -> f64 {
        self.grid.start_s + (self.values.len() as f64 - 1.0) / (2.0 * self.grid.rate_hz)
    }
}

impl Tone {
    /// The tone that precedes the first large step, at index `step` of a trace whose largest step is of this size.
    pub(crate) fn before(
        values: &[f32],
        grid: Grid,
        step: usize,
        largest: f32,
        spectrum: &Spectrum,
    ) -> Option<Self> {
        let all = Stretch { values, grid };
        let count = |s: f64| (s * grid.rate_hz).round() as usize;
        let found = (0..TIMES).find_map(|earlier| {
            let end = step.checked_sub(count(BEFORE_STEP_S + EARLIER_S * earlier as f64))?;
            let range = end.checked_sub(spectrum.window.len())?..end;
            let parts = parts(
                all.of(range.clone()),
                AUDIBLE * f64::from(largest),
                spectrum,
            )?;
            Some((parts, range))
        });
        let (mut parts, mut range) = found?;
        for _ in 0..ROUNDS {
            let longer = extended(&all, &parts, range.clone());
            if longer.len() <= range.len() + count(BLOCK_S) {
                break;
            }
            range = longer;
            parts = settled(all.of(range.clone()), parts)?.0;
        }
        let range = extended(&all, &parts, range);
        parts.retain(|part| part.frequency_hz >= LOWEST_HZ);
        let until = end(&all, &parts, range.clone());
        let lasts = until - range.start >= count(LASTS_S);
        let is_tone = !parts.is_empty() && lasts && is_over(&all, &parts, until);
        is_tone.then(|| Tone {
            from_s: all.seconds(range.start),
            until_s: all.seconds(until) - 0.5 * grid.mean_s,
            parts,
        })
    }

    /// Looks closer for where it ends, in samples around there.
    pub(crate) fn ends_in(&mut self, values: &[f32], grid: Grid) {
        let place = |s: f64| {
            let index = ((s - grid.start_s) * grid.rate_hz).round().max(0.0);
            (index as usize).min(values.len())
        };
        let around = place(self.until_s - 2.0 * BLOCK_S)..place(self.until_s + BLOCK_S);
        let near = place(self.until_s - BLOCK_S);
        if around.len() < 16 || near <= around.start + 8 {
            return;
        }
        let all = Stretch { values, grid };
        let until = end(&all, &self.parts, around.start..near);
        self.until_s = all.seconds(until.min(around.end));
    }

    /// Moves its end to the nearest of some instants, if one lies there.
    pub(crate) fn ends_with(&mut self, instants_s: impl Iterator<Item = f64>) -> bool {
        let apart = |at_s: &f64| (at_s - self.until_s).abs();
        let nearest = instants_s.min_by(|a, b| apart(a).total_cmp(&apart(b)));
        let nearest = nearest.filter(|at_s| apart(at_s) < BLOCK_S);
        if let Some(at_s) = nearest {
            self.until_s = at_s;
        }
        nearest.is_some()
    }

    /// Adds to the variance of the transition with which it ends what it may have moved that by.
    pub(crate) fn widen(&self, train: &mut Train, rate_hz: f64) {
        let size = self.parts.iter().map(|part| part.amplitude.norm_sqr());
        let size = size.sum::<f64>().sqrt() / train.step.max(f64::MIN_POSITIVE);
        let own = train.edges.iter_mut();
        for edge in own.filter(|edge| (edge.instant_s - self.until_s).abs() < BLOCK_S) {
            edge.variance_s2 += (ENDS_WITHIN * size / rate_hz).powi(2);
        }
    }

    /// Takes it out of ticks as far as it goes.
    pub(crate) fn subtract(&self, values: &mut [f32], grid: Grid) {
        let place = |s: f64| {
            let index = ((s - grid.start_s) * grid.rate_hz).ceil().max(0.0);
            (index as usize).min(values.len())
        };
        let range = place(self.from_s)..place(self.until_s);
        let start_s = grid.start_s + range.start as f64 / grid.rate_hz;
        if let Some(values) = values.get_mut(range) {
            let grid = Grid { start_s, ..grid };
            but_where_cut_off(values, grid, |values| take_out(&self.parts, values, grid));
        }
    }

    /// Takes it out of samples. Behind the recorder's filter it ends as a step begins.
    pub(crate) fn subtract_sharply(&self, values: &mut [f32], grid: Grid) {
        let at = (self.until_s - grid.start_s) * grid.rate_hz;
        let first = ((at - SWINGS).max(0.0) as usize).min(values.len());
        let last = ((at + SWINGS).max(0.0) as usize).min(values.len());
        let mut around = vec![0.0; last - first];
        let start_s = grid.start_s + first as f64 / grid.rate_hz;
        take_out(&self.parts, &mut around, Grid { start_s, ..grid });
        let ended = Shape::new(&Response::from_poles(&[]), grid.rate_hz);
        let ended = ended.column(at - first as f64, around.len());
        let before = Tone {
            until_s: start_s - 0.5 / grid.rate_hz,
            ..self.clone()
        };
        before.subtract(&mut values[..first], grid);
        for ((value, less), ended) in values[first..last].iter_mut().zip(around).zip(ended) {
            *value += ((1.0 - ended) * less) as f32;
        }
    }
}

fn take_out<T: Value>(parts: &[Part], values: &mut [T], grid: Grid) {
    for part in parts {
        let left = part.amplitude * left_of_mean(part.frequency_hz, grid.mean_s);
        let start = left * Complex64::cis(TAU * part.frequency_hz * grid.start_s);
        take_turning(values, start, TAU * part.frequency_hz / grid.rate_hz);
    }
}

/// Root mean square without the mean.
fn spread(values: &[f64]) -> f64 {
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n).sqrt()
}

/// Whether its waves are no longer there from a place on: what goes on while digits are dialled is hum.
fn is_over(all: &Stretch<'_>, parts: &[Part], from: usize) -> bool {
    let count = |s: f64| (s * all.grid.rate_hz).round() as usize;
    let from = from + count(BEFORE_STEP_S);
    let range = from..(from + count(AFTERWARDS_S)).min(all.values.len());
    if range.len() < count(AFTERWARDS_S) / 2 {
        return false;
    }
    let stretch = all.of(range);
    let size = |parts: &[Part]| parts.iter().map(|p| p.amplitude.norm_sqr()).sum::<f64>();
    let here = fitted(stretch, parts.to_vec(), false);
    here.is_some_and(|(here, _)| size(&here) < STAYS * STAYS * size(parts))
}

/// The sine waves of a stretch, if they are nearly all of it and at least so large.
fn parts(stretch: Stretch<'_>, least: f64, spectrum: &Spectrum) -> Option<Vec<Part>> {
    let values: Vec<f64> = stretch.values.iter().map(|&x| f64::from(x)).collect();
    let rest = crate::cluster::without_line(&values);
    let energy = linear::dot(&rest, &rest);
    let (earlier, later) = rest.split_at(rest.len() / 2);
    let change = linear::dot(later, later) / linear::dot(earlier, earlier);
    let steady = change.ln().abs() < STEADY;
    if (energy / values.len() as f64).sqrt() < least || !steady {
        return None;
    }
    let mut parts: Vec<Part> = Vec::new();
    let (mut rest, mut left) = (rest, energy);
    while parts.len() < MOST_PARTS && left > 0.2 * LEFT * energy {
        let (frequency_hz, share) = spectrum.loudest(&rest)?;
        if parts.is_empty() && share < LARGEST_SHARE {
            return None;
        }
        let mut more = parts.clone();
        more.push(Part {
            frequency_hz,
            amplitude: Complex64::default(),
        });
        let (more, leaves) = settled(stretch, more)?;
        let now = linear::dot(&leaves, &leaves);
        if now > (1.0 - EXPLAINS) * left {
            break;
        }
        (parts, rest, left) = (more, leaves, now);
    }
    let is_tone = |part: &Part| part.frequency_hz >= LOWEST_HZ;
    (left < LEFT * energy && parts.iter().any(is_tone)).then_some(parts)
}

/// Finds the loudest wave of a stretch of one length.
pub(crate) struct Spectrum {
    rate_hz: f64,
    window: Vec<f64>,
    transform: Arc<dyn Fft<f64>>,
}

impl std::fmt::Debug for Spectrum {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let length = self.transform.len();
        f.debug_struct("Spectrum").field("length", &length).finish()
    }
}

impl Spectrum {
    pub(crate) fn new(tick_rate_hz: f64) -> Self {
        let count = ((LOOKED_AT_S * tick_rate_hz).round() as usize).max(16);
        let n = count as f64;
        Spectrum {
            rate_hz: tick_rate_hz,
            window: (0..count)
                .map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n).cos())
                .collect(),
            transform: FftPlanner::new().plan_fft_forward((2 * count).next_power_of_two()),
        }
    }

    /// Frequency of the largest peak, and its share of the power.
    fn loudest(&self, values: &[f64]) -> Option<(f64, f64)> {
        let length = self.transform.len();
        let windowed = values.iter().zip(&self.window);
        let mut bins: Vec<Complex64> = windowed.map(|(x, w)| Complex64::new(x * w, 0.0)).collect();
        bins.resize(length, Complex64::default());
        self.transform.process(&mut bins);
        let power: Vec<f64> = bins[..length / 2].iter().map(Complex64::norm_sqr).collect();
        let best = (1..power.len() - 1).max_by(|&a, &b| power[a].total_cmp(&power[b]))?;
        let shift = linear::parabola_peak(power[best - 1], power[best], power[best + 1]);
        // The window's own peak is so many bins wide to either side.
        let wide = (2 * length).div_ceil(self.window.len());
        let peak = &power[best.saturating_sub(wide)..(best + wide + 1).min(power.len())];
        let share = peak.iter().sum::<f64>() / power.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        Some(((best as f64 + shift) * self.rate_hz / length as f64, share))
    }
}

/// Gauss-Newton on frequencies, amplitudes, level and slope; and what they leave.
fn settled(stretch: Stretch<'_>, mut parts: Vec<Part>) -> Option<(Vec<Part>, Vec<f64>)> {
    (parts, _) = fitted(stretch, parts, false)?;
    let mut rest = Vec::new();
    for _ in 1..SETTLES {
        (parts, rest) = fitted(stretch, parts, true)?;
    }
    Some((parts, rest))
}

/// One round of it: with the frequencies as they are, or moved by what the amplitudes known by now say.
fn fitted(
    stretch: Stretch<'_>,
    mut parts: Vec<Part>,
    moved: bool,
) -> Option<(Vec<Part>, Vec<f64>)> {
    let n = stretch.values.len();
    let middle_s = stretch.middle_s();
    let time_s = |i: usize| stretch.seconds(i) - middle_s;
    let mut basis = vec![
        vec![1.0; n],
        (0..n).map(|i| i as f64 / n as f64 - 0.5).collect(),
    ];
    for part in &parts {
        let turned: Vec<Complex64> = (0..n)
            .map(|i| Complex64::cis(TAU * part.frequency_hz * time_s(i)))
            .collect();
        basis.push(turned.iter().map(|z| z.re).collect());
        basis.push(turned.iter().map(|z| z.im).collect());
        if moved {
            // How the wave changes with its frequency. Ticks are means, which leave less of it.
            let left = left_of_mean(part.frequency_hz, stretch.grid.mean_s);
            let here = left * part.amplitude * Complex64::cis(TAU * part.frequency_hz * middle_s);
            let turned = turned.iter().enumerate();
            basis.push(
                turned
                    .map(|(i, z)| -TAU * time_s(i) * (here * z).im)
                    .collect(),
            );
        }
    }
    let values: Vec<f64> = stretch.values.iter().map(|&x| f64::from(x)).collect();
    let inverse = linear::invert(&linear::gram(&basis))?;
    let products: Vec<f64> = basis.iter().map(|c| linear::dot(c, &values)).collect();
    let solution: Vec<f64> = inverse
        .iter()
        .map(|row| linear::dot(row, &products))
        .collect();
    let mut rest = values;
    for (column, share) in basis.iter().zip(&solution) {
        linear::take_out(&mut rest, column, *share);
    }
    let each = if moved { 3 } else { 2 };
    for (part, own) in parts.iter_mut().zip(solution[2..].chunks(each)) {
        if let Some(change_hz) = own.get(2) {
            part.frequency_hz += change_hz.clamp(-2.0, 2.0);
        }
        // c cos + s sin is the real part of (c - i s) cis.
        let here = Complex64::new(own[0], -own[1]);
        let left = left_of_mean(part.frequency_hz, stretch.grid.mean_s);
        part.amplitude = here * Complex64::cis(-TAU * part.frequency_hz * middle_s) / left;
    }
    Some((parts, rest))
}

/// How far from a stretch on, to both sides, the tone goes on.
fn extended(all: &Stretch<'_>, parts: &[Part], range: Range<usize>) -> Range<usize> {
    let block = all.block();
    let (without, waves) = apart(all, parts);
    let usual = spread(&waves[range.clone()]);
    let noise = spread_of_blocks(&without[range.clone()], block);
    let is_there = |from: usize| {
        let here = spread(&waves[from..from + block]);
        let rest = spread(&without[from..from + block]);
        (here > FAINT * usual).then(|| rest < (STILL_THERE * here).max(3.0 * noise))
    };
    let mut longer = range.clone();
    // A click is no end: the tone is there again after it.
    for from in (range.end..all.values.len().saturating_sub(block)).step_by(block) {
        if is_there(from) == Some(true) {
            longer.end = from + block;
        } else if from > longer.end + MISSED * block {
            break;
        }
    }
    for until in (block..=range.start).rev().step_by(block) {
        if is_there(until - block) == Some(true) {
            longer.start = until - block;
        } else if until + MISSED * block < longer.start {
            break;
        }
    }
    longer
}

/// A trace without waves, and the waves.
fn apart(all: &Stretch<'_>, parts: &[Part]) -> (Vec<f64>, Vec<f64>) {
    let mut without: Vec<f64> = all.values.iter().map(|&x| f64::from(x)).collect();
    take_out(parts, &mut without, all.grid);
    let both = all.values.iter().zip(&without);
    let waves = both.map(|(x, rest)| f64::from(*x) - rest).collect();
    (without, waves)
}

/// Usual spread of blocks.
fn spread_of_blocks(values: &[f64], block: usize) -> f64 {
    let spreads: Vec<f64> = values.chunks_exact(block).map(spread).collect();
    linear::median(&spreads).unwrap_or(0.0)
}

/// First value after a stretch of the tone that departs from it.
fn end(all: &Stretch<'_>, parts: &[Part], range: Range<usize>) -> usize {
    let block = all.block();
    let (without, waves) = apart(all, parts);
    let noise = spread_of_blocks(&without[range.clone()], block);
    let departs = (DEPARTS_NOISES * noise).max(DEPARTS * spread(&waves[range.clone()]));
    let first = range.end.saturating_sub(block / 2).max(range.start + 1);
    (first..all.values.len())
        .find(|&i| {
            let before = &without[i.saturating_sub(block)..i];
            let level = before.iter().sum::<f64>() / before.len().max(1) as f64;
            (without[i] - level).abs() > departs
        })
        .unwrap_or(all.values.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::second_order_poles;

    const RATE_HZ: f64 = 2000.0;

    /// A carrier of 400 Hz modulated at 33 Hz until `until_s`, and steps behind a transformer at some instants.
    fn trace(until_s: f64, steps_s: &[f64]) -> Vec<f32> {
        let response = Response::from_poles(&second_order_poles(150.0, 0.6));
        let at = |i: usize| {
            let t = i as f64 / RATE_HZ;
            let tone = 0.15 * (TAU * 400.0 * t).sin() * (1.0 + (TAU * 33.0 * t + 0.4).sin());
            let steps = steps_s.iter().enumerate().map(|(k, at_s)| {
                let sign = if k % 2 == 0 { -1.0 } else { 1.0 };
                sign * response.at(t - at_s)
            });
            let noise = 1e-3 * ((i * 7919 % 1009) as f64 / 504.5 - 1.0);
            (if t < until_s { tone } else { 0.0 } + steps.sum::<f64>() + noise) as f32
        };
        (0..4000).map(at).collect()
    }

    fn found(values: &[f32]) -> Option<Tone> {
        let grid = Grid {
            start_s: 0.0,
            rate_hz: RATE_HZ,
            mean_s: 0.0,
        };
        // The first step that stands out is the closing.
        Tone::before(values, grid, 1720, 1.0, &Spectrum::new(RATE_HZ))
    }

    #[test]
    fn a_tone_is_taken_out_up_to_the_opening_that_ends_it() {
        let values = trace(0.8, &[0.8, 0.86]);
        let tone = found(&values).expect("a tone");
        assert!((tone.until_s - 0.8).abs() < 0.0015, "{}", tone.until_s);
        let mut without = values.clone();
        let grid = Grid {
            start_s: 0.0,
            rate_hz: RATE_HZ,
            mean_s: 0.0,
        };
        tone.subtract(&mut without, grid);
        let most =
            |from: usize, to: usize| without[from..to].iter().fold(0.0f32, |m, x| m.max(x.abs()));
        assert!(most(20, 1590) < 0.01, "{}", most(20, 1590));
        assert_eq!(without[1610..], values[1610..], "nothing after it");
    }

    #[test]
    fn what_goes_on_while_digits_are_dialled_is_no_such_tone() {
        assert!(found(&trace(2.0, &[0.8, 0.86])).is_none());
    }

    #[test]
    fn quiet_is_none() {
        assert!(found(&trace(0.0, &[0.8, 0.86])).is_none());
    }

    #[test]
    fn the_opening_that_ends_a_tone_is_less_sure() {
        let tone = found(&trace(0.8, &[0.8, 0.86])).expect("a tone");
        assert!(!tone.clone().ends_with([0.9].into_iter()), "too far away");
        assert!(tone.clone().ends_with([0.9, 0.8003].into_iter()));
    }
}
