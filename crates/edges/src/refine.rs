//! From coarse places to instants: every transition is fitted at the full rate of the recording.

use crate::bank::Probe;
use crate::chain::Pulse;
use crate::cluster::{self, Fit, Step};
use crate::coarse::Coarse;
use crate::cut;
use crate::decode::{self, Expectation};
use crate::linear;
use crate::onset::{self, Followers, Onsets};
use crate::response::Response;
use crate::settle;
use crate::shape::Shape;
use rustfft::num_complex::Complex64;
use std::cell::OnceCell;
use std::ops::Range;

/// Fitted before and after a transition. Longer windows add little: what times a step is its slope.
const AROUND_S: f64 = 0.002;
/// Of the step, no more is left where there is no chatter.
const ALONE: f64 = 0.25;
/// At least so many samples to either side, at low rates.
const AROUND_SAMPLES: f64 = 14.0;
/// Chatter is looked for so long after a closure, a reclosure so long after an opening.
const AFTER_CLOSING_S: f64 = 0.0105;
const AFTER_OPENING_S: f64 = 0.0075;
/// A coarse place may be a later closure of a chattering contact.
const BEFORE_CLOSING_S: f64 = 0.0065;

/// A sharp step leaves less than this of its size, or less than so many times the noise before it.
const SHARP_RESIDUAL: f64 = 0.02;
const SHARP_NOISES: f64 = 1.8;
/// Less of noise that is white: its size is known better than that of speech, a tone or a sine.
const SHARP_WHITE_NOISES: f64 = 1.4;
const WHITE: f64 = 0.5;
/// An onset must leave less than this share of what the sharp steps leave, or it explains nothing more.
const SLOW_RESIDUALS: f64 = 0.7;
/// An onset lies no farther from the sharp fit than this; farther, times the residual, the worse that fits; and
/// with its square: what leaves most of the step is no fit.
const SHIFT_S: [f64; 3] = [0.000_5, 0.005, 0.012];
/// A step that leaves less than this cannot be as far off as the first of these.
const STILL_RESIDUAL: f64 = 0.1;
/// What makes an onset evident: it is followed at once by so much of the transition, and leaves this share of what
/// the sharp steps leave. It may then lie as far away as this.
const DEPARTS: f64 = 0.4;
const EVIDENT_RESIDUALS: f64 = 0.15;
const EVIDENT_SHIFT_S: f64 = 0.006;
/// Or it lies equally far from all the sharp steps of three or more, and then it need not explain as much.
const ALIKE_S: f64 = 0.000_15;
const ALIKE_RESIDUALS: f64 = 0.5;
/// Or, where sharp steps fit badly, leaves less than this of what follows it within a millisecond, which may be far larger
/// than the step.
const UNEXPLAINED_ALIKE: f64 = 0.15;
const DEPARTS_ALIKE: f64 = 0.3;
/// A kind that sharp steps fit so badly is also looked at around its coarse places.
const ROUGH_RESIDUAL: f64 = 0.25;
/// Rough steps and onsets that lie no farther apart agree, if the onset leaves not much more than the steps do.
const AGREES_S: f64 = 0.000_1;
const AGREES_RESIDUALS: f64 = 1.3;
/// So many transitions have a mean that says what they have in common; and that they are placed this uncertainly by
/// sharp steps, times what those leave, where no onset is found.
const ROUGH_LEAST: usize = 3;
/// Of a kind that leaves this much, and something like a step beside so many, sharp steps are no description.
pub(crate) const ROUGH_KIND: f64 = 0.2;
const ROUGH_MOST: f64 = 0.75;
/// Less is enough where it is so many times the noise.
const ROUGH_NOISES: f64 = 5.0;
const ROUGH_FLOOR: f64 = 0.01;
const ROUGH_SHARE_S: f64 = 0.000_8;
/// A sharp step in this much noise, on a line whose other transitions are slow, may lie so many samples off, all of a kind
/// alike.
const HIDDEN_NOISE: f64 = 0.02;
const HIDDEN_SAMPLES: f64 = 1.0;
/// Aligned by their shape, rough ones vary by so many times what the noise says, and by so many samples more.
const ALIKE_VARIANCE: f64 = 2.0;
const ALIKE_SAMPLES: f64 = 0.1;
/// The same for all of a kind together.
const ROUGH_COMMON_S: f64 = 0.004;
/// Share of its difference from the others' shift that an onset is uncertain by.
const SHIFT_SHARE: f64 = 0.25;
/// Standard uncertainty of a place that no fit has improved.
const ROUGH_S: f64 = 0.002;
/// Windows before a transition in which it may be quiet: their ends, and their length.
const QUIET_S: [f64; 3] = [0.003, 0.0065, 0.01];
const QUIET_LENGTH_S: f64 = 0.0025;
/// What a sharp template may be off for all edges of a kind alike, in samples. What capacitance of line and leads does
/// to openings beyond that cannot be seen in their shape, which what is not known of the recorder's filter scatters more:
/// it is no matter of the recording, and kept apart from it.
const SHARP_COMMON: f64 = 0.001;
/// The same for onsets, in samples.
const ONSET_COMMON: f64 = 0.015;
/// What it may be off for each by itself, in samples, over the root of the energy that it leaves unexplained: the
/// recorder's anti-alias filter is not known. Found on filters of linear phase and on gentle ones.
const SHARP_OWN: f64 = 0.073;
/// So many times the Cramer-Rao bound of the fit: what noise leaves in the description that is fitted with it.
const NOISE_SHARE: f64 = 1.12;
/// What is left beside a step counts less for noise the more of it is the filter's: by one less this power of its share.
const NO_NOISE: i32 = 5;
/// Over the fourth power of noise over step, in samples²: strong noise makes the wrong sample look like the step.
const WRONG_SAMPLE: f64 = 24.0;
/// So many times all that, where it stands beside chatter that is fitted with it.
const BESIDE: f64 = 2.0;
/// That energy beside the step's size, as far as it can be told from noise.
const UNEXPLAINED: std::ops::Range<f64> = 0.003..0.02;
/// A transition whose flat side is cut off lies somewhere in a sample: by itself, and for all of a kind.
const CLIPPED_OWN: f64 = 0.135;
const CLIPPED_COMMON: f64 = 0.16;
/// So many transitions that are cut off tell the size of the step; and the first sample that is cut off lies so close.
const CUT_ALIKE: usize = 2;
const CUT_NEAR: usize = 6;
/// Looked at around it for at least so many samples.
const CUT_AROUND: f64 = 24.0;
/// A size that is too large puts openings and closings off in opposite ways, and so a break twice as much.
const CUT_SIZE: f64 = 2.0;
/// What such a transition may be off by itself, and all of a kind alike, in samples, over the root of the energy that the
/// filters tried leave unexplained. Found on filters that are not among them.
const CUT_OWN: f64 = 1.0;
const CUT_COMMON: f64 = 1.9;
/// A spike that is cut off has so many samples of one value, the first of them so close to the transition, and falls
/// back to this share of its height within the time looked at for flat tops.
const CUT_LEAST: usize = 3;
const CUT_BEFORE: f64 = 6.0;
const CUT_AFTER: f64 = 6.0;
const FALLS_BACK: f32 = 0.8;
/// It hides where in the last samples before it the spike began, and for all alike.
const SPIKE_COMMON: f64 = 1.2;
/// A closing that fits worse than this, and than so many usual openings, may have begun earlier, by about
/// so much.
const HIDDEN_RESIDUAL: f64 = 0.03;
const HIDDEN_USUALS: f64 = 3.0;
const HIDDEN_S: f64 = 0.000_1;
/// A trace whose values lie far apart, beside its range, is flat
/// without being cut off, unless at the recorder's own full scale.
const COARSE: f64 = 0.001;
/// Where half of the steps from value to value are larger than that, there are no more values than this.
const MOST_VALUES: usize = 2_002;
const FULL_SCALE: f32 = 0.97;
/// Samples further away from a transition in which the recorder's filter still swings.
const EDGE: f64 = 4.0;
/// Looked at beside a transition for flat tops.
const FLAT_S: f64 = 0.001;

/// A transition at full rate. Instants in samples of the window.
#[derive(Clone, Debug)]
pub(crate) struct Fitted {
    pub(crate) at: f64,
    /// Half of the step has passed.
    pub(crate) half_step: f64,
    pub(crate) variance: f64,
    pub(crate) amplitude: f64,
    pub(crate) residual: f64,
    /// Levels just before and after.
    pub(crate) before: f64,
    pub(crate) after: f64,
    /// Returns to the other state: (start, end).
    pub(crate) reversals: Vec<(f64, f64)>,
}

/// All transitions of one chain, fitted.
#[derive(Clone, Debug)]
pub(crate) struct Refined {
    /// Opening and closing of every pulse.
    pub(crate) pulses: Vec<(Fitted, Fitted)>,
    pub(crate) poles: Vec<Complex64>,
    pub(crate) step: f64,
    /// What all openings, and what all closings, have in common.
    pub(crate) kinds: [Kind; 2],
    /// Samples in flat tops beside the transitions.
    pub(crate) clipped: usize,
}

/// What all transitions of one kind have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Kind {
    /// Variance that they share, in samples².
    pub(crate) common: f64,
    /// Sharp steps do not describe them.
    pub(crate) slow: bool,
    /// Nor do onsets: nothing does but their mean.
    pub(crate) rough: bool,
    /// Noise before them, over the step.
    pub(crate) noise: f64,
    /// It is white.
    pub(crate) white: bool,
}

impl Refined {
    /// Takes the openings (0) or closings (1) for rough ones when sharp steps describe them badly enough and leave
    /// something beside this share of them: what all leave alike is how they look, and no further step.
    pub(crate) fn take_for_rough(&mut self, kind: usize, share: f64, rate_hz: f64) -> bool {
        let own = |p: &(Fitted, Fitted)| [p.0.residual, p.1.residual][kind];
        let residual = usual(self.pulses.iter().map(own));
        let Kind { slow, noise, .. } = self.kinds[kind];
        let least = ROUGH_KIND.min((ROUGH_NOISES * noise).max(ROUGH_FLOOR));
        if slow || self.pulses.len() < ROUGH_LEAST || share < ROUGH_MOST || residual <= least {
            return false;
        }
        roughen(self.of_kind(kind), noise, rate_hz);
        self.kinds[kind].slow = true;
        self.kinds[kind].rough = true;
        self.kinds[kind].common += rough_common(residual, rate_hz);
        true
    }

    fn of_kind(&mut self, kind: usize) -> impl Iterator<Item = &mut Fitted> {
        let own = self.pulses.iter_mut();
        own.map(move |p| if kind == 0 { &mut p.0 } else { &mut p.1 })
    }

    /// Rough transitions lie better against one another by the shape they share, in white noise.
    pub(crate) fn align_rough(&mut self, line: Line<'_>) {
        for kind in 0..2 {
            if self.kinds[kind].rough && self.kinds[kind].white {
                align(self.of_kind(kind).collect(), line);
            }
        }
    }

    /// Counts instants from so many samples earlier.
    pub(crate) fn later(&mut self, samples: f64) {
        for fitted in self.pulses.iter_mut().flat_map(|p| [&mut p.0, &mut p.1]) {
            fitted.at += samples;
            fitted.half_step += samples;
            for (start, end) in &mut fitted.reversals {
                *start += samples;
                *end += samples;
            }
        }
    }
}

/// Stretch of the window, in samples, in which a transition may be fitted.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    first: f64,
    last: f64,
}

/// What all transitions of a train share.
#[derive(Clone, Copy)]
struct Contact<'a> {
    shape: &'a Shape,
    poles: &'a [Complex64],
    amplitude: f64,
    noise: f64,
}

/// What the stretches beside a transition say of clipping.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Top {
    /// Neither is cut off; flat on both sides are those of few values.
    Free,
    /// One is, while the other moves.
    Cut(Flat),
    /// One is flat for want of values, and nothing lies beyond it.
    MayBeCut(Flat),
}

impl Top {
    /// Samples that count as clipped.
    fn counted(self) -> usize {
        match self {
            Top::Cut(flat) => flat.count,
            Top::Free | Top::MayBeCut(_) => 0,
        }
    }

    /// What is cut off, or may be.
    fn flat(self) -> Option<Flat> {
        match self {
            Top::Cut(flat) | Top::MayBeCut(flat) => Some(flat),
            Top::Free => None,
        }
    }
}

/// A stretch of which nearly all has one extreme value.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Flat {
    level: f32,
    /// Samples that have it.
    count: usize,
    /// It lies before the transition, not after it.
    before: bool,
}

/// Transitions that are cut off, placed anew.
struct Recut {
    /// Pulse of each, and kind: opening (0) or closing (1).
    which: Vec<(usize, usize)>,
    /// As they lie behind each of some filters, and which of those leaves least.
    filters: Vec<cut::Placed>,
    best: usize,
}

pub(crate) struct Refiner<'a> {
    /// Without hum.
    samples: &'a [f64],
    /// As they were recorded: what is cut off is flat in these alone.
    recorded: &'a [f32],
    rate_hz: f64,
    followers: &'a Followers,
    /// Sign of an opening.
    sign: f64,
    /// The samples take so few values that a quiet stretch has but one; found out when it matters.
    coarse_levels: OnceCell<bool>,
}

/// Whether the values that samples take lie as far apart as those of an encoding of eight bits.
fn coarse_levels(samples: &[f32]) -> bool {
    let mut values: Vec<f32> = Vec::new();
    for part in samples.chunks(MOST_VALUES) {
        values.extend_from_slice(part);
        values.sort_unstable_by(f32::total_cmp);
        values.dedup();
        if values.len() > MOST_VALUES {
            return false;
        }
    }
    let steps: Vec<f64> = values.windows(2).map(|w| f64::from(w[1] - w[0])).collect();
    match (linear::median(&steps), values.first(), values.last()) {
        (Some(step), Some(lowest), Some(highest)) => step > COARSE * f64::from(highest - lowest),
        _ => false,
    }
}

impl<'a> Refiner<'a> {
    /// `sign` is that of an opening.
    pub(crate) fn new(
        samples: &'a [f64],
        recorded: &'a [f32],
        rate_hz: f64,
        followers: &'a Followers,
        sign: f64,
    ) -> Self {
        Refiner {
            samples,
            recorded,
            rate_hz,
            followers,
            sign,
            coarse_levels: OnceCell::new(),
        }
    }

    /// `matched_amplitude` is the size of the step at the coarse stage.
    pub(crate) fn run(
        &self,
        pulses: &[Pulse],
        coarse: &Coarse,
        probe: &Probe,
        matched_amplitude: f64,
    ) -> Refined {
        let place = |at: usize| at as f64 * coarse.factor as f64 - 0.5;
        let places: Vec<(f64, f64)> = pulses
            .iter()
            .map(|p| (place(p.opening.at), place(p.closing.at)))
            .collect();
        let shape = Shape::new(&probe.response(), self.rate_hz);
        let reach = 2.0 * coarse.factor as f64 + 2.0;
        let first: Vec<Option<Fit>> = places
            .iter()
            .map(|&(at, _)| self.single(&shape, at, reach, self.sign))
            .collect();
        let openings: Vec<f64> = places
            .iter()
            .zip(&first)
            .map(|(&(at, _), fit)| fit.as_ref().map_or(at, |f| f.steps[0].at))
            .collect();
        let poles = self.settle_probe(probe, &openings);
        let shape = Shape::new(&Response::from_poles(&poles), self.rate_hz);
        let of_fits = |measure: fn(&Fit) -> f64| {
            linear::median(&first.iter().flatten().map(measure).collect::<Vec<f64>>())
        };
        let amplitude = of_fits(|f| f.amplitude).unwrap_or(matched_amplitude);
        let noise = of_fits(|f| f.residual).unwrap_or(matched_amplitude);
        let contact = Contact {
            shape: &shape,
            poles: &poles,
            amplitude,
            noise,
        };
        let mut out = Vec::new();
        for (i, &(_, closing)) in places.iter().enumerate() {
            let opening = openings[i];
            let next = openings
                .get(i + 1)
                .copied()
                .unwrap_or(self.samples.len() as f64);
            let before = if i == 0 { 0.0 } else { places[i - 1].1 };
            let opened = self.transition(
                contact,
                self.sign,
                opening,
                self.opening_bounds(before, opening, closing),
            );
            let closed = self.transition(
                contact,
                -self.sign,
                closing,
                self.closing_bounds(opened.at, closing, next),
            );
            out.push((opened, closed));
        }
        let mut refined = Refined {
            pulses: out,
            poles,
            step: amplitude,
            kinds: [Kind {
                common: SHARP_COMMON.powi(2),
                slow: false,
                rough: false,
                noise: 1.0,
                white: false,
            }; 2],
            clipped: 0,
        };
        let response = Response::from_poles(&refined.poles);
        let placed = self.place_cut(&mut refined, &response);
        self.mend_slow(&mut refined, &places);
        refined.clipped = self.widen_clipped(&mut refined, &placed);
        self.widen_hidden(&mut refined);
        refined
    }

    /// Widens the variances of transitions that end or begin in a flat top, or of slow ones whose spike is cut off. Gives the
    /// samples in flat tops beside them.
    fn widen_clipped(&self, refined: &mut Refined, placed: &[Vec<bool>; 2]) -> usize {
        let (mut flat, mut spikes, mut samples) = ([0usize; 2], [0usize; 2], 0);
        for (i, (opening, closing)) in refined.pulses.iter_mut().enumerate() {
            for (kind, fitted) in [opening, closing].into_iter().enumerate() {
                let top = self.top(fitted);
                if placed[kind][i] {
                    samples += top.counted();
                } else if top != Top::Free {
                    fitted.variance += CLIPPED_OWN.powi(2);
                    flat[kind] += 1;
                    samples += top.counted();
                } else if refined.kinds[kind].slow
                    && let Some(cut) = self.cut_spike(fitted.at)
                {
                    fitted.variance += CLIPPED_OWN.powi(2);
                    spikes[kind] += 1;
                    samples += cut;
                }
            }
        }
        let count = refined.pulses.len();
        for (kind, (flat, spikes)) in refined.kinds.iter_mut().zip(flat.into_iter().zip(spikes)) {
            if 2 * spikes >= count {
                kind.common += SPIKE_COMMON.powi(2);
            } else if 2 * flat >= count {
                kind.common += CLIPPED_COMMON.powi(2);
            }
        }
        samples
    }

    /// Places sharp transitions by their free side alone where the other is cut off. Gives which of them, kind by kind.
    fn place_cut(&self, refined: &mut Refined, response: &Response) -> [Vec<bool>; 2] {
        let mut placed = [0, 1].map(|_| vec![false; refined.pulses.len()]);
        let Some(Recut {
            which,
            filters,
            best,
        }) = self.recut(&refined.pulses, response)
        else {
            return placed;
        };
        let found = &filters[best];
        for kind in 0..2 {
            let own: Vec<usize> = (0..which.len()).filter(|&k| which[k].1 == kind).collect();
            if 2 * own.len() >= refined.pulses.len() {
                refined.kinds[kind].common += CUT_SIZE
                    * (found.common + cut::doubt(&filters, best, &own))
                    + CUT_COMMON.powi(2) * found.unexplained;
            }
        }
        for (&(pulse, kind), each) in which.iter().zip(&found.each) {
            let Some((at, variance)) = *each else {
                continue;
            };
            let (opening, closing) = &mut refined.pulses[pulse];
            let fitted = if kind == 0 { opening } else { closing };
            fitted.at = at;
            fitted.half_step = at;
            fitted.variance = variance + CUT_OWN.powi(2) * found.unexplained;
            fitted.residual = found.variance.sqrt() / found.size;
            placed[kind][pulse] = true;
        }
        placed
    }

    /// The transitions that are cut off on one side, behind each of some filters; `None` where there are none, or steps do not
    /// describe them.
    fn recut(&self, pulses: &[(Fitted, Fitted)], response: &Response) -> Option<Recut> {
        let all = pulses.iter().enumerate();
        let all = all.flat_map(|(i, p)| [((i, 0), &p.0), ((i, 1), &p.1)]);
        let alone: Vec<((usize, usize), &Fitted)> =
            all.filter(|(_, fit)| fit.reversals.is_empty()).collect();
        let (mut which, mut free, mut seen, mut whole) = (vec![], vec![], vec![], vec![]);
        for &((pulse, kind), fit) in &alone {
            let sign = if kind == 0 { self.sign } else { -self.sign };
            let top = self.top(fit);
            if let Some(beside) = self.free_beside(fit.at, top, sign) {
                which.push((pulse, kind));
                free.push(beside);
                seen.push(fit.amplitude);
            } else if top == Top::Free {
                whole.push(fit.amplitude);
            }
        }
        if free.is_empty() || free.len() + whole.len() < CUT_ALIKE {
            return None;
        }
        let [quieter, louder] = {
            let noise = |kind: usize| {
                let own = alone.iter().filter(|((_, k), _)| *k == kind);
                usual(own.filter_map(|(_, fit)| Some(self.noise_before(fit)?.0)))
            };
            let noises = [noise(0), noise(1)];
            [noises[0].min(noises[1]), noises[0].max(noises[1])]
        };
        let seen = usual(seen.into_iter());
        let filters: Vec<cut::Placed> = Shape::filtered(response, self.rate_hz)
            .filter_map(|shape| cut::place(&free, &whole, &shape, seen, seen * quieter))
            .collect();
        let left = |i: &usize| filters[*i].left;
        let best = (0..filters.len()).min_by(|a, b| left(a).total_cmp(&left(b)))?;
        let residual = filters[best].variance.sqrt() / filters[best].size;
        (residual < SHARP_RESIDUAL.max(SHARP_NOISES * louder)).then_some(Recut {
            which,
            filters,
            best,
        })
    }

    /// The free samples of a transition one side of which is cut off.
    fn free_beside(&self, place: f64, top: Top, sign: f64) -> Option<cut::Free<'_>> {
        let flat = top.flat()?;
        let at = place.round() as usize;
        let around = self.around().max(CUT_AROUND) as usize;
        let is_cut = |x: &f32| *x == flat.level;
        let (free, cut) = if flat.before {
            let to = (at + around).min(self.recorded.len());
            let near = self.recorded.get(..(at + CUT_NEAR).min(to))?;
            let cut = near.iter().rposition(is_cut)?;
            (cut + 1..to, cut)
        } else {
            let from = at.saturating_sub(around);
            let near = at.saturating_sub(CUT_NEAR);
            let cut = near + self.recorded.get(near..)?.iter().position(is_cut)?;
            (from..cut, cut)
        };
        Some(cut::Free {
            samples: self.samples.get(free.clone())?,
            first: free.start as f64,
            cut: (cut as f64, self.samples[cut]),
            at: place,
            sign,
        })
    }

    /// The samples take so few values that a quiet stretch may have but one. Found out when something is flat.
    fn is_coarse(&self) -> bool {
        *self
            .coarse_levels
            .get_or_init(|| coarse_levels(self.recorded))
    }

    /// A first closure shorter than a sample is lost, and the next one is taken for the make; all that is
    /// left of it is a worse fit than the openings have.
    fn widen_hidden(&self, refined: &mut Refined) {
        let openings: Vec<f64> = refined.pulses.iter().map(|p| p.0.residual).collect();
        let usual = linear::median(&openings).unwrap_or(1.0);
        if refined.kinds[1].slow {
            return;
        }
        for (_, closing) in &mut refined.pulses {
            if closing.residual > HIDDEN_RESIDUAL.max(HIDDEN_USUALS * usual) {
                closing.variance += (HIDDEN_S * self.rate_hz).powi(2);
            }
        }
    }

    /// Stretches just before a transition and just after it and its chatter.
    fn beside(&self, fitted: &Fitted) -> [Bounds; 2] {
        let length = (FLAT_S * self.rate_hz).max(6.0);
        let at = fitted.at;
        let rests = fitted.reversals.last().map_or(at, |reversal| reversal.1);
        [
            Bounds {
                first: at - length - 2.0,
                last: at - 2.0,
            },
            Bounds {
                first: rests + 2.0,
                last: rests + 2.0 + length,
            },
        ]
    }

    /// Whether one side of a transition is cut off. Where few values make quiet stretches flat as well, the recorder's filter
    /// swings beyond them beside a step, unless what is beyond is cut off; gentle filters swing little, so there it may be.
    fn top(&self, fitted: &Fitted) -> Top {
        let stretches = self.beside(fitted);
        let [before, after] = [0, 1].map(|side| {
            let (level, count) = flat(&self.recorded[self.range(stretches[side])])?;
            Some(Flat {
                level,
                count,
                before: side == 0,
            })
        });
        let one_side = match (before, after) {
            (None, None) => return Top::Free,
            (Some(flat), None) | (None, Some(flat)) => Some(flat),
            (Some(_), Some(_)) => None,
        };
        match one_side {
            Some(flat) if flat.level.abs() > FULL_SCALE || !self.is_coarse() => {
                return Top::Cut(flat);
            }
            _ if !self.is_coarse() => return Top::Free,
            _ => {}
        }
        let around = &self.recorded[self.range(Bounds {
            first: stretches[0].last - EDGE,
            last: stretches[1].first + EDGE,
        })];
        let is_cut = |flat: &Flat| {
            let other = stretches[usize::from(flat.before)];
            self.recorded[self.range(other)].first().is_some_and(|far| {
                let away = far - flat.level;
                away != 0.0 && around.iter().all(|x| (x - flat.level) * away >= 0.0)
            })
        };
        let cut = before.filter(is_cut).or(after.filter(is_cut));
        cut.map_or(Top::Free, Top::MayBeCut)
    }

    /// Samples of a spike at a transition that was cut off: some of one value, from which the trace soon falls back.
    fn cut_spike(&self, at: f64) -> Option<usize> {
        let stretch = &self.recorded[self.range(Bounds {
            first: at - CUT_BEFORE,
            last: at + CUT_AFTER + FLAT_S * self.rate_hz,
        })];
        let near = (CUT_BEFORE + CUT_AFTER) as usize;
        let before = *stretch.first()?;
        let from = (0..near.min(stretch.len().saturating_sub(CUT_LEAST))).find(|&i| {
            stretch[i..i + CUT_LEAST].iter().all(|x| *x == stretch[i]) && stretch[i] != before
        })?;
        let level = stretch[from];
        let same = stretch[from..].iter().take_while(|x| **x == level).count();
        let beyond = |x: &f32| (x - before) / (level - before);
        // Nothing goes farther than where it is cut off, and what is no spike stays there.
        let farthest = stretch.iter().map(beyond).fold(0.0, f32::max);
        let falls = stretch[from + same..]
            .iter()
            .any(|x| beyond(x) < FALLS_BACK);
        (farthest <= 1.0 && falls).then_some(same)
    }

    /// Where a sharp step does not describe the transitions of a kind, their onsets are found instead.
    fn mend_slow(&self, refined: &mut Refined, places: &[(f64, f64)]) {
        let places: (Vec<f64>, Vec<f64>) = places.iter().copied().unzip();
        let (mut openings, mut closings): (Vec<Fitted>, Vec<Fitted>) =
            std::mem::take(&mut refined.pulses).into_iter().unzip();
        let own = [(&mut openings, &places.0), (&mut closings, &places.1)];
        for (kind, (fitted, places)) in refined.kinds.iter_mut().zip(own) {
            self.mend_kind(kind, fitted, places);
        }
        // Where the current changes slowly one way, what comes the other way is no plain step either: noise hides what else it is.
        if refined.kinds.iter().any(|kind| kind.slow) {
            for kind in refined.kinds.iter_mut().filter(|kind| !kind.slow) {
                kind.common += (HIDDEN_SAMPLES * (kind.noise / HIDDEN_NOISE).min(1.0)).powi(2);
            }
        }
        refined.pulses = openings.into_iter().zip(closings).collect();
    }

    /// Places the transitions of a kind anew where sharp steps do not describe them.
    fn mend_kind(&self, kind: &mut Kind, fitted: &mut [Fitted], coarse: &[f64]) {
        let residual = usual(fitted.iter().map(|f| f.residual));
        let before = fitted.iter().filter_map(|f| self.noise_before(f));
        let (noises, colours): (Vec<f64>, Vec<f64>) = before.unzip();
        kind.noise = usual(noises.into_iter());
        kind.white = usual(colours.into_iter()) < WHITE;
        let noises = if kind.white {
            SHARP_WHITE_NOISES
        } else {
            SHARP_NOISES
        };
        if residual < SHARP_RESIDUAL.max(noises * kind.noise) {
            return;
        }
        let places: Vec<f64> = fitted.iter().map(|f| f.at).collect();
        let coarse = (residual > ROUGH_RESIDUAL).then_some(coarse);
        let onsets = onset::find(self.samples, self.rate_hz, self.followers, &places, coarse);
        if let Some(onsets) = onsets
            && self.take_onsets(fitted, &onsets, residual) == Some(true)
        {
            kind.slow = true;
            kind.common = onsets.common + ONSET_COMMON * ONSET_COMMON;
        } else if residual > ROUGH_RESIDUAL && fitted.len() >= ROUGH_LEAST {
            // Nothing describes them but their own mean: they are where the sharp steps are, more or less.
            roughen(fitted.iter_mut(), kind.noise, self.rate_hz);
            kind.slow = true;
            kind.rough = true;
            kind.common = rough_common(residual, self.rate_hz);
        }
    }

    /// Moves transitions to their onsets, unless these are those of something else.
    fn take_onsets(&self, fitted: &mut [Fitted], onsets: &Onsets, residual: f64) -> Option<bool> {
        let amplitudes: Vec<f64> = fitted.iter().map(|f| f.amplitude).collect();
        let left = onsets.residual / (residual * linear::median(&amplitudes)?);
        let shifts: Vec<f64> = fitted
            .iter()
            .zip(&onsets.each)
            .map(|(fitted, onset)| onset.at - fitted.at)
            .collect();
        let usual = linear::median(&shifts)?;
        // Where both say the same, it does not matter that neither describes what follows.
        let agree = residual > ROUGH_RESIDUAL
            && usual.abs() < AGREES_S * self.rate_hz
            && left < AGREES_RESIDUALS;
        // A step that fits this well cannot have begun that much earlier: the onset is of something else. Unless
        // most of the transition follows at once, and the onset explains nearly all of it.
        let spread = shifts.iter().map(|s| (s - usual).abs()).fold(0.0, f64::max);
        let alike = shifts.len() >= ROUGH_LEAST && spread < ALIKE_S * self.rate_hz;
        let explained = left < ALIKE_RESIDUALS
            || (residual > ROUGH_RESIDUAL && onsets.unexplained < UNEXPLAINED_ALIKE);
        let evident = (onsets.departs > DEPARTS && left < EVIDENT_RESIDUALS)
            || (alike && onsets.departs > DEPARTS_ALIKE && explained);
        let mut farthest = self.farthest_shift(residual);
        if evident {
            farthest = farthest.max(EVIDENT_SHIFT_S * self.rate_hz);
        }
        if !agree && ((left > SLOW_RESIDUALS && !evident) || usual.abs() > farthest) {
            return Some(false);
        }
        for ((fitted, onset), shift) in fitted.iter_mut().zip(&onsets.each).zip(&shifts) {
            fitted.at = onset.at;
            fitted.half_step = onset.half_step;
            // One that lies otherwise than its like may be right or wrong.
            fitted.variance = onset.variance + (SHIFT_SHARE * (shift - usual)).powi(2);
            if left > SLOW_RESIDUALS {
                fitted.variance += (0.5 * shift).powi(2);
            }
            fitted.residual = onsets.noise.max(1e-4);
            fitted.reversals.clear();
        }
        Some(true)
    }

    /// How far an onset may lie from a sharp step that leaves `residual`, in samples.
    fn farthest_shift(&self, residual: f64) -> f64 {
        let [still, by_residual, by_square] = SHIFT_S;
        let still = still * (residual / STILL_RESIDUAL).min(1.0);
        (still + by_residual * residual + by_square * residual * residual) * self.rate_hz
    }

    /// Noise before a transition over its amplitude, and its lag-one autocorrelation. A sharp step fitted to a slow or
    /// ringing transition may lie some milliseconds late, so the quietest of a few windows before it counts.
    fn noise_before(&self, fitted: &Fitted) -> Option<(f64, f64)> {
        QUIET_S
            .into_iter()
            .filter_map(|before| {
                let (window, _) = self.window(Bounds {
                    first: fitted.at - (before + QUIET_LENGTH_S) * self.rate_hz,
                    last: fitted.at - before * self.rate_hz,
                });
                cluster::straight(window)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(residual, colour)| (residual / fitted.amplitude, colour))
    }

    fn around(&self) -> f64 {
        (AROUND_S * self.rate_hz).max(AROUND_SAMPLES)
    }

    fn opening_bounds(&self, before: f64, opening: f64, closing: f64) -> Bounds {
        let rate = self.rate_hz;
        Bounds {
            first: (opening - self.around())
                .max(before + 0.5 * (opening - before).min(0.006 * rate)),
            last: (opening + AFTER_OPENING_S * rate)
                .min(closing - BEFORE_CLOSING_S * rate)
                .max(opening + self.around()),
        }
    }

    fn closing_bounds(&self, opening: f64, closing: f64, next: f64) -> Bounds {
        let rate = self.rate_hz;
        Bounds {
            first: (closing - (BEFORE_CLOSING_S + AROUND_S) * rate).max(opening + 0.0015 * rate),
            last: (closing + AFTER_CLOSING_S * rate).min(next - 0.0015 * rate),
        }
    }

    /// Window of the samples within bounds and the place of its first.
    fn window(&self, bounds: Bounds) -> (&[f64], f64) {
        let range = self.range(bounds);
        (&self.samples[range.clone()], range.start as f64)
    }

    fn range(&self, bounds: Bounds) -> Range<usize> {
        let first = bounds.first.max(0.0).ceil() as usize;
        let last = (bounds.last.max(0.0) as usize).min(self.samples.len());
        first.min(last)..last
    }

    /// Fits one step alone near `at`. Instants of the fit are moved to the samples' own count.
    fn single(&self, shape: &Shape, at: f64, reach: f64, sign: f64) -> Option<Fit> {
        let bounds = Bounds {
            first: at - self.around(),
            last: at + self.around(),
        };
        let (window, start) = self.window(bounds);
        if window.len() < 12 {
            return None;
        }
        let local = at - start;
        let at = cluster::scan(window, shape, sign, (local - reach, local + reach))?;
        let mut fit = cluster::fit_one(window, shape, Step { at, sign })?;
        fit.steps.iter_mut().for_each(|s| s.at += start);
        Some(fit)
    }

    /// Fits a transition together with the reversals around it.
    fn transition(&self, contact: Contact<'_>, sign: f64, at: f64, bounds: Bounds) -> Fitted {
        self.sharp(contact, sign, at, bounds)
            .unwrap_or_else(|| Fitted {
                at,
                half_step: at,
                variance: (ROUGH_S * self.rate_hz).powi(2),
                amplitude: contact.amplitude,
                residual: 1.0,
                before: 0.0,
                after: sign * contact.amplitude,
                reversals: Vec::new(),
            })
    }

    fn sharp(&self, contact: Contact<'_>, sign: f64, at: f64, bounds: Bounds) -> Option<Fitted> {
        let (window, start) = self.window(bounds);
        if window.len() < 12 {
            return None;
        }
        let near = 4.0 + 0.0002 * self.rate_hz;
        let alone = self.single(contact.shape, at, near, sign);
        if let Some(fit) = &alone
            && self.is_alone(contact.shape, fit, sign, bounds)
        {
            return Some(fitted(fit, sign));
        }
        let steps = decode::changes(
            window,
            Expectation {
                poles: contact.poles,
                rate_hz: self.rate_hz,
                amplitude: contact.amplitude,
                sign,
                at: at - start,
                noise: contact.noise,
            },
        );
        let steps = self.tidy(steps, sign);
        if steps.len() <= 1 {
            let decoded = steps
                .first()
                .and_then(|step| self.single(contact.shape, step.at + start, near, sign));
            // A slow rise decodes as a change of state anywhere.
            let fit = match (decoded, alone) {
                (Some(decoded), Some(alone)) if alone.misfit() < decoded.misfit() => alone,
                (decoded, alone) => decoded.or(alone)?,
            };
            return Some(fitted(&fit, sign));
        }
        let absolute = |s: &Step| Step {
            at: s.at + start,
            sign: s.sign,
        };
        let steps: Vec<Step> = steps.iter().map(absolute).collect();
        self.many(contact.shape, &steps, sign, bounds)
    }

    /// Whether one step describes all that lies within bounds: then no sample is nearer to the other state.
    fn is_alone(&self, shape: &Shape, fit: &Fit, sign: f64, bounds: Bounds) -> bool {
        let (window, start) = self.window(bounds);
        let column = shape.column(fit.steps[0].at - start, window.len());
        let size = sign * fit.amplitude;
        let rest: Vec<f64> = window
            .iter()
            .zip(column)
            .map(|(x, c)| x - size * c)
            .collect();
        let most = ALONE * fit.amplitude;
        cluster::without_line(&rest).iter().all(|x| x.abs() < most)
    }

    /// Keeps an alternating run of steps that begins and ends with the transition's own sign.
    fn tidy(&self, steps: Vec<Step>, sign: f64) -> Vec<Step> {
        let own = |s: &Step| s.sign * sign > 0.0;
        let Some(first) = steps.iter().position(own) else {
            return Vec::new();
        };
        let Some(last) = steps.iter().rposition(own) else {
            return Vec::new();
        };
        steps[first..=last].to_vec()
    }

    fn many(&self, shape: &Shape, steps: &[Step], sign: f64, bounds: Bounds) -> Option<Fitted> {
        let around = self.around();
        let (first, last) = (steps.first()?.at, steps.last()?.at);
        let tight = Bounds {
            first: (first - around).max(bounds.first),
            last: (last + around).min(bounds.last.max(last + 8.0)),
        };
        let (window, start) = self.window(tight);
        let local: Vec<Step> = steps
            .iter()
            .map(|s| Step {
                at: s.at - start,
                sign: s.sign,
            })
            .collect();
        let mut fit = cluster::fit(window, shape, &local, 2)?;
        fit.steps.iter_mut().for_each(|s| s.at += start);
        Some(fitted(&fit, sign))
    }

    /// Improves the corner (and quality) of the probe on the openings, which do not bounce.
    fn settle_probe(&self, probe: &Probe, openings: &[f64]) -> Vec<Complex64> {
        let after: Vec<settle::After> = openings
            .iter()
            .filter_map(|&at| {
                let bounds = Bounds {
                    first: at - 0.0015 * self.rate_hz,
                    last: at + 0.006 * self.rate_hz,
                };
                let (window, start) = self.window(bounds);
                settle::After::new(window, at - start)
            })
            .collect();
        settle::poles(probe, &after, self.rate_hz)
    }
}

/// Middle one of some values; one, as of a residual that says nothing, when there are none.
fn usual(values: impl Iterator<Item = f64>) -> f64 {
    linear::median(&values.collect::<Vec<_>>()).unwrap_or(1.0)
}

/// The samples in which transitions lie, and how many samples after what places count from they begin.
#[derive(Clone, Copy)]
pub(crate) struct Line<'a> {
    pub(crate) samples: &'a [f64],
    pub(crate) from: f64,
    pub(crate) rate_hz: f64,
    pub(crate) followers: &'a Followers,
}

/// Takes sharp steps for what they are, a rough idea of where transitions of another shape lie.
fn roughen<'a>(fitted: impl Iterator<Item = &'a mut Fitted>, noise: f64, rate_hz: f64) {
    for fitted in fitted {
        fitted.variance += rough_variance_s2(fitted.residual) * rate_hz * rate_hz;
        fitted.residual = fitted.residual.min(noise.max(1e-4));
    }
}

/// Places transitions against one another by the shape they share, where that is surer than where they lie.
fn align(mut fitted: Vec<&mut Fitted>, line: Line<'_>) {
    let places: Vec<f64> = fitted.iter().map(|f| f.at - line.from).collect();
    let Some(alike) = onset::alike(line.samples, line.rate_hz, line.followers, &places) else {
        return;
    };
    let shifts: Vec<f64> = alike
        .iter()
        .zip(&places)
        .map(|(a, place)| a.0 - place)
        .collect();
    let Some(usual) = linear::median(&shifts) else {
        return;
    };
    for ((fitted, shift), (_, variance)) in fitted.iter_mut().zip(shifts).zip(alike) {
        let variance = ALIKE_VARIANCE * variance + ALIKE_SAMPLES.powi(2);
        if variance < fitted.variance {
            fitted.at += shift - usual;
            fitted.half_step += shift - usual;
            fitted.variance = variance;
        }
    }
}

/// Variance of a transition that a sharp step describes as badly as its residual says, in seconds².
pub(crate) fn rough_variance_s2(residual: f64) -> f64 {
    (ROUGH_SHARE_S * residual).powi(2)
}

/// What such places may be off for all transitions of a kind alike, as a variance in samples²: where the line rings, a
/// sharp step fits a later swing of it as well.
fn rough_common(residual: f64, rate_hz: f64) -> f64 {
    (ROUGH_COMMON_S * residual * rate_hz).powi(2)
}

fn fitted(fit: &Fit, sign: f64) -> Fitted {
    let ratio = fit.misfit();
    let noise = fit.noise / fit.amplitude;
    let unexplained = (ratio * ratio - noise * noise) * fit.samples as f64;
    let described = unexplained.clamp(UNEXPLAINED.start, UNEXPLAINED.end);
    let filter = SHARP_OWN.powi(2) * described;
    // What is nearly all the filter's is no noise as well.
    let energy = (ratio * ratio * fit.samples as f64).max(f64::MIN_POSITIVE);
    let filtered = unexplained.clamp(0.0, UNEXPLAINED.end) / energy;
    let noises = 1.0 - filtered.min(1.0).powi(NO_NOISE);
    let alone = NOISE_SHARE * noises * fit.variances[0] + WRONG_SAMPLE * ratio.powi(4) + filter;
    let chatters = fit.steps.len() > 1;
    let variance = if chatters { BESIDE * alone } else { alone };
    Fitted {
        at: fit.steps[0].at,
        half_step: fit.steps[0].at,
        variance,
        amplitude: fit.amplitude,
        residual: ratio,
        before: fit.level_before,
        after: fit.level_before + sign * fit.amplitude,
        reversals: fit.steps[1..]
            .chunks_exact(2)
            .map(|p| (p[0].at, p[1].at))
            .collect(),
    }
}

/// The extreme value that nearly all of the window has, and how many samples have it.
fn flat(window: &[f32]) -> Option<(f32, usize)> {
    let highest = window.iter().copied().fold(f32::MIN, f32::max);
    let lowest = window.iter().copied().fold(f32::MAX, f32::min);
    [highest, lowest]
        .into_iter()
        .map(|extreme| {
            let same = window.iter().filter(|x| **x == extreme);
            (extreme, same.count())
        })
        .max_by_key(|flat| flat.1)
        .filter(|&(_, count)| count >= 4 && 10 * count >= 6 * window.len())
}
