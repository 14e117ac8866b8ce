//! How the noise-free trace moves when one contact moves: the derivatives on which every bound for an
//! instant stands.

use nalgebra::DVector;

use crate::dial::Dialling;
use crate::kernel::HALF_WIDTH;
use crate::line::Contacts;
use crate::scenario::Scenario;
use crate::waveform::{Positions, RESTING, SETTLED_FROM, Switching, switchings, true_rate_hz};

/// Displacement for the central difference, in samples. The filter leaves nothing above half the sample
/// rate, so the third derivative is at most pi² times the first and the difference is right to
/// (pi x 0.01)² / 6 = 1.6e-4; the tables behind it are good to 1e-9.
const DISPLACEMENT: f64 = 0.01;

/// A stretch of the trace, in samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Window {
    pub(crate) first: i64,
    pub(crate) length: usize,
}

/// The noise-free course of one recording, ready to be evaluated piece by piece.
pub(crate) struct Course {
    positions: Positions,
    switchings: Vec<Switching>,
    /// State at the start of each stretch; stretch `k` ends with switching `k`.
    states: Vec<DVector<f64>>,
    rate_hz: f64,
}

impl Course {
    pub(crate) fn new(scenario: &Scenario, dialling: &Dialling) -> Self {
        let rate_hz = true_rate_hz(scenario);
        let mut course = Self {
            positions: Positions::new(scenario, rate_hz),
            switchings: switchings(dialling),
            states: Vec::new(),
            rate_hz,
        };
        course.states.push(course.positions.settled());
        for k in 0..course.switchings.len() {
            let (from, to) = (course.start(k), course.start(k + 1));
            let next = course.stretch(&mut [], k, [from, to], &course.states[k]);
            course.states.push(next);
        }
        course
    }

    pub(crate) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Number of the switching at this instant.
    pub(crate) fn switching_at(&self, instant_s: f64) -> Option<usize> {
        self.switchings
            .iter()
            .position(|s| s.instant_s == instant_s)
    }

    /// Numbers of the switchings within a window.
    pub(crate) fn switchings_in(&self, window: Window) -> Vec<usize> {
        let inside = |k: &usize| {
            let at = self.start(k + 1) - window.first as f64;
            at >= 0.0 && at < window.length as f64
        };
        (0..self.switchings.len()).filter(inside).collect()
    }

    /// The trace in a window.
    pub(crate) fn trace(&self, window: Window) -> Vec<f64> {
        self.displaced(window, usize::MAX, 0.0)
    }

    /// The trace in a window had the contacts stayed as they were before switching `k`.
    pub(crate) fn without_from(&self, window: Window, k: usize) -> Vec<f64> {
        let mut trace = self.displaced_until(window, usize::MAX, 0.0, k);
        let end = self.window_end(window);
        let first = window.first as f64;
        let span = [self.start(k) - first, end.max(self.start(k)) - first];
        self.stretch(&mut trace, k, span, &self.states[k]);
        trace
    }

    /// Derivative of the trace in a window by the instant of switching `k`, in units a sample.
    pub(crate) fn slope(&self, window: Window, k: usize) -> Vec<f64> {
        let later = self.displaced(window, k, DISPLACEMENT);
        let earlier = self.displaced(window, k, -DISPLACEMENT);
        later
            .iter()
            .zip(&earlier)
            .map(|(l, e)| (l - e) / (2.0 * DISPLACEMENT))
            .collect()
    }

    /// Start of stretch `k`, in samples.
    fn start(&self, k: usize) -> f64 {
        k.checked_sub(1).map_or(SETTLED_FROM, |k| {
            self.switchings[k].instant_s * self.rate_hz
        })
    }

    fn contacts(&self, k: usize) -> Contacts {
        k.checked_sub(1)
            .map_or(RESTING, |k| self.switchings[k].contacts)
    }

    fn window_end(&self, window: Window) -> f64 {
        (window.first + window.length as i64 + 4 * HALF_WIDTH) as f64
    }

    fn displaced(&self, window: Window, moved: usize, by: f64) -> Vec<f64> {
        self.displaced_until(window, moved, by, self.switchings.len() + 1)
    }

    /// The window with switching `moved` displaced, from stretches before number `end` alone.
    fn displaced_until(&self, window: Window, moved: usize, by: f64, end: usize) -> Vec<f64> {
        let mut trace = vec![0.0; window.length];
        let last_sample = self.window_end(window);
        let width = HALF_WIDTH as f64;
        // What ended before the window's filter began cannot be seen in it, but a displaced switching
        // changes all that follows.
        let begin = (0..self.switchings.len())
            .take_while(|&k| k < moved && self.start(k + 1) + width < window.first as f64)
            .count();
        let first = window.first as f64;
        let mut state = self.states[begin].clone();
        for k in begin..end.min(self.states.len()) {
            let shift = |edge: usize| if edge == moved { by } else { 0.0 };
            let from = self.start(k) + k.checked_sub(1).map_or(0.0, shift);
            let to = if k < self.switchings.len() {
                self.start(k + 1) + shift(k)
            } else {
                last_sample.max(from)
            };
            state = self.stretch(&mut trace, k, [from - first, to - first], &state);
            if to > last_sample {
                break;
            }
        }
        trace
    }

    fn stretch(
        &self,
        trace: &mut [f64],
        k: usize,
        [from, to]: [f64; 2],
        state: &DVector<f64>,
    ) -> DVector<f64> {
        self.positions
            .stretch(trace, self.contacts(k), from, to, state)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dial::dialled;
    use crate::scenario::{Chatter, Coupling, Dial, Line, Loop, Probe};
    use crate::waveform::rendered;
    use approx::assert_abs_diff_eq;

    fn chattering_loop() -> Scenario {
        Scenario {
            line: Line::Loop(Loop::default()),
            probe: Probe {
                coupling: Coupling::Capacitor { corner_hz: 5.0 },
                inverted: true,
            },
            dial: Dial {
                chatter: Some(Chatter {
                    total_s: 0.003,
                    reopenings: 2,
                }),
                ..Dial::default()
            },
            ..Scenario::default()
        }
    }

    #[test]
    fn a_window_is_that_part_of_the_whole_trace() {
        let scenario = chattering_loop();
        let dialling = dialled(&scenario);
        let whole = rendered(&scenario, &dialling, 100_000);
        let course = Course::new(&scenario, &dialling);
        for first in [0, 47_000, 50_900, 70_001] {
            let window = Window {
                first,
                length: 3_000,
            };
            for (part, full) in course.trace(window).iter().zip(&whole[first as usize..]) {
                assert_abs_diff_eq!(part, full, epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn a_slope_foretells_what_a_moved_contact_does() {
        let scenario = chattering_loop();
        let mut dialling = dialled(&scenario);
        let course = Course::new(&scenario, &dialling);
        let make_s = dialling.digits[0].breaks[3].make_start_s;
        let window = Window {
            first: (make_s * 48_000.0) as i64 - 500,
            length: 1_500,
        };
        let slope = course.slope(window, course.switching_at(make_s).unwrap());
        let moved_by = 0.02;
        dialling.digits[0].breaks[3].make_start_s += moved_by / 48_000.0;
        let moved = Course::new(&scenario, &dialling).trace(window);
        let steepest = slope.iter().fold(0.0, |s: f64, x| s.max(x.abs()));
        assert!(steepest > 0.1);
        for ((after, before), slope) in moved.iter().zip(course.trace(window)).zip(&slope) {
            // Second derivative at most pi times the first: pi x 0.02 / 2 = 3 % of the largest change.
            assert_abs_diff_eq!(
                after - before,
                slope * moved_by,
                epsilon = 0.035 * steepest * moved_by
            );
        }
    }
}
