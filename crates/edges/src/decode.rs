//! Reads a short window as the two-valued signal of a contact, to find chatter.
//!
//! The probe is taken back (a high-pass with n poles needs n running sums), which turns unknown levels,
//! droop and wander into a polynomial. The most likely sequence of open and closed follows by dynamic
//! programming over two states, the polynomial by least squares; a few rounds of both settle.

use crate::cluster::{Floor, Step};
use rustfft::num_complex::Complex64;

/// Cost of one change of state: about the logarithm of the number of places where it could be, plus the
/// prior against chatter at all.
const CHANGE_COST: f64 = 9.0;
/// Ringing of the recorder's anti-alias filter is no chatter.
const LEAST_DEVIATION: f64 = 0.11;

/// What the window is known to hold besides noise.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Expectation<'a> {
    pub(crate) poles: &'a [Complex64],
    pub(crate) rate_hz: f64,
    /// Size of a step.
    pub(crate) amplitude: f64,
    /// Sign of the main transition.
    pub(crate) sign: f64,
    /// Main transition, in samples from the window's first.
    pub(crate) at: f64,
    /// Noise per sample.
    pub(crate) noise: f64,
}

/// Changes of state in `window`, in time order, as steps.
pub(crate) fn changes(window: &[f64], expected: Expectation<'_>) -> Vec<Step> {
    let contact = take_back(window, expected.poles, expected.rate_hz);
    let deviation = (expected.noise / expected.amplitude).max(LEAST_DEVIATION);
    let scaled: Vec<f64> = contact
        .iter()
        .map(|x| x * expected.sign / expected.amplitude)
        .collect();
    let order = 1 + expected.poles.len();
    let mut states: Vec<bool> = (0..window.len()).map(|i| i as f64 > expected.at).collect();
    let floor = Floor::new(window.len(), order);
    for _ in 0..6 {
        let level = level(&floor, &scaled, &states);
        let next = most_likely(&level, deviation);
        let settled = next == states;
        states = next;
        if settled {
            break;
        }
    }
    (1..states.len())
        .filter(|&i| states[i] != states[i - 1])
        .map(|i| Step {
            at: i as f64 - 0.5,
            sign: if states[i] {
                expected.sign
            } else {
                -expected.sign
            },
        })
        .collect()
}

/// Undoes a high-pass of the given poles: x(i) = 2x(i-1) - ... with each pole's own decay.
fn take_back(window: &[f64], poles: &[Complex64], rate_hz: f64) -> Vec<f64> {
    let mut signal: Vec<Complex64> = window.iter().map(|&x| Complex64::new(x, 0.0)).collect();
    for pole in poles {
        let decay = (pole / rate_hz).exp();
        let mut sum = Complex64::new(0.0, 0.0);
        let mut last = signal.first().copied().unwrap_or_default();
        for value in &mut signal {
            let here = *value;
            sum += here - decay * last;
            last = here;
            *value = sum;
        }
    }
    signal.iter().map(|z| z.re).collect()
}

/// A signal, whose closed parts stand one unit higher, without what lies under it.
fn level(floor: &Floor, signal: &[f64], states: &[bool]) -> Vec<f64> {
    let both = signal.iter().zip(states);
    let lowered: Vec<f64> = both.map(|(x, &s)| x - f64::from(u8::from(s))).collect();
    let mut level = signal.to_vec();
    floor.take_out(&mut level, &lowered);
    level
}

/// Viterbi over two states; `level` is near 0 or 1. Only how much likelier one state is than the other counts, and never more
/// than a change of state costs, since the likelier one may be changed from.
fn most_likely(level: &[f64], deviation: f64) -> Vec<bool> {
    let share = 0.5 / (deviation * deviation);
    // How much more it costs to be closed than to be open, up to each sample.
    let mut closed = 0.0f64;
    let before: Vec<f64> = level
        .iter()
        .map(|x| {
            let before = closed;
            closed = closed.clamp(-CHANGE_COST, CHANGE_COST) + share * (1.0 - 2.0 * x);
            before
        })
        .collect();
    let mut state = closed < 0.0;
    let mut states = vec![false; level.len()];
    for (slot, before) in states.iter_mut().zip(before).rev() {
        *slot = state;
        // It has changed here where the other was likelier by more than that costs.
        state = if state {
            before <= CHANGE_COST
        } else {
            before < -CHANGE_COST
        };
    }
    states
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Response;
    use crate::shape::Shape;

    #[test]
    fn chatter_is_read_through_a_transformer() {
        for response in [(0.0, 0.0), (150.0, 0.7)] {
            let poles = if response.0 > 0.0 {
                crate::response::second_order_poles(response.0, response.1).to_vec()
            } else {
                Vec::new()
            };
            let shape = Shape::new(&Response::from_poles(&poles), 48_000.0);
            let truth = [150.3, 200.8, 230.2, 260.9, 300.1];
            let window: Vec<f64> = (0..600)
                .map(|i| {
                    let x = i as f64;
                    let steps = truth.iter().enumerate();
                    0.1 + steps
                        .map(|(k, t)| if k % 2 == 0 { 0.5 } else { -0.5 } * shape.at(x - t))
                        .sum::<f64>()
                })
                .collect();
            let found = changes(
                &window,
                Expectation {
                    poles: &poles,
                    rate_hz: 48_000.0,
                    amplitude: 0.5,
                    sign: 1.0,
                    at: 151.0,
                    noise: 0.001,
                },
            );
            assert_eq!(found.len(), truth.len(), "{response:?}: {found:?}");
            for (step, want) in found.iter().zip(truth) {
                assert!((step.at - want).abs() < 1.0, "{} for {want}", step.at);
            }
        }
    }
}
