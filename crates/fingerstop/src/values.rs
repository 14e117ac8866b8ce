//! Option values that several commands share.

use std::path::Path;

use clap::ValueEnum;
use score::limits::{self, LimitSet};
use score::{Plan, Receiver};

use crate::limits_file;

/// What `--limits` says.
#[derive(Clone, Debug)]
pub(crate) enum LimitChoice {
    /// Measure only.
    None,
    /// Judge by this set.
    Set(Box<LimitSet>),
}

/// Reads the name of a limit set or of a file that holds one, or `none`.
pub(crate) fn limit_choice(name: &str) -> Result<LimitChoice, String> {
    if name == "none" {
        return Ok(LimitChoice::None);
    }
    limit_set(name).map(|set| LimitChoice::Set(Box::new(set)))
}

/// The published set of that name, or the set in that file.
pub(crate) fn limit_set(name: &str) -> Result<LimitSet, String> {
    match limits::find(name) {
        Some(set) => Ok(set.clone()),
        None if is_file(name) => limits_file::read(Path::new(name)),
        None => Err(no_such_set(name)),
    }
}

/// What `--for` names: one receiver, or all that are known.
#[derive(Clone, Debug)]
pub(crate) struct Receivers(pub(crate) Vec<Receiver>);

/// Reads the name of a receiver, of a file with a set that says what must be received, or `all`.
pub(crate) fn receivers(name: &str) -> Result<Receivers, String> {
    if name == "all" {
        return Ok(Receivers(score::receivers::all()));
    }
    if let Some(receiver) = score::receivers::find(name) {
        return Ok(Receivers(vec![receiver]));
    }
    if limits::find(name).is_some() {
        return Err(format!(
            "{name} says nothing of receiving; {}",
            receiver_names()
        ));
    }
    if is_file(name) {
        let set = limits_file::read(Path::new(name))?;
        return Ok(Receivers(vec![Receiver::of_set(set)]));
    }
    Err(format!(
        "there is no receiver `{name}`; {}",
        receiver_names()
    ))
}

fn receiver_names() -> String {
    let known = score::receivers::all();
    let names: Vec<&str> = known
        .iter()
        .map(|receiver| receiver.set.name.as_ref())
        .collect();
    format!(
        "receivers are all, {}, or a TOML file of your own",
        names.join(", ")
    )
}

/// True when `name` means a file: it says so by its ending or a folder, or is one.
pub(crate) fn is_file(name: &str) -> bool {
    let path = Path::new(name);
    path.extension().is_some_and(|ending| ending == "toml")
        || path.components().count() > 1
        || path.is_file()
}

/// Says that a limit set is unknown, and which are known.
pub(crate) fn no_such_set(name: &str) -> String {
    let names: Vec<&str> = limits::all().iter().map(|set| set.name.as_ref()).collect();
    format!(
        "there is no limit set `{name}`; sets are none, {}, or a TOML file of your own",
        names.join(", ")
    )
}

/// Reads a time in seconds, or in minutes and seconds such as `1:02.5`.
pub(crate) fn time_s(text: &str) -> Result<f64, String> {
    let number = |part: &str| {
        part.parse::<f64>()
            .ok()
            .filter(|value| value.is_finite() && *value >= 0.0)
    };
    let seconds = match text.split_once(':') {
        None => number(text),
        Some((minutes, seconds)) => number(minutes)
            .zip(number(seconds))
            .map(|(minutes, seconds)| 60.0 * minutes + seconds),
    };
    seconds.ok_or_else(|| {
        "give seconds, such as 12.5, or minutes and seconds, such as 1:02.5".to_owned()
    })
}

/// Reads a finite number of at least zero.
pub(crate) fn not_negative(text: &str) -> Result<f64, String> {
    let number = text
        .parse::<f64>()
        .ok()
        .filter(|value| value.is_finite() && *value >= 0.0);
    number.ok_or_else(|| "give a number of at least 0".to_owned())
}

/// Reads a finite number above zero.
pub(crate) fn positive(text: &str) -> Result<f64, String> {
    not_negative(text)
        .ok()
        .filter(|value| *value > 0.0)
        .ok_or_else(|| "give a number above 0".to_owned())
}

/// Reads the digits that were dialled.
pub(crate) fn dialled(text: &str) -> Result<String, String> {
    // Which pulses the digits mean depends on the plan; this one knows every character that any plan does.
    Plan::Eleventh
        .pulses_of(text)
        .map(|_| text.to_owned())
        .map_err(|error| error.to_string())
}

/// How pulses become digits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum PlanName {
    /// d pulses for 1-9, ten for 0: most countries
    #[default]
    Standard,
    /// d + 1 pulses: 0 sends one
    ZeroFirst,
    /// 10 - d pulses for 1-9, ten for 0
    Reversed,
    /// As standard, with an eleventh position E of eleven pulses
    Eleventh,
}

impl PlanName {
    /// The plan of that name.
    pub(crate) fn plan(self) -> Plan {
        match self {
            PlanName::Standard => Plan::Standard,
            PlanName::ZeroFirst => Plan::ZeroFirst,
            PlanName::Reversed => Plan::Reversed,
            PlanName::Eleventh => Plan::Eleventh,
        }
    }
}
