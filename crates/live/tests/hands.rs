//! The bench page for busy hands, in a real Chromium: heard without looking up, a recording dropped on it, a screen that stays
//! on, a tab that was asleep.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::path::{Path, PathBuf};
use std::time::Duration;

use drive::Options;
use score::Settings;
use serde_json::{Value, json};
use support::microphone::{Take, microphone};
use support::{Served, browser, browser::Browser};

const LIMITS: &str = "us-1956-later";

/// Keeps the notes that the page plays.
const NOTES: &str = "
    window.notes = [];
    const Plain = window.OscillatorNode;
    window.OscillatorNode = class extends Plain {
        constructor(context, options) { super(context, options); window.notes.push([options.frequency, context.state]); }
    };";

async fn notes(browser: &Browser) -> Value {
    browser
        .value("return window.notes.map(([hertz]) => hertz)")
        .await
}

async fn attempts(browser: &Browser, count: usize) {
    let script = format!(
        "document.querySelectorAll('#attempts tr').length === {count} && \
         document.querySelector('#attempts td').textContent.startsWith('{count}')"
    );
    browser.wait_until(&script).await;
}

#[test]
fn pass_and_fail_are_heard_once_sound_is_on() {
    browser::patiently(|| {
        let takes = [8.2, 8.2, 10.0].map(|speed_pps| Take::zero(speed_pps, 62.0));
        let (_sounds, sound) = microphone(&takes, 4.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.before_pages(NOTES).await;
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            attempts(browser, 1).await;
            assert_eq!(notes(browser).await, json!([]), "off until it is wanted");
            browser.press("m").await;
            let pressed = "return document.querySelector('#sound').getAttribute('aria-pressed')";
            assert_eq!(browser.value(pressed).await, json!("true"));
            attempts(browser, 2).await;
            let fail = notes(browser).await;
            let hertz = |index: usize| fail[index].as_f64().unwrap();
            assert_eq!(fail.as_array().unwrap().len(), 2, "{fail}");
            assert!(hertz(0) > hertz(1), "a fail falls: {fail}");
            attempts(browser, 3).await;
            let all = notes(browser).await;
            let hertz = |index: usize| all[index].as_f64().unwrap();
            assert_eq!(all.as_array().unwrap().len(), 4, "{all}");
            assert!(hertz(2) < hertz(3), "a pass rises: {all}");
            let silent = "return window.notes.filter(([, state]) => state !== 'running').length";
            assert_eq!(
                browser.value(silent).await,
                json!(0),
                "what is played is heard"
            );
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured 0 0 0").await;
        });
        served.stop();
    });
}

#[test]
fn a_recording_that_is_dropped_on_the_page_gets_its_report() {
    let (_sounds, sound) = microphone(&[Take::zero(8.2, 62.0)], 1.0);
    let served = Served::judging(LIMITS);
    browser::with(&sound, async |browser| {
        browser.open(&served.url).await;
        browser.wait_for("#state", "Ready").await;
        let drag = async |kind: &str| {
            browser
                .own(json!({ "cmd": "Input.dispatchDragEvent", "params": { "type": kind, "x": 300, "y": 300,
                    "data": { "items": [], "files": [sound.to_str().unwrap()], "dragOperationsMask": 1 } } }))
                .await;
        };
        drag("dragEnter").await;
        drag("dragOver").await;
        browser.wait_for("#drop", "Drop the recording").await;
        drag("drop").await;
        let title = browser.wait_for("#shown-title", "microphone.wav").await;
        assert_eq!(title, "microphone.wav: fail");
        browser
            .wait_until("document.querySelector('#drop').hidden")
            .await;
        browser.client.clone().enter_frame(0).await.unwrap();
        browser.wait_for("body", "FAIL").await;
        browser.client.clone().enter_parent_frame().await.unwrap();
        // The report as a file, where the browser puts what it downloads.
        let downloads = tempfile::tempdir().unwrap();
        browser
            .own(
                json!({ "cmd": "Page.setDownloadBehavior", "params": { "behavior": "allow",
                "downloadPath": downloads.path().to_str().unwrap() } }),
            )
            .await;
        browser
            .value("document.querySelector('#keep-report').click()")
            .await;
        let report = downloaded(downloads.path()).await;
        assert_eq!(report.extension().unwrap(), "html");
        let text = std::fs::read_to_string(&report).unwrap();
        assert!(text.contains("FAIL") && text.trim_end().ends_with("</html>"));
        assert!(!text.contains("<script src") && !text.contains("http://127"));
    });
    assert!(served.kept("wav").is_empty(), "what is dropped is not kept");
}

/// The one file in a folder, once the browser has it whole.
async fn downloaded(folder: &Path) -> PathBuf {
    for _ in 0..100 {
        let files = std::fs::read_dir(folder).unwrap();
        let mut paths = files.map(|file| file.unwrap().path());
        if let Some(path) = paths.find(|path| path.extension().is_some_and(|kind| kind == "html")) {
            return path;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("the browser downloaded nothing");
}

/// Keeps what becomes of the lock on the screen.
const LOCKS: &str = "
    window.locks = [];
    navigator.wakeLock.request = async (kind) => {
        window.locks.push(kind);
        return { release: async () => { window.locks.push('released'); } };
    };";

#[test]
fn the_screen_stays_on_while_the_page_captures() {
    let (_sounds, sound) = microphone(&[Take::zero(10.0, 62.0)], 4.0);
    let mut served = Served::new();
    browser::with(&sound, async |browser| {
        browser.before_pages(LOCKS).await;
        browser.open(&served.url).await;
        browser.wait_for("#state", "Ready").await;
        let locks = async || browser.value("return window.locks").await;
        assert_eq!(locks().await, json!([]));
        browser.press(" ").await;
        browser.wait_for("#state", "Capturing").await;
        assert_eq!(locks().await, json!(["screen"]));
        // A browser takes the lock away while the page is out of sight; back in sight it is asked for again.
        browser
            .value("document.dispatchEvent(new Event('visibilitychange'))")
            .await;
        browser.wait_until("window.locks.length >= 2").await;
        browser.press(" ").await;
        browser.wait_for("#state", "Stopped").await;
        let locks = locks().await;
        let locks: Vec<&str> = locks
            .as_array()
            .unwrap()
            .iter()
            .map(|lock| lock.as_str().unwrap())
            .collect();
        let asked = locks.iter().filter(|lock| **lock == "screen").count();
        assert_eq!(locks.len() - asked, asked, "each is given back: {locks:?}");
        assert_eq!(locks.last(), Some(&"released"));
    });
    served.stop();
}

#[test]
fn a_tab_that_was_frozen_has_lost_nothing_or_says_so() {
    browser::patiently(|| {
        let takes = [10.0, 10.0].map(|speed_pps| Take::zero(speed_pps, 62.0));
        let (_sounds, sound) = microphone(&takes, 6.0);
        let mut served = Served::judging(LIMITS);
        browser::with(&sound, async |browser| {
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            attempts(browser, 1).await;
            let freeze = async |state: &str| {
                browser
                    .own(
                        json!({ "cmd": "Page.setWebLifecycleState", "params": { "state": state } }),
                    )
                    .await;
            };
            freeze("frozen").await;
            tokio::time::sleep(Duration::from_millis(1500)).await;
            freeze("active").await;
            attempts(browser, 2).await;
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured 0").await;
        });
        let kept = served.kept("wav");
        assert_eq!(kept.len(), 1);
        let record = drive::record(
            &kept[0],
            &Options::default(),
            &Settings::default(),
            &mut |_, _| {},
        );
        let measured = record.outcome.unwrap();
        let digit = &measured.scored.digits[1];
        let marked = measured
            .warnings
            .iter()
            .any(|warning| warning.code == "marked-gap");
        // Chromium leaves out what it froze: then that is marked, and the digit not sure.
        assert!(marked || digit.sure, "{digit:?}");
        if digit.sure {
            assert_eq!(digit.digit.as_deref(), Some("0"));
            let speed = digit.speed_pps.unwrap();
            assert!((speed.value - 10.0).abs() < 0.001, "{speed:?}");
        }
        served.stop();
    });
}
