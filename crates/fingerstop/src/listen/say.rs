//! What is said while listening: digits on standard output, the rest on standard error.

use std::io::{Write, stderr};
use std::path::Path;
use std::time::{Duration, Instant};

use live::{Event, Input, Level};
use report::{Paint, Record, json};

use super::args::{ListenArgs, LiveFormat};
use super::{lines, wording};
use crate::check::render;
use crate::check::settings::Chosen;
use crate::output::Output;
use crate::stop::{Exit, Stop, tell};

const VERSION: &str = env!("CARGO_PKG_VERSION");
/// The meter is drawn so often.
const METER: Duration = Duration::from_millis(150);
/// A level line of JSON stands for so many levels of 50 ms, the loudest of them.
const LEVELS: u32 = 20;
/// Cells of the meter, and the decibels that it spans.
const CELLS: usize = 24;
const SPAN_DB: f64 = 60.0;

/// Says things in the chosen format.
pub(super) struct Say<'a> {
    chosen: &'a Chosen,
    output: Output,
    format: LiveFormat,
    paint: Paint,
    quiet: bool,
    /// The meter is drawn.
    meter: bool,
    drawn: Option<Instant>,
    loudest: Option<Level>,
    levels: u32,
}

impl<'a> Say<'a> {
    pub(super) fn new(args: &ListenArgs, chosen: &'a Chosen) -> Self {
        let output = Output::Standard;
        Say {
            chosen,
            paint: render::paint(args.colour.color, &output),
            output,
            format: args.format,
            quiet: args.quiet.quiet,
            meter: args.quiet.shows_progress(),
            drawn: None,
            loudest: None,
            levels: 0,
        }
    }

    /// Before anything is connected.
    pub(super) fn cautions(&self) {
        if !self.quiet {
            self.line(&format!("{}\n", report::CAUTION));
        }
    }

    /// What the user is to do.
    pub(super) fn steps(&self, text: &str) {
        if !self.quiet {
            self.line(text);
        }
    }

    /// Results on standard output.
    pub(super) fn result(&mut self, text: &str, exit: Exit) -> Result<(), Stop> {
        self.clear();
        self.output.write(text, exit)
    }

    pub(super) fn begins(&mut self, input: &Input, capture: &Path) -> Result<(), Stop> {
        let clock_ppm = self.chosen.settings.clock_ppm;
        if self.format == LiveFormat::Ndjson {
            let text = lines::begins(input, capture.display().to_string(), clock_ppm)?;
            self.output.write(&text, Exit::Good)?;
        }
        if !self.quiet {
            self.line(&format!(
                "listening to {} ({}); the capture goes to {}. Leave the line quiet for two seconds, then dial; \
                 Ctrl-C ends with the report.\n",
                input.device.name,
                wording::format(input.format),
                capture.display()
            ));
        }
        Ok(())
    }

    pub(super) fn event(&mut self, event: &Event) -> Result<(), Stop> {
        if let Event::Level(level) = event {
            return self.level(level);
        }
        let text = match (self.format, event) {
            (LiveFormat::Ndjson, event) => lines::event(event)?,
            (LiveFormat::Text, Event::Digit(heard) | Event::Doubtful(heard)) => {
                wording::heard(heard, &self.chosen.settings, "")
            }
            (LiveFormat::Text, Event::Revised(heard)) => {
                let note = "revised by what came later";
                wording::heard(heard, &self.chosen.settings, note)
            }
            (LiveFormat::Text, _) => String::new(),
        };
        if !text.is_empty() {
            self.clear();
            self.output.write(&text, Exit::Good)?;
        }
        if let Some(warning) = wording::warning(event) {
            self.tell(&warning);
        }
        Ok(())
    }

    /// Something about the input.
    pub(super) fn warn(&mut self, text: &str) {
        self.tell(text);
        if self.format == LiveFormat::Ndjson
            && let Ok(line) = lines::note(text)
        {
            // If nobody reads, the next digit says so.
            let _ = self.output.write(&line, Exit::Good);
        }
    }

    pub(super) fn report(
        &mut self,
        record: &Record,
        args: &ListenArgs,
        exit: Exit,
    ) -> Result<(), Stop> {
        let settings = &self.chosen.settings;
        let text = match self.format {
            LiveFormat::Text => {
                let text = report::text(record, settings, self.chosen.measure_only, self.paint);
                format!("\n{text}")
            }
            LiveFormat::Ndjson => {
                let recording = json::recording(record, settings, args.dial_id.as_deref());
                json::line(&recording, settings, VERSION)
                    .map_err(|error| Stop::Failed(format!("cannot write JSON: {error}")))?
            }
        };
        self.output.write(&text, exit)
    }

    pub(super) fn kept(&mut self, capture: &Path) {
        if !self.quiet {
            self.tell(&format!("the capture is kept in {}", capture.display()));
        }
    }

    fn level(&mut self, level: &Level) -> Result<(), Stop> {
        let loudest = |level: &Level| level.peak.iter().copied().fold(0.0, f64::max);
        if self
            .loudest
            .as_ref()
            .is_none_or(|l| loudest(l) <= loudest(level))
        {
            self.loudest = Some(level.clone());
        }
        self.levels += 1;
        if self.format == LiveFormat::Ndjson {
            if self.levels >= LEVELS {
                self.levels = 0;
                if let Some(level) = self.loudest.take() {
                    let text = lines::event(&Event::Level(level))?;
                    self.output.write(&text, Exit::Good)?;
                }
            }
            return Ok(());
        }
        if self.meter && self.drawn.is_none_or(|drawn| drawn.elapsed() > METER) {
            if let Some(level) = self.loudest.take() {
                self.draw(&level);
            }
            self.drawn = Some(Instant::now());
        }
        Ok(())
    }

    fn draw(&self, level: &Level) {
        let bars: Vec<String> = level.peak.iter().map(|peak| bar(*peak)).collect();
        let _ = write!(
            stderr(),
            "\r\u{1b}[K{:6.1} s  {}",
            level.at_s,
            bars.join("  ")
        );
    }

    /// Takes the meter away, so that a line can be written.
    pub(super) fn clear(&mut self) {
        if self.drawn.take().is_some() {
            let _ = write!(stderr(), "\r\u{1b}[K");
        }
    }

    fn tell(&mut self, text: &str) {
        self.clear();
        tell(text);
    }

    fn line(&self, text: &str) {
        let _ = stderr().write_all(text.as_bytes());
    }
}

/// A level as a bar and in decibels of full scale.
fn bar(peak: f64) -> String {
    let share = if peak > 0.0 {
        (1.0 + 20.0 * peak.log10() / SPAN_DB).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let full = (share * CELLS as f64).round() as usize;
    format!(
        "[{}{}] {:>7}",
        "#".repeat(full),
        "-".repeat(CELLS - full),
        wording::decibels(peak)
    )
}
