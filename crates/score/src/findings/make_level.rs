//! The make level sags through a digit: the resistance of contacts or terminals rises while they carry current.

use edges::Train;

use super::Evidence;
use crate::grouping::Group;
use crate::regression::{Column, Regression};
use crate::tail::f_tail;
use crate::types::{Finding, HowSure};
use crate::wording::significant;

/// A sag of less is not worth a word, in percent of the step from the second pulse of a digit to its last.
const NOTABLE_PERCENT: f64 = 5.0;
/// Chance explains a sag less often than this, or it is none.
const CHANCE: f64 = 1e-3;
/// Fewest pulses of a digit for a course of its steps.
const LEAST_PULSES: usize = 5;

/// Looks at the steps of the openings: each starts from the make level before it. The first is left out, since the
/// make before it was long and slow loops had time to settle. Where only spikes are left of the steps, their sizes say
/// nothing; nor where samples are cut off flat in a recording whose zero wanders with the coupling. In a direct
/// recording the cut is always at the same level, and flat tops may be no more than a coarse encoding.
pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let usable = |group: &Group| {
        let trains = &evidence.trace.trains[group.trains()];
        let cut_off = evidence.trace.clipped > 0;
        let tells = |train: &Train| !train.spikes_only && (train.coupling_hz.is_none() || !cut_off);
        group.breaks.len() >= LEAST_PULSES && trains.iter().all(tells)
    };
    let groups: Vec<&Group> = evidence
        .steady()
        .map(|(index, _)| &evidence.groups[index])
        .filter(|group| usable(group))
        .collect();
    if groups.is_empty() {
        return Vec::new();
    }
    sag(evidence, &super::spread_over(&groups))
        .into_iter()
        .collect()
}

fn sag(evidence: &Evidence, groups: &[&Group]) -> Option<Finding> {
    let steps: Vec<Vec<(f64, f64)>> = groups
        .iter()
        .map(|group| steps_percent(evidence, group))
        .collect();
    let mut left = Regression::new(steps.iter().flatten().map(|(step, _)| *step).collect());
    let mut first = 0;
    let means: Vec<Column> = steps
        .iter()
        .map(|digit| {
            let values = vec![1.0; digit.len()];
            let column = Column { first, values };
            first += digit.len();
            column
        })
        .collect();
    left.take_out(&means);
    // From 0 at the second pulse of a digit to 1 at its last.
    let of_digit = |digit: &Vec<(f64, f64)>| -> Vec<f64> {
        let last = digit.len().saturating_sub(1) as f64;
        (0..digit.len()).map(|index| index as f64 / last).collect()
    };
    let ramp = Column::whole(steps.iter().flat_map(of_digit).collect());
    let gain = left.gain(std::slice::from_ref(&ramp));
    let (slope, _) = left.coefficient(&ramp)?;
    let degrees = left.degrees().checked_sub(1)?;
    let noise = steps
        .iter()
        .flatten()
        .map(|(_, noise)| noise.powi(2))
        .sum::<f64>()
        / ramp.values.len() as f64;
    let scatter = ((left.squares() - gain.squares).max(0.0) / degrees.max(1) as f64).max(noise);
    let chance = f_tail(gain.squares / scatter, 1, degrees);
    (-slope >= NOTABLE_PERCENT && chance < CHANCE).then(|| finding(-slope, groups.len(), chance))
}

/// Sizes of the openings' steps after the first, and their standard errors, in percent of the digit's mean step.
fn steps_percent(evidence: &Evidence, group: &Group) -> Vec<(f64, f64)> {
    let steps: Vec<(f64, f64)> = group.breaks[1..]
        .iter()
        .map(|pulse| {
            let edge = &evidence.trace.trains[pulse.open.train].edges[pulse.open.edge];
            let step = (edge.level_before - edge.level_after).abs();
            (step, step / edge.snr.max(1.0))
        })
        .collect();
    let mean = steps.iter().map(|(step, _)| step).sum::<f64>() / steps.len() as f64;
    steps
        .iter()
        .map(|(step, noise)| (100.0 * step / mean, 100.0 * noise / mean))
        .collect()
}

fn finding(percent: f64, digits: usize, chance: f64) -> Finding {
    let over = if digits == 1 {
        "one digit".into()
    } else {
        format!("{digits} digits")
    };
    Finding {
        code: "make-level-sags",
        title: "The make level sags through a digit".into(),
        evidence: format!(
            "the step of the openings falls by {} % from the second pulse to the last, over {over}",
            significant(percent, 2)
        ),
        likely_cause: "a pulse contact of high resistance, or a loose terminal, that gets worse while it carries current"
            .into(),
        advice: "clean the pulse contacts and tighten the terminals; measure the resistance of the closed contacts".into(),
        basis: "high-resistance pulse contacts are on record as a known fault (instruction C3 M0017); that they sag \
                through a digit is common practice, no source",
        how_sure: if chance < 1e-6 { HowSure::Shown } else { HowSure::Likely },
        how_much: None,
        digit_index: None,
        pulse_index: None,
    }
}
