//! The program alone: samples pushed through a sitting as fast as it takes them.

use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::ensure;
use live::{Arrival, Encoding, Event, Format, Setup, Sitting};

use super::super::content::{Content, RATE_HZ};
use super::{delay_row, resident_mb, row, samples};

pub(super) const HEADING: &str = "## Live capture";

/// Blocks as a sound server hands them out.
const BLOCK: usize = RATE_HZ as usize / 100;

struct Seen {
    /// Last make to the end of the block with which the digit was told, in milliseconds of samples.
    waited_ms: Vec<f64>,
    /// The same with what that block took.
    delay_ms: Vec<f64>,
    /// What a block took, in milliseconds: with a digit, and without.
    with_digit_ms: Vec<f64>,
    without_ms: Vec<f64>,
    /// Resident memory after each minute, in megabytes.
    memory_mb: Vec<f64>,
    lost: usize,
}

/// Measures, and gives the section.
pub(super) fn section(minutes: usize) -> anyhow::Result<String> {
    let folder = tempfile::tempdir()?;
    let source = folder.path().join("busy.wav");
    Content::Busy.write(minutes, &source)?;
    let source = samples(&source)?;
    let capture = folder.path().join("capture.wav");
    let (seen, digits) = captured(&source, &capture)?;
    ensure!(
        samples(&capture)? == source,
        "the capture is not what was pushed"
    );
    Ok(text(&seen, minutes, digits))
}

fn captured(source: &[i16], capture: &Path) -> anyhow::Result<(Seen, usize)> {
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
        delay_ms: Vec::new(),
        with_digit_ms: Vec::new(),
        without_ms: Vec::new(),
        memory_mb: Vec::new(),
        lost: 0,
    };
    for (index, block) in source.chunks(BLOCK).enumerate() {
        let block: Vec<u8> = block.iter().flat_map(|x| x.to_le_bytes()).collect();
        let arrival = Arrival {
            at: Some(Duration::from_millis(10 * (index as u64 + 1))),
            first_frame: Some((index * BLOCK) as u64),
        };
        let began = Instant::now();
        let events = sitting.push(&block, arrival)?;
        let took_ms = 1000.0 * began.elapsed().as_secs_f64();
        let now_s = (index + 1) as f64 * BLOCK as f64 / f64::from(RATE_HZ);
        let mut told = false;
        for event in &events {
            match event {
                Event::Digit(heard) | Event::Doubtful(heard) => {
                    told = true;
                    let waited_ms = 1000.0 * (now_s - heard.digit.end_s);
                    seen.waited_ms.push(waited_ms);
                    seen.delay_ms.push(waited_ms + took_ms);
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
            seen.memory_mb.push(resident_mb(std::process::id())?);
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

fn text(seen: &Seen, minutes: usize, digits: usize) -> String {
    let memory = |index: usize| seen.memory_mb.get(index).copied().unwrap_or(f64::NAN);
    format!(
        "{HEADING}\n\n\
         Made by `cargo run --release -p xtask -- live --through program --minutes {minutes}`: {minutes} minutes of busy dialling (one digit after the \
         other, 48 kHz mono) pushed through a sitting in blocks of 10 ms, capture file included. To reach: 300 ms after the pause \
         that ends a digit (180 ms at 10 pps) has passed.\n\n\
         | {} digits told while listening, {digits} in the report | least | median | largest |\n|---|---|---|---|\n\
         {}{}{}{}\n\
         Resident memory after the first minute {:.1} MB, after the last {:.1} MB (the source in memory included); gaps noticed: \
         {}; the capture is the source, byte by byte. What comes before and after, up to the screen, is in the sections on the bench page and on a sound server.\n",
        seen.waited_ms.len(),
        row(
            "last make to the block with which it is told, ms of samples",
            &seen.waited_ms,
            0
        ),
        row("time that this block takes, ms", &seen.with_digit_ms, 2),
        row("time that any other block takes, ms", &seen.without_ms, 3),
        delay_row(
            "after the pause of 180 ms, that time included, ms",
            &seen.delay_ms
        ),
        memory(0),
        memory(seen.memory_mb.len().saturating_sub(1)),
        seen.lost,
    )
}
