//! Which digits were told, and what is to be told of them now.

use drive::{Channels, Taken};
use edges::Train;
use score::{Check, Digit, Settings, Verdict};

use crate::change;
use crate::event::{Event, Heard, Hum};
use crate::findings;

/// Hum of less than this share of the step is not worth a warning.
const HUM_PERCENT: f64 = 10.0;

/// What was said of a digit.
#[derive(Clone, Debug, PartialEq)]
struct Told {
    start_s: f64,
    pulses: usize,
    sure: bool,
    verdict: Verdict,
    withdrawn: bool,
}

/// Follows the digits of a sitting.
#[derive(Debug, Default)]
pub(crate) struct Digits {
    trains: usize,
    channel: Option<u16>,
    told: Vec<Told>,
    hum_told: bool,
}

impl Digits {
    /// Tells what is new since the last time.
    pub(crate) fn news(
        &mut self,
        channels: &Channels,
        settings: &Settings,
        events: &mut Vec<Event>,
    ) {
        let trains = channels.trains_so_far();
        if trains == self.trains {
            return;
        }
        self.trains = trains;
        let taken = channels.so_far(self.channel);
        if self.channel.is_some_and(|channel| channel != taken.channel) {
            self.withdraw_all(events);
        }
        self.channel = Some(taken.channel);
        let (digits, checks) = score::digits(&taken.trace, settings);
        self.tell_hum(taken.channel, &taken.trace.trains, events);
        self.withdraw_lost(&digits, events);
        for index in 0..digits.len() {
            self.tell(&taken, &digits, &checks, index, settings, events);
        }
    }

    fn tell(
        &mut self,
        taken: &Taken,
        digits: &[Digit],
        checks: &[Check],
        index: usize,
        settings: &Settings,
        events: &mut Vec<Event>,
    ) {
        let digit = &digits[index];
        let told = Told {
            start_s: digit.start_s,
            pulses: digit.pulses,
            sure: digit.sure,
            verdict: digit.verdict,
            withdrawn: false,
        };
        let known = self
            .told
            .iter()
            .position(|known| known.start_s == told.start_s && !known.withdrawn);
        if known.is_some_and(|known| self.told[known] == told) {
            return;
        }
        let number = known.unwrap_or(self.told.len());
        let heard = Box::new(Heard {
            index: number,
            channel: taken.channel,
            digit: digit.clone(),
            checks: checks
                .iter()
                .filter(|check| check.digit_index == index)
                .cloned()
                .collect(),
            findings: findings::of(&taken.trace, digit, settings),
            change: change::of(digits, index).map(|mut change| {
                change.against = self.number_of(digits[change.against].start_s);
                change
            }),
        });
        match known {
            Some(known) => self.told[known] = told,
            None => self.told.push(told),
        }
        events.push(match (known, heard.digit.sure) {
            (Some(_), _) => Event::Revised(heard),
            (None, true) => Event::Digit(heard),
            (None, false) => Event::Doubtful(heard),
        });
    }

    fn number_of(&self, start_s: f64) -> usize {
        self.told
            .iter()
            .position(|told| told.start_s == start_s && !told.withdrawn)
            .unwrap_or(0)
    }

    /// Withdraws what is no digit any more.
    fn withdraw_lost(&mut self, digits: &[Digit], events: &mut Vec<Event>) {
        for (index, told) in self.told.iter_mut().enumerate() {
            let there = digits.iter().any(|d| d.start_s == told.start_s);
            if !there && !told.withdrawn {
                told.withdrawn = true;
                events.push(Event::Withdrawn(index));
            }
        }
    }

    fn withdraw_all(&mut self, events: &mut Vec<Event>) {
        for (index, told) in self.told.iter_mut().enumerate() {
            if !std::mem::replace(&mut told.withdrawn, true) {
                events.push(Event::Withdrawn(index));
            }
        }
    }

    fn tell_hum(&mut self, channel: u16, trains: &[Train], events: &mut Vec<Event>) {
        let Some(hum) = trains.last().and_then(|train| train.hum) else {
            return;
        };
        let percent = 100.0 * hum.relative_amplitude;
        if self.hum_told || percent < HUM_PERCENT {
            return;
        }
        self.hum_told = true;
        events.push(Event::Hum(Hum {
            channel,
            frequency_hz: hum.frequency_hz,
            amplitude: 0.0,
            percent_of_step: Some(percent),
        }));
    }
}
