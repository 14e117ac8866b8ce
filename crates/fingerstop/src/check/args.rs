//! Options of `check`.

use std::path::PathBuf;

use super::measuring::MeasureArgs;
use crate::stop::Stop;
use clap::{Args, ValueEnum};

/// Options of `check`.
#[derive(Args)]
pub(crate) struct CheckArgs {
    /// Recordings: WAV, FLAC, AIFF, CAF, Ogg Vorbis, MP3, M4A, raw PCM (--raw), CSV of loop current; - is standard
    /// input
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,

    #[command(flatten)]
    pub(crate) measuring: MeasureArgs,

    /// The recordings are takes of one dial: give mean and spread over all of them (--dial-id says so too)
    #[arg(long)]
    pub(crate) takes: bool,

    /// Name of the dial, carried into JSON and CSV
    #[arg(long, value_name = "ID")]
    pub(crate) dial_id: Option<String>,

    /// How results are written
    #[arg(
        long,
        value_enum,
        value_name = "FORMAT",
        default_value_t,
        env = "FINGERSTOP_FORMAT",
        hide_env_values = true
    )]
    pub(crate) format: Format,

    /// Write results to this file instead of standard output (-)
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,

    /// Overwrite output files that exist
    #[arg(long)]
    pub(crate) force: bool,

    /// Draw the timing plot of one recording
    #[arg(long, value_name = "FILE.svg")]
    pub(crate) plot: Option<PathBuf>,

    /// Colours of the plot; auto follows the viewer and prints light
    #[arg(
        long,
        value_enum,
        value_name = "THEME",
        default_value_t,
        requires = "plot"
    )]
    pub(crate) plot_theme: ThemeName,

    /// Colour the text
    #[arg(
        long,
        value_enum,
        value_name = "WHEN",
        default_value_t,
        env = "FINGERSTOP_COLOR",
        hide_env_values = true
    )]
    pub(crate) color: ColorWhen,

    /// Say nothing on standard error but errors
    #[arg(short, long)]
    pub(crate) quiet: bool,

    /// Show no progress
    #[arg(long)]
    pub(crate) no_progress: bool,
}

/// How results are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For a person
    #[default]
    Text,
    /// One JSON document, schema fingerstop.measurement/1
    Json,
    /// One JSON object a line and recording
    Ndjson,
    /// One row a digit
    Csv,
}

/// Colours of the plot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum ThemeName {
    /// Follow the viewer
    #[default]
    Auto,
    /// Light
    Light,
    /// Dark
    Dark,
}

/// When text is coloured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum ColorWhen {
    /// On a terminal, unless NO_COLOR is set
    #[default]
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

impl CheckArgs {
    /// True when all recordings are of one dial.
    pub(crate) fn one_dial(&self) -> bool {
        self.takes || (self.dial_id.is_some() && self.files.len() > 1)
    }

    /// Refuses options that contradict each other, before any work is done.
    pub(crate) fn verify(&self) -> Result<(), Stop> {
        let refuse = |message: &str| Err(Stop::Usage(message.to_owned()));
        self.measuring.verify()?;
        if self
            .files
            .iter()
            .filter(|file| file.as_os_str() == "-")
            .count()
            > 1
        {
            return refuse("standard input (-) can be read only once");
        }
        self.verify_plot()
    }

    fn verify_plot(&self) -> Result<(), Stop> {
        let Some(plot) = &self.plot else {
            return Ok(());
        };
        if self.files.len() > 1 {
            return Err(Stop::Usage(format!(
                "--plot draws one recording, but {} were named: run it once for each",
                self.files.len()
            )));
        }
        if plot
            .extension()
            .is_none_or(|extension| !extension.eq_ignore_ascii_case("svg"))
        {
            return Err(Stop::Usage(format!(
                "--plot writes SVG: name the file {}",
                plot.with_extension("svg").display()
            )));
        }
        if Some(plot) == self.output.as_ref() {
            return Err(Stop::Usage(
                "--plot and --output name the same file".to_owned(),
            ));
        }
        Ok(())
    }
}
