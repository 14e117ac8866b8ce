//! One input from its bytes to a record, in blocks: never the whole file at once.

use std::io::stdin;
use std::path::Path;

use recording::{Error, OpenOptions, Recording};
use report::{Measured, Record, Unreadable};
use score::Settings;

use super::channels::Channels;
use super::gaps::Gaps;
use super::measuring::MeasureArgs;
use super::progress::Progress;
use super::section::{self, Section};

/// Reads, measures and scores `input`. What cannot be read is a record too.
pub(crate) fn record(
    input: &Path,
    args: &MeasureArgs,
    settings: &Settings,
    progress: &mut Progress,
) -> Record {
    progress.next_file();
    let name = input.display().to_string();
    let outcome = measured(input, &name, args, settings, progress);
    Record {
        input: name,
        outcome: outcome.map(Box::new),
    }
}

fn measured(
    input: &Path,
    name: &str,
    args: &MeasureArgs,
    settings: &Settings,
    progress: &mut Progress,
) -> Result<Measured, Unreadable> {
    let mut recording = open(input, args)?;
    let facts = recording.facts().clone();
    let mut channels = Channels::new(&facts, args.channel)?;
    let mut section = Section::new(args.from, args.to, &facts);
    let mut block = Vec::new();
    let mut gaps = Gaps::default();
    while !section.is_over() && recording.next_block(&mut block).map_err(unreadable)? {
        let first = section.next_frame();
        let frames = section.cut(&block);
        for piece in gaps.split(first, frames, channels.stride(), recording.gaps()) {
            if piece.after_gap {
                channels.gap();
            }
            channels.push(piece.frames);
        }
        progress.show(
            name,
            facts
                .frames
                .map(|frames| section.frames_seen() as f64 / frames.max(1) as f64),
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

fn open(input: &Path, args: &MeasureArgs) -> Result<Recording, Unreadable> {
    let options = OpenOptions {
        raw: args.raw.clone(),
        csv_rate_hz: args.csv_rate,
    };
    let opened = if input.as_os_str() == "-" {
        Recording::from_reader(Box::new(stdin()), "standard input", &options)
    } else {
        Recording::open(input, &options)
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
