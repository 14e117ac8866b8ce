//! One recording of a batch in one row.

use score::{Value, Verdict};
use serde::{Deserialize, Deserializer};

use super::nearest::{Nearest, nearest};
use crate::figure::clock_joined;
use crate::saved::{
    SavedAnswer, SavedCheck, SavedDigit, SavedError, SavedFinding, SavedLimits, SavedMessage,
    SavedTrace, verdict_of,
};
use score::apart::{OPENING_DELAY_MS, delay_u95_percent};

/// What a table or a contact sheet shows of one recording.
#[derive(Clone, Debug)]
pub struct Row {
    /// Path as it was found.
    pub input: String,
    /// The dial by its file name; `None` when no pattern was given or it does not fit.
    pub dial: Option<String>,
    /// The take by its file name.
    pub take: Option<String>,
    /// Verdict on the recording.
    pub verdict: Verdict,
    /// Why it could not be read.
    pub error: Option<String>,
    /// Why it was not judged, where it was read.
    pub reason: Option<String>,
    /// Digits as dialled; a query for one without a name, and in brackets those not beyond doubt.
    pub digits: String,
    /// Pulsing speed over all sure digits, in pulses per second; its `u95` holds the recorder's clock.
    pub speed_pps: Option<Value>,
    /// Percent break over all sure digits.
    pub percent_break: Option<Value>,
    /// The limit that is nearest.
    pub nearest: Option<Nearest>,
    /// Codes of its findings, each once.
    pub findings: Vec<String>,
    /// The set that it was judged by.
    pub limits: Option<SavedLimits>,
    /// True when a judgement was asked for, by limits or by a dialled number.
    pub asked: bool,
    /// What receivers make of it.
    pub receivers: Vec<SavedAnswer>,
    /// Breaks as start and length in milliseconds from the first break of the longest digit, for its strip.
    pub strip: Vec<(f64, f64)>,
    /// Speed of each period of that digit, in pulses per second.
    pub speeds_pps: Vec<f64>,
}

/// The fields of a line that a row needs; all others are passed over.
#[derive(Deserialize)]
struct Line {
    input: String,
    dial: Option<String>,
    take: Option<String>,
    #[serde(deserialize_with = "verdict")]
    verdict: Verdict,
    error: Option<SavedMessage>,
    trace: Option<SavedTrace>,
    digits: Vec<SavedDigit>,
    checks: Vec<SavedCheck>,
    findings: Vec<SavedFinding>,
    reasons: Vec<SavedMessageText>,
    limits: Option<SavedLimits>,
    #[serde(default)]
    count: Option<SavedCount>,
    #[serde(default)]
    receivers: Vec<SavedAnswer>,
}

#[derive(Deserialize)]
struct SavedCount {
    dialled: Option<String>,
}

#[derive(Deserialize)]
struct SavedMessageText {
    text: String,
}

fn verdict<'de, D: Deserializer<'de>>(reader: D) -> Result<Verdict, D::Error> {
    let code = String::deserialize(reader)?;
    verdict_of(&code)
        .ok_or_else(|| serde::de::Error::custom(format!("there is no verdict `{code}`")))
}

impl Row {
    /// Reads a row from a line of NDJSON.
    ///
    /// # Errors
    /// When the line is not a measurement.
    pub fn read(line: &str) -> Result<Row, SavedError> {
        let line: Line = serde_json::from_str(line).map_err(crate::saved::no_json)?;
        Ok(Row::of(line))
    }

    /// True when it was measured and no judgement was asked for, which is no reproach.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        self.error.is_none() && !self.asked && self.speed_pps.is_some()
    }

    /// The set that it was judged by, with grade and source, in one line.
    #[must_use]
    pub fn judged_by(&self) -> Option<String> {
        let set = self.limits.as_ref()?;
        let source = [&set.document, &set.clause, &set.year];
        let source: Vec<&str> = source
            .into_iter()
            .map(String::as_str)
            .filter(|part| !part.is_empty())
            .collect();
        Some(format!(
            "{} (grade {}): {}",
            set.name,
            set.grade,
            source.join(", ")
        ))
    }

    fn of(line: Line) -> Row {
        let clock_ppm = line.trace.as_ref().map_or(0.0, |trace| trace.clock_ppm);
        let sure = || line.digits.iter().filter(|digit| digit.sure);
        let longest = sure()
            .max_by_key(|digit| digit.pulses)
            .or(line.digits.first());
        let dialled = line
            .count
            .as_ref()
            .is_some_and(|count| count.dialled.is_some());
        let asked = line.limits.is_some() || dialled;
        let not_judged = line.verdict == Verdict::NotJudged && asked;
        Row {
            speed_pps: speed(sure(), clock_ppm),
            percent_break: percent_break(sure()),
            nearest: nearest(&line.checks),
            findings: codes(&line.findings),
            digits: line.digits.iter().map(shown).collect::<Vec<_>>().join(" "),
            reason: line
                .reasons
                .first()
                .filter(|_| not_judged)
                .map(|reason| reason.text.clone()),
            strip: longest.map(strip).unwrap_or_default(),
            speeds_pps: longest.map(speeds).unwrap_or_default(),
            error: line.error.map(|error| error.message),
            input: line.input,
            dial: line.dial,
            take: line.take,
            verdict: line.verdict,
            limits: line.limits,
            asked,
            receivers: line.receivers,
        }
    }
}

fn shown(digit: &SavedDigit) -> String {
    let name = digit.digit.as_deref().unwrap_or("?");
    if digit.sure {
        name.to_owned()
    } else {
        format!("({name})")
    }
}

fn codes(findings: &[SavedFinding]) -> Vec<String> {
    let mut codes: Vec<String> = findings
        .iter()
        .map(|finding| finding.code.clone())
        .collect();
    codes.sort();
    codes.dedup();
    codes
}

/// Speed over several digits: all periods by all time. Errors of different digits are independent, since what
/// the openings share cancels in a period.
fn speed<'a>(digits: impl Iterator<Item = &'a SavedDigit>, clock_ppm: f64) -> Option<Value> {
    let (mut periods, mut seconds, mut variance) = (0.0, 0.0, 0.0);
    for digit in digits {
        let Some(speed) = digit.speed_pps else {
            continue;
        };
        let count = digit.pulses as f64 - 1.0;
        periods += count;
        seconds += count / speed.value;
        variance += (count / speed.value * speed.u95 / speed.value).powi(2);
    }
    (periods > 0.0).then(|| {
        let value = periods / seconds;
        let u95 = value * variance.sqrt() / seconds;
        Value {
            value,
            u95: clock_joined(Value { value, u95 }, clock_ppm),
        }
    })
}

/// Percent break over several digits, weighted by their length. What the closings of a recording share, its
/// digits share too: uncertainties add up.
fn percent_break<'a>(digits: impl Iterator<Item = &'a SavedDigit>) -> Option<Value> {
    let (mut seconds, mut open, mut u95) = (0.0, 0.0, 0.0);
    let mut periods = 0.0;
    for digit in digits {
        let (Some(speed), Some(share)) = (digit.speed_pps, digit.percent_break) else {
            continue;
        };
        let length = (digit.pulses as f64 - 1.0) / speed.value;
        seconds += length;
        periods += digit.pulses as f64 - 1.0;
        open += share.value * length;
        u95 += share.u95 * length;
    }
    (seconds > 0.0).then(|| {
        let delay = delay_u95_percent(OPENING_DELAY_MS, 1e3 * seconds / periods);
        Value {
            value: open / seconds,
            u95: (u95 / seconds).hypot(delay),
        }
    })
}

fn strip(digit: &SavedDigit) -> Vec<(f64, f64)> {
    let at = |start_s: f64| (start_s - digit.start_s) * 1e3;
    let pulses = digit.pulses_detail.iter();
    pulses
        .map(|pulse| (at(pulse.break_start_s), pulse.break_ms))
        .collect()
}

fn speeds(digit: &SavedDigit) -> Vec<f64> {
    let pairs = digit.pulses_detail.windows(2);
    pairs
        .map(|pair| 1.0 / (pair[1].break_start_s - pair[0].break_start_s))
        .collect()
}
