//! A microphone beside the dial: short bursts of sound in the rhythm of a dial, and no step of a line.
//!
//! Each contact clicks when it opens and when it closes, and each pulse gives a like pair of clicks, so
//! bursts follow one another at the period of the dial for as long as a digit lasts, and no longer.

use crate::linear;

/// Energy is taken in pieces of so long.
const PIECE_S: f64 = 0.001;
/// A click stands out of the middle energy by this factor, and is the strongest for so long around.
const STANDS_OUT: f64 = 16.0;
const ALONE_S: f64 = 0.006;
/// Periods of a dial.
const PERIOD_S: std::ops::RangeInclusive<f64> = 0.044..=0.205;
/// Periods of one dial agree to this.
const EVEN: f64 = 0.06;
/// Clicks in one run: no fewer prove a rhythm, and no dial makes more.
const RUN: std::ops::RangeInclusive<usize> = 5..=12;

/// Compared after a transition for so long.
const COMPARED_S: f64 = 0.005;
/// Openings and closings more alike than this are both clicks of one body.
const ALIKE: f64 = 0.5;

/// True when openings and closings look alike. On a wire they move the trace in opposite directions, through
/// whatever line and probe; to a microphone both are the same click.
pub(crate) fn same_sound(
    samples: &[f64],
    rate_hz: f64,
    openings: &[f64],
    closings: &[f64],
) -> bool {
    let length = (COMPARED_S * rate_hz) as usize;
    let (Some(opening), Some(closing)) = (
        mean_after(samples, openings, length),
        mean_after(samples, closings, length),
    ) else {
        return false;
    };
    let product = linear::dot(&opening, &closing);
    let energies = linear::dot(&opening, &opening) * linear::dot(&closing, &closing);
    product > ALIKE * energies.sqrt()
}

/// Mean of what follows each place, from its level just before.
fn mean_after(samples: &[f64], places: &[f64], length: usize) -> Option<Vec<f64>> {
    let mut mean = vec![0.0; length];
    let mut taken = 0.0;
    for &place in places {
        let start = place.max(0.0) as usize;
        let Some(stretch) = samples.get(start..start + length) else {
            continue;
        };
        let before = samples.get(start.checked_sub(length / 4)?..start)?;
        let level = before.iter().sum::<f64>() / before.len() as f64;
        mean.iter_mut()
            .zip(stretch)
            .for_each(|(m, x)| *m += x - level);
        taken += 1.0;
    }
    (taken > 0.0).then_some(mean)
}

/// True when clicks follow one another as the pulses of a dial do.
pub(crate) fn dial_rhythm(means: &[f64], rate_hz: f64) -> bool {
    let clicks = clicks(means, rate_hz);
    let longest = longest_run(&clicks);
    RUN.contains(&longest)
}

/// Instants of the clicks, in seconds.
fn clicks(means: &[f64], rate_hz: f64) -> Vec<f64> {
    // The second difference leaves out hum, wander and most of speech.
    let bends: Vec<f64> = means.windows(3).map(|w| w[0] - 2.0 * w[1] + w[2]).collect();
    let piece = ((PIECE_S * rate_hz).round() as usize).max(4);
    let energies: Vec<f64> = bends
        .chunks_exact(piece)
        .map(|c| linear::dot(c, c))
        .collect();
    let Some(usual) = linear::median(&energies) else {
        return Vec::new();
    };
    let largest = energies.iter().copied().fold(0.0, f64::max);
    let least = (STANDS_OUT * usual).max(1e-3 * largest);
    let reach = (ALONE_S / PIECE_S).round() as usize;
    (0..energies.len())
        .filter(|&i| {
            let around = &energies[i.saturating_sub(reach)..(i + reach + 1).min(energies.len())];
            energies[i] > least && around.iter().all(|&e| e <= energies[i])
        })
        .map(|i| i as f64 * piece as f64 / rate_hz)
        .collect()
}

/// Most clicks that follow one another at one period.
fn longest_run(clicks: &[f64]) -> usize {
    let mut longest = 0;
    for (i, first) in clicks.iter().enumerate() {
        for second in &clicks[i + 1..] {
            let period = second - first;
            if period > *PERIOD_S.end() {
                break;
            }
            if period >= *PERIOD_S.start() {
                longest = longest.max(run_from(clicks, *second, period));
            }
        }
    }
    longest
}

fn run_from(clicks: &[f64], second: f64, period: f64) -> usize {
    let (mut count, mut last) = (2, second);
    while let Some(next) = clicks
        .iter()
        .find(|c| ((**c - last) / period - 1.0).abs() < EVEN)
    {
        count += 1;
        last = *next;
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 8000.0;

    /// Clicks of 1.8 kHz that die within two milliseconds, over a little noise.
    fn heard(instants: &[f64]) -> Vec<f64> {
        let mut state = 7u32;
        (0..24_000)
            .map(|i| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = f64::from(state >> 8) / f64::from(1u32 << 24) - 0.5;
                let t = f64::from(i) / RATE_HZ;
                let rings = instants
                    .iter()
                    .filter(|&&at| t >= at)
                    .map(|at| (-(t - at) / 0.0006).exp() * (TAU * 1800.0 * (t - at)).sin());
                0.004 * noise + 0.4 * rings.sum::<f64>()
            })
            .collect()
    }

    #[test]
    fn a_dial_that_is_heard_has_its_rhythm() {
        let instants: Vec<f64> = (0..7)
            .flat_map(|k| [0.8 + 0.1 * f64::from(k), 0.862 + 0.1 * f64::from(k)])
            .collect();
        assert!(dial_rhythm(&heard(&instants), RATE_HZ));
    }

    #[test]
    fn odd_clicks_and_an_endless_rattle_have_not() {
        assert!(!dial_rhythm(
            &heard(&[0.3, 0.41, 0.9, 1.3, 1.36, 2.1]),
            RATE_HZ
        ));
        let rattle: Vec<f64> = (0..28).map(|k| 0.1 + 0.1 * f64::from(k)).collect();
        assert!(!dial_rhythm(&heard(&rattle), RATE_HZ));
        assert!(!dial_rhythm(&heard(&[]), RATE_HZ));
    }
}
