//! The probe check: whether the set-up is fit, said anew while a line is listened to and dialled.

use std::time::Instant;

use super::{Capture, Talk};
use crate::page::protocol::{Probe, Property, Say};

/// It is said anew so often, and after each digit.
const EVERY_S: f64 = 3.0;
/// But never more often than leaves so many times as long for everything else.
const SHARE: f64 = 10.0;
/// What came so long before it was asked for counts too: digits that were just dialled.
const BEFORE_S: f64 = 30.0;

impl Talk {
    pub(super) fn turn_probe(&mut self, on: bool) {
        self.probe = on;
        if let Some(capture) = &mut self.capture {
            capture.probe_from_s = (capture.sitting.captured_s() - BEFORE_S).max(0.0);
        }
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
        let began = Instant::now();
        let Some((file, from_s)) = self.capture.as_ref().map(Capture::probed) else {
            return Vec::new();
        };
        let record = self.record_from(&file, from_s);
        let (Ok(measured), Some(capture)) = (&record.outcome, &mut self.capture) else {
            return Vec::new();
        };
        let pause_s = EVERY_S.max(SHARE * began.elapsed().as_secs_f64());
        capture.probe_due_s = capture.sitting.captured_s() + pause_s;
        crate::fitness(
            &capture.noticed,
            measured,
            capture.sitting.clock().as_ref(),
            &capture.known,
        )
    }
}
