//! The probe check: whether the set-up is fit, said anew while a line is listened to and dialled.

use super::Talk;
use crate::page::protocol::{Probe, Property, Say};

/// It is said anew so often, and after each digit.
const EVERY_S: f64 = 3.0;

impl Talk {
    pub(super) fn turn_probe(&mut self, on: bool) {
        self.probe = on;
        self.say_probe();
    }

    /// Says it again when its time has come.
    pub(super) fn probe_at(&mut self, at_s: f64) {
        let due = self.probe
            && self
                .capture
                .as_ref()
                .is_some_and(|capture| at_s >= capture.probe_due_s);
        if due {
            self.say_probe();
        }
    }

    pub(super) fn say_probe(&mut self) {
        let properties = if self.probe {
            self.properties()
        } else {
            Vec::new()
        };
        let (fit, words) = crate::overall(&properties);
        let properties = properties
            .into_iter()
            .map(|finding| Property {
                name: finding.code,
                fit: finding.fit.word(),
                figure: finding.figure,
                mend: finding.mend,
            })
            .collect();
        self.out.push(Say::Probe(Probe {
            on: self.probe,
            fit: fit.word(),
            words,
            caution: report::CAUTION,
            properties,
        }));
    }

    fn properties(&mut self) -> Vec<crate::Finding> {
        let Some(file) = self
            .capture
            .as_ref()
            .map(|capture| capture.sitting.capture().to_owned())
        else {
            return Vec::new();
        };
        let record = self.record(&file);
        let (Ok(measured), Some(capture)) = (&record.outcome, &mut self.capture) else {
            return Vec::new();
        };
        capture.probe_due_s = capture.sitting.captured_s() + EVERY_S;
        crate::fitness(&capture.noticed, measured, capture.sitting.clock().as_ref())
    }
}
