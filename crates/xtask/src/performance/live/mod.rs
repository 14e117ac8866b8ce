//! Live capture: the delay from the last make of a digit to its figures, and ten minutes without a break; through the program
//! alone, through the bench page in a browser, and through a sound server.

mod kept;
mod page;
mod program;
mod sound_server;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, ensure};
use clap::{Args, ValueEnum};

use super::page::with_section;

#[derive(Args)]
pub(crate) struct LiveOptions {
    /// What the samples go through; one after the other if not given
    #[arg(long, value_enum)]
    through: Option<Through>,

    /// Minutes of capture, for each of them
    #[arg(long, default_value_t = 10)]
    minutes: usize,

    /// Page whose sections are written
    #[arg(short, long, default_value = "docs/performance.md")]
    output: PathBuf,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Through {
    /// The program alone, as fast as it takes them
    Program,
    /// PulseAudio, Chromium's microphone, the bench page and `serve`
    Page,
    /// PulseAudio and `listen`
    SoundServer,
}

/// Pulses are made at 10 pps, and so long a make ends a digit there.
const PAUSE_MS: f64 = 180.0;

/// Measures and writes the sections.
pub(crate) fn run(options: &LiveOptions) -> anyhow::Result<ExitCode> {
    ensure!(
        cfg!(target_os = "linux"),
        "memory is read from /proc, which only Linux has"
    );
    for through in Through::value_variants() {
        if options.through.is_none_or(|only| only == *through) {
            measure(*through, options)?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn measure(through: Through, options: &LiveOptions) -> anyhow::Result<()> {
    let minutes = options.minutes;
    let (heading, section) = match through {
        Through::Program => (program::HEADING, program::section(minutes)?),
        Through::Page => (page::HEADING, page::section(minutes)?),
        Through::SoundServer => (sound_server::HEADING, sound_server::section(minutes)?),
    };
    println!("{section}");
    let page = std::fs::read_to_string(&options.output).unwrap_or_default();
    std::fs::write(&options.output, with_section(&page, heading, &section))
        .with_context(|| format!("cannot write {}", options.output.display()))
}

/// Samples of a mono WAV file of 16 bits, or of floats that were 16 bits before.
fn samples(path: &Path) -> anyhow::Result<Vec<i16>> {
    let reader = hound::WavReader::open(path)?;
    let name = path.display();
    ensure!(reader.spec().channels == 1, "{name} is not mono");
    if reader.spec().sample_format == hound::SampleFormat::Int {
        return Ok(reader.into_samples().collect::<Result<_, _>>()?);
    }
    let whole = |x: f32| code(x).with_context(|| format!("{name} was resampled or scaled: {x}"));
    reader.into_samples::<f32>().map(|x| whole(x?)).collect()
}

/// The 16-bit code that became this float: full scale is 32768, or 32767 upwards, as in Chromium.
fn code(x: f32) -> Option<i16> {
    // A float of 24 bits is rounded to less than that.
    const ROUNDED: f32 = 0.01;
    let scales: &[f32] = if x > 0.0 {
        &[32_767.0, 32_768.0]
    } else {
        &[32_768.0]
    };
    scales
        .iter()
        .map(|scale| x * scale)
        .find(|scaled| (scaled - scaled.round()).abs() < ROUNDED)
        .map(|scaled| scaled.round() as i16)
}

/// Resident size of a process, in MB (10^6 bytes).
fn resident_mb(process: u32) -> anyhow::Result<f64> {
    let path = format!("/proc/{process}/status");
    let text = std::fs::read_to_string(&path).with_context(|| format!("cannot read {path}"))?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kib = line.and_then(|line| line.trim().strip_suffix(" kB"));
    let kib: f64 = kib
        .with_context(|| format!("no resident size in {path}"))?
        .parse()?;
    Ok(kib * 1024e-6)
}

/// How busy the machine was in the last fifteen minutes, and whether this ran before others: delays can be no better than that
/// lets them.
fn busy() -> String {
    let text = |path: &str| std::fs::read_to_string(path).unwrap_or_default();
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let load = text("/proc/loadavg");
    let load = load.split_whitespace().nth(2).unwrap_or("?");
    let rank = match nice(&text("/proc/self/stat")) {
        Some(nice) if nice != 0 => format!(", at nice {nice}"),
        _ => String::new(),
    };
    format!(
        "measured{rank} while {load} programs on average wanted one of the machine's {cores} cores"
    )
}

/// The nice value in the text of /proc/PID/stat: the seventeenth field after the name, which stands in brackets.
fn nice(stat: &str) -> Option<i32> {
    let (_, fields) = stat.rsplit_once(')')?;
    fields.split_whitespace().nth(16)?.parse().ok()
}

/// Least, median and largest.
fn spread(values: &[f64]) -> [f64; 3] {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let index = (share * sorted.len().saturating_sub(1) as f64).round() as usize;
        sorted.get(index).copied().unwrap_or(f64::NAN)
    };
    [at(0.0), at(0.5), at(1.0)]
}

/// A line of a table: least, median, largest.
fn row(name: &str, values: &[f64], decimals: usize) -> String {
    let [least, median, most] = spread(values);
    format!("| {name} | {least:.decimals$} | {median:.decimals$} | {most:.decimals$} |\n")
}

/// The same for delays from the last make, counted from the end of the pause.
fn delay_row(name: &str, delays_ms: &[f64]) -> String {
    let after: Vec<f64> = delays_ms.iter().map(|delay| delay - PAUSE_MS).collect();
    row(name, &after, 0)
}

/// How many of the delays are what is to be reached.
fn reached(delays_ms: &[f64]) -> String {
    let fast = delays_ms
        .iter()
        .filter(|delay| **delay <= PAUSE_MS + 300.0)
        .count();
    format!("{fast} of {}", delays_ms.len())
}

/// First and last of what was read every minute.
fn from_to(values: &[f64]) -> String {
    let of = |value: Option<&f64>| value.map_or_else(|| "?".to_owned(), |x| format!("{x:.1}"));
    format!(
        "{} MB after the first minute, {} MB after the last",
        of(values.first()),
        of(values.last())
    )
}

#[cfg(test)]
mod of_live {
    use super::*;

    #[test]
    fn delays_are_told_from_the_end_of_the_pause() {
        let delays = [470.0, 500.0, 480.0];
        assert_eq!(delay_row("x", &delays), "| x | 290 | 300 | 320 |\n");
        assert_eq!(reached(&delays), "2 of 3");
        assert_eq!(row("none", &[], 0), "| none | NaN | NaN | NaN |\n");
    }

    #[test]
    fn floats_that_were_16_bits_are_given_back_and_others_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.wav");
        let write = |values: &[f32]| {
            let spec = hound::WavSpec {
                channels: 1,
                sample_rate: 8000,
                bits_per_sample: 32,
                sample_format: hound::SampleFormat::Float,
            };
            let mut writer = hound::WavWriter::create(&path, spec).unwrap();
            values.iter().for_each(|x| writer.write_sample(*x).unwrap());
            writer.finalize().unwrap();
        };
        write(&[
            -1.0,
            0.0,
            3.0 / 32_768.0,
            20_000.0 / 32_768.0,
            20_000.0 / 32_767.0,
        ]);
        assert_eq!(samples(&path).unwrap(), [-32_768, 0, 3, 20_000, 20_000]);
        write(&[0.300_01]);
        assert!(samples(&path).is_err());
    }

    #[test]
    fn the_rank_of_a_process_is_read() {
        let stat = "7 (a (b) c) S 1 7 7 0 -1 4194560 1 2 3 4 5 6 7 8 10 -10 3 0 99 1 2";
        assert_eq!(nice(stat), Some(-10));
        let own = std::fs::read_to_string("/proc/self/stat").unwrap();
        assert!(nice(&own).is_some_and(|nice| (-20..20).contains(&nice)));
    }

    #[test]
    fn memory_of_a_process_is_read() {
        assert!(resident_mb(std::process::id()).unwrap() > 0.5);
        assert!(resident_mb(u32::MAX).is_err());
    }
}
