//! One recording of a batch from its path to its line.

use std::path::Path;
use std::sync::{PoisonError, RwLock, RwLockReadGuard};

use report::json;
use report::{Record, Unreadable};
use score::Settings;
use serde::Serialize;

use super::args::BatchArgs;
use super::fingerprint::Fingerprint;
use super::inputs::{Found, Lost};
use super::ledger::{Ledger, Place};
use crate::check::measure;
use crate::check::progress::Progress;
use crate::stop::Stop;

const VERSION: &str = env!("CARGO_PKG_VERSION");

/// What came of one input.
pub(crate) enum Done {
    /// An earlier run measured it.
    Earlier(Place),
    /// Measured now: its path and its line.
    New(String, String),
}

/// What a line holds beside the measurement.
#[derive(Serialize)]
struct More {
    dial: Option<String>,
    take: Option<String>,
    source: Option<Fingerprint>,
}

/// How a batch measures.
pub(crate) struct Measurer<'a> {
    pub(crate) args: &'a BatchArgs,
    pub(crate) settings: &'a Settings,
    /// The options in words, kept with every result.
    pub(crate) options: &'a str,
}

impl Measurer<'_> {
    /// The file behind `found` as it is now; `None` when results are not kept.
    pub(crate) fn fingerprint(&self, found: &Found) -> Option<Fingerprint> {
        self.args.ndjson.as_ref()?;
        Fingerprint::of(found.as_ref().ok()?, self.options).ok()
    }

    /// The line of `found`: from an earlier run if its content is the same, else measured.
    pub(crate) fn line(&self, found: &Found, ledger: &RwLock<Ledger>) -> Result<Done, Stop> {
        let source = self.fingerprint(found);
        let input = shown(found);
        let known = source
            .as_ref()
            .and_then(|source| read(ledger).earlier(&input, source));
        if let Some(place) = known {
            return Ok(Done::Earlier(place));
        }
        let record = self.record(found);
        self.written(&record, found, source)
            .map(|line| Done::New(input, line))
    }

    fn record(&self, found: &Found) -> Record {
        match found {
            Ok(path) => measure::record(
                path,
                &self.args.measuring.options(),
                self.settings,
                &mut Progress::none(),
            ),
            Err(Lost { path, why }) => Record {
                input: path.display().to_string(),
                outcome: Err(Unreadable {
                    code: "not-found".to_owned(),
                    message: why.clone(),
                }),
            },
        }
    }

    fn written(
        &self,
        record: &Record,
        found: &Found,
        source: Option<Fingerprint>,
    ) -> Result<String, Stop> {
        let named = self.args.name.as_ref().zip(found.as_ref().ok());
        let named = named.and_then(|(pattern, path)| pattern.read(path));
        let more = More {
            dial: named.as_ref().map(|named| named.dial.clone()),
            take: named
                .map(|named| named.take)
                .filter(|take| !take.is_empty()),
            source,
        };
        let dial_id = more.dial.clone();
        let recording = json::recording(record, self.settings, dial_id.as_deref());
        json::line_with(&recording, self.settings, VERSION, &more)
            .map_err(|error| Stop::Failed(format!("cannot write JSON: {error}")))
    }
}

fn read(ledger: &RwLock<Ledger>) -> RwLockReadGuard<'_, Ledger> {
    ledger.read().unwrap_or_else(PoisonError::into_inner)
}

/// The path as it is shown and kept.
pub(crate) fn shown(found: &Found) -> String {
    let path: &Path = match found {
        Ok(path) => path,
        Err(lost) => &lost.path,
    };
    path.display().to_string()
}
