//! The probe: high-pass states appended to a line's network.

use std::f64::consts::TAU;

use crate::network::Network;
use crate::scenario::{Coupling, Probe};

/// The line as seen through the probe.
pub(crate) fn through(probe: &Probe, line: Network) -> Network {
    let coupled = match probe.coupling {
        Coupling::Direct => line,
        Coupling::Capacitor { corner_hz } => first_order(&line, corner_hz),
        Coupling::TwoCorners {
            first_hz,
            second_hz,
        } => first_order(&first_order(&line, first_hz), second_hz),
        Coupling::Transformer { corner_hz, quality } => second_order(&line, corner_hz, quality),
    };
    coupled.scaled(if probe.inverted { -1.0 } else { 1.0 })
}

/// y = u - z with z' = w (u - z): what is left of a step after t is exp(-w t).
fn first_order(line: &Network, corner_hz: f64) -> Network {
    let w = TAU * corner_hz;
    let z = line.order();
    let mut network = line.with_states(1);
    let input = network.output.clone();
    network.rates.row_mut(z).copy_from(&(&input * w));
    network.rates[(z, z)] = -w;
    network.output[z] = -1.0;
    network
}

/// y = u - (p + q) with p' = w/Q (u - p - q) and q' = w Q p: the high-pass s² / (s² + s w/Q + w²).
fn second_order(line: &Network, corner_hz: f64, quality: f64) -> Network {
    let w = TAU * corner_hz;
    let (p, q) = (line.order(), line.order() + 1);
    let mut network = line.with_states(2);
    let mut output = network.output.clone();
    output[p] = -1.0;
    output[q] = -1.0;
    network
        .rates
        .row_mut(p)
        .copy_from(&(&output * (w / quality)));
    network.rates[(q, p)] = w * quality;
    network.output = output;
    network
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Output `t` after a unit step at the input.
    fn step_left(coupling: Coupling, t: f64) -> f64 {
        let probe = Probe {
            coupling,
            inverted: false,
        };
        let network = through(&probe, Network::constant(1.0));
        let mut state = nalgebra::DVector::zeros(network.order());
        state[0] = 1.0;
        (&network.output * ((&network.rates * t).exp() * state))[0]
    }

    #[test]
    fn what_a_capacitor_leaves_of_a_step_decays_exponentially() {
        // The usual figures: left of a step after 60 ms: 1 Hz 69 %, 5 Hz 15 %, 20 Hz 0.05 %.
        for (corner_hz, left) in [(1.0, 0.686), (5.0, 0.152), (20.0, 0.00053)] {
            let got = step_left(Coupling::Capacitor { corner_hz }, 0.06);
            assert_relative_eq!(got, (-TAU * corner_hz * 0.06f64).exp(), max_relative = 1e-9);
            assert_relative_eq!(got, left, max_relative = 0.01);
        }
    }

    #[test]
    fn a_critically_damped_transformer_follows_its_formula() {
        // Double pole at w: step response (1 - w t) exp(-w t).
        let (corner_hz, t) = (150.0, 0.0007);
        let wt = TAU * corner_hz * t;
        let got = step_left(
            Coupling::Transformer {
                corner_hz,
                quality: 0.5,
            },
            t,
        );
        assert_relative_eq!(got, (1.0 - wt) * (-wt).exp(), max_relative = 1e-9);
    }

    #[test]
    fn two_corners_follow_their_formula() {
        // Poles a, b: step response (a exp(-a t) - b exp(-b t)) / (a - b).
        let (a, b, t) = (TAU * 100.0, TAU * 30.0, 0.002f64);
        let got = step_left(
            Coupling::TwoCorners {
                first_hz: 100.0,
                second_hz: 30.0,
            },
            t,
        );
        assert_relative_eq!(
            got,
            (a * (-a * t).exp() - b * (-b * t).exp()) / (a - b),
            max_relative = 1e-9
        );
    }
}
