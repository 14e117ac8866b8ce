//! `listen` through a sound server that plays a recording into a null sink.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use anyhow::{Context, ensure};

use super::super::content::Content;
use super::kept::Kept;
use super::{busy, delay_row, from_to, reached, resident_mb, samples};

#[allow(
    clippy::unwrap_used,
    reason = "that of the tests of `listen`, which may panic"
)]
#[path = "../../../../fingerstop/tests/support/sound_server.rs"]
pub(super) mod server;

use server::{INPUT, RATE, SoundServer};

pub(super) const HEADING: &str = "## Live, through a sound server";

/// Before the first sample is played and after the last: a client can lose the start, and the last digit is to be told.
const AROUND: Duration = Duration::from_secs(2);
/// A player may fade its first moments in.
const FADED: usize = RATE / 4;

/// What another program heard of the same input, and when.
struct Witness {
    samples: Vec<i16>,
    /// When its first sample was there, by the quickest of all blocks.
    began: Instant,
}

/// A line of text and when it was written.
struct Line {
    at: Instant,
    text: String,
}

/// Measures, and gives the section.
pub(super) fn section(minutes: usize) -> anyhow::Result<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let tool = super::super::built(&root)?;
    let folder = tempfile::tempdir()?;
    let mut server = SoundServer::new(folder.path());
    let source = played(folder.path(), minutes)?;
    server.start();
    let heard = heard(&server, &tool, source.len())?;
    let captured = folder.path().join("capture.wav");
    let capture = samples(&captured)?;
    let kept = Kept::of(&source[FADED..], &capture, 0, 10 * RATE)
        .context("the recording is not in the capture")?;
    let (delays_ms, digits) = delays(&heard, &captured, &capture)?;
    Ok(text(&heard, &delays_ms, &kept, minutes, digits))
}

/// What is played, in a folder.
pub(super) const PLAYED: &str = "play.raw";

/// Writes it, and gives its samples.
pub(super) fn played(folder: &Path, minutes: usize) -> anyhow::Result<Vec<i16>> {
    let source = folder.join("source.wav");
    Content::Busy.write(minutes, &source)?;
    let source = samples(&source)?;
    let raw: Vec<u8> = source.iter().flat_map(|x| x.to_le_bytes()).collect();
    std::fs::write(folder.join(PLAYED), raw)?;
    Ok(source)
}

struct Heard {
    lines: Vec<Line>,
    warnings: Vec<Line>,
    witness: Witness,
    memory_mb: Vec<f64>,
}

/// Listens while the recording is played.
fn heard(server: &SoundServer, tool: &str, length: usize) -> anyhow::Result<Heard> {
    let device = format!("--device={INPUT}");
    let piped = |mut command: Command| {
        command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
    };
    let arguments = [
        "listen",
        &device,
        "--limits",
        "us-1956-later",
        "-o",
        "capture.wav",
        "--no-progress",
    ];
    let mut listening = piped(server.program(tool, &arguments)).context("cannot start listen")?;
    let arguments = [
        &device,
        "--rate=48000",
        "--channels=1",
        "--format=s16le",
        "--latency-msec=10",
        "--raw",
    ];
    let mut witness = piped(server.program("parec", &arguments)).context("cannot start parec")?;
    let over = AtomicBool::new(false);
    thread::scope(|scope| {
        let output = listening.stdout.take().context("listen has no output")?;
        let lines = scope.spawn(move || stamped(output));
        let errors = listening.stderr.take().context("listen has no errors")?;
        let errors = scope.spawn(move || stamped(errors));
        let output = witness.stdout.take().context("parec has no output")?;
        let witnessed = scope.spawn(move || witnessed(output));
        let over = &over;
        let id = listening.id();
        let memory = scope.spawn(move || memory(id, over));
        thread::sleep(AROUND);
        let player = server.player(PLAYED).status();
        thread::sleep(AROUND);
        over.store(true, Ordering::Relaxed);
        interrupt(&listening)?;
        let _ = witness.kill();
        let (_, _) = (listening.wait()?, witness.wait()?);
        let ended = "a thread that reads panicked";
        let heard = Heard {
            lines: lines.join().ok().context(ended)?,
            warnings: errors.join().ok().context(ended)?,
            witness: witnessed
                .join()
                .ok()
                .flatten()
                .context("parec gave nothing")?,
            memory_mb: memory.join().ok().context(ended)?,
        };
        ensure!(player?.success(), "the player failed");
        ensure!(heard.witness.samples.len() > length, "parec ended early");
        Ok(heard)
    })
}

fn interrupt(child: &Child) -> anyhow::Result<()> {
    let id = child.id().to_string();
    let sent = Command::new("kill").args(["-INT", &id]).status()?;
    ensure!(sent.success(), "listen has ended by itself");
    Ok(())
}

fn stamped(output: impl Read) -> Vec<Line> {
    let line = |text| Line {
        at: Instant::now(),
        text,
    };
    BufReader::new(output)
        .lines()
        .map_while(Result::ok)
        .map(line)
        .collect()
}

fn witnessed(mut output: impl Read) -> Option<Witness> {
    let mut bytes = Vec::new();
    let mut block = [0; 1 << 16];
    let mut began: Option<Instant> = None;
    while let Ok(count @ 1..) = output.read(&mut block) {
        let now = Instant::now();
        bytes.extend_from_slice(&block[..count]);
        let length = Duration::from_secs_f64(bytes.len() as f64 / 2.0 / RATE as f64);
        let earliest = now.checked_sub(length)?;
        began = Some(began.map_or(earliest, |began| began.min(earliest)));
    }
    let samples = bytes
        .chunks_exact(2)
        .map(|x| i16::from_le_bytes([x[0], x[1]]))
        .collect();
    Some(Witness {
        samples,
        began: began?,
    })
}

/// Resident memory, minute by minute.
fn memory(process: u32, over: &AtomicBool) -> Vec<f64> {
    let began = Instant::now();
    let mut memory = Vec::new();
    while !over.load(Ordering::Relaxed) {
        thread::sleep(Duration::from_millis(100));
        if began.elapsed() > Duration::from_secs(60) * (memory.len() as u32 + 1) {
            memory.extend(resident_mb(process));
        }
    }
    memory
}

/// From the last make of each digit, as the other program heard it, to its line of text; and the digits of the report.
fn delays(heard: &Heard, file: &Path, capture: &[i16]) -> anyhow::Result<(Vec<f64>, usize)> {
    let witness = &heard.witness;
    // A place well inside, where nothing but the recording is.
    let at = 10 * RATE;
    let needle = capture
        .get(at..at + 64)
        .context("the capture is too short")?;
    let there = witness
        .samples
        .windows(64)
        .position(|piece| piece == needle);
    let shift = there.context("the two heard different things")? as f64 - at as f64;
    let record = drive::record(
        file,
        &drive::Options::default(),
        &score::Settings::default(),
        &mut |_, _| {},
    );
    let digits = match record.outcome {
        Ok(measured) => measured.scored.digits,
        Err(unreadable) => anyhow::bail!("{}", unreadable.message),
    };
    let delays = heard.lines.iter().filter_map(|line| {
        let (number, rest) = line.text.split_once(".  ")?;
        let number: usize = number.trim().parse().ok()?;
        let digit = digits.get(number - 1)?;
        let named = rest.starts_with(&format!("{}  ", digit.digit.as_deref()?));
        let make_s = digit.end_s + shift / RATE as f64;
        let delay_s = line.at.duration_since(witness.began).as_secs_f64() - make_s;
        // A line that says something anew is no news.
        (named && !rest.contains("(revised")).then_some(1000.0 * delay_s)
    });
    Ok((delays.collect(), digits.len()))
}

fn text(heard: &Heard, delays_ms: &[f64], kept: &Kept, minutes: usize, digits: usize) -> String {
    // That what was played ends without a sound is told as a gap too, and is none.
    let end_s = kept.end as f64 / RATE as f64 - 0.1;
    let lost = heard
        .warnings
        .iter()
        .filter(|line| gap_at_s(&line.text).is_some_and(|at_s| at_s < end_s))
        .count();
    format!(
        "{HEADING}\n\n\
         Made by `cargo run --release -p xtask -- live --through sound-server --minutes {minutes}`; needs PulseAudio. {minutes} minutes \
         of the same dialling, played into a null sink as time passes, and heard by `fingerstop listen` from its monitor. A time of \
         zero is when the last make could have reached a program at the earliest, by the quickest block that another client of the \
         server (`parec`) had; what a sound card needs before is not in it.\n\n\
         | {} digits told while listening, {digits} in the report | least | median | largest |\n|---|---|---|---|\n{}\n\
         Within 300 ms after the pause: {} digits; {}. {}; gaps told: {lost}. Resident memory: {}.\n",
        delays_ms.len(),
        delay_row("line of text, after the pause of 180 ms, ms", delays_ms),
        reached(delays_ms),
        busy(),
        kept.words(RATE as u32),
        from_to(&heard.memory_mb),
    )
}

/// Where samples are missing, if that is what is warned of.
fn gap_at_s(warning: &str) -> Option<f64> {
    let (_, after) = warning.split_once("missing at ")?;
    after.split_once(" s ")?.0.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_is_read_from_its_warning() {
        let warning =
            "fingerstop: 480 samples are missing at 12.46 s (the input lost them): dial it again";
        assert_eq!(gap_at_s(warning), Some(12.46));
        assert_eq!(gap_at_s("fingerstop: channel 1 clips"), None);
    }
}
