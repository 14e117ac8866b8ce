//! Options of `batch`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::name::Pattern;
use crate::check::measuring::MeasureArgs;
use crate::manner::{Colour, Quiet};
use crate::stop::Stop;

/// Options of `batch`.
#[derive(Args)]
pub(crate) struct BatchArgs {
    /// Folders (searched to the bottom), recordings, patterns such as 'box/*.wav'; - reads a list of them from
    /// standard input, one a line
    #[arg(required = true, value_name = "PATH")]
    pub(crate) paths: Vec<PathBuf>,

    /// How file names tell the dial and the take, such as '{dial}-{take}'; takes of one dial are combined
    #[arg(long, value_name = "PATTERN")]
    pub(crate) name: Option<Pattern>,

    #[command(flatten)]
    pub(crate) measuring: MeasureArgs,

    /// Keep every result in this file as it comes, one JSON object a line
    #[arg(long, value_name = "FILE.ndjson")]
    pub(crate) ndjson: Option<PathBuf>,

    /// Go on where an earlier run stopped: recordings that the --ndjson file holds, with the same content, are not
    /// measured again
    #[arg(long, requires = "ndjson")]
    pub(crate) resume: bool,

    /// Take the inputs for NDJSON files of earlier batches, and put them together
    #[arg(long, conflicts_with_all = ["resume"])]
    pub(crate) merge: bool,

    /// How the table is written
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t)]
    pub(crate) format: BatchFormat,

    /// Order of the table
    #[arg(long, value_enum, value_name = "ORDER", default_value_t)]
    pub(crate) sort: Sort,

    /// Turn the order round
    #[arg(long)]
    pub(crate) reverse: bool,

    /// Write the table to this file instead of standard output (-)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,

    /// Write a contact sheet, one file that needs no network
    #[arg(long, value_name = "FILE.html")]
    pub(crate) html: Option<PathBuf>,

    /// Overwrite output files that exist
    #[arg(long)]
    pub(crate) force: bool,

    /// Recordings measured side by side; as many as the machine has processors
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(crate) jobs: Option<u16>,

    #[command(flatten)]
    pub(crate) colour: Colour,

    #[command(flatten)]
    pub(crate) quiet: Quiet,
}

/// How the table is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum BatchFormat {
    /// For a person
    #[default]
    Text,
    /// One row a dial
    Csv,
    /// One JSON object a line and recording, in the order of the inputs, as they come
    Ndjson,
}

/// Order of the table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Sort {
    /// Pass first, and of equals the farthest from its limits
    #[default]
    Verdict,
    /// As the inputs were found
    Input,
    /// Slowest first
    Speed,
    /// Smallest percent break first
    PercentBreak,
}

impl BatchArgs {
    /// Refuses options that contradict each other, before any work is done.
    pub(crate) fn verify(&self) -> Result<(), Stop> {
        self.measuring.verify()?;
        let files = [
            ("--output", &self.output),
            ("--ndjson", &self.ndjson),
            ("--html", &self.html),
        ];
        for (index, (name, file)) in files.iter().enumerate() {
            let same = |other: &&(&str, &Option<PathBuf>)| file.is_some() && *other.1 == **file;
            if let Some((other, _)) = files[..index].iter().find(same) {
                return Err(Stop::Usage(format!(
                    "{other} and {name} name the same file"
                )));
            }
        }
        if self.format == BatchFormat::Ndjson && (self.sort != Sort::Verdict || self.reverse) {
            return Err(Stop::Usage(
                "NDJSON comes in the order of the inputs: leave out --sort and --reverse"
                    .to_owned(),
            ));
        }
        Ok(())
    }
}
