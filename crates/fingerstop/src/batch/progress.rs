//! How far a batch is: count, rate and time left, on a terminal only.

use std::fmt::Write;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

use super::args::BatchArgs;
use super::inputs;

/// Progress over all recordings.
pub(crate) struct Progress(ProgressBar);

impl Progress {
    /// Counts the inputs first, if there is a terminal to show it on.
    pub(crate) fn new(args: &BatchArgs) -> Progress {
        if !args.quiet.shows_progress() {
            return Progress(ProgressBar::hidden());
        }
        let total = if args.merge {
            None
        } else {
            inputs::count(&args.paths)
        };
        let bar = match total {
            Some(total) => ProgressBar::new(total),
            None => ProgressBar::no_length(),
        };
        bar.set_draw_target(ProgressDrawTarget::stderr_with_hz(5));
        let template = if total.is_some() {
            "{pos} of {len} recordings, {rate} a second, {eta} left"
        } else {
            "{pos} recordings, {rate} a second"
        };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.with_key("rate", rate));
        }
        bar.enable_steady_tick(Duration::from_millis(500));
        Progress(bar)
    }

    /// One more is done.
    pub(crate) fn step(&self) {
        self.0.inc(1);
    }

    /// Takes the line away.
    pub(crate) fn clear(&self) {
        self.0.finish_and_clear();
    }
}

/// Recordings a second: whole ones, since nobody reads the rest.
fn rate(state: &ProgressState, line: &mut dyn Write) {
    // What cannot be shown of a progress line is no reason to stop.
    let _ = write!(line, "{:.0}", state.per_sec());
}
