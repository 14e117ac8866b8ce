//! Trains of one or two pulses have no rhythm of their own to prove them. They are believed when a longer
//! train beside them has the same break, or when their steps are plain changes of level.

use crate::analyse::Seen;
use crate::doubt::LEAST_SNR;
use crate::linear;
use crate::look::Look;
use crate::refine::{ROUGH_KIND, rough_variance_s2};
use crate::types::{Direction, Doubt, Edge, Polarity, Train};

/// A train with so many even pulses proves itself.
const PROVING: usize = 3;
/// Breaks of one dial, and its periods, differ by less than this factor's logarithm.
const ALIKE: f64 = 0.35;
/// How far one line moves the trace differs by less.
const SAME_REACH: f64 = 0.7;
/// What moves the trace as far as a sure train does, by less than this, is something of its line, and not passed over.
const AS_FAR: f64 = 0.4;
/// What keeps this share of its reach in a break is the level of a line, and what keeps less than this share of that is not.
const KEEPS: f64 = 0.4;
const LETS_GO: f64 = 0.25;
/// A train that keeps so much goes from level to level. What swings slowly goes on beyond what it moves by around its steepest.
const LEVELS: std::ops::Range<f64> = KEEPS..1.15;
/// Openings of a doubtful train leave less than this, or the train is left out.
const REPORTED_RESIDUAL: f64 = 0.12;
/// Both kinds of edges leave more than this, and no white noise.
const DROWNED_RESIDUAL: f64 = 0.2;
/// Hum is so many times as large as what a train moves the trace by.
const DROWNED_HUM: f64 = 6.0;
/// Breaks over periods of a dial, however ill adjusted.
const SHARES: std::ops::Range<f64> = 0.2..0.96;
/// No dial sends more pulses without a rest, whatever is wrong with it.
const MOST_PULSES: usize = 24;
/// Sizes of like steps differ by less than this factor; so do opening and closing of a short train.
const SPREAD: f64 = 1.6;
const UNEQUAL: f64 = 1.4;
/// Standard deviation of an edge, as a share of the distance to a step beside it that may be part of it.
const BESIDE: f64 = 0.5;
/// A break longer than this may be the flash of a hook switch: receivers take openings from 90 ms on for
/// one.
const FLASH_S: f64 = 0.090;
/// Breaks and periods of short trains that prove one another differ by less than this factor's logarithm.
const SAME_LENGTH: f64 = 0.06;
/// So do breaks of trains that are in step, and their periods differ by less than this; so many pulses they have together.
const SAME_RHYTHM: f64 = 0.03;
const IN_STEP: usize = 7;
/// What moves the trace less than this share of the farthest need not agree with it.
const BESIDE_REACH: f64 = 0.5;

/// Adds doubts to short trains that nothing confirms, and leaves out what is no dialling. A step that is a
/// plain change of level counts for more than a spike.
pub(crate) fn confirm(seen: &mut Vec<Seen>) {
    let proven: Vec<Kind> = seen
        .iter()
        .filter(|s| is_certain(s))
        .filter_map(Kind::of)
        .collect();
    let proven = if proven.is_empty() {
        agreed(seen)
    } else {
        proven
    };
    seen.iter_mut().for_each(|s| explain_like(s, &proven));
    // Openings and closings of one sound are a dial's only where other digits on the line say that it sounds so.
    let whole: Vec<(f64, f64)> = seen.iter().filter(|s| !s.sounded).map(extent).collect();
    let is_free = |own: (f64, f64)| whole.iter().all(|w| own.1 < w.0 || own.0 > w.1);
    seen.retain(|s| {
        let alike = |own: Kind| proven.iter().any(|p| own.alike(p) || own.is_seen_in(p));
        !s.sounded || (is_free(extent(s)) && Kind::of(s).is_some_and(alike))
    });
    // A hand on the hook makes some openings that no dial makes; the rest of them is hers too.
    let handled = seen.iter().any(|s| {
        let single = s.train.edges.len() == 2;
        s.train.doubts.contains(&Doubt::Irregular)
            || (single && usual_break(&s.train).is_some_and(|break_s| break_s > FLASH_S))
    });
    let is_sound = proven.is_empty() && contradict(seen);
    let in_step = in_step(seen);
    let standings: Vec<Standing> = seen
        .iter_mut()
        .zip(in_step)
        .map(|(s, in_step)| match standing(s, &proven, handled) {
            Standing::Doubted if is_sound && is_fleeting(s) => Standing::LeftOut,
            Standing::LeftOut if in_step => Standing::Doubted,
            standing => standing,
        })
        .collect();
    let sure: Vec<Kind> = seen
        .iter()
        .zip(&standings)
        .filter(|(_, standing)| **standing == Standing::BeyondDoubt)
        .filter_map(|(s, _)| Kind::of(s))
        .collect();
    // A sure digit beside one that is left out in silence makes a wrong number.
    let of_the_line = |s: &Seen| {
        let beside = |own: &Kind, sure: &Kind| {
            let reaches = [s.reach, s.farthest];
            let as_far = reaches.iter().any(|r| is_near(*r, sure.reach, AS_FAR));
            (as_far && !own.lets_go(sure)) || own.is_seen_in(sure)
        };
        Kind::of(s).is_some_and(|own| sure.iter().any(|k| beside(&own, k)))
    };
    let mut standings = standings.into_iter();
    seen.retain(|s| standings.next() != Some(Standing::LeftOut) || of_the_line(s));
}

/// Short trains prove one another, where all that moves the trace nearly as far has the same breaks, periods and transitions:
/// neither chance nor a hand makes pulses so alike.
fn agreed(seen: &[Seen]) -> Vec<Kind> {
    let farthest = seen.iter().map(|s| s.reach).fold(0.0, f64::max);
    let is_heard = |s: &&Seen| s.reach > BESIDE_REACH * farthest;
    let heard: Vec<&Seen> = seen.iter().filter(is_heard).collect();
    let kinds: Vec<Kind> = heard.iter().filter_map(|s| Kind::of(s)).collect();
    let breaks: Vec<f64> = heard.iter().flat_map(|s| breaks(&s.train)).collect();
    let periods: Vec<f64> = kinds.iter().filter_map(|k| k.period_s).collect();
    let even = |lengths: &[f64]| {
        let longest = lengths.iter().copied().fold(0.0, f64::max);
        lengths.iter().all(|l| is_near(*l, longest, SAME_LENGTH))
    };
    let clean = |s: &&Seen| s.is_beyond_doubt() && !is_rough(s) && drowned(s).is_none();
    let look_alike = |own: &Kind| (0..2).all(|kind| own.looks[kind].is_like(&kinds[0].looks[kind]));
    let agree = heard.len() > 1
        && breaks.len() >= PROVING
        && heard.iter().all(clean)
        && breaks.iter().all(|break_s| *break_s < FLASH_S)
        && even(&breaks)
        && even(&periods)
        && kinds.iter().all(look_alike);
    if agree { kinds } else { Vec::new() }
}

/// Which trains are the pulses of one dial by their rhythm, however little each says by itself: whatever moves the trace nearly as
/// far in the recording has the same period and the same break, one way.
fn in_step(seen: &[Seen]) -> Vec<bool> {
    let farthest = seen.iter().map(|s| s.reach).fold(0.0, f64::max);
    let is_heard = |s: &Seen| s.reach > BESIDE_REACH * farthest;
    let pulses = |s: &Seen| s.train.edges.len() / 2;
    let rhythm = |s: &Seen| {
        let even = pulses(s) >= PROVING && !s.train.doubts.contains(&Doubt::Irregular);
        let rhythm = usual_break(&s.train).zip(usual_period(&s.train));
        rhythm.filter(|_| even && !s.sounded)
    };
    let none = vec![false; seen.len()];
    let heard = || seen.iter().filter(|s| is_heard(s) && pulses(s) >= PROVING);
    let Some(longest) = heard().max_by_key(|s| pulses(s)) else {
        return none;
    };
    let Some((break_s, period_s)) = rhythm(longest) else {
        return none;
    };
    let agrees = |s: &Seen| {
        s.train.polarity == longest.train.polarity
            && rhythm(s).is_some_and(|own| {
                is_near(own.0, break_s, SAME_LENGTH) && is_near(own.1, period_s, SAME_RHYTHM)
            })
    };
    let together: usize = heard().map(pulses).sum();
    if heard().count() > 1 && together >= IN_STEP && heard().all(agrees) {
        seen.iter().map(|s| is_heard(s) && agrees(s)).collect()
    } else {
        none
    }
}

/// Whether a train has so few pulses, or so few and doubtful ones, and none of their steps is a change of level, that it may be
/// made of any sounds.
fn is_fleeting(seen: &Seen) -> bool {
    let few = seen.train.edges.len() / 2 <= PROVING && !seen.is_beyond_doubt();
    (is_short(seen) || few) && !seen.plain
}

/// Whether those that may be made of any sounds contradict one another: one line moves the trace one way when it opens.
fn contradict(seen: &[Seen]) -> bool {
    let fleeting = || seen.iter().filter(|s| is_fleeting(s));
    let farthest = fleeting().map(|s| s.reach).fold(0.0, f64::max);
    let heard: Vec<Polarity> = fleeting()
        .filter(|s| s.reach > BESIDE_REACH * farthest)
        .map(|s| s.train.polarity)
        .collect();
    heard.len() >= PROVING && heard.iter().any(|p| *p != heard[0])
}

/// What becomes of a train.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Standing {
    BeyondDoubt,
    /// Given with its doubts.
    Doubted,
    /// More likely no dialling at all.
    LeftOut,
}

/// Adds what there is to doubt about a train beside the proven ones, and says what becomes of it.
fn standing(seen: &mut Seen, proven: &[Kind], handled: bool) -> Standing {
    let Some(own) = Kind::of(seen) else {
        return Standing::LeftOut;
    };
    let short = is_short(seen);
    seen.train.doubts.extend(drowned(seen));
    // One recording holds one line: what is of another size or polarity than the dial's is no part of it.
    let same_line = proven.is_empty() || proven.iter().any(|p| own.same_line(p));
    let alike = proven.iter().any(|p| own.alike(p));
    if (short || seen.sounded) && !alike {
        if seen.sounded || !seen.plain {
            seen.train.doubts.push(Doubt::OtherCount(0));
        } else if own.break_s > FLASH_S || handled {
            seen.train.doubts.push(Doubt::MayBeFlash);
        }
    }
    let steps = || !proven.is_empty() || keeps_levels(seen) || like_steps(&seen.train);
    if seen.train.doubts.is_empty() && (same_line || !short) {
        Standing::BeyondDoubt
    } else if same_line && steps() && worth_reporting(seen, alike) {
        Standing::Doubted
    } else {
        Standing::LeftOut
    }
}

/// Whether a train will be given, whatever else the recording holds.
pub(crate) fn is_certain(seen: &Seen) -> bool {
    proves_itself(seen) && Kind::of(seen).is_some() && drowned(seen).is_none()
}

/// Whether a train needs no other to be believed.
pub(crate) fn proves_itself(seen: &Seen) -> bool {
    !is_short(seen) && seen.is_beyond_doubt()
}

/// Whether a train has too few pulses to prove itself. One more is wanted where their mean is all that describes them.
fn is_short(seen: &Seen) -> bool {
    seen.train.edges.len() / 2 < PROVING + usize::from(is_rough(seen))
}

/// Whether nothing but their mean describes openings or closings.
pub(crate) fn is_rough(seen: &Seen) -> bool {
    seen.kinds.iter().any(|k| k.rough)
}

/// Lifts the doubts of a train that come from the shape of its transitions alone, where a proven train of the same line has
/// transitions of such a shape: one or two have no mean to tell it by, and that of a few may be too rough.
fn explain_like(seen: &mut Seen, proven: &[Kind]) {
    if seen.odd.elsewhere || seen.train.doubts.is_empty() {
        return;
    }
    let Some(own) = Kind::of(seen) else {
        return;
    };
    let known = [0, 1].map(|kind| proven.iter().any(|p| p.slow[kind] && own.alike(p)));
    // A short train of which nothing looks like theirs was read wrong.
    let looks_alike = |p: &Kind| (0..2).any(|kind| own.looks[kind].is_like(&p.looks[kind]));
    let explained = (0..2).all(|kind| known[kind] || seen.odd.beside[kind] == 0.0)
        && (seen.train.edges.len() / 2 >= PROVING || proven.iter().any(looks_alike));
    // In a train of many pulses a weak one is one unlike the others, which no other train explains.
    let mut weak = seen.train.edges.len() / 2 >= PROVING;
    for (i, edge) in seen.train.edges.iter_mut().enumerate() {
        let kind = seen.kinds[i % 2];
        let rough = known[i % 2] && !kind.slow && edge.residual > ROUGH_KIND;
        if rough {
            edge.variance_s2 += rough_variance_s2(edge.residual);
        }
        weak |= LEAST_SNR > if rough { kind.snr } else { edge.snr };
    }
    if let Some(at_s) = seen.train.unexplained_s().filter(|_| explained) {
        widen_beside(&mut seen.train.edges, at_s);
    }
    seen.train.doubts.retain(|doubt| match doubt {
        Doubt::UnexplainedEdge(_) => !explained,
        Doubt::WeakEdge(_) => weak,
        _ => true,
    });
}

/// Lifts the doubt of a train whose transitions look like those of its line if it comes from what lies beside them alone.
pub(crate) fn explain_by_looks(seen: &mut Seen) {
    if seen.odd.elsewhere || seen.odd.hides {
        return;
    }
    if let Some(at_s) = seen.train.unexplained_s() {
        widen_beside(&mut seen.train.edges, at_s);
    }
    let doubts = &mut seen.train.doubts;
    doubts.retain(|doubt| !matches!(doubt, Doubt::UnexplainedEdge(_)));
}

/// The edge nearest to a step that only its like explain may lie anywhere from where it was found up to that step.
fn widen_beside(edges: &mut [Edge], at_s: f64) {
    let apart_s = |edge: &&mut Edge| (edge.instant_s - at_s).abs();
    let nearest = edges
        .iter_mut()
        .min_by(|a, b| apart_s(a).total_cmp(&apart_s(b)));
    if let Some(edge) = nearest {
        edge.variance_s2 += (BESIDE * (edge.instant_s - at_s)).powi(2);
    }
}

/// Whether a train goes from one level to another and back, evenly and often enough, as no sound does.
fn keeps_levels(Seen { train, held, .. }: &Seen) -> bool {
    let many = train.edges.len() / 2 >= PROVING;
    many && LEVELS.contains(held) && !train.doubts.contains(&Doubt::Irregular)
}

/// A doubtful train is reported when its pulses are many and even or its edges stand far out of what they
/// lie in; otherwise it is more likely no dialling at all.
fn worth_reporting(seen: &Seen, alike: bool) -> bool {
    let Seen { train, white, .. } = seen;
    let pulses = train.edges.len() / 2;
    if pulses > MOST_PULSES || !share_of_period(train).is_none_or(|s| SHARES.contains(&s)) {
        return false;
    }
    let leaves_little = |kind| usual_residual(train, kind).is_some_and(|r| r < REPORTED_RESIDUAL);
    // What a mean explains may be any sound that repeats.
    let clear = !is_rough(seen) && leaves_little(Direction::Opening);
    let unexplained = train.has_unexplained();
    if keeps_levels(seen) {
        return true;
    }
    let like_the_dial = alike && pulses > 1 && !train.doubts.contains(&Doubt::Irregular);
    if like_the_dial {
        return true;
    }
    if pulses < PROVING {
        // What a recording that starts inside a train leaves of its pulse before is no click.
        let cut = train.doubts.contains(&Doubt::StartsInside);
        // The onset of one or two transitions fits any click.
        let steps = seen.plain || !seen.kinds.iter().any(|k| k.slow);
        return (cut || alike || (steps && !unexplained))
            && clear
            && leaves_little(Direction::Closing);
    }
    let weak = train.doubts.iter().any(|d| matches!(d, Doubt::WeakEdge(_)));
    let even = pulses >= 4 && !weak && !train.doubts.contains(&Doubt::Irregular);
    clear || (even && *white)
}

/// An edge that leaves much of its size unexplained, and no white noise, lies in sound that may have made it; and
/// what is left of hum many times as large as the train is hum.
fn drowned(
    Seen {
        train,
        white,
        reach,
        ..
    }: &Seen,
) -> Option<Doubt> {
    let least = least_residual(train)?;
    let first = train.edges.first()?.instant_s;
    let hum = train.hum.map_or(0.0, |h| h.relative_amplitude * train.step);
    ((!white && least > DROWNED_RESIDUAL) || hum > DROWNED_HUM * reach)
        .then_some(Doubt::WeakEdge(first))
}

/// Usual break over usual period; `None` for a single pulse.
fn share_of_period(train: &Train) -> Option<f64> {
    Some(usual_break(train)? / usual_period(train)?)
}

fn usual_period(train: &Train) -> Option<f64> {
    let starts: Vec<f64> = train.edges.iter().step_by(2).map(|e| e.instant_s).collect();
    let periods: Vec<f64> = starts.windows(2).map(|w| w[1] - w[0]).collect();
    linear::median(&periods)
}

/// From the first edge to the last, in seconds.
fn extent(seen: &Seen) -> (f64, f64) {
    let edges = &seen.train.edges;
    let at = |edge: Option<&Edge>| edge.map_or(0.0, |edge| edge.instant_s);
    (at(edges.first()), at(edges.last()))
}

/// Whether the openings of a train are steps of one size, and so the closings; in a short train also one and
/// the other.
fn like_steps(train: &Train) -> bool {
    let sizes = |kind| of_kind(train, kind, |e| (e.level_after - e.level_before).abs());
    let (openings, closings) = (sizes(Direction::Opening), sizes(Direction::Closing));
    let spread = |sizes: &[f64]| {
        let share = |s: f64| linear::quantile(sizes, s).unwrap_or(0.0);
        share(0.9) / share(0.1).max(f64::MIN_POSITIVE)
    };
    let ratio = linear::median(&openings).unwrap_or(0.0)
        / linear::median(&closings)
            .unwrap_or(1.0)
            .max(f64::MIN_POSITIVE);
    let alike = train.edges.len() / 2 >= PROVING || (1.0 / UNEQUAL..UNEQUAL).contains(&ratio);
    spread(&openings) < SPREAD && spread(&closings) < SPREAD && alike
}

/// Whether two sizes or lengths differ by less than a factor, whose logarithm is given.
fn is_near(own: f64, other: f64, within: f64) -> bool {
    (own / other).ln().abs() < within
}

/// What short trains are compared by.
#[derive(Clone, Debug)]
struct Kind {
    break_s: f64,
    period_s: Option<f64>,
    reach: f64,
    /// How much of that it keeps in its breaks.
    held: f64,
    /// The recorder cut it off somewhere, so that it may move the trace farther than it seems.
    cut_off: bool,
    polarity: Polarity,
    /// Openings, closings are slow.
    slow: [bool; 2],
    looks: [Look; 2],
}

impl Kind {
    fn of(seen: &Seen) -> Option<Self> {
        Some(Kind {
            break_s: usual_break(&seen.train)?,
            period_s: usual_period(&seen.train),
            reach: seen.reach,
            held: seen.held,
            cut_off: seen.clipped > 0,
            polarity: seen.train.polarity,
            slow: seen.kinds.map(|k| k.slow),
            looks: seen.looks.clone(),
        })
    }

    /// One line moves the trace as far and the same way. What rings may be read either way, and a spike seen or not; then
    /// both must look the same.
    fn same_line(&self, other: &Kind) -> bool {
        let lesser = if self.reach < other.reach {
            self
        } else {
            other
        };
        let as_far = is_near(self.reach, other.reach, SAME_REACH) || lesser.cut_off;
        (as_far && self.polarity == other.polarity && !self.lets_go(other))
            || (0..2).all(|kind| self.looks[kind].is_like(&other.looks[kind]))
    }

    /// Whether the other keeps its level in a break, and this does not: two clicks are no break of a line that passes levels.
    fn lets_go(&self, other: &Kind) -> bool {
        other.held > KEEPS && self.held < LETS_GO * other.held
    }

    /// Whether openings or closings look like openings or closings of the other: a train that was read in part.
    fn is_seen_in(&self, other: &Kind) -> bool {
        let looks = self.looks.iter();
        looks
            .flat_map(|own| other.looks.iter().map(move |theirs| (own, theirs)))
            .any(|(own, theirs)| own.is_like(theirs))
    }

    fn alike(&self, other: &Kind) -> bool {
        let near = |own: f64, other: f64| is_near(own, other, ALIKE);
        let in_step = self.period_s.zip(other.period_s);
        self.same_line(other)
            && near(self.break_s, other.break_s)
            && in_step.is_none_or(|(own, other)| near(own, other))
    }
}

/// A measure of every edge of one kind.
fn of_kind(train: &Train, kind: Direction, measure: fn(&Edge) -> f64) -> Vec<f64> {
    let own = train.edges.iter().filter(|e| e.direction == kind);
    own.map(measure).collect()
}

/// Median residual of the edges of one kind.
fn usual_residual(train: &Train, kind: Direction) -> Option<f64> {
    linear::median(&of_kind(train, kind, |e| e.residual))
}

/// What the openings usually leave of their size, or the closings, whichever is less.
pub(crate) fn least_residual(train: &Train) -> Option<f64> {
    let openings = usual_residual(train, Direction::Opening)?;
    Some(openings.min(usual_residual(train, Direction::Closing)?))
}

/// Breaks of a train, in seconds.
fn breaks(train: &Train) -> Vec<f64> {
    let pulses = train.edges.chunks_exact(2);
    pulses.map(|p| p[1].instant_s - p[0].instant_s).collect()
}

/// Median break of a train, in seconds.
fn usual_break(train: &Train) -> Option<f64> {
    linear::median(&breaks(train))
}
