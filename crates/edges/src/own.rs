//! A line's own transitions: once a train is beyond doubt, what its openings and its closings look like is known better than any
//! step through any probe says. What was read with doubts is read by them once more when the recording ends.

use crate::analyse::{Seen, TickWindow, Window};
use crate::bank::{self, Candidate, Entry, Field};
use crate::chain::{self, Chain, Pulse, Scale};
use crate::coarse::Coarse;
use crate::hum::HumModel;
use crate::linear;
use crate::look::Look;
use crate::tone::Tone;
use crate::tools::Tools;
use crate::types::{Edge, Train};
use std::ops::Range;

/// A train of so many pulses tells what its line's transitions look like.
pub(crate) const LEAST: usize = 3;
/// A transition is known from so long before it to so long after it.
const BEFORE_S: f64 = 0.001;
const AFTER_S: f64 = 0.007;
/// What is less like one than this, or of less than this share of its size or of more, is none.
const LEAST_T: f64 = 4.0;
const SIZES: std::ops::Range<f64> = 0.6..1.7;
/// The step of the bank lies no more blocks away from where a transition looks like one of the line.
const NEAR: usize = 1;
/// Side lobes of a match reach so far.
const LOBE_S: f64 = 0.0045;
/// Steps that a train does not explain are looked for so many periods around it; of a single pulse, of so long ones.
const PERIODS: f64 = 2.0;
const USUAL_PERIOD_S: f64 = 0.1;
/// Samples kept of a recording to be read once more, and the longest stretch.
const KEPT: usize = 400_000;
const LONGEST_S: f64 = 4.0;

/// What the transitions of a line look like in the coarse trace.
#[derive(Clone, Debug)]
pub(crate) struct Own {
    /// Sign of an opening.
    sign: f64,
    /// The step of the bank by which the train was found.
    pub(crate) entry: Entry,
    /// Openings and closings.
    kinds: [Entry; 2],
    /// Size of a step.
    amplitude: f64,
    looks: [Look; 2],
    /// Pulses that told it.
    pub(crate) pulses: usize,
}

impl Own {
    /// `places` are those of openings and of closings, in samples from the first of the trace.
    pub(crate) fn of(
        coarse: &Coarse,
        entry: &Entry,
        sign: f64,
        amplitude: f64,
        places: &[Vec<f64>; 2],
        looks: &[Look; 2],
    ) -> Self {
        let blocks = |s: f64| (s * coarse.rate_hz).round() as usize;
        let (before, length) = (blocks(BEFORE_S), blocks(BEFORE_S + AFTER_S));
        let kind = |places: &[f64]| {
            let mut mean = vec![0.0; length];
            for place in places {
                let block = (place.max(0.0) / coarse.factor as f64) as usize;
                let first = block.saturating_sub(before);
                if let Some(stretch) = coarse.means.get(first..first + length) {
                    let pairs = mean.iter_mut().zip(stretch);
                    pairs.for_each(|(mean, x)| *mean += x / places.len() as f64);
                }
            }
            entry.seen(mean, before)
        };
        Own {
            sign,
            entry: entry.clone(),
            kinds: [kind(&places[0]), kind(&places[1])],
            amplitude,
            looks: looks.clone(),
            pulses: places[0].len(),
        }
    }

    /// Whether openings and closings of a train look like these.
    pub(crate) fn looks_like(&self, seen: &Seen) -> bool {
        let pairs = self.looks.iter().zip(&seen.looks);
        pairs.into_iter().all(|(own, other)| own.is_like(other))
    }

    /// The best chain of pulses whose transitions look like these, its steps weighed as those of the train were.
    pub(crate) fn chain(&self, field: &Field<'_>) -> Option<Chain> {
        let scale = Scale {
            rate_hz: field.rate_hz,
            length: field.trace.len(),
            lobe_s: LOBE_S,
        };
        let mut steps: Vec<Candidate> = Vec::new();
        for (kind, sign) in self.kinds.iter().zip([self.sign, -self.sign]) {
            let spots = bank::where_a_step_fits(kind, field.energies, SIZES.start);
            let field = Field {
                spots: &spots,
                ..*field
            };
            let own = bank::candidates(kind, &field, LEAST_T).into_iter();
            let own = own.filter(|c| SIZES.contains(&c.amplitude));
            steps.extend(own.map(|c| Candidate {
                amplitude: sign * self.amplitude * c.amplitude,
                t: sign * c.t,
                ..c
            }));
        }
        steps.sort_by_key(|c| c.at);
        let mut chain = chain::best(&steps, &steps, &scale, &[self.sign])?;
        let weighed = |c: Candidate| {
            let near = c.at.saturating_sub(NEAR)..=c.at + NEAR;
            let steps = near.filter_map(|at| bank::at(&self.entry, field, at));
            let alike = steps.filter(|step| step.t * c.t > 0.0);
            let best = alike.max_by(|a, b| a.t.abs().total_cmp(&b.t.abs()));
            best.unwrap_or(c)
        };
        for Pulse { opening, closing } in &mut chain.pulses {
            *opening = weighed(*opening);
            *closing = weighed(*closing);
        }
        chain.amplitude = self.amplitude;
        Some(chain)
    }
}

/// A stretch that left doubts, and all that is needed to read it once more.
#[derive(Debug)]
pub(crate) struct Stretch {
    pub(crate) recorded: Vec<f32>,
    /// Without a tone that ends with the first break, where there is one.
    pub(crate) without_tone: Option<Vec<f32>>,
    pub(crate) tone: Option<Tone>,
    pub(crate) start: u64,
    pub(crate) first: bool,
    pub(crate) last: bool,
    /// Ticks around it.
    pub(crate) means: Vec<f32>,
    pub(crate) first_tick: u64,
    pub(crate) free_from: u64,
    pub(crate) hum: Option<HumModel>,
    /// The larger difference of its largest event.
    pub(crate) largest: f32,
}

impl Stretch {
    /// As a window of a recording of so many samples a second, with ticks of so many samples and so many a second.
    pub(crate) fn window<'a>(
        &'a self,
        tools: &'a Tools,
        rate_hz: f64,
        (factor, tick_rate_hz): (usize, f64),
        drawn: bool,
    ) -> Window<'a> {
        Window {
            samples: self.without_tone.as_ref().unwrap_or(&self.recorded),
            recorded: &self.recorded,
            start: self.start,
            rate_hz,
            first: self.first,
            last: self.last,
            events: &[],
            ticks: TickWindow {
                means: &self.means,
                first: self.first_tick,
                rate_hz: tick_rate_hz,
                factor,
                free_from: self.free_from,
                hum: self.hum.as_ref(),
            },
            tools,
            sign: None,
            drawn,
        }
    }

    /// From when to when, in seconds.
    pub(crate) fn lasts_s(&self, rate_hz: f64) -> Range<f64> {
        let at = |sample: u64| sample as f64 / rate_hz;
        at(self.start)..at(self.start + self.recorded.len() as u64)
    }

    fn length(&self) -> usize {
        self.recorded.len() + self.without_tone.as_ref().map_or(0, Vec::len)
    }
}

/// Stretches to be read once more: no more than a few seconds in all, those of the largest events.
#[derive(Debug, Default)]
pub(crate) struct Stretches {
    kept: Vec<Stretch>,
}

impl Stretches {
    pub(crate) fn keep(&mut self, stretch: Stretch, rate_hz: f64) {
        if stretch.recorded.len() as f64 > LONGEST_S * rate_hz {
            return;
        }
        self.kept.push(stretch);
        while self.kept.iter().map(Stretch::length).sum::<usize>() > KEPT {
            let sizes = self.kept.iter().enumerate();
            let least = sizes.min_by(|a, b| a.1.largest.total_cmp(&b.1.largest));
            let Some((least, _)) = least else {
                return;
            };
            self.kept.remove(least);
        }
    }

    pub(crate) fn into_iter(self) -> impl Iterator<Item = Stretch> {
        self.kept.into_iter()
    }
}

/// From when to when a train without doubts leaves nothing unexplained, in seconds.
pub(crate) fn explains(train: &Train) -> Range<f64> {
    let starts: Vec<f64> = train.edges.iter().step_by(2).map(|e| e.instant_s).collect();
    let periods: Vec<f64> = starts.windows(2).map(|w| w[1] - w[0]).collect();
    let around = PERIODS * linear::median(&periods).unwrap_or(USUAL_PERIOD_S);
    let at = |edge: Option<&Edge>| edge.map_or(0.0, |edge| edge.instant_s);
    at(train.edges.first()) - around..at(train.edges.last()) + around
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::types::{Direction, Polarity, Snippet};

    fn stretch(length: usize, largest: f32) -> Stretch {
        Stretch {
            recorded: vec![0.0; length],
            without_tone: None,
            tone: None,
            start: 48_000,
            first: false,
            last: false,
            means: Vec::new(),
            first_tick: 0,
            free_from: 0,
            hum: None,
            largest,
        }
    }

    #[test]
    fn no_more_than_a_few_seconds_are_kept_and_those_of_the_largest_events() {
        let mut stretches = Stretches::default();
        for largest in [0.3, 0.1, 0.5, 0.2] {
            stretches.keep(stretch(KEPT / 3, largest), 48_000.0);
        }
        stretches.keep(stretch(KEPT / 2 + 1, 0.9), 24_000.0);
        let kept: Vec<f32> = stretches.into_iter().map(|s| s.largest).collect();
        assert_eq!(kept, [0.3, 0.5, 0.2]);
    }

    #[test]
    fn a_toned_stretch_takes_twice_the_room() {
        let mut stretches = Stretches::default();
        for largest in [0.3, 0.1] {
            let mut toned = stretch(KEPT / 3, largest);
            toned.without_tone = Some(toned.recorded.clone());
            stretches.keep(toned, 48_000.0);
        }
        assert_eq!(stretches.into_iter().count(), 1);
        let lasts = stretch(24_000, 0.0).lasts_s(48_000.0);
        assert_eq!(lasts, 1.0..1.5);
    }

    fn train(instants: &[f64]) -> Train {
        let edge = |(i, &instant_s): (usize, &f64)| Edge {
            direction: if i % 2 == 0 {
                Direction::Opening
            } else {
                Direction::Closing
            },
            instant_s,
            half_step_s: instant_s,
            variance_s2: 0.0,
            level_before: 0.0,
            level_after: 0.0,
            residual: 0.0,
            snr: 100.0,
        };
        Train {
            polarity: Polarity::of(1.0),
            edges: instants.iter().enumerate().map(edge).collect(),
            reversals: Vec::new(),
            level_steps: Vec::new(),
            opening_common_s2: 0.0,
            closing_common_s2: 0.0,
            step: 1.0,
            noise_rms: 0.0,
            coupling_hz: None,
            spikes_only: false,
            hum: None,
            chatter_floor_s: 0.0,
            count_risk: 0.0,
            doubts: Vec::new(),
            envelope: crate::types::Envelope::default(),
            snippet: Snippet::default(),
        }
    }

    #[test]
    fn a_train_explains_two_periods_around_it() {
        let explained = explains(&train(&[2.0, 2.06, 2.09, 2.15, 2.18, 2.24]));
        assert!((explained.start - 1.82).abs() < 1e-9 && (explained.end - 2.42).abs() < 1e-9);
        let single = explains(&train(&[2.0, 2.06]));
        assert!((single.start - 1.8).abs() < 1e-9 && (single.end - 2.26).abs() < 1e-9);
    }

    /// Transitions that no entry of the bank is like: found where they are, right way round, and of their size.
    #[test]
    fn a_chain_is_made_of_what_looks_like_the_lines_own() {
        let rate_hz = 8000.0;
        let swing = |t: f64, slow: f64| (1.0 - (-t / slow).exp()) * (-t / 0.004).exp();
        let (openings, closings) = ([900.0, 1700.0, 2500.0], [1380.0, 2180.0, 2980.0]);
        let trace: Vec<f64> = (0..4000)
            .map(|i| {
                let sum = |places: &[f64], slow: f64| -> f64 {
                    let since = places.iter().map(|at| (f64::from(i) - at) / rate_hz);
                    since.filter(|t| *t > 0.0).map(|t| swing(t, slow)).sum()
                };
                0.2 - 0.4 * sum(&openings, 0.002) + 0.4 * sum(&closings, 0.000_5)
            })
            .collect();
        let coarse = Coarse {
            factor: 1,
            rate_hz,
            means: trace.clone(),
        };
        let places = [openings.to_vec(), closings.to_vec()];
        let looks = [Look::default(), Look::default()];
        let bank = bank::probed(rate_hz);
        let own = Own::of(&coarse, &bank[3].entry, -1.0, 0.3, &places, &looks);
        assert_eq!(own.pulses, 3);
        let single: Vec<f32> = trace.iter().map(|&x| x as f32).collect();
        let field = Field {
            trace: &single,
            energies: &bank::Energies::new(&trace),
            rate_hz,
            spots: &[],
            least: 0.0,
        };
        let chain = own.chain(&field).expect("pulses");
        assert!(chain.sign < 0.0);
        let found: Vec<(usize, usize)> = (chain.pulses.iter())
            .map(|p| (p.opening.at, p.closing.at))
            .collect();
        let near = |found: usize, drawn: f64| (found as f64 - drawn).abs() <= 2.0;
        assert_eq!(found.len(), 3, "{found:?}");
        for ((opened, closed), (o, c)) in found.iter().zip(openings.iter().zip(closings)) {
            assert!(near(*opened, *o) && near(*closed, c), "{found:?}");
        }
        assert!((chain.amplitude - 0.3).abs() < 1e-12);
        for Pulse { opening, closing } in &chain.pulses {
            assert!(opening.amplitude < 0.0 && closing.amplitude > 0.0);
            for step in [opening, closing] {
                let there = bank::at(&bank[3].entry, &field, step.at);
                assert_eq!(Some(*step), there, "weighed by the entry");
            }
        }
    }
}
