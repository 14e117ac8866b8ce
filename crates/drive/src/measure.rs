//! One input from its bytes to a record, in blocks: never the whole file at once.

use std::io::stdin;
use std::path::Path;

use recording::{Error, OpenOptions, Recording};
use report::{Measured, Record, Unreadable};
use score::Settings;

use crate::channels::{Channel, Channels, Sample};
use crate::gaps::Gaps;
use crate::section::{self, Section};

/// What to read of a recording, and how.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// How to open what the bytes alone do not tell.
    pub open: OpenOptions,
    /// Which channel to measure.
    pub channel: Channel,
    /// Measure from this time on, in seconds.
    pub from_s: Option<f64>,
    /// Measure up to this time, in seconds.
    pub to_s: Option<f64>,
    /// Nothing will be drawn: the trace is not kept for it.
    pub not_drawn: bool,
}

/// Reads, measures and scores `input`; `-` is standard input. What cannot be read is a record too.
///
/// `progress` hears how far the work is: the name of the input, and 0 to 1 where the length is known.
#[must_use]
pub fn record(
    input: &Path,
    options: &Options,
    settings: &Settings,
    progress: &mut dyn FnMut(&str, Option<f64>),
) -> Record {
    let name = input.display().to_string();
    let outcome = measured(input, &name, options, settings, progress);
    Record {
        input: name,
        outcome: outcome.map(Box::new),
    }
}

fn measured(
    input: &Path,
    name: &str,
    options: &Options,
    settings: &Settings,
    progress: &mut dyn FnMut(&str, Option<f64>),
) -> Result<Measured, Unreadable> {
    let mut recording = open(input, &options.open)?;
    let facts = recording.facts().clone();
    let mut channels = if options.not_drawn {
        Channels::not_drawn(&facts, options.channel)?
    } else {
        Channels::new(&facts, options.channel)?
    };
    let mut section = Section::new(options.from_s, options.to_s, &facts);
    let mut gaps = Gaps::default();
    let (mut words, mut floats) = (Vec::new(), Vec::new());
    while !section.is_over() {
        let more = if recording.has_words() {
            let more = recording.next_words(&mut words).map_err(unreadable)?;
            take(&words, &mut section, &mut gaps, &mut channels, &recording);
            more
        } else {
            let more = recording.next_block(&mut floats).map_err(unreadable)?;
            take(&floats, &mut section, &mut gaps, &mut channels, &recording);
            more
        };
        if !more {
            break;
        }
        let whole = facts.frames.map(|frames| frames.max(1) as f64);
        progress(
            name,
            whole.map(|frames| section.frames_seen() as f64 / frames),
        );
    }
    section.verify()?;
    let taken = channels.finish();
    let mut warnings = recording.warnings().to_vec();
    warnings.extend(taken.notes);
    let clipped = recording
        .clipped()
        .get(usize::from(taken.channel) - 1)
        .copied()
        .unwrap_or(0);
    let trace = section::shifted(taken.trace, section.start_s());
    let scored = score::score(&trace, settings);
    Ok(Measured {
        frames: section.frames_taken(),
        facts,
        warnings,
        channel: taken.channel,
        clipped,
        trace,
        scored,
    })
}

/// Hands the frames of a block that lie in the section on to the detectors.
fn take<S: Sample>(
    block: &[S],
    section: &mut Section,
    gaps: &mut Gaps,
    channels: &mut Channels,
    recording: &Recording,
) {
    let first = section.next_frame();
    let frames = section.cut(block);
    for piece in gaps.split(first, frames, channels.stride(), recording.gaps()) {
        if piece.after_gap {
            channels.gap();
        }
        channels.push(piece.frames);
    }
}

fn open(input: &Path, options: &OpenOptions) -> Result<Recording, Unreadable> {
    let opened = if input.as_os_str() == "-" {
        Recording::from_reader(Box::new(stdin()), "standard input", options)
    } else {
        Recording::open(input, options)
    };
    opened.map_err(unreadable)
}

fn unreadable(error: Error) -> Unreadable {
    // The reader of files does not know the options by which the user can help it.
    let option = match error.code() {
        "csv-no-rate" => " (--csv-rate HZ)",
        "unknown-format" => " (--raw ENCODING:RATE:CHANNELS)",
        _ => "",
    };
    Unreadable {
        code: error.code().to_owned(),
        message: format!("{error}{option}"),
    }
}
