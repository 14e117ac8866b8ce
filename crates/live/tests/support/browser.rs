//! A real Chromium, without a window, whose microphone is a WAV file or what the system has.

use std::cell::Cell;
use std::io::{BufRead, BufReader};
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use fantoccini::error::CmdError;
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::{Value, json};
use tempfile::TempDir;

/// Longest wait for anything on the page.
const PATIENCE: Duration = Duration::from_secs(40);

/// One browser at a time: two of them and a build leave too little for a capture without gaps.
static ONE: Mutex<()> = Mutex::new(());

/// A browser with its driver; both end with it.
pub(crate) struct Browser {
    pub(crate) client: Client,
    driver: Child,
    _profile: TempDir,
}

/// Sends a command of the browser's own protocol.
#[derive(Debug)]
struct OwnProtocol(Value);

impl WebDriverCompatibleCommand for OwnProtocol {
    fn endpoint(
        &self,
        base: &url::Url,
        session: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        base.join(&format!(
            "session/{}/goog/cdp/execute",
            session.unwrap_or_default()
        ))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.0.to_string()))
    }
}

/// What the browser wrote on its console since it was asked last.
#[derive(Debug)]
struct ConsoleLog;

impl WebDriverCompatibleCommand for ConsoleLog {
    fn endpoint(
        &self,
        base: &url::Url,
        session: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/se/log", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (
            http::Method::POST,
            Some(json!({ "type": "browser" }).to_string()),
        )
    }
}

/// Keeps what went wrong in the scripts of a page.
const KEEPS_ERRORS: &str = "
    window.errors = [];
    addEventListener('error', (event) => window.errors.push(event.message));
    addEventListener('unhandledrejection', (event) => window.errors.push(String(event.reason)));
    addEventListener('securitypolicyviolation', (event) => window.errors.push(`policy: ${event.violatedDirective}`));";

thread_local! {
    /// The last capture had gaps.
    static HAD_GAPS: Cell<bool> = const { Cell::new(false) };
}

/// Tries that a test gets where the machine was too busy to capture without gaps: the page says so, and then no digit
/// is sure. Any other failure is one at once.
const TRIES: usize = 3;

/// Runs a whole test, again if its capture had gaps.
pub(crate) fn patiently(test: impl Fn()) {
    for left in (0..TRIES).rev() {
        HAD_GAPS.set(false);
        match catch_unwind(AssertUnwindSafe(&test)) {
            Ok(()) => return,
            Err(failed) if left == 0 || !HAD_GAPS.get() => resume_unwind(failed),
            Err(_) => {}
        }
    }
}

/// Runs a test with a browser whose microphone is `sound`.
#[allow(dead_code, reason = "not every program has a file for it")]
pub(crate) fn with<F>(sound: &Path, test: F)
where
    F: AsyncFnOnce(&Browser),
{
    let arguments = [
        "--use-fake-device-for-media-stream".to_owned(),
        // Once, not in a loop: what comes then is known.
        format!(
            "--use-file-for-fake-audio-capture={}%noloop",
            sound.display()
        ),
    ];
    with_system(Command::new(DRIVER), &arguments, test);
}

/// Starts a browser when it is told to.
pub(crate) const DRIVER: &str = "chromedriver";

/// Runs a test with a browser that has the microphone of the system, as its `driver` finds it, and further arguments.
pub(crate) fn with_system<F>(driver: Command, arguments: &[String], test: F)
where
    F: AsyncFnOnce(&Browser),
{
    let _one = ONE.lock().unwrap_or_else(PoisonError::into_inner);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let browser = runtime.block_on(Browser::start(driver, arguments));
    let tested = catch_unwind(AssertUnwindSafe(|| {
        runtime.block_on(async {
            browser.before_pages(KEEPS_ERRORS).await;
            test(&browser).await;
            assert_eq!(
                browser.errors().await,
                json!([]),
                "the page's scripts failed"
            );
        });
    }));
    // The alert goes where the page is opened anew; the doubt of the digit stays.
    let gaps = "return document.querySelector('[data-code=gap]') !== null
        || document.body.innerText.includes('samples are missing')";
    HAD_GAPS.set(runtime.block_on(browser.value(gaps)) == Value::Bool(true));
    let _ = runtime.block_on(browser.client.clone().close());
    if let Err(failed) = tested {
        resume_unwind(failed);
    }
}

impl Browser {
    async fn start(mut driver: Command, more: &[String]) -> Browser {
        let profile = tempfile::tempdir().unwrap();
        let mut driver = driver
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("these tests want Chromium and its driver: as root, `cargo xtask test` installs them; elsewhere install the packages chromium and chromium-driver");
        let mut output = BufReader::new(driver.stdout.take().unwrap());
        let port = port(&mut output);
        // The driver goes on talking; nobody must block it.
        std::thread::spawn(move || std::io::copy(&mut output, &mut std::io::sink()));
        let mut arguments = vec![
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-quic".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            format!("--user-data-dir={}", profile.path().display()),
            "--use-fake-ui-for-media-stream".to_owned(),
            "--window-size=1400,1000".to_owned(),
        ];
        arguments.extend_from_slice(more);
        let mut capabilities = Capabilities::new();
        capabilities.insert(
            "goog:chromeOptions".to_owned(),
            json!({ "args": arguments }),
        );
        capabilities.insert("goog:loggingPrefs".to_owned(), json!({ "browser": "ALL" }));
        let client = ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .unwrap();
        Browser {
            client,
            driver,
            _profile: profile,
        }
    }

    /// Runs `script` in every page before the page's own scripts.
    pub(crate) async fn before_pages(&self, script: &str) {
        self.own(json!({ "cmd": "Page.addScriptToEvaluateOnNewDocument", "params": { "source": script } }))
            .await;
    }

    /// A command of the browser's own protocol.
    pub(crate) async fn own(&self, command: Value) -> Value {
        self.client.issue_cmd(OwnProtocol(command)).await.unwrap()
    }

    /// What the browser wrote on its console since it was asked last.
    #[allow(dead_code, reason = "not every test file asks")]
    pub(crate) async fn console(&self) -> Value {
        self.client.issue_cmd(ConsoleLog).await.unwrap()
    }

    pub(crate) async fn open(&self, url: &str) {
        self.client.goto(url).await.unwrap();
    }

    /// Opens the page anew, runs a script in it once it is ready, and starts listening.
    #[allow(dead_code, reason = "not every test file alters the page")]
    pub(crate) async fn start_altered(&self, url: &str, script: &str) {
        self.open("about:blank").await;
        self.open(url).await;
        self.wait_for("#state", "Ready").await;
        self.value(script).await;
        self.press(" ").await;
    }

    /// Presses a key as a hand would, on whatever has the focus.
    pub(crate) async fn press(&self, key: &str) {
        let body = self.client.find(Locator::Css("body")).await.unwrap();
        body.send_keys(key).await.unwrap();
    }

    /// What a script returns.
    pub(crate) async fn value(&self, script: &str) -> Value {
        let answer: Result<Value, CmdError> = self.client.execute(script, Vec::new()).await;
        answer.unwrap()
    }

    /// What went wrong in the scripts of the page.
    async fn errors(&self) -> Value {
        self.value("return window.errors ?? []").await
    }

    /// The text of an element as it is shown.
    pub(crate) async fn text(&self, css: &str) -> String {
        let script = format!("return document.querySelector({css:?})?.innerText ?? ''");
        self.value(&script).await.as_str().unwrap().to_owned()
    }

    /// Waits until the text of an element contains `part`.
    pub(crate) async fn wait_for(&self, css: &str, part: &str) -> String {
        let until = Instant::now() + PATIENCE;
        loop {
            let text = self.text(css).await;
            if text.contains(part) {
                return text;
            }
            if Instant::now() > until {
                let (errors, all) = (self.errors().await, self.text("body").await);
                panic!(
                    "{css} does not say {part:?} but {text:?}; errors {errors}; the page:\n{all}"
                );
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Waits until a script returns true.
    pub(crate) async fn wait_until(&self, script: &str) {
        let until = Instant::now() + PATIENCE;
        while self.value(&format!("return Boolean({script})")).await != Value::Bool(true) {
            if Instant::now() > until {
                let (errors, all) = (self.errors().await, self.text("body").await);
                panic!("{script} never came true; errors {errors}; the page:\n{all}");
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Only what was started here: the driver ends its browser.
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// A command that serves a page, whose address is the first line it prints; it ends with this.
#[allow(dead_code, reason = "the page's own tests serve it themselves")]
pub(crate) struct Serving {
    child: Child,
    pub(crate) url: String,
}

#[allow(dead_code, reason = "the page's own tests serve it themselves")]
impl Serving {
    pub(crate) fn start(mut command: Command) -> Serving {
        let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
        let mut url = String::new();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        output.read_line(&mut url).unwrap();
        url.truncate(url.trim_end().len());
        Serving { child, url }
    }

    /// Number of its process.
    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn port(output: &mut impl BufRead) -> u16 {
    let mut line = String::new();
    loop {
        line.clear();
        assert!(output.read_line(&mut line).unwrap() > 0, "the driver ended");
        let port = line
            .rsplit_once("on port ")
            .and_then(|(_, port)| port.trim_end().trim_end_matches('.').parse::<u16>().ok());
        if let Some(port) = port.filter(|port| *port > 0) {
            return port;
        }
    }
}
