//! The system's own sound interface, where it is neither PulseAudio nor ALSA.

use std::sync::mpsc::sync_channel;
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{SampleFormat, SupportedStreamConfig};

use super::{Device, Input, InputError, Line, Next};
use crate::format::{Encoding, Format};

/// The reading thread looks so often whether it is still wanted.
const LOOK: Duration = Duration::from_millis(100);

/// Inputs that the system names.
pub(super) fn devices() -> Result<Vec<Device>, InputError> {
    let host = cpal::default_host();
    let default = host
        .default_input_device()
        .and_then(|device| device.name().ok());
    let inputs = host.input_devices().map_err(said)?;
    Ok(inputs
        .filter_map(|device| {
            let name = device.name().ok()?;
            let format = device
                .default_input_config()
                .ok()
                .and_then(|config| format_of(&config).ok());
            Some(Device {
                is_default: default.as_ref() == Some(&name),
                id: name.clone(),
                name,
                way: "native",
                format,
                is_monitor: false,
            })
        })
        .collect())
}

/// Opens the input of that name, or the default one.
pub(super) fn open(id: Option<&str>) -> Result<Input, InputError> {
    let host = cpal::default_host();
    let device = match id {
        None => host.default_input_device(),
        Some(id) => host
            .input_devices()
            .map_err(said)?
            .find(|device| device.name().is_ok_and(|name| name == id)),
    };
    let device = device.ok_or_else(|| InputError("it has no such input".to_owned()))?;
    let config = device.default_input_config().map_err(said)?;
    let format = format_of(&config)?;
    let name = device.name().map_err(said)?;
    let (input, line) = Input::new(
        Device {
            id: name.clone(),
            name,
            way: "native",
            format: Some(format),
            is_default: id.is_none(),
            is_monitor: false,
        },
        format,
    );
    // A stream must stay in the thread that made it; whether it could be made is told back.
    let (told, tell) = sync_channel(1);
    std::thread::Builder::new()
        .name("native-input".to_owned())
        .spawn(move || {
            let line = std::sync::Arc::new(line);
            match begin(&device, &config, &line) {
                Err(error) => {
                    let _ = told.send(Err(error));
                }
                Ok(_stream) => {
                    let _ = told.send(Ok(()));
                    while line.is_wanted() {
                        std::thread::sleep(LOOK);
                    }
                }
            }
        })
        .map_err(said)?;
    tell.recv().map_err(said)??;
    Ok(input)
}

fn begin(
    device: &cpal::Device,
    config: &SupportedStreamConfig,
    line: &std::sync::Arc<Line>,
) -> Result<cpal::Stream, InputError> {
    let (blocks, errors) = (line.clone(), line.clone());
    let stream = device
        .build_input_stream_raw(
            &config.config(),
            config.sample_format(),
            move |data, _| {
                blocks.block(data.bytes().to_vec());
            },
            move |error| {
                let next = match error {
                    cpal::StreamError::DeviceNotAvailable => {
                        Next::Gone("the device was unplugged".to_owned())
                    }
                    _ => Next::Lost(None),
                };
                errors.send(next);
            },
            None,
        )
        .map_err(said)?;
    stream.play().map_err(said)?;
    Ok(stream)
}

fn format_of(config: &SupportedStreamConfig) -> Result<Format, InputError> {
    let encoding = match config.sample_format() {
        SampleFormat::I16 => Encoding::I16,
        SampleFormat::I32 => Encoding::I32,
        SampleFormat::F32 => Encoding::F32,
        other => {
            return Err(InputError(format!(
                "the input gives samples as {other}, which cannot be captured"
            )));
        }
    };
    Ok(Format {
        sample_rate_hz: config.sample_rate().0,
        channels: config.channels(),
        encoding,
    })
}

fn said(error: impl std::fmt::Display) -> InputError {
    InputError(error.to_string())
}
