//! Winding time, return time and lost motion, from the steps that the off-normal contacts leave in the
//! closed level: they short the speech network while the finger wheel is away from rest.

use edges::{LevelStep, Train};

use crate::grouping::Group;

/// The longest a hand is taken to need for winding, in seconds.
const LONGEST_WINDING_S: f64 = 5.0;
/// The longest lost motion looked for, in seconds: several times the three periods of common dials.
const LONGEST_IDLE_S: f64 = 1.0;

/// What the off-normal steps tell of one digit, in milliseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct OffNormal {
    /// Off-normal operating to the first opening.
    pub(crate) winding_ms: Option<f64>,
    /// First opening to off-normal restoring.
    pub(crate) return_ms: Option<f64>,
    /// Last make to off-normal restoring.
    pub(crate) idle_after_ms: Option<f64>,
}

/// Reads the steps around a digit that lies between the end of the digit before and the start of the next.
pub(crate) fn around(trains: &[Train], group: &Group, before_s: f64, after_s: f64) -> OffNormal {
    let (start_s, end_s) = (group.start_s(), group.end_s());
    let steps = || {
        trains[group.trains()]
            .iter()
            .flat_map(|train| &train.level_steps)
    };
    let earliest_s = before_s.max(start_s - LONGEST_WINDING_S);
    let latest_s = after_s.min(end_s + LONGEST_IDLE_S);
    let operating = steps().rfind(|step| step.instant_s > earliest_s && step.instant_s < start_s);
    let restoring = steps().find(|step| step.instant_s > end_s && step.instant_s < latest_s);
    let (operating, restoring) = plausible(operating, restoring);
    OffNormal {
        winding_ms: operating.map(|step| 1000.0 * (start_s - step.instant_s)),
        return_ms: restoring.map(|step| 1000.0 * (step.instant_s - start_s)),
        idle_after_ms: restoring.map(|step| 1000.0 * (step.instant_s - end_s)),
    }
}

/// Shorting the network raises the current, restoring it lowers it. Some dials open the receiver circuit
/// instead, which turns both round; that is believed only of a pair of opposite steps.
fn plausible<'trace>(
    operating: Option<&'trace LevelStep>,
    restoring: Option<&'trace LevelStep>,
) -> (Option<&'trace LevelStep>, Option<&'trace LevelStep>) {
    match (operating, restoring) {
        (Some(first), Some(second)) if first.relative * second.relative < 0.0 => {
            (Some(first), Some(second))
        }
        _ => (
            operating.filter(|step| step.relative > 0.0),
            restoring.filter(|step| step.relative < 0.0),
        ),
    }
}
