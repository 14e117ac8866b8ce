//! Groups edges into breaks, breaks into digits.

use edges::Trace;

use crate::chatter::{self, Chatter};
use crate::unexplained;

/// A make of this length or more always ends a digit, in seconds. It is longer than any make within a
/// digit at 7 pps and up, and shorter than the pause any hand and lost motion leave.
const SEPARATING_MAKE_S: f64 = 0.180;
/// A make within a digit is shorter than this many median periods: a slow dial needs more than
/// [`SEPARATING_MAKE_S`] for a make across one hole.
const SEPARATING_PERIODS: f64 = 1.7;
/// A closure shorter than this does not part two pulses, in seconds: a receiver that counts ignores it.
pub(crate) const SPLIT_CLOSURE_S: f64 = 0.015;
/// ... unless the dial is so fast that all its makes are that short: a closure that parts a break is also
/// shorter than this many usual makes of the dial,
const SPLIT_USUAL_MAKES: f64 = 0.6;
/// or its two openings follow one another faster than any dial sends, in seconds.
const FASTEST_PERIOD_S: f64 = 0.040;
/// How near to two periods, in periods, the distance between two openings is that spans a hole.
const HOLE_TOLERANCE_PERIODS: f64 = 0.15;

/// Where an edge stands in the trace, and when it happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Contact {
    /// Index into the trace's trains.
    pub(crate) train: usize,
    /// Index into the train's edges.
    pub(crate) edge: usize,
    /// Instant of the contact itself, in seconds.
    pub(crate) instant_s: f64,
    /// Instant at half step, in seconds.
    pub(crate) half_step_s: f64,
}

/// Something in a break that makes its pulse doubtful.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Interruption {
    /// A short closure with a longer opening after it: instant and length of the closure, in seconds.
    Split { at_s: f64, closure_s: f64 },
    /// A reopening too late or too long for chatter, too early for a pulse: instant and length, in seconds.
    Reopening { at_s: f64, opening_s: f64 },
}

impl Interruption {
    /// Where it begins, in seconds.
    pub(crate) fn at_s(&self) -> f64 {
        match self {
            Interruption::Split { at_s, .. } | Interruption::Reopening { at_s, .. } => *at_s,
        }
    }
}

/// One break: the loop opens, the loop closes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Break {
    pub(crate) open: Contact,
    pub(crate) close: Contact,
    pub(crate) chatter: Chatter,
    pub(crate) interruptions: Vec<Interruption>,
}

/// The breaks of one digit.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Group {
    pub(crate) breaks: Vec<Break>,
    /// Indices of breaks after which an opening is missing.
    pub(crate) holes: Vec<usize>,
}

impl Group {
    /// Start of the first break, in seconds.
    pub(crate) fn start_s(&self) -> f64 {
        self.first().open.instant_s
    }

    /// End of the last break, in seconds.
    pub(crate) fn end_s(&self) -> f64 {
        self.last().close.instant_s
    }

    /// Median of the periods, in seconds.
    pub(crate) fn median_period_s(&self) -> Option<f64> {
        lower_median(
            self.breaks
                .windows(2)
                .map(|pair| period_s(&pair[0], &pair[1])),
        )
    }

    /// Indices of the trains that the digit draws on.
    pub(crate) fn trains(&self) -> std::ops::RangeInclusive<usize> {
        self.first().open.train..=self.last().close.train
    }

    pub(crate) fn first(&self) -> &Break {
        &self.breaks[0]
    }

    pub(crate) fn last(&self) -> &Break {
        &self.breaks[self.breaks.len() - 1]
    }
}

/// Groups the edges of a trace into digits. No group is empty.
pub(crate) fn digits(trace: &Trace) -> Vec<Group> {
    let breaks = fuse(all_breaks(trace));
    let mut groups: Vec<Vec<Break>> = Vec::new();
    for next in &breaks {
        match groups.last_mut() {
            Some(group) if !separates(&breaks, &group[group.len() - 1], next) => {
                group.push(next.clone())
            }
            _ => groups.push(vec![next.clone()]),
        }
    }
    let mut groups: Vec<Group> = groups.into_iter().map(with_holes).collect();
    unexplained::tell(trace, &mut groups);
    groups
}

/// Every opening with the closing after it, in time order.
fn all_breaks(trace: &Trace) -> Vec<Break> {
    let mut breaks = Vec::new();
    for (train_index, train) in trace.trains.iter().enumerate() {
        let contact = |edge: usize| Contact {
            train: train_index,
            edge,
            instant_s: train.edges[edge].instant_s,
            half_step_s: train.edges[edge].half_step_s,
        };
        for open in (0..train.edges.len() / 2).map(|pair| 2 * pair) {
            breaks.push(Break {
                open: contact(open),
                close: contact(open + 1),
                chatter: chatter::of_closing(train, open + 1),
                interruptions: Vec::new(),
            });
        }
    }
    breaks
}

/// Joins what a short closure parts: one pulse, not two.
fn fuse(breaks: Vec<Break>) -> Vec<Break> {
    let usual_make_s = usual_make_s(&breaks);
    let mut fused: Vec<Break> = Vec::with_capacity(breaks.len());
    for next in breaks {
        match fused.last_mut() {
            Some(last) if is_split(last, &next, usual_make_s) => interrupt(last, next),
            _ => fused.push(next),
        }
    }
    fused
}

/// True when the closure between two breaks is too short to part two pulses.
fn is_split(last: &Break, next: &Break, usual_make_s: f64) -> bool {
    let closure_s = make_s(last, next);
    closure_s < SPLIT_CLOSURE_S
        && (closure_s < SPLIT_USUAL_MAKES * usual_make_s || period_s(last, next) < FASTEST_PERIOD_S)
}

/// Upper median of the makes within digits, in seconds; a lone closure is no measure of itself.
fn usual_make_s(breaks: &[Break]) -> f64 {
    let makes = breaks.windows(2).map(|pair| make_s(&pair[0], &pair[1]));
    let mut makes: Vec<f64> = makes.filter(|make| *make < SEPARATING_MAKE_S).collect();
    makes.sort_by(f64::total_cmp);
    makes.get(makes.len() / 2).copied().unwrap_or(0.0)
}

/// Takes into `last` the opening that follows it after a short closure.
fn interrupt(last: &mut Break, next: Break) {
    let closure_s = make_s(last, &next);
    let opening_s = break_s(&next);
    if opening_s > closure_s {
        last.interruptions.push(Interruption::Split {
            at_s: last.close.instant_s,
            closure_s,
        });
        last.close = next.close;
        last.chatter = next.chatter;
    } else {
        last.interruptions.push(Interruption::Reopening {
            at_s: next.open.instant_s,
            opening_s,
        });
    }
}

/// True when the make between two breaks ends a digit.
fn separates(breaks: &[Break], last: &Break, next: &Break) -> bool {
    let make_s = make_s(last, next);
    make_s >= SEPARATING_MAKE_S
        && make_s >= SEPARATING_PERIODS * period_around_s(breaks, last, next)
}

/// Median period of the trains that hold two breaks, in seconds; 0 when they have none. Makes that end a
/// digit at any speed are left out, so that a train of several short digits has the period of its pulses.
fn period_around_s(breaks: &[Break], last: &Break, next: &Break) -> f64 {
    let trains = last.open.train..=next.close.train;
    let periods = breaks
        .windows(2)
        .filter(|pair| trains.contains(&pair[0].open.train) && trains.contains(&pair[1].open.train))
        .filter(|pair| make_s(&pair[0], &pair[1]) < SEPARATING_MAKE_S)
        .map(|pair| period_s(&pair[0], &pair[1]));
    lower_median(periods).unwrap_or(0.0)
}

/// Finds the holes of a digit: places where the distance between two openings is two periods.
fn with_holes(breaks: Vec<Break>) -> Group {
    let mut group = Group {
        breaks,
        holes: Vec::new(),
    };
    if let Some(median_s) = group.median_period_s() {
        group.holes = (0..group.breaks.len() - 1)
            .filter(|index| {
                let distance = period_s(&group.breaks[*index], &group.breaks[index + 1]) / median_s;
                (distance - 2.0).abs() <= HOLE_TOLERANCE_PERIODS
            })
            .collect();
    }
    group
}

/// Length of a break, in seconds.
pub(crate) fn break_s(pulse: &Break) -> f64 {
    pulse.close.instant_s - pulse.open.instant_s
}

/// Length of the make between two breaks, in seconds.
pub(crate) fn make_s(pulse: &Break, next: &Break) -> f64 {
    next.open.instant_s - pulse.close.instant_s
}

/// Opening to opening, in seconds.
pub(crate) fn period_s(pulse: &Break, next: &Break) -> f64 {
    next.open.instant_s - pulse.open.instant_s
}

/// The middle value; of an even number the smaller of the two middle ones, so that of one period and one
/// hole the period is taken.
fn lower_median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len().checked_sub(1)? / 2).copied()
}
