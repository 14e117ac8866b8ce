//! The dial's own waveform, without noise: line and probe switched at the contacts' instants.

use nalgebra::DVector;

use crate::dial::Dialling;
use crate::kernel::{HALF_WIDTH, Kernel};
use crate::line::{self, Contacts, LevelChanges, WORN_STEPS};
use crate::network::Network;
use crate::probe;
use crate::propagator::Propagator;
use crate::scenario::{Dial, Scenario};
use crate::truth::BreakTruth;

/// All positions of the contacts; a position's index is its place here.
const POSITIONS: [Contacts; 4] = [
    Contacts {
        closed: true,
        off_normal: false,
        worn: 0,
    },
    Contacts {
        closed: false,
        off_normal: false,
        worn: 0,
    },
    Contacts {
        closed: true,
        off_normal: true,
        worn: 0,
    },
    Contacts {
        closed: false,
        off_normal: true,
        worn: 0,
    },
];

/// Position of the contacts before anybody touches the dial.
pub(crate) const RESTING: Contacts = POSITIONS[0];
/// The recording's course begins this early, in samples, so that the filter has all of it.
pub(crate) const SETTLED_FROM: f64 = -4.0 * HALF_WIDTH as f64;

/// From this instant on the contacts are in this position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Switching {
    pub(crate) instant_s: f64,
    pub(crate) contacts: Contacts,
}

/// Renders the dial's waveform for a settled step of 1, as `length` samples at the recorder's true rate.
pub(crate) fn rendered(scenario: &Scenario, dialling: &Dialling, length: usize) -> Vec<f64> {
    let rate = true_rate_hz(scenario);
    let positions = Positions::new(scenario, rate);
    let switchings = switchings(dialling);
    let mut trace = vec![0.0; length];
    // Everything has settled before the recording starts.
    let mut state = positions.settled();
    let mut from = SETTLED_FROM;
    let mut contacts = RESTING;
    for switching in &switchings {
        let to = switching.instant_s * rate;
        state = positions.stretch(&mut trace, contacts, from, to, &state);
        (from, contacts) = (to, switching.contacts);
    }
    let end = length as f64 + 4.0 * HALF_WIDTH as f64;
    positions.stretch(&mut trace, contacts, from, end.max(from), &state);
    trace
}

/// Samples that the recorder really takes in a second.
pub(crate) fn true_rate_hz(scenario: &Scenario) -> f64 {
    scenario.recorder.sample_rate_hz * (1.0 + scenario.recorder.clock_ppm * 1e-6)
}

/// Size of the settled step that an opening makes before coupling, with its sign: what decides polarity.
pub(crate) fn opening_sign(scenario: &Scenario) -> f64 {
    let level = |closed| {
        line::network(
            &scenario.line,
            LevelChanges::default(),
            Contacts {
                closed,
                off_normal: true,
                worn: 0,
            },
        )
        .settled_output()
    };
    let sign = (level(false) - level(true)).signum();
    if scenario.probe.inverted { -sign } else { sign }
}

pub(crate) struct Positions {
    networks: Vec<Network>,
    propagators: Vec<Propagator>,
}

impl Positions {
    pub(crate) fn new(scenario: &Scenario, rate: f64) -> Self {
        let kernel = Kernel::of(scenario.recorder.anti_alias);
        let changes = LevelChanges {
            off_normal: scenario.dial.off_normal.map_or(0.0, |o| o.level_change),
            sag: scenario.dial.make_level_sag,
        };
        let networks: Vec<_> = positions_taken(&scenario.dial)
            .into_iter()
            .map(|contacts| {
                probe::through(
                    &scenario.probe,
                    line::network(&scenario.line, changes, contacts),
                )
            })
            .collect();
        let propagators = networks
            .iter()
            .map(|n| Propagator::new(n, kernel, rate))
            .collect();
        Self {
            networks,
            propagators,
        }
    }

    /// The state of a closed line on which nothing changes any more.
    pub(crate) fn settled(&self) -> DVector<f64> {
        self.networks[position(RESTING)].equilibrium()
    }

    /// Adds one stretch between two switchings (in samples) and returns the state at its end.
    pub(crate) fn stretch(
        &self,
        trace: &mut [f64],
        contacts: Contacts,
        from: f64,
        to: f64,
        state: &DVector<f64>,
    ) -> DVector<f64> {
        let propagator = &self.propagators[position(contacts)];
        let end = propagator.advance(state, to - from);
        propagator.add_onset(trace, from, state, 1.0);
        propagator.add_course(trace, from, to, state);
        propagator.add_onset(trace, to, &end, -1.0);
        end
    }
}

fn position(contacts: Contacts) -> usize {
    usize::from(!contacts.closed)
        + 2 * usize::from(contacts.off_normal)
        + POSITIONS.len() * usize::from(contacts.worn)
}

/// Positions that a dial takes, each at its place: without off-normal contacts the two that need them are left out,
/// and only a contact that wears has positions beyond the four.
fn positions_taken(dial: &Dial) -> Vec<Contacts> {
    let worn = |worn: u8| POSITIONS.map(|contacts| Contacts { worn, ..contacts });
    if dial.make_level_sag > 0.0 {
        (0..=WORN_STEPS).flat_map(worn).collect()
    } else if dial.off_normal.is_some() {
        POSITIONS.to_vec()
    } else {
        POSITIONS[..2].to_vec()
    }
}

/// Movements of one contact: from this instant on it is in this position.
type Movement = (f64, bool);
/// Movements of the pulsing contact, with how far it is worn then.
type Pulsing = (f64, bool, u8);

/// A movement of either contact: of the pulsing one with its wear, or of the off-normal one.
type Either = (f64, Option<(bool, u8)>, Option<bool>);

/// Both contacts' movements merged in time order.
pub(crate) fn switchings(dialling: &Dialling) -> Vec<Switching> {
    let pulsing = pulsing_contact(dialling)
        .into_iter()
        .map(|(t, closed, worn)| (t, Some((closed, worn)), None));
    let off_normal = off_normal_contact(dialling)
        .into_iter()
        .map(|(t, off)| (t, None, Some(off)));
    let mut all: Vec<Either> = pulsing.chain(off_normal).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut contacts = RESTING;
    all.into_iter()
        .map(|(instant_s, pulsing, off_normal)| {
            (contacts.closed, contacts.worn) = pulsing.unwrap_or((contacts.closed, contacts.worn));
            contacts.off_normal = off_normal.unwrap_or(contacts.off_normal);
            Switching {
                instant_s,
                contacts,
            }
        })
        .collect()
}

fn pulsing_contact(dialling: &Dialling) -> Vec<Pulsing> {
    let mut movements: Vec<Pulsing> = dialling
        .other_openings_s
        .iter()
        .flat_map(|o| [(o[0], false, 0), (o[1], true, 0)])
        .collect();
    for digit in &dialling.digits {
        for (index, pulse) in digit.breaks.iter().enumerate() {
            let worn = worn(dialling, index, digit.breaks.len());
            movements.extend(
                movements_of(pulse)
                    .into_iter()
                    .map(|(t, closed)| (t, closed, worn)),
            );
        }
    }
    movements
}

/// How far the contact is worn from a break of a train on: not at the first, fully at the last.
fn worn(dialling: &Dialling, index: usize, pulses: usize) -> u8 {
    if !dialling.sags || pulses < 2 {
        return 0;
    }
    let share = index as f64 / (pulses - 1) as f64;
    (share * f64::from(WORN_STEPS)).round() as u8
}

fn movements_of(pulse: &BreakTruth) -> Vec<Movement> {
    let mut movements = vec![(pulse.break_start_s, false)];
    let closures = pulse.opening_bounce.iter().chain(&pulse.split);
    movements.extend(closures.flat_map(|c| [(c.start_s, true), (c.end_s, false)]));
    movements.push((pulse.make_start_s, true));
    let reopenings = pulse.chatter.iter().chain(&pulse.reopening);
    movements.extend(reopenings.flat_map(|c| [(c.start_s, false), (c.end_s, true)]));
    movements
}

fn off_normal_contact(dialling: &Dialling) -> Vec<Movement> {
    let times = |d: &crate::truth::DigitTruth| d.winding_start_s.zip(d.off_normal_restored_s);
    dialling
        .digits
        .iter()
        .filter_map(times)
        .flat_map(|(wound, restored)| [(wound, true), (restored, false)])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dial::dialled;
    use crate::scenario::{Coupling, Line, Loop, Probe, Quench, Recorder, Ringer, Tap};
    use approx::assert_abs_diff_eq;

    /// Value of the band-limited trace between its samples, by Whittaker's series under a wide window.
    fn between(trace: &[f64], at: f64) -> f64 {
        let reach = 400;
        let centre = at.floor() as i64;
        (centre - reach..=centre + reach)
            .map(|n| {
                let x = at - n as f64;
                let px = std::f64::consts::PI * x;
                let sinc = if px.abs() < 1e-12 { 1.0 } else { px.sin() / px };
                let window = (std::f64::consts::FRAC_PI_2 * x / (reach + 1) as f64)
                    .cos()
                    .powi(2);
                trace[n as usize] * sinc * window
            })
            .sum()
    }

    /// Instant, in samples, at which the trace crosses `level` near `near`.
    fn crossing(trace: &[f64], near: f64, level: f64) -> f64 {
        let (mut a, mut b) = (near - 0.6, near + 0.6);
        let sign = (between(trace, b) - level).signum();
        for _ in 0..50 {
            let middle = 0.5 * (a + b);
            if (between(trace, middle) - level) * sign < 0.0 {
                a = middle
            } else {
                b = middle
            }
        }
        0.5 * (a + b)
    }

    #[test]
    fn direct_steps_cross_half_way_at_the_contacts_instants() {
        for (rate, start) in [
            (48_000.0, 1.000_003_217),
            (8_000.0, 1.000_051),
            (192_000.0, 1.000_000_9),
        ] {
            let scenario = Scenario {
                lead_in_s: start,
                recorder: Recorder {
                    sample_rate_hz: rate,
                    ..Recorder::default()
                },
                ..Scenario::default()
            };
            let dialling = dialled(&scenario);
            let trace = rendered(&scenario, &dialling, (3.0 * rate) as usize);
            for pulse in &dialling.digits[0].breaks {
                for instant in [pulse.break_start_s, pulse.make_start_s] {
                    let found = crossing(&trace, instant * rate, 0.5) / rate;
                    // A hundredth of the 0.1 microsecond asked for.
                    assert_abs_diff_eq!(found, instant, epsilon = 1e-9);
                }
            }
        }
    }

    #[test]
    fn what_a_coupling_capacitor_leaves_equals_the_sum_of_decaying_steps() {
        let corner_hz = 7.0;
        let probe = Probe {
            coupling: Coupling::Capacitor { corner_hz },
            inverted: true,
        };
        let scenario = Scenario {
            probe,
            ..Scenario::default()
        };
        let dialling = dialled(&scenario);
        let trace = rendered(&scenario, &dialling, 48_000 * 3);
        let hand = |t: f64| -> f64 {
            let left = |from: f64| {
                if t > from {
                    (-std::f64::consts::TAU * corner_hz * (t - from)).exp()
                } else {
                    0.0
                }
            };
            dialling.digits[0]
                .breaks
                .iter()
                .map(|b| left(b.break_start_s) - left(b.make_start_s))
                .sum()
        };
        // Instants half-way through breaks and makes, where the anti-alias filter has settled; it passes a
        // decay of 7 Hz unchanged to 2e-7.
        for t in [1.031, 1.081, 1.531, 1.931, 2.5] {
            let n = (t * 48_000.0f64).round();
            assert_abs_diff_eq!(trace[n as usize], hand(n / 48_000.0), epsilon = 1e-6);
        }
    }

    #[test]
    fn a_closed_line_before_dialling_is_settled() {
        let trace = rendered(&Scenario::default(), &dialled(&Scenario::default()), 48_000);
        for n in [0, 100, 40_000] {
            assert_abs_diff_eq!(trace[n], 1.0, epsilon = 1e-9);
        }
    }

    /// A loop by Kirchhoff's laws written out one by one and stepped forward by Heun's rule.
    struct HandLoop {
        relay_a: f64,
        line_v: f64,
        quench_v: f64,
        ringer_a: f64,
        ringer_v: f64,
    }

    const HAND: Loop = Loop {
        supply_v: 48.0,
        feed_ohm: 400.0,
        feed_henry: 1.2,
        core_loss_ohm: Some(15_000.0),
        line_ohm: 350.0,
        line_farad: 50e-9,
        set_ohm: 180.0,
        quench: Some(Quench {
            ohm: 100.0,
            farad: 0.5e-6,
        }),
        ringer: Some(Ringer {
            ohm: 2_000.0,
            henry: 15.0,
            farad: 0.8e-6,
        }),
        tap: Tap::Series,
    };

    impl HandLoop {
        /// Rates of change and the current into the set and ringer.
        fn rates(&self, contact_ohm: f64) -> ([f64; 5], f64) {
            // Contact's node: what comes through the set leaves through contact and quench.
            let node_v = (self.line_v / 180.0 + self.quench_v / 100.0)
                / (1.0 / 180.0 + 1.0 / 100.0 + 1.0 / contact_ohm);
            let set_a = (self.line_v - node_v) / 180.0;
            // Relay voltage v: 48 = v + 750 (i + v / 15000) + line.
            let relay_v = (48.0 - self.line_v - 750.0 * self.relay_a) / (1.0 + 750.0 / 15_000.0);
            let line_a = self.relay_a + relay_v / 15_000.0;
            let rates = [
                relay_v / 1.2,
                (line_a - set_a - self.ringer_a) / 50e-9,
                (node_v - self.quench_v) / 100.0 / 0.5e-6,
                (self.line_v - self.ringer_v - 2_000.0 * self.ringer_a) / 15.0,
                self.ringer_a / 0.8e-6,
            ];
            (rates, set_a + self.ringer_a)
        }

        fn moved(&self, rates: &[f64; 5], dt: f64) -> Self {
            Self {
                relay_a: self.relay_a + rates[0] * dt,
                line_v: self.line_v + rates[1] * dt,
                quench_v: self.quench_v + rates[2] * dt,
                ringer_a: self.ringer_a + rates[3] * dt,
                ringer_v: self.ringer_v + rates[4] * dt,
            }
        }
    }

    #[test]
    fn a_solved_loop_equals_one_stepped_by_hand_and_filtered_by_brute_force() {
        let rate = 48_000.0;
        let dt = 50e-9;
        let scenario = Scenario {
            line: Line::Loop(HAND),
            numbers: vec![2],
            dial: crate::scenario::Dial {
                speed_pps: 20.0,
                ..Default::default()
            },
            lead_in_s: 0.005,
            ..Scenario::default()
        };
        let dialling = dialled(&scenario);
        let trace = rendered(&scenario, &dialling, 5_000);
        let breaks: Vec<[f64; 2]> = dialling.digits[0]
            .breaks
            .iter()
            .map(|b| [b.break_start_s, b.make_start_s])
            .collect();
        let is_open = |t: f64| breaks.iter().any(|b| t >= b[0] && t < b[1]);
        let rest_a = 48.0 / (400.0 + 350.0 + 180.0 + 0.1);
        let mut hand = HandLoop {
            relay_a: rest_a,
            line_v: rest_a * 180.1,
            quench_v: rest_a * 0.1,
            ringer_a: 0.0,
            ringer_v: rest_a * 180.1,
        };
        let mut current = Vec::new();
        for n in 0..2_000_000 {
            let contact_ohm = if is_open((n as f64 + 0.5) * dt) {
                10e6
            } else {
                0.1
            };
            let (before, a) = hand.rates(contact_ohm);
            let (after, b) = hand.moved(&before, dt).rates(contact_ohm);
            let mean: [f64; 5] = std::array::from_fn(|k| 0.5 * (before[k] + after[k]));
            hand = hand.moved(&mean, dt);
            current.push(0.5 * (a + b));
        }
        let kernel = Kernel::of(scenario.recorder.anti_alias);
        let filtered = |n: usize| -> f64 {
            let t = n as f64;
            let from = ((t - 33.0) / rate / dt) as usize;
            let to = ((t + 33.0) / rate / dt) as usize;
            let weight = |j: usize| {
                kernel.unit_step(t - j as f64 * dt * rate)
                    - kernel.unit_step(t - (j + 1) as f64 * dt * rate)
            };
            (from..to).map(|j| current[j] * weight(j)).sum()
        };
        let step = rest_a - 48.0 / (400.0 + 350.0 + 180.0 + 10e6);
        // Around both openings and both closings, and far from them. All instants lie on steps of the hand
        // computation. Heun's rule is good to (dt / 9 us)^2 / 6 = 5e-6 of the spike that the line's 50 nF send
        // through 180 ohm, and the spike is of the size of the step; it has gone after a millisecond.
        for (start, end) in breaks.iter().map(|b| (b[0], b[1])) {
            for offset in [-20, -3, -1, 0, 1, 2, 5, 30, 100, 400] {
                for instant in [start, end] {
                    let n = (instant * rate) as i64 + offset;
                    let got = trace[n as usize];
                    assert_abs_diff_eq!(got, filtered(n as usize) / step, epsilon = 1e-5);
                    if offset.abs() >= 100 {
                        assert_abs_diff_eq!(got, filtered(n as usize) / step, epsilon = 1e-8);
                    }
                }
            }
        }
    }
}
