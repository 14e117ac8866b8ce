//! The off-normal contacts: small lasting steps of the closed level before and after a train.

use crate::bank::{self, Candidate, Energies, Entry, Field};
use crate::types::LevelStep;

/// Winding lasts no longer.
const WINDING_S: f64 = 2.5;
/// A step so close to an edge may be part of it.
const BEFORE_EDGE_S: f64 = 0.03;
const AFTER_EDGE_S: f64 = 0.02;
/// The window of a match keeps this far from an edge.
const EDGE_S: f64 = 0.002;
/// Off-normal contacts restore within this time after the last make.
const RESTORED_S: f64 = 0.4;
/// Sizes of such steps over the dial's own.
const RELATIVE: std::ops::Range<f64> = 0.07..0.4;
const LEAST_T: f64 = 7.0;
const LEAST_SHARE: f64 = 0.4;
/// The dial's own steps are at least so large, of its own.
const OWN: f64 = 0.5;
/// What comes so near to the largest step of a stretch is its rival, when a step explains so much of it.
const RIVALS: f64 = 0.6;
const RIVAL_SHARE: f64 = 0.3;

/// So far around a step its samples tell how finely the recorder counts, in seconds.
pub(crate) const NEAR_S: f64 = 0.05;
/// A step is larger than so many of the recorder's own.
const LEAST_SPACINGS: f64 = 1.5;

/// What is known of the train, times in seconds from the first tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Around<'a> {
    pub(crate) entry: &'a Entry,
    /// Sign of an opening.
    pub(crate) sign: f64,
    /// Size of a dial step as the entry matches it.
    pub(crate) amplitude: f64,
    pub(crate) first_s: f64,
    pub(crate) last_s: f64,
}

/// The small steps of the closed line before and after a train, as far as the transitions next to it. Between two digits a
/// contact makes two, one each way; a ripple makes many, and then none is believed.
/// `means` are ticks, hum taken out; times count from `start_s`.
pub(crate) fn find(
    means: &[f32],
    tick_rate_hz: f64,
    start_s: f64,
    around: Around<'_>,
) -> Vec<LevelStep> {
    let wide: Vec<f64> = means.iter().map(|&x| f64::from(x)).collect();
    let energies = Energies::new(&wide);
    // As the dial's own steps are, then in longer windows: the shortest in which a step shows tells its place best.
    let mut entries = vec![around.entry.at_rate(tick_rate_hz)];
    entries.extend(around.entry.longer(tick_rate_hz));
    let own = around.amplitude.abs();
    let tick = |s: f64| ((s.max(0.0) * tick_rate_hz) as usize).min(means.len());
    let candidates = |entry: &Entry, [from_s, to_s]: [f64; 2], least: f64| {
        let spot = tick(from_s)..tick(to_s).max(tick(from_s));
        let field = Field {
            trace: means,
            energies: &energies,
            rate_hz: tick_rate_hz,
            spots: std::slice::from_ref(&spot),
            least: least * own,
        };
        bank::candidates(entry, &field, 0.0)
    };
    let seconds = |at: usize| at as f64 / tick_rate_hz;
    let (first_s, last_s) = (around.first_s, around.last_s);
    // The stretch of closed line next to the train ends at the next transition of the dial.
    let own_in = |span: [f64; 2]| {
        let large = candidates(&entries[0], span, OWN);
        large
            .into_iter()
            .filter(|c| c.share > LEAST_SHARE)
            .map(|c| seconds(c.at))
    };
    let begin_s =
        own_in([first_s - WINDING_S, first_s - BEFORE_EDGE_S]).fold(first_s - WINDING_S, f64::max);
    let end_s =
        own_in([last_s + AFTER_EDGE_S, last_s + RESTORED_S]).fold(last_s + RESTORED_S, f64::min);
    let steps = |edges_s: [f64; 2], keep_s: [f64; 2]| {
        entries.iter().find_map(|entry| {
            let clear_s = entry.half_s(tick_rate_hz) + EDGE_S;
            let span = [
                edges_s[0] + keep_s[0].max(clear_s),
                edges_s[1] - keep_s[1].max(clear_s),
            ];
            believed(
                &candidates(entry, span, RIVALS * RELATIVE.start),
                own,
                clear_s * tick_rate_hz,
            )
        })
    };
    let before = steps([begin_s, first_s], [AFTER_EDGE_S, BEFORE_EDGE_S]);
    let after = steps([last_s, end_s], [AFTER_EDGE_S, BEFORE_EDGE_S]);
    let step = |c: Candidate| LevelStep {
        instant_s: start_s + seconds(c.at),
        relative: -c.amplitude * around.sign / around.amplitude,
        snr: c.t.abs(),
    };
    let both = [before, after].into_iter().flatten().flatten();
    both.map(step).collect()
}

/// Whether a step of this size may be the recorder's own, by the samples near it.
pub(crate) fn is_the_recorders(size: f64, near: &[f32]) -> bool {
    size <= LEAST_SPACINGS * spacing(near)
}

/// Least distance between two values among samples: one step of the recorder's, where it is coarse and the line quiet.
fn spacing(samples: &[f32]) -> f64 {
    let mut values = samples.to_vec();
    values.sort_by(f32::total_cmp);
    let distances = values.windows(2).map(|pair| f64::from(pair[1] - pair[0]));
    let least = distances.filter(|&d| d > 0.0).fold(f64::INFINITY, f64::min);
    if least.is_finite() { least } else { 0.0 }
}

/// The steps among the candidates of a stretch, when there are any: one, or two of opposite sign.
fn believed(candidates: &[Candidate], own: f64, apart: f64) -> Option<Vec<Candidate>> {
    let is_step = |c: &&Candidate| {
        c.t.abs() >= LEAST_T
            && c.share > LEAST_SHARE
            && RELATIVE.contains(&(c.amplitude.abs() / own))
    };
    let largest = candidates
        .iter()
        .filter(is_step)
        .map(|c| c.amplitude.abs())
        .fold(0.0, f64::max);
    if largest <= 0.0 {
        return None;
    }
    let mut by_size: Vec<&Candidate> = candidates.iter().collect();
    by_size.sort_by(|a, b| b.t.abs().total_cmp(&a.t.abs()));
    let mut alone: Vec<&Candidate> = Vec::new();
    for c in by_size {
        let rivals = c.amplitude.abs() >= RIVALS * largest && c.share >= RIVAL_SHARE;
        if rivals && alone.iter().all(|a| a.at.abs_diff(c.at) as f64 > apart) {
            alone.push(c);
        }
    }
    let steps: Vec<Candidate> = match alone[..] {
        [one] => vec![*one],
        [one, two] if one.amplitude * two.amplitude < 0.0 => vec![*one, *two],
        _ => Vec::new(),
    };
    let mut steps: Vec<Candidate> = steps.into_iter().filter(|c| is_step(&c)).collect();
    steps.sort_by_key(|c| c.at);
    Some(steps)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(at: usize, amplitude: f64) -> Candidate {
        Candidate {
            at,
            amplitude,
            t: 50.0 * amplitude.signum(),
            share: 0.9,
        }
    }

    fn places(candidates: &[Candidate]) -> Option<Vec<usize>> {
        let steps = believed(candidates, 1.0, 20.0)?;
        Some(steps.iter().map(|c| c.at).collect())
    }

    #[test]
    fn a_contact_makes_one_step_or_two_of_opposite_sign_and_a_ripple_many() {
        let (up, down) = (candidate(500, 0.15), candidate(100, -0.14));
        assert_eq!(places(&[]), None);
        assert_eq!(places(&[up]), Some(vec![500]));
        assert_eq!(places(&[up, down]), Some(vec![100, 500]));
        assert_eq!(places(&[up, candidate(300, 0.14)]), Some(vec![]));
        assert_eq!(places(&[up, down, candidate(300, -0.1)]), Some(vec![]));
        // Side lobes, what is much smaller, and what is no step at all are no rivals.
        assert_eq!(places(&[up, candidate(515, -0.14)]), Some(vec![500]));
        assert_eq!(places(&[up, candidate(300, 0.08)]), Some(vec![500]));
        let click = Candidate {
            share: 0.1,
            ..candidate(300, 0.15)
        };
        assert_eq!(places(&[up, click]), Some(vec![500]));
    }

    #[test]
    fn what_is_too_small_too_large_or_in_doubt_is_no_step() {
        assert_eq!(places(&[candidate(500, 0.06)]), None);
        assert_eq!(places(&[candidate(500, 0.45)]), None);
        let weak = Candidate {
            t: 6.0,
            ..candidate(500, 0.15)
        };
        assert_eq!(places(&[weak]), None);
        let unlike = Candidate {
            share: 0.35,
            ..candidate(500, 0.15)
        };
        assert_eq!(places(&[unlike]), None);
    }

    #[test]
    fn the_spacing_of_a_recorder_is_its_least_step() {
        assert_eq!(spacing(&[0.25, 0.25, 0.5, 0.75, 0.5, 0.625]), 0.125);
        assert_eq!(spacing(&[0.25; 4]), 0.0);
        assert_eq!(spacing(&[]), 0.0);
        assert!(is_the_recorders(0.1875, &[0.25, 0.375]));
        assert!(!is_the_recorders(0.19, &[0.25, 0.375]));
    }
}
