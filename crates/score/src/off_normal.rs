//! Winding time, return time and lost motion, from the steps that the off-normal contacts leave in the
//! closed level: they short the speech network while the finger wheel is away from rest.

use edges::{LevelStep, Train};

use crate::grouping::Group;

/// The longest a hand is taken to need for winding, in seconds.
const LONGEST_WINDING_S: f64 = 5.0;
/// The longest lost motion looked for, in seconds: several times the three periods of common dials.
const LONGEST_IDLE_S: f64 = 1.0;

/// Two instants of one step, from the matches beside two trains, differ less, in seconds.
const SAME_S: f64 = 0.015;

/// Steps of one pair of contacts differ in size by less than this ratio.
const ALIKE: f64 = 1.3;

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

/// Reads the steps before and after each digit.
///
/// Shorting the network raises the current, restoring it lowers it. Some dials open the receiver circuit instead, which turns
/// both round; that is believed only where the digits that show both steps say so.
pub(crate) fn around(trains: &[Train], groups: &[Group]) -> Vec<OffNormal> {
    let mut steps: Vec<&LevelStep> = trains.iter().flat_map(|train| &train.level_steps).collect();
    steps.sort_by(|a, b| a.instant_s.total_cmp(&b.instant_s));
    // The step between two digits shows beside both.
    steps.dedup_by(|a, b| {
        (a.instant_s - b.instant_s).abs() < SAME_S && a.relative * b.relative > 0.0
    });
    let stretches: Vec<[&[&LevelStep]; 2]> = (0..groups.len())
        .map(|index| {
            let (start_s, end_s) = (groups[index].start_s(), groups[index].end_s());
            let before_s = index
                .checked_sub(1)
                .map_or(f64::NEG_INFINITY, |i| groups[i].end_s());
            let after_s = groups.get(index + 1).map_or(f64::INFINITY, Group::start_s);
            let between = |from_s: f64, to_s: f64| {
                let first = steps.partition_point(|step| step.instant_s <= from_s);
                let last = steps.partition_point(|step| step.instant_s < to_s);
                &steps[first..last.max(first)]
            };
            [
                between(before_s.max(start_s - LONGEST_WINDING_S), start_s),
                between(end_s, after_s.min(end_s + LONGEST_IDLE_S)),
            ]
        })
        .collect();
    // What a digit shows: operating before it, restoring after it. What two show between them: restoring, then operating.
    let of_digit = stretches
        .iter()
        .filter_map(|[before, after]| Some((*before.last()?, *after.first()?)));
    let of_pause = stretches
        .iter()
        .filter_map(|[_, after]| Some((*after.last()?, *after.first()?)));
    let votes = of_digit
        .chain(of_pause)
        .filter_map(|(operating, restoring)| {
            (operating.relative * restoring.relative < 0.0).then_some(operating.relative.signum())
        });
    let sign = if votes.sum::<f64>() < 0.0 { -1.0 } else { 1.0 };
    // A click through a transformer is much like a step, so there a step needs another as large.
    let spikes_only = trains.iter().any(|train| train.spikes_only);
    let has_fellow = |step: &LevelStep| {
        let alike = |other: &LevelStep| {
            let ratio = (other.relative / step.relative).abs();
            other.instant_s != step.instant_s && ratio < ALIKE && ratio > 1.0 / ALIKE
        };
        steps.iter().any(|other| alike(other))
    };
    let is_believed = |step: &LevelStep| !spikes_only || has_fellow(step);
    let of_digit = |(group, [before, after]): (&Group, [&[&LevelStep]; 2])| {
        let (start_s, end_s) = (group.start_s(), group.end_s());
        let believed =
            |step: &&&LevelStep, sign: f64| sign * step.relative > 0.0 && is_believed(step);
        let operating = before.iter().rfind(|step| believed(step, sign));
        let restoring = after.iter().find(|step| believed(step, -sign));
        OffNormal {
            winding_ms: operating.map(|step| 1000.0 * (start_s - step.instant_s)),
            return_ms: restoring.map(|step| 1000.0 * (step.instant_s - start_s)),
            idle_after_ms: restoring.map(|step| 1000.0 * (step.instant_s - end_s)),
        }
    };
    groups.iter().zip(stretches).map(of_digit).collect()
}
