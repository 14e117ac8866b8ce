//! What one page and the program say to each other, from the first capture to the last. It outlives the connection: a
//! page that comes back finds it as it was.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use drive::Options;
use report::{Measured, Record, Saved, verdict_words};
use score::{Plan, Settings};

use super::guide::Guide;
use super::protocol::{
    self, Begin, Choice, Chosen, Happening, Heard, Hello, Level, Named, Say, shown,
};
use super::reports::Reports;
use super::show::{self, Beside, Told};
use super::{Bench, files};
use crate::{Arrival, Encoding, Event, Format, LostHow, Setup, Sitting, findings};

/// The level bar begins here.
const FLOOR_DB: f64 = -60.0;
/// Clipping is shown for so long after it came.
const OVER_S: f64 = 2.0;
/// Gaps said one by one; more of them are said as a number.
const GAPS_TOLD: usize = 3;

/// One page's side of things.
pub(crate) struct Talk {
    page: String,
    bench: Bench,
    reports: Arc<Reports>,
    settings: Settings,
    dial_id: String,
    capture: Option<Capture>,
    /// The file that was captured last, open or not.
    last: Option<PathBuf>,
    attempts: Vec<Kept>,
    next_number: usize,
    first: Option<usize>,
    guide: Guide,
    out: Vec<Say>,
}

/// A capture that is open.
struct Capture {
    sitting: Sitting,
    channels: u16,
    next_block: u32,
    /// Number of the sitting's digit 0 among all attempts.
    base: usize,
    over_until_s: f64,
    hum: String,
    gaps: usize,
}

/// An attempt and where it was captured.
struct Kept {
    number: usize,
    file: PathBuf,
    told: Told,
}

/// What a message asks of the connection.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    /// Nothing more.
    Stay,
    /// Another talk is wanted: the page was here before.
    Resume(String),
}

impl Talk {
    pub(crate) fn new(page: String, bench: &Bench, reports: Arc<Reports>) -> Talk {
        Talk {
            page,
            settings: bench.settings.clone(),
            dial_id: bench.dial_id.clone().unwrap_or_default(),
            bench: bench.clone(),
            reports,
            capture: None,
            last: None,
            attempts: Vec::new(),
            next_number: 1,
            first: None,
            guide: Guide::default(),
            out: Vec::new(),
        }
    }

    pub(crate) fn page(&self) -> &str {
        &self.page
    }

    /// True if nothing would be lost without it.
    pub(crate) fn is_blank(&self) -> bool {
        self.capture.is_none() && self.attempts.is_empty()
    }

    /// What is to be sent.
    pub(crate) fn take_out(&mut self) -> Vec<Say> {
        std::mem::take(&mut self.out)
    }

    /// The first message of a connection.
    pub(crate) fn hello(&mut self) {
        let hello = Hello {
            page: self.page.clone(),
            limits: limits(&self.bench),
            plans: plans(),
            chosen: Chosen {
                limits: self
                    .settings
                    .limits
                    .as_ref()
                    .map_or_else(|| "none".to_owned(), |set| set.name.to_string()),
                plan: self.settings.plan.name().to_owned(),
                dial_id: self.dial_id.clone(),
            },
            about: format!(
                "fingerstop {}. Sound and figures are kept in {}. ± is the 95 % uncertainty, a recorder clock good to {} ppm \
                 included{}.",
                self.bench.version,
                self.bench.folder.display(),
                self.settings.clock_ppm,
                if report::UNCERTAINTY_VERIFIED {
                    ""
                } else {
                    "; uncertainty not yet verified"
                }
            ),
        };
        self.out.push(Say::Hello(Box::new(hello)));
    }

    /// The page is here again.
    pub(crate) fn resumed(&mut self) {
        self.hello();
        self.out.push(Say::Resumed {
            page: self.page.clone(),
            next_block: self.capture.as_ref().map(|capture| capture.next_block),
        });
        self.say_all();
        self.say_guide();
    }

    /// The page that was here before is not known.
    pub(crate) fn unknown(&mut self) {
        self.out.push(Say::UnknownPage);
    }

    /// A text message.
    pub(crate) fn text(&mut self, text: &str) -> Turn {
        match protocol::heard(text) {
            Ok(Heard::Resume { page }) => return Turn::Resume(page),
            Ok(Heard::Begin(begin)) => self.begin(&begin),
            Ok(Heard::Happened { what }) => self.happened(what),
            Ok(Heard::Choose(choice)) => self.choose(&choice),
            Ok(Heard::Guide { on }) => self.turn_guide(on),
            Ok(Heard::PassOver) => self.pass_over(),
            Ok(Heard::FirstTake) => self.take_first(),
            Ok(Heard::Save) => self.save(),
            Ok(Heard::Report) => self.report(),
            Ok(Heard::Compare) => self.compare(),
            Ok(Heard::End) => self.end(),
            Ok(Heard::Ping) => {}
            Err(why) => self.caution(
                "message",
                format!("the page said what is not understood: {why}"),
            ),
        }
        Turn::Stay
    }

    fn caution(&mut self, code: &'static str, words: String) {
        self.out.push(Say::Caution {
            code,
            words,
            note: false,
        });
    }

    fn note(&mut self, code: &'static str, words: String) {
        self.out.push(Say::Caution {
            code,
            words,
            note: true,
        });
    }

    // ---- the capture ----------------------------------------------------------------------------------------

    fn begin(&mut self, begin: &Begin) {
        if self.capture.is_some() {
            self.end();
        }
        let on = begin.processing.on();
        if !on.is_empty() {
            let words = format!(
                "The browser keeps {} on, and that bends the line's waveform: nothing is measured through it. Choose another \
                 input, switch it off in the settings of the system, or use `fingerstop listen`.",
                on.join(" and ")
            );
            self.out.push(Say::Refused { words });
            return;
        }
        match self.open(begin) {
            Ok(capture) => {
                let path = capture.sitting.capture().to_owned();
                self.out.push(Say::Begun {
                    file: path.display().to_string(),
                });
                self.last = Some(path);
                self.capture = Some(capture);
                let unknown = begin.processing.unknown();
                if unknown.is_empty() {
                    self.out.push(Say::Settled { code: "processing" });
                } else {
                    let words = format!(
                        "This browser does not say whether {} is off. If it is on, it bends the waveform: compare once with \
                         `fingerstop listen`.",
                        unknown.join(" or ")
                    );
                    self.caution("processing", words);
                }
            }
            Err(words) => self.out.push(Say::Refused { words }),
        }
    }

    fn open(&self, begin: &Begin) -> Result<Capture, String> {
        // A WAV file counts whole frames a second.
        let rate = begin.sample_rate_hz;
        if rate.fract() != 0.0 || !(4000.0..=768_000.0).contains(&rate) {
            return Err(format!(
                "The browser gives {rate} samples a second, which cannot be measured."
            ));
        }
        let format = Format {
            sample_rate_hz: rate as u32,
            channels: begin.channels,
            encoding: Encoding::F32,
        };
        let sitting = self
            .sitting(format)
            .map_err(|error| format!("The capture cannot begin: {error}."))?;
        Ok(Capture {
            sitting,
            channels: begin.channels,
            next_block: 0,
            base: self.next_number,
            over_until_s: 0.0,
            hum: String::new(),
            gaps: 0,
        })
    }

    fn sitting(&self, format: Format) -> Result<Sitting, crate::Error> {
        let mut captures = files::captures(&self.bench.folder);
        loop {
            let setup = Setup {
                format,
                channel: self.bench.channel,
                settings: self.settings.clone(),
                capture: captures.next().unwrap_or_default(),
            };
            // Another page may have taken the name just now.
            match Sitting::begin(setup) {
                Err(crate::Error::Exists(_)) => {}
                begun => return begun,
            }
        }
    }

    /// A block of samples.
    pub(crate) fn block(&mut self, bytes: &[u8]) {
        // Blocks may be on their way when a capture ends.
        let Some(capture) = &mut self.capture else {
            return;
        };
        let block = match protocol::block(bytes, capture.channels) {
            Ok(block) => block,
            Err(why) => {
                self.caution("message", format!("{why}; it is left out"));
                return;
            }
        };
        // Handed over again after a cut, though it had come.
        if block.number < capture.next_block {
            return;
        }
        capture.next_block = block.number.saturating_add(1);
        let arrival = Arrival {
            at: Duration::try_from_secs_f64(block.at_s).ok(),
            first_frame: Some(block.frame),
        };
        match capture.sitting.push(block.samples, arrival) {
            Ok(events) => self.take(events),
            Err(error) => self.close(Some(error.to_string())),
        }
    }

    fn happened(&mut self, what: Happening) {
        let Some(capture) = &mut self.capture else {
            return;
        };
        // The page names what cannot be counted; what the browser left out while hidden or paused shows in the clocks.
        let gap = match what {
            Happening::Muted | Happening::Unmuted | Happening::Unplugged => {
                capture.sitting.gap(None, LostHow::Away)
            }
            Happening::Suspended | Happening::Hidden | Happening::Visible => return,
        };
        match gap {
            Ok(events) => self.take(events),
            Err(error) => self.close(Some(error.to_string())),
        }
    }

    fn end(&mut self) {
        self.close(None);
    }

    /// Ends the capture, by itself or for a reason.
    fn close(&mut self, why: Option<String>) {
        let Some(capture) = self.capture.take() else {
            return;
        };
        let path = capture.sitting.capture().to_owned();
        let (record, failed) = capture.sitting.finish();
        self.recount(&path, &record);
        let why = why.or_else(|| failed.map(|error| error.to_string()));
        let words = match &why {
            Some(why) => format!(
                "The capture ended: {why}. What came before is kept in {}.",
                path.display()
            ),
            None => format!(
                "{}. The sound is kept in {}.",
                summary(&record),
                path.display()
            ),
        };
        self.out.push(Say::Ended {
            words,
            failed: why.is_some(),
        });
        self.say_guide();
    }

    /// The finished record decides: the end of a capture may lift a doubt, or show that something was no digit.
    fn recount(&mut self, path: &Path, record: &Record) {
        let Ok(measured) = &record.outcome else {
            return;
        };
        let scored = &measured.scored;
        let mut changed = false;
        let mut known: Vec<usize> = Vec::new();
        for index in 0..scored.digits.len() {
            let told = told(measured, index, &self.settings);
            let start_s = told.digit.start_s;
            let found = self
                .attempts
                .iter_mut()
                .find(|kept| kept.file == path && kept.told.digit.start_s == start_s);
            if let Some(kept) = found {
                changed |= kept.told.digit != told.digit || kept.told.checks != told.checks;
                kept.told = told;
                known.push(kept.number);
            } else {
                let number = self.keep(path, told);
                known.push(number);
                changed = true;
            }
        }
        let before = self.attempts.len();
        self.attempts
            .retain(|kept| kept.file != path || known.contains(&kept.number));
        if changed || self.attempts.len() != before {
            self.say_all();
        }
    }

    fn keep(&mut self, file: &Path, told: Told) -> usize {
        let number = self.next_number;
        self.next_number += 1;
        self.attempts.push(Kept {
            number,
            file: file.to_owned(),
            told,
        });
        number
    }

    // ---- what was heard -------------------------------------------------------------------------------------

    fn take(&mut self, events: Vec<Event>) {
        for event in events {
            match event {
                Event::Level(level) => self.level(&level),
                Event::Clipping { at_s, .. } => {
                    if let Some(capture) = &mut self.capture {
                        capture.over_until_s = at_s + OVER_S;
                    }
                }
                Event::Hum(hum) => self.hum(&hum),
                Event::Hint(hint) => self.caution(hint.code, hint.text),
                Event::Lost(lost) => self.lost(&lost),
                Event::Digit(heard) | Event::Doubtful(heard) | Event::Revised(heard) => {
                    self.digit(*heard);
                }
                Event::Withdrawn(index) => self.withdraw(index),
            }
        }
    }

    fn level(&mut self, level: &crate::Level) {
        let Some(capture) = &self.capture else {
            return;
        };
        let peak = level.peak.iter().copied().fold(0.0, f64::max);
        let db = 20.0 * peak.max(1e-9).log10();
        let over = level.at_s < capture.over_until_s;
        let words = match () {
            () if over => "clipped: turn the input down".to_owned(),
            () if db < FLOOR_DB => "hardly any signal".to_owned(),
            () => format!("peak {db:.0} dB of full scale"),
        };
        self.out.push(Say::Level(Level {
            took: capture.next_block.saturating_sub(1),
            part: ((db - FLOOR_DB) / -FLOOR_DB).clamp(0.0, 1.0),
            over,
            words,
            hum: capture.hum.clone(),
        }));
    }

    fn hum(&mut self, hum: &crate::Hum) {
        let size = match hum.percent_of_step {
            Some(percent) => format!("{percent:.1} % of the step"),
            None => format!(
                "{:.0} dB of full scale",
                20.0 * hum.amplitude.max(1e-9).log10()
            ),
        };
        if let Some(capture) = &mut self.capture {
            capture.hum = format!("hum {:.0} Hz, {size}", hum.frequency_hz);
        }
    }

    fn lost(&mut self, lost: &crate::Lost) {
        let Some(capture) = &mut self.capture else {
            return;
        };
        capture.gaps += 1;
        let rate = f64::from(capture.sitting.setup().format.sample_rate_hz);
        let size = lost
            .frames
            .map(|frames| format!(" of {:.0} ms", 1000.0 * frames as f64 / rate))
            .unwrap_or_default();
        let how = match lost.how {
            LostHow::Counted => "samples are missing",
            LostHow::Clock => "fewer samples came than time passed",
            LostHow::Seam => "the trace stands still: something else than the input wrote it",
            LostHow::Away => "the input was away",
        };
        let words = if capture.gaps > GAPS_TOLD {
            format!(
                "{} gaps in this capture, the last at {:.1} s{size}: {how}. Close other programs and pages; a digit near a \
                 gap is never sure.",
                capture.gaps, lost.at_s
            )
        } else {
            format!(
                "A gap at {:.1} s{size}: {how}. It is marked; a digit near it is never sure.",
                lost.at_s
            )
        };
        self.caution("gap", words);
    }

    fn digit(&mut self, heard: crate::Heard) {
        let Some(capture) = &self.capture else {
            return;
        };
        let file = capture.sitting.capture().to_owned();
        let told = Told {
            digit: heard.digit,
            checks: heard.checks,
            findings: heard.findings,
        };
        let number = capture.base + heard.index;
        if let Some(kept) = self.attempts.iter_mut().find(|kept| kept.number == number) {
            kept.told = told;
        } else {
            self.next_number = self.next_number.max(number + 1);
            self.attempts.push(Kept { number, file, told });
            self.guide_took(number);
        }
        if let Some(place) = self.attempts.iter().position(|kept| kept.number == number) {
            let attempt = self.shown(place);
            self.out.push(Say::Digit(Box::new(attempt)));
        }
        self.say_guide();
    }

    fn withdraw(&mut self, index: usize) {
        let Some(capture) = &self.capture else {
            return;
        };
        let number = capture.base + index;
        self.attempts.retain(|kept| kept.number != number);
        self.say_all();
        self.say_guide();
    }

    fn shown(&self, place: usize) -> protocol::Attempt {
        let kept = &self.attempts[place];
        let fits = |other: &&Kept| show::comparable(&other.told.digit, &kept.told.digit);
        let earlier = &self.attempts[..place];
        let same = earlier
            .iter()
            .filter(fits)
            .rfind(|other| other.told.digit.pulses == kept.told.digit.pulses);
        let before = same.or_else(|| earlier.iter().rfind(fits));
        let first = self
            .attempts
            .iter()
            .find(|other| Some(other.number) == self.first && other.number != kept.number)
            .or_else(|| {
                // Without a choice, the first of the sitting that can be compared.
                let chosen = self.first.is_some();
                earlier.iter().find(fits).filter(|_| !chosen)
            });
        let beside = Beside {
            before: before.map(|other| &other.told),
            first: first.map(|other| &other.told),
        };
        show::attempt(kept.number, &kept.told, &beside, &self.settings)
    }

    fn say_all(&mut self) {
        let attempts = (0..self.attempts.len())
            .map(|place| self.shown(place))
            .collect();
        self.out.push(Say::Attempts {
            attempts,
            first: self.first,
        });
    }

    // ---- what is chosen -------------------------------------------------------------------------------------

    fn choose(&mut self, choice: &Choice) {
        let settings = match chosen(&self.bench, &self.settings, choice) {
            Ok(settings) => settings,
            Err(words) => {
                self.caution("choice", words);
                return;
            }
        };
        self.dial_id = shown(choice.dial_id.trim());
        if settings == self.settings {
            return;
        }
        self.settings = settings;
        if let Some(capture) = &mut self.capture {
            capture.sitting.judge_by(self.settings.clone());
        }
        self.measure_anew();
        self.say_all();
        self.say_guide();
    }

    /// All that was captured, judged by what is chosen now.
    fn measure_anew(&mut self) {
        let mut files: Vec<PathBuf> = self.attempts.iter().map(|kept| kept.file.clone()).collect();
        files.dedup();
        for file in files {
            let record = self.record(&file);
            let Ok(measured) = &record.outcome else {
                continue;
            };
            for index in 0..measured.scored.digits.len() {
                let told = told(measured, index, &self.settings);
                let found = self.attempts.iter_mut().find(|kept| {
                    kept.file == file && kept.told.digit.start_s == told.digit.start_s
                });
                if let Some(kept) = found {
                    kept.told = told;
                }
            }
        }
    }

    /// What is kept of a capture, as `check` reads it.
    fn record(&mut self, file: &Path) -> Record {
        if let Some(capture) = &mut self.capture
            && capture.sitting.capture() == file
        {
            // What cannot be written now is said when the next block comes.
            let _ = capture.sitting.flush();
        }
        let mut settings = self.settings.clone();
        let numbers: Vec<usize> = self
            .attempts
            .iter()
            .filter(|kept| kept.file == file)
            .map(|kept| kept.number)
            .collect();
        settings.dialled = self.guide.dialled(&numbers).or(settings.dialled);
        let options = Options {
            channel: self.bench.channel,
            ..Options::default()
        };
        drive::record(file, &options, &settings, &mut |_, _| {})
    }

    // ---- guided run and first take --------------------------------------------------------------------------

    fn digits(attempts: &[Kept]) -> Vec<(usize, &score::Digit)> {
        attempts
            .iter()
            .map(|kept| (kept.number, &kept.told.digit))
            .collect()
    }

    fn turn_guide(&mut self, on: bool) {
        self.guide.turn(on);
        let shown = self
            .guide
            .shown(&Self::digits(&self.attempts), self.settings.plan);
        self.out.push(Say::Guide(shown));
    }

    fn guide_took(&mut self, number: usize) {
        // The attempt itself must not answer for the question that it answers.
        let earlier: Vec<(usize, &score::Digit)> = Self::digits(&self.attempts)
            .into_iter()
            .filter(|(known, _)| *known != number)
            .collect();
        self.guide.came(number, &earlier, self.settings.plan);
    }

    fn pass_over(&mut self) {
        self.guide
            .pass_over(&Self::digits(&self.attempts), self.settings.plan);
        self.say_guide();
    }

    fn say_guide(&mut self) {
        if self.guide.is_on() {
            let shown = self
                .guide
                .shown(&Self::digits(&self.attempts), self.settings.plan);
            self.out.push(Say::Guide(shown));
        }
    }

    fn take_first(&mut self) {
        let latest = self.attempts.iter().rfind(|kept| kept.told.digit.sure);
        match latest.map(|kept| kept.number) {
            Some(number) => {
                self.first = Some(number);
                self.say_all();
            }
            None => self.caution(
                "first",
                "There is no sure attempt to compare with yet.".to_owned(),
            ),
        }
    }

    // ---- what is kept and shown -----------------------------------------------------------------------------

    fn dial(&self) -> Option<&str> {
        (!self.dial_id.is_empty()).then_some(self.dial_id.as_str())
    }

    fn save(&mut self) {
        let Some(file) = self.last.clone() else {
            self.caution("saved", "Nothing is captured yet.".to_owned());
            return;
        };
        let record = self.record(&file);
        let path = file.with_extension("json");
        let recording = report::json::recording(&record, &self.settings, self.dial());
        let written = report::json::document(&[recording], &self.settings, &self.bench.version)
            .map_err(|error| error.to_string())
            .and_then(|json| files::write_whole(&path, &json).map_err(|error| error.to_string()));
        match written {
            Ok(()) => self.note(
                "saved",
                format!(
                    "The figures are saved in {}, beside the sound.",
                    path.display()
                ),
            ),
            Err(why) => self.caution("saved", format!("cannot write {}: {why}", path.display())),
        }
    }

    fn report(&mut self) {
        let Some(file) = self.last.clone() else {
            self.caution("report", "Nothing is captured yet.".to_owned());
            return;
        };
        let record = self.record(&file);
        let page = report::html_report(&record, &self.settings, self.dial(), &self.bench.version);
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        let name = format!("{stem}.html");
        self.show(page, "Report".to_owned(), name);
    }

    fn compare(&mut self) {
        let Some([first, last]) = self.first_and_last() else {
            self.caution(
                "report",
                "A comparison wants two sure attempts of two pulses or more.".to_owned(),
            );
            return;
        };
        let mut saved = Vec::new();
        for (file, start_s) in [first, last] {
            let record = self.record(&file);
            match Saved::of(&record, &self.settings, self.dial(), &self.bench.version) {
                Ok(whole) => saved.extend(alone(whole, start_s)),
                Err(error) => {
                    self.caution("report", error.to_string());
                    return;
                }
            }
        }
        if saved.len() < 2 {
            self.caution(
                "report",
                "The takes cannot be read again: were their files moved?".to_owned(),
            );
            return;
        }
        let options = report::CompareOptions {
            same_recorder: true,
            ..report::CompareOptions::default()
        };
        let comparison = report::compare(saved, &options);
        let page = report::compare_html(&comparison, &self.bench.version);
        self.show(
            page,
            "First take and latest".to_owned(),
            "comparison.html".to_owned(),
        );
    }

    /// File and start of the first take and of the latest.
    fn first_and_last(&self) -> Option<[(PathBuf, f64); 2]> {
        let place = |kept: &Kept| (kept.file.clone(), kept.told.digit.start_s);
        let able = |kept: &&Kept| kept.told.digit.sure && kept.told.digit.speed_pps.is_some();
        let chosen = self
            .attempts
            .iter()
            .find(|kept| Some(kept.number) == self.first);
        let first = chosen.or_else(|| self.attempts.iter().find(able))?;
        let last = self.attempts.iter().rfind(able)?;
        (first.number != last.number).then(|| [place(first), place(last)])
    }

    fn show(&mut self, page: Result<String, report::PlotError>, title: String, name: String) {
        let kept = page
            .map_err(|error| error.to_string())
            .and_then(|page| self.reports.keep(page).map_err(|error| error.to_string()));
        match kept {
            Ok(ticket) => self.out.push(Say::Report {
                ticket,
                title,
                name,
            }),
            Err(why) => self.caution("report", format!("the report cannot be made: {why}")),
        }
    }

    /// The program ends: the capture is finished, and the page hears why it gets no answer any more.
    pub(crate) fn closing(&mut self) {
        self.close(None);
        let kept = match &self.last {
            Some(file) => format!(" The sound is kept in {}.", file.display()),
            None => String::new(),
        };
        self.out.push(Say::Closing {
            words: format!(
                "The program has ended.{kept} Start it again and open the address that it prints."
            ),
        });
    }
}

fn told(measured: &Measured, index: usize, settings: &Settings) -> Told {
    let digit = measured.scored.digits[index].clone();
    Told {
        checks: measured
            .scored
            .checks
            .iter()
            .filter(|check| check.digit_index == index)
            .cloned()
            .collect(),
        findings: findings::of(&measured.trace, &digit, settings),
        digit,
    }
}

/// Of all digits of a capture the one that begins then.
fn alone(mut saved: Saved, start_s: f64) -> Option<Saved> {
    let index = saved
        .digits
        .iter()
        .position(|digit| digit.start_s == start_s)?;
    saved.digits = vec![saved.digits.swap_remove(index)];
    saved.checks.retain(|check| check.digit_index == index);
    for check in &mut saved.checks {
        check.digit_index = 0;
    }
    saved
        .findings
        .retain(|finding| finding.digit_index.is_none_or(|of| of == index));
    for finding in &mut saved.findings {
        finding.digit_index = finding.digit_index.map(|_| 0);
    }
    Some(saved)
}

fn summary(record: &Record) -> String {
    match &record.outcome {
        Err(unreadable) => format!("The capture cannot be read: {}", unreadable.message),
        Ok(measured) if measured.scored.digits.is_empty() => "No dialling was found".to_owned(),
        Ok(measured) => {
            let digits: Vec<&str> = measured
                .scored
                .digits
                .iter()
                .map(|digit| digit.digit.as_deref().unwrap_or("?"))
                .collect();
            format!(
                "Captured {}: {}",
                digits.join(" "),
                verdict_words(measured.scored.verdict)
            )
        }
    }
}

/// Settings with what the page chose, looked up by name.
pub(crate) fn chosen(
    bench: &Bench,
    settings: &Settings,
    choice: &Choice,
) -> Result<Settings, String> {
    let limits = match choice.limits.as_str() {
        "none" => None,
        name => {
            let found = bench.limit_sets.iter().find(|set| set.name == name);
            let unknown = || format!("there is no limit set `{}` here", shown(name));
            Some(found.cloned().ok_or_else(unknown)?)
        }
    };
    let plan = Plan::find(&choice.plan)
        .ok_or_else(|| format!("there is no plan `{}`", shown(&choice.plan)))?;
    Ok(Settings {
        limits,
        plan,
        ..settings.clone()
    })
}

fn limits(bench: &Bench) -> Vec<Named> {
    let none = Named {
        name: "none".to_owned(),
        words: "none: measure only".to_owned(),
        about: "Nothing is judged. Limits differ between countries and years: choose those that are meant for this dial."
            .to_owned(),
    };
    let sets = bench.limit_sets.iter().map(|set| Named {
        name: set.name.to_string(),
        words: format!("{}: {}", set.name, set.title),
        about: about(set),
    });
    std::iter::once(none).chain(sets).collect()
}

fn about(set: &score::LimitSet) -> String {
    let source: Vec<&str> = [&set.document, &set.clause, &set.year]
        .into_iter()
        .map(AsRef::as_ref)
        .filter(|part| !part.is_empty())
        .collect();
    let caution = if set.set_to_only {
        " These limits tell what to set a dial to; being outside is not by itself a reason to reject it."
    } else {
        ""
    };
    format!(
        "Grade {}. Source: {}.{caution}",
        set.grade.name(),
        source.join(", ")
    )
}

fn plans() -> Vec<Named> {
    Plan::ALL
        .into_iter()
        .map(|(name, plan)| {
            let zero = plan.pulses(0).unwrap_or_default();
            let one = plan.pulses(1).unwrap_or_default();
            Named {
                name: name.to_owned(),
                words: format!("{name}: 1 is {one}, 0 is {zero} pulses"),
                about: String::new(),
            }
        })
        .collect()
}
