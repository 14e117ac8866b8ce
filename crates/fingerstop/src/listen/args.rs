//! Options of `listen`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use live::KnownTone;

use super::calibrate::known_tone;
use crate::check::measuring::JudgeArgs;
use crate::manner::{Colour, Quiet};
use crate::values::{positive, time_s};

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

    /// Find out whether the set-up is fit to judge dials, and how to mend what is not
    #[arg(long, conflicts_with = "devices")]
    pub(crate) probe_check: bool,

    /// Measure how the input's clock runs by a tone of known frequency and tolerance, such as 1000:1 for 1000 Hz good to
    /// 1 ppm, and keep that for this input; a minute of it, unless --stop-after says otherwise
    #[arg(long, value_name = "HZ:PPM", conflicts_with_all = ["devices", "probe_check"], value_parser = known_tone)]
    pub(crate) calibrate_clock: Option<KnownTone>,

    /// Take the step of the digits dialled now for a loop current of so many milliamperes, and keep that for this input
    #[arg(long, value_name = "MA", conflicts_with_all = ["devices", "probe_check", "calibrate_clock"], value_parser = positive)]
    pub(crate) calibrate_level: Option<f64>,

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
