//! Step responses of probes: what a step of the loop current has become when it reaches the recorder.
//!
//! Every probe considered here is a linear network with few poles, so its answer to a step is a sum of
//! decaying exponentials, real or in conjugate pairs.

use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// One exponential: the real part of `weight * exp(pole * t)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Term {
    pub(crate) weight: Complex64,
    pub(crate) pole: Complex64,
}

/// The answer of a probe to a unit step at time zero.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Response {
    pub(crate) terms: Vec<Term>,
}

impl Response {
    /// No probe at all, or one whose corner is far below what the recording can show.
    #[cfg(test)]
    pub(crate) fn direct() -> Self {
        Self::from_poles(&[])
    }

    /// First-order high-pass with its corner at `corner_hz`: exp(-2 pi fc t).
    #[cfg(test)]
    pub(crate) fn first_order(corner_hz: f64) -> Self {
        if corner_hz <= 0.0 {
            return Self::direct();
        }
        Self::from_poles(&[Complex64::new(-TAU * corner_hz, 0.0)])
    }

    /// Second-order high-pass with natural frequency `corner_hz` and quality `q`.
    #[cfg(test)]
    pub(crate) fn second_order(corner_hz: f64, q: f64) -> Self {
        Self::from_poles(&second_order_poles(corner_hz, q))
    }

    /// A network of as many zeros at the origin as it has `poles`: the step answer is
    /// s^(n-1) / prod(s - p), whose residue at p is p^(n-1) / prod over the others (p - p').
    pub(crate) fn from_poles(poles: &[Complex64]) -> Self {
        Self::with_lag(poles, None)
    }

    /// The same network behind a first-order lag of time constant `lag_s` (a feed relay's inductance
    /// over the resistance of the loop).
    pub(crate) fn lagged(poles: &[Complex64], lag_s: f64) -> Self {
        Self::with_lag(poles, Some(lag_s))
    }

    fn with_lag(poles: &[Complex64], lag_s: Option<f64>) -> Self {
        let mut all: Vec<Complex64> = poles.to_vec();
        // A step into a network without a high-pass keeps its pole at the origin.
        if poles.is_empty() {
            all.push(Complex64::new(0.0, 0.0));
        }
        let gain = lag_s.map_or(1.0, |lag| {
            all.push(Complex64::new(-1.0 / lag, 0.0));
            1.0 / lag
        });
        let zeros = i32::try_from(poles.len().saturating_sub(1)).unwrap_or(0);
        let spread = separate(&all);
        let terms = spread
            .iter()
            .enumerate()
            .map(|(k, &pole)| {
                let mut weight = pole.powi(zeros) * gain;
                for (j, &other) in spread.iter().enumerate() {
                    if j != k {
                        weight /= pole - other;
                    }
                }
                Term { weight, pole }
            })
            .collect();
        Response {
            terms: without_conjugates(terms),
        }
    }

    /// Value at `t` seconds after the step; zero before it.
    pub(crate) fn at(&self, t: f64) -> f64 {
        if t < 0.0 {
            return 0.0;
        }
        self.terms
            .iter()
            .map(|term| (term.weight * (term.pole * t).exp()).re)
            .sum()
    }
}

/// Poles of a second-order high-pass.
pub(crate) fn second_order_poles(corner_hz: f64, q: f64) -> [Complex64; 2] {
    let w = TAU * corner_hz;
    let half = Complex64::new(-w / (2.0 * q), 0.0);
    let root = Complex64::new(1.0 / (4.0 * q * q) - 1.0, 0.0).sqrt() * w;
    [half + root, half - root]
}

/// Of two conjugate terms, whose real parts are the same, one stands for both.
fn without_conjugates(terms: Vec<Term>) -> Vec<Term> {
    let mut out: Vec<Term> = Vec::with_capacity(terms.len());
    for term in terms {
        let conjugate = |o: &&mut Term| o.pole.im != 0.0 && o.pole == term.pole.conj();
        match out.iter_mut().find(conjugate) {
            Some(other) => other.weight += term.weight.conj(),
            None => out.push(term),
        }
    }
    out
}

/// Coinciding poles are moved apart by a part in a thousand: the sum of exponentials then stands for the
/// t·exp(pt) of a double pole with an error far below any noise.
fn separate(poles: &[Complex64]) -> Vec<Complex64> {
    let mut out: Vec<Complex64> = Vec::with_capacity(poles.len());
    for &pole in poles {
        let mut p = pole;
        while out
            .iter()
            .any(|o| (o - p).norm() < 1e-3 * p.norm().max(1e-3))
        {
            p *= 1.0 + 2e-3;
        }
        out.push(p);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_direct_step_stays() {
        assert_abs_diff_eq!(Response::direct().at(0.3), 1.0, epsilon = 1e-12);
        assert_abs_diff_eq!(Response::direct().at(-0.1), 0.0, epsilon = 0.0);
    }

    #[test]
    fn first_order_decays_by_its_time_constant() {
        // After one time constant 1/(2 pi 20 Hz) = 7.96 ms, 1/e is left.
        let r = Response::first_order(20.0);
        assert_abs_diff_eq!(r.at(1.0 / (TAU * 20.0)), (-1.0f64).exp(), epsilon = 1e-12);
    }

    #[test]
    fn second_order_has_the_textbook_form() {
        // q = 0.5: double pole, (1 - w t) exp(-w t). q > 0.5: exp(-w t/2q)(cos - sin * ...).
        let w = TAU * 150.0;
        let t = 0.8e-3;
        assert_abs_diff_eq!(
            Response::second_order(150.0, 0.5).at(t),
            (1.0 - w * t) * (-w * t).exp(),
            epsilon = 2e-3
        );
        let (q, z) = (0.8, 1.0 / 1.6);
        let wd = w * (1.0f64 - z * z).sqrt();
        let want = (-z * w * t).exp() * ((wd * t).cos() - z * w / wd * (wd * t).sin());
        assert_abs_diff_eq!(Response::second_order(150.0, q).at(t), want, epsilon = 1e-9);
    }

    #[test]
    fn a_lag_rises_exponentially() {
        let r = Response::lagged(&[], 2e-3);
        assert_abs_diff_eq!(r.at(2e-3), 1.0 - (-1.0f64).exp(), epsilon = 1e-9);
        // Behind a slow high-pass the rise comes first, the decay later.
        let r = Response::lagged(&[Complex64::new(-TAU, 0.0)], 2e-3);
        assert_abs_diff_eq!(r.at(0.0), 0.0, epsilon = 1e-9);
        assert!(r.at(10e-3) > 0.9);
    }
}
