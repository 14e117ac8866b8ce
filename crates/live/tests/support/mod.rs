//! A page that is served, and ends with the test.

#![allow(dead_code, reason = "not every test program uses all of it")]

pub(crate) mod browser;
pub(crate) mod microphone;

use std::collections::BTreeMap;
use std::fs;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::{self, JoinHandle};

use live::page::{Bench, Page, Stopper};
use live::{Calibration, Calibrations};
use score::Settings;
use tempfile::TempDir;

/// Calibrations in a file of the test.
#[derive(Debug)]
struct KeptHere(PathBuf);

impl KeptHere {
    fn all(&self) -> BTreeMap<String, Calibration> {
        let text = fs::read_to_string(&self.0).unwrap_or_else(|_| "{}".to_owned());
        serde_json::from_str(&text).unwrap()
    }
}

impl Calibrations for KeptHere {
    fn known(&self, input: &str) -> Result<Calibration, String> {
        Ok(self.all().get(input).copied().unwrap_or_default())
    }

    fn change(
        &self,
        input: &str,
        change: &mut dyn FnMut(&mut Calibration),
    ) -> Result<PathBuf, String> {
        let mut all = self.all();
        change(all.entry(input.to_owned()).or_default());
        fs::write(&self.0, serde_json::to_string(&all).unwrap()).unwrap();
        Ok(self.0.clone())
    }
}

/// A page that is served, and ends with the test.
pub(crate) struct Served {
    pub(crate) local: SocketAddr,
    pub(crate) token: String,
    pub(crate) url: String,
    pub(crate) folder: TempDir,
    stopper: Stopper,
    thread: Option<JoinHandle<()>>,
}

impl Served {
    /// Measures only.
    pub(crate) fn new() -> Served {
        Served::with(Settings::default())
    }

    /// Judges by a published set.
    pub(crate) fn judging(limits: &str) -> Served {
        Served::with(Settings {
            limits: Some(score::limits::find(limits).unwrap().clone()),
            ..Settings::default()
        })
    }

    /// Listens at another address.
    pub(crate) fn at(address: &str) -> Served {
        Served::begin(address, Settings::default())
    }

    pub(crate) fn with(settings: Settings) -> Served {
        Served::begin("127.0.0.1:0", settings)
    }

    fn begin(address: &str, settings: Settings) -> Served {
        let folder = tempfile::tempdir().unwrap();
        let bench = Bench {
            folder: folder.path().to_owned(),
            settings,
            channel: drive::Channel::Auto,
            calibrations: Arc::new(KeptHere(folder.path().join("inputs.json"))),
            clock_is_given: false,
            limit_sets: score::limits::all().to_vec(),
            dial_id: None,
            version: "test".to_owned(),
        };
        let page = Page::bind(address.parse().unwrap(), bench).unwrap();
        let url = page.url();
        let (_, token) = url.split_once("/#").unwrap();
        Served {
            local: page.local(),
            token: token.to_owned(),
            url: url.clone(),
            folder,
            stopper: page.stopper(),
            thread: Some(thread::spawn(move || page.serve())),
        }
    }

    /// Ends the page and waits for what it has to finish.
    pub(crate) fn stop(&mut self) {
        self.stopper.stop();
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }

    /// Files that were kept, of that ending, in the order of their names.
    pub(crate) fn kept(&self, ending: &str) -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = fs::read_dir(self.folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|found| found == ending))
            .collect();
        files.sort();
        files
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.stop();
    }
}
