//! What is saved and shown: figures, reports, and the first take beside the latest.

use std::path::PathBuf;

use report::Saved;

use super::{Kept, Talk};
use crate::page::files;
use crate::page::protocol::Say;

impl Talk {
    pub(super) fn dial(&self) -> Option<&str> {
        (!self.dial_id.is_empty()).then_some(self.dial_id.as_str())
    }

    pub(super) fn save(&mut self) {
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

    pub(super) fn report(&mut self) {
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

    pub(super) fn compare(&mut self) {
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
