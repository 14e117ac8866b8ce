//! One window of a recording, from samples to trains: hum, candidates, chain, instants, doubts.

use crate::bank::{self, Candidate, Energies, Entry, Field, Probe, Probed};
use crate::chain::{self, Chain, Pulse, Scale};
use crate::clicks;
use crate::coarse::Coarse;
use crate::confirm;
use crate::doubt::{self, Odd};
use crate::events::Event;
use crate::hum::{Grid, HumModel};
use crate::levels;
use crate::linear;
use crate::look::Look;
use crate::own::{self, Own};
use crate::rails;
use crate::reclosures;
use crate::refine::{Fitted, Line, Refined, Refiner};
use crate::remainder;
use crate::ticks;
use crate::tools::Tools;
use crate::types::{Direction, Doubt, Edge, Hum, LevelStep, Polarity, Reversal, Train};
use crate::view;
use std::ops::Range;

/// Candidates weaker than this are noise in any recording.
const LEAST_T: f64 = 3.2;
/// A step that explains so much of its window is one whatever the rest is.
const CLEAR_SHARE: f64 = 0.45;
/// A step that explains so much of its window is a change of level and no sound.
const PLAIN_SHARE: f64 = 0.85;
/// Autocorrelation below which a residual passes for white noise.
const WHITE: f64 = 0.35;
/// Looked at around a train for steps that it does not explain: two periods of the slowest dial.
const LEFT_OVER_S: f64 = 0.45;
/// A make that ends a digit: as long as this, or this many periods.
pub(crate) const LEAST_PAUSE_S: f64 = 0.180;
pub(crate) const PAUSE_PERIODS: f64 = 1.7;

/// Steps are looked for so far around an event.
const AROUND_EVENT_S: f64 = 0.0045;
/// Share of the distance to an unexplained step that a transition is uncertain by.
const UNSETTLED: f64 = 0.5;
/// What a transition moves the trace by is looked for from so long before it to so long after it.
const REACH_BEFORE_S: f64 = 0.002;
const REACH_AFTER_S: f64 = 0.006;
/// The level beside a break is looked at so far from it.
const BESIDE_S: f64 = 0.015;
/// Samples kept around a train for its fits.
const MARGIN_S: f64 = 0.1;

/// A window of one channel and where it lies.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Window<'a> {
    /// Without a tone that ends with the first break.
    pub(crate) samples: &'a [f32],
    /// As they were recorded.
    pub(crate) recorded: &'a [f32],
    /// Samples of the recording before the window.
    pub(crate) start: u64,
    pub(crate) rate_hz: f64,
    /// The recording begins with this window, or the window was cut into what may be a train.
    pub(crate) first: bool,
    /// The recording ends with this window.
    pub(crate) last: bool,
    /// Steps of the tick trace, from which everything starts.
    pub(crate) events: &'a [Event],
    /// Ticks around the window.
    pub(crate) ticks: TickWindow<'a>,
    pub(crate) tools: &'a Tools,
    /// Sign of this line's openings, once a train has shown it beyond doubt.
    pub(crate) sign: Option<f64>,
    /// Trains are drawn, and keep an envelope.
    pub(crate) drawn: bool,
}

/// Ticks that reach further back than the window itself.
#[derive(Clone, Copy, Debug)]
pub(crate) struct TickWindow<'a> {
    pub(crate) means: &'a [f32],
    /// Ticks of the recording before these.
    pub(crate) first: u64,
    pub(crate) rate_hz: f64,
    /// Samples in a tick.
    pub(crate) factor: usize,
    /// First tick that belongs to no train already taken.
    pub(crate) free_from: u64,
    pub(crate) hum: Option<&'a HumModel>,
}

impl TickWindow<'_> {
    /// Time of a tick's middle, in seconds.
    fn middle_s(&self, tick: u64) -> f64 {
        ticks::middle_s(tick, self.factor, self.rate_hz)
    }
}

impl Window<'_> {
    fn seconds(&self, place: f64) -> f64 {
        (self.start as f64 + place) / self.rate_hz
    }

    /// Block means without hum.
    fn coarse(&self, hum: Option<&HumModel>) -> Coarse {
        let mut coarse = Coarse::new(self.samples, self.rate_hz);
        if let Some(hum) = hum {
            let grid = Grid {
                start_s: self.seconds(coarse.middle(0)),
                rate_hz: coarse.rate_hz,
                mean_s: 1.0 / coarse.rate_hz,
            };
            hum.subtract(&mut coarse.means, grid);
        }
        coarse
    }

    /// A stretch of the samples without hum.
    fn samples(&self, stretch: Range<usize>, hum: Option<&HumModel>) -> Vec<f64> {
        let start = stretch.start;
        let mut samples: Vec<f64> = self.samples[stretch]
            .iter()
            .map(|&x| f64::from(x))
            .collect();
        if let Some(hum) = hum {
            let grid = Grid {
                start_s: self.seconds(start as f64),
                rate_hz: self.rate_hz,
                mean_s: 0.0,
            };
            hum.subtract(&mut samples, grid);
        }
        samples
    }

    /// The events' places in the coarse trace.
    fn places(&self, coarse: &Coarse) -> Vec<usize> {
        let blocks = (self.ticks.factor / coarse.factor) as u64;
        let first = self.start / coarse.factor as u64;
        let place = |event: &Event| (event.at * blocks).checked_sub(first);
        let places = self.events.iter().filter_map(place);
        places.map(|at| at as usize).collect()
    }
}

/// Where steps are looked for in the coarse trace: around every event.
fn spots(places: &[usize], rate_hz: f64) -> Vec<Range<usize>> {
    let around = (AROUND_EVENT_S * rate_hz).ceil() as usize;
    let mut spots: Vec<Range<usize>> = Vec::new();
    for at in places {
        let spot = at.saturating_sub(around)..at + around + 1;
        match spots.last_mut() {
            Some(last) if last.end >= spot.start => last.end = last.end.max(spot.end),
            _ => spots.push(spot),
        }
    }
    spots
}

/// What the search settled on.
struct Found {
    chain: Chain,
    entry: Entry,
    /// By what the line's own transitions look like.
    by_own: bool,
}

/// Finds the trains of one window, in time order.
pub(crate) fn window(window: Window<'_>) -> Vec<Seen> {
    let hum = window.ticks.hum;
    let coarse = window.coarse(hum);
    let trace: Vec<f32> = coarse.means.iter().map(|&x| x as f32).collect();
    let places = window.places(&coarse);
    let spots = spots(&places, coarse.rate_hz);
    let field = Field {
        trace: &trace,
        energies: &Energies::new(&coarse.means),
        rate_hz: coarse.rate_hz,
        spots: &spots,
        least: 0.0,
    };
    let shortlist = bank::shortlist(&window.tools.bank, &field, &places);
    let steps = of_each(shortlist.iter().copied(), &field);
    let Some((merit, found)) = search(&steps, &coarse, window.sign) else {
        return Vec::new();
    };
    let read = |found: &Found| -> Vec<Seen> {
        split(&found.chain, coarse.rate_hz)
            .into_iter()
            .filter(|pulses| credible(pulses, &found.entry, &coarse.means))
            .filter_map(|pulses| build(&window, &coarse, found, pulses, hum))
            .collect()
    };
    let seen = read(&found);
    let described = |s: &Seen| confirm::least_residual(&s.train).is_some_and(|r| r < PROMISING);
    let promising = |s: &Seen| !s.is_beyond_doubt() && described(s);
    // What hides one pulse of a train may make another reading look whole.
    let hides = |s: &Seen| s.odd.hides;
    // The line's polarity may be known by now, and be the other one.
    let turned = window.sign.is_some_and(|sign| sign != found.chain.sign);
    if seen.iter().any(hides)
        || (found.chain.pulses.len() < READ_AGAIN && !turned)
        || !seen.iter().any(promising)
    {
        return seen;
    }
    let leaves_nothing = |s: &Seen| {
        let believed =
            confirm::proves_itself(s) || (turned && s.is_beyond_doubt() && s.is_of(window.sign));
        believed && !confirm::is_rough(s) && !s.odd.anything
    };
    let clear = |seen: &Vec<Seen>| !seen.is_empty() && seen.iter().all(leaves_nothing);
    let clearly = |steps: &[Steps]| {
        let others = others(steps, &coarse, (merit, &found));
        others.iter().map(read).find(clear)
    };
    let unlike = || {
        let is_listed = |probed: &&Probed| shortlist.iter().any(|s| std::ptr::eq(*s, *probed));
        let others = window.tools.bank.iter().filter(|p| !is_listed(p));
        of_each(others, &field)
    };
    let read_anew = || {
        let many = found.chain.pulses.len() >= READ_BY_ALL;
        many.then(|| clearly(&unlike())).flatten()
    };
    clearly(&steps).or_else(read_anew).unwrap_or(seen)
}

/// Finds the trains of one window by what the line's own transitions look like.
pub(crate) fn by_own(window: &Window<'_>, own: &Own) -> Vec<Seen> {
    let hum = window.ticks.hum;
    let coarse = window.coarse(hum);
    let trace: Vec<f32> = coarse.means.iter().map(|&x| x as f32).collect();
    let field = Field {
        trace: &trace,
        energies: &Energies::new(&coarse.means),
        rate_hz: coarse.rate_hz,
        spots: &[],
        least: 0.0,
    };
    let Some(chain) = own.chain(&field) else {
        return Vec::new();
    };
    let entry = own.entry.clone();
    let found = Found {
        chain,
        entry,
        by_own: true,
    };
    split(&found.chain, coarse.rate_hz)
        .into_iter()
        .filter_map(|pulses| build(window, &coarse, &found, pulses, hum))
        .collect()
}

/// The steps that each of some entries finds.
fn of_each<'a>(entries: impl Iterator<Item = &'a Probed>, field: &Field<'_>) -> Vec<Steps<'a>> {
    entries.map(|probed| Steps::of(probed, field)).collect()
}

/// A window with so many pulses in a chain is read in other ways when the first leaves doubts. One in which all trains
/// have pulses enough to prove themselves, no doubts, and nothing beside them that they do not explain, is taken instead.
const READ_AGAIN: usize = 2;
/// And if it has so many, by all entries of the bank: where openings ring by far the most, none but their own was listed.
const READ_BY_ALL: usize = 3;
/// But only where something describes its openings or its closings, all but this share of them: sound is described by
/// nothing, however it is read.
const PROMISING: f64 = 0.1;
/// So many other ways, whose merit is at least this share of the best one's.
const OTHER_WAYS: usize = 4;
const OTHER_SHARE: f64 = 0.5;

/// A chain of the known sign is taken for so much of the best one's merit, if it has so many pulses: what rings is often read
/// the other way when it is short, and is known by its look then.
const KNOWN_SHARE: f64 = 0.7;
const KNOWN_LEAST: usize = 3;

/// A train and what else was seen of it.
#[derive(Clone, Debug)]
pub(crate) struct Seen {
    pub(crate) train: Train,
    /// Every step is a plain change of level.
    pub(crate) plain: bool,
    /// What its steps leave is white noise.
    pub(crate) white: bool,
    /// Samples in flat tops beside its transitions.
    pub(crate) clipped: u64,
    /// Openings and closings are the same sound: a microphone, no wire.
    pub(crate) sounded: bool,
    /// What its steps do not explain, and what is known of the kinds of them.
    pub(crate) odd: Odd,
    pub(crate) kinds: [KindOfEdge; 2],
    /// How far the trace usually moves around a transition, whatever its shape.
    pub(crate) reach: f64,
    /// And at most.
    pub(crate) farthest: f64,
    /// Share of that which it usually keeps in the middle of a break.
    pub(crate) held: f64,
    /// What openings, and what closings, usually look like.
    pub(crate) looks: [Look; 2],
    /// What is known of its line, if it is beyond doubt.
    pub(crate) own: Option<Box<Own>>,
}

impl Seen {
    pub(crate) fn is_beyond_doubt(&self) -> bool {
        self.train.doubts.is_empty() && !self.sounded
    }

    /// Whether its openings have this sign.
    fn is_of(&self, sign: Option<f64>) -> bool {
        sign == Some(self.train.polarity.sign())
    }
}

/// What all openings, all closings of a train have in common.
#[derive(Clone, Copy, Debug)]
pub(crate) struct KindOfEdge {
    /// Sharp steps do not describe them.
    pub(crate) slow: bool,
    /// Nor do onsets: nothing does but their mean.
    pub(crate) rough: bool,
    /// Signal-to-noise ratio by the noise before them alone.
    pub(crate) snr: f64,
}

/// Whether every step of a train is a plain change of level, as no sound makes it.
fn plain(pulses: &[Pulse], entry: &Entry) -> bool {
    let levels = matches!(entry.probe, Probe::FirstOrder(corner) if corner < 100.0);
    levels
        && pulses
            .iter()
            .all(|p| p.opening.share > PLAIN_SHARE && p.closing.share > CLEAR_SHARE)
}

/// The best chain of the entries that are most like what is there, with its merit. Where the sign of openings is known, one of
/// that sign is taken for a little less: a train that begins or ends with half a pulse can be read either way.
fn search(steps: &[Steps<'_>], coarse: &Coarse, sign: Option<f64>) -> Option<(f64, Found)> {
    let best = best(steps, coarse, &chain::EITHER)?;
    match sign {
        Some(sign) if best.1.chain.sign != sign => {
            let known = self::best(steps, coarse, &[sign]);
            let is_as_good = |known: &(f64, Found)| {
                known.0 >= KNOWN_SHARE * best.0 && known.1.chain.pulses.len() >= KNOWN_LEAST
            };
            Some(known.filter(is_as_good).unwrap_or(best))
        }
        _ => Some(best),
    }
}

/// The best chain in which openings have one of the signs, with its merit.
fn best(steps: &[Steps<'_>], coarse: &Coarse, signs: &[f64]) -> Option<(f64, Found)> {
    let mut best: Option<(f64, Found)> = None;
    for found in steps.iter().filter_map(|s| s.chain(coarse, signs)) {
        if best.as_ref().is_none_or(|(most, _)| found.0 > *most) {
            best = Some(found);
        }
    }
    best
}

/// Other ways to read a window than the best one, the best of them first: of each count and polarity the best.
fn others(steps: &[Steps<'_>], coarse: &Coarse, (most, best): (f64, &Found)) -> Vec<Found> {
    let ways = |steps: &'_ Steps<'_>| chain::EITHER.map(|sign| steps.chain(coarse, &[sign]));
    let is_other = |chain: &Chain| {
        chain.pulses.len() != best.chain.pulses.len() || chain.sign != best.chain.sign
    };
    let mut others: Vec<(f64, Found)> = steps
        .iter()
        .flat_map(ways)
        .flatten()
        .filter(|(merit, other)| *merit >= OTHER_SHARE * most && is_other(&other.chain))
        .collect();
    others.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut told: Vec<Found> = Vec::new();
    for (_, other) in others {
        let alike = |o: &Found| {
            o.chain.pulses.len() == other.chain.pulses.len() && o.chain.sign == other.chain.sign
        };
        if told.len() < OTHER_WAYS && !told.iter().any(alike) {
            told.push(other);
        }
    }
    told
}

/// Steps that an entry of the bank finds; also in a wider window, in which the same step may stand a second time.
struct Steps<'a> {
    entry: &'a Entry,
    places: Vec<Candidate>,
    candidates: Vec<Candidate>,
}

impl<'a> Steps<'a> {
    fn of(probed: &'a Probed, field: &Field<'_>) -> Self {
        let candidates = bank::candidates(&probed.entry, field, LEAST_T);
        let mut places = candidates.clone();
        if let Some(wide) = &probed.wide {
            places.extend(bank::candidates(wide, field, LEAST_T));
            places.sort_by_key(|c| c.at);
        }
        Steps {
            entry: &probed.entry,
            places,
            candidates,
        }
    }

    /// The best chain of these steps in which openings have one of the signs, if it is credible; and its merit.
    fn chain(&self, coarse: &Coarse, signs: &[f64]) -> Option<(f64, Found)> {
        let scale = Scale {
            rate_hz: coarse.rate_hz,
            length: coarse.means.len(),
            lobe_s: self.entry.half_s(coarse.rate_hz),
        };
        let chain = chain::best(&self.places, &self.candidates, &scale, signs)?;
        if !credible(&chain.pulses, self.entry, &coarse.means) {
            return None;
        }
        let entry = self.entry.clone();
        Some((
            chain.score + evidence(&chain),
            Found {
                chain,
                entry,
                by_own: false,
            },
        ))
    }
}

/// How like steps the transitions of one kind are.
#[derive(Clone, Copy, Debug)]
struct Likeness {
    /// Share of the window that the usual one explains.
    share: f64,
    /// Correlation of what it leaves from block to block.
    colour: f64,
}

impl Likeness {
    fn of(pulses: &[Pulse], entry: &Entry, trace: &[f64], of: fn(&Pulse) -> Candidate) -> Self {
        let edges: Vec<Candidate> = pulses.iter().map(of).collect();
        let shares: Vec<f64> = edges.iter().map(|c| c.share).collect();
        let colours: Vec<f64> = edges
            .iter()
            .map(|c| bank::colour(entry, trace, c))
            .collect();
        Likeness {
            share: linear::median(&shares).unwrap_or(0.0),
            colour: linear::median(&colours).unwrap_or(1.0),
        }
    }

    fn both(pulses: &[Pulse], entry: &Entry, trace: &[f64]) -> [Self; 2] {
        [
            Self::of(pulses, entry, trace, |p| p.opening),
            Self::of(pulses, entry, trace, |p| p.closing),
        ]
    }

    fn is_white(&self) -> bool {
        self.colour < WHITE
    }
}

/// Whether a chain's edges are steps at all: the step explains its window, or what it leaves is white
/// noise. Openings and closings apart, since closings may chatter and slow makes bend.
fn credible(pulses: &[Pulse], entry: &Entry, trace: &[f64]) -> bool {
    Likeness::both(pulses, entry, trace)
        .iter()
        .any(|l| l.share > CLEAR_SHARE || l.is_white())
}

/// Openings and closings may differ in size by far (capacitors that discharge into a closing contact). What
/// is as large as the smaller of them may be a missed edge.
fn lesser_amplitude(pulses: &[Pulse]) -> f64 {
    let size = |of: fn(&Pulse) -> Candidate| {
        let sizes: Vec<f64> = pulses.iter().map(|p| of(p).amplitude.abs()).collect();
        linear::median(&sizes).unwrap_or(0.0)
    };
    size(|p| p.opening).min(size(|p| p.closing))
}

/// The trace around a train without what the train explains.
struct Rest {
    from: usize,
    single: Vec<f32>,
    energies: Energies,
}

impl Rest {
    fn of(coarse: &Coarse, found: &Found, refined: &Refined, pulses: &[Pulse]) -> Option<Self> {
        let (first, last) = (pulses.first()?, pulses.last()?);
        let starts: Vec<usize> = pulses.iter().map(|p| p.opening.at).collect();
        let longest = starts.windows(2).map(|w| w[1] - w[0]).max();
        let around = longest.map_or(usize::MAX, |period| 5 * period / 2);
        let around = around.min((LEFT_OVER_S * coarse.rate_hz) as usize);
        let from = first.opening.at.saturating_sub(around);
        let to = (last.closing.at + around).min(coarse.means.len());
        let rest = remainder::without_train(coarse, refined, found.chain.sign, from, to);
        Some(Rest {
            from,
            single: rest.iter().map(|&x| x as f32).collect(),
            energies: Energies::new(&rest),
        })
    }

    /// Steps of at least one size where the trace moves by at least another.
    fn steps(&self, entry: &Entry, rate_hz: f64, least: f64, notable: f64) -> Vec<Candidate> {
        let spots = bank::where_a_step_fits(entry, &self.energies, notable);
        let field = Field {
            trace: &self.single,
            energies: &self.energies,
            rate_hz,
            spots: &spots,
            least,
        };
        let mut steps = bank::candidates(entry, &field, LEAST_T);
        steps.iter_mut().for_each(|c| c.at += self.from);
        steps
    }
}

/// Steps near the train that the train itself does not explain, and one of those where a pulse seems to be missing.
fn left_over(
    coarse: &Coarse,
    found: &Found,
    refined: &Refined,
    pulses: &[Pulse],
) -> (Vec<Candidate>, Option<Candidate>) {
    let Some(rest) = Rest::of(coarse, found, refined, pulses) else {
        return (Vec::new(), None);
    };
    let usual = lesser_amplitude(pulses);
    let steps = |least: f64, notable: f64| {
        rest.steps(&found.entry, coarse.rate_hz, least * usual, notable * usual)
    };
    let missing = doubt::missing(pulses);
    let hidden = (!missing.is_empty())
        .then(|| steps(doubt::HIDDEN, doubt::HIDDEN))
        .and_then(|faint| doubt::hidden(&missing, faint, found.chain.sign));
    (steps(doubt::PARTNER, doubt::NOTABLE), hidden)
}

/// How well the entry's shape fits the openings: log-likelihood of the explained share, bounded for each
/// so that one perfect edge does not outweigh a missed pulse.
fn evidence(chain: &Chain) -> f64 {
    chain
        .pulses
        .iter()
        .map(|p| (-2.0 * (1.0 - p.opening.share.min(0.999_99)).ln()).min(12.0))
        .sum()
}

/// Cuts a chain where a make is long enough to separate digits.
fn split(chain: &Chain, rate_hz: f64) -> Vec<Vec<Pulse>> {
    let starts: Vec<f64> = chain
        .pulses
        .iter()
        .map(|p| p.opening.at as f64 / rate_hz)
        .collect();
    let periods: Vec<f64> = starts
        .windows(2)
        .map(|w| w[1] - w[0])
        .filter(|p| *p < 0.3)
        .collect();
    let usual = linear::quantile(&periods, 0.3).unwrap_or(0.1);
    let longest = LEAST_PAUSE_S.max(PAUSE_PERIODS * usual);
    let mut out: Vec<Vec<Pulse>> = Vec::new();
    for pulse in &chain.pulses {
        let goes_on = out
            .last()
            .and_then(|train| train.last())
            .is_some_and(|last: &Pulse| {
                ((pulse.opening.at - last.closing.at) as f64) < longest * rate_hz
            });
        match out.last_mut() {
            Some(train) if goes_on => train.push(*pulse),
            _ => out.push(vec![*pulse]),
        }
    }
    out
}

fn build(
    window: &Window<'_>,
    coarse: &Coarse,
    found: &Found,
    pulses: Vec<Pulse>,
    hum: Option<&HumModel>,
) -> Option<Seen> {
    let sign = found.chain.sign;
    let margin = (MARGIN_S * coarse.rate_hz) as usize;
    let from = pulses.first()?.opening.at.saturating_sub(margin);
    let stretch = from * coarse.factor
        ..((pulses.last()?.closing.at + margin) * coarse.factor).min(window.samples.len());
    let samples = window.samples(stretch.clone(), hum);
    let recorded = &window.recorded[stretch.clone()];
    let followers = &window.tools.followers;
    let refiner = Refiner::new(&samples, recorded, window.rate_hz, followers, sign);
    let local: Vec<Pulse> = pulses.iter().map(|p| p.earlier(from)).collect();
    let mut refined = refiner.run(&local, coarse, &found.entry.probe, found.chain.amplitude);
    let places =
        |of: fn(&(Fitted, Fitted)) -> f64| -> Vec<f64> { refined.pulses.iter().map(of).collect() };
    let sounded = clicks::same_sound(
        &samples,
        window.rate_hz,
        &places(|p| p.0.at),
        &places(|p| p.1.at),
    );
    refined.later(stretch.start as f64);
    let line = Line {
        samples: &samples,
        from: stretch.start as f64,
        rate_hz: window.rate_hz,
        followers,
    };
    refined.align_rough(line);
    let closures = |refined: &mut Refined| {
        let slow = refined.kinds.iter().any(|kind| kind.slow);
        slow.then(|| {
            reclosures(
                refined,
                &samples,
                window.rate_hz,
                sign,
                stretch.start as f64,
            )
        })
    };
    let mut told = closures(&mut refined);
    let seconds = |at: f64| window.seconds(at);
    let matched = (found.entry.energy * coarse.factor as f64).sqrt();
    let likeness = Likeness::both(&pulses, &found.entry, &coarse.means);
    let judge = |refined: &Refined| {
        let (mut edges, reversals) = list_edges(refined, matched, window.rate_hz, &seconds);
        let (left_over, hidden) = left_over(coarse, found, refined, &pulses);
        let evidence = doubt::Evidence {
            pulses: &pulses,
            edges: &edges,
            left_over: &left_over,
            hidden,
            amplitude: lesser_amplitude(&pulses),
            rate_hz: coarse.rate_hz,
            length: coarse.means.len(),
            first: window.first,
            last: window.last,
            start_s: window.start as f64 / window.rate_hz,
            sign,
            longest_chatter_s: longest_chatter_s(&edges, &reversals),
            slow: refined.kinds.map(|k| k.slow),
            white: likeness.iter().all(Likeness::is_white),
            by_own: found.by_own,
        };
        let (doubts, odd) = (doubt::doubts(&evidence), doubt::odd(&evidence));
        let unsettled = doubt::unsettled_s(&evidence);
        for (edge, unsettled_s) in edges.iter_mut().zip(unsettled) {
            edge.variance_s2 += (UNSETTLED * unsettled_s).powi(2);
        }
        (edges, reversals, doubts, odd)
    };
    let (mut edges, mut reversals, mut doubts, mut odd) = judge(&refined);
    let rough = [0, 1].map(|kind| refined.take_for_rough(kind, odd.beside[kind], window.rate_hz));
    if rough.contains(&true) {
        refined.align_rough(line);
        told = told.or_else(|| closures(&mut refined));
        (edges, reversals, doubts, odd) = judge(&refined);
    }
    let breaks: Vec<(f64, f64)> = refined.pulses.iter().map(|p| (p.0.at, p.1.at)).collect();
    let lost = rails::alike(window.recorded, window.rate_hz, &breaks);
    doubts.extend(lost.map(|at| Doubt::CutOff(window.seconds(at as f64))));
    let residuals: Vec<f64> = edges.iter().map(|e| e.residual).collect();
    let noise_rms = linear::median(&residuals)? * refined.step;
    let (first, last) = (edges.first()?.instant_s, edges.last()?.instant_s);
    let (envelope, snippet) = view::around(window, first, last);
    let plain = plain(&pulses, &found.entry);
    let clipped = refined.clipped as u64;
    let mut floor_s = chatter_floor(noise_rms / refined.step, window.rate_hz);
    if let Some(told) = &told {
        let from = stretch.start as f64;
        floor_s = floor_s.max(told.floor / window.rate_hz);
        reversals = with_reopenings(reversals, &told.reopenings, &|at| window.seconds(from + at));
    }
    let train = Train {
        level_steps: level_steps(window, found, hum, (first, last)),
        opening_common_s2: refined.kinds[0].common / window.rate_hz.powi(2),
        closing_common_s2: refined.kinds[1].common / window.rate_hz.powi(2),
        polarity: Polarity::of(sign),
        step: refined.step,
        noise_rms,
        coupling_hz: coupling(&refined),
        spikes_only: refined.poles.len() > 1,
        hum: hum.map(|h| Hum {
            frequency_hz: h.frequency_hz,
            relative_amplitude: h.amplitude() / refined.step,
        }),
        chatter_floor_s: floor_s,
        count_risk: doubt::count_risk(&edges),
        doubts,
        envelope,
        snippet,
        edges,
        reversals,
    };
    let reaches = reaches(coarse, &pulses);
    let looks = [
        Look::of(coarse, refined.pulses.iter().map(|p| p.0.at)),
        Look::of(coarse, refined.pulses.iter().map(|p| p.1.at)),
    ];
    let beyond_doubt = train.doubts.is_empty() && !sounded && pulses.len() >= own::LEAST;
    let own = beyond_doubt.then(|| {
        let places = [0, 1].map(|kind| {
            let of = |p: &(Fitted, Fitted)| if kind == 0 { p.0.at } else { p.1.at };
            refined.pulses.iter().map(of).collect::<Vec<f64>>()
        });
        let amplitude = lesser_amplitude(&pulses);
        Box::new(Own::of(
            coarse,
            &found.entry,
            sign,
            amplitude,
            &places,
            &looks,
        ))
    });
    Some(Seen {
        own,
        train,
        white: likeness.iter().any(Likeness::is_white),
        plain,
        clipped,
        sounded,
        odd,
        kinds: refined.kinds.map(|k| KindOfEdge {
            slow: k.slow,
            rough: k.rough,
            snr: matched / k.noise.max(1e-4),
        }),
        held: held(coarse, &pulses, &reaches),
        reach: linear::median(&reaches).unwrap_or(0.0),
        farthest: reaches.into_iter().fold(0.0, f64::max),
        looks,
    })
}

/// Tells the chatter of slow closings, and puts those at their first closure that lie elsewhere. `samples` begin `from`
/// samples after the window.
fn reclosures(
    refined: &mut Refined,
    samples: &[f64],
    rate_hz: f64,
    sign: f64,
    from: f64,
) -> reclosures::Told {
    let places = |(o, c): &(Fitted, Fitted)| (o.at - from, c.at - from);
    let places: Vec<(f64, f64)> = refined.pulses.iter().map(places).collect();
    let told = reclosures::tell(samples, rate_hz, sign, &places);
    for moved in &told.moved {
        let closing = &mut refined.pulses[moved.pulse].1;
        let shift = moved.at + from - closing.at;
        closing.at += shift;
        closing.half_step += shift;
        closing.variance = moved.variance;
    }
    told
}

/// Puts the reopenings that were told of each closing, where there are any, in place of what was read as chatter of it.
fn with_reopenings(
    mut reversals: Vec<Reversal>,
    told: &[Vec<(f64, f64)>],
    seconds: &dyn Fn(f64) -> f64,
) -> Vec<Reversal> {
    let edge_of = |pulse: usize| 2 * pulse + 1;
    for (pulse, reopenings) in told.iter().enumerate().filter(|(_, r)| !r.is_empty()) {
        reversals.retain(|reversal| reversal.edge != edge_of(pulse));
        reversals.extend(reopenings.iter().map(|&(start, end)| Reversal {
            edge: edge_of(pulse),
            start_s: seconds(start),
            end_s: seconds(end),
        }));
    }
    reversals.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    reversals
}

fn longest_chatter_s(edges: &[Edge], reversals: &[Reversal]) -> f64 {
    let lasts = reversals.iter().map(|r| r.end_s - edges[r.edge].instant_s);
    lasts.fold(0.0, f64::max)
}

/// How far the trace moves around each transition.
fn reaches(coarse: &Coarse, pulses: &[Pulse]) -> Vec<f64> {
    let blocks = |s: f64| (s * coarse.rate_hz) as usize;
    let around = |at: usize| {
        let first = at.saturating_sub(blocks(REACH_BEFORE_S));
        let last = (at + blocks(REACH_AFTER_S)).min(coarse.means.len());
        let (lowest, highest) = linear::span(&coarse.means[first..last]);
        highest - lowest
    };
    let edges = pulses.iter().flat_map(|p| [p.opening.at, p.closing.at]);
    edges.map(around).collect()
}

/// Share of what the trace moves by around transitions that it usually keeps in the middle of a break, against the level before
/// it and after it.
fn held(coarse: &Coarse, pulses: &[Pulse], reaches: &[f64]) -> f64 {
    let blocks = |s: f64| (s * coarse.rate_hz) as usize;
    let level = |from: usize, to: usize| {
        let stretch = coarse.means.get(from..to.min(coarse.means.len()))?;
        linear::median(stretch)
    };
    let of_pulse = |(pulse, reaches): (&Pulse, &[f64])| {
        let (opening, closing) = (pulse.opening.at, pulse.closing.at);
        let third = (closing - opening) / 3;
        let before = level(
            opening.checked_sub(blocks(BESIDE_S))?,
            opening - blocks(REACH_BEFORE_S),
        )?;
        let after = level(closing + blocks(REACH_AFTER_S), closing + blocks(BESIDE_S))?;
        let within = level(opening + third, closing - third)?;
        let reach = reaches.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        Some((within - 0.5 * (before + after)).abs() / reach)
    };
    let each = pulses.iter().zip(reaches.chunks_exact(2));
    let each: Vec<f64> = each.filter_map(of_pulse).collect();
    linear::median(&each).unwrap_or(1.0)
}

fn coupling(refined: &Refined) -> Option<f64> {
    let corner = refined.poles.first()?.norm() / std::f64::consts::TAU;
    (corner > 0.4).then_some(corner)
}

/// A reversal of w samples stands out when its energy w (A/sigma)^2 pays for two changes of state.
fn chatter_floor(noise: f64, rate_hz: f64) -> f64 {
    let noise = noise.max(0.11);
    (4.0 * 9.0 * noise * noise).max(1.5) / rate_hz
}

fn list_edges(
    refined: &Refined,
    matched: f64,
    rate_hz: f64,
    seconds: &dyn Fn(f64) -> f64,
) -> (Vec<Edge>, Vec<Reversal>) {
    let mut edges = Vec::new();
    let mut reversals = Vec::new();
    for (opening, closing) in &refined.pulses {
        for (fitted, direction) in [(opening, Direction::Opening), (closing, Direction::Closing)] {
            for &(start, end) in &fitted.reversals {
                reversals.push(Reversal {
                    edge: edges.len(),
                    start_s: seconds(start),
                    end_s: seconds(end),
                });
            }
            edges.push(edge(
                fitted,
                direction,
                matched / fitted.residual,
                rate_hz,
                seconds,
            ));
        }
    }
    (edges, reversals)
}

fn edge(
    fitted: &Fitted,
    direction: Direction,
    snr: f64,
    rate_hz: f64,
    seconds: &dyn Fn(f64) -> f64,
) -> Edge {
    Edge {
        direction,
        instant_s: seconds(fitted.at),
        half_step_s: seconds(fitted.half_step),
        variance_s2: fitted.variance / (rate_hz * rate_hz),
        level_before: fitted.before,
        level_after: fitted.after,
        residual: fitted.residual,
        snr,
    }
}

/// The off-normal contacts' steps around a train that lasts from and to the given times.
fn level_steps(
    window: &Window<'_>,
    found: &Found,
    hum: Option<&HumModel>,
    (first_s, last_s): (f64, f64),
) -> Vec<LevelStep> {
    let ticks = &window.ticks;
    let free = ticks.free_from.saturating_sub(ticks.first) as usize;
    let mut means = ticks.means[free.min(ticks.means.len())..].to_vec();
    let begin = ticks.first + free as u64;
    if let Some(hum) = hum {
        let grid = Grid {
            start_s: ticks.middle_s(begin),
            rate_hz: ticks.rate_hz,
            mean_s: 1.0 / ticks.rate_hz,
        };
        hum.subtract(&mut means, grid);
    }
    let start_s = begin as f64 / ticks.rate_hz;
    let around = levels::Around {
        entry: &found.entry,
        sign: found.chain.sign,
        amplitude: found.chain.amplitude,
        first_s: first_s - start_s,
        last_s: last_s - start_s,
    };
    let mut steps = levels::find(&means, ticks.rate_hz, start_s, around);
    let size = found.chain.amplitude.abs();
    steps.retain(|step| {
        let at_s = step.instant_s - window.seconds(0.0);
        let sample = |s: f64| ((s * window.rate_hz).max(0.0) as usize).min(window.samples.len());
        let near = sample(at_s - levels::NEAR_S)..sample(at_s + levels::NEAR_S);
        !levels::is_the_recorders((size * step.relative).abs(), &window.recorded[near])
    });
    steps
}
