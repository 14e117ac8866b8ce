//! The capture: begun, fed, and ended.

use std::path::Path;
use std::time::Duration;

use report::{Measured, Record, verdict_words};
use score::Settings;

use super::{Capture, Kept, Talk};
use crate::page::files;
use crate::page::protocol::{self, Begin, Happening, Say};
use crate::page::show::Told;
use crate::{Arrival, Calibration, Encoding, Format, LostHow, Noticed, Setup, Sitting, findings};

impl Talk {
    pub(super) fn begin(&mut self, begin: &Begin) {
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
        let known = self.look_up(&begin.device);
        match self.open(begin, known) {
            Ok(capture) => {
                let words = self.known_words(&known);
                let path = capture.sitting.capture().to_owned();
                self.out.push(Say::Begun {
                    file: path.display().to_string(),
                });
                self.out.push(Say::Known { words });
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

    fn open(&self, begin: &Begin, known: Calibration) -> Result<Capture, String> {
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
            noticed: Noticed::default(),
            probe_due_s: 0.0,
            probe_from_s: 0.0,
            input: Self::name_of(&begin.device),
            known,
            tone: None,
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
        let channels = capture.channels;
        match capture.sitting.push(block.samples, arrival) {
            Ok(events) => {
                self.take(events);
                self.hear_tone(block.samples, channels);
            }
            Err(error) => self.close(Some(error.to_string())),
        }
    }

    pub(super) fn happened(&mut self, what: Happening) {
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

    pub(super) fn end(&mut self) {
        self.close(None);
    }

    /// Ends the capture, by itself or for a reason.
    pub(super) fn close(&mut self, why: Option<String>) {
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

    pub(super) fn keep(&mut self, file: &Path, told: Told) -> usize {
        let number = self.next_number;
        self.next_number += 1;
        self.attempts.push(Kept {
            number,
            file: file.to_owned(),
            told,
        });
        number
    }
}

/// A digit of a record, with what is said of it.
pub(super) fn told(measured: &Measured, index: usize, settings: &Settings) -> Told {
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

/// A finished capture in one line.
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
