//! Records to the chosen format, as they come.

use std::env;
use std::io::{IsTerminal, stderr, stdout};

use report::json::{self, RecordingJson};
use report::{Paint, Record};
use score::{Digit, Settings, Takes, Verdict};

use super::args::{CheckArgs, Format};
use super::settings::Chosen;
use crate::manner::ColorWhen;
use crate::output::Output;
use crate::stop::Stop;

const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Turns records into text of the chosen format.
pub(crate) struct Renderer<'a> {
    format: Format,
    settings: &'a Settings,
    measure_only: bool,
    dial_id: Option<&'a str>,
    paint: Paint,
    /// The reader sees errors and results on one screen: what cannot be read is said once.
    one_screen: bool,
    recordings: Vec<RecordingJson>,
    verdicts: Vec<Result<Verdict, ()>>,
    /// Digits of all recordings, where those are of one dial.
    digits: Option<Vec<Digit>>,
}

impl<'a> Renderer<'a> {
    /// A renderer for one run.
    pub(crate) fn new(args: &'a CheckArgs, chosen: &'a Chosen, output: &Output) -> Self {
        Renderer {
            format: args.format,
            settings: &chosen.settings,
            measure_only: chosen.measure_only,
            dial_id: args.dial_id.as_deref(),
            paint: paint(args.colour.color, output),
            one_screen: output.is_standard() && stdout().is_terminal() && stderr().is_terminal(),
            recordings: Vec::new(),
            verdicts: Vec::new(),
            digits: args.one_dial().then(Vec::new),
        }
    }

    /// What comes before the first record.
    pub(crate) fn begin(&self) -> String {
        if self.format == Format::Csv {
            report::csv_header()
        } else {
            String::new()
        }
    }

    /// One record; JSON is kept until the end.
    pub(crate) fn add(&mut self, record: &Record) -> Result<String, Stop> {
        let first = self.verdicts.is_empty();
        if let (Some(digits), Ok(measured)) = (&mut self.digits, &record.outcome) {
            digits.extend(measured.scored.digits.iter().cloned());
        }
        self.verdicts.push(
            record
                .outcome
                .as_ref()
                .map(|measured| measured.scored.verdict)
                .map_err(|_| ()),
        );
        match self.format {
            Format::Text => Ok(self.text(record, first)),
            Format::Csv => Ok(report::csv_rows(record, self.settings, self.dial_id)),
            Format::Ndjson => {
                json::line(&self.json(record), self.settings, VERSION).map_err(not_written)
            }
            Format::Json => {
                let recording = self.json(record);
                self.recordings.push(recording);
                Ok(String::new())
            }
        }
    }

    /// Takes over all recordings, where those are of one dial and one digit was dialled more than once.
    pub(crate) fn takes(&self) -> Option<Takes> {
        score::takes(self.digits.as_ref()?, self.settings)
    }

    /// What comes after the last record.
    pub(crate) fn end(&self) -> Result<String, Stop> {
        let takes = self.takes();
        match self.format {
            Format::Json => {
                json::document_with_takes(&self.recordings, self.settings, VERSION, takes.as_ref())
                    .map_err(not_written)
            }
            Format::Text if self.verdicts.len() > 1 => {
                let takes = takes.as_ref().map(report::text_takes).unwrap_or_default();
                Ok(format!("{takes}\n{}", report::text_summary(&self.verdicts)))
            }
            Format::Text | Format::Csv | Format::Ndjson => Ok(String::new()),
        }
    }

    fn text(&self, record: &Record, first: bool) -> String {
        if record.outcome.is_err() && self.one_screen {
            return String::new();
        }
        let separator = if first { "" } else { "\n" };
        format!(
            "{separator}{}",
            report::text(record, self.settings, self.measure_only, self.paint)
        )
    }

    fn json(&self, record: &Record) -> RecordingJson {
        json::recording(record, self.settings, self.dial_id)
    }
}

fn not_written(error: serde_json::Error) -> Stop {
    Stop::Failed(format!("cannot write JSON: {error}"))
}

/// Colour only on a terminal that wants it, unless told otherwise.
pub(crate) fn paint(when: ColorWhen, output: &Output) -> Paint {
    let set = |name: &str| env::var_os(name).is_some_and(|value| !value.is_empty());
    let terminal = output.is_standard() && stdout().is_terminal();
    let wanted = match when {
        ColorWhen::Always => true,
        ColorWhen::Never => false,
        ColorWhen::Auto => {
            terminal && !set("NO_COLOR") && env::var_os("TERM").is_none_or(|term| term != "dumb")
        }
    };
    if wanted { Paint::Ansi } else { Paint::Plain }
}
