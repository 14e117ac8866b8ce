//! Options that say how a recording is measured and judged: the same wherever recordings are read.

use clap::{Args, ValueEnum};
use drive::{Channel, Options};
use recording::{OpenOptions, RawFormat};

use crate::stop::Stop;
use crate::values::{LimitChoice, PlanName, dialled, limit_choice, not_negative, positive, time_s};
use crate::values::{Receivers, receivers};

/// How recordings are measured and judged.
#[derive(Args)]
pub(crate) struct MeasureArgs {
    #[command(flatten)]
    pub(crate) judging: JudgeArgs,

    /// Measure from this time on (seconds, or m:ss)
    #[arg(long, value_name = "TIME", allow_negative_numbers = true, value_parser = time_s)]
    pub(crate) from: Option<f64>,

    /// Measure up to this time (seconds, or m:ss)
    #[arg(long, value_name = "TIME", allow_negative_numbers = true, value_parser = time_s)]
    pub(crate) to: Option<f64>,

    /// Read raw samples without a header, such as s16le:48000:1
    #[arg(long, value_name = "ENCODING:RATE:CHANNELS", value_parser = raw_format)]
    pub(crate) raw: Option<RawFormat>,

    /// Sample rate of a CSV file that has no time column
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, value_parser = positive)]
    pub(crate) csv_rate: Option<f64>,
}

/// How what was measured is judged: the same for recordings and for a live input.
#[derive(Args)]
pub(crate) struct JudgeArgs {
    /// Limit set to judge by (`fingerstop limits list`), a TOML file of your own, or none to measure only
    #[arg(long, value_name = "NAME|FILE", env = "FINGERSTOP_LIMITS", hide_env_values = true, value_parser = limit_choice)]
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

    /// Where the dial turns without pulsing; a short lost motion is a fault only of a dial that idles at the end
    #[arg(
        long,
        value_enum,
        value_name = "PLACE",
        env = "FINGERSTOP_IDLE_RUN",
        hide_env_values = true
    )]
    pub(crate) idle_run: Option<IdleRunName>,

    /// Ask whether this receiver will understand the dial: `adapter`, a receiving set (`fingerstop limits list`), a TOML
    /// file of your own, or all; may be given several times
    #[arg(long = "for", value_name = "RECEIVER", value_parser = receivers)]
    pub(crate) receivers: Vec<Receivers>,

    /// Judge interdigital pauses too (for automatic senders; a hand makes most of a pause)
    #[arg(long)]
    pub(crate) judge_pauses: bool,

    /// Tolerance of the recorder's clock, in parts per million; 100 unless the device was calibrated
    #[arg(long, value_name = "PPM", allow_negative_numbers = true, env = "FINGERSTOP_CLOCK_PPM", hide_env_values = true, value_parser = not_negative)]
    pub(crate) clock_ppm: Option<f64>,
}

impl MeasureArgs {
    /// What to read of a recording, and how; of which nothing need be kept for drawings.
    pub(crate) fn options(&self) -> Options {
        Options {
            open: OpenOptions {
                raw: self.raw.clone(),
                csv_rate_hz: self.csv_rate,
            },
            channel: self.judging.channel,
            from_s: self.from,
            to_s: self.to,
            not_drawn: true,
        }
    }

    /// Refuses options that contradict each other, before any work is done.
    pub(crate) fn verify(&self) -> Result<(), Stop> {
        match (self.from, self.to) {
            (Some(from), Some(to)) if from >= to => Err(Stop::Usage(
                "--from is not before --to: nothing is left to measure".to_owned(),
            )),
            _ => Ok(()),
        }
    }
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

/// Where the dial turns without pulsing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum IdleRunName {
    /// Before the first pulse
    Start,
    /// After the last pulse
    End,
}

/// Whether the spark-quench capacitor was in circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum QuenchName {
    /// In circuit
    In,
    /// Disconnected
    Out,
}
