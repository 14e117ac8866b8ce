//! Progress on a terminal, and nowhere else.

use std::io::{Write, stderr};
use std::time::{Duration, Instant};

use super::args::CheckArgs;

/// Nothing is shown before this: most recordings are done by then.
const PATIENCE: Duration = Duration::from_millis(600);
const INTERVAL: Duration = Duration::from_millis(100);

/// A line on standard error that says how far the work is.
pub(crate) struct Progress {
    wanted: bool,
    files: usize,
    current: usize,
    started: Instant,
    shown: Option<Instant>,
}

impl Progress {
    /// Progress over all inputs of a run.
    pub(crate) fn new(args: &CheckArgs) -> Self {
        let wanted = args.quiet.shows_progress();
        Progress {
            wanted,
            files: args.files.len(),
            current: 0,
            started: Instant::now(),
            shown: None,
        }
    }

    /// Progress that shows nothing.
    pub(crate) fn none() -> Self {
        Progress {
            wanted: false,
            files: 0,
            current: 0,
            started: Instant::now(),
            shown: None,
        }
    }

    /// The next input begins.
    pub(crate) fn next_file(&mut self) {
        self.current += 1;
    }

    /// Shows how far the current input is, at a bounded rate. `part` is 0 to 1, if its length is known.
    pub(crate) fn show(&mut self, name: &str, part: Option<f64>) {
        let due = self
            .shown
            .map_or(self.started.elapsed() > PATIENCE, |shown| {
                shown.elapsed() > INTERVAL
            });
        if !self.wanted || !due {
            return;
        }
        let percent = part
            .map(|part| format!(" {:3.0} %", 100.0 * part.min(1.0)))
            .unwrap_or_default();
        let name: String = name.chars().filter(|c| !c.is_control()).take(50).collect();
        let _ = write!(
            stderr(),
            "\r\u{1b}[K{} of {}: {name}{percent}",
            self.current,
            self.files
        );
        self.shown = Some(Instant::now());
    }

    /// Takes the line away.
    pub(crate) fn clear(&mut self) {
        if self.shown.take().is_some() {
            let _ = write!(stderr(), "\r\u{1b}[K");
            self.started = Instant::now();
        }
    }
}
