//! `listen`: measures a dial while it is dialled.

mod args;
mod calibrate;
mod capture;
mod devices;
mod lines;
mod probe;
mod say;
mod wording;

pub(crate) use args::ListenArgs;

use std::path::PathBuf;
use std::time::{Duration, Instant};

use live::{
    Arrival, Calibration, Error, Event, Format, Input, LostHow, Next, Noticed, Setup, Sitting,
};
use report::Record;

use crate::check::outcome;
use crate::check::settings::{self, Chosen};
use crate::config::Config;
use crate::interrupt;
use crate::stop::{Exit, Stop, tell};
use say::Say;

/// Without any samples for so long something is wrong, and is said.
const SILENCE: Duration = Duration::from_secs(2);
/// An input that gives nothing at all for so long at the start is given up.
const START: Duration = Duration::from_secs(10);
/// How often it is looked whether the end was asked for.
const LOOK: Duration = Duration::from_millis(100);
/// With an end in sight, a device that went away is waited for as long as that, or this.
const MOST_WAIT_S: f64 = 60.0;
/// How long a tone is listened to.
const TONE_S: f64 = 60.0;
/// How often it is tried to open a device that went away.
const RETRY: Duration = Duration::from_millis(500);

/// Listens until it is told to end, then reports.
pub(crate) fn run(args: &ListenArgs) -> Result<Exit, Stop> {
    if args.devices {
        return devices::list(args.format);
    }
    let mut chosen = settings::choose(&args.judging)?;
    let path = capture::choose(args.output.as_deref(), args.dial_id.as_deref())?;
    let input = live::open(args.device.as_deref()).map_err(|error| Stop::Failed(error.0))?;
    let known = Config::load()?.calibration(&input.device.id)?;
    if let (None, Some(clock_ppm)) = (args.judging.clock_ppm, known.clock_ppm) {
        chosen.settings.clock_ppm = clock_ppm;
    }
    let mut say = Say::new(args, &chosen);
    say.cautions();
    interrupt::ask_first();
    let setup = Setup {
        format: input.format,
        channel: args.judging.channel,
        settings: chosen.settings.clone(),
        capture: path.clone(),
    };
    let sitting = Sitting::begin(setup).map_err(|error| Stop::Failed(error.to_string()))?;
    say.begins(&input, &path)?;
    if args.probe_check {
        say.steps(probe::STEPS);
    }
    let mut session = Session {
        args,
        input,
        sitting,
        say,
        noticed: Noticed::default(),
        known,
        digits: 0,
        last: Instant::now(),
        told_silent: false,
    };
    let ended = session.listen();
    session.report(ended, path, &chosen)
}

/// Why listening ended.
enum Ended {
    /// It was to end.
    Asked,
    /// Something failed; what was captured is kept.
    Failed(String),
    /// Nobody reads what is written.
    Closed,
}

struct Session<'a> {
    args: &'a ListenArgs,
    input: Input,
    sitting: Sitting,
    say: Say<'a>,
    noticed: Noticed,
    /// What is known of the input.
    known: Calibration,
    /// Sure digits heard.
    digits: usize,
    last: Instant,
    told_silent: bool,
}

impl Session<'_> {
    fn listen(&mut self) -> Ended {
        loop {
            if interrupt::is_asked_to_end() || self.is_enough() {
                return Ended::Asked;
            }
            let events = match self.input.next(LOOK) {
                Next::Block { bytes, at } => {
                    (self.last, self.told_silent) = (Instant::now(), false);
                    self.push(&bytes, at)
                }
                Next::Lost(frames) => self.sitting.gap(frames, LostHow::Counted),
                Next::Note(text) => {
                    self.say.warn(&text);
                    continue;
                }
                Next::Nothing => match self.nothing() {
                    None => continue,
                    Some(ended) => return ended,
                },
                Next::Gone(why) => match self.reopen(&why) {
                    Ok(()) => self.sitting.gap(None, LostHow::Away),
                    Err(ended) => return ended,
                },
            };
            let told = match events {
                Ok(events) => self.tell(&events),
                Err(error) => return Ended::Failed(error.to_string()),
            };
            match told {
                Ok(()) => {}
                Err(Stop::Closed(_)) => return Ended::Closed,
                Err(Stop::Usage(message) | Stop::Failed(message)) => return Ended::Failed(message),
            }
        }
    }

    /// No more is taken than was asked for.
    fn push(&mut self, bytes: &[u8], at: Duration) -> Result<Vec<Event>, Error> {
        let format = self.input.format;
        let most = self.stop_after().map_or(usize::MAX, |stop| {
            let frames = (stop * f64::from(format.sample_rate_hz)).round();
            let captured = self.sitting.taken_frames() as f64;
            (frames - captured).max(0.0) as usize * format.frame_bytes()
        });
        let arrival = Arrival {
            at: Some(at),
            first_frame: None,
        };
        self.sitting.push(&bytes[..bytes.len().min(most)], arrival)
    }

    /// A tone is listened to for a minute, anything else until an interrupt, unless told otherwise.
    fn stop_after(&self) -> Option<f64> {
        let tone = self.args.calibrate_clock.map(|_| TONE_S);
        self.args.stop_after.or(tone)
    }

    fn is_enough(&self) -> bool {
        if self.args.probe_check && self.digits >= probe::DIGITS {
            return true;
        }
        let format = self.input.format;
        self.stop_after().is_some_and(|stop| {
            let frames = (stop * f64::from(format.sample_rate_hz)).round() as u64;
            self.sitting.taken_frames() >= frames
        })
    }

    fn tell(&mut self, events: &[Event]) -> Result<(), Stop> {
        for event in events {
            self.noticed.event(event);
            self.digits += usize::from(matches!(event, Event::Digit(_)));
            self.say.event(event)?;
        }
        Ok(())
    }

    fn nothing(&mut self) -> Option<Ended> {
        if self.sitting.taken_frames() == 0 && self.last.elapsed() > START {
            let message = format!(
                "nothing came from {} in {} s: it is switched off, suspended or held by another program",
                self.input.device.name,
                START.as_secs()
            );
            return Some(Ended::Failed(message));
        }
        if self.last.elapsed() > SILENCE && !self.told_silent {
            self.told_silent = true;
            self.say
                .warn("no samples come from the input; waiting for them");
        }
        None
    }

    /// Waits for the device to come back. Another device is never taken in its stead.
    fn reopen(&mut self, why: &str) -> Result<(), Ended> {
        self.say.warn(&format!(
            "{why}; what was captured is kept, waiting for {} to come back (Ctrl-C ends)",
            self.input.device.name
        ));
        let id = self.input.device.id.clone();
        let before: Format = self.input.format;
        let gone = Instant::now();
        loop {
            let waited_s = gone.elapsed().as_secs_f64();
            if self
                .stop_after()
                .is_some_and(|stop| waited_s > stop.max(MOST_WAIT_S))
            {
                return Err(Ended::Failed(format!("{id} did not come back")));
            }
            let began = Instant::now();
            while began.elapsed() < RETRY {
                if interrupt::is_asked_to_end() {
                    return Err(Ended::Asked);
                }
                std::thread::sleep(LOOK);
            }
            let Ok(input) = live::open(Some(&id)) else {
                continue;
            };
            if input.format != before {
                return Err(Ended::Failed(format!(
                    "{} came back with {} instead of {}: begin another capture",
                    input.device.name,
                    wording::format(input.format),
                    wording::format(before)
                )));
            }
            self.say
                .warn(&format!("{} is back; capturing goes on", input.device.name));
            self.input = input;
            (self.last, self.told_silent) = (Instant::now(), false);
            return Ok(());
        }
    }

    /// The same report as `check` on the capture.
    fn report(self, ended: Ended, path: PathBuf, chosen: &Chosen) -> Result<Exit, Stop> {
        let Session {
            args,
            input,
            sitting,
            mut say,
            noticed,
            known,
            ..
        } = self;
        let device = input.device.id.clone();
        drop(input);
        say.clear();
        let clock = sitting.clock();
        let (record, error) = sitting.finish();
        let failed = match (&ended, error) {
            (Ended::Failed(message), _) => Some(message.clone()),
            (_, Some(error)) => Some(error.to_string()),
            _ => None,
        };
        if let Some(message) = &failed {
            tell(message);
        }
        let exit = outcome::of(&record, &chosen.settings);
        let exit = if failed.is_some() { Exit::Undone } else { exit };
        if matches!(ended, Ended::Closed) {
            return Err(Stop::Closed(exit));
        }
        unreadable(&record);
        if args.probe_check {
            let (text, fitness) =
                probe::result(&noticed, &record, clock.as_ref(), &known, args.format)?;
            say.result(&text, fitness)?;
            say.kept(&path);
            return Ok(fitness.max(if failed.is_some() {
                Exit::Undone
            } else {
                Exit::Good
            }));
        }
        let calibrated = match (args.calibrate_clock, args.calibrate_level) {
            (Some(tone), _) => Some(calibrate::clock(
                tone,
                &path,
                args.judging.channel,
                &device,
            )?),
            (None, Some(current_ma)) => Some(calibrate::level(current_ma, &record, &device)?),
            (None, None) => None,
        };
        if let Some((text, exit)) = calibrated {
            say.result(&text, exit)?;
            say.kept(&path);
            return Ok(exit);
        }
        say.report(&record, args, exit)?;
        say.kept(&path);
        Ok(exit)
    }
}

fn unreadable(record: &Record) {
    if let Err(unreadable) = &record.outcome {
        tell(&format!(
            "cannot read {}: {}",
            record.input, unreadable.message
        ));
    }
}
