//! Events as JSON, one object a line, schema `fingerstop.live/1`: it grows and never changes meaning.

use live::{Difference, Event, Format, Heard, Hum, Input, Level, Lost};
use report::json::{self, HeardJson};
use serde::Serialize;

use super::wording;
use crate::stop::Stop;

/// Name and version of the schema.
pub(super) const SCHEMA: &str = "fingerstop.live/1";

#[derive(Serialize)]
struct Line<T> {
    schema: &'static str,
    event: &'static str,
    #[serde(flatten)]
    more: T,
}

#[derive(Serialize)]
struct BeginsJson<'a> {
    device: &'a str,
    device_name: &'a str,
    way: &'a str,
    sample_rate_hz: u32,
    channels: u16,
    capture: String,
    clock_ppm: f64,
}

#[derive(Serialize)]
struct LevelJson<'a> {
    at_s: f64,
    peak: &'a [f64],
    rms: &'a [f64],
}

#[derive(Serialize)]
struct ClippingJson {
    at_s: f64,
    channel: u16,
    samples: u64,
}

#[derive(Serialize)]
struct HumJson {
    channel: u16,
    frequency_hz: f64,
    /// Missing where only the size beside the dial step is known.
    amplitude: Option<f64>,
    percent_of_step: Option<f64>,
}

#[derive(Serialize)]
struct LostJson {
    at_s: f64,
    frames: Option<u64>,
    how: &'static str,
}

#[derive(Serialize)]
struct TextJson<'a> {
    code: &'a str,
    text: &'a str,
}

#[derive(Serialize)]
struct WithdrawnJson {
    index: usize,
}

#[derive(Serialize)]
struct DigitLine {
    index: usize,
    channel: u16,
    #[serde(flatten)]
    heard: HeardJson,
    change: Option<ChangeJson>,
}

#[derive(Serialize)]
struct ChangeJson {
    against: usize,
    same_pulses: bool,
    speed_pps: Option<DifferenceJson>,
    percent_break: Option<DifferenceJson>,
}

#[derive(Serialize)]
struct DifferenceJson {
    value: f64,
    u95: f64,
    exceeds: bool,
}

/// The first line.
pub(super) fn begins(input: &Input, capture: String, clock_ppm: f64) -> Result<String, Stop> {
    let Format {
        sample_rate_hz,
        channels,
        ..
    } = input.format;
    line(
        "begins",
        BeginsJson {
            device: &input.device.id,
            device_name: &input.device.name,
            way: input.device.way,
            sample_rate_hz,
            channels,
            capture,
            clock_ppm,
        },
    )
}

/// A warning that is no event of the sitting.
pub(super) fn note(text: &str) -> Result<String, Stop> {
    let code = "input";
    line("note", TextJson { code, text })
}

/// Any event.
pub(super) fn event(event: &Event) -> Result<String, Stop> {
    match event {
        Event::Level(Level { at_s, peak, rms }) => line(
            "level",
            LevelJson {
                at_s: *at_s,
                peak,
                rms,
            },
        ),
        Event::Clipping {
            channel,
            samples,
            at_s,
        } => line(
            "clipping",
            ClippingJson {
                at_s: *at_s,
                channel: *channel,
                samples: *samples,
            },
        ),
        Event::OneSignal => line(
            "note",
            TextJson {
                code: "one-signal",
                text: wording::ONE_SIGNAL,
            },
        ),
        Event::Hum(hum) => line("hum", hum_json(hum)),
        Event::Hint(hint) => line(
            "hint",
            TextJson {
                code: hint.code,
                text: &hint.text,
            },
        ),
        Event::Lost(lost) => line("lost", lost_json(lost)),
        Event::Digit(heard) => line("digit", digit(heard)),
        Event::Doubtful(heard) => line("doubtful", digit(heard)),
        Event::Revised(heard) => line("revised", digit(heard)),
        Event::Withdrawn(index) => line("withdrawn", WithdrawnJson { index: *index }),
    }
}

fn hum_json(hum: &Hum) -> HumJson {
    HumJson {
        channel: hum.channel,
        frequency_hz: hum.frequency_hz,
        amplitude: Some(hum.amplitude).filter(|amplitude| *amplitude > 0.0),
        percent_of_step: hum.percent_of_step,
    }
}

fn lost_json(lost: &Lost) -> LostJson {
    LostJson {
        at_s: lost.at_s,
        frames: lost.frames,
        how: lost.how.word(),
    }
}

fn digit(heard: &Heard) -> DigitLine {
    let difference = |difference: Difference| DifferenceJson {
        value: difference.value,
        u95: difference.u95,
        exceeds: difference.exceeds(),
    };
    DigitLine {
        index: heard.index,
        channel: heard.channel,
        heard: json::digit(&heard.digit, &heard.checks),
        change: heard.change.map(|change| ChangeJson {
            against: change.against,
            same_pulses: change.same_pulses,
            speed_pps: change.speed_pps.map(difference),
            percent_break: change.percent_break.map(difference),
        }),
    }
}

/// An event with its fields.
pub(super) fn line<T: Serialize>(event: &'static str, more: T) -> Result<String, Stop> {
    written(&Line {
        schema: SCHEMA,
        event,
        more,
    })
}

/// One line of JSON.
pub(super) fn written<T: Serialize>(value: &T) -> Result<String, Stop> {
    serde_json::to_string(value)
        .map(|text| text + "\n")
        .map_err(|error| Stop::Failed(format!("cannot write JSON: {error}")))
}
