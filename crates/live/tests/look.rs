//! The bench page as it looks: three widths, two themes, read by a machine for what a machine can tell. The pictures are left
//! in the build folder for the eyes.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use support::microphone::{Take, microphone};
use support::{Served, browser, browser::Browser};

/// Telephone, tablet and desktop.
const WIDTHS: [(u32, u32); 3] = [(390, 844), (900, 1100), (1440, 900)];

/// A dial that is adjusted step by step: too slow, nearer, right.
const ADJUSTED: [(f64, f64); 4] = [(8.2, 66.0), (9.0, 64.5), (9.48, 63.0), (10.06, 61.6)];

/// What a machine can tell of a page: text too small or too faint, controls without a name, parts out of sight.
const FAULTS: &str = r#"
const faults = [];
const parts = (colour) => { const all = colour.match(/[\d.]+/g).map(Number); return all.length < 4 ? [...all, 1] : all; };
const light = ([r, g, b]) => { const f = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b); };
const behind = (element) => {
  for (let at = element; at; at = at.parentElement) { const colour = parts(getComputedStyle(at).backgroundColor); if (colour[3] > 0.99) return colour; }
  return [255, 255, 255, 1];
};
const seen = (element) => element.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && !element.closest('.unseen');
if (document.scrollingElement.scrollWidth > document.documentElement.clientWidth) faults.push(`wider than the screen: ${document.scrollingElement.scrollWidth}`);
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const words = walker.currentNode.textContent.trim(), element = walker.currentNode.parentElement;
  if (!words || !seen(element) || element.matches('option') || element.closest('[disabled]')) continue;
  const style = getComputedStyle(element), size = parseFloat(style.fontSize);
  if (size < 12) faults.push(`too small (${size} px): ${words}`);
  const [a, b] = [light(parts(style.color)), light(behind(element))];
  const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
  if (contrast < (large ? 3 : 4.5)) faults.push(`too faint (${contrast.toFixed(2)}): ${words}`);
}
for (const control of document.querySelectorAll('button, select, input, a, iframe, canvas, summary')) {
  if (!seen(control)) continue;
  const name = control.getAttribute('aria-label') || control.title || control.innerText || control.labels?.[0]?.innerText;
  if (!name?.trim()) faults.push(`no name: ${control.outerHTML.slice(0, 80)}`);
  const box = control.getBoundingClientRect();
  if (control.matches('button') && (box.height < 24 || box.width < 24)) faults.push(`too small to hit: ${control.id}`);
}
for (const [id, least] of [['digit', 140], ['speed', 60], ['percent', 60], ['word', 36]]) {
  const size = parseFloat(getComputedStyle(document.getElementById(id)).fontSize);
  if (size < least) faults.push(`${id} cannot be read from two metres: ${size} px`);
}
const word = document.getElementById('word');
if (word.scrollWidth > word.clientWidth) faults.push(`the verdict is wider than its block: ${word.innerText}`);
const ids = [...document.querySelectorAll('[id]')].map((element) => element.id);
if (new Set(ids).size !== ids.length) faults.push('an id stands twice');
return faults;"#;

async fn dress(browser: &Browser, theme: &str, width: u32, height: u32) {
    browser
        .own(json!({ "cmd": "Emulation.setEmulatedMedia",
            "params": { "features": [{ "name": "prefers-color-scheme", "value": theme }] } }))
        .await;
    browser
        .own(json!({ "cmd": "Emulation.setDeviceMetricsOverride",
            "params": { "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500 } }))
        .await;
    // A bar beside the page would take its width from the picture and not from the page.
    browser
        .own(json!({ "cmd": "Emulation.setScrollbarsHidden", "params": { "hidden": true } }))
        .await;
    // Two frames: one to lay out, one to draw.
    tokio::time::sleep(std::time::Duration::from_millis(250)).await;
}

async fn picture(browser: &Browser, path: &Path, whole: bool) {
    let shot = browser
        .own(json!({ "cmd": "Page.captureScreenshot", "params": { "captureBeyondViewport": whole, "format": "png" } }))
        .await;
    let decoded = decoded(shot["data"].as_str().unwrap());
    std::fs::write(path, decoded).unwrap();
}

/// Base64 (RFC 4648), of which a test needs no more than this.
fn decoded(text: &str) -> Vec<u8> {
    let value = |byte: u8| match byte {
        b'A'..=b'Z' => byte - b'A',
        b'a'..=b'z' => byte - b'a' + 26,
        b'0'..=b'9' => byte - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let mut bytes = Vec::new();
    for four in text.trim_end_matches('=').as_bytes().chunks(4) {
        let sum = four
            .iter()
            .fold(0_u32, |sum, byte| sum << 6 | u32::from(value(*byte)));
        let sum = sum << (6 * (4 - four.len()));
        bytes.extend_from_slice(&sum.to_be_bytes()[1..four.len()]);
    }
    bytes
}

/// That nothing was found wrong with the pictures in a folder.
fn assert_none(faults: &[String], pictures: &Path) {
    let none: [String; 0] = [];
    assert_eq!(faults, none, "pictures in {}", pictures.display());
}

#[test]
fn the_page_can_be_read_in_three_widths_and_two_themes() {
    let pictures = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    let takes = ADJUSTED.map(|(speed_pps, percent_break)| Take::zero(speed_pps, percent_break));
    // Long enough to look at the page before the recording is over.
    let (_sounds, sound) = microphone(&takes, 25.0);
    let mut served = Served::judging("us-1956-later");
    browser::with(&sound, async |browser| {
        browser.open(&served.url).await;
        browser.wait_for("#state", "Ready").await;
        let mut faults: Vec<String> = Vec::new();
        let mut look = async |state: &str| {
            for theme in ["light", "dark"] {
                for (width, height) in WIDTHS {
                    dress(browser, theme, width, height).await;
                    let name = format!("bench-page-{state}-{width}-{theme}");
                    let found: Value = browser.value(FAULTS).await;
                    let found = found.as_array().unwrap();
                    faults.extend(found.iter().map(|fault| format!("{name}: {fault}")));
                    picture(browser, &pictures.join(format!("{name}.png")), true).await;
                }
            }
        };
        look("before").await;
        browser
            .value("document.querySelector('#cautions').open = false")
            .await;
        browser.press(" ").await;
        browser.wait_for("#state", "Capturing").await;
        browser
            .wait_until("document.querySelectorAll('#attempts tr').length === 4")
            .await;
        // A busy machine has gaps of its own; who looks has read that.
        browser
            .value("document.querySelectorAll('#alerts button').forEach((close) => close.click())")
            .await;
        dress(browser, "light", 1280, 1240).await;
        picture(browser, &pictures.join("bench-page.png"), false).await;
        browser.press("g").await;
        look("after").await;
        browser.press("p").await;
        browser.wait_for("#properties", "level").await;
        look("probe").await;
        browser.press(" ").await;
        assert_none(&faults, &pictures);
    });
    served.stop();
}

/// One take for each word that a digit can get, by limits of 9.5 to 10.5 pps and 60 to 64 %: what is nearer to a limit than the
/// clock of a recorder is good for is conditional.
const VERDICTS: [(Take, &str, &str); 6] = [
    (zero(8.2), "fail", "✗ FAIL"),
    (zero(9.4996), "conditional-fail", "✗? CONDITIONAL FAIL"),
    (zero(9.5004), "conditional-pass", "✓? CONDITIONAL PASS"),
    (zero(10.0), "pass", "✓ PASS"),
    (
        Take {
            pulses: 1,
            ..zero(10.0)
        },
        "not-judged",
        "NOT JUDGED",
    ),
    (
        Take {
            is_torn: true,
            ..zero(10.0)
        },
        "not-sure",
        "NOT SURE",
    ),
];

const fn zero(speed_pps: f64) -> Take {
    Take::zero(speed_pps, 62.0)
}

#[test]
fn every_verdict_can_be_told_from_the_others() {
    let pictures = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    browser::patiently(|| {
        let (_sounds, sound) = microphone(&VERDICTS.map(|(take, ..)| take), 4.0);
        let mut served = Served::judging("us-1956-later");
        browser::with(&sound, async |browser| {
            browser.open(&served.url).await;
            browser.wait_for("#state", "Ready").await;
            browser.press(" ").await;
            browser
                .wait_until("document.querySelectorAll('#attempts tr').length === 6")
                .await;
            browser.press(" ").await;
            browser.wait_for("#kept", "The sound is kept in").await;
            let mut faults: Vec<String> = Vec::new();
            for (number, (_, name, word)) in VERDICTS.iter().enumerate() {
                for (theme, (width, height)) in [
                    ("light", WIDTHS[2]),
                    ("dark", WIDTHS[0]),
                    ("light", WIDTHS[1]),
                ] {
                    dress(browser, theme, width, height).await;
                    // As it was when this digit was the latest one.
                    let show = format!(
                        "return Promise.all([import('/figures.js'), import('/page.js')]).then(([figures, {{ page }}]) => {{
                             window.all ??= page.attempts;
                             page.attempts = window.all.slice(0, {number} + 1);
                             figures.redraw();
                             document.querySelectorAll('#alerts button').forEach((close) => close.click());
                         }})"
                    );
                    browser.value(&show).await;
                    assert_eq!(browser.text("#word").await, *word);
                    let picture_name = format!("bench-page-{name}-{width}-{theme}");
                    let found: Value = browser.value(FAULTS).await;
                    let found = found.as_array().unwrap();
                    faults.extend(found.iter().map(|fault| format!("{picture_name}: {fault}")));
                    let path = pictures.join(format!("{picture_name}.png"));
                    picture(browser, &path, false).await;
                }
            }
            // An input that is refused is said over everything else.
            browser
                .start_altered(
                    &served.url,
                    "navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('no', 'NotReadableError'); };",
                )
                .await;
            browser
                .wait_for("#alerts", "taken by another program")
                .await;
            for (theme, (width, height)) in [("light", WIDTHS[2]), ("dark", WIDTHS[0])] {
                dress(browser, theme, width, height).await;
                let found: Value = browser.value(FAULTS).await;
                faults.extend(
                    found
                        .as_array()
                        .unwrap()
                        .iter()
                        .map(|fault| format!("refused: {fault}")),
                );
                let name = format!("bench-page-refused-{width}-{theme}.png");
                picture(browser, &pictures.join(name), false).await;
            }
            assert_none(&faults, &pictures);
        });
        served.stop();
    });
}
