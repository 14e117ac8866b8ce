//! The pages that the command writes, in a real browser: light and dark, without a script, and on paper.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[allow(dead_code, reason = "these tests need a part of it")]
#[path = "../../live/tests/support/browser.rs"]
mod browser;
#[allow(dead_code, reason = "these tests need a part of it")]
#[path = "shell/session.rs"]
mod session;

use std::path::{Path, PathBuf};
use std::process::Command;

use browser::Browser;
use fantoccini::wd::PrintConfiguration;
use fantoccini::wd::PrintSize;
use serde_json::{Value, json};
use session::{Session, demo_recording};

/// A page, what it must say, and how many sheets of paper it may take.
struct Page {
    file: &'static str,
    arguments: Vec<String>,
    says: &'static [&'static str],
    sheets_at_most: usize,
}

fn pages() -> Vec<Page> {
    let page = |file, arguments: &[&str], says, sheets_at_most| Page {
        file,
        arguments: arguments.iter().map(|&word| word.to_owned()).collect(),
        says,
        sheets_at_most,
    };
    let demo = |name: &str| demo_recording(name);
    let limits = ["--limits", "us-1956-later"];
    vec![
        page(
            "digit.html",
            &[&["check", &demo("dial-c-high-break.wav")], &limits[..]].concat(),
            &[
                "FAIL",
                "digit 0, 10 pulses",
                "pulsing speed\t10.",
                "percent break\t72.",
                "60 to 64",
                "Advice",
            ],
            3,
        ),
        page(
            "number.html",
            &[
                &["check", &demo("number-1234567.wav"), "--dialled", "1234567"],
                &limits[..],
            ]
            .concat(),
            &[
                "PASS",
                "the count is right",
                "7\t7\t7\t10.1",
                "7th digit (7), 7 pulses",
                "7 dialled",
                "9.5 to 10.5",
            ],
            5,
        ),
        page(
            "measured.html",
            &["check", &demo("dial-e-chatter.wav")],
            &[
                "MEASURED, NOT JUDGED",
                "pulsing speed",
                "No limits were chosen",
            ],
            4,
        ),
        page(
            "receivers.html",
            &[
                &["check", &demo("dial-b-before.wav")],
                &limits[..],
                &["--for", "adapter", "--for", "jp-10"],
            ]
            .concat(),
            &[
                "Will it be understood",
                "WILL BE UNDERSTOOD",
                "WILL NOT BE UNDERSTOOD RELIABLY",
            ],
            3,
        ),
        page(
            "nothing.html",
            &[&["check", &demo("nothing-dialled.wav")], &limits[..]].concat(),
            &["NOT JUDGED", "no dialling found", "Next", "play it"],
            2,
        ),
        page(
            "torn.html",
            &["check", "torn.wav"],
            &["CANNOT BE READ", "torn.wav"],
            1,
        ),
        page(
            "compare.html",
            &[
                "compare",
                &demo("dial-b-before.wav"),
                &demo("dial-b-after.wav"),
            ],
            &["MEASURED", "pulsing speed, pps\t8.", "changed"],
            2,
        ),
        page(
            "sheet.html",
            &[
                &["batch", &demo("box"), "--name", "{dial}-{take}"],
                &limits[..],
            ]
            .concat(),
            &[
                "Contact sheet of 26 dials",
                "15 pass, 9 fail, 2 cannot be read",
                "judged by us-1956-later (grade A-): Notes on Distance Dialing",
                "10-level-crossing\n\nPASS",
                "CANNOT BE READ",
            ],
            3,
        ),
    ]
}

/// A folder with the pages in it.
fn written(pages: &[Page]) -> Session {
    let session = Session::new();
    session.write("torn.wav", "RIFF");
    for page in pages {
        let mut arguments: Vec<&str> = page.arguments.iter().map(String::as_str).collect();
        arguments.extend(["--html", page.file]);
        let ran = session.run(&arguments);
        assert!(session.path(page.file).is_file(), "{ran:?}");
    }
    session
}

/// Runs a test for each page, in one browser.
fn each_page(test: impl AsyncFn(&Browser, &Page, &Session)) {
    let pages = pages();
    let session = written(&pages);
    browser::with(
        Path::new(&demo_recording("nothing-dialled.wav")),
        async |browser| {
            for page in &pages {
                test(browser, page, &session).await;
            }
        },
    );
}

async fn open(browser: &Browser, page: &Page, session: &Session) {
    let path = session.path(page.file);
    browser.open(&format!("file://{}", path.display())).await;
}

/// The checks that `cargo xtask test` installs; `None` where it says that it could not, as without a network.
fn axe() -> Option<String> {
    if std::env::var_os("FINGERSTOP_TESTS_WITHOUT_AXE").is_some() {
        return None;
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../target/axe-core/node_modules/axe-core/axe.min.js");
    let script = std::fs::read_to_string(path).expect(
        "this test wants axe-core: `cargo xtask test` installs it from npm into target/axe-core",
    );
    Some(script)
}

/// A line for each rule that is broken, and the number of rules that hold.
const RUN_AXE: &str = "
    const done = arguments[0];
    const told = (rule) => `${rule.id}: ${rule.help}: ${rule.nodes.map((node) => node.html.slice(0, 140)).join(' | ')}`;
    axe.run().then((found) => done([found.violations.map(told), found.passes.length]), (error) => done([[String(error)], 0]));";

#[test]
fn pages_are_clean_in_light_and_dark() {
    let axe = axe();
    each_page(async |browser, page, session| {
        let mut papers = Vec::new();
        for theme in ["light", "dark"] {
            emulate(browser, "", theme).await;
            open(browser, page, session).await;
            papers.push(
                browser
                    .value("return getComputedStyle(document.body).backgroundColor")
                    .await,
            );
            let place = format!("{}, {theme}", page.file);
            if let Some(axe) = &axe {
                browser.value(axe).await;
                let found = browser.client.execute_async(RUN_AXE, Vec::new()).await;
                let found = found.unwrap();
                assert_eq!(found[0], json!([]), "{place}");
                assert!(
                    found[1].as_u64() > Some(5),
                    "{place}: axe looked at nothing"
                );
            }
            let fetched = "return performance.getEntriesByType('resource').map((one) => one.name)";
            assert_eq!(browser.value(fetched).await, json!([]), "{place}");
            assert_eq!(browser.console().await, json!([]), "{place}");
        }
        assert_ne!(papers[0], papers[1], "{} has no dark form", page.file);
    });
}

#[test]
fn pages_can_be_read_without_a_script() {
    each_page(async |browser, page, session| {
        emulate(browser, "", "light").await;
        // Cards out of sight are not laid out, and have no text yet.
        resize(browser, [1200.0, 12_000.0]).await;
        scripts(browser, true).await;
        open(browser, page, session).await;
        // Those that have controls show them now, so that their absence proves something.
        let has_tools = ["digit.html", "number.html", "measured.html", "sheet.html"];
        if has_tools.contains(&page.file) {
            assert!(tools(browser).await > 0, "{}: no script ran", page.file);
        }
        scripts(browser, false).await;
        open(browser, page, session).await;
        assert_eq!(tools(browser).await, 0, "{}: a script ran", page.file);
        let text = browser.text("body").await;
        for part in page.says {
            assert!(text.contains(part), "{}: {part:?} in\n{text}", page.file);
        }
        scripts(browser, true).await;
        assert_eq!(browser.console().await, json!([]), "{}", page.file);
    });
}

/// Controls in sight: a page shows them only where a script can serve them.
async fn tools(browser: &Browser) -> u64 {
    let script = "return [...document.querySelectorAll('.tools')].filter((one) => one.checkVisibility()).length";
    browser.value(script).await.as_u64().unwrap()
}

async fn scripts(browser: &Browser, allowed: bool) {
    let params = json!({ "value": !allowed });
    browser
        .own(json!({ "cmd": "Emulation.setScriptExecutionDisabled", "params": params }))
        .await;
}

async fn emulate(browser: &Browser, media: &str, theme: &str) {
    let features = json!([{ "name": "prefers-color-scheme", "value": theme }]);
    browser
        .own(json!({ "cmd": "Emulation.setEmulatedMedia", "params": { "media": media, "features": features } }))
        .await;
}

/// Margin on every side, in millimetres, as `page.css` sets it.
const MARGIN_MM: f64 = 12.0;

/// Words that are in sight, as they are shown.
const WORDS: &str = "
    const words = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const element = walker.currentNode.parentElement;
        if (element.closest('script, style, title, desc') || !element.checkVisibility()) continue;
        words.push(...walker.currentNode.textContent.split(/\\s+/));
    }
    return words.filter((word) => word);";

/// What reaches beyond the paper on the right, or is higher than a sheet and therefore cut in two.
const CUT: &str = "
    const [wide, high] = arguments, cut = [];
    for (const one of document.body.querySelectorAll('*')) {
        const box = one.getBoundingClientRect(), name = `${one.tagName} ${one.className.baseVal ?? one.className}`;
        if (!one.closest('svg > *') && box.right > wide + 0.6) cut.push(`${name} ends at ${box.right} of ${wide}`);
        if (one.matches('figure, article, table') && box.height > high) cut.push(`${name} is ${box.height} high of ${high}`);
    }
    return cut;";

#[test]
fn pages_print_whole() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    each_page(async |browser, page, session| {
        for (paper, size, wide_mm, high_mm) in [
            ("a4", PrintSize::A4, 210.0, 297.0),
            ("letter", PrintSize::US_LETTER, 215.9, 279.4),
        ] {
            let place = format!("{} on {paper}", page.file);
            open(browser, page, session).await;
            let sheet = [wide_mm, high_mm].map(|mm: f64| (mm - 2.0 * MARGIN_MM) / 25.4 * 96.0);
            assert_eq!(cut(browser, sheet).await, json!([]), "{place}");
            let words = browser.value(WORDS).await;
            emulate(browser, "", "dark").await;
            let configuration = PrintConfiguration::builder().size(size).build().unwrap();
            let printed = browser.client.print(configuration).await.unwrap();
            let pdf = folder.join(format!("{}-{paper}.pdf", page.file));
            std::fs::write(&pdf, printed).unwrap();
            let sheets = sheets(&pdf);
            assert!(
                (1..=page.sheets_at_most).contains(&sheets.len()),
                "{place} takes {} sheets",
                sheets.len()
            );
            let mut text = String::new();
            for sheet in &sheets {
                assert!(
                    (sheet.wide - wide_mm / 25.4 * 72.0).abs() < 1.5,
                    "{place}: {}",
                    sheet.wide
                );
                for word in &sheet.words {
                    assert!(sheet.holds(word), "{place}: beyond the margin: {word:?}");
                    text.push_str(&plain(&word.text));
                }
            }
            for word in words.as_array().unwrap() {
                let word = word.as_str().unwrap();
                assert!(text.contains(&plain(word)), "{place}: lost {word:?}");
            }
        }
    });
}

/// Lays the page out in a window of so many pixels.
async fn resize(browser: &Browser, [wide, high]: [f64; 2]) {
    let params = json!({ "width": wide.floor(), "height": high.floor(), "deviceScaleFactor": 1, "mobile": false });
    browser
        .own(json!({ "cmd": "Emulation.setDeviceMetricsOverride", "params": params }))
        .await;
}

/// Lays the page out as wide as the paper, and looks for what is cut off.
async fn cut(browser: &Browser, [wide, high]: [f64; 2]) -> Value {
    emulate(browser, "print", "light").await;
    resize(browser, [wide, high]).await;
    let sizes = vec![json!(wide.floor()), json!(high.floor())];
    let cut = browser.client.execute(CUT, sizes).await.unwrap();
    browser
        .own(json!({ "cmd": "Emulation.clearDeviceMetricsOverride", "params": {} }))
        .await;
    cut
}

/// As it is compared: how letters are spaced and in which case says nothing.
fn plain(text: &str) -> String {
    text.to_uppercase()
}

/// One printed sheet, in points.
struct Sheet {
    wide: f64,
    high: f64,
    words: Vec<Word>,
}

/// A word on it, with its box.
#[derive(Debug)]
struct Word {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
    text: String,
}

impl Sheet {
    /// Boxes of words are those of their fonts, which reach somewhat over the letters.
    fn holds(&self, word: &Word) -> bool {
        let margin = MARGIN_MM / 25.4 * 72.0 - 2.0;
        word.left > margin
            && word.right < self.wide - margin
            && word.top > margin
            && word.bottom < self.high - margin
    }
}

/// The sheets of a PDF as `pdftotext` reads them.
fn sheets(pdf: &Path) -> Vec<Sheet> {
    let output = Command::new("pdftotext")
        .args(["-bbox", &pdf.display().to_string(), "-"])
        .output()
        .expect("this test wants pdftotext: as root, `cargo xtask test` installs it; elsewhere install the package poppler-utils");
    let text = String::from_utf8(output.stdout).unwrap();
    let mut sheets = Vec::new();
    for line in text.lines().map(str::trim) {
        if line.starts_with("<page ") {
            sheets.push(Sheet {
                wide: number(line, "width"),
                high: number(line, "height"),
                words: Vec::new(),
            });
        } else if line.starts_with("<word ") {
            sheets.last_mut().unwrap().words.push(word(line));
        }
    }
    sheets
}

fn word(line: &str) -> Word {
    let (_, text) = line.split_once('>').unwrap();
    let text = text.strip_suffix("</word>").unwrap();
    let escapes = [
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&quot;", "\""),
        ("&apos;", "'"),
        ("&#39;", "'"),
        ("&amp;", "&"),
    ];
    Word {
        left: number(line, "xMin"),
        top: number(line, "yMin"),
        right: number(line, "xMax"),
        bottom: number(line, "yMax"),
        text: escapes
            .iter()
            .fold(text.to_owned(), |text, (from, to)| text.replace(from, to)),
    }
}

fn number(line: &str, name: &str) -> f64 {
    let (_, from) = line.split_once(&format!("{name}=\"")).unwrap();
    from.split_once('"').unwrap().0.parse().unwrap()
}
