//! Mains hum: a fundamental near 50 or 60 Hz and its harmonics, estimated from a stretch of ticks that also
//! holds dial edges, and taken away.
//!
//! The stretch is cut into pieces of 40 ms. In each, sines and cosines of the nominal harmonics are
//! fitted together with a parabola (droop and wander). All pieces have the same length, so the fit is one
//! fixed matrix. A fundamental off its nominal frequency turns the phase of harmonic k by 2 pi k d t from
//! piece to piece: the offset d is where the turned-back amplitudes add up best. Pieces that hold an edge
//! fit badly and count little.

use crate::linear;
use crate::wide::wide;
use rustfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::ops::Range;

const PIECE_S: f64 = 0.040;
const HARMONICS: usize = 11;
/// Mains frequency is kept within some 0.1 % of nominal on large grids; a recorder's clock adds less.
const OFFSET_HZ: f64 = 0.15;
/// Harmonics side by side, in whole vectors; and a parabola with cosines and sines of all.
const LANES: usize = HARMONICS.next_multiple_of(4);
const COLUMNS: usize = (3 + 2 * HARMONICS).next_multiple_of(4);
/// Offsets tried to either side.
const OFFSETS: i32 = 30;
/// Offsets tried at first: one in so many.
const SKIPPED: usize = 3;
/// Pieces added up before an offset is tried: the eleventh harmonic turns by 48 degrees in so many at most.
const TOGETHER: usize = 3;
/// A harmonic is kept when its amplitude exceeds so many of its standard errors.
const SIGNIFICANCE: f64 = 4.5;
/// Of the energy of a piece, less than this is rounding of single precision.
const ROUNDING: f64 = 1e-14;
/// Fewer pieces say nothing.
const LEAST_PIECES: usize = 6;

/// What stays the same for so long, and for so many values, was cut off.
const FLAT_S: f64 = 0.0015;
const LEAST_FLAT: usize = 3;
/// Harmonics describe also hum that is cut off, and then it is not what it is elsewhere: so much worse a piece counts, times
/// its share that is cut off.
const CUT_OFF: f64 = 20.0;

/// Mains frequencies of the world, in hertz.
pub(crate) const NOMINAL_HZ: [f64; 2] = [50.0, 60.0];

/// Hum found in a stretch.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct HumModel {
    pub(crate) frequency_hz: f64,
    /// Harmonic and amplitude at time zero, as the real part of a turning phasor.
    harmonics: Vec<(usize, Complex64)>,
}

/// Equally spaced values of a trace: the time of the first, how many a second, and over how long each is a
/// mean (zero for samples).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grid {
    pub(crate) start_s: f64,
    pub(crate) rate_hz: f64,
    pub(crate) mean_s: f64,
}

impl HumModel {
    /// Root sum of squares of the amplitudes.
    pub(crate) fn amplitude(&self) -> f64 {
        self.harmonics
            .iter()
            .map(|(_, a)| a.norm_sqr())
            .sum::<f64>()
            .sqrt()
    }

    /// Takes the hum out of a trace. Where a recorder has cut it off there is none in it: over what stays the same for some
    /// time, hum is taken for a straight line, so that it neither ripples there nor steps at the ends.
    pub(crate) fn subtract<T: Value>(&self, trace: &mut [T], grid: Grid) {
        but_where_cut_off(trace, grid, |trace| self.subtract_throughout(trace, grid));
    }

    fn subtract_throughout<T: Value>(&self, trace: &mut [T], grid: Grid) {
        for &(k, amplitude) in &self.harmonics {
            let frequency_hz = self.frequency_hz * k as f64;
            let left = amplitude * left_of_mean(frequency_hz, grid.mean_s);
            let start = left * Complex64::cis(TAU * frequency_hz * grid.start_s);
            take_turning(trace, start, TAU * frequency_hz / grid.rate_hz);
        }
    }
}

/// Takes something out of a trace. Over what stays the same for some time, because a recorder has cut it off, that is taken for a
/// straight line.
pub(crate) fn but_where_cut_off<T: Value>(
    trace: &mut [T],
    grid: Grid,
    take_out: impl FnOnce(&mut [T]),
) {
    let least = LEAST_FLAT.max((FLAT_S * grid.rate_hz).ceil() as usize);
    let flat = flat_runs(trace, least);
    take_out(trace);
    flat.into_iter().for_each(|run| straighten(&mut trace[run]));
}

/// Takes out the real part of a phasor that begins with `start` and turns by `angle` from value to value. Some run side
/// by side: one by one, each would wait for the one before.
pub(crate) fn take_turning<T: Value>(trace: &mut [T], start: Complex64, angle: f64) {
    const SIDE: usize = 8;
    let phasors: [Complex64; SIDE] =
        std::array::from_fn(|k| start * Complex64::cis(angle * k as f64));
    let stride = Complex64::cis(angle * SIDE as f64);
    wide(
        #[inline(always)]
        || {
            let (mut re, mut im) = (phasors.map(|z| z.re), phasors.map(|z| z.im));
            for chunk in trace.chunks_mut(SIDE) {
                for (value, now) in chunk.iter_mut().zip(&re) {
                    value.less(*now);
                }
                for k in 0..SIDE {
                    let (r, i) = (re[k], im[k]);
                    re[k] = r * stride.re - i * stride.im;
                    im[k] = r * stride.im + i * stride.re;
                }
            }
        },
    );
}

/// A value that hum is taken from.
pub(crate) trait Value: Copy + PartialEq {
    fn less(&mut self, hum: f64);
    /// The value on a straight line from this one to another.
    fn towards(self, other: Self, share: f64) -> Self;
}

impl Value for f64 {
    #[inline(always)]
    fn less(&mut self, hum: f64) {
        *self -= hum;
    }

    fn towards(self, other: Self, share: f64) -> Self {
        self + share * (other - self)
    }
}

impl Value for f32 {
    #[inline(always)]
    fn less(&mut self, hum: f64) {
        *self -= hum as f32;
    }

    fn towards(self, other: Self, share: f64) -> Self {
        self + share as f32 * (other - self)
    }
}

/// Runs of at least so many equal values.
fn flat_runs<T: Value>(trace: &[T], least: usize) -> Vec<Range<usize>> {
    let mut runs = Vec::new();
    let mut from = 0;
    // Of a run at least so long, two neighbours lie at one of these places.
    for at in (0..trace.len().saturating_sub(1)).step_by(least - 1) {
        if at < from || trace[at] != trace[at + 1] {
            continue;
        }
        let is_equal = |value: &&T| **value == trace[at];
        let before = trace[from..at].iter().rev().take_while(is_equal).count();
        let after = trace[at..].iter().take_while(is_equal).count();
        let run = at - before..at + after;
        from = run.end;
        if run.len() >= least {
            runs.push(run);
        }
    }
    runs
}

/// Puts all values of a run on the straight line between its first and its last.
fn straighten<T: Value>(run: &mut [T]) {
    let [first, .., last] = *run else {
        return;
    };
    let steps = (run.len() - 1) as f64;
    for (i, value) in run.iter_mut().enumerate() {
        *value = first.towards(last, i as f64 / steps);
    }
}

/// What a mean over `mean_s` leaves of a sine.
pub(crate) fn left_of_mean(frequency_hz: f64, mean_s: f64) -> f64 {
    let half_turn = PI * frequency_hz * mean_s;
    if half_turn < 1e-9 {
        1.0
    } else {
        half_turn.sin() / half_turn
    }
}

/// Amplitudes of one piece and how badly it fitted.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    middle_s: f64,
    /// Phasors by harmonic, phase zero at the middle of the piece.
    amplitudes: Vec<Complex64>,
    residual: f64,
}

/// Fits pieces of one nominal frequency.
#[derive(Debug)]
pub(crate) struct Fitter {
    pub(crate) nominal_hz: f64,
    rate_hz: f64,
    harmonics: usize,
    /// Values in a piece.
    pub(crate) length: usize,
    /// The basis, its columns side by side; and the inverse of their products.
    basis: Vec<[f64; COLUMNS]>,
    inverse: Vec<[f64; COLUMNS]>,
}

impl Fitter {
    /// For a trace of means taken `rate_hz` times a second, each over all of the time between two.
    pub(crate) fn new(nominal_hz: f64, rate_hz: f64) -> Option<Self> {
        let harmonics = HARMONICS.min((0.45 * rate_hz / nominal_hz) as usize);
        let length = (PIECE_S * rate_hz).round() as usize;
        let basis = piece_basis(length, rate_hz, nominal_hz, harmonics);
        let inverse = linear::invert(&linear::gram(&basis))?;
        Some(Fitter {
            nominal_hz,
            rate_hz,
            harmonics,
            length,
            basis: side_by_side(&basis),
            inverse: side_by_side(&inverse),
        })
    }

    /// Fits one piece whose first value stands at `start_s`.
    pub(crate) fn piece(&self, means: &[f32], start_s: f64) -> Piece {
        let level = means.first().copied().map_or(0.0, f64::from);
        let values: Vec<f64> = means.iter().map(|&x| f64::from(x) - level).collect();
        let products = combined(&self.basis, &values);
        let coefficients = combined(&self.inverse, &products);
        let energy = linear::dot(&values, &values);
        let left = energy - linear::dot(&coefficients, &products);
        let flat: usize = flat_runs(means, LEAST_FLAT).iter().map(Range::len).sum();
        let cut_off = 1.0 + CUT_OFF * flat as f64 / self.length as f64;
        let residual = cut_off * (left.max(ROUNDING * energy) / self.length as f64).sqrt();
        let amplitude = |k: usize| {
            let own = Complex64::new(coefficients[3 + 2 * k], -coefficients[4 + 2 * k]);
            own / left_of_mean(self.nominal_hz * (k + 1) as f64, 1.0 / self.rate_hz)
        };
        Piece {
            middle_s: start_s + (self.length as f64 - 1.0) / (2.0 * self.rate_hz),
            amplitudes: (0..self.harmonics).map(amplitude).collect(),
            residual,
        }
    }

    /// Pieces of a whole stretch.
    #[cfg(test)]
    fn pieces(&self, means: &[f32], start_s: f64) -> Vec<Piece> {
        means
            .chunks_exact(self.length)
            .enumerate()
            .map(|(i, chunk)| self.piece(chunk, start_s + (i * self.length) as f64 / self.rate_hz))
            .collect()
    }

    /// The hum that equally spaced pieces have in common.
    pub(crate) fn model(&self, pieces: &[&Piece]) -> Option<HumModel> {
        let first = pieces.first().filter(|_| pieces.len() >= LEAST_PIECES)?;
        let weights = weigh(pieces);
        let turned = turn_back(pieces, self.nominal_hz);
        let spacing_s = pieces[1].middle_s - first.middle_s;
        let offset_hz = best_offset(&turned, &weights, spacing_s);
        let frequency_hz = self.nominal_hz + offset_hz;
        let at_first = significant(&turned, &weights, TAU * offset_hz * spacing_s);
        let harmonics: Vec<(usize, Complex64)> = (1..=self.harmonics)
            .zip(at_first)
            .filter_map(|(k, at_first)| {
                let back = Complex64::cis(-TAU * frequency_hz * k as f64 * first.middle_s);
                Some((k, at_first? * back))
            })
            .collect();
        (!harmonics.is_empty()).then_some(HumModel {
            frequency_hz,
            harmonics,
        })
    }
}

/// Columns of equal length, value by value.
fn side_by_side(columns: &[Vec<f64>]) -> Vec<[f64; COLUMNS]> {
    let length = columns.first().map_or(0, Vec::len);
    let row = |i: usize| std::array::from_fn(|k| columns.get(k).map_or(0.0, |column| column[i]));
    (0..length).map(row).collect()
}

/// Sum of rows, each times its value.
fn combined(rows: &[[f64; COLUMNS]], values: &[f64]) -> [f64; COLUMNS] {
    wide(
        #[inline(always)]
        || {
            let mut sums = [0.0; COLUMNS];
            for (row, value) in rows.iter().zip(values) {
                for k in 0..COLUMNS {
                    sums[k] += row[k] * value;
                }
            }
            sums
        },
    )
}

fn piece_basis(length: usize, rate_hz: f64, nominal: f64, harmonics: usize) -> Vec<Vec<f64>> {
    let half = (length as f64 - 1.0) / 2.0;
    let at = |f: &dyn Fn(f64) -> f64| -> Vec<f64> {
        (0..length)
            .map(|i| f((i as f64 - half) / rate_hz))
            .collect()
    };
    let scale = PIECE_S / 2.0;
    let mut basis = vec![
        at(&|_| 1.0),
        at(&|t| t / scale),
        at(&|t| (t / scale).powi(2) - 1.0 / 3.0),
    ];
    for k in 1..=harmonics {
        let w = TAU * nominal * k as f64;
        basis.push(at(&|t| (w * t).cos()));
        basis.push(at(&|t| (w * t).sin()));
    }
    basis
}

/// Heavy-tailed weights: a piece that fits ten times worse than the better ones counts a hundredth.
fn weigh(pieces: &[&Piece]) -> Vec<f64> {
    let mut sorted: Vec<f64> = pieces.iter().map(|p| p.residual).collect();
    sorted.sort_by(f64::total_cmp);
    let typical = sorted[sorted.len() / 4].max(1e-12);
    pieces
        .iter()
        .map(|p| {
            let ratio = p.residual / (2.0 * typical);
            1.0 / (1.0 + ratio * ratio).powi(2)
        })
        .collect()
}

/// Phasors of all harmonics.
#[derive(Clone, Copy, Debug)]
struct Phasors {
    re: [f64; LANES],
    im: [f64; LANES],
}

impl Phasors {
    const NONE: Phasors = Phasors {
        re: [0.0; LANES],
        im: [0.0; LANES],
    };

    /// Those of each harmonic when the fundamental's is this one: its powers.
    fn powers(fundamental: Complex64) -> Self {
        let mut now = Complex64::new(1.0, 0.0);
        let mut all = Phasors::NONE;
        for k in 0..LANES {
            now *= fundamental;
            (all.re[k], all.im[k]) = (now.re, now.im);
        }
        all
    }

    #[inline(always)]
    fn times(&self, other: &Phasors) -> Self {
        let mut out = Phasors::NONE;
        for k in 0..LANES {
            out.re[k] = self.re[k] * other.re[k] - self.im[k] * other.im[k];
            out.im[k] = self.re[k] * other.im[k] + self.im[k] * other.re[k];
        }
        out
    }

    #[inline(always)]
    fn less(&self, other: &Phasors) -> Self {
        let mut out = *self;
        out.add(other, -1.0);
        out
    }

    /// Adds others times a weight.
    #[inline(always)]
    fn add(&mut self, other: &Phasors, weight: f64) {
        for k in 0..LANES {
            self.re[k] += weight * other.re[k];
            self.im[k] += weight * other.im[k];
        }
    }
}

/// Phasors of each piece, turned back to the middle of the first by the nominal frequency.
fn turn_back(pieces: &[&Piece], nominal_hz: f64) -> Vec<Phasors> {
    let turned = |piece: &&Piece| {
        let turns = nominal_hz * (piece.middle_s - pieces[0].middle_s);
        let back = Phasors::powers(Complex64::cis(-TAU * turns.fract()));
        let mut own = Phasors::NONE;
        for (k, amplitude) in piece.amplitudes.iter().enumerate() {
            (own.re[k], own.im[k]) = (amplitude.re, amplitude.im);
        }
        own.times(&back)
    };
    pieces.iter().map(turned).collect()
}

/// The offset at which the harmonics add up best. Neighbouring pieces hardly turn against one another, so
/// they are added up beforehand.
fn best_offset(turned: &[Phasors], weights: &[f64], spacing_s: f64) -> f64 {
    let spacing_hz = OFFSET_HZ / f64::from(OFFSETS);
    let mut sums = vec![Phasors::NONE; weights.len().div_ceil(TOGETHER)];
    for (i, (phasors, weight)) in turned.iter().zip(weights).enumerate() {
        sums[i / TOGETHER].add(phasors, *weight);
    }
    let score = |offset_hz: f64| -> f64 {
        let turns = Phasors::powers(Complex64::cis(
            -TAU * offset_hz * spacing_s * TOGETHER as f64,
        ));
        wide(
            #[inline(always)]
            || {
                // By Horner's rule.
                let mut total = Phasors::NONE;
                for sum in sums.iter().rev() {
                    total = total.times(&turns);
                    total.add(sum, 1.0);
                }
                let energies = total.re.iter().zip(&total.im);
                energies.map(|(re, im)| re * re + im * im).sum()
            },
        )
    };
    let at = |index: usize| score(spacing_hz * (index as f64 - f64::from(OFFSETS)));
    let mut scores = vec![0.0; 2 * OFFSETS as usize + 1];
    let largest = |scores: &[f64]| {
        let best = (0..scores.len()).max_by(|&a, &b| scores[a].total_cmp(&scores[b]));
        best.unwrap_or_default()
    };
    // The highest harmonic still adds up to four fifths as far off its frequency as half of these are apart.
    for index in (0..scores.len()).step_by(SKIPPED) {
        scores[index] = at(index);
    }
    let near = largest(&scores);
    let around = near.saturating_sub(SKIPPED)..(near + SKIPPED + 1).min(scores.len());
    for (index, slot) in around.clone().zip(&mut scores[around]) {
        *slot = at(index);
    }
    let best = largest(&scores);
    let inner = best > 0 && best + 1 < scores.len();
    let between = if inner {
        linear::parabola_peak(scores[best - 1], scores[best], scores[best + 1])
    } else {
        0.0
    };
    spacing_hz * (best as f64 - f64::from(OFFSETS) + between)
}

/// Weighted means of phasors of which the fundamental's turns by `drift` from one to the next, as far as they stand out
/// of their scatter.
fn significant(turned: &[Phasors], weights: &[f64], drift: f64) -> [Option<Complex64>; LANES] {
    let total: f64 = weights.iter().sum();
    let effective = total * total / weights.iter().map(|w| w * w).sum::<f64>();
    let (back, on) = (
        Phasors::powers(Complex64::cis(-drift)),
        Phasors::powers(Complex64::cis(drift)),
    );
    let (mean, scatter) = wide(
        #[inline(always)]
        || {
            let mut mean = Phasors::NONE;
            // By Horner's rule.
            for (phasors, weight) in turned.iter().zip(weights).rev() {
                mean = mean.times(&back);
                mean.add(phasors, *weight / total);
            }
            let (mut expected, mut scatter) = (mean, [0.0; LANES]);
            for (phasors, weight) in turned.iter().zip(weights) {
                let apart = phasors.less(&expected);
                for (sum, (re, im)) in scatter.iter_mut().zip(apart.re.iter().zip(&apart.im)) {
                    *sum += weight / total * (re * re + im * im);
                }
                expected = expected.times(&on);
            }
            (mean, scatter)
        },
    );
    std::array::from_fn(|k| {
        let mean = Complex64::new(mean.re[k], mean.im[k]);
        let error = (scatter[k] / (effective - 1.0).max(1.0)).sqrt();
        (mean.norm() > SIGNIFICANCE * error).then_some(mean)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn fitters(rate_hz: f64) -> Vec<Fitter> {
        NOMINAL_HZ
            .into_iter()
            .filter_map(|nominal| Fitter::new(nominal, rate_hz))
            .collect()
    }

    /// Hum of 60.04 Hz with a third harmonic, under dial steps of size 1 and droop.
    fn trace(rate_hz: f64) -> Vec<f32> {
        (0..(2.4 * rate_hz) as usize)
            .map(|i| {
                let t = i as f64 / rate_hz;
                let open = (0.8..1.8).contains(&t) && (t * 10.0).fract() < 0.6;
                let hum = 0.3 * (TAU * 60.04 * t + 0.4).cos() + 0.1 * (TAU * 180.12 * t).sin();
                (f64::from(u8::from(!open)) + hum + 0.05 * t) as f32
            })
            .collect()
    }

    fn estimate(fitters: &[Fitter], means: &[f32]) -> Option<HumModel> {
        fitters
            .iter()
            .filter_map(|fitter| {
                let pieces = fitter.pieces(means, 0.0);
                fitter.model(&pieces.iter().collect::<Vec<_>>())
            })
            .max_by(|a, b| a.amplitude().total_cmp(&b.amplitude()))
    }

    #[test]
    fn hum_is_found_under_pulses_and_taken_away() {
        let rate = 2000.0;
        let mut means = trace(rate);
        // Samples stand for means here, on both ways alike.
        let model = estimate(&fitters(rate), &means).expect("hum is there");
        // Half of the stretch holds edges; what is left of 0.3 is one part in thirty.
        assert_abs_diff_eq!(model.frequency_hz, 60.04, epsilon = 0.01);
        assert_abs_diff_eq!(model.amplitude(), 0.1f64.sqrt(), epsilon = 0.01);
        let mean_s = 1.0 / rate;
        model.subtract(
            &mut means,
            Grid {
                start_s: 0.0,
                rate_hz: rate,
                mean_s,
            },
        );
        let quiet = &means[0..(0.7 * rate) as usize];
        let mean = quiet.iter().sum::<f32>() / quiet.len() as f32;
        let rms =
            (quiet.iter().map(|x| (x - mean).powi(2)).sum::<f32>() / quiet.len() as f32).sqrt();
        assert!(rms < 0.02, "left {rms}");
    }

    #[test]
    fn what_is_cut_off_gets_neither_ripple_nor_step() {
        let rate = 2000.0;
        let hum = |i: usize| 0.3 * (TAU * 50.0 * i as f64 / rate + 0.4).cos();
        let level = |i: usize| if (600..720).contains(&i) { -1.0 } else { 0.0 };
        let mut means: Vec<f32> = (0..2000)
            .map(|i| (hum(i) + level(i)).clamp(-0.4, 0.2) as f32)
            .collect();
        let model = HumModel {
            frequency_hz: 50.0,
            harmonics: vec![(1, Complex64::from_polar(0.3, 0.4))],
        };
        let grid = Grid {
            start_s: 0.0,
            rate_hz: rate,
            mean_s: 0.0,
        };
        model.subtract(&mut means, grid);
        let steps: Vec<f32> = means.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
        let mut largest: Vec<usize> = (0..steps.len()).collect();
        largest.sort_by(|&a, &b| steps[b].total_cmp(&steps[a]));
        largest[..2].sort_unstable();
        assert_eq!(largest[..2], [599, 719], "opening and closing");
        assert!(steps[largest[2]] < 0.04, "{}", steps[largest[2]]);
    }

    #[test]
    fn runs_of_equal_values_are_found_wherever_they_begin() {
        let runs = |trace: &[f64], least| -> Vec<(usize, usize)> {
            let runs = flat_runs(trace, least).into_iter();
            runs.map(|run| (run.start, run.end)).collect()
        };
        for start in 0..9 {
            let mut trace: Vec<f64> = (0..40).map(f64::from).collect();
            trace[start..start + 5].fill(-1.0);
            trace[30..33].fill(-2.0);
            assert_eq!(runs(&trace, 4), [(start, start + 5)], "{start}");
            assert_eq!(runs(&trace, 3), [(start, start + 5), (30, 33)]);
        }
        assert!(runs(&[], 3).is_empty());
        assert_eq!(runs(&[1.0; 7], 3), [(0, 7)]);
    }

    #[test]
    fn no_hum_is_no_hum() {
        let rate = 2000.0;
        let clean: Vec<f32> = (0..4000)
            .map(|i| f32::from(u8::from((f64::from(i) / rate * 10.0).fract() < 0.6)))
            .collect();
        // Dialling at 10 pps is itself rich in multiples of 10 Hz; nothing of it may be called hum
        // beyond a few percent.
        let found = estimate(&fitters(rate), &clean).map_or(0.0, |m| m.amplitude());
        assert!(found < 0.05, "invented {found}");
    }
}
