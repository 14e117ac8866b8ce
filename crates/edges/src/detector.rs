//! The stream: samples come in blocks of any size, trains come out.
//!
//! Everything happens on the count of samples since the stream began, in pieces of 80 ms: so the result does
//! not depend on how the samples were cut, and is the same live and from a file.

use crate::analyse::{self, Seen, TickWindow, Window};
use crate::clicks::Listener;
use crate::confirm;
use crate::events::{Event, Finder, Sieve};
use crate::hum::Grid;
use crate::latest::{Latest, Sample};
use crate::linear;
use crate::mains::Mains;
use crate::own::{self, Own, Stretch, Stretches};
use crate::pairs;
use crate::ticks::{Summary, Ticks};
use crate::tone::Tone;
use crate::tools::Tools;
use crate::types::{Doubt, Edge, Envelope, Snippet, Trace, Train};
use crate::view::Overview;
use crate::wide::{LANES, greater, wide};
use std::sync::Arc;

/// Full scale is 1; nothing in a recording is this large.
const LOUDEST: f32 = 1e6;
/// Samples are taken in, and ticks made of them, by so many.
const CHUNK: usize = 16_384;
/// No event for so long, and a digit may be over.
const REST_S: f64 = 0.200;
/// A digit is measured from samples up to so long after its last event.
const AFTER_S: f64 = 0.280;
/// The same where a pulse that is missing may look like that rest, so that the one after it is seen.
const AFTER_SLOW_S: f64 = 0.380;
/// A missing pulse leaves a make and a period: where they are shorter than this, no rest.
const NO_REST_S: f64 = REST_S - 0.010;
/// Events no farther apart are one edge: no break and no make is shorter.
const ONE_EDGE_S: f64 = 0.005;
/// A single pulse has no period; what is usual, in breaks.
const USUAL_PERIOD: f64 = 1.6;
/// The period of a digit is looked for in so much of its end.
const END_OF_DIGIT_S: f64 = 0.5;
/// A train that ends so soon after the last event before the rest is the one that ended there.
const SLACK_S: f64 = 0.060;
/// An event of less than this share of one that so many others exceed is faint.
const FAINT: f32 = 0.02;
const FAINT_BESIDE: usize = 3;
/// Where no train moves the trace by this share of the largest event, those of events of so large a share are looked for.
const STRONG: f32 = 0.5;
/// What moves the trace by less than this share of it is little beside any doubtful train of those.
const RUBBLE: f64 = 0.2;
/// Longest stretch analysed at once, when no rest comes.
const LONGEST_S: f64 = 12.0;
/// Of such a stretch, so much is looked at again with what follows it.
const CARRY_S: f64 = 4.0;
/// A train in such a stretch is taken only when so much of it follows.
const SETTLED_S: f64 = 1.0;
/// What is larger than this share of the line's own events is looked at, where there are no more of it than a pulse makes that
/// rings.
const OWN_SIZE: f32 = 0.7;
const FEW: usize = 12;
/// Hum of this share of the largest event hides some.
const HIDES: f64 = 0.05;
/// Samples before the first event of a window, two periods of the slowest dial and more.
const LEAD_S: f64 = 0.6;
/// Ticks before it: for hum, and for the off-normal contacts' step when winding begins.
const TICK_LEAD_S: f64 = 2.6;
/// Where nothing is drawn, so many samples of snippets are kept: of trains that are certain, and as many of others.
const SNIPPETS: usize = 500_000;
/// Taken trains lie so far behind before anything else may begin.
const FREE_AFTER_S: f64 = 0.1;

/// Finds edges in the samples of one channel.
///
/// Blocks of any size may be pushed; the result does not depend on how the samples are cut.
#[derive(Debug)]
pub struct Detector {
    rate_hz: f64,
    /// The latest samples, and how many came before them.
    latest: Latest,
    before: u64,
    ticks: Ticks,
    /// Of the latest chunk.
    summary: Summary,
    mains: Mains,
    tools: Arc<Tools>,
    finder: Finder,
    /// Sign of the line's openings, from the first train that is certain, and how large its events are.
    sign: Option<f64>,
    own_size: Option<f32>,
    /// What the line's own transitions look like, and what is to be read by them.
    own: Option<Box<Own>>,
    stretches: Stretches,
    /// Listens for a dial that is heard and not wired, until one is found that is.
    listener: Option<Listener>,
    /// Events not yet settled.
    events: Vec<Event>,
    sieve: Sieve,
    /// Rests are looked for from this tick on.
    settled: u64,
    /// Sample from which on nothing is part of a taken train.
    free_from: u64,
    /// The next window begins inside something that may be a train.
    cut_in: bool,
    gaps: Vec<u64>,
    seen: Vec<Seen>,
    account: Account,
    /// `None` where nothing will be drawn; then trains have no envelope either.
    overview: Option<Overview>,
    /// Trains keep the trace around them.
    pictures: bool,
    /// Samples of snippets that may yet be kept, of trains that are not certain and of those that are.
    snippets: [usize; 2],
}

/// Of so many ticks one is looked at for what moves within it: how loud a recording is need not be known closely.
const SAMPLED: u64 = 64;

/// Sums over the whole recording. They run in lanes, one tick after the other, and so do not depend on how many
/// ticks come at once.
#[derive(Debug, Default)]
struct Account {
    sums: [f64; LANES],
    squares: [f64; LANES],
    /// Squared deviations from the mean of their tick, of so many samples.
    within: f64,
    sampled: u64,
    peak: f32,
}

impl Account {
    /// Takes ticks of so many samples, the first of them tick `first` of the stream.
    fn take<S: Sample>(&mut self, summary: &Summary, samples: &[S], factor: usize, first: u64) {
        let count = factor as f64;
        // The lanes are turned so that the next tick comes first, and back.
        let turn = (first % LANES as u64) as usize;
        self.sums.rotate_left(turn);
        self.squares.rotate_left(turn);
        (self.sums, self.squares) = wide(
            #[inline(always)]
            || {
                let (mut sums, mut squares) = (self.sums, self.squares);
                for mean in summary.mean.chunks(LANES) {
                    for (k, &mean) in mean.iter().enumerate() {
                        let mean = f64::from(mean);
                        sums[k] += mean * count;
                        squares[k] += mean * mean * count;
                    }
                }
                (sums, squares)
            },
        );
        self.sums.rotate_right(turn);
        self.squares.rotate_right(turn);
        let next = (first.next_multiple_of(SAMPLED) - first) as usize;
        let ticks = samples.chunks(factor).zip(&summary.mean).skip(next);
        for (tick, &mean) in ticks.step_by(SAMPLED as usize) {
            let apart = tick.iter().map(|x| (x.value() - mean).powi(2));
            self.within += f64::from(apart.sum::<f32>());
            self.sampled += tick.len() as u64;
        }
        self.peak = greater(self.peak, summary.peak());
    }

    fn rms(&self, samples: u64) -> f64 {
        let count = (samples as f64).max(1.0);
        let mean = self.sums.iter().sum::<f64>() / count;
        let within = self.within / (self.sampled as f64).max(1.0);
        (self.squares.iter().sum::<f64>() / count - mean * mean + within)
            .max(0.0)
            .sqrt()
    }
}

impl Detector {
    /// Starts a detector for samples taken `sample_rate_hz` times a second.
    #[must_use]
    pub fn new(sample_rate_hz: f64) -> Self {
        let ticks = Ticks::new(sample_rate_hz);
        let tools = Tools::of(sample_rate_hz);
        Detector {
            rate_hz: sample_rate_hz,
            latest: Latest::new(),
            before: 0,
            mains: Mains::new(ticks.rate_hz, Arc::clone(&tools)),
            tools,
            finder: Finder::new(ticks.rate_hz),
            sign: None,
            own_size: None,
            own: None,
            stretches: Stretches::default(),
            listener: Some(Listener::new(ticks.rate_hz)),
            sieve: Sieve::new(ticks.rate_hz),
            ticks,
            summary: Summary::default(),
            events: Vec::new(),
            settled: 0,
            free_from: 0,
            cut_in: false,
            gaps: Vec::new(),
            seen: Vec::new(),
            account: Account::default(),
            overview: Some(Overview::new()),
            pictures: true,
            snippets: [SNIPPETS; 2],
        }
    }

    /// Lets go of the trace around each train, envelope and snippet: for an input that may go on for hours. Only the
    /// snippet of a train with an unexplained edge stays, since it shows what that edge is.
    #[must_use]
    pub fn without_pictures(mut self) -> Self {
        self.pictures = false;
        self
    }

    /// Keeps nothing that only drawings need: no envelopes and no overview, and snippets only as many as tell what they are for,
    /// however long the recording is.
    #[must_use]
    pub fn without_drawings(mut self) -> Self {
        self.overview = None;
        self
    }

    /// Takes the next samples, in full-scale units (±1). What is no number, or beyond a
    /// million times full scale, counts as zero.
    pub fn push(&mut self, samples: &[f32]) {
        for chunk in samples.chunks(CHUNK) {
            self.latest.extend(chunk);
            self.took_in();
        }
    }

    /// Takes the next samples as 16-bit integers, of which 32 768 make full scale: for what comes as such, in half
    /// the time and room. The result is the same to the last bit.
    pub fn push_words(&mut self, samples: &[i16]) {
        for chunk in samples.chunks(CHUNK) {
            self.latest.extend_by_words(chunk);
            self.took_in();
        }
    }

    fn took_in(&mut self) {
        self.make_ticks();
        while self.ticks.count() >= self.finder.wants() {
            self.take_piece(self.finder.wants());
            self.settle();
        }
        self.forget();
    }

    /// Says that samples are missing between the last block and the next.
    pub fn gap(&mut self) {
        self.gaps.push(self.count());
    }

    /// Trains found up to now, each from the moment on that its pause has lasted a little: at 10 pps less than
    /// 0.4 s after its last make. The instants of one beyond doubt are final; of a short train the end of the recording
    /// may yet lift a doubt, and then widen its uncertainty, or show that it was no dialling, and what left doubts is read
    /// once more when the line's own transitions are known.
    pub fn trains(&self) -> impl Iterator<Item = &Train> {
        let wired = self.seen.iter().filter(|s| !s.sounded);
        wired.map(|s| &s.train)
    }

    /// What would be given if the recording ended here, without the stretch that is not yet over: short trains
    /// that nothing confirms up to now have their doubt. There is no overview.
    #[must_use]
    pub fn so_far(&self) -> Trace {
        let mut seen = self.seen.clone();
        confirm::confirm(&mut seen);
        Trace {
            sample_rate_hz: self.rate_hz,
            samples: self.count(),
            heard_not_wired: false,
            clipped: seen.iter().map(|s| s.clipped).sum(),
            trains: seen.into_iter().map(|s| s.train).collect(),
            rms: self.account.rms(self.count()),
            peak: f64::from(self.account.peak),
            overview: Envelope::default(),
        }
    }

    /// Ends the recording and gives what was found.
    #[must_use]
    pub fn finish(mut self) -> Trace {
        self.finish_ticks();
        self.take_piece(self.ticks.count());
        let events = self.finder.finish();
        self.events.extend(self.sieve.notable(events));
        self.settle();
        self.analyse(self.count(), u64::MAX, true);
        self.read_by_own();
        confirm::confirm(&mut self.seen);
        let samples = self.count();
        let heard = self.listener.is_some_and(Listener::finish);
        Trace {
            sample_rate_hz: self.rate_hz,
            samples,
            // What a microphone hears beside a wired line does not count.
            heard_not_wired: heard && self.seen.is_empty(),
            clipped: self.seen.iter().map(|s| s.clipped).sum(),
            trains: self.seen.into_iter().map(|s| s.train).collect(),
            rms: self.account.rms(samples),
            peak: f64::from(self.account.peak),
            overview: self
                .overview
                .map(|overview| overview.finish(self.ticks.rate_hz))
                .unwrap_or_default(),
        }
    }

    /// Samples seen.
    fn count(&self) -> u64 {
        self.before + self.latest.len() as u64
    }

    fn make_ticks(&mut self) {
        let factor = self.ticks.factor;
        let done = (self.ticks.count() * factor as u64 - self.before) as usize;
        let whole = (self.latest.len() - done) / factor * factor;
        self.take_ticks(done, done + whole);
        self.ticks.push(&self.summary.mean);
        if let Some(listener) = &mut self.listener {
            listener.push(&self.summary.low, &self.summary.high);
        }
    }

    /// Accounts for the samples after the last whole tick.
    fn finish_ticks(&mut self) {
        let done = (self.ticks.count() * self.ticks.factor as u64 - self.before) as usize;
        if done < self.latest.len() {
            self.take_ticks(done, self.latest.len());
        }
    }

    /// Summarises a stretch of samples, mended where they are none, and accounts for it.
    fn take_ticks(&mut self, from: usize, until: usize) {
        let factor = self.ticks.factor.min((until - from).max(1));
        let (account, summary, first) = (&mut self.account, &mut self.summary, self.ticks.count());
        match &mut self.latest {
            Latest::Words(words) => {
                let samples = &words[from..until];
                summary.take(samples, factor);
                account.take(summary, samples, factor, first);
            }
            Latest::Floats(floats) => {
                let samples = &mut floats[from..until];
                summary.take(samples, factor);
                if !summary.is_sane(LOUDEST) {
                    silence(samples);
                    summary.take(samples, factor);
                }
                account.take(summary, samples, factor, first);
            }
        }
        if let Some(overview) = &mut self.overview {
            overview.push(&self.summary.low, &self.summary.high);
        }
    }

    /// Takes the ticks up to `until` as the next piece.
    fn take_piece(&mut self, until: u64) {
        let from = self.finder.needs_from();
        let means = self.ticks.means(from, until);
        let events = match self.mains.without(&self.ticks, from, until) {
            Some(quiet) => self.finder.take(&quiet),
            None => self.finder.take(means),
        };
        self.events.extend(self.sieve.notable(events));
    }

    /// Analyses what has come to rest by now.
    fn settle(&mut self) {
        let rest = self.ticks.of(REST_S);
        let known = self.finder.known();
        loop {
            let mut loud: Vec<u64> = self
                .events
                .iter()
                .filter(|e| e.loud && e.at >= self.settled)
                .map(|e| e.at)
                .collect();
            loud.push(known);
            let ended = loud.windows(2).find(|w| w[1] >= w[0] + rest).map(|w| w[0]);
            let now = self.finder.wants() - (self.finder.length() as u64);
            if let Some(at) = ended {
                let due = at + self.ticks.of(self.after_s(at));
                if due > now {
                    return;
                }
                self.analyse(due * self.ticks.factor as u64, at, false);
                self.settled = at + 1;
                continue;
            }
            let longest = self.ticks.of(LONGEST_S);
            match self.events.first() {
                Some(first) if first.at + longest < known => {
                    self.analyse(known * self.ticks.factor as u64, known, false);
                    self.settled = known;
                }
                _ => return,
            }
        }
    }

    /// How long to wait after a digit whose last loud event is at tick `at`.
    fn after_s(&self, at: u64) -> f64 {
        let from = at.saturating_sub(self.ticks.of(END_OF_DIGIT_S));
        let loud = self.events.iter().filter(|e| e.loud);
        let mut ticks: Vec<u64> = loud
            .map(|e| e.at)
            .filter(|t| (from..=at).contains(t))
            .collect();
        ticks.dedup_by(|later, earlier| *later <= *earlier + self.ticks.of(ONE_EDGE_S));
        let longest_s = |steps: usize| {
            let spans = ticks.windows(steps + 1).map(|w| w[steps] - w[0]);
            spans.max().map(|ticks| ticks as f64 / self.ticks.rate_hz)
        };
        let Some(make_s) = longest_s(1) else {
            return AFTER_SLOW_S;
        };
        let period_s = longest_s(2).unwrap_or(USUAL_PERIOD * make_s);
        if period_s + make_s < NO_REST_S {
            AFTER_S
        } else {
            AFTER_SLOW_S
        }
    }

    /// Analyses the events up to the sample `end` and takes the trains that ended by tick `settled`.
    fn analyse(&mut self, end: u64, settled: u64, last: bool) {
        let (seen, stretch) = self.look(end, last);
        let nothing = seen.is_empty();
        let factor = self.ticks.factor as u64;
        let forced = !last && settled * factor >= end;
        let (over, mut open): (Vec<Seen>, Vec<Seen>) = seen
            .into_iter()
            .partition(|s| self.is_over(&s.train, end, settled, last));
        open.retain(|s| !s.sounded);
        let doubtful = |s: &Seen| !confirm::is_certain(s);
        if let Some(stretch) = stretch.filter(|_| nothing || over.iter().any(doubtful)) {
            self.stretches.keep(stretch, self.rate_hz);
        }
        for seen in over {
            if seen.sounded {
                // One sound may yet be a dial's, if nothing else speaks against it and other digits sound so too.
                if forced || !seen.train.doubts.is_empty() {
                    continue;
                }
            } else {
                let after = (end_of(&seen.train) + FREE_AFTER_S) * self.rate_hz;
                self.free_from = self.free_from.max(after as u64);
            }
            let train = mark_gaps(seen.train, &self.gaps, self.rate_hz);
            let mut seen = Seen { train, ..seen };
            let certain = confirm::is_certain(&seen);
            if certain {
                self.listener = None;
                self.sign = self.sign.or(Some(seen.train.polarity.sign()));
                self.own_size = self.own_size.or(self.size_of_events(&seen.train));
                let known = self.own.as_ref().map_or(0, |own| own.pulses);
                if let Some(own) = seen.own.take().filter(|own| own.pulses > known) {
                    self.own = Some(own);
                }
            }
            seen.own = None;
            self.let_go_of_pictures(&mut seen.train, certain);
            self.seen.push(seen);
        }
        if last {
            return;
        }
        let mut keep_from = if forced {
            settled.saturating_sub(self.ticks.of(CARRY_S))
        } else {
            settled.saturating_add(1)
        };
        if let Some(open) = open.first() {
            let start = (start_of(&open.train) - 0.01) * self.ticks.rate_hz;
            keep_from = keep_from.min(start.max(0.0) as u64);
        }
        // No train of a dial lasts half of the longest window: what does is cut.
        let least = (end / factor).saturating_sub(self.ticks.of(LONGEST_S) / 2);
        self.cut_in = keep_from < least;
        let keep_from = keep_from.max(least).max(self.free_from / factor);
        self.events.retain(|e| e.at >= keep_from);
    }

    /// Lets go of what no one will look at.
    fn let_go_of_pictures(&mut self, train: &mut Train, certain: bool) {
        if !self.pictures {
            train.envelope = Envelope::default();
        }
        let left = &mut self.snippets[usize::from(certain)];
        let keeps = if self.overview.is_none() {
            let length = train.snippet.samples.len();
            let keeps = (certain || train.has_unexplained()) && length <= *left;
            *left -= if keeps { length } else { 0 };
            keeps
        } else {
            self.pictures || train.has_unexplained()
        };
        if !keeps {
            train.snippet = Snippet::default();
        }
    }

    fn is_over(&self, train: &Train, end: u64, settled: u64, last: bool) -> bool {
        let over_s = end_of(train);
        if last {
            return true;
        }
        let settled_s = settled as f64 / self.ticks.rate_hz;
        if settled * self.ticks.factor as u64 >= end {
            over_s + SETTLED_S < settled_s
        } else {
            over_s < settled_s + SLACK_S
        }
    }

    /// The trains among the events up to the sample `end`.
    fn look(&mut self, end: u64, last: bool) -> (Vec<Seen>, Option<Stretch>) {
        let factor = self.ticks.factor as u64;
        let events: Vec<Event> = self
            .events
            .iter()
            .copied()
            .filter(|e| e.at * factor < end)
            .collect();
        let found = without_faint(events);
        let mut events = self.likely(found.clone());
        let Some(first) = events.first().map(|e| e.at) else {
            return (Vec::new(), None);
        };
        let until = end / factor;
        let (mut tone, quiet) = self.without_tone(&found, until).unzip();
        let ticks_from = first.saturating_sub(self.ticks.of(TICK_LEAD_S));
        let hum = match &quiet {
            Some(ticks) => {
                let mut mains = Mains::new(ticks.rate_hz, Arc::clone(&self.tools));
                mains.estimate(ticks, ticks_from, until)
            }
            None => self.mains.estimate(&self.ticks, ticks_from, until),
        };
        let ticks = quiet.as_ref().unwrap_or(&self.ticks);
        let mut anew = None;
        if let Some(hum) = &hum
            && hum.amplitude() >= HIDES * f64::from(largest(&events))
        {
            let means = Mains::without_late(hum, ticks, ticks_from, until);
            anew = means.and_then(|means| self.looked_for_anew(&means, &events, until));
        }
        if anew.is_none() && quiet.is_some() {
            let means = ticks.means(ticks_from, until);
            anew = self.looked_for_anew(means, &events, until);
        }
        events = anew.unwrap_or(events);
        let first = events.first().map_or(first, |e| e.at);
        let start = first.saturating_sub(self.ticks.of(LEAD_S)) * factor;
        let start = start
            .max(self.free_from.next_multiple_of(factor))
            .max(self.before.next_multiple_of(factor));
        if start + factor >= end {
            return (Vec::new(), None);
        }
        let place = |sample: u64| (sample - self.before) as usize;
        let means = ticks.means(ticks_from, until);
        let ticks = TickWindow {
            means,
            first: (end / factor) - means.len() as u64,
            rate_hz: self.ticks.rate_hz,
            factor: self.ticks.factor,
            free_from: self.free_from.div_ceil(factor),
            hum: hum.as_ref(),
        };
        let recorded = self.latest.values(place(start)..place(end));
        let grid = Grid {
            start_s: start as f64 / self.rate_hz,
            rate_hz: self.rate_hz,
            mean_s: 0.0,
        };
        let seen_in = |samples: &[f32], events: Vec<Event>| {
            let trains_of = |events: &[Event]| {
                analyse::window(Window {
                    samples,
                    recorded: &recorded,
                    start,
                    rate_hz: self.rate_hz,
                    first: start == 0 || self.cut_in,
                    last,
                    events,
                    ticks,
                    tools: &self.tools,
                    sign: self.sign,
                    drawn: self.pictures && self.overview.is_some(),
                })
            };
            with_strong(trains_of(&events), events, trains_of)
        };
        let (seen, without_tone) = match &mut tone {
            None => (seen_in(&recorded, events.clone()), None),
            Some(tone) => {
                tone.ends_in(&recorded, grid);
                let without = |tone: &Tone| {
                    let mut samples = recorded.to_vec();
                    tone.subtract_sharply(&mut samples, grid);
                    samples
                };
                // It ends as the first break begins, which is known better when that is.
                let mut samples = without(tone);
                let mut seen = seen_in(&samples, events.clone());
                if tone.ends_with(seen.iter().map(|s| start_of(&s.train))) {
                    samples = without(tone);
                    seen = seen_in(&samples, events.clone());
                    for train in seen.iter_mut().map(|s| &mut s.train) {
                        tone.widen(train, self.rate_hz);
                    }
                }
                (seen, Some(samples))
            }
        };
        let is_clear = !seen.is_empty() && seen.iter().all(confirm::is_certain);
        let stretch = (!is_clear).then(|| Stretch {
            largest: largest(&events),
            without_tone,
            tone,
            start,
            first: start == 0 || self.cut_in,
            last,
            means: means.to_vec(),
            first_tick: ticks.first,
            free_from: ticks.free_from,
            hum,
            recorded: recorded.into_owned(),
        });
        (seen, stretch)
    }

    /// Reads what left doubts once more by what the line's own transitions look like, and takes what that leaves no doubt about.
    fn read_by_own(&mut self) {
        let (Some(own), Some(own_size)) = (self.own.take(), self.own_size) else {
            return;
        };
        let ticks = (self.ticks.factor, self.ticks.rate_hz);
        let drawn = self.pictures && self.overview.is_some();
        let tools = Arc::clone(&self.tools);
        for stretch in std::mem::take(&mut self.stretches).into_iter() {
            let lasts = stretch.lasts_s(self.rate_hz);
            let there = self.seen.iter();
            let mut there = there
                .filter(|s| lasts.contains(&start_of(&s.train)))
                .peekable();
            let is_clear = |s: &Seen| s.is_beyond_doubt() && own.looks_like(s);
            let read = there.peek().is_some() && there.all(is_clear);
            if read || stretch.largest < OWN_SIZE * own_size {
                continue;
            }
            let window = stretch.window(&tools, self.rate_hz, ticks, drawn);
            for seen in analyse::by_own(&window, &own) {
                let train = mark_gaps(seen.train, &self.gaps, self.rate_hz);
                let mut seen = Seen { train, ..seen };
                if let Some(tone) = &stretch.tone {
                    tone.widen(&mut seen.train, self.rate_hz);
                }
                if own.looks_like(&seen) {
                    confirm::explain_by_looks(&mut seen);
                    if seen.is_beyond_doubt() {
                        self.take_instead(seen);
                    }
                }
            }
        }
    }

    /// Takes a train instead of what was read in its place, if that left doubts and holds nothing that this does not explain.
    fn take_instead(&mut self, mut seen: Seen) {
        let (start, end) = (start_of(&seen.train), end_of(&seen.train));
        let apart = |s: &Seen| end_of(&s.train) < start || start_of(&s.train) > end;
        let explained = own::explains(&seen.train);
        let within =
            |s: &Seen| explained.start <= start_of(&s.train) && end_of(&s.train) <= explained.end;
        let others = || self.seen.iter().filter(|s| !apart(s));
        if others().any(|s| confirm::is_certain(s) || !within(s)) {
            return;
        }
        let certain = confirm::is_certain(&seen);
        self.let_go_of_pictures(&mut seen.train, certain);
        self.seen.retain(apart);
        let later = self.seen.iter().position(|s| start_of(&s.train) > start);
        self.seen.insert(later.unwrap_or(self.seen.len()), seen);
    }

    /// The events that may be part of a train. Where the line's own are known, a few as large as those are looked at too, whatever
    /// they look like: of a pulse alone both may go the same way.
    fn likely(&self, events: Vec<Event>) -> Vec<Event> {
        let mut marks = pairs::likely(&events, self.ticks.rate_hz);
        if let Some(own) = self.own_size {
            let is_own = |event: &Event| size(event) > OWN_SIZE * own;
            let passed_over = marks.iter().zip(&events);
            let passed_over = passed_over.filter(|(mark, event)| !**mark && is_own(event));
            if passed_over.count() <= FEW {
                let pairs = marks.iter_mut().zip(&events);
                pairs.for_each(|(mark, event)| *mark |= is_own(event));
            }
        }
        let marked = events.into_iter().zip(marks);
        marked.filter(|(_, mark)| *mark).map(|(e, _)| e).collect()
    }

    /// How large the events of a train are: openings or closings, whichever are smaller.
    fn size_of_events(&self, train: &Train) -> Option<f32> {
        let near_s = 0.5 * ONE_EDGE_S;
        let of_edge = |edge: &Edge| {
            let apart_s = |e: &Event| (e.at as f64 / self.ticks.rate_hz - edge.instant_s).abs();
            let near = self.events.iter().filter(|e| apart_s(e) < near_s);
            f64::from(near.map(size).fold(0.0, greater))
        };
        let of_kind = |kind: usize| {
            let own = train.edges.iter().skip(kind).step_by(2).map(of_edge);
            linear::median(&own.collect::<Vec<f64>>())
        };
        let own = of_kind(0)?.min(of_kind(1)?);
        (own > 0.0).then_some(own as f32)
    }

    /// The likely events up to a tick, looked for in ticks without hum or tone as they are known now. When they came these were
    /// known less well, as at the start of a recording or where a tone goes on until the first break, and hid some.
    fn looked_for_anew(&self, means: &[f32], events: &[Event], until: u64) -> Option<Vec<Event>> {
        let first = events.first()?.at;
        let first = first.saturating_sub(self.ticks.of(LEAD_S));
        let first = first.max(self.free_from.div_ceil(self.ticks.factor as u64));
        let mut sieve = Sieve::new(self.ticks.rate_hz);
        let found = Finder::all(self.ticks.rate_hz, means, until - means.len() as u64);
        let later = sieve.notable(found).filter(|e| e.at >= first).collect();
        Some(self.likely(without_faint(later))).filter(|events| !events.is_empty())
    }

    /// A tone that precedes the first large event, and the ticks without it.
    fn without_tone(&self, events: &[Event], until: u64) -> Option<(Tone, Ticks)> {
        let largest = largest(events);
        let step = events.iter().find(|e| size(e) >= STRONG * largest)?.at;
        let from = step.saturating_sub(self.ticks.of(TICK_LEAD_S));
        let from = from.max(self.free_from.div_ceil(self.ticks.factor as u64));
        let means = self.ticks.means(from, until);
        let from = until - means.len() as u64;
        let step = step.checked_sub(from)? as usize;
        let tone = Tone::before(
            means,
            self.ticks.grid(from),
            step,
            largest,
            &self.tools.spectrum,
        )?;
        let ticks = self.ticks.without(&tone);
        Some((tone, ticks))
    }

    /// Lets go of what no window can reach any more.
    fn forget(&mut self) {
        let oldest = self.events.first().map_or(self.finder.known(), |e| e.at);
        let ticks = oldest
            .min(self.finder.needs_from())
            .saturating_sub(self.ticks.of(TICK_LEAD_S + 0.5));
        self.ticks.forget(ticks);
        self.mains.forget(ticks);
        let samples = oldest.saturating_sub(self.ticks.of(LEAD_S + 0.1)) * self.ticks.factor as u64;
        let old = samples.saturating_sub(self.before) as usize;
        // Moving what stays costs as much as it is long, so it is moved seldom.
        if old > CHUNK && 5 * old > 4 * self.latest.len() {
            self.latest.forget(old);
            self.before += old as u64;
        }
    }
}

/// What is no number, or none of a recording, becomes zero.
fn silence(samples: &mut [f32]) {
    let wild = |x: &&mut f32| !(x.is_finite() && x.abs() < LOUDEST);
    for x in samples.iter_mut().filter(wild) {
        *x = 0.0;
    }
}

fn start_of(train: &Train) -> f64 {
    train.edges.first().map_or(0.0, |e| e.instant_s)
}

fn end_of(train: &Train) -> f64 {
    train.edges.last().map_or(0.0, |e| e.instant_s)
}

/// The larger difference of an event.
fn size(event: &Event) -> f32 {
    greater(event.size[0].abs(), event.size[1].abs())
}

fn largest(events: &[Event]) -> f32 {
    events.iter().map(size).fold(0.0, greater)
}

/// What was seen among some events, and where no train of it moves the trace as far as the largest of them lets expect, trains
/// of the strongest alone: many small steps may make a longer train than a few large ones do.
fn with_strong(
    seen: Vec<Seen>,
    mut events: Vec<Event>,
    trains_of: impl Fn(&[Event]) -> Vec<Seen>,
) -> Vec<Seen> {
    let most = largest(&events);
    let is_strong = |s: &Seen| s.farthest >= f64::from(STRONG * most);
    // Of the strongest alone nothing else is seen where there are no others.
    let all_strong = events.iter().all(|event| size(event) >= STRONG * most);
    if all_strong || seen.iter().any(is_strong) {
        return seen;
    }
    events.retain(|event| size(event) >= STRONG * most);
    let strong = trains_of(&events).into_iter().filter(is_strong).collect();
    beside(strong, seen, RUBBLE * f64::from(most))
}

/// Trains of strong steps and what was seen among all steps, in time order. Of two that share a stretch, the strong one
/// is taken, unless it has doubts, and the other has none or moves the trace by at least so much.
fn beside(mut strong: Vec<Seen>, mut all: Vec<Seen>, least: f64) -> Vec<Seen> {
    let apart = |a: &Seen, b: &Seen| {
        end_of(&a.train) < start_of(&b.train) || end_of(&b.train) < start_of(&a.train)
    };
    let is_better =
        |a: &Seen, s: &Seen| !s.is_beyond_doubt() && (a.is_beyond_doubt() || a.farthest >= least);
    all.retain(|a| strong.iter().all(|s| apart(s, a) || is_better(a, s)));
    strong.retain(|s| all.iter().all(|a| apart(s, a)));
    strong.append(&mut all);
    strong.sort_by(|a, b| start_of(&a.train).total_cmp(&start_of(&b.train)));
    strong
}

fn mark_gaps(mut train: Train, gaps: &[u64], rate_hz: f64) -> Train {
    let (start, end) = (start_of(&train), end_of(&train));
    let pulses = (train.edges.len() / 2).max(1) as f64;
    let near = 2.0 * ((end - start) / pulses).max(0.1);
    let gap = gaps
        .iter()
        .map(|&g| g as f64 / rate_hz)
        .find(|g| (start - near..end + near).contains(g));
    train.doubts.extend(gap.map(Doubt::Gap));
    train
}

/// The events but those that are next to nothing beside the strongest. Where the resting line is cut off, the little
/// noise that is left of it makes some at every moment; those after a strong one are sieved out as they come.
fn without_faint(mut events: Vec<Event>) -> Vec<Event> {
    let mut sizes: Vec<f32> = events.iter().map(size).collect();
    if sizes.len() <= FAINT_BESIDE {
        return events;
    }
    let (_, strong, _) = sizes.select_nth_unstable_by(FAINT_BESIDE, |a, b| b.total_cmp(a));
    let least = FAINT * *strong;
    events.retain(|event| size(event) >= least);
    events
}
