//! Models of dial, loop, probe and recorder, with known truth. Knows nothing of the detector.
//!
//! A [`Scenario`] says everything about one recording; [`render`] turns it into samples together with
//! the [`Truth`]. The line is a linear network that is switched at the contact's own instants, and the
//! recorder's anti-alias filter is applied to it in closed form, so an instant lies where it was drawn
//! to far better than 0.1 µs, whatever the sample rate: nothing is rounded to samples.
//!
//! ```
//! let rendered = synth::render(&synth::Scenario::default());
//! assert_eq!(rendered.truth.digits[0].pulses, 10);
//! ```

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod bound;
mod check;
pub mod demo;
pub mod demo_box;
mod dial;
mod encoding;
pub mod families;
mod impairment;
mod kernel;
mod line;
mod network;
mod nothing;
mod probe;
mod propagator;
mod random;
mod recorder;
mod scenario;
mod sensitivity;
mod sounds;
mod speech;
mod truth;
mod wav;
mod waveform;

pub use bound::{BreakBound, DigitBound, EdgeBound, bounds};
pub use check::ScenarioError;
pub use encoding::Encoding;
pub use recorder::{Rendered, render};
pub use scenario::{
    AntiAlias, Cadence, Chatter, Clipping, Coupling, CutShort, Dial, Hum, LateReopening, Line,
    Loop, OffNormal, OpeningBounce, OtherChannel, Probe, Quench, Recorder, Ringer, Scenario, Sound,
    SoundKind, SplitBreak, Tap, Unevenness,
};
pub use truth::{BreakTruth, DigitTruth, Interval, Polarity, Truth};
pub use wav::{WavError, write_truth, write_wav};
