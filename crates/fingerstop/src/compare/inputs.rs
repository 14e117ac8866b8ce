//! What is compared: recordings to be measured, and measurements saved before.

use std::fs::File;
use std::io::{Read, read_to_string};
use std::path::Path;

use report::Saved;
use score::Settings;

use super::VERSION;
use super::args::CompareArgs;
use crate::check::measure;
use crate::check::progress::Progress;
use crate::stop::{Stop, tell};

/// Bytes looked at to tell a saved measurement from a recording.
const HEAD: u64 = 64;

/// The recordings of a comparison in their order.
pub(crate) struct Inputs {
    /// Measured now or before.
    pub(crate) recordings: Vec<Saved>,
}

/// Reads every input. One that cannot be read keeps its place, with its reason.
pub(crate) fn read(args: &CompareArgs, settings: &Settings) -> Result<Inputs, Stop> {
    let mut recordings = Vec::new();
    for path in &args.files {
        if is_saved(path) {
            recordings.extend(saved(path)?);
        } else {
            recordings.push(measured(path, args, settings)?);
        }
    }
    if recordings.len() < 2 {
        return Err(Stop::Usage(
            "compare wants two recordings or more: give the earlier one first".to_owned(),
        ));
    }
    Ok(Inputs { recordings })
}

fn is_saved(path: &Path) -> bool {
    let mut head = Vec::new();
    // What cannot be opened is told by the reader of recordings, in its own words.
    let read = File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut head));
    read.is_ok() && report::may_be_saved(&head)
}

fn saved(path: &Path) -> Result<Vec<Saved>, Stop> {
    let refuse = |why: &dyn std::fmt::Display| {
        Stop::Failed(format!("cannot read {}: {why}", path.display()))
    };
    let text = File::open(path)
        .and_then(read_to_string)
        .map_err(|error| refuse(&error))?;
    report::read_saved(&text).map_err(|error| refuse(&error))
}

fn measured(path: &Path, args: &CompareArgs, settings: &Settings) -> Result<Saved, Stop> {
    let record = measure::record(
        path,
        &args.measuring.options(),
        settings,
        &mut Progress::none(),
    );
    if let Err(unreadable) = &record.outcome {
        tell(&format!(
            "cannot read {}: {}",
            record.input, unreadable.message
        ));
    }
    Saved::of(&record, settings, None, VERSION).map_err(|error| Stop::Failed(error.to_string()))
}
