//! What a transition is that the pulses of a digit do not explain: the closure that splits a break, or an
//! opening in a make. The detector says where one lies; what it is shows in the trace beside it.

use edges::{Doubt, Polarity, Snippet, Trace, Train};

use crate::grouping::{Break, Group, Interruption, SPLIT_CLOSURE_S};

/// Shortest closure or opening told, in seconds: shorter ones are clicks and chatter.
const SHORTEST_S: f64 = 0.002;
/// Longest opening in a make that is told, in seconds: no dial in order sends so short a pulse.
const LONGEST_OPENING_S: f64 = SPLIT_CLOSURE_S;
/// Of the dial's step, so much at least at both ends. Slow makes and transformers leave little more.
const LEAST_JUMP: f64 = 0.35;
/// And so many standard deviations of the noise in it.
const LEAST_NOISES: f64 = 4.0;
/// Left out to either side of a place, then so much taken: of a sharp step, and of a slow rise, in seconds.
const GAP_S: f64 = 0.000_1;
const TAKEN_S: [f64; 2] = [0.000_5, 0.002];
/// The detector's place may be off by this, in seconds.
const PLACE_S: f64 = 0.000_4;
/// Nearer than this to an edge of the train, beside the time taken, in seconds, what changes is that edge.
const EDGE_S: f64 = 0.000_2;

/// Adds what is told to the breaks.
pub(crate) fn tell(trace: &Trace, groups: &mut [Group]) {
    for (index, train) in trace.trains.iter().enumerate() {
        let places = train.doubts.iter().filter_map(|doubt| match doubt {
            Doubt::UnexplainedEdge(at_s) => Some(*at_s),
            _ => None,
        });
        for at_s in places {
            for group in groups
                .iter_mut()
                .filter(|group| group.trains().contains(&index))
            {
                if let Some((pulse, found)) = in_group(train, &group.breaks, at_s) {
                    group.breaks[pulse].interruptions.push(found);
                }
            }
        }
    }
}

/// Which pulse the transition belongs to, and what it is.
fn in_group(train: &Train, breaks: &[Break], at_s: f64) -> Option<(usize, Interruption)> {
    let pulse = breaks
        .iter()
        .rposition(|pulse| pulse.open.instant_s < at_s)?;
    let this = &breaks[pulse];
    let next_open_s = breaks
        .get(pulse + 1)
        .map_or(f64::INFINITY, |next| next.open.instant_s);
    let already = |found: &Interruption| (found.at_s() - at_s).abs() < SPLIT_CLOSURE_S;
    if this.interruptions.iter().any(already) {
        return None;
    }
    let jumps = Jumps::of(train)?;
    let own = jumps.near(at_s)?;
    let other = jumps.partner(at_s, own)?;
    let closes_first = (own > 0.0) == (at_s < other);
    let span_s = [at_s.min(other), at_s.max(other)];
    let found = if closes_first {
        closure(train, this, span_s)
    } else {
        opening(this, next_open_s, span_s)
    };
    found.map(|found| (pulse, found))
}

/// A closure in a break: it splits the break, unless what is left of the break is so short that the break was over.
fn closure(train: &Train, pulse: &Break, [from_s, to_s]: [f64; 2]) -> Option<Interruption> {
    let (closure_s, rest_s) = (to_s - from_s, pulse.close.instant_s - to_s);
    if closure_s >= SPLIT_CLOSURE_S {
        None
    } else if rest_s > closure_s {
        Some(Interruption::Split {
            at_s: from_s,
            closure_s,
        })
    } else if rest_s > 0.0 {
        Some(Interruption::Reopening {
            at_s: to_s,
            opening_s: rest_s,
        })
    } else {
        // The closing was placed within the chatter: what follows it is the reopening.
        let mut reversals = train.reversals.iter();
        let reopening =
            reversals.find(|reversal| (reversal.start_s - to_s).abs() < SHORTEST_S / 2.0)?;
        Some(Interruption::Reopening {
            at_s: reopening.start_s,
            opening_s: reopening.end_s - reopening.start_s,
        })
    }
}

/// An opening in the make, too short for a pulse.
fn opening(pulse: &Break, next_open_s: f64, [from_s, to_s]: [f64; 2]) -> Option<Interruption> {
    let within = from_s > pulse.close.instant_s && to_s < next_open_s;
    let opening_s = to_s - from_s;
    (within && opening_s < LONGEST_OPENING_S).then_some(Interruption::Reopening {
        at_s: from_s,
        opening_s,
    })
}

/// Changes of the trace from before a place to after it, in parts of the dial's step; closing is positive.
struct Jumps<'a> {
    snippet: &'a Snippet,
    edges_s: Vec<f64>,
    step: f64,
    least: f64,
}

impl<'a> Jumps<'a> {
    fn of(train: &'a Train) -> Option<Self> {
        let sign = match train.polarity {
            Polarity::Normal => 1.0,
            Polarity::Inverted => -1.0,
        };
        (train.step > 0.0 && train.snippet.rate_hz > 0.0).then(|| Jumps {
            snippet: &train.snippet,
            edges_s: train.edges.iter().map(|edge| edge.instant_s).collect(),
            step: sign * train.step,
            least: least_jump(train),
        })
    }

    /// Mean of the trace between two places; `None` where it holds no sample.
    fn mean(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let place = |at_s: f64| ((at_s - self.snippet.start_s) * self.snippet.rate_hz).round();
        let (from, to) = (place(from_s), place(to_s));
        if from < 0.0 {
            return None;
        }
        let samples = self.snippet.samples.get(from as usize..to as usize)?;
        let sum: f64 = samples.iter().map(|sample| f64::from(*sample)).sum();
        (!samples.is_empty()).then(|| sum / samples.len() as f64)
    }

    /// The larger of the changes over the two widths.
    fn at(&self, at_s: f64) -> Option<f64> {
        self.over(at_s, TAKEN_S.into_iter())
    }

    /// The same over those of the widths within which no edge of the train lies.
    fn clear_at(&self, at_s: f64) -> Option<f64> {
        let edges = self.edges_s.iter();
        let clear_s = edges
            .map(|edge| (at_s - edge).abs())
            .fold(f64::INFINITY, f64::min);
        let widths = TAKEN_S.into_iter();
        self.over(at_s, widths.filter(|taken_s| clear_s >= taken_s + EDGE_S))
    }

    fn over(&self, at_s: f64, widths: impl Iterator<Item = f64>) -> Option<f64> {
        let change = |taken_s: f64| {
            let before = self.mean(at_s - GAP_S - taken_s, at_s - GAP_S)?;
            let after = self.mean(at_s + GAP_S, at_s + GAP_S + taken_s)?;
            Some((after - before) / self.step)
        };
        widths.filter_map(change).max_by(larger)
    }

    fn grid(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = f64> {
        let step_s = 1.0 / self.snippet.rate_hz;
        let count = ((to_s - from_s) / step_s).max(0.0) as usize;
        (0..=count).map(move |index| from_s + step_s * index as f64)
    }

    /// The change at the detector's place; `None` when it is too small to be one of the contact's.
    fn near(&self, at_s: f64) -> Option<f64> {
        let changes = self
            .grid(at_s - PLACE_S, at_s + PLACE_S)
            .filter_map(|place| self.at(place));
        changes
            .max_by(larger)
            .filter(|change| change.abs() >= self.least)
    }

    /// Where the contact goes back: the largest change of the other sign, unless an edge of the train makes it.
    fn partner(&self, at_s: f64, own: f64) -> Option<f64> {
        let reach = SPLIT_CLOSURE_S;
        let places = self
            .grid(at_s - reach, at_s + reach)
            .filter(|place| (place - at_s).abs() >= SHORTEST_S);
        let changes = places.filter_map(|place| Some((place, self.clear_at(place)?)));
        changes
            .filter(|(_, change)| change * own < 0.0 && change.abs() >= self.least)
            .max_by(|one, other| larger(&one.1, &other.1))
            .map(|(place, _)| place)
    }
}

/// In parts of the step. The snippet's noise is at most the train's, and two means of the shorter width differ.
fn least_jump(train: &Train) -> f64 {
    let samples = (TAKEN_S[0] * train.snippet.rate_hz).max(1.0);
    let noise = train.noise_rms / train.step * (2.0 / samples).sqrt();
    LEAST_JUMP.max(LEAST_NOISES * noise)
}

fn larger(one: &f64, other: &f64) -> std::cmp::Ordering {
    one.abs().total_cmp(&other.abs())
}
