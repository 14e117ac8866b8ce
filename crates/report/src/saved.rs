//! Measurements read back from the JSON that [`crate::json`] writes.
//!
//! Reads only what a later comparison needs, and passes over fields that it does not know: the schema
//! grows. A recording that was measured just now goes through the same text, so that a comparison of
//! recordings and one of saved files cannot differ but for the traces that are drawn of the former.

use score::{Settings, Understood, Value, Verdict};
use serde::{Deserialize, Deserializer};

use crate::json::{self, SCHEMA};
use crate::record::Record;
use crate::words::verdict_code;

/// Why a saved measurement cannot be used: a lower-case fragment that fits behind "cannot read X: ".
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SavedError(String);

impl std::fmt::Display for SavedError {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str(&self.0)
    }
}

impl std::error::Error for SavedError {}

/// One measured recording as it was saved.
#[derive(Clone, Debug, Deserialize)]
pub struct Saved {
    /// Path as the user gave it when it was measured.
    pub input: String,
    /// Verdict on the recording.
    #[serde(deserialize_with = "verdict")]
    pub verdict: Verdict,
    /// Why it could not be read.
    pub error: Option<SavedMessage>,
    /// Facts of the recording; `None` when it could not be read.
    pub trace: Option<SavedTrace>,
    /// Digits in time order.
    pub digits: Vec<SavedDigit>,
    /// Comparisons with limits.
    #[serde(default)]
    pub checks: Vec<SavedCheck>,
    /// Findings, digit by digit.
    #[serde(default)]
    pub findings: Vec<SavedFinding>,
    /// What receivers make of it, where the user asked.
    #[serde(default)]
    pub receivers: Vec<SavedAnswer>,
    /// Why the verdict is what it is.
    #[serde(default)]
    pub reasons: Vec<SavedReason>,
    /// Name of the dial, if one was given.
    #[serde(default)]
    pub dial_id: Option<String>,
    /// The set that it was judged by.
    #[serde(default)]
    pub limits: Option<SavedLimits>,
    /// Version of the tool that measured it.
    #[serde(default)]
    pub tool_version: String,
    /// For drawing only, and only of a recording measured just now: the trace of every pulse of every digit, in
    /// milliseconds from its opening, between 0 (open) and 1 (closed).
    #[serde(skip)]
    pub shapes: Vec<Vec<Vec<(f64, f64)>>>,
}

/// A code and what it says.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedMessage {
    /// Stable code.
    pub code: String,
    /// Plain words.
    pub message: String,
}

/// A reason of a verdict.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedReason {
    /// Stable code.
    pub code: String,
    /// Plain words.
    pub text: String,
}

/// Facts of a recording.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedTrace {
    /// Sample rate, in hertz.
    pub sample_rate_hz: f64,
    /// Channel that was measured, from 1.
    pub channel: u16,
    /// Length, in seconds.
    pub duration_s: f64,
    /// Encoding in words.
    pub encoding: String,
    /// Tolerance of the recorder's clock, in parts per million.
    pub clock_ppm: f64,
}

/// A mean with its uncertainty and its range, in milliseconds.
#[derive(Clone, Copy, Debug, Deserialize)]
pub struct SavedSpread {
    /// Mean.
    pub mean: f64,
    /// Uncertainty (95 %) of the mean.
    pub u95: f64,
    /// Smallest.
    pub min: f64,
    /// Largest.
    pub max: f64,
}

/// One digit.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedDigit {
    /// The digit by the plan.
    pub digit: Option<String>,
    /// Breaks counted.
    pub pulses: usize,
    /// Start of the first break, in seconds.
    pub start_s: f64,
    /// End of the last break, in seconds.
    pub end_s: f64,
    /// Pulsing speed, in pulses per second.
    #[serde(deserialize_with = "value")]
    pub speed_pps: Option<Value>,
    /// Percent break.
    #[serde(deserialize_with = "value")]
    pub percent_break: Option<Value>,
    /// Percent break as a relay sees it.
    #[serde(default, deserialize_with = "value")]
    pub percent_break_half_step: Option<Value>,
    /// Breaks.
    pub break_ms: SavedSpread,
    /// The first N − 1 makes.
    pub make_ms: Option<SavedSpread>,
    /// Slow-down over the digit, in percent of the mean period.
    pub slow_down_percent: Option<f64>,
    /// Its uncertainty (95 %).
    #[serde(default)]
    pub slow_down_u95_percent: Option<f64>,
    /// Unevenness, in percent of the mean period.
    pub unevenness_percent: Option<f64>,
    /// Its uncertainty (95 %).
    #[serde(default)]
    pub unevenness_u95_percent: Option<f64>,
    /// Longest chatter, in milliseconds.
    pub chatter_ms_max: f64,
    /// Shortest reopening that could be told from noise, in milliseconds.
    #[serde(default)]
    pub chatter_floor_ms: f64,
    /// Verdict on the digit.
    #[serde(deserialize_with = "verdict")]
    pub verdict: Verdict,
    /// Whether the pulse count is beyond doubt.
    pub sure: bool,
    /// The pulses in time order.
    pub pulses_detail: Vec<SavedPulse>,
}

/// One pulse.
#[derive(Clone, Copy, Debug, Deserialize)]
pub struct SavedPulse {
    /// First opening, in seconds.
    pub break_start_s: f64,
    /// First closure after it, in seconds.
    pub make_start_s: f64,
    /// Length of the break, in milliseconds.
    pub break_ms: f64,
    /// Length of the make, in milliseconds.
    pub make_ms: Option<f64>,
    /// Percent break of this pulse.
    pub percent_break: Option<f64>,
    /// First to last closure of its chatter, in milliseconds.
    pub chatter_ms: f64,
    /// Uncertainty (95 %) of the break, in milliseconds.
    #[serde(default)]
    pub break_u95_ms: f64,
    /// Uncertainty (95 %) of the make, in milliseconds.
    #[serde(default)]
    pub make_u95_ms: Option<f64>,
}

/// One comparison with a limit.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedCheck {
    /// Stable name with unit.
    pub quantity: String,
    /// Index into the digits.
    pub digit_index: usize,
    /// Measured value.
    pub value: f64,
    /// Uncertainty (95 %) with the clock joined.
    #[serde(default)]
    pub guard_band: f64,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// The word.
    #[serde(deserialize_with = "verdict")]
    pub verdict: Verdict,
}

/// A finding.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedFinding {
    /// Stable code.
    pub code: String,
    /// A few words for a heading.
    pub title: String,
    /// The figures that show it.
    #[serde(default)]
    pub evidence: String,
    /// What to do.
    #[serde(default)]
    pub advice: String,
    /// Index into the digits.
    #[serde(default)]
    pub digit_index: Option<usize>,
}

/// What a receiver makes of a recording.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedAnswer {
    /// Name of the receiver.
    pub receiver: String,
    /// Whether it will understand the dial.
    #[serde(deserialize_with = "understood")]
    pub understood: Understood,
}

/// The set that a recording was judged by.
#[derive(Clone, Debug, Deserialize)]
pub struct SavedLimits {
    /// Name as it is chosen.
    pub name: String,
    /// Title.
    #[serde(default)]
    pub title: String,
    /// Grade of the evidence.
    #[serde(default)]
    pub grade: String,
    /// Document.
    #[serde(default)]
    pub document: String,
    /// Clause.
    #[serde(default)]
    pub clause: String,
    /// Year.
    #[serde(default)]
    pub year: String,
    /// Limits of speed, in pulses per second.
    #[serde(default)]
    pub speed_pps: Option<SavedRange>,
    /// Limits of percent break.
    #[serde(default)]
    pub percent_break: Option<SavedRange>,
}

/// A pair of limits.
#[derive(Clone, Copy, Debug, Default, Deserialize)]
pub struct SavedRange {
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

impl Saved {
    /// A record as it would be read back after saving.
    ///
    /// # Errors
    /// Never for values that this crate writes; passed on from the reader all the same.
    pub fn of(
        record: &Record,
        settings: &Settings,
        dial_id: Option<&str>,
        tool_version: &str,
    ) -> Result<Saved, SavedError> {
        let recording = json::recording(record, settings, dial_id);
        let line = json::line(&recording, settings, tool_version).map_err(no_json)?;
        let mut saved: Saved = serde_json::from_str(&line).map_err(no_json)?;
        if let Ok(measured) = &record.outcome {
            saved.shapes = crate::overlay_chart::shapes(measured);
        }
        Ok(saved)
    }

    /// The digits whose pulse count is beyond doubt.
    pub fn sure_digits(&self) -> impl Iterator<Item = (usize, &SavedDigit)> {
        self.digits
            .iter()
            .enumerate()
            .filter(|(_, digit)| digit.sure)
    }

    /// Tolerance of the recorder's clock, in parts per million; 0 when nothing was read.
    #[must_use]
    pub fn clock_ppm(&self) -> f64 {
        self.trace.as_ref().map_or(0.0, |trace| trace.clock_ppm)
    }
}

/// Whether `bytes`, the beginning of a file, may be a saved measurement: JSON objects begin with a brace, and
/// no recording does.
#[must_use]
pub fn may_be_saved(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    text.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'{')
}

#[derive(Deserialize)]
struct Head {
    schema: Option<String>,
}

#[derive(Deserialize)]
struct Document {
    recordings: Option<Vec<Saved>>,
    limits: Option<SavedLimits>,
    #[serde(default)]
    tool_version: String,
}

/// Reads every recording of a saved file: one document, or one object a line.
///
/// # Errors
/// When the text is no JSON, or JSON of another schema.
pub fn read_saved(text: &str) -> Result<Vec<Saved>, SavedError> {
    let text = text.trim_start_matches('\u{FEFF}');
    let mut all = Vec::new();
    for value in serde_json::Deserializer::from_str(text).into_iter::<serde_json::Value>() {
        let value = value.map_err(no_json)?;
        let head = Head::deserialize(&value).map_err(no_json)?;
        if head.schema.as_deref() != Some(SCHEMA) {
            return Err(SavedError(format!(
                "it is JSON, but not a measurement saved by `check --format json`: its schema is not {SCHEMA}"
            )));
        }
        all.extend(recordings(value)?);
    }
    if all.is_empty() {
        return Err(SavedError("it holds no recordings".to_owned()));
    }
    Ok(all)
}

fn recordings(value: serde_json::Value) -> Result<Vec<Saved>, SavedError> {
    let document = Document::deserialize(&value).map_err(no_json)?;
    let Some(mut recordings) = document.recordings else {
        return Ok(vec![Saved::deserialize(value).map_err(no_json)?]);
    };
    for recording in &mut recordings {
        recording.limits = document.limits.clone();
        recording.tool_version.clone_from(&document.tool_version);
    }
    Ok(recordings)
}

pub(crate) fn no_json(error: serde_json::Error) -> SavedError {
    SavedError(format!("it is not a saved measurement: {error}"))
}

fn value<'de, D: Deserializer<'de>>(reader: D) -> Result<Option<Value>, D::Error> {
    #[derive(Deserialize)]
    struct Pair {
        value: f64,
        u95: f64,
    }
    let pair = Option::<Pair>::deserialize(reader)?;
    Ok(pair.map(|Pair { value, u95 }| Value { value, u95 }))
}

fn verdict<'de, D: Deserializer<'de>>(reader: D) -> Result<Verdict, D::Error> {
    let code = String::deserialize(reader)?;
    verdict_of(&code)
        .ok_or_else(|| serde::de::Error::custom(format!("there is no verdict `{code}`")))
}

fn understood<'de, D: Deserializer<'de>>(reader: D) -> Result<Understood, D::Error> {
    let code = String::deserialize(reader)?;
    Understood::of_code(&code)
        .ok_or_else(|| serde::de::Error::custom(format!("there is no answer `{code}`")))
}

/// The verdict that [`verdict_code`] writes as `code`.
pub(crate) fn verdict_of(code: &str) -> Option<Verdict> {
    let all = [
        Verdict::Pass,
        Verdict::ConditionalPass,
        Verdict::ConditionalFail,
        Verdict::Fail,
        Verdict::NotJudged,
    ];
    all.into_iter()
        .find(|verdict| verdict_code(*verdict) == code)
}
