//! Trains of one or two pulses have no rhythm of their own to prove them. They are believed when a longer
//! train beside them has the same break, or when their steps are plain changes of level.

use crate::analyse::Seen;
use crate::linear;
use crate::types::{Doubt, Train};

/// A train with so many even pulses proves itself.
const PROVING: usize = 3;
/// Breaks of one dial differ by less than this factor's logarithm.
const ALIKE: f64 = 0.35;
/// A break longer than this may be the flash of a hook switch: receivers take openings from 90 ms on for
/// one.
const FLASH_S: f64 = 0.090;

/// Adds doubts to short trains that nothing confirms. A step that is a plain
/// change of level counts for more than a spike.
pub(crate) fn confirm(seen: &mut [Seen]) {
    let proven: Vec<f64> = seen
        .iter()
        .map(|s| &s.train)
        .filter(|t| t.edges.len() / 2 >= PROVING && t.doubts.is_empty())
        .filter_map(usual_break)
        .collect();
    // A hand on the hook makes some openings that no dial makes; the rest of them is hers too.
    let handled = seen.iter().any(|Seen { train, .. }| {
        train.doubts.contains(&Doubt::Irregular)
            || usual_break(train).is_some_and(|own| train.edges.len() == 2 && own > FLASH_S)
    });
    for Seen { train, plain, .. } in seen {
        let Some(own) = usual_break(train) else {
            continue;
        };
        let alike = proven.iter().any(|other| (own / other).ln().abs() < ALIKE);
        if train.edges.len() / 2 >= PROVING || alike {
            continue;
        }
        if !*plain {
            train.doubts.push(Doubt::OtherCount(0));
        } else if own > FLASH_S || handled {
            train.doubts.push(Doubt::MayBeFlash);
        }
    }
}

/// Median break of a train, in seconds.
fn usual_break(train: &Train) -> Option<f64> {
    let breaks: Vec<f64> = train
        .edges
        .chunks_exact(2)
        .map(|p| p[1].instant_s - p[0].instant_s)
        .collect();
    linear::median(&breaks)
}
