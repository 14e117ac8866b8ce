//! The user's choices that last: one small JSON file where the XDG base directory specification puts it.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use live::{Calibration, Calibrations};
use serde_json::{Map, Value};

use crate::output::Whole;
use crate::stop::Stop;

/// What the user chose once for all.
#[derive(Debug, Default)]
pub(crate) struct Config {
    fields: Map<String, Value>,
    path: PathBuf,
}

/// Field of the file with what is known of inputs, by their names.
const INPUTS: &str = "inputs";

impl Config {
    /// Reads the file; without one nothing is chosen.
    pub(crate) fn load() -> Result<Config, Stop> {
        let Some(path) = path() else {
            return Ok(Config::default());
        };
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Config {
                    path,
                    ..Config::default()
                });
            }
            Err(error) => return Err(unusable(&path, &error.to_string())),
        };
        match serde_json::from_str(&text) {
            Ok(Value::Object(fields)) => Ok(Config { fields, path }),
            Ok(_) => Err(unusable(&path, "it is not a JSON object")),
            Err(error) => Err(unusable(&path, &error.to_string())),
        }
    }

    /// Name of the limit set chosen for all runs.
    pub(crate) fn limits(&self) -> Result<Option<&str>, Stop> {
        match self.fields.get("limits") {
            None | Some(Value::Null) => Ok(None),
            Some(Value::String(name)) => Ok(Some(name)),
            Some(_) => Err(unusable(&self.path, "`limits` is not a name")),
        }
    }

    /// What is known of the input of that name.
    pub(crate) fn calibration(&self, device: &str) -> Result<Calibration, Stop> {
        let Some(known) = self
            .fields
            .get(INPUTS)
            .and_then(|inputs| inputs.get(device))
        else {
            return Ok(Calibration::default());
        };
        serde_json::from_value(known.clone())
            .map_err(|error| unusable(&self.path, &format!("`{INPUTS}`, `{device}`: {error}")))
    }

    /// Changes what is known of an input, and gives the file it is kept in.
    pub(crate) fn calibrate(
        mut self,
        device: &str,
        change: impl FnOnce(&mut Calibration),
    ) -> Result<PathBuf, Stop> {
        self.verify_place()?;
        let mut known = self.calibration(device)?;
        change(&mut known);
        let value = serde_json::to_value(known)
            .map_err(|error| Stop::Failed(format!("cannot write JSON: {error}")))?;
        let inputs = self
            .fields
            .entry(INPUTS)
            .or_insert_with(|| Value::Object(Map::new()));
        let Value::Object(inputs) = inputs else {
            return Err(unusable(&self.path, &format!("`{INPUTS}` is no object")));
        };
        inputs.insert(device.to_owned(), value);
        self.save()?;
        Ok(self.path)
    }

    fn verify_place(&self) -> Result<(), Stop> {
        if self.path.as_os_str().is_empty() {
            let message = "there is no place for a configuration: set HOME or XDG_CONFIG_HOME, or use FINGERSTOP_LIMITS";
            return Err(Stop::Failed(message.to_owned()));
        }
        Ok(())
    }

    /// The file.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Chooses a limit set for all runs, or none.
    pub(crate) fn choose_limits(mut self, name: Option<&str>) -> Result<PathBuf, Stop> {
        self.verify_place()?;
        match name {
            Some(name) => self.fields.insert("limits".to_owned(), Value::from(name)),
            None => self.fields.remove("limits"),
        };
        self.save()?;
        Ok(self.path)
    }

    fn save(&self) -> Result<(), Stop> {
        let failed = |error: &dyn std::fmt::Display| {
            Stop::Failed(format!("cannot write {}: {error}", self.path.display()))
        };
        if let Some(folder) = self.path.parent() {
            fs::create_dir_all(folder).map_err(|error| failed(&error))?;
        }
        let text = serde_json::to_string_pretty(&self.fields).map_err(|error| failed(&error))?;
        let mut file = Whole::open(&self.path, true)?;
        file.write(text.as_bytes())?;
        file.write(b"\n")?;
        file.commit()
    }
}

fn unusable(path: &Path, why: &str) -> Stop {
    Stop::Usage(format!(
        "cannot use {}: {why}; mend or delete it",
        path.display()
    ))
}

/// `$XDG_CONFIG_HOME/fingerstop/config.json`, by default below `~/.config`; `%APPDATA%` on Windows. A
/// relative XDG_CONFIG_HOME is ignored, as the specification asks.
fn path() -> Option<PathBuf> {
    let absolute = |name: &str| {
        env::var_os(name)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    let base = absolute("XDG_CONFIG_HOME")
        .or_else(|| absolute("APPDATA"))
        .or_else(|| absolute("HOME").map(|home| home.join(".config")))?;
    Some(base.join("fingerstop").join("config.json"))
}

/// What is known of inputs, read and kept in the file each time, since another run may change it meanwhile.
#[derive(Debug)]
pub(crate) struct KeptInputs;

impl Calibrations for KeptInputs {
    fn known(&self, input: &str) -> Result<Calibration, String> {
        let known = Config::load().and_then(|config| config.calibration(input));
        known.map_err(|stop| stop.words())
    }

    fn change(
        &self,
        input: &str,
        change: &mut dyn FnMut(&mut Calibration),
    ) -> Result<PathBuf, String> {
        let changed = Config::load().and_then(|config| config.calibrate(input, change));
        changed.map_err(|stop| stop.words())
    }
}
