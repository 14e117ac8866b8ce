//! The recorder's anti-alias filter as a kernel in time, tabulated once for each kind.
//!
//! Time is in sample periods throughout, so one table serves every sample rate.

use std::f64::consts::PI;
use std::sync::OnceLock;

use crate::scenario::AntiAlias;

/// The kernel is zero beyond this many samples on either side of its centre.
pub(crate) const HALF_WIDTH: i64 = 32;
/// Table intervals in a sample period; a power of two.
pub(crate) const PER_SAMPLE: usize = 64;
/// Table intervals in all.
pub(crate) const INTERVALS: usize = 2 * HALF_WIDTH as usize * PER_SAMPLE;
/// Length of a table interval, in samples.
pub(crate) const STEP: f64 = 1.0 / PER_SAMPLE as f64;

/// Half amplitude of the linear-phase filter, as a fraction of the sample rate.
const LINEAR_CUT: f64 = 0.45;
/// Kaiser's window parameter: 90 dB of attenuation, which with 64 samples makes the transition 0.09 of the
/// sample rate wide (Kaiser's formulas), so the stop band starts below half the sample rate.
const KAISER_BETA: f64 = 9.0;
/// Corner of the gentle filter, as a fraction of the sample rate.
const GENTLE_CORNER: f64 = 0.42;
const GENTLE_ORDER: usize = 6;

/// An anti-alias kernel of unit area.
pub(crate) struct Kernel {
    /// For each table interval the kernel as a cubic: coefficients of 1, u, u²/2, u³/6 with u in samples
    /// from the interval's start.
    pub(crate) cubics: Vec<[f64; 4]>,
    /// Running integral at the table points: the band-limited unit step.
    step: Vec<f64>,
}

impl Kernel {
    /// The kernel of a filter.
    pub(crate) fn of(filter: AntiAlias) -> &'static Kernel {
        static LINEAR: OnceLock<Kernel> = OnceLock::new();
        static GENTLE: OnceLock<Kernel> = OnceLock::new();
        match filter {
            AntiAlias::LinearPhase => LINEAR.get_or_init(|| Kernel::tabulate(kaiser_sinc)),
            AntiAlias::Gentle => GENTLE.get_or_init(|| {
                let poles = butterworth_poles();
                Kernel::tabulate(|t| butterworth(&poles, t))
            }),
        }
    }

    fn tabulate(kernel: impl Fn(f64) -> f64) -> Self {
        let mut cubics: Vec<_> = (0..INTERVALS)
            .map(|i| cubic_through(&kernel, i as f64 * STEP - HALF_WIDTH as f64))
            .collect();
        let area: f64 = cubics.iter().map(cubic_area).sum();
        cubics.iter_mut().flatten().for_each(|c| *c /= area);
        let mut step = vec![0.0];
        for cubic in &cubics {
            step.push(step[step.len() - 1] + cubic_area(cubic));
        }
        Self { cubics, step }
    }

    /// The band-limited unit step `t` samples after its instant.
    pub(crate) fn unit_step(&self, t: f64) -> f64 {
        let place = (t + HALF_WIDTH as f64) * PER_SAMPLE as f64;
        if place <= 0.0 {
            return 0.0;
        }
        let index = place as usize;
        if index >= INTERVALS {
            return 1.0;
        }
        let u = (place - index as f64) * STEP;
        let [a, b, c, d] = self.cubics[index];
        self.step[index] + u * (a + u / 2.0 * (b + u / 3.0 * (c + u / 4.0 * d)))
    }
}

/// Cubic through four equally spaced points of one table interval.
fn cubic_through(kernel: &impl Fn(f64) -> f64, start: f64) -> [f64; 4] {
    let w = STEP / 3.0;
    let p: [f64; 4] = std::array::from_fn(|k| kernel(start + k as f64 * w));
    // Newton's forward differences, turned into powers of u.
    let d1 = p[1] - p[0];
    let d2 = p[2] - 2.0 * p[1] + p[0];
    let d3 = p[3] - 3.0 * p[2] + 3.0 * p[1] - p[0];
    [
        p[0],
        (d1 - d2 / 2.0 + d3 / 3.0) / w,
        (d2 - d3) / (w * w),
        d3 / (w * w * w),
    ]
}

fn cubic_area(c: &[f64; 4]) -> f64 {
    STEP * (c[0] + STEP / 2.0 * (c[1] + STEP / 3.0 * (c[2] + STEP / 4.0 * c[3])))
}

fn kaiser_sinc(t: f64) -> f64 {
    let edge = 1.0 - (t / HALF_WIDTH as f64).powi(2);
    if edge <= 0.0 {
        return 0.0;
    }
    let window = bessel_i0(KAISER_BETA * edge.sqrt()) / bessel_i0(KAISER_BETA);
    let x = 2.0 * PI * LINEAR_CUT * t;
    let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
    2.0 * LINEAR_CUT * sinc * window
}

/// Modified Bessel function of the first kind and order zero, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..60 {
        term *= quarter / (k * k) as f64;
        sum += term;
    }
    sum
}

/// Poles of a Butterworth low-pass, in radians per sample, upper half of the plane only.
fn butterworth_poles() -> Vec<(f64, f64)> {
    let corner = 2.0 * PI * GENTLE_CORNER;
    (0..GENTLE_ORDER / 2)
        .map(|k| PI * (2 * k + 1) as f64 / (2 * GENTLE_ORDER) as f64)
        .map(|angle| (-corner * angle.sin(), corner * angle.cos()))
        .collect()
}

/// Impulse response of the Butterworth low-pass (without its constant factor), moved to the left by the
/// delay it has at low frequency.
fn butterworth(poles: &[(f64, f64)], t: f64) -> f64 {
    // Phase of one pole pair near zero frequency: delay = -2 Re(1 / p).
    let delay: f64 = poles
        .iter()
        .map(|p| -2.0 * p.0 / (p.0 * p.0 + p.1 * p.1))
        .sum();
    let t = t + delay;
    if t <= 0.0 {
        return 0.0;
    }
    (0..poles.len())
        .map(|k| 2.0 * residue_response(poles, k, t))
        .sum()
}

/// Real part of (residue of pole `k`) x exp(pole t).
fn residue_response(poles: &[(f64, f64)], k: usize, t: f64) -> f64 {
    use nalgebra::Complex;
    let pole = Complex::new(poles[k].0, poles[k].1);
    let mut product = pole - pole.conj();
    for (_, other) in poles.iter().enumerate().filter(|(i, _)| *i != k) {
        let other = Complex::new(other.0, other.1);
        product *= (pole - other) * (pole - other.conj());
    }
    ((pole * t).exp() / product).re
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_linear_phase_step_is_half_way_at_its_instant() {
        let kernel = Kernel::of(AntiAlias::LinearPhase);
        assert_abs_diff_eq!(kernel.unit_step(0.0), 0.5, epsilon = 1e-9);
        assert_abs_diff_eq!(kernel.unit_step(-40.0), 0.0);
        assert_abs_diff_eq!(kernel.unit_step(40.0), 1.0);
        // Point symmetry about the instant.
        for t in [0.1, 0.77, 3.3, 11.01] {
            assert_abs_diff_eq!(
                kernel.unit_step(t) + kernel.unit_step(-t),
                1.0,
                epsilon = 1e-9
            );
        }
    }

    #[test]
    fn the_stop_band_is_down_by_80_db_and_the_pass_band_flat() {
        let kernel = Kernel::of(AntiAlias::LinearPhase);
        let gain = |f: f64| -> f64 {
            let start = |i: usize| i as f64 * STEP - HALF_WIDTH as f64;
            let sum: f64 = kernel
                .cubics
                .iter()
                .enumerate()
                .map(|(i, c)| c[0] * (2.0 * PI * f * start(i)).cos())
                .sum();
            sum * STEP
        };
        assert_abs_diff_eq!(gain(0.3), 1.0, epsilon = 1e-4);
        assert_abs_diff_eq!(gain(0.45), 0.5, epsilon = 0.01);
        assert!(gain(0.5).abs() < 1e-4, "{}", gain(0.5));
        assert!(gain(1.3).abs() < 1e-4, "{}", gain(1.3));
    }

    #[test]
    fn the_gentle_filter_has_no_delay_at_low_frequency() {
        // First moment of a unit-area kernel = its delay at zero frequency.
        let kernel = Kernel::of(AntiAlias::Gentle);
        let moment: f64 = kernel
            .cubics
            .iter()
            .enumerate()
            .map(|(i, c)| cubic_area(c) * ((i as f64 + 0.5) * STEP - HALF_WIDTH as f64))
            .sum();
        assert_abs_diff_eq!(moment, 0.0, epsilon = 1e-4);
    }
}
