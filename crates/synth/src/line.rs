//! The line as a network for each position of the contacts.

use nalgebra::RowDVector;

use crate::network::Network;
use crate::scenario::{Line, Loop, Tap};

/// Positions of the dial's contacts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Contacts {
    /// The pulsing contact is closed.
    pub(crate) closed: bool,
    /// The finger wheel is away from rest.
    pub(crate) off_normal: bool,
    /// How far the make level has sagged, from 0 to [`WORN_STEPS`].
    pub(crate) worn: u8,
}

/// Steps in which the make level sags through a train.
pub(crate) const WORN_STEPS: u8 = 12;

/// What a dial's other faults do to the make level, as fractions of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct LevelChanges {
    /// What the off-normal contacts add to the closed level.
    pub(crate) off_normal: f64,
    /// What the contact's resistance takes from the make level at the last make.
    pub(crate) sag: f64,
}

impl LevelChanges {
    /// Part of the make level that is left in a position of the contacts.
    fn left(self, contacts: Contacts) -> f64 {
        1.0 - self.sag * f64::from(contacts.worn) / f64::from(WORN_STEPS)
    }
}

/// Resistance of the closed pulsing contact, in ohms.
const CLOSED_OHM: f64 = 0.1;
/// Leakage of the open pulsing contact, in ohms.
const OPEN_OHM: f64 = 10e6;
/// No set is without some capacitance across it, in farads.
const STRAY_FARAD: f64 = 200e-12;
/// Least resistance of a set whose speech network is shorted, in ohms.
const SHORTED_SET_OHM: f64 = 5.0;

/// The line's network for one position of the contacts, scaled so that the dial's step between settled
/// levels is 1.
pub(crate) fn network(line: &Line, changes: LevelChanges, contacts: Contacts) -> Network {
    match line {
        Line::Ideal => Network::constant(ideal_level(changes, contacts)),
        Line::Loop(circuit) => {
            let settled = |closed| {
                circuit_network(
                    circuit,
                    changes,
                    Contacts {
                        closed,
                        off_normal: true,
                        worn: 0,
                    },
                )
            };
            let step = settled(true).settled_output() - settled(false).settled_output();
            circuit_network(circuit, changes, contacts).scaled(1.0 / step.abs())
        }
    }
}

/// The dial pulses with the finger wheel away from rest, so that level is 1.
fn ideal_level(changes: LevelChanges, contacts: Contacts) -> f64 {
    match (contacts.closed, contacts.off_normal) {
        (false, _) => 0.0,
        (true, true) => changes.left(contacts),
        (true, false) => changes.left(contacts) / (1.0 + changes.off_normal),
    }
}

/// Places of the states of a loop's network; `None`: the part is not there.
struct States {
    feed: Option<usize>,
    line: usize,
    quench: Option<usize>,
    ringer: Option<(usize, usize)>,
    order: usize,
}

impl States {
    fn of(circuit: &Loop) -> Self {
        let mut order = 1;
        let mut take = |wanted: bool| {
            wanted.then(|| {
                order += 1;
                order - 1
            })
        };
        let feed = take(circuit.feed_henry > 0.0);
        let line = take(true).unwrap_or_default();
        let quench = take(circuit.quench.is_some_and(|q| q.farad > 0.0));
        let ringer = take(circuit.ringer.is_some()).zip(take(circuit.ringer.is_some()));
        Self {
            feed,
            line,
            quench,
            ringer,
            order,
        }
    }
}

/// The loop by Kirchhoff's laws. States: current of the relays, voltage of the line, of the quench
/// capacitor, current of the ringer, voltage of its capacitor.
fn circuit_network(circuit: &Loop, changes: LevelChanges, contacts: Contacts) -> Network {
    let states = States::of(circuit);
    let mut network = Network::constant(0.0).with_states(states.order - 1);
    let supply = supply_current(circuit, &states, &mut network);
    let set = set_current(circuit, &states, &mut network, changes, contacts);
    let ringer = ringer_current(circuit, &states, &mut network);
    let into_line = supply - &set - &ringer;
    network
        .rates
        .row_mut(states.line)
        .copy_from(&(into_line / circuit.line_farad.max(STRAY_FARAD)));
    network.output = match circuit.tap {
        Tap::Series => set + ringer,
        Tap::Line => unit(&states, states.line),
    };
    network
}

fn unit(states: &States, place: usize) -> RowDVector<f64> {
    let mut row = RowDVector::zeros(states.order);
    row[place] = 1.0;
    row
}

/// Current from the battery into the line as a row over the states; fills in the relays' equation.
fn supply_current(circuit: &Loop, states: &States, network: &mut Network) -> RowDVector<f64> {
    let series = circuit.feed_ohm + circuit.line_ohm;
    let driving = unit(states, 0) * circuit.supply_v - unit(states, states.line);
    let Some(feed) = states.feed else {
        return driving / series;
    };
    // Inductance with its loss in parallel: v = (driving - series i) p / (p + series).
    let share = circuit.core_loss_ohm.map_or(1.0, |p| p / (p + series));
    let across = (driving - unit(states, feed) * series) * share;
    network
        .rates
        .row_mut(feed)
        .copy_from(&(&across / circuit.feed_henry));
    let loss = circuit.core_loss_ohm.map_or(0.0, |p| 1.0 / p);
    unit(states, feed) + across * loss
}

/// Current through the set's contact branch; fills in the quench's equation.
fn set_current(
    circuit: &Loop,
    states: &States,
    network: &mut Network,
    changes: LevelChanges,
    contacts: Contacts,
) -> RowDVector<f64> {
    let set_ohm = set_ohm(circuit, changes.off_normal, contacts.off_normal);
    let total_ohm = circuit.feed_ohm + circuit.line_ohm + set_ohm;
    let contact_ohm = if contacts.closed {
        // What takes the direct current down to the part that is left.
        CLOSED_OHM + total_ohm * (1.0 / changes.left(contacts) - 1.0)
    } else {
        OPEN_OHM
    };
    let mut conductance = 1.0 / set_ohm + 1.0 / contact_ohm;
    let mut injected = unit(states, states.line) / set_ohm;
    let quench = states.quench.zip(circuit.quench);
    if let Some((place, quench)) = quench {
        conductance += 1.0 / quench.ohm;
        injected += unit(states, place) / quench.ohm;
    }
    let contact_v = injected / conductance;
    if let Some((place, quench)) = quench {
        let charging = (&contact_v - unit(states, place)) / (quench.ohm * quench.farad);
        network.rates.row_mut(place).copy_from(&charging);
    }
    (unit(states, states.line) - contact_v) / set_ohm
}

/// Resistance of the set: shorting the speech network takes off what raises the loop current by
/// `level_change`.
fn set_ohm(circuit: &Loop, level_change: f64, off_normal: bool) -> f64 {
    if !off_normal {
        return circuit.set_ohm;
    }
    let total = circuit.feed_ohm + circuit.line_ohm + circuit.set_ohm;
    (circuit.set_ohm - total * level_change / (1.0 + level_change)).max(SHORTED_SET_OHM)
}

/// Current through the ringer; fills in its equations.
fn ringer_current(circuit: &Loop, states: &States, network: &mut Network) -> RowDVector<f64> {
    let Some(((current, voltage), ringer)) = states.ringer.zip(circuit.ringer) else {
        return RowDVector::zeros(states.order);
    };
    let across =
        unit(states, states.line) - unit(states, voltage) - unit(states, current) * ringer.ohm;
    network
        .rates
        .row_mut(current)
        .copy_from(&(across / ringer.henry));
    network.rates[(voltage, current)] = 1.0 / ringer.farad;
    unit(states, current)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{Quench, Ringer};
    use approx::assert_relative_eq;

    const CLOSED: Contacts = Contacts {
        closed: true,
        off_normal: false,
        worn: 0,
    };

    fn full_loop() -> Loop {
        Loop {
            quench: Some(Quench {
                ohm: 100.0,
                farad: 1e-6,
            }),
            ringer: Some(Ringer {
                ohm: 1500.0,
                henry: 20.0,
                farad: 1e-6,
            }),
            ..Loop::default()
        }
    }

    #[test]
    fn settled_current_follows_ohms_law() {
        let circuit = full_loop();
        let total = circuit.feed_ohm + circuit.line_ohm + circuit.set_ohm + CLOSED_OHM;
        let got = circuit_network(&circuit, LevelChanges::default(), CLOSED).settled_output();
        assert_relative_eq!(got, circuit.supply_v / total, max_relative = 1e-9);
    }

    #[test]
    fn current_rises_with_the_time_constant_l_over_r() {
        // No loss, no capacitance to speak of: i(t) = I (1 - exp(-t R / L)).
        let circuit = Loop {
            core_loss_ohm: None,
            line_farad: 0.0,
            ..Loop::default()
        };
        let total = circuit.feed_ohm + circuit.line_ohm + circuit.set_ohm + CLOSED_OHM;
        let network = circuit_network(&circuit, LevelChanges::default(), CLOSED);
        let mut state = nalgebra::DVector::zeros(network.order());
        state[0] = 1.0;
        let t = 0.001;
        let got = (&network.output * ((&network.rates * t).exp() * state))[0];
        let hand = circuit.supply_v / total * (1.0 - (-t * total / circuit.feed_henry).exp());
        // The stray capacitance delays by R C = 30 ns of 1 ms.
        assert_relative_eq!(got, hand, max_relative = 1e-4);
    }

    #[test]
    fn off_normal_contacts_raise_the_closed_level_as_asked() {
        let circuit = Loop {
            set_ohm: 250.0,
            ..full_loop()
        };
        let at = |off_normal| {
            circuit_network(
                &circuit,
                LevelChanges {
                    off_normal: 0.15,
                    sag: 0.0,
                },
                Contacts {
                    closed: true,
                    off_normal,
                    worn: 0,
                },
            )
            .settled_output()
        };
        // The contact's 0.1 ohm is outside the formula: 0.1 in 850.
        assert_relative_eq!(at(true) / at(false), 1.15, max_relative = 2e-4);
    }

    #[test]
    fn the_voltage_tap_moves_up_by_one_at_an_opening() {
        let line = Line::Loop(Loop {
            tap: Tap::Line,
            ..full_loop()
        });
        let at = |closed| {
            network(
                &line,
                LevelChanges::default(),
                Contacts {
                    closed,
                    off_normal: true,
                    worn: 0,
                },
            )
            .settled_output()
        };
        assert_relative_eq!(at(false) - at(true), 1.0, max_relative = 1e-9);
    }
}
