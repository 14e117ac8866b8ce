//! What the user says before anything is scored.

use crate::apart::OPENING_DELAY_MS;
use crate::limits::LimitSet;
use crate::plan::Plan;
use crate::receivers::Receiver;

/// Where the probe sat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tap {
    /// Across or through the bare pulse contacts.
    Contacts,
    /// Across a resistor in series with the loop.
    Series,
    /// Across the line.
    Line,
    /// Behind an adapter or a pulsing relay.
    Adapter,
}

/// Whether the spark-quench capacitor was in circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quench {
    /// In circuit.
    In,
    /// Disconnected.
    Out,
}

/// Where the dial turns without pulsing, so that digits lie apart however fast a hand dials.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum IdleRun {
    /// Before the first pulse.
    Start,
    /// After the last pulse: the lost motion.
    End,
}

/// How to score a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The set to judge by; `None` measures only. No set is ever applied unless chosen.
    pub limits: Option<LimitSet>,
    /// What was dialled, to check the count; spaces, hyphens, dots and brackets are passed over.
    pub dialled: Option<String>,
    /// How pulses become digits.
    pub plan: Plan,
    /// Judge interdigital pauses too (automatic senders; a hand makes most of a pause).
    pub judge_pauses: bool,
    /// Tolerance of the recorder's clock, in parts per million.
    pub clock_ppm: f64,
    /// What capacitance of line and leads may delay openings by, in milliseconds: [`crate::apart`].
    pub opening_delay_ms: f64,
    /// Where the probe sat, if known.
    pub tap: Option<Tap>,
    /// Whether the quench capacitor was in circuit, if known.
    pub quench: Option<Quench>,
    /// Where the dial idles, if the user knows.
    pub idle_run: Option<IdleRun>,
    /// Receivers of which the user asks whether they understand the dial.
    pub receivers: Vec<Receiver>,
}

impl Default for Settings {
    /// Measures only: no limits, standard plan, 100 ppm clock.
    fn default() -> Self {
        Settings {
            limits: None,
            dialled: None,
            plan: Plan::Standard,
            judge_pauses: false,
            clock_ppm: 100.0,
            opening_delay_ms: OPENING_DELAY_MS,
            tap: None,
            quench: None,
            idle_run: None,
            receivers: Vec::new(),
        }
    }
}
