//! Options of `check`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use recording::RawFormat;

use crate::stop::Stop;
use crate::values::{LimitChoice, PlanName, dialled, limit_choice, not_negative, positive, time_s};

/// Options of `check`.
#[derive(Args)]
pub(crate) struct CheckArgs {
    /// Recordings: WAV, FLAC, AIFF, CAF, Ogg Vorbis, MP3, M4A, raw PCM (--raw), CSV of loop current; - is standard
    /// input
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,

    /// Limit set to judge by, or none to measure only; `fingerstop limits list` shows them
    #[arg(long, value_name = "NAME", env = "FINGERSTOP_LIMITS", hide_env_values = true, value_parser = limit_choice)]
    pub(crate) limits: Option<LimitChoice>,

    /// What was dialled, to check the count
    #[arg(long, value_name = "DIGITS", value_parser = dialled)]
    pub(crate) dialled: Option<String>,

    /// How pulses become digits
    #[arg(
        long,
        value_name = "NAME",
        value_enum,
        default_value_t,
        env = "FINGERSTOP_PLAN",
        hide_env_values = true
    )]
    pub(crate) plan: PlanName,

    /// Channel to measure, from 1; auto takes the one with the dialling
    #[arg(long, value_name = "N|auto", default_value = "auto", value_parser = channel)]
    pub(crate) channel: Channel,

    /// Measure from this time on (seconds, or m:ss)
    #[arg(long, value_name = "TIME", allow_negative_numbers = true, value_parser = time_s)]
    pub(crate) from: Option<f64>,

    /// Measure up to this time (seconds, or m:ss)
    #[arg(long, value_name = "TIME", allow_negative_numbers = true, value_parser = time_s)]
    pub(crate) to: Option<f64>,

    /// Where the probe sat
    #[arg(
        long,
        value_enum,
        value_name = "PLACE",
        env = "FINGERSTOP_TAP",
        hide_env_values = true
    )]
    pub(crate) tap: Option<TapName>,

    /// Whether the spark-quench capacitor was in circuit
    #[arg(
        long,
        value_enum,
        value_name = "STATE",
        env = "FINGERSTOP_QUENCH",
        hide_env_values = true
    )]
    pub(crate) quench: Option<QuenchName>,

    /// Judge interdigital pauses too (for automatic senders; a hand makes most of a pause)
    #[arg(long)]
    pub(crate) judge_pauses: bool,

    /// Tolerance of the recorder's clock, in parts per million
    #[arg(long, value_name = "PPM", default_value = "100", allow_negative_numbers = true, env = "FINGERSTOP_CLOCK_PPM", hide_env_values = true, value_parser = not_negative)]
    pub(crate) clock_ppm: f64,

    /// Read raw samples without a header, such as s16le:48000:1
    #[arg(long, value_name = "ENCODING:RATE:CHANNELS", value_parser = raw_format)]
    pub(crate) raw: Option<RawFormat>,

    /// Sample rate of a CSV file that has no time column
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, value_parser = positive)]
    pub(crate) csv_rate: Option<f64>,

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

/// Which channel to measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Channel {
    /// The one with the dialling.
    Auto,
    /// This one, from 1.
    Number(u16),
}

fn channel(text: &str) -> Result<Channel, String> {
    if text == "auto" {
        return Ok(Channel::Auto);
    }
    let number = text.parse().ok().filter(|number| *number >= 1);
    number
        .map(Channel::Number)
        .ok_or_else(|| "give a channel from 1 on, or auto".to_owned())
}

fn raw_format(text: &str) -> Result<RawFormat, String> {
    text.parse()
        .map_err(|error: recording::Error| error.to_string())
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

/// Where the probe sat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TapName {
    /// At the bare pulse contacts
    Contacts,
    /// Across a resistor in series with the loop
    Series,
    /// Across the line
    Line,
    /// Behind an adapter or a pulsing relay
    Adapter,
}

/// Whether the spark-quench capacitor was in circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum QuenchName {
    /// In circuit
    In,
    /// Disconnected
    Out,
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
    /// Refuses options that contradict each other, before any work is done.
    pub(crate) fn verify(&self) -> Result<(), Stop> {
        let refuse = |message: &str| Err(Stop::Usage(message.to_owned()));
        if let (Some(from), Some(to)) = (self.from, self.to)
            && from >= to
        {
            return refuse("--from is not before --to: nothing is left to measure");
        }
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
