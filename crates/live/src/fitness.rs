//! Whether a set-up is fit to judge dials, from a capture of a quiet line and some digits.

use report::Measured;

use crate::calibration::Calibration;
use crate::clock::ClockReading;
use crate::event::{Event, Hum, Lost};

/// How fit one property is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    /// As it should be.
    Good,
    /// Digits can be measured, with a larger uncertainty.
    Usable,
    /// To be mended before a dial is judged.
    Unfit,
    /// It could not be told.
    Unknown,
}

impl Fit {
    /// A stable word: `good`, `usable`, `unfit`, `unknown`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Fit::Good => "good",
            Fit::Usable => "usable",
            Fit::Unfit => "unfit",
            Fit::Unknown => "unknown",
        }
    }
}

/// What the worst property says of the whole set-up, in one line.
#[must_use]
pub fn overall(findings: &[Finding]) -> (Fit, &'static str) {
    // A clock takes longer to be read than three digits; that it is not known stands in no way.
    let decides = |finding: &&Finding| finding.code != "clock" || finding.fit != Fit::Unknown;
    let worst = findings
        .iter()
        .filter(decides)
        .map(|finding| finding.fit)
        .max();
    let words = match worst {
        Some(Fit::Good) => "FIT: this set-up can judge dials",
        Some(Fit::Usable) => "USABLE: dials can be judged, with a larger uncertainty than need be",
        Some(Fit::Unfit) => "NOT FIT: mend what is marked before a dial is judged",
        Some(Fit::Unknown) | None => "NOT DECIDED: something could not be told",
    };
    (worst.unwrap_or(Fit::Unknown), words)
}

/// One property of the set-up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Stable code: `level`, `clipping`, `coupling`, `hum`, `noise`, `clock`, `dropped`.
    pub code: &'static str,
    /// How fit it is.
    pub fit: Fit,
    /// What was measured, in words with units.
    pub figure: String,
    /// How to mend it; empty where nothing is to be mended.
    pub mend: &'static str,
}

/// What was noticed while the line was quiet and while digits were dialled.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Noticed {
    /// Samples at the end of the scale.
    clipped: u64,
    lost: Vec<Lost>,
    hum: Option<Hum>,
    /// R.m.s. of each level of each channel, up to the first digit.
    quiet: Vec<Vec<f64>>,
    dialled: bool,
}

impl Noticed {
    /// Takes note of an event.
    pub fn event(&mut self, event: &Event) {
        match event {
            Event::Clipping { samples, .. } => self.clipped += samples,
            Event::Lost(lost) => self.lost.push(*lost),
            Event::Hum(hum) => self.hum = Some(*hum),
            Event::Level(level) if !self.dialled && self.quiet.len() < QUIET_AT_MOST => {
                self.quiet.push(level.rms.clone());
            }
            Event::Digit(_) | Event::Doubtful(_) => self.dialled = true,
            _ => {}
        }
    }

    /// Median of the levels before the first digit, full scale 1: dialling itself is in few of them.
    fn noise(&self, channel: u16) -> Option<f64> {
        let channel = usize::from(channel).checked_sub(1)?;
        let mut levels: Vec<f64> = self
            .quiet
            .iter()
            .filter_map(|level| level.get(channel).copied())
            .collect();
        levels.sort_by(f64::total_cmp);
        levels.get(levels.len() / 2).copied()
    }
}

/// Levels before the first digit at most: a minute.
const QUIET_AT_MOST: usize = 1200;

/// Judges a set-up by what was noticed, by the record of its capture, and by the clock; with a calibrated level the step is
/// told as a current too.
///
/// The bounds are those from which the detector's figures stay as good as the accuracy tables show, or worsen
/// plainly; they are no limits of a standard.
#[must_use]
pub fn fitness(
    noticed: &Noticed,
    measured: &Measured,
    clock: Option<&ClockReading>,
    known: &Calibration,
) -> Vec<Finding> {
    vec![
        level(measured, known),
        clipping(noticed, measured),
        noise(noticed, measured),
        hum(noticed, measured),
        coupling(measured),
        dropped(noticed),
        clocked(clock),
    ]
}

fn level(measured: &Measured, known: &Calibration) -> Finding {
    let steps = measured.trace.trains.iter().map(|train| train.step.abs());
    let step = steps.fold(0.0, f64::max);
    let peak = measured.trace.peak;
    let (fit, mend) = if step == 0.0 {
        (
            Fit::Unknown,
            "no digit was heard: dial one. If you did, check the probe, its supply and which input is named",
        )
    } else if step < 0.005 {
        (
            Fit::Unfit,
            "turn the input up, or tap a larger part of the series resistor",
        )
    } else if step < 0.05 {
        (
            Fit::Usable,
            "turn the input up, or tap a larger part of the series resistor",
        )
    } else {
        (Fit::Good, "")
    };
    let current = match known.full_scale_ma {
        Some(full_scale_ma) if step > 0.0 => {
            format!(" ({:.1} mA as calibrated)", step * full_scale_ma)
        }
        _ => String::new(),
    };
    let figure =
        format!("the dial step is {step:.3} of full scale{current}, the highest peak {peak:.3}");
    Finding {
        code: "level",
        fit,
        figure,
        mend,
    }
}

fn clipping(noticed: &Noticed, measured: &Measured) -> Finding {
    let clipped = noticed.clipped.max(measured.clipped());
    let fit = if clipped == 0 { Fit::Good } else { Fit::Unfit };
    Finding {
        code: "clipping",
        fit,
        figure: format!("{clipped} clipped samples"),
        mend: if clipped == 0 {
            ""
        } else {
            "turn the input down or tap a smaller part of the series resistor, until the highest peak stays below 0.9"
        },
    }
}

fn noise(noticed: &Noticed, measured: &Measured) -> Finding {
    let floor = noticed.noise(measured.channel).map_or_else(
        || "unknown".to_owned(),
        |rms| format!("{:.0} dB of full scale", 20.0 * rms.max(1e-9).log10()),
    );
    let snr = measured.scored.facts.snr_db;
    let fit = match snr {
        None => Fit::Unknown,
        Some(30.0..) => Fit::Good,
        Some(15.0..) => Fit::Usable,
        Some(_) => Fit::Unfit,
    };
    let figure = match snr {
        Some(snr) => {
            format!(
                "hum and noise of the quiet line together: {floor}; the dial step is {snr:.0} dB above noise"
            )
        }
        None => format!("hum and noise of the quiet line together: {floor}"),
    };
    let mend = match fit {
        Fit::Good => "",
        Fit::Unknown => "dial a digit, so that the step can be held against the noise",
        _ => {
            "shorten and screen the leads, keep away from switched supplies, raise the voltage of the series circuit"
        }
    };
    Finding {
        code: "noise",
        fit,
        figure,
        mend,
    }
}

fn hum(noticed: &Noticed, measured: &Measured) -> Finding {
    const MEND: &str = "run a laptop from its battery, use an isolating probe, keep leads away from mains and transformers, \
                        connect the earth at one place only";
    let (fit, figure) = match (measured.scored.facts.hum, noticed.hum) {
        (Some(hum), _) => {
            let percent = 100.0 * hum.relative_amplitude;
            let fit = match percent {
                ..5.0 => Fit::Good,
                ..30.0 => Fit::Usable,
                _ => Fit::Unfit,
            };
            let figure = format!(
                "{:.0} Hz, {percent:.1} % of the dial step",
                hum.frequency_hz
            );
            (fit, figure)
        }
        (None, Some(hum)) => {
            let db = 20.0 * hum.amplitude.max(1e-9).log10();
            let figure = format!("{:.0} Hz, {db:.0} dB of full scale", hum.frequency_hz);
            (Fit::Usable, figure)
        }
        (None, None) => (Fit::Good, "none found".to_owned()),
    };
    Finding {
        code: "hum",
        fit,
        figure,
        mend: if fit == Fit::Good { "" } else { MEND },
    }
}

fn coupling(measured: &Measured) -> Finding {
    let facts = &measured.scored.facts;
    let dialled = !measured.trace.trains.is_empty();
    let (fit, figure, mend) = match facts.coupling_hz {
        _ if !dialled => (Fit::Unknown, "unknown".to_owned(), "dial a digit"),
        _ if facts.spikes_only => (
            Fit::Usable,
            "only spikes are left of the steps".to_owned(),
            "there is a transformer or a small capacitor in the way: use a line input, and a probe that passes steps",
        ),
        Some(corner) if corner > 25.0 => (
            Fit::Usable,
            format!("high-pass corner {corner:.1} Hz"),
            "use a line input in place of a microphone input",
        ),
        Some(corner) => (Fit::Good, format!("high-pass corner {corner:.1} Hz"), ""),
        None => (
            Fit::Good,
            "direct, or below what these digits show".to_owned(),
            "",
        ),
    };
    Finding {
        code: "coupling",
        fit,
        figure,
        mend,
    }
}

fn dropped(noticed: &Noticed) -> Finding {
    let places = noticed.lost.len();
    let frames: u64 = noticed.lost.iter().filter_map(|lost| lost.frames).sum();
    let fit = if places == 0 { Fit::Good } else { Fit::Unfit };
    Finding {
        code: "dropped",
        fit,
        figure: match places {
            0 => "no sample is missing".to_owned(),
            _ => format!("samples are missing at {places} places, {frames} frames counted"),
        },
        mend: if places == 0 {
            ""
        } else {
            "end other programs, use another USB socket without a hub, capture through ALSA (--device alsa:hw:N) in \
             place of the sound server"
        },
    }
}

fn clocked(clock: Option<&ClockReading>) -> Finding {
    // A crystal is good to 100 ppm; ten times that is no crystal, or samples lost without a word.
    const MOST_PPM: f64 = 1000.0;
    let (fit, figure, mend) = match clock {
        None => (
            Fit::Unknown,
            "too short to say".to_owned(),
            "for a reading let it listen for half a minute or more",
        ),
        Some(reading) => {
            let figure = format!(
                "{:+.0} ± {:.0} ppm against the computer's clock over {:.0} s",
                reading.ppm, reading.u95_ppm, reading.seconds
            );
            if reading.ppm.abs() > MOST_PPM + reading.u95_ppm {
                let mend = "the rate is not what it is called: choose the device itself, not one that converts rates; \
                            --calibrate-clock measures it against a known tone";
                (Fit::Unfit, figure, mend)
            } else {
                (Fit::Good, figure, "")
            }
        }
    };
    Finding {
        code: "clock",
        fit,
        figure,
        mend,
    }
}
