//! ALSA, where no sound server answers: its library is loaded while the program runs, so that neither building
//! nor starting `fingerstop` needs it.
//!
//! All that is unsafe is in `library.rs`. The device is opened in its own rate and in the widest format that it
//! takes without conversion by us.

mod library;

use std::time::Duration;

use super::{BLOCK_S, Device, Input, InputError, Line, Next};
use crate::format::{Encoding, Format};
use library::{Library, Pcm, ReadError, Wish};

/// The driver keeps so much for us, in seconds: a busy system loses nothing before.
const BUFFER_S: f64 = 0.5;
/// The reading thread looks so often whether it is still wanted.
const LOOK: Duration = Duration::from_millis(100);

/// Inputs that ALSA names.
pub(super) fn devices() -> Result<Vec<Device>, InputError> {
    let library = Library::load()?;
    let named = library.inputs();
    let default = named.iter().position(|(id, _)| id == "default").or(Some(0));
    Ok(named
        .into_iter()
        .enumerate()
        .map(|(index, (id, name))| Device {
            id: format!("alsa:{id}"),
            name,
            way: "alsa",
            format: None,
            is_default: Some(index) == default,
            is_monitor: false,
        })
        .collect())
}

/// Opens a device by its ALSA name, or `default`.
pub(super) fn open(id: Option<&str>) -> Result<Input, InputError> {
    let library = Library::load()?;
    let name = id.unwrap_or("default");
    let wish = Wish {
        encodings: &[Encoding::I32, Encoding::I24, Encoding::I16, Encoding::F32],
        sample_rate_hz: 48_000,
        channels: 2,
        block_s: BLOCK_S,
        buffer_s: BUFFER_S,
    };
    let (pcm, format) = library.open(name, &wish)?;
    let device = Device {
        id: format!("alsa:{name}"),
        name: name.to_owned(),
        way: "alsa",
        format: Some(format),
        is_default: id.is_none(),
        is_monitor: false,
    };
    let (input, line) = Input::new(device, format);
    std::thread::Builder::new()
        .name("alsa-input".to_owned())
        .spawn(move || read(&pcm, &line, format))
        .map_err(|error| InputError(error.to_string()))?;
    Ok(input)
}

fn read(pcm: &Pcm, line: &Line, format: Format) {
    let frames = ((BLOCK_S * f64::from(format.sample_rate_hz)) as usize).max(1);
    let mut block = vec![0; frames * format.frame_bytes()];
    while line.is_wanted() {
        match pcm.read(&mut block, format.frame_bytes(), LOOK) {
            Ok(0) => {}
            Ok(frames) => {
                let bytes = block[..frames * format.frame_bytes()].to_vec();
                if !line.block(bytes) {
                    return;
                }
            }
            Err(ReadError::Overrun) => {
                if !line.send(Next::Lost(None)) {
                    return;
                }
            }
            Err(ReadError::Gone(why)) => {
                line.send(Next::Gone(why));
                return;
            }
        }
    }
}
