//! `synth`: makes recordings of known truth.

use std::fs;
use std::io::{Read, stdin};
use std::path::{Path, PathBuf};

use ::synth::{Chatter, Coupling, Encoding, Hum, Scenario, render, write_truth, write_wav};
use clap::{Args, ValueEnum};

use crate::interrupt;
use crate::output::{self, Whole};
use crate::stop::{Exit, Stop};
use crate::values::{PlanName, dialled, not_negative, positive};

/// Options of `synth`.
#[derive(Args)]
pub(crate) struct SynthArgs {
    /// WAV file to write; its truth goes beside it as NAME.truth.json
    #[arg(short, long, value_name = "FILE.wav", required_unless_present_any = ["demo", "print_scenario"])]
    output: Option<PathBuf>,

    /// Write the demonstration recordings into this folder
    #[arg(long, value_name = "DIR", conflicts_with_all = ["output", "scenario", "digits", "print_scenario"])]
    demo: Option<PathBuf>,

    /// Take everything from a scenario in JSON; - is standard input
    #[arg(long, value_name = "FILE.json", conflicts_with_all = ["digits", "speed", "percent_break", "rate", "encoding", "coupling", "noise", "hum", "chatter", "seed"])]
    scenario: Option<PathBuf>,

    /// Write the scenario as JSON to standard output instead of a recording
    #[arg(long, conflicts_with = "output")]
    print_scenario: bool,

    /// What is dialled
    #[arg(long, value_name = "DIGITS", default_value = "0", value_parser = dialled)]
    digits: String,

    /// How digits become pulses
    #[arg(long, value_name = "NAME", value_enum, default_value_t)]
    plan: PlanName,

    /// Pulsing speed, in pulses per second
    #[arg(long, value_name = "PPS", value_parser = speed)]
    speed: Option<f64>,

    /// Percent break
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    percent_break: Option<f64>,

    /// Sample rate
    #[arg(long, value_name = "HZ", value_parser = rate)]
    rate: Option<f64>,

    /// Encoding of the samples
    #[arg(long, value_enum, value_name = "NAME")]
    encoding: Option<EncodingName>,

    /// Corner of the recorder's coupling capacitor; without it direct current passes
    #[arg(long, value_name = "HZ", value_parser = positive)]
    coupling: Option<f64>,

    /// White noise: how far the dial's step stands above it
    #[arg(long, value_name = "DB", value_parser = not_negative)]
    noise: Option<f64>,

    /// Mains hum: frequency and share of the step, such as 50:0.1
    #[arg(long, value_name = "HZ:SHARE", value_parser = hum)]
    hum: Option<Hum>,

    /// Chatter after every closing, at most this long
    #[arg(long, value_name = "MS", value_parser = positive)]
    chatter: Option<f64>,

    /// Seed of everything random
    #[arg(long, value_name = "N")]
    seed: Option<u64>,

    /// Overwrite files that exist
    #[arg(long)]
    force: bool,
}

/// Encodings that can be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum EncodingName {
    U8,
    S16,
    S24,
    F32,
    MuLaw,
    ALaw,
}

impl EncodingName {
    fn encoding(self) -> Encoding {
        match self {
            EncodingName::U8 => Encoding::U8,
            EncodingName::S16 => Encoding::S16,
            EncodingName::S24 => Encoding::S24,
            EncodingName::F32 => Encoding::F32,
            EncodingName::MuLaw => Encoding::MuLaw,
            EncodingName::ALaw => Encoding::ALaw,
        }
    }
}

fn within(text: &str, least: f64, greatest: f64, what: &str) -> Result<f64, String> {
    let number = text
        .parse::<f64>()
        .ok()
        .filter(|value| (least..=greatest).contains(value));
    number.ok_or_else(|| format!("give {what} from {least} to {greatest}"))
}

fn speed(text: &str) -> Result<f64, String> {
    within(text, 5.0, 22.0, "a speed")
}

fn percent(text: &str) -> Result<f64, String> {
    within(text, 35.0, 85.0, "a percent break")
}

fn rate(text: &str) -> Result<f64, String> {
    within(text, 4_000.0, 384_000.0, "a whole rate").and_then(|rate| {
        if rate.fract() == 0.0 {
            Ok(rate)
        } else {
            Err("a WAV file holds whole rates only".to_owned())
        }
    })
}

fn hum(text: &str) -> Result<Hum, String> {
    let parts = text
        .split_once(':')
        .and_then(|(hz, share)| Some((positive(hz).ok()?, not_negative(share).ok()?)));
    let (mains_hz, share) =
        parts.ok_or_else(|| "give frequency and share of the step, such as 50:0.1".to_owned())?;
    Ok(Hum {
        mains_hz,
        amplitudes: vec![share],
    })
}

/// Makes what was asked for.
pub(crate) fn run(args: &SynthArgs) -> Result<Exit, Stop> {
    if let Some(folder) = &args.demo {
        return demo(folder, args.force);
    }
    let scenario = scenario(args)?;
    match &args.output {
        Some(path) => write(&scenario, path, args.force),
        None => print(&scenario),
    }
}

fn print(scenario: &Scenario) -> Result<Exit, Stop> {
    let text = serde_json::to_string_pretty(scenario)
        .map_err(|error| Stop::Failed(format!("cannot write the scenario: {error}")))?;
    output::print(&(text + "\n"))
}

fn scenario(args: &SynthArgs) -> Result<Scenario, Stop> {
    match &args.scenario {
        Some(path) => read(path),
        None => from_options(args),
    }
}

fn read(path: &Path) -> Result<Scenario, Stop> {
    let refuse = |why: &dyn std::fmt::Display| {
        Stop::Failed(format!("cannot read scenario {}: {why}", path.display()))
    };
    let text = if path.as_os_str() == "-" {
        let mut text = String::new();
        stdin().read_to_string(&mut text).map(|_| text)
    } else {
        fs::read_to_string(path)
    };
    serde_json::from_str(&text.map_err(|error| refuse(&error))?).map_err(|error| refuse(&error))
}

fn from_options(args: &SynthArgs) -> Result<Scenario, Stop> {
    let mut scenario = Scenario::default();
    let pulses = args
        .plan
        .plan()
        .pulses_of(&args.digits)
        .map_err(|error| Stop::Usage(error.to_string()))?;
    scenario.numbers = pulses
        .into_iter()
        .filter_map(|pulses| u8::try_from(pulses).ok())
        .collect();
    scenario.seed = args.seed.unwrap_or(scenario.seed);
    scenario.dial.speed_pps = args.speed.unwrap_or(scenario.dial.speed_pps);
    scenario.dial.percent_break = args.percent_break.unwrap_or(scenario.dial.percent_break);
    scenario.dial.chatter = args.chatter.map(|ms| Chatter {
        total_s: ms / 1e3,
        reopenings: 3,
    });
    scenario.recorder.sample_rate_hz = args.rate.unwrap_or(scenario.recorder.sample_rate_hz);
    scenario.recorder.encoding = args
        .encoding
        .map_or(scenario.recorder.encoding, EncodingName::encoding);
    scenario.recorder.noise_db = args.noise;
    scenario.recorder.hum = args.hum.clone();
    scenario.probe.coupling =
        args.coupling
            .map_or(Coupling::Direct, |corner_hz| Coupling::Capacitor {
                corner_hz,
            });
    Ok(scenario)
}

/// Writes recording and truth, both whole or not at all.
fn write(scenario: &Scenario, path: &Path, force: bool) -> Result<Exit, Stop> {
    if path
        .extension()
        .is_none_or(|extension| !extension.eq_ignore_ascii_case("wav"))
    {
        return Err(Stop::Usage(format!(
            "synth writes WAV: name the file {}",
            path.with_extension("wav").display()
        )));
    }
    let failed = |error: ::synth::WavError| Stop::Failed(error.to_string());
    let wav = Whole::open(path, force)?;
    let truth = Whole::open(&path.with_extension("truth.json"), force)?;
    let rendered = render(scenario);
    write_wav(&rendered, rendered.encoding, wav.neighbour()).map_err(failed)?;
    let written = write_truth(&rendered, wav.neighbour()).map_err(failed)?;
    interrupt::begun(&written);
    let moved = fs::rename(&written, truth.neighbour());
    interrupt::done(&written);
    moved.map_err(|error| {
        Stop::Failed(format!(
            "cannot write the truth of {}: {error}",
            path.display()
        ))
    })?;
    wav.commit()?;
    truth.commit()?;
    Ok(Exit::Good)
}

/// Writes the demonstration recordings.
fn demo(folder: &Path, force: bool) -> Result<Exit, Stop> {
    let occupied = fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some());
    if occupied && !force {
        return Err(Stop::Failed(format!(
            "{} is not empty; add --force to write into it",
            folder.display()
        )));
    }
    fs::create_dir_all(folder)
        .map_err(|error| Stop::Failed(format!("cannot make {}: {error}", folder.display())))?;
    let box_folder = folder.join("box");
    fs::create_dir_all(&box_folder)
        .map_err(|error| Stop::Failed(format!("cannot make {}: {error}", box_folder.display())))?;
    let failed = |error: ::synth::WavError| Stop::Failed(error.to_string());
    let mut written = ::synth::demo::write_all(folder).map_err(failed)?;
    written.extend(::synth::demo_box::write_box(&box_folder).map_err(failed)?);
    let lines: String = written
        .iter()
        .map(|path| format!("{}\n", path.display()))
        .collect();
    output::print(&lines)
}
