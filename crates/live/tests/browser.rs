//! The bench page in a real Chromium whose microphone is a recording of known truth.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::path::{Path, PathBuf};
use std::time::Duration;

use drive::Options;
use report::{Measured, clock_joined, with_uncertainty};
use score::Settings;
use serde_json::json;
use support::browser::Browser;
use support::{Served, browser};
use synth::{Dial, Recorder, Scenario};
use tempfile::TempDir;

/// The slow dial of these tests, out of the limits by far: nothing the browser does turns its fail into a pass.
const SLOW_PPS: f64 = 8.2;
const LIMITS: &str = "us-1956-later";

/// A recording that Chromium plays as its microphone: 44.1 kHz, with time to begin the capture before it dials.
fn sound(numbers: &[u8], lead_in_s: f64) -> (TempDir, PathBuf) {
    let scenario = Scenario {
        dial: Dial {
            speed_pps: SLOW_PPS,
            percent_break: 62.0,
            ..Dial::default()
        },
        numbers: numbers.to_vec(),
        pauses_s: vec![1.6],
        recorder: Recorder {
            noise_db: Some(50.0),
            sample_rate_hz: 44_100.0,
            ..Recorder::default()
        },
        lead_in_s,
        tail_s: 4.0,
        ..Scenario::default()
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("microphone.wav");
    let rendered = synth::render(&scenario);
    synth::write_wav(&rendered, synth::Encoding::S16, &path).unwrap();
    (folder, path)
}

fn settings() -> Settings {
    Settings {
        limits: Some(score::limits::find(LIMITS).unwrap().clone()),
        ..Settings::default()
    }
}

/// What `check` measures in a file.
fn checked(path: &Path) -> Measured {
    let record = drive::record(path, &Options::default(), &settings(), &mut |_, _| {});
    *record.outcome.unwrap()
}

/// What the page shows of a digit, from what `check` says of the kept capture.
fn figures(measured: &Measured, index: usize) -> (String, String) {
    let digit = &measured.scored.digits[index];
    let speed = digit.speed_pps.unwrap();
    let percent = digit.percent_break_as_read(&settings()).unwrap();
    (
        format!(
            "{} pps",
            with_uncertainty(speed.value, clock_joined(speed, 100.0))
        ),
        format!("{} %", with_uncertainty(percent.value, percent.u95)),
    )
}

/// Keeps what a test must reach: streams and sockets of the page.
const HOOKS: &str = "
    window.streams = []; window.sockets = [];
    const given = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    navigator.mediaDevices.getUserMedia = async (wanted) => {
        window.wanted = wanted;
        const stream = await given(wanted);
        window.streams.push(stream);
        return stream;
    };
    const Plain = window.WebSocket;
    window.WebSocket = class extends Plain { constructor(...all) { super(...all); window.sockets.push(this); } };";

/// A browser that hands out no tracks, as most do not: the page takes the audio graph.
const NO_TRACKS: &str = "delete window.MediaStreamTrackProcessor;";

#[test]
fn digit_figures_and_verdict_are_those_of_check() {
    figures_and_verdict_are_those_of_check("");
}

#[test]
fn the_audio_graph_gives_the_same_where_no_track_is_handed_out() {
    figures_and_verdict_are_those_of_check(NO_TRACKS);
}

fn figures_and_verdict_are_those_of_check(browser_is: &str) {
    browser::patiently(|| {
        let (_sounds, sound) = sound(&[10, 3], 5.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.before_pages(HOOKS).await;
            browser.before_pages(browser_is).await;
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            browser.wait_for("#state", "Capturing").await;
            browser.wait_for("#digit", "0").await;
            assert!(browser.text("#word").await.to_lowercase().contains("fail"));
            let reason = browser.text("#reason").await;
            assert!(
                reason.contains("pulsing speed") && reason.contains("below 9.5-10.5 pps"),
                "{reason}"
            );
            let zero = (
                browser.text("#speed-u95").await,
                browser.text("#percent-u95").await,
            );
            assert_eq!(browser.text("#speed").await, "8.20");
            let aim = browser.text("#speed-aim").await;
            assert_eq!(aim, "1.80 pps below the middle");
            browser.wait_for("#digit", "3").await;
            let three = (
                browser.text("#speed-u95").await,
                browser.text("#percent-u95").await,
            );
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured 0 3: fail").await;

            let kept = served.kept("wav");
            assert_eq!(kept.len(), 1);
            let spec = hound::WavReader::open(&kept[0]).unwrap().spec();
            assert_eq!(spec.channels, 1, "Chromium hands a mono input out twice");
            let kept = checked(&kept[0]);
            assert_eq!(kept.scored.digits.len(), 2);
            assert_eq!(figures(&kept, 0), zero);
            assert_eq!(figures(&kept, 1), three);

            // The microphone plays the recording sample by sample, so the figures are those of the recording; where the browser
            // resampled, they would still have to agree within the uncertainty of both.
            let source = checked(&sound);
            for (ours, theirs) in kept.scored.digits.iter().zip(&source.scored.digits) {
                assert_eq!(
                    (&ours.digit, ours.pulses, ours.sure),
                    (&theirs.digit, theirs.pulses, true)
                );
                assert_eq!(ours.verdict, theirs.verdict);
                for (ours, theirs) in [
                    (ours.speed_pps, theirs.speed_pps),
                    (ours.percent_break, theirs.percent_break),
                ] {
                    let (ours, theirs) = (ours.unwrap(), theirs.unwrap());
                    let apart = (ours.value - theirs.value).abs();
                    assert!(apart <= ours.u95.hypot(theirs.u95), "{ours:?} {theirs:?}");
                }
            }

            // All voice processing was asked to be off.
            let wanted = browser.value("return window.wanted.audio").await;
            for name in ["echoCancellation", "noiseSuppression", "autoGainControl"] {
                assert_eq!(wanted[name], json!(false));
            }
        });
        served.stop();
    });
}

#[test]
fn voice_processing_that_the_browser_keeps_on_is_refused() {
    let (_sounds, sound) = sound(&[1], 1.0);
    let served = Served::new();
    let cases = [
        ("echoCancellation", "echo cancellation"),
        ("noiseSuppression", "noise suppression"),
        ("autoGainControl", "automatic gain control"),
        ("voiceIsolation", "voice isolation"),
    ];
    browser::with(&sound, async |browser| {
        for (name, words) in cases {
            browser.start_altered(&served.url, &format!(
                    "const plain = MediaStreamTrack.prototype.getSettings;
                     MediaStreamTrack.prototype.getSettings = function() {{ return {{ ...plain.call(this), {name}: true }}; }};"
                )).await;
            let alert = browser.wait_for("#alerts", "The browser keeps").await;
            assert!(
                alert.contains(words) && alert.contains("nothing is measured"),
                "{alert}"
            );
            assert_eq!(browser.text("#state").await, "Ready");
        }
    });
    assert!(
        served.kept("wav").is_empty(),
        "a refused input leaves no file"
    );
}

#[test]
fn an_input_that_cannot_be_had_is_explained() {
    let (_sounds, sound) = sound(&[1], 1.0);
    let served = Served::new();
    let cases = [
        ("NotAllowedError", "was not allowed"),
        ("NotFoundError", "There is no input"),
        ("NotReadableError", "taken by another program"),
        ("OverconstrainedError", "chosen input is gone"),
    ];
    browser::with(&sound, async |browser| {
        for (name, words) in cases {
            browser.start_altered(&served.url, &format!(
                    "navigator.mediaDevices.getUserMedia = async () => {{ throw new DOMException('no', '{name}'); }};"
                )).await;
            browser.wait_for("#alerts", words).await;
        }
        // Browsers give no input to a page that came over a network without encryption.
        browser
            .start_altered(
                &served.url,
                "Object.defineProperty(window, 'isSecureContext', { value: false })",
            )
            .await;
        browser
            .wait_for("#alerts", "the address is not this computer itself")
            .await;
        // Without the address that was printed there is nothing at all.
        browser.open("about:blank").await;
        browser.open(&format!("http://{}/", served.local)).await;
        browser.wait_for("#alerts", "lacks its token").await;
        browser.open("about:blank").await;
        browser
            .open(&format!("http://{}/#{}", served.local, "0".repeat(32)))
            .await;
        browser
            .wait_for("#alerts", "Nothing answers under this address")
            .await;
    });
}

#[test]
fn an_input_that_is_unplugged_is_said_and_comes_back() {
    browser::patiently(|| {
        let (_sounds, sound) = sound(&[4, 4], 4.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.before_pages(HOOKS).await;
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            browser.wait_for("#digit", "4").await;
            browser
            .value("const track = window.streams[0].getAudioTracks()[0]; track.stop(); track.dispatchEvent(new Event('ended'));")
            .await;
            browser.wait_for("#alerts", "The input is gone").await;
            browser.wait_for("#state", "Waiting for the input").await;
            assert_eq!(served.kept("wav").len(), 1);
            browser
                .value("navigator.mediaDevices.dispatchEvent(new Event('devicechange'))")
                .await;
            browser.wait_for("#state", "Capturing").await;
            browser
                .wait_until("!document.querySelector('[data-code=unplugged]')")
                .await;
            browser
                .wait_until("document.querySelectorAll('#attempts tr').length === 2")
                .await;
            browser.press(" ").await;
            browser.wait_for("#state", "Stopped").await;
        });
        let kept = served.kept("wav");
        assert_eq!(kept.len(), 2);
        assert_eq!(checked(&kept[0]).scored.digits.len(), 1);
        served.stop();
    });
}

/// Captures two digits; after the first a script sees to it that samples are missing in the second, which is never sure then, and
/// the gap is marked.
fn second_digit_is_doubted(script: &str, meanwhile: impl AsyncFn(&Browser)) {
    browser::patiently(|| {
        let (_sounds, sound) = sound(&[5, 10], 4.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.before_pages(HOOKS).await;
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            browser.wait_for("#digit", "5").await;
            browser.value(script).await;
            meanwhile(browser).await;
            browser.wait_for("#word", "NOT SURE").await;
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured").await;
        });
        let kept = checked(&served.kept("wav")[0]);
        let sure: Vec<bool> = kept.scored.digits.iter().map(|digit| digit.sure).collect();
        assert_eq!(sure, [true, false], "a digit across a gap is never sure");
        let mut warnings = kept.warnings.iter();
        let marked = warnings.any(|warning| warning.code == "marked-gap");
        assert!(marked, "{:?}", kept.warnings);
        served.stop();
    });
}

#[test]
fn an_input_that_the_system_mutes_leaves_a_marked_gap() {
    second_digit_is_doubted(
        // In the middle of the second digit: when the level falls, the loop is open.
        "const track = window.streams[0].getAudioTracks()[0];
         const watching = setInterval(() => {
             const level = document.querySelector('#level-word').textContent.match(/-(\\d+) dB/);
             if (level && Number(level[1]) > 25) { clearInterval(watching); track.dispatchEvent(new Event('mute')); }
         }, 5);",
        async |browser| {
            browser
                .wait_for("#alerts", "The system has muted the input")
                .await;
            browser.wait_for("#alerts", "the input was away").await;
            browser
                .value("window.streams[0].getAudioTracks()[0].dispatchEvent(new Event('unmute'));")
                .await;
            browser
                .wait_until("!document.querySelector('[data-code=muted]')")
                .await;
        },
    );
}

#[test]
fn blocks_that_the_browser_dropped_are_a_marked_gap() {
    second_digit_is_doubted(
        // From the first block on in which the loop is open, stamps are half a second late.
        "const { copyTo } = AudioData.prototype;
         const stamp = Object.getOwnPropertyDescriptor(AudioData.prototype, 'timestamp').get;
         let late = 0;
         AudioData.prototype.copyTo = function(plane, options) {
             copyTo.call(this, plane, options);
             if (plane.every((sample) => Math.abs(sample) < 0.1)) late = 500000;
         };
         Object.defineProperty(AudioData.prototype, 'timestamp', { get() { return stamp.call(this) + late; } });",
        async |_| {},
    );
}

#[test]
fn a_socket_that_is_cut_costs_nothing_when_it_comes_back() {
    browser::patiently(|| {
        let (_sounds, sound) = sound(&[10, 6], 4.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.before_pages(HOOKS).await;
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            // Two seconds into the capture, before the digit is over.
            browser.wait_for("#state", "Capturing").await;
            tokio::time::sleep(Duration::from_millis(2500)).await;
            browser.value("window.sockets.at(-1).close()").await;
            browser
                .wait_for("#alerts", "connection to the program was cut")
                .await;
            browser.wait_for("#state", "Capturing").await;
            browser.wait_for("#digit", "6").await;
            browser
                .wait_until("!document.querySelector('[data-code=cut]')")
                .await;
            assert_eq!(
                browser
                    .value("return document.querySelectorAll('#attempts tr').length")
                    .await,
                json!(2)
            );
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured 0 6: fail").await;
        });
        let kept = served.kept("wav");
        assert_eq!(kept.len(), 1, "the same capture goes on");
        let kept = checked(&kept[0]);
        // A machine that is too busy for its own microphone may have gaps of its own; a cut inside a digit makes none.
        assert!(kept.scored.digits.iter().all(|digit| digit.sure));
        served.stop();
    });
}

#[test]
fn a_page_that_is_reloaded_finds_its_sitting() {
    browser::patiently(|| {
        let (_sounds, sound) = sound(&[6], 4.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            browser.wait_for("#digit", "6").await;
            let figures = browser.text("#speed-u95").await;
            browser.client.clone().refresh().await.unwrap();
            browser.wait_for("#kept", "Captured 6: fail").await;
            browser.wait_for("#digit", "6").await;
            assert_eq!(browser.text("#speed-u95").await, figures);
            browser.press(" ").await;
            browser.wait_for("#state", "Capturing").await;
            browser.press(" ").await;
            browser.wait_for("#state", "Stopped").await;
        });
        assert_eq!(served.kept("wav").len(), 2);
        served.stop();
    });
}

#[test]
fn a_page_that_was_put_to_sleep_says_what_is_missing() {
    let (_sounds, sound) = sound(&[3], 3.0);
    let mut served = Served::judging(LIMITS);
    browser::with(&sound, async |browser| {
        browser.before_pages(NO_TRACKS).await;
        browser
            .before_pages(
                "window.contexts = [];
                 const Plain = window.AudioContext;
                 window.AudioContext = class extends Plain { constructor(...all) { super(...all); window.contexts.push(this); } };",
            )
            .await;
        browser.open(&served.url).await;
        browser.wait_for("#state", "Ready").await;
        browser.press(" ").await;
        browser.wait_for("#digit", "3").await;
        // The browser pauses the capture and wakes it late, as it does to a page in the background.
        browser
            .value(
                "Object.defineProperty(document, 'visibilityState', { value: 'hidden', configurable: true });
                 document.dispatchEvent(new Event('visibilitychange'));
                 const context = window.contexts.at(-1), wake = context.resume.bind(context);
                 context.resume = () => new Promise((woken) => setTimeout(() => wake().then(woken), 1500));
                 context.suspend();",
            )
            .await;
        browser
            .wait_for("#alerts", "This page was in the background")
            .await;
        browser
            .wait_for("#alerts", "The browser has paused the capture")
            .await;
        browser
            .wait_until("!document.querySelector('[data-code=suspended]')")
            .await;
        browser
            .wait_for("#alerts", "fewer samples came than time passed")
            .await;
        browser.press(" ").await;
        browser.wait_for("#kept", "Captured").await;
    });
    let kept = checked(&served.kept("wav")[0]);
    let marked = kept
        .warnings
        .iter()
        .any(|warning| warning.code == "marked-gap");
    assert!(marked, "{:?}", kept.warnings);
    served.stop();
}

#[test]
fn another_sample_rate_begins_another_file() {
    // What the browser says of the input, and what the blocks say themselves.
    another_rate(
        NO_TRACKS,
        "const plain = MediaStreamTrack.prototype.getSettings;
         MediaStreamTrack.prototype.getSettings = function() { return { ...plain.call(this), sampleRate: 48000 }; };",
    );
    another_rate(
        "",
        "Object.defineProperty(AudioData.prototype, 'sampleRate', { get() { return 48000; } });",
    );
}

fn another_rate(browser_is: &str, now: &str) {
    let (_sounds, sound) = sound(&[2], 4.0);
    let mut served = Served::new();
    browser::with(&sound, async |browser| {
        browser.before_pages(HOOKS).await;
        browser.before_pages(browser_is).await;
        browser.open(&served.url).await;
        browser.wait_for("#state", "Ready").await;
        browser.press(" ").await;
        browser.wait_for("#state", "Capturing").await;
        browser.wait_for("#level-word", "dB").await;
        browser.value(now).await;
        browser.wait_for("#alerts", "from 44100 to 48000 Hz").await;
        browser.wait_for("#state", "Capturing").await;
        browser.press(" ").await;
        browser.wait_for("#state", "Stopped").await;
    });
    let kept = served.kept("wav");
    assert_eq!(kept.len(), 2);
    let rate = |path: &PathBuf| hound::WavReader::open(path).unwrap().spec().sample_rate;
    assert_eq!((rate(&kept[0]), rate(&kept[1])), (44_100, 48_000));
    served.stop();
}

#[test]
fn the_guided_run_asks_and_holds_the_count_against_what_was_asked() {
    browser::patiently(|| {
        let (_sounds, sound) = sound(&[1, 2, 4], 4.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            browser.wait_for("#state", "Capturing").await;
            browser.press("g").await;
            browser.wait_for("#asked", "Dial 1").await;
            browser.wait_for("#asked", "Dial 2").await;
            browser.wait_for("#asked", "Dial 3").await;
            let said = browser.wait_for("#asked", "again").await;
            assert_eq!(said, "Dial 3 again: 4 pulses came, it has 3");
            assert_eq!(browser.text("#ten li.wrong").await, "3 ✗");
            browser.press("n").await;
            browser.wait_for("#asked", "Dial 4").await;
            browser.press("r").await;
            browser.wait_for("#shown-title", "Report").await;
            browser
                .wait_until("document.querySelector('#frame').contentWindow")
                .await;
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured 1 2 4").await;
        });
        served.stop();
    });
}

#[test]
fn a_recording_that_is_opened_on_the_page_gets_its_report() {
    let (_sounds, sound) = sound(&[10], 1.0);
    let folder = tempfile::tempdir().unwrap();
    let wrong = folder.path().join("no recording.wav");
    std::fs::write(&wrong, "this is no recording").unwrap();
    let served = Served::judging(LIMITS);
    browser::with(&sound, async |browser| {
        browser.open(&served.url).await;
        browser.wait_for("#state", "Ready").await;
        let field = browser
            .client
            .find(fantoccini::Locator::Css("#file"))
            .await
            .unwrap();
        browser
            .value("document.querySelector('#file').hidden = false")
            .await;
        field.send_keys(sound.to_str().unwrap()).await.unwrap();
        let title = browser.wait_for("#shown-title", "microphone.wav").await;
        assert_eq!(title, "microphone.wav: fail");
        browser.client.clone().enter_frame(0).await.unwrap();
        let report = browser.wait_for("body", "Figures").await;
        assert!(
            report.contains("FAIL") && report.contains("microphone.wav"),
            "{report}"
        );
        // A report is a stranger to the page around it.
        assert_eq!(browser.value("return self.origin").await, json!("null"));
        browser.client.clone().enter_parent_frame().await.unwrap();
        field.send_keys(wrong.to_str().unwrap()).await.unwrap();
        browser
            .wait_for("#alerts", "cannot read no recording.wav")
            .await;
    });
    assert!(served.kept("wav").is_empty(), "what is dropped is not kept");
}
