//! The bench page: a local web page in front of the same detector.
//!
//! The browser captures and sends samples; everything that is measured or judged is done here, in the program. Only
//! what the page itself needs is served, all of it built in: no name that a client sends is ever a path.

mod assets;
mod desk;
mod dropped;
mod files;
mod gate;
mod guide;
mod http;
mod protocol;
mod reports;
mod server;
mod show;
mod socket;
mod talk;

use std::path::PathBuf;
use std::sync::Arc;

use drive::Channel;
use score::{LimitSet, Settings};

use crate::Calibrations;

pub use server::{Page, Stopper};

/// What the page works with.
#[derive(Clone, Debug)]
pub struct Bench {
    /// Where captures and figures are kept.
    pub folder: PathBuf,
    /// Limits, plan, tap and the rest, as they are when a page is opened.
    pub settings: Settings,
    /// Which channel of an input is measured.
    pub channel: Channel,
    /// What is known of inputs.
    pub calibrations: Arc<dyn Calibrations>,
    /// The tolerance of the clock was given for all inputs, so what is known of one does not count.
    pub clock_is_given: bool,
    /// The sets that the page offers; what is chosen is looked up here by its name.
    pub limit_sets: Vec<LimitSet>,
    /// Name of the dial when a page is opened.
    pub dial_id: Option<String>,
    /// Version of the program, for reports.
    pub version: String,
}
