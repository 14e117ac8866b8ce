//! Live capture: the delay from the last make of a digit to its figures, and ten minutes without a break.

use std::path::Path;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use anyhow::{Context, ensure};
use clap::Args;
use live::{Arrival, Encoding, Event, Format, Setup, Sitting};

use super::content::{Content, RATE_HZ};
use super::page::with_section;

/// The section of the page that is written here.
const HEADING: &str = "## Live capture";

#[derive(Args)]
pub(crate) struct LiveOptions {
    /// Minutes of capture
    #[arg(long, default_value_t = 10)]
    minutes: usize,

    /// Page whose section is written
    #[arg(short, long, default_value = "docs/performance.md")]
    output: std::path::PathBuf,
}

/// Blocks as a sound server hands them out.
const BLOCK: usize = RATE_HZ as usize / 100;

struct Seen {
    /// Last make to the end of the block with which the digit was told, in milliseconds of samples.
    waited_ms: Vec<f64>,
    /// What a block took, in milliseconds: with a digit, and without.
    with_digit_ms: Vec<f64>,
    without_ms: Vec<f64>,
    /// Resident memory after each minute, in megabytes.
    memory_mb: Vec<f64>,
    lost: usize,
}

/// Measures and writes the section.
pub(crate) fn run(options: &LiveOptions) -> anyhow::Result<ExitCode> {
    ensure!(
        cfg!(target_os = "linux"),
        "memory is read from /proc, which only Linux has"
    );
    let folder = tempfile::tempdir()?;
    let source = folder.path().join("busy.wav");
    Content::Busy.write(options.minutes, &source)?;
    let bytes: Vec<u8> = hound::WavReader::open(&source)?
        .into_samples::<i16>()
        .map(|x| x.map(i16::to_le_bytes))
        .collect::<Result<Vec<_>, _>>()?
        .concat();
    let capture = folder.path().join("capture.wav");
    let (seen, digits) = captured(&bytes, &capture)?;
    let kept: Vec<u8> = hound::WavReader::open(&capture)?
        .into_samples::<i16>()
        .map(|x| x.map(i16::to_le_bytes))
        .collect::<Result<Vec<_>, _>>()?
        .concat();
    ensure!(kept == bytes, "the capture is not what was pushed");
    let section = section(&seen, options.minutes, digits);
    let page = std::fs::read_to_string(&options.output).unwrap_or_default();
    std::fs::write(&options.output, with_section(&page, HEADING, &section))
        .with_context(|| format!("cannot write {}", options.output.display()))?;
    print!("{section}");
    Ok(ExitCode::SUCCESS)
}

fn captured(bytes: &[u8], capture: &Path) -> anyhow::Result<(Seen, usize)> {
    let mut sitting = Sitting::begin(Setup {
        format: Format {
            sample_rate_hz: RATE_HZ,
            channels: 1,
            encoding: Encoding::I16,
        },
        channel: drive::Channel::Auto,
        settings: score::Settings::default(),
        capture: capture.to_owned(),
    })?;
    let mut seen = Seen {
        waited_ms: Vec::new(),
        with_digit_ms: Vec::new(),
        without_ms: Vec::new(),
        memory_mb: Vec::new(),
        lost: 0,
    };
    for (index, block) in bytes.chunks(2 * BLOCK).enumerate() {
        let arrival = Arrival {
            at: Some(Duration::from_millis(10 * (index as u64 + 1))),
            first_frame: Some((index * BLOCK) as u64),
        };
        let began = Instant::now();
        let events = sitting.push(block, arrival)?;
        let took_ms = 1000.0 * began.elapsed().as_secs_f64();
        let now_s = (index + 1) as f64 * BLOCK as f64 / f64::from(RATE_HZ);
        let mut told = false;
        for event in &events {
            match event {
                Event::Digit(heard) | Event::Doubtful(heard) => {
                    told = true;
                    seen.waited_ms.push(1000.0 * (now_s - heard.digit.end_s));
                }
                Event::Lost(_) => seen.lost += 1,
                _ => {}
            }
        }
        if told {
            seen.with_digit_ms.push(took_ms);
        } else {
            seen.without_ms.push(took_ms);
        }
        if (index + 1) % 6000 == 0 {
            seen.memory_mb.push(resident_mb()?);
        }
    }
    let (record, error) = sitting.finish();
    ensure!(error.is_none(), "{error:?}");
    let digits = match &record.outcome {
        Ok(measured) => measured.scored.digits.len(),
        Err(unreadable) => anyhow::bail!("{}", unreadable.message),
    };
    Ok((seen, digits))
}

fn resident_mb() -> anyhow::Result<f64> {
    let text = std::fs::read_to_string("/proc/self/statm")?;
    let pages: f64 = text
        .split_whitespace()
        .nth(1)
        .context("no resident size in /proc/self/statm")?
        .parse()?;
    Ok(pages * 4096.0 / 1e6)
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

fn section(seen: &Seen, minutes: usize, digits: usize) -> String {
    let row = |name: &str, values: &[f64], decimals: usize| {
        let [least, median, most] = spread(values);
        format!("| {name} | {least:.decimals$} | {median:.decimals$} | {most:.decimals$} |\n")
    };
    let total: Vec<f64> = seen
        .waited_ms
        .iter()
        .map(|waited| waited - 180.0 + spread(&seen.with_digit_ms)[2])
        .collect();
    let memory = |index: usize| seen.memory_mb.get(index).copied().unwrap_or(f64::NAN);
    format!(
        "{HEADING}\n\n\
         Made by `cargo run --release -p xtask -- live --minutes {minutes}`: {minutes} minutes of busy dialling (one digit after the \
         other, 48 kHz mono) pushed through a sitting in blocks of 10 ms, capture file included. To reach: 300 ms after the pause \
         that ends a digit (180 ms at 10 pps) has passed.\n\n\
         | {} digits told while listening, {digits} in the report | least | median | largest |\n|---|---|---|---|\n\
         {}{}{}{}\n\
         Resident memory after the first minute {:.1} MB, after the last {:.1} MB (the source in memory included); gaps noticed: \
         {}; the capture is the source, byte by byte. What a sound server adds before (a block of some 10-20 ms) is not in it.\n",
        seen.waited_ms.len(),
        row(
            "last make to the block with which it is told, ms of samples",
            &seen.waited_ms,
            0
        ),
        row("time that this block takes, ms", &seen.with_digit_ms, 2),
        row("time that any other block takes, ms", &seen.without_ms, 3),
        row(
            "after the pause of 180 ms, ms (the slowest block taken)",
            &total,
            0
        ),
        memory(0),
        memory(seen.memory_mb.len().saturating_sub(1)),
        seen.lost,
    )
}
