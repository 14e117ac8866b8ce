//! What one page and the program say to each other, from the first capture to the last. It outlives the connection: a
//! page that comes back finds it as it was.

mod calibrate;
mod capture;
mod choice;
mod guided;
mod heard;
mod keep;
mod offer;
mod probe;

use std::path::PathBuf;
use std::sync::Arc;

use score::Settings;

use super::Bench;
use super::guide::Guide;
use super::protocol::{self, Chosen, Heard, Hello, Say};
use super::reports::Reports;
use super::show::Told;
use crate::{Calibration, Noticed, Sitting};

pub(crate) use choice::chosen;

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
    /// The probe check is open.
    probe: bool,
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
    noticed: Noticed,
    /// The probe check is said anew at this second.
    probe_due_s: f64,
    /// It looks at the capture from this second on.
    probe_from_s: f64,
    /// Name of the input, and what is known of it.
    input: String,
    known: Calibration,
    /// A tone that it listens to.
    tone: Option<calibrate::Listening>,
}

impl Capture {
    /// What the probe check looks at: the file, and from which second on.
    fn probed(&self) -> (PathBuf, f64) {
        (self.sitting.capture().to_owned(), self.probe_from_s)
    }
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
            probe: false,
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
            limits: offer::limits(&self.bench),
            plans: offer::plans(),
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
            Ok(Heard::Probe { on }) => self.turn_probe(on),
            Ok(Heard::CalibrateClock { hz, tolerance_ppm }) => {
                self.calibrate_clock(hz, tolerance_ppm);
            }
            Ok(Heard::CalibrateLevel { current_ma }) => self.calibrate_level(current_ma),
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

    pub(super) fn caution(&mut self, code: &'static str, words: String) {
        self.out.push(Say::Caution {
            code,
            words,
            note: false,
        });
    }

    pub(super) fn note(&mut self, code: &'static str, words: String) {
        self.out.push(Say::Caution {
            code,
            words,
            note: true,
        });
    }
}
