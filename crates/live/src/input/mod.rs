//! Inputs: what the system offers, and the samples of one of them.
//!
//! Ways to an input are tried in order; the first that works is taken. Each reads in a thread of its own, stamps
//! every block with its time of arrival, and says at once when samples were lost or the device went away.

#[cfg(target_os = "linux")]
mod alsa;
#[cfg(any(target_os = "windows", target_os = "macos"))]
mod native;
#[cfg(unix)]
mod pulse;

use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{
    Arc,
    atomic::{AtomicBool, Ordering},
};
use std::time::{Duration, Instant};

use crate::format::Format;

/// Blocks that may wait to be taken: half a minute of 10 ms. Whoever does not take them for longer loses samples,
/// which the server or the driver then says.
const WAITING_AT_MOST: usize = 3000;
/// Blocks are asked for of about this length.
#[cfg(unix)]
pub(crate) const BLOCK_S: f64 = 0.010;

/// An input that the system offers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Device {
    /// What to give to [`open`].
    pub id: String,
    /// For a person.
    pub name: String,
    /// By which way: `pulse`, `alsa`, `native`.
    pub way: &'static str,
    /// What it delivers, where that is known before it is opened.
    pub format: Option<Format>,
    /// The one that is taken when none is named.
    pub is_default: bool,
    /// It hears what the computer plays, not an input.
    pub is_monitor: bool,
}

/// Why an input cannot be had, with the way out.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct InputError(pub String);

/// What came from an input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Next {
    /// Whole frames, and when they arrived, by the clock of [`Input::clock`].
    Block {
        /// Interleaved frames, little-endian.
        bytes: Vec<u8>,
        /// Time of arrival.
        at: Duration,
    },
    /// Samples were lost before the next block: how many frames, if the source counted them.
    Lost(Option<u64>),
    /// Something to be told, such as that another program suspended the device.
    Note(String),
    /// The device is gone, and why; nothing more comes.
    Gone(String),
    /// Nothing came for as long as was waited.
    Nothing,
}

/// An input that is being read.
#[derive(Debug)]
pub struct Input {
    /// The device.
    pub device: Device,
    /// What it delivers.
    pub format: Format,
    blocks: Receiver<Next>,
    stop: Arc<AtomicBool>,
    gone: Option<String>,
}

/// What a reading thread holds.
#[derive(Debug)]
pub(crate) struct Line {
    to: SyncSender<Next>,
    stop: Arc<AtomicBool>,
    began: Instant,
}

impl Line {
    /// Hands on what came; `false` when nobody wants any more.
    pub(crate) fn send(&self, next: Next) -> bool {
        self.is_wanted() && self.to.send(next).is_ok()
    }

    /// Hands on a block that arrived just now.
    pub(crate) fn block(&self, bytes: Vec<u8>) -> bool {
        let at = self.began.elapsed();
        self.send(Next::Block { bytes, at })
    }

    /// True until the input is let go.
    pub(crate) fn is_wanted(&self) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }
}

impl Input {
    /// An input and the line on which its thread hands on what comes.
    pub(crate) fn new(device: Device, format: Format) -> (Input, Line) {
        let (to, blocks) = sync_channel(WAITING_AT_MOST);
        let stop = Arc::new(AtomicBool::new(false));
        let line = Line {
            to,
            stop: Arc::clone(&stop),
            began: Instant::now(),
        };
        let input = Input {
            device,
            format,
            blocks,
            stop,
            gone: None,
        };
        (input, line)
    }

    /// Waits for what comes next, up to `patience`.
    pub fn next(&mut self, patience: Duration) -> Next {
        if let Some(why) = &self.gone {
            return Next::Gone(why.clone());
        }
        let next = match self.blocks.recv_timeout(patience) {
            Ok(next) => next,
            Err(RecvTimeoutError::Timeout) => Next::Nothing,
            Err(RecvTimeoutError::Disconnected) => Next::Gone("the input ended".to_owned()),
        };
        if let Next::Gone(why) = &next {
            self.gone = Some(why.clone());
        }
        next
    }
}

impl Drop for Input {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// Inputs of every way that works here.
///
/// # Errors
/// No way works: why not, for each.
pub fn devices() -> Result<Vec<Device>, InputError> {
    let mut found = Vec::new();
    let mut reasons = Vec::new();
    for way in WAYS {
        match (way.devices)() {
            Ok(devices) => found.extend(devices),
            Err(error) => reasons.push(format!("{}: {error}", way.title)),
        }
    }
    // Only one of all is taken when none is named.
    let mut defaults = found.iter_mut().filter(|device| device.is_default);
    defaults.next();
    defaults.for_each(|device| device.is_default = false);
    if found.is_empty() {
        return Err(InputError(no_input(&reasons)));
    }
    Ok(found)
}

/// Opens the input of that name, or the default one. A name may say the way: `alsa:hw:1`.
///
/// # Errors
/// It cannot be had; why, and the way out.
pub fn open(id: Option<&str>) -> Result<Input, InputError> {
    let mut reasons = Vec::new();
    for way in WAYS {
        let id = match id {
            Some(id) => match id.split_once(':') {
                Some((name, rest)) if name == way.name => Some(rest),
                Some((name, _)) if WAYS.iter().any(|way| way.name == name) => continue,
                _ => Some(id),
            },
            None => None,
        };
        match (way.open)(id) {
            Ok(input) => return Ok(input),
            Err(error) => reasons.push(format!("{}: {error}", way.title)),
        }
    }
    Err(InputError(match id {
        Some(id) => format!(
            "cannot open the input {id} ({}); `fingerstop listen --devices` lists the inputs",
            reasons.join("; ")
        ),
        None => no_input(&reasons),
    }))
}

fn no_input(reasons: &[String]) -> String {
    format!(
        "no sound input can be had ({}); connect one, start the sound server, or record with another program and \
         use `fingerstop check`",
        reasons.join("; ")
    )
}

struct Way {
    name: &'static str,
    title: &'static str,
    devices: fn() -> Result<Vec<Device>, InputError>,
    open: fn(Option<&str>) -> Result<Input, InputError>,
}

const WAYS: &[Way] = &[
    #[cfg(unix)]
    Way {
        name: "pulse",
        title: "PulseAudio or PipeWire",
        devices: pulse::devices,
        open: pulse::open,
    },
    #[cfg(target_os = "linux")]
    Way {
        name: "alsa",
        title: "ALSA",
        devices: alsa::devices,
        open: alsa::open,
    },
    #[cfg(any(target_os = "windows", target_os = "macos"))]
    Way {
        name: "native",
        title: "the system",
        devices: native::devices,
        open: native::open,
    },
];
