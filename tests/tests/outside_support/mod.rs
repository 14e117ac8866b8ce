//! The road from a file to its score, and the truth frozen beside the file.
#![allow(dead_code, reason = "each test file uses its own part of this")]

use std::fs;
use std::path::{Path, PathBuf};

use edges::{Detector, Trace};
use recording::{OpenOptions, Recording};
use score::{Scored, Settings};
use serde_json::Value;

/// Folder of fixtures by its name.
pub(crate) fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fixtures")
        .join(name)
}

/// The list `recordings` of a frozen JSON file.
pub(crate) fn frozen(folder_name: &str, file: &str) -> Vec<Value> {
    let text = fs::read_to_string(folder(folder_name).join(file)).unwrap();
    let value: Value = serde_json::from_str(&text).unwrap();
    value["recordings"].as_array().unwrap().clone()
}

/// Numbers of a JSON list.
pub(crate) fn numbers(list: &Value) -> Vec<f64> {
    list.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}

/// Edges of every channel of a file, each by itself, so that memory stays bounded in long files.
pub(crate) fn traces(path: &Path) -> Result<Vec<Trace>, recording::Error> {
    let mut recording = Recording::open(path, &OpenOptions::default())?;
    let channels = usize::from(recording.facts().channels);
    let rate_hz = recording.facts().sample_rate_hz;
    let mut detectors: Vec<_> = (0..channels).map(|_| Detector::new(rate_hz)).collect();
    let (mut frames, mut one) = (Vec::new(), Vec::new());
    while recording.next_block(&mut frames)? {
        for (channel, detector) in detectors.iter_mut().enumerate() {
            one.clear();
            one.extend(frames.iter().skip(channel).step_by(channels));
            detector.push(&one);
        }
    }
    Ok(detectors.into_iter().map(Detector::finish).collect())
}

/// Score of a fixture of one channel, measured only.
pub(crate) fn measured(folder_name: &str, file: &str) -> Scored {
    let traces = traces(&folder(folder_name).join(file)).unwrap();
    score::score(&traces[0], &Settings::default())
}

/// Fails with every line that was noted, so that one run shows all that is wrong.
#[derive(Debug, Default)]
pub(crate) struct Complaints(Vec<String>);

impl Complaints {
    /// Notes `line` unless `good`.
    pub(crate) fn unless(&mut self, good: bool, line: impl FnOnce() -> String) {
        if !good {
            self.0.push(line());
        }
    }

    /// Panics when anything was noted.
    pub(crate) fn raise(self) {
        assert!(
            self.0.is_empty(),
            "{} complaints:\n{}",
            self.0.len(),
            self.0.join("\n")
        );
    }
}
