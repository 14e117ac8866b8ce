//! `listen --devices`.

use live::Device;
use serde::Serialize;

use super::args::LiveFormat;
use super::{lines, wording};
use crate::output;
use crate::stop::{Exit, Stop};

#[derive(Serialize)]
struct DeviceLine<'a> {
    schema: &'static str,
    event: &'static str,
    id: &'a str,
    name: &'a str,
    way: &'static str,
    is_default: bool,
    is_monitor: bool,
    sample_rate_hz: Option<u32>,
    channels: Option<u16>,
}

/// Writes all inputs, the default one marked.
pub(super) fn list(format: LiveFormat) -> Result<Exit, Stop> {
    let devices = live::devices().map_err(|error| Stop::Failed(error.0))?;
    let text: String = match format {
        LiveFormat::Text => devices.iter().map(in_text).collect(),
        LiveFormat::Ndjson => devices
            .iter()
            .map(|device| lines::written(&line(device)))
            .collect::<Result<_, _>>()?,
    };
    output::print(&text)
}

fn in_text(device: &Device) -> String {
    let mark = if device.is_default { '*' } else { ' ' };
    let format = device.format.map(wording::format).unwrap_or_default();
    let monitor = if device.is_monitor {
        "hears what the computer plays"
    } else {
        ""
    };
    let facts: Vec<&str> = [device.name.as_str(), &format, monitor]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect();
    format!("{mark} {}\n      {}\n", device.id, facts.join("; "))
}

fn line(device: &Device) -> DeviceLine<'_> {
    DeviceLine {
        schema: lines::SCHEMA,
        event: "device",
        id: &device.id,
        name: &device.name,
        way: device.way,
        is_default: device.is_default,
        is_monitor: device.is_monitor,
        sample_rate_hz: device.format.map(|format| format.sample_rate_hz),
        channels: device.format.map(|format| format.channels),
    }
}
