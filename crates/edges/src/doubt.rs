//! Whether a pulse count is beyond doubt.

use crate::analyse::{LEAST_PAUSE_S, PAUSE_PERIODS};
use crate::bank::Candidate;
use crate::chain::{CHATTER_S, Pulse};
use crate::linear;
use crate::types::{Doubt, Edge};

/// Below this signal-to-noise ratio an edge proves nothing.
pub(crate) const LEAST_SNR: f64 = 5.0;
/// Edges that leave this much, and so many times what their like leave, are unlike them.
const FOREIGN: f64 = 0.15;
const FOREIGN_USUALS: f64 = 6.0;
/// A step this large beside the train's own needs an explanation.
pub(crate) const NOTABLE: f64 = 0.45;

/// A step this large, or this clear, is one even with nothing beside it; the other edge of a smaller one is at least so large, and
/// as far away as breaks are long.
const WHOLE: f64 = 0.7;
const CLEAR_T: f64 = 8.0;
pub(crate) const PARTNER: f64 = 0.4;
/// A step at least so large beside the train's own, and so clear, hides a pulse where one seems to be missing.
pub(crate) const HIDDEN: f64 = 0.2;
const HIDDEN_T: f64 = 6.0;
const PARTNER_S: std::ops::RangeInclusive<f64> = 0.003..=0.2;
/// Of a train of so many pulses, or more, a step this much poorer than its own is a sound, unless it makes a break
/// that lies so close to a whole number of periods from the others.
const RHYTHM: usize = 3;
const SOUND: f64 = 0.2;
const MANY: usize = 6;
const IN_TIME: f64 = 0.07;
const LIKE_BREAK: f64 = 0.15;
/// A coarse match sees the spike of a slow opening, of a closing so early.
const SPIKE_S: [f64; 2] = [0.000_8, 0.001_5];
/// Closings that usually leave more than this of their size are no steps.
const STEP_RESIDUAL: f64 = 0.2;
/// No contact opens twice in so short a time without having closed for long enough to be seen.
const REPEATED_S: f64 = 0.020;
/// In white noise, a step of the loop is at least so clear beside the train's own.
const OF_THE_LOOP: f64 = 0.65;
/// Steps the smallest of which is this share of the usual one are of one size. Another is smaller than that by so many standard
/// deviations.
const ONE_SIZE: f64 = 0.75;
const OTHER_SIZE: f64 = 3.0;
/// What a sharp step leaves of a rounded or ringing transition lies so close to it.
const BESIDE_S: std::ops::Range<f64> = -0.010..0.016;

/// Logarithms by which a break, a period of a dial may differ from its usual one.
const UNEVEN_BREAK: f64 = 0.3;
const UNEVEN_PERIOD: f64 = 0.25;
/// No contact bounces for so long.
const LONGEST_CHATTER_S: f64 = 0.008;
/// Periods of dials, from 22 pps to 5 pps with a little room. Ringing may be faster.
const PERIOD_S: std::ops::Range<f64> = 0.0425..0.22;

/// What is known of a train at the coarse stage.
pub(crate) struct Evidence<'a> {
    pub(crate) pulses: &'a [Pulse],
    pub(crate) edges: &'a [Edge],
    /// Steps near the train that it does not explain.
    pub(crate) left_over: &'a [Candidate],
    /// A step that a pulse would have made where one seems to be missing.
    pub(crate) hidden: Option<Candidate>,
    pub(crate) amplitude: f64,
    pub(crate) rate_hz: f64,
    /// Blocks in the window.
    pub(crate) length: usize,
    pub(crate) first: bool,
    pub(crate) last: bool,
    pub(crate) start_s: f64,
    pub(crate) sign: f64,
    /// From a closure to the end of its chatter.
    pub(crate) longest_chatter_s: f64,
    /// Openings, closings are slow: neither their chatter is fitted with them nor how they differ.
    pub(crate) slow: [bool; 2],
    /// What the train's steps leave is white noise.
    pub(crate) white: bool,
    /// It was read by what the line's own transitions look like.
    pub(crate) by_own: bool,
}

impl Evidence<'_> {
    fn seconds(&self, block: usize) -> f64 {
        self.start_s + block as f64 / self.rate_hz
    }

    /// From opening to opening, in blocks.
    fn periods(&self) -> Vec<f64> {
        let pulses = self.pulses.windows(2);
        pulses
            .map(|w| (w[1].opening.at - w[0].opening.at) as f64)
            .collect()
    }

    fn period(&self) -> f64 {
        linear::median(&self.periods()).unwrap_or(0.1 * self.rate_hz)
    }

    /// In blocks.
    fn breaks(&self) -> Vec<f64> {
        let length = |p: &Pulse| (p.closing.at - p.opening.at) as f64;
        self.pulses.iter().map(length).collect()
    }

    /// Openings (0) or closings (1).
    fn of_kind(&self, kind: usize) -> impl Iterator<Item = &Edge> {
        self.edges.iter().skip(kind).step_by(2)
    }

    fn usual_residual(&self, kind: usize) -> f64 {
        let residuals: Vec<f64> = self.of_kind(kind).map(|e| e.residual).collect();
        linear::median(&residuals).unwrap_or(1.0)
    }

    /// Student's t of the train's own steps, usually.
    fn usual_t(&self) -> f64 {
        let own = self.pulses.iter();
        let own: Vec<f64> = own
            .flat_map(|p| [p.opening.t.abs(), p.closing.t.abs()])
            .collect();
        linear::median(&own).unwrap_or(0.0)
    }

    /// Whether nothing but white noise keeps steps from being described.
    fn is_in_noise(&self) -> bool {
        self.white && (0..2).all(|kind| self.usual_residual(kind) > STEP_RESIDUAL)
    }

    /// Whether a step is as large as this share of the train's own.
    fn is_large(&self, step: &Candidate, share: f64) -> bool {
        step.amplitude.abs() > share * self.amplitude
    }

    /// Whether a step needs an explanation.
    fn is_notable(&self, step: &Candidate) -> bool {
        self.is_large(step, NOTABLE) && step.t.abs() > LEAST_SNR
    }
}

/// Every reason to doubt the count.
pub(crate) fn doubts(evidence: &Evidence<'_>) -> Vec<Doubt> {
    let mut out = Vec::new();
    out.extend(cut_off(evidence));
    out.extend(weakest(evidence).or_else(|| foreign(evidence)));
    let hidden = || {
        let hidden = evidence.hidden.as_ref();
        hidden.map(|c| Doubt::UnexplainedEdge(evidence.seconds(c.at)))
    };
    out.extend(unexplained(evidence).or_else(hidden));
    out.extend(irregular(evidence));
    out
}

/// Where a pulse seems to be missing: a place at which it would have opened or closed, whether it is an opening, and how far
/// from there it may have been.
pub(crate) struct Missing {
    at: f64,
    opens: bool,
    within: f64,
}

/// Places of the pulses that a train of a dial's rhythm would have in its holes.
pub(crate) fn missing(pulses: &[Pulse]) -> Vec<Missing> {
    let of = |measure: fn(&[Pulse]) -> f64, length: usize| {
        linear::median(&pulses.windows(length).map(measure).collect::<Vec<_>>())
    };
    let period = of(|p| (p[1].opening.at - p[0].opening.at) as f64, 2);
    let length = of(|p| (p[0].closing.at - p[0].opening.at) as f64, 1);
    let (Some(period), Some(length)) = (period, length) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for pair in pulses.windows(2) {
        let (from, to) = (pair[0].opening.at as f64, pair[1].opening.at as f64);
        let periods = ((to - from) / period).round();
        for number in 1..periods as usize {
            let at = from + (to - from) * number as f64 / periods;
            let within = IN_TIME * period;
            out.extend(
                [(at, true), (at + length, false)].map(|(at, opens)| Missing { at, opens, within }),
            );
        }
    }
    out
}

/// One of the steps that lies where a missing pulse would have made it. What the recorder cuts off, or hum hides, leaves
/// less of it than of the others.
pub(crate) fn hidden(missing: &[Missing], steps: Vec<Candidate>, sign: f64) -> Option<Candidate> {
    steps
        .into_iter()
        .filter(|c| c.t.abs() > HIDDEN_T)
        .find(|c| {
            missing.iter().any(|m| {
                (c.at as f64 - m.at).abs() < m.within && (c.amplitude * sign > 0.0) == m.opens
            })
        })
}

fn weakest(evidence: &Evidence<'_>) -> Option<Doubt> {
    evidence
        .edges
        .iter()
        .filter(|e| e.snr < LEAST_SNR)
        .min_by(|a, b| a.snr.total_cmp(&b.snr))
        .map(|e| Doubt::WeakEdge(e.instant_s))
}

/// A pulse neither of whose edges is a step as the others are may be sound that goes on after the dial has stopped.
fn foreign(evidence: &Evidence<'_>) -> Option<Doubt> {
    let usual = [0, 1].map(|kind| evidence.usual_residual(kind));
    let unlike = |edge: &Edge, usual: f64| edge.residual > FOREIGN.max(FOREIGN_USUALS * usual);
    evidence
        .edges
        .chunks_exact(2)
        .find(|p| unlike(&p[0], usual[0]) && unlike(&p[1], usual[1]))
        .map(|p| Doubt::WeakEdge(p[0].instant_s))
}

fn unexplained(evidence: &Evidence<'_>) -> Option<Doubt> {
    unexplained_steps(evidence)
        .find(|c| !follows_opening(evidence, c) && !is_of_another_size(evidence, c))
        .map(|c| Doubt::UnexplainedEdge(evidence.seconds(c.at)))
}

/// Steps that a train does not explain, large enough to be those of a pulse, and no sound.
fn unexplained_steps<'a>(evidence: &'a Evidence<'_>) -> impl Iterator<Item = &'a Candidate> {
    let sounds = sounds_below(evidence);
    // A loop is open or closed: in white noise a step so much smaller than the others is noise.
    let clear = if evidence.is_in_noise() {
        OF_THE_LOOP * evidence.usual_t()
    } else {
        0.0
    };
    notable_steps(evidence)
        .filter(|c| {
            let whole = evidence.is_large(c, WHOLE) || c.t.abs() > CLEAR_T;
            whole || has_partner(evidence, c)
        })
        .filter(move |c| evidence.is_large(c, WHOLE) || c.t.abs() >= clear)
        .filter(|c| evidence.is_large(c, WHOLE) || !is_repeated(evidence, c))
        .filter(move |c| c.t.abs() >= sounds || keeps_time(evidence, c))
}

/// Steps that a train does not explain, whatever they are.
fn notable_steps<'a>(evidence: &'a Evidence<'_>) -> impl Iterator<Item = &'a Candidate> {
    let period = evidence.period();
    let first = evidence.pulses.first().map_or(0.0, |p| p.opening.at as f64);
    let last = evidence.pulses.last().map_or(0.0, |p| p.closing.at as f64);
    let around = first - 2.0 * period..last + 2.0 * period;
    let steps = evidence.slow[1] || evidence.usual_residual(1) < STEP_RESIDUAL;
    evidence
        .left_over
        .iter()
        .filter(move |c| around.contains(&(c.at as f64)))
        .filter(move |c| !begins_another(evidence, c) && !belongs(evidence, c, steps))
        .filter(|c| evidence.is_notable(c))
}

/// Student's t below which a step is so much poorer a likeness of one than the train's own are that it is some sound;
/// where there are many. A contact that reopens for a moment leaves poor steps too, but few.
fn sounds_below(evidence: &Evidence<'_>) -> f64 {
    let large = evidence.left_over.iter();
    let many = large.filter(|c| evidence.is_large(c, PARTNER)).count() >= MANY;
    if many && evidence.pulses.len() >= RHYTHM {
        SOUND * evidence.usual_t()
    } else {
        0.0
    }
}

/// Whether a step and another make a break like the train's own, in time with it.
fn keeps_time(evidence: &Evidence<'_>, step: &Candidate) -> bool {
    let usual = linear::median(&evidence.breaks());
    let (Some(usual), Some(first)) = (usual, evidence.pulses.first()) else {
        return true;
    };
    let in_time = |opening: &Candidate| {
        let periods = (opening.at as f64 - first.opening.at as f64) / evidence.period();
        (periods - periods.round()).abs() < IN_TIME
    };
    let large = evidence.left_over.iter();
    large
        .filter(|c| evidence.is_large(c, PARTNER))
        .any(|other| {
            let (opening, closing) = if step.amplitude * evidence.sign > 0.0 {
                (step, other)
            } else {
                (other, step)
            };
            let length = closing.at as f64 - opening.at as f64;
            opening.amplitude * closing.amplitude < 0.0
                && (length / usual).ln().abs() < LIKE_BREAK
                && in_time(opening)
        })
}

/// Whether a step follows or precedes one that goes the same way, with nothing back between: a loop that has opened closes
/// before it opens again, and a voice does not.
fn is_repeated(evidence: &Evidence<'_>, step: &Candidate) -> bool {
    let near = (REPEATED_S * evidence.rate_hz) as usize;
    let large = || {
        evidence
            .left_over
            .iter()
            .filter(|c| evidence.is_large(c, PARTNER))
    };
    let goes_alike = |other: &Candidate| other.amplitude * step.amplitude > 0.0;
    large()
        .filter(|other| {
            goes_alike(other) && other.at != step.at && other.at.abs_diff(step.at) <= near
        })
        .any(|other| {
            let between = step.at.min(other.at)..step.at.max(other.at);
            !large().any(|c| !goes_alike(c) && between.contains(&c.at))
        })
}

/// A break has two edges. Half a step in noise with nothing like its other edge in reach is none.
fn has_partner(evidence: &Evidence<'_>, step: &Candidate) -> bool {
    let at_s = evidence.seconds(step.at);
    evidence.left_over.iter().any(|other| {
        let apart_s = (evidence.seconds(other.at) - at_s).abs();
        PARTNER_S.contains(&apart_s)
            && other.amplitude * step.amplitude < 0.0
            && evidence.is_large(other, PARTNER)
    })
}

/// Where the steps lie that a train does not explain.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Odd {
    /// Share of the openings, of the closings that have one beside them.
    pub(crate) beside: [f64; 2],
    /// Some lie beside none.
    pub(crate) elsewhere: bool,
    /// There is one somewhere, be it only a sound.
    pub(crate) anything: bool,
    /// One lies where a pulse seems to be missing, and may be what is left of it.
    pub(crate) hides: bool,
}

/// See `Odd`.
pub(crate) fn odd(evidence: &Evidence<'_>) -> Odd {
    let mut beside = vec![false; evidence.edges.len()];
    let hides = evidence.hidden.is_some();
    let mut elsewhere = hides;
    for step in unexplained_steps(evidence) {
        let at_s = evidence.seconds(step.at);
        let nearest = (0..beside.len()).min_by(|&a, &b| {
            let apart = |i: usize| (evidence.edges[i].instant_s - at_s).abs();
            apart(a).total_cmp(&apart(b))
        });
        match nearest {
            Some(i) if BESIDE_S.contains(&(at_s - evidence.edges[i].instant_s)) => beside[i] = true,
            _ => elsewhere = true,
        }
    }
    let share = |kind: usize| {
        let own = beside.iter().skip(kind).step_by(2);
        own.clone().filter(|b| **b).count() as f64 / own.count().max(1) as f64
    };
    Odd {
        beside: [share(0), share(1)],
        elsewhere,
        anything: hides || notable_steps(evidence).next().is_some(),
        hides,
    }
}

/// An opening after a pause that ends a digit is the next digit's.
fn begins_another(evidence: &Evidence<'_>, step: &Candidate) -> bool {
    let pause = (LEAST_PAUSE_S * evidence.rate_hz).max(PAUSE_PERIODS * evidence.period());
    evidence
        .pulses
        .last()
        .is_some_and(|last| step.at as f64 > last.closing.at as f64 + pause)
        && step.amplitude * evidence.sign > 0.0
}

/// What lies so close to a transition makes no pulse more or less, whatever it is: a closing's chatter, or how a
/// slow transition differs from its like. A sharp opening has neither, and closings that are no steps prove nothing.
fn belongs(evidence: &Evidence<'_>, step: &Candidate, closings_are_steps: bool) -> bool {
    let at_s = evidence.seconds(step.at);
    let near = |kind: usize| {
        let mut since = evidence.of_kind(kind).map(|edge| at_s - edge.instant_s);
        since.any(|since_s| (-SPIKE_S[kind]..CHATTER_S).contains(&since_s))
    };
    (evidence.slow[0] && near(0)) || (closings_are_steps && near(1))
}

/// Whether a step of a train of some pulses comes so soon after an opening that it can be no pulse's: that opening rings
/// otherwise than its like do, as the first of a train may, which starts from another state.
fn follows_opening(evidence: &Evidence<'_>, step: &Candidate) -> bool {
    let at_s = evidence.seconds(step.at);
    let mut since = evidence.of_kind(0).map(|edge| at_s - edge.instant_s);
    evidence.pulses.len() >= RHYTHM
        && since.any(|since_s| (-SPIKE_S[0]..CHATTER_S).contains(&since_s))
}

/// Whether a step is so much smaller than those of the line, which are all of one size, that no noise makes one of those of it: a
/// loop is open or closed. Ringing is not, so that this holds only where the line is known.
fn is_of_another_size(evidence: &Evidence<'_>, step: &Candidate) -> bool {
    let size = |c: &Candidate| c.amplitude.abs() / evidence.amplitude;
    let own = evidence
        .pulses
        .iter()
        .flat_map(|p| [&p.opening, &p.closing]);
    let least = own.map(size).fold(f64::MAX, f64::min);
    let uncertain = size(step) / step.t.abs().max(f64::MIN_POSITIVE);
    evidence.by_own && least > ONE_SIZE && least - size(step) > OTHER_SIZE * uncertain
}

/// How far each transition may be off because what lies beside it is not accounted for: the distance to the farthest
/// such step, in seconds. Slow transitions have an uncertainty of their own.
pub(crate) fn unsettled_s(evidence: &Evidence<'_>) -> Vec<f64> {
    let steps = evidence.left_over.iter();
    let steps: Vec<f64> = steps
        .filter(|c| evidence.is_notable(c))
        .map(|c| evidence.seconds(c.at))
        .collect();
    let of_edge = |(i, edge): (usize, &Edge)| {
        let kind = i % 2;
        if evidence.slow[kind] {
            return 0.0;
        }
        let apart = steps.iter().map(|at_s| at_s - edge.instant_s);
        let near = apart.filter(|since_s| (-SPIKE_S[kind]..CHATTER_S).contains(since_s));
        near.map(f64::abs).fold(0.0, f64::max)
    };
    evidence.edges.iter().enumerate().map(of_edge).collect()
}

/// A dial's pulses are alike; a hand on the hook is not that even.
fn irregular(evidence: &Evidence<'_>) -> Option<Doubt> {
    let breaks = evidence.breaks();
    let usual = linear::median(&breaks)?;
    let uneven = breaks.iter().any(|b| (b / usual).ln().abs() > UNEVEN_BREAK);
    let period = evidence.period();
    let unsteady = evidence.periods().iter().any(|own| {
        let ratio = own / period;
        (ratio.ln().abs() > UNEVEN_PERIOD) && ((ratio / 2.0).ln().abs() > 0.1)
    });
    let uneven = uneven || evidence.longest_chatter_s > LONGEST_CHATTER_S;
    let known = evidence.pulses.len() < 3 || PERIOD_S.contains(&(period / evidence.rate_hz));
    (uneven || unsteady || !known).then_some(Doubt::Irregular)
}

fn cut_off(evidence: &Evidence<'_>) -> Option<Doubt> {
    let period = evidence.period();
    let (first, last) = (evidence.pulses.first()?, evidence.pulses.last()?);
    let lead = first.opening.at as f64;
    // A closing shortly before the first opening is the end of a pulse that the recording missed.
    let cut_short = evidence.first && {
        let early = evidence.left_over.iter().any(|c| {
            evidence.is_notable(c)
                && c.amplitude * evidence.sign < 0.0
                && (c.at as f64) < lead.min(period)
                && lead - (c.at as f64) < 1.2 * period
        });
        early || lead < 0.6 * period
    };
    if cut_short {
        return Some(Doubt::StartsInside);
    }
    let rest = evidence.length as f64 - last.closing.at as f64;
    (evidence.last && rest < 1.2 * period).then_some(Doubt::EndsInside)
}

/// Probability of another count: the weakest pulse is noise, by the Gaussian odds of its two edges.
pub(crate) fn count_risk(edges: &[Edge]) -> f64 {
    edges
        .chunks_exact(2)
        .map(|p| (-0.25 * (p[0].snr.powi(2) + p[1].snr.powi(2))).exp())
        .fold(0.0, f64::max)
}
