//! What the sitting says while it captures, passed on to the page.

use super::{Kept, Talk};
use crate::page::protocol::{self, Level, Say};
use crate::page::show::{self, Beside, Told};
use crate::{Event, LostHow};

/// The level bar begins here.
const FLOOR_DB: f64 = -60.0;
/// Clipping is shown for so long after it came.
const OVER_S: f64 = 2.0;
/// Gaps said one by one; more of them are said as a number.
const GAPS_TOLD: usize = 3;

impl Talk {
    pub(super) fn take(&mut self, events: Vec<Event>) {
        for event in events {
            if let Some(capture) = &mut self.capture {
                capture.noticed.event(&event);
            }
            match event {
                Event::Level(level) => self.level(&level),
                Event::Clipping { at_s, .. } => {
                    if let Some(capture) = &mut self.capture {
                        capture.over_until_s = at_s + OVER_S;
                    }
                }
                Event::Hum(hum) => self.hum(&hum),
                Event::Hint(hint) => self.caution(hint.code, hint.text),
                Event::Lost(lost) => {
                    self.lost(&lost);
                    self.lose_tone();
                }
                // Browsers give two channels of a mono input as a matter of course.
                Event::OneSignal => {}
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
        self.probe_at(level.at_s);
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
        if self.probe {
            self.say_probe();
        }
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

    pub(super) fn say_all(&mut self) {
        let attempts = (0..self.attempts.len())
            .map(|place| self.shown(place))
            .collect();
        self.out.push(Say::Attempts {
            attempts,
            first: self.first,
        });
    }
}
