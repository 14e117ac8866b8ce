//! Options of `check`.

use std::path::{Path, PathBuf};

use super::measuring::MeasureArgs;
use crate::manner::{Colour, Quiet};
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

    /// Draw one recording, as SVG or PNG by the name of the file
    #[arg(long, value_name = "FILE.svg|png")]
    pub(crate) plot: Option<PathBuf>,

    /// What the plot shows
    #[arg(
        long,
        value_enum,
        value_name = "KIND",
        default_value_t,
        requires = "plot"
    )]
    pub(crate) plot_kind: PlotKind,

    /// Colours of the plot; auto follows the viewer and prints light
    #[arg(
        long,
        value_enum,
        value_name = "THEME",
        default_value_t,
        requires = "plot"
    )]
    pub(crate) plot_theme: ThemeName,

    /// Write a report of one recording with its plots, one file that needs no network
    #[arg(long, value_name = "FILE.html")]
    pub(crate) html: Option<PathBuf>,

    /// Draw a card to tie to the dial, as SVG or PNG; --dial-id names the dial
    #[arg(long, value_name = "FILE.svg|png")]
    pub(crate) tag: Option<PathBuf>,

    /// Date for the card, printed as it is given
    #[arg(long, value_name = "DATE", requires = "tag")]
    pub(crate) tag_date: Option<String>,

    #[command(flatten)]
    pub(crate) colour: Colour,

    #[command(flatten)]
    pub(crate) quiet: Quiet,
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

/// What a plot shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum PlotKind {
    /// Every break and make, with speed and percent break pulse by pulse
    #[default]
    Timing,
    /// The whole recording, its digits boxed
    Overview,
    /// All pulses of the longest digit laid over one another
    Overlay,
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
        self.verify_pictures()
    }

    fn verify_pictures(&self) -> Result<(), Stop> {
        let pictures = [
            ("--plot", &self.plot, true),
            ("--html", &self.html, false),
            ("--tag", &self.tag, true),
        ];
        let named = pictures
            .into_iter()
            .filter_map(|(option, path, drawn)| Some((option, path.as_deref()?, drawn)));
        let named: Vec<(&str, &Path, bool)> = named.collect();
        for (index, (option, path, drawn)) in named.iter().enumerate() {
            if self.files.len() > 1 {
                return Err(Stop::Usage(format!(
                    "{option} shows one recording, but {} were named: run it once for each, or use batch or compare",
                    self.files.len()
                )));
            }
            if *drawn && !is_drawing(path) {
                return Err(Stop::Usage(format!(
                    "{option} writes SVG or PNG: name the file {}",
                    path.with_extension("svg").display()
                )));
            }
            let earlier = named[..index]
                .iter()
                .map(|(other, path, _)| (*other, *path));
            let others: Vec<_> = earlier
                .chain(self.output.as_deref().map(|path| ("--output", path)))
                .collect();
            if let Some((other, _)) = others.iter().find(|(_, other)| other == path) {
                return Err(Stop::Usage(format!(
                    "{option} and {other} name the same file"
                )));
            }
        }
        Ok(())
    }
}

fn is_drawing(path: &Path) -> bool {
    let ending = path.extension().unwrap_or_default();
    ending.eq_ignore_ascii_case("svg") || ending.eq_ignore_ascii_case("png")
}
