//! A microphone beside the dial: short bursts of sound in the rhythm of a dial, and no step of a line.
//!
//! Each contact clicks when it opens and when it closes, and each pulse gives a like pair of clicks, so
//! bursts follow one another at the period of the dial for as long as a digit lasts, and no longer.

use crate::linear;
use crate::wide;

/// Listened to at once: twice the longest digit.
const LISTENED_S: f64 = 6.0;
/// A click stands out of the middle span by this factor, and is the strongest for so long around.
const STANDS_OUT: f32 = 4.0;
/// Clicks of a mechanism stand out of what lies between them by this factor.
const CALM: f64 = 12.0;
const ALONE_S: f64 = 0.006;
/// Periods of a dial.
const PERIOD_S: std::ops::RangeInclusive<f64> = 0.044..=0.205;
/// Periods of one dial agree to this.
const EVEN: f64 = 0.035;
/// Clicks in one run: no fewer prove a rhythm, and no dial makes more.
const RUN: std::ops::RangeInclusive<usize> = 6..=12;

/// Clicks of a dial in one period: opening, closing, and what else its works do.
const MOST_PER_PERIOD: usize = 3;
/// Clicks of one run are at least so loud beside the usual one.
const LIKE_CLICKS: f64 = 0.25;

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

/// Listens for the rhythm of a dial in the spans of ticks (largest less least sample of each).
#[derive(Debug)]
pub(crate) struct Listener {
    tick_rate_hz: f64,
    /// Spans not yet done with.
    spans: Vec<f32>,
    heard: bool,
}

impl Listener {
    pub(crate) fn new(tick_rate_hz: f64) -> Self {
        Listener {
            tick_rate_hz,
            spans: Vec::new(),
            heard: false,
        }
    }

    /// Takes least and largest sample of the next ticks.
    pub(crate) fn push(&mut self, lows: &[f32], highs: &[f32]) {
        let spans = lows.iter().zip(highs).map(|(low, high)| high - low);
        self.spans.extend(spans);
        // At a hertz, as in a broken header, no stretch would get shorter by half of itself.
        let length = ((LISTENED_S * self.tick_rate_hz) as usize).max(2);
        while self.spans.len() >= length {
            self.heard |= dial_rhythm(&self.spans[..length], self.tick_rate_hz);
            // A digit that the end cuts lies whole in the next stretch.
            self.spans.drain(..length / 2);
        }
    }

    /// True when clicks followed one another as the pulses of a dial do.
    pub(crate) fn finish(self) -> bool {
        self.heard || dial_rhythm(&self.spans, self.tick_rate_hz)
    }
}

fn dial_rhythm(spans: &[f32], tick_rate_hz: f64) -> bool {
    let clicks = clicks(spans, tick_rate_hz);
    let runs = runs(&clicks);
    let longest = runs.iter().map(Vec::len).max().unwrap_or(0);
    let trace = Spans {
        spans,
        tick_rate_hz,
    };
    let alone = |run: &[f64]| trace.few_between(&clicks, run) && trace.calm_between(run);
    RUN.contains(&longest)
        && runs
            .iter()
            .any(|run| run.len() >= *RUN.start() && alone(run))
}

struct Spans<'a> {
    spans: &'a [f32],
    tick_rate_hz: f64,
}

impl Spans<'_> {
    fn tick(&self, seconds: f64) -> usize {
        (seconds * self.tick_rate_hz).round() as usize
    }

    fn loudness(&self, click_s: f64) -> f64 {
        f64::from(self.spans[self.tick(click_s)])
    }

    fn usual_loudness(&self, run: &[f64]) -> Option<f64> {
        let all: Vec<f64> = run.iter().map(|&s| self.loudness(s)).collect();
        linear::median(&all)
    }

    /// Whether no more clicks like those of a run lie in its stretch than a dial makes: two contacts' and a
    /// few besides. A voice clicks at every period of its pitch.
    fn few_between(&self, clicks: &[f64], run: &[f64]) -> bool {
        let (Some(&first), Some(&last), Some(usual)) =
            (run.first(), run.last(), self.usual_loudness(run))
        else {
            return false;
        };
        let like =
            |c: &&f64| (first..=last).contains(*c) && self.loudness(**c) > LIKE_CLICKS * usual;
        clicks.iter().filter(like).count() <= MOST_PER_PERIOD * run.len()
    }

    /// Whether it is quiet between the clicks of a run, as it is between those of a mechanism and not in
    /// speech.
    fn calm_between(&self, run: &[f64]) -> bool {
        let (Some(&first), Some(&last), Some(usual)) =
            (run.first(), run.last(), self.usual_loudness(run))
        else {
            return false;
        };
        let stretch = &self.spans[self.tick(first)..self.tick(last)];
        let all: Vec<f64> = stretch.iter().map(|&x| f64::from(x)).collect();
        linear::median(&all).is_some_and(|between| between * CALM < usual)
    }
}

/// Instants of the clicks, in seconds.
fn clicks(spans: &[f32], tick_rate_hz: f64) -> Vec<f64> {
    let largest = wide::largest(spans);
    // In noise most spans are too large for anything to stand out of them, which is sooner seen than their middle.
    let stood_out = largest / STANDS_OUT;
    let larger: usize = spans.iter().map(|&x| usize::from(x > stood_out)).sum();
    if 2 * larger > spans.len() + 1 {
        return Vec::new();
    }
    let Some(usual) = middle(spans) else {
        return Vec::new();
    };
    let least = (STANDS_OUT * usual).max(0.03 * largest);
    let reach = (ALONE_S * tick_rate_hz).round() as usize;
    (0..spans.len())
        .filter(|&i| {
            spans[i] > least && {
                let before = &spans[i.saturating_sub(reach)..i];
                let after = &spans[i + 1..(i + reach + 1).min(spans.len())];
                before.iter().all(|&x| x < spans[i]) && after.iter().all(|&x| x <= spans[i])
            }
        })
        .map(|i| i as f64 / tick_rate_hz)
        .collect()
}

/// Middle one of values that are not negative (the upper one of two).
fn middle(values: &[f32]) -> Option<f32> {
    // Their bits are in the order of the values, and whole numbers sort faster.
    let mut bits: Vec<u32> = values.iter().map(|x| x.to_bits()).collect();
    let index = ((bits.len().checked_sub(1)?) as f64 * 0.5).round() as usize;
    Some(f32::from_bits(*bits.select_nth_unstable(index).1))
}

/// Clicks that follow one another at one period, from every beginning.
fn runs(clicks: &[f64]) -> Vec<Vec<f64>> {
    let mut runs = Vec::new();
    for (i, first) in clicks.iter().enumerate() {
        for second in &clicks[i + 1..] {
            let period = second - first;
            if period > *PERIOD_S.end() {
                break;
            }
            if period >= *PERIOD_S.start() {
                runs.push(run_from(clicks, *first, *second));
            }
        }
    }
    runs
}

fn run_from(clicks: &[f64], first: f64, second: f64) -> Vec<f64> {
    let period = second - first;
    let (mut run, mut last) = (vec![first, second], second);
    let next = |last: f64| {
        let due = clicks.partition_point(|c| *c < last + period * (1.0 - EVEN));
        clicks
            .get(due)
            .filter(|c| (**c - last) / period - 1.0 < EVEN)
    };
    while let Some(&click) = next(last) {
        run.push(click);
        last = click;
        // More prove nothing further: no dial makes them.
        if run.len() > *RUN.end() {
            break;
        }
    }
    run
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 8000.0;
    const TICK_RATE_HZ: f64 = 2000.0;

    /// Clicks of 1.8 kHz that die within two milliseconds, over a little noise.
    fn heard(instants: &[f64]) -> Vec<f32> {
        let mut state = 7u32;
        let samples: Vec<f64> = (0..24_000)
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
            .collect();
        let span = |tick: &[f64]| {
            let highest = tick.iter().copied().fold(f64::MIN, f64::max);
            let lowest = tick.iter().copied().fold(f64::MAX, f64::min);
            (highest - lowest) as f32
        };
        samples.chunks(4).map(span).collect()
    }

    #[test]
    fn a_dial_that_is_heard_has_its_rhythm() {
        let instants: Vec<f64> = (0..7)
            .flat_map(|k| [0.8 + 0.1 * f64::from(k), 0.862 + 0.1 * f64::from(k)])
            .collect();
        assert!(dial_rhythm(&heard(&instants), TICK_RATE_HZ));
    }

    #[test]
    fn odd_clicks_and_an_endless_rattle_have_not() {
        assert!(!dial_rhythm(
            &heard(&[0.3, 0.41, 0.9, 1.3, 1.36, 2.1]),
            TICK_RATE_HZ
        ));
        let rattle: Vec<f64> = (0..28).map(|k| 0.1 + 0.1 * f64::from(k)).collect();
        assert!(!dial_rhythm(&heard(&rattle), TICK_RATE_HZ));
        assert!(!dial_rhythm(&heard(&[]), TICK_RATE_HZ));
    }
}
