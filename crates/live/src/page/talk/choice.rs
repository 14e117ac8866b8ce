//! Limits, plan and dial, chosen on the page at any time.

use std::path::{Path, PathBuf};

use drive::Options;
use report::Record;
use score::{Plan, Settings};

use super::Talk;
use super::capture::told;
use crate::page::Bench;
use crate::page::protocol::{Choice, shown};

impl Talk {
    pub(super) fn choose(&mut self, choice: &Choice) {
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
    pub(super) fn measure_anew(&mut self) {
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
    pub(super) fn record(&mut self, file: &Path) -> Record {
        self.record_from(file, 0.0)
    }

    /// The same from that second on.
    pub(super) fn record_from(&mut self, file: &Path, from_s: f64) -> Record {
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
            from_s: (from_s > 0.0).then_some(from_s),
            ..Options::default()
        };
        drive::record(file, &options, &settings, &mut |_, _| {})
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
