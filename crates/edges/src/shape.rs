//! A step through a probe as a recorder's band-limit leaves it, at any fraction of a sample.

use crate::linear;
use crate::response::Response;
use rustfft::num_complex::Complex64;
use std::f64::consts::PI;
use std::ops::{Add, Mul};
use std::sync::LazyLock;

/// Points of the table in one sample; and of a table that is good enough to see what a change of the probe changes.
const OVERSAMPLING: usize = 64;
const FEW: usize = 16;
/// The recorder's anti-alias filter rings for so many samples to either side.
const REACH: usize = 20;
/// Half of the amplitude passes at this share of the sample rate; and of some recorders' filters at these.
const NYQUIST: f64 = 0.5;
const HALVES: [f64; 4] = [0.5, 0.475, 0.45, 0.425];
/// Kaiser window of the sinc; 8 keeps the ripple of the pass band below 0.01 %.
const KAISER_BETA: f64 = 8.0;

/// Value of the recorded step against the time since the contact moved, both in samples.
#[derive(Clone, Debug)]
pub(crate) struct Shape {
    response: Response,
    rate_hz: f64,
    /// Points of the table in one sample.
    points: usize,
    table: Vec<f64>,
}

impl Shape {
    pub(crate) fn new(response: &Response, rate_hz: f64) -> Self {
        Self::from_kernel(response, rate_hz, &KERNEL)
    }

    /// The same behind filters of some recorders, which pass half of the amplitude at this share of the sample rate.
    pub(crate) fn filtered(response: &Response, rate_hz: f64) -> impl Iterator<Item = Self> {
        let kernels = FILTERS.iter();
        kernels.map(move |kernel| Self::from_kernel(response, rate_hz, kernel))
    }

    /// The same from few points.
    pub(crate) fn rough(response: &Response, rate_hz: f64) -> Self {
        Self::from_kernel(response, rate_hz, &FEW_OF_KERNEL)
    }

    fn from_kernel(response: &Response, rate_hz: f64, kernel: &[f64]) -> Self {
        let points = kernel.len() / (2 * REACH);
        let mut table = vec![0.0; kernel.len()];
        for term in &response.terms {
            // F = h * exp(pole t): dF/dx = h + pole F, stepped exactly for the pole and by the
            // trapezium for the kernel.
            let decay = (term.pole / rate_hz / points as f64).exp();
            if term.pole.im == 0.0 {
                add_convolved(&mut table, kernel, decay.re, 0.5 * term.weight.re, |x| x);
            } else {
                add_convolved(&mut table, kernel, decay, 0.5 * term.weight, |z| z.re);
            }
        }
        Shape {
            response: response.clone(),
            rate_hz,
            points,
            table,
        }
    }

    /// Value `x` samples after the contact moved.
    #[cfg(test)]
    pub(crate) fn at(&self, x: f64) -> f64 {
        if x >= REACH as f64 {
            return self.response.at(x / self.rate_hz);
        }
        let position = (x + REACH as f64) * self.points as f64;
        if position <= 0.0 {
            return 0.0;
        }
        let index = position as usize;
        let fraction = position - index as f64;
        let left = self.table[index];
        let right = self.table.get(index + 1).copied().unwrap_or(left);
        left + fraction * (right - left)
    }

    /// Values at the samples 0 to `length`, the contact having moved at sample `at`: what `at` gives for each,
    /// at the cost of a few multiplications. The samples lie in a row of the table, and beyond it each
    /// exponential goes on by one factor.
    pub(crate) fn column(&self, at: f64, length: usize) -> Vec<f64> {
        let mut out = vec![0.0; length];
        self.add_column(&mut out, at, 1.0);
        out
    }

    /// Adds them, times a size, to others.
    pub(crate) fn add_column(&self, out: &mut [f64], at: f64, size: f64) {
        let rows = self.rows(at, out.len());
        for (k, value) in out[rows.first..rows.settled].iter_mut().enumerate() {
            let (left, right) = self.neighbours(rows.index + k * self.points);
            *value += size * (left + rows.fraction * (right - left));
        }
        for term in &self.response.terms {
            let since = (rows.settled as f64 - at) / self.rate_hz;
            let start = size * term.weight * (term.pole * since).exp();
            add_decay(&mut out[rows.settled..], start, term.pole / self.rate_hz);
        }
    }

    /// Change of the values with the time since the contact moved.
    pub(crate) fn slopes(&self, at: f64, length: usize) -> Vec<f64> {
        let mut out = vec![0.0; length];
        let rows = self.rows(at, length);
        // Over six points of the table, about the tenth of a sample.
        const POINTS: usize = 3;
        let per_sample = self.points as f64 / (2 * POINTS) as f64;
        for (k, value) in out[rows.first..rows.settled].iter_mut().enumerate() {
            let row = rows.index + k * self.points;
            let later = self.neighbours(row + POINTS);
            let earlier = match row.checked_sub(POINTS) {
                Some(row) => self.neighbours(row),
                None => (0.0, 0.0),
            };
            let (left, right) = (later.0 - earlier.0, later.1 - earlier.1);
            *value = per_sample * (left + rows.fraction * (right - left));
        }
        for term in &self.response.terms {
            let since = (rows.settled as f64 - at) / self.rate_hz;
            let pole = term.pole / self.rate_hz;
            let start = pole * term.weight * (term.pole * since).exp();
            add_decay(&mut out[rows.settled..], start, pole);
        }
        out
    }

    fn rows(&self, at: f64, length: usize) -> Rows {
        let reach = REACH as f64;
        let first = ((at - reach).ceil().max(0.0) as usize).min(length);
        let settled = ((at + reach).ceil().max(0.0) as usize).min(length);
        let position = (first as f64 - at + reach) * self.points as f64;
        Rows {
            first,
            settled,
            index: position as usize,
            fraction: position.fract(),
        }
    }

    /// A point of the table and the next, the last one beyond its end.
    fn neighbours(&self, row: usize) -> (f64, f64) {
        let last = self.table.len() - 1;
        (self.table[row.min(last)], self.table[(row + 1).min(last)])
    }
}

/// Adds the kernel convolved with an exponential that changes by `decay` from point to point, times `weight`. The
/// sum so far is needed for the next, which takes long; so some parts of the kernel are summed side by side, each
/// from zero, and what the parts before one leave in it is added afterwards.
fn add_convolved<T>(table: &mut [f64], kernel: &[f64], decay: T, weight: T, real: impl Fn(T) -> f64)
where
    T: Copy + Default + Add<Output = T> + Add<f64, Output = T> + Mul<Output = T>,
{
    const PARTS: usize = 8;
    let length = kernel.len() / PARTS;
    let whole = PARTS * length;
    let mut sums = [T::default(); PARTS];
    let mut last = [0.0; PARTS];
    for i in 1..PARTS {
        last[i] = kernel[i * length - 1];
    }
    let mut parts = vec![[T::default(); PARTS]; length];
    // What decays over a whole part.
    let mut lasting = decay;
    for (k, slots) in parts.iter_mut().enumerate() {
        for i in 0..PARTS {
            let h = kernel[i * length + k];
            sums[i] = (sums[i] + last[i]) * decay + h;
            last[i] = h;
        }
        *slots = sums;
        if k > 0 {
            lasting = lasting * decay;
        }
    }
    let mut carried = [T::default(); PARTS];
    for i in 1..PARTS {
        carried[i] = sums[i - 1] + carried[i - 1] * lasting;
    }
    let mut sum = sums[PARTS - 1] + carried[PARTS - 1] * lasting;
    for (k, slots) in parts.iter().enumerate() {
        for i in 0..PARTS {
            carried[i] = carried[i] * decay;
            table[i * length + k] += real(weight * (slots[i] + carried[i]));
        }
    }
    let mut before = last[PARTS - 1];
    for (slot, &h) in table[whole..].iter_mut().zip(&kernel[whole..]) {
        sum = (sum + before) * decay + h;
        before = h;
        *slot += real(weight * sum);
    }
}

/// Samples that the table gives, from its point `index` on and a little further.
struct Rows {
    first: usize,
    settled: usize,
    index: usize,
    fraction: f64,
}

/// Adds the real part of an exponential that begins with `start`, and changes by the exponential of `pole`
/// from value to value. A few run side by side: one by one, each would wait for the one before.
pub(crate) fn add_decay(values: &mut [f64], start: Complex64, pole: Complex64) {
    const LANES: usize = 4;
    if pole.norm_sqr() == 0.0 {
        values.iter_mut().for_each(|v| *v += start.re);
        return;
    }
    let stride = (pole * LANES as f64).exp();
    let one = pole.exp();
    let mut lane = [start; LANES];
    for k in 1..LANES {
        lane[k] = lane[k - 1] * one;
    }
    if pole.im == 0.0 && start.im == 0.0 {
        let mut lane = lane.map(|z| z.re);
        for chunk in values.chunks_mut(LANES) {
            for (value, now) in chunk.iter_mut().zip(lane) {
                *value += now;
            }
            lane.iter_mut().for_each(|now| *now *= stride.re);
        }
        return;
    }
    for chunk in values.chunks_mut(LANES) {
        for (value, now) in chunk.iter_mut().zip(lane) {
            *value += now.re;
        }
        lane.iter_mut().for_each(|now| *now *= stride);
    }
}

static KERNEL: LazyLock<Vec<f64>> = LazyLock::new(|| kernel(OVERSAMPLING, NYQUIST));
static FEW_OF_KERNEL: LazyLock<Vec<f64>> = LazyLock::new(|| kernel(FEW, NYQUIST));
static FILTERS: LazyLock<[Vec<f64>; 4]> =
    LazyLock::new(|| HALVES.map(|half| kernel(OVERSAMPLING, half)));

/// Windowed sinc that passes half at this share of the sample rate, its points adding up to one.
fn kernel(points_a_sample: usize, passes_half: f64) -> Vec<f64> {
    let turn = PI * passes_half / NYQUIST;
    let half = (REACH * points_a_sample) as i64;
    let mut points: Vec<f64> = (-half..=half)
        .map(|i| {
            let x = i as f64 / points_a_sample as f64;
            let sinc = if i == 0 {
                1.0
            } else {
                (turn * x).sin() / (turn * x)
            };
            let edge = 1.0 - (x / REACH as f64).powi(2);
            sinc * bessel_i0(KAISER_BETA * edge.max(0.0).sqrt()) / bessel_i0(KAISER_BETA)
        })
        .collect();
    let sum: f64 = points.iter().sum();
    points.iter_mut().for_each(|p| *p /= sum);
    points
}

/// Modified Bessel function of the first kind, order zero, by its series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-12 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Values of a band-limited trace at `count` places a sample apart, the first of them between its samples.
/// All lie at the same fraction of a sample, so the weights are the same for each.
pub(crate) fn resample(samples: &[f64], first: f64, count: usize) -> Vec<f64> {
    let kernel: &[f64] = &KERNEL;
    let whole = first.floor();
    let weights: Vec<f64> = (0..2 * REACH)
        .map(|k| {
            // Sample k - REACH + 1 away from the whole one below the place.
            let distance = first - whole + REACH as f64 - 1.0 - k as f64;
            let position = (distance + REACH as f64) * OVERSAMPLING as f64;
            let index = (position as usize).min(kernel.len() - 2);
            let fraction = position - index as f64;
            let weight = kernel[index] + fraction * (kernel[index + 1] - kernel[index]);
            weight * OVERSAMPLING as f64
        })
        .collect();
    let begin = whole as isize - REACH as isize + 1;
    let within = |k: usize, i: usize| -> Option<f64> {
        samples
            .get(usize::try_from(begin + (i + k) as isize).ok()?)
            .copied()
    };
    let mut out = vec![0.0; count];
    let inside = usize::try_from(begin)
        .ok()
        .and_then(|begin| samples.get(begin..begin + count + 2 * REACH - 1));
    let Some(inside) = inside else {
        for (i, value) in out.iter_mut().enumerate() {
            let all = weights.iter().enumerate();
            *value = all.map(|(k, w)| w * within(k, i).unwrap_or(0.0)).sum();
        }
        return out;
    };
    for (k, weight) in weights.iter().enumerate() {
        linear::take_out(&mut out, &inside[k..], -weight);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_direct_step_passes_half_at_zero() {
        let shape = Shape::new(&Response::direct(), 48_000.0);
        // The trapezium over a symmetric kernel puts half of it before the middle point.
        assert_abs_diff_eq!(shape.at(0.0), 0.5, epsilon = 1e-6);
        assert_abs_diff_eq!(shape.at(-25.0), 0.0, epsilon = 0.0);
        assert_abs_diff_eq!(shape.at(25.0), 1.0, epsilon = 0.0);
        assert_abs_diff_eq!(shape.at(3.3) + shape.at(-3.3), 1.0, epsilon = 1e-4);
    }

    #[test]
    fn a_slow_sine_is_resampled() {
        let sine = |x: f64| (0.31 * x).sin();
        let samples: Vec<f64> = (0..200).map(|i| sine(f64::from(i))).collect();
        for (i, value) in resample(&samples, 60.37, 40).into_iter().enumerate() {
            assert_abs_diff_eq!(value, sine(60.37 + i as f64), epsilon = 2e-4);
        }
    }

    #[test]
    fn a_column_is_the_values_at_its_samples() {
        let shape = Shape::new(&Response::second_order(180.0, 0.6), 16_000.0);
        for at in [-70.3, -5.25, 31.7, 99.0, 130.2] {
            for (i, value) in shape.column(at, 100).into_iter().enumerate() {
                assert_abs_diff_eq!(value, shape.at(i as f64 - at), epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn slopes_are_the_change_of_a_column() {
        let shape = Shape::new(&Response::second_order(180.0, 0.6), 16_000.0);
        let (at, h) = (31.7, 0.05);
        let (later, earlier) = (shape.column(at - h, 100), shape.column(at + h, 100));
        for (i, slope) in shape.slopes(at, 100).into_iter().enumerate() {
            assert_abs_diff_eq!(slope, (later[i] - earlier[i]) / (2.0 * h), epsilon = 2e-3);
        }
    }

    #[test]
    fn far_from_the_step_the_table_meets_the_response() {
        let response = Response::second_order(300.0, 0.7);
        let shape = Shape::new(&response, 8000.0);
        assert_abs_diff_eq!(shape.at(19.99), response.at(19.99 / 8000.0), epsilon = 2e-3);
    }
}
