//! A network in time: its states carried forward exactly, and its output as the recorder's anti-alias
//! filter sees it.
//!
//! Let the network take state x at instant 0 and never be switched again. The filtered output is then
//! R(t) x with R(t) = C ∫ h(t - s) exp(A s) ds over s >= 0 and h the filter's kernel. R is tabulated on
//! the kernel's fine grid across the kernel's width by R' = R A + h C, each interval integrated exactly
//! for a cubic h; after that R(t) x = R(W) exp(A (t - W)) x. Stiff networks need no small steps.

use nalgebra::{DMatrix, DVector, RowDVector};

use crate::kernel::{HALF_WIDTH, INTERVALS, Kernel, PER_SAMPLE, STEP};
use crate::network::Network;

/// Times are resolved to 2^-32 of a sample.
const SMALLEST_POWER: i32 = -32;
/// Longest single stretch: 2^21 samples; longer ones are taken in pieces.
const LARGEST_POWER: i32 = 20;
/// Samples produced from one state before it is carried forward.
const BLOCK: usize = 32;

/// A network ready to be rendered at one sample rate.
pub(crate) struct Propagator {
    order: usize,
    /// exp(A 2^k), time in samples, from the smallest power up.
    powers: Vec<DMatrix<f64>>,
    /// R at the kernel's table points.
    response: Vec<f64>,
    /// R' at the same points, times the table interval.
    slope: Vec<f64>,
    /// R(W) exp(A j) for j = 0 .. BLOCK.
    block: Vec<f64>,
}

impl Propagator {
    pub(crate) fn new(network: &Network, kernel: &Kernel, sample_rate_hz: f64) -> Self {
        let rates = &network.rates / sample_rate_hz;
        let powers = powers(&rates);
        let mut propagator = Self {
            order: network.order(),
            powers,
            response: Vec::new(),
            slope: Vec::new(),
            block: Vec::new(),
        };
        let last = propagator.tabulate(&rates, &network.output, kernel);
        propagator.fill_block(last);
        propagator
    }

    fn power(&self, exponent: i32) -> &DMatrix<f64> {
        &self.powers[(exponent - SMALLEST_POWER) as usize]
    }

    /// Fills the table of R and returns its last row, R(W).
    fn tabulate(
        &mut self,
        rates: &DMatrix<f64>,
        output: &RowDVector<f64>,
        kernel: &Kernel,
    ) -> RowDVector<f64> {
        let drives = kernel_drives(rates, output);
        let forward = self.power(-(PER_SAMPLE.trailing_zeros() as i32)).clone();
        let mut row = RowDVector::zeros(self.order);
        for cubic in &kernel.cubics {
            self.push_row(&row, rates, output, cubic[0]);
            row = &row * &forward;
            for (coefficient, drive) in cubic.iter().zip(&drives) {
                row += drive * *coefficient;
            }
        }
        self.push_row(&row, rates, output, 0.0);
        row
    }

    fn push_row(
        &mut self,
        row: &RowDVector<f64>,
        rates: &DMatrix<f64>,
        output: &RowDVector<f64>,
        kernel: f64,
    ) {
        let slope = (row * rates + output * kernel) * STEP;
        self.response.extend(row.iter());
        self.slope.extend(slope.iter());
    }

    fn fill_block(&mut self, mut row: RowDVector<f64>) {
        let forward = self.power(0).clone();
        for _ in 0..BLOCK {
            self.block.extend(row.iter());
            row = &row * &forward;
        }
    }

    /// The state `samples` sample periods later (not negative).
    pub(crate) fn advance(&self, state: &DVector<f64>, samples: f64) -> DVector<f64> {
        let mut ticks = (samples.max(0.0) * f64::exp2(-SMALLEST_POWER as f64)).round() as u64;
        let mut state = state.clone();
        let longest = 1u64 << (LARGEST_POWER - SMALLEST_POWER);
        while ticks >= 2 * longest {
            state = self.power(LARGEST_POWER) * state;
            ticks -= longest;
        }
        for (bit, power) in self.powers.iter().enumerate() {
            if ticks >> bit & 1 == 1 {
                state = power * state;
            }
        }
        state
    }

    /// Adds `sign` times the filtered output around the instant at which the network takes `state`, within
    /// the kernel's width. Sample 0 of `trace` is at time 0; `instant` is in samples.
    pub(crate) fn add_onset(
        &self,
        trace: &mut [f64],
        instant: f64,
        state: &DVector<f64>,
        sign: f64,
    ) {
        let width = HALF_WIDTH as f64;
        let first = (instant - width).ceil().max(0.0) as usize;
        let last = ((instant + width).floor() + 1.0).clamp(0.0, trace.len() as f64) as usize;
        if first >= last {
            return;
        }
        let place = (first as f64 - instant + width) * PER_SAMPLE as f64;
        let start = (place as usize).min(INTERVALS - 1);
        let weights = hermite(place - start as f64);
        for (k, sample) in trace[first..last].iter_mut().enumerate() {
            let index = (start + k * PER_SAMPLE).min(INTERVALS - 1);
            *sample += sign * self.interpolate(index, &weights, state.as_slice());
        }
    }

    fn interpolate(&self, index: usize, weights: &[f64; 4], state: &[f64]) -> f64 {
        let at = index * self.order..(index + 1) * self.order;
        let next = at.end..at.end + self.order;
        weights[0] * dot(&self.response[at.clone()], state)
            + weights[1] * dot(&self.slope[at], state)
            + weights[2] * dot(&self.response[next.clone()], state)
            + weights[3] * dot(&self.slope[next], state)
    }

    /// Adds the filtered output from beyond the kernel's width after the onset at `from` up to the kernel's
    /// width after `to`, both in samples.
    pub(crate) fn add_course(&self, trace: &mut [f64], from: f64, to: f64, state: &DVector<f64>) {
        let width = HALF_WIDTH as f64;
        let first = ((from + width).floor() + 1.0).max(0.0) as usize;
        let last = ((to + width).floor() + 1.0).clamp(0.0, trace.len() as f64) as usize;
        if first >= last {
            return;
        }
        let mut state = self.advance(state, first as f64 - width - from);
        for chunk in trace[first..last].chunks_mut(BLOCK) {
            for (sample, row) in chunk.iter_mut().zip(self.block.chunks_exact(self.order)) {
                *sample += dot(row, state.as_slice());
            }
            state = self.power(BLOCK.trailing_zeros() as i32) * state;
        }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Hermite's weights for value, slope, next value, next slope, `x` of the way through an interval.
fn hermite(x: f64) -> [f64; 4] {
    let y = 1.0 - x;
    [
        (1.0 + 2.0 * x) * y * y,
        x * y * y,
        (1.0 + 2.0 * y) * x * x,
        -y * x * x,
    ]
}

fn powers(rates: &DMatrix<f64>) -> Vec<DMatrix<f64>> {
    let mut powers: Vec<_> = (SMALLEST_POWER..=0)
        .map(|k| (rates * f64::exp2(k.into())).exp())
        .collect();
    for _ in 0..LARGEST_POWER {
        let last = &powers[powers.len() - 1];
        powers.push(last * last);
    }
    powers
}

/// C ∫ u^k / k! exp(A (d - u)) du over one table interval d, for k = 0 to 3: what a cubic piece of the
/// kernel adds to R. They are read off one exponential of A bordered by a chain of integrators.
fn kernel_drives(rates: &DMatrix<f64>, output: &RowDVector<f64>) -> [RowDVector<f64>; 4] {
    const CHAIN: usize = 4;
    let order = rates.nrows();
    let mut bordered = DMatrix::zeros(CHAIN + order, CHAIN + order);
    (1..CHAIN).for_each(|k| bordered[(k - 1, k)] = 1.0);
    bordered
        .view_mut((CHAIN - 1, CHAIN), (1, order))
        .copy_from(output);
    bordered
        .view_mut((CHAIN, CHAIN), (order, order))
        .copy_from(rates);
    let integrated = (bordered * STEP).exp();
    std::array::from_fn(|k| {
        integrated
            .row(CHAIN - 1 - k)
            .columns(CHAIN, order)
            .into_owned()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::AntiAlias;
    use approx::assert_abs_diff_eq;

    fn decay(per_second: f64) -> Network {
        let mut network = Network::constant(0.0).with_states(1);
        network.rates[(1, 1)] = -per_second;
        network.output[1] = 1.0;
        network
    }

    /// Filtered exp(-a s) from s = 0, by brute quadrature of the convolution.
    fn by_quadrature(kernel: &Kernel, a: f64, t: f64) -> f64 {
        let pieces = 400_000;
        let length = (t + HALF_WIDTH as f64).max(0.0);
        let w = length / pieces as f64;
        let slope = |x: f64| (kernel.unit_step(x + 1e-4) - kernel.unit_step(x - 1e-4)) / 2e-4;
        (0..pieces)
            .map(|i| (i as f64 + 0.5) * w)
            .map(|s| slope(t - s) * (-a * s).exp() * w)
            .sum()
    }

    #[test]
    fn the_filtered_decay_equals_a_convolution_done_by_brute_force() {
        let kernel = Kernel::of(AntiAlias::LinearPhase);
        for a in [0.01, 1.5] {
            let propagator = Propagator::new(&decay(a), kernel, 1.0);
            let instant = 40.3;
            let mut trace = vec![0.0; 120];
            let state = DVector::from_vec(vec![1.0, 1.0]);
            propagator.add_onset(&mut trace, instant, &state, 1.0);
            propagator.add_course(&mut trace, instant, 1000.0, &state);
            for n in [30, 40, 41, 60, 100] {
                let hand = by_quadrature(kernel, a, n as f64 - instant);
                assert_abs_diff_eq!(trace[n], hand, epsilon = 2e-7);
            }
        }
    }

    #[test]
    fn states_are_carried_forward_exactly() {
        let propagator = Propagator::new(&decay(0.003), Kernel::of(AntiAlias::LinearPhase), 1.0);
        let state = DVector::from_vec(vec![1.0, 1.0]);
        for t in [0.0, 0.37, 1234.567, 3e6] {
            assert_abs_diff_eq!(
                propagator.advance(&state, t)[1],
                (-0.003 * t).exp(),
                epsilon = 1e-10
            );
        }
    }
}
