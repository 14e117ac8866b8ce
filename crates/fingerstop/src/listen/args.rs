//! Options of `listen`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::check::measuring::JudgeArgs;
use crate::manner::{Colour, Quiet};
use crate::values::time_s;

/// Options of `listen`.
#[derive(Args)]
pub(crate) struct ListenArgs {
    /// List the inputs and end
    #[arg(long, conflicts_with = "output")]
    pub(crate) devices: bool,

    /// Input to listen to, as --devices names it; the default input if not given
    #[arg(
        long,
        value_name = "NAME",
        env = "FINGERSTOP_DEVICE",
        hide_env_values = true
    )]
    pub(crate) device: Option<String>,

    /// Keep the capture in this WAV file, which must not exist; by default listen-001.wav and so on, or by the name
    /// of the dial
    #[arg(short, long, value_name = "FILE.wav")]
    pub(crate) output: Option<PathBuf>,

    /// End after so much was captured (seconds, or m:ss); otherwise Ctrl-C ends
    #[arg(long, value_name = "TIME", value_parser = time_s)]
    pub(crate) stop_after: Option<f64>,

    /// Name of the dial, carried into the report and the name of the capture
    #[arg(long, value_name = "ID")]
    pub(crate) dial_id: Option<String>,

    #[command(flatten)]
    pub(crate) judging: JudgeArgs,

    /// How digits and report are written
    #[arg(long, value_enum, value_name = "FORMAT", default_value_t)]
    pub(crate) format: LiveFormat,

    #[command(flatten)]
    pub(crate) colour: Colour,

    #[command(flatten)]
    pub(crate) quiet: Quiet,
}

/// How results are written while they come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum LiveFormat {
    /// For a person
    #[default]
    Text,
    /// One JSON object a line: what is heard, schema fingerstop.live/1, then the report, fingerstop.measurement/1
    Ndjson,
}
