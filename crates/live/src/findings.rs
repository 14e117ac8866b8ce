//! What one digit shows about the dial, by itself.
//!
//! A report looks for patterns in all digits of a recording at once, and a recording is then one dial as it is. A sitting is a
//! dial that is being adjusted: what the earlier attempts showed is what has just been mended.

use edges::{Envelope, Trace};
use score::{Digit, Finding, Settings};

/// The findings of `digit` alone, out of the `trace` that it was found in.
pub(crate) fn of(trace: &Trace, digit: &Digit, settings: &Settings) -> Vec<Finding> {
    let alone = Trace {
        trains: trace.trains.get(digit.train).cloned().into_iter().collect(),
        overview: Envelope::default(),
        ..*trace
    };
    let settings = Settings {
        dialled: None,
        ..settings.clone()
    };
    let scored = score::score(&alone, &settings);
    // A digit that shares its train with another cannot be looked at alone.
    if scored.digits.len() == 1 {
        scored.findings
    } else {
        Vec::new()
    }
}
