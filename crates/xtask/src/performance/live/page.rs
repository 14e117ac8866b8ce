//! The bench page in a real Chromium, whose microphone is a sound server that plays a recording.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use anyhow::{Context, ensure};
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::time::{Instant, sleep_until};

use super::kept::Kept;
use super::sound_server::server::{RATE, SoundServer};
use super::sound_server::{PLAYED, played};
use super::{busy, delay_row, from_to, reached, resident_mb, row, samples};

#[allow(
    dead_code,
    clippy::unwrap_used,
    reason = "that of the page's tests, which may panic"
)]
#[path = "../../../../live/tests/support/browser.rs"]
mod browser;

use browser::{Browser, Serving};

pub(super) const HEADING: &str = "## Live, on the bench page";

/// From the opening of the microphone to the first block that the page takes, at most.
const BEGINNING_S: usize = 10;
/// The player is heard by then.
const BEFORE: Duration = Duration::from_millis(500);
/// After the last digit, for it to be told.
const TAIL: Duration = Duration::from_secs(5);

/// Notes when blocks reach the page, and when a digit that the program told is on the screen: a message that is handed on from
/// the frame in which the digit is drawn comes after that frame.
const HOOKS: &str = "
    window.seen = { rate: NaN, digits: [], gaps: [] };
    let recent = [];
    const known = new Set();
    const Plain = window.WebSocket;
    window.WebSocket = class extends Plain {
        constructor(...all) {
            super(...all);
            this.addEventListener('message', (event) => hear(JSON.parse(event.data)));
        }
        send(data) {
            if (typeof data === 'string') window.seen.rate = JSON.parse(data).sample_rate_hz ?? window.seen.rate;
            else arrived(new DataView(data));
            super.send(data);
        }
    };
    function arrived(block) {
        const frames = (block.byteLength - 24) / 4 / block.getUint16(4, true);
        const end = block.getFloat64(8, true) + frames;
        const at = block.getFloat64(16, true);
        recent.push([at, at - 1000 * end / window.seen.rate]);
        // Samples that the browser leaves out shift all that follow, so only the last seconds say how late blocks come at best.
        while (recent[0][0] < at - 5000) recent.shift();
    }
    function hear(message) {
        if (message.say === 'caution' && message.code === 'gap') window.seen.gaps.push(message.words);
        if (message.say !== 'digit' || known.has(message.number)) return;
        known.add(message.number);
        const told = performance.now();
        const least = Math.min(...recent.map(([, late]) => late));
        requestAnimationFrame(() => {
            const after = new MessageChannel();
            after.port1.onmessage = () => window.seen.digits.push({ told, least, drawn: performance.now(), make: 1000 * message.breaks_s.at(-1)[1],
                right: document.querySelector('#digit').textContent.startsWith(message.digit ?? '?') });
            after.port2.postMessage(null);
        });
    }";

/// What the hooks noted; times in milliseconds.
#[derive(Deserialize)]
struct Seen {
    digits: Vec<Shown>,
    gaps: Vec<String>,
}

/// A digit on the screen.
#[derive(Deserialize)]
struct Shown {
    told: f64,
    least: f64,
    drawn: f64,
    make: f64,
    right: bool,
}

#[derive(Default)]
struct Memory {
    program_mb: Vec<f64>,
    heap_mb: Vec<f64>,
}

/// Measures, and gives the section.
pub(super) fn section(minutes: usize) -> anyhow::Result<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let tool = super::super::built(&root)?;
    let folder = tempfile::tempdir()?;
    let mut server = SoundServer::new(folder.path());
    let source = played(folder.path(), minutes)?;
    server.start();
    server.add_microphone();
    let mut serve = Command::new(&tool);
    serve
        .args(["serve", "--limits", "us-1956-later", "-q", "--keep"])
        .arg(folder.path());
    let serving = Serving::start(serve);
    let mut measured = None;
    browser::with_system(server.program(browser::DRIVER, &[]), &[], async |browser| {
        measured = Some(sitting(browser, &server, &serving, minutes).await);
    });
    let (seen, memory) = measured.context("the browser did nothing")??;
    drop(serving);
    let capture = folder.path().join("bench-001.wav");
    let kept = Kept::of(&source, &samples(&capture)?, 0, BEGINNING_S * RATE)
        .context("the recording is not in the capture")?;
    let digits = digits(&capture)?;
    ensure!(
        seen.digits.iter().all(|digit| digit.right),
        "a digit was told and not shown"
    );
    Ok(text(&seen, &memory, &kept, minutes, digits))
}

async fn sitting(
    browser: &Browser,
    server: &SoundServer,
    serving: &Serving,
    minutes: usize,
) -> anyhow::Result<(Seen, Memory)> {
    browser.before_pages(HOOKS).await;
    browser.open(&serving.url).await;
    browser.wait_for("#state", "Ready").await;
    // It plays before it is heard: an input that gives nothing but zeros tells nobody that its two channels are one.
    let mut player = server.player(PLAYED).spawn()?;
    tokio::time::sleep(BEFORE).await;
    browser.press(" ").await;
    browser.wait_for("#state", "Capturing").await;
    let began = Instant::now();
    let mut memory = Memory::default();
    for minute in 1..=minutes {
        // A little earlier: the recording began before the capture, and its end is no gap.
        sleep_until(began + Duration::from_secs(60 * minute as u64) - TAIL).await;
        memory.program_mb.push(resident_mb(serving.id())?);
        memory.heap_mb.push(heap_mb(browser).await?);
    }
    let gaps = browser.value("return window.seen.gaps").await;
    tokio::time::sleep(2 * TAIL).await;
    let mut seen = browser.value("return window.seen").await;
    seen["gaps"] = gaps;
    browser.press(" ").await;
    browser.wait_for("#kept", "The sound is kept in").await;
    ensure!(player.wait()?.success(), "the player failed");
    let seen = serde_json::from_value(seen).context("the page's notes cannot be read")?;
    Ok((seen, memory))
}

/// What the page's scripts hold after their garbage is gone, in MB.
async fn heap_mb(browser: &Browser) -> anyhow::Result<f64> {
    let ask = |command: &str| json!({ "cmd": command, "params": {} });
    browser.own(ask("HeapProfiler.collectGarbage")).await;
    let usage: Value = browser.own(ask("Runtime.getHeapUsage")).await;
    let bytes = usage["usedSize"].as_f64();
    Ok(bytes.context("the browser does not tell its heap")? * 1e-6)
}

fn digits(capture: &Path) -> anyhow::Result<usize> {
    let options = drive::Options::default();
    let record = drive::record(
        capture,
        &options,
        &score::Settings::default(),
        &mut |_, _| {},
    );
    match record.outcome {
        Ok(measured) => Ok(measured.scored.digits.len()),
        Err(unreadable) => anyhow::bail!("{}", unreadable.message),
    }
}

fn text(seen: &Seen, memory: &Memory, kept: &Kept, minutes: usize, digits: usize) -> String {
    let of = |delay: fn(&Shown) -> f64| -> Vec<f64> { seen.digits.iter().map(delay).collect() };
    let told = of(|digit| digit.told - digit.make - digit.least);
    let drawn = of(|digit| digit.drawn - digit.make - digit.least);
    let drawing = of(|digit| digit.drawn - digit.told);
    format!(
        "{HEADING}\n\n\
         Made by `cargo run --release -p xtask -- live --through page --minutes {minutes}`; needs Chromium with its driver, and PulseAudio. {minutes} \
         minutes of the same dialling, played into a null sink of PulseAudio as time passes; Chromium (without a window) has it as its \
         microphone, by way of a second source. The page takes it, sends it to `fingerstop serve`, which measures, and draws. A time of \
         zero is when the last make could have reached the page at the earliest, by the quickest block of the five seconds before; what \
         a sound card, the server and the browser need before that is not in it: some 20-50 ms.\n\n\
         | {} digits shown, {digits} in the report | least | median | largest |\n|---|---|---|---|\n{}{}{}\n\
         Within 300 ms after the pause: {} digits; {}. {}; gaps told: {}. Resident \
         memory of the program: {}. Heap of the page's scripts, without garbage: {}; what grows there is what was found, digit by digit.\n",
        seen.digits.len(),
        delay_row("figures at the page, after the pause of 180 ms, ms", &told),
        row("drawing them, ms", &drawing, 0),
        delay_row(
            "figures on the screen, after the pause of 180 ms, ms",
            &drawn
        ),
        reached(&drawn),
        busy(),
        kept.words(RATE as u32),
        seen.gaps.len(),
        from_to(&memory.program_mb),
        from_to(&memory.heap_mb),
    )
}
