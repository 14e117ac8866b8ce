//! Options of `compare`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use report::MaxShift;

use crate::check::measuring::MeasureArgs;
use crate::manner::Colour;
use crate::stop::Stop;

/// Options of `compare`.
#[derive(Args)]
pub(crate) struct CompareArgs {
    /// Recordings of one dial, or measurements saved by `check --format json`, the earliest first; two or more
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,

    /// All were recorded by the same recorder, so that its clock leaves the change
    #[arg(long)]
    pub(crate) same_recorder: bool,

    /// Judge a shift: end with 1 where a quantity changed by more, such as speed_pps=0.2; may be repeated
    #[arg(long, value_name = "QUANTITY=VALUE")]
    pub(crate) max_shift: Vec<MaxShift>,

    #[command(flatten)]
    pub(crate) measuring: MeasureArgs,

    /// How the comparison is written
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t)]
    pub(crate) format: CompareFormat,

    /// Write the comparison to this file instead of standard output (-)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,

    /// Write a report with plots, one file that needs no network
    #[arg(long, value_name = "FILE.html")]
    pub(crate) html: Option<PathBuf>,

    /// Overwrite output files that exist
    #[arg(long)]
    pub(crate) force: bool,

    #[command(flatten)]
    pub(crate) colour: Colour,
}

/// How a comparison is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum CompareFormat {
    /// For a person
    #[default]
    Text,
    /// One JSON document, schema fingerstop.comparison/1
    Json,
}

impl CompareArgs {
    /// Refuses options that contradict each other, before any work is done.
    pub(crate) fn verify(&self) -> Result<(), Stop> {
        self.measuring.verify()?;
        match &self.html {
            Some(html) if Some(html) == self.output.as_ref() => Err(Stop::Usage(
                "--html and --output name the same file".to_owned(),
            )),
            _ => Ok(()),
        }
    }
}
