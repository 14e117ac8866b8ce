//! What the detector hands on. Everything downstream stands on these types, so they grow but never
//! change meaning.

/// Which way a contact moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Loop closed to loop open: a break begins.
    Opening,
    /// Loop open to loop closed: a make begins.
    Closing,
}

/// Which way the recorded signal moves when the loop opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Polarity {
    /// An opening moves the signal down.
    Normal,
    /// An opening moves the signal up.
    Inverted,
}

impl Polarity {
    /// That of openings which move the signal with this sign.
    pub(crate) fn of(sign: f64) -> Self {
        if sign < 0.0 {
            Polarity::Normal
        } else {
            Polarity::Inverted
        }
    }

    /// Sign with which an opening moves the signal.
    pub(crate) fn sign(self) -> f64 {
        match self {
            Polarity::Normal => -1.0,
            Polarity::Inverted => 1.0,
        }
    }
}

/// One transition of the loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Opening or closing.
    pub direction: Direction,
    /// Instant at which the contact itself moved, in seconds from the first sample: the onset of the
    /// transition. On a sharp step this is also the half-step instant.
    pub instant_s: f64,
    /// Instant at which half of the step has passed, in seconds: what a relay would see. Equal to
    /// `instant_s` on sharp steps.
    pub half_step_s: f64,
    /// Variance of `instant_s` from the noise in this edge alone, in s². Errors shared by all edges of
    /// a kind are in [`Train::opening_common_s2`] and [`Train::closing_common_s2`].
    pub variance_s2: f64,
    /// Level just before the transition, in full-scale units of the recording.
    pub level_before: f64,
    /// Level just after the transition (after chatter), in full-scale units of the recording.
    pub level_after: f64,
    /// Residual of the edge fit, root mean square, as a fraction of the step.
    pub residual: f64,
    /// Matched-filter signal-to-noise ratio of the edge (amplitude over its own standard error).
    pub snr: f64,
}

/// A short return to the other state near an edge: contact chatter after a closure, or a reclosure
/// just after an opening.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reversal {
    /// Index into [`Train::edges`] of the edge it belongs to.
    pub edge: usize,
    /// Start, in seconds: the loop leaves the state that the edge brought.
    pub start_s: f64,
    /// End, in seconds: the loop returns to that state.
    pub end_s: f64,
}

/// A small lasting step of the closed level: the off-normal contacts shorting or restoring the speech
/// network. Never a pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelStep {
    /// Instant, in seconds.
    pub instant_s: f64,
    /// Size relative to the dial step, with the sign of a closing (positive: towards more current).
    pub relative: f64,
    /// Matched-filter signal-to-noise ratio of the step.
    pub snr: f64,
}

/// Why a train's pulse count is not beyond doubt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// The recording starts inside the train.
    StartsInside,
    /// The recording ends inside the train, or too soon after it to know that it ended.
    EndsInside,
    /// Samples are missing in the train or within two periods of it; the instant of the gap, in seconds.
    Gap(f64),
    /// An edge is too weak for the noise; its instant in seconds.
    WeakEdge(f64),
    /// A transition that the train does not explain lies in it or within two periods; its instant in
    /// seconds.
    UnexplainedEdge(f64),
    /// The recorder cut off the open and the closed line alike, so that a pulse may be lost there; where, in seconds.
    CutOff(f64),
    /// Another pulse count explains the recording nearly as well; the count.
    OtherCount(usize),
    /// The pulses are too uneven to be one train of a dial (tapping, flashing).
    Irregular,
    /// The kind of edge (sharp or slow) could not be told.
    EdgeKind,
    /// A single opening that may be a hook flash.
    MayBeFlash,
}

/// Minima and maxima of the raw trace in equal columns: enough to draw it at any width.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Envelope {
    /// Time of the left edge of the first column, in seconds.
    pub start_s: f64,
    /// Width of a column, in seconds.
    pub spacing_s: f64,
    /// Smallest sample of each column, in full-scale units.
    pub low: Vec<f32>,
    /// Largest sample of each column, in full-scale units.
    pub high: Vec<f32>,
}

/// A stretch of the trace itself, at a bounded rate.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Snippet {
    /// Time of the first sample, in seconds.
    pub start_s: f64,
    /// Sample rate of the snippet, in hertz.
    pub rate_hz: f64,
    /// Samples, in full-scale units.
    pub samples: Vec<f32>,
}

/// One run of pulses without a long make in it: usually one dialled digit.
#[derive(Clone, Debug, PartialEq)]
pub struct Train {
    /// Transitions in time order, strictly alternating; the first is an opening, the last a closing.
    pub edges: Vec<Edge>,
    /// Chatter and opening bounce, in time order.
    pub reversals: Vec<Reversal>,
    /// Small steps of the closed level around the train, in time order.
    pub level_steps: Vec<LevelStep>,
    /// Variance shared by the instants of all openings of this train, in s².
    pub opening_common_s2: f64,
    /// Variance shared by the instants of all closings of this train, in s².
    pub closing_common_s2: f64,
    /// Which way the trace moves at an opening.
    pub polarity: Polarity,
    /// Size of the dial step at the edge, in full-scale units of the recording.
    pub step: f64,
    /// Root mean square of what remains around the train when edges, hum and drift are taken away, in
    /// full-scale units.
    pub noise_rms: f64,
    /// Corner of the first-order high-pass that fits the edges best, in hertz; `None` when the trace is
    /// direct (no corner can be told).
    pub coupling_hz: Option<f64>,
    /// True when only spikes remain of the steps (isolating transformer or worse).
    pub spikes_only: bool,
    /// Mains hum found around the train.
    pub hum: Option<Hum>,
    /// Shortest reversal that can be told from noise in this train, in seconds.
    pub chatter_floor_s: f64,
    /// Probability, by the fitted model, that another pulse count is the right one.
    pub count_risk: f64,
    /// Reasons to doubt the pulse count; empty when it is beyond doubt.
    pub doubts: Vec<Doubt>,
    /// The trace from a little before the first opening to a little after the last closing.
    pub envelope: Envelope,
    /// The same stretch as samples, at a bounded rate.
    pub snippet: Snippet,
}

impl Train {
    /// Instant of a step in it or near it that none of its edges explains, in seconds.
    pub(crate) fn unexplained_s(&self) -> Option<f64> {
        self.doubts.iter().find_map(|doubt| match doubt {
            Doubt::UnexplainedEdge(at_s) => Some(*at_s),
            _ => None,
        })
    }

    /// Whether there is one.
    pub(crate) fn has_unexplained(&self) -> bool {
        self.unexplained_s().is_some()
    }
}

/// Mains hum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hum {
    /// Fundamental, in hertz.
    pub frequency_hz: f64,
    /// Root sum of squares of the amplitudes of fundamental and harmonics, relative to the dial step.
    pub relative_amplitude: f64,
}

/// Everything the detector found in one channel of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Sample rate, in hertz.
    pub sample_rate_hz: f64,
    /// Samples seen.
    pub samples: u64,
    /// Trains of pulses in time order.
    pub trains: Vec<Train>,
    /// Samples in flat tops (runs at the extreme of the trace around the trains).
    pub clipped: u64,
    /// Root mean square of the whole channel about its mean, in full-scale units. What moves within half a millisecond is
    /// taken from one in 64.
    pub rms: f64,
    /// Largest magnitude of a sample, in full-scale units.
    pub peak: f64,
    /// Clicks were found at dial-like spacing but no steps of a line: a microphone beside the dial.
    pub heard_not_wired: bool,
    /// The whole channel as an envelope of bounded size.
    pub overview: Envelope,
}
