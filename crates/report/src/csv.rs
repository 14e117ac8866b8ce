//! CSV after RFC 4180: one row a digit.
//!
//! Every column carries its unit. A missing value is an empty cell, never 0. An input without digits
//! keeps one row, so that no file is lost from a table.

use score::{Digit, LimitSet, Settings, Summary, Value};

use crate::record::Record;
use crate::words::verdict_code;

/// Names of the columns, in order.
///
/// | column | what it holds |
/// |---|---|
/// | `input` | path as given |
/// | `dial_id` | what `--dial-id` said |
/// | `digit_index` | 0 for the first digit of the recording |
/// | `digit`, `pulses` | digit by the plan; breaks counted |
/// | `start_s`, `end_s` | start of the first and end of the last break, seconds from the first sample |
/// | `…_u95…` | 95 % uncertainty of the column before, without the recorder's clock |
/// | `slow_down_percent`, `unevenness_percent` | of the mean period |
/// | `limits` | set judged by; empty when none was chosen |
/// | `verdict` | `pass`, `conditional-pass`, `conditional-fail`, `fail`, `not-judged` |
/// | `sure`, `doubt` | whether the pulse count is beyond doubt, and why not |
/// | `error` | code of why the input could not be read |
const COLUMNS: [&str; 35] = [
    "input",
    "dial_id",
    "digit_index",
    "digit",
    "pulses",
    "start_s",
    "end_s",
    "speed_pps",
    "speed_u95_pps",
    "percent_break",
    "percent_break_u95",
    "break_mean_ms",
    "break_mean_u95_ms",
    "break_min_ms",
    "break_max_ms",
    "make_mean_ms",
    "make_mean_u95_ms",
    "make_min_ms",
    "make_max_ms",
    "slow_down_percent",
    "slow_down_u95_percent",
    "unevenness_percent",
    "unevenness_u95_percent",
    "chatter_ms_max",
    "chatter_floor_ms",
    "pause_before_ms",
    "pause_before_u95_ms",
    "winding_ms",
    "return_ms",
    "idle_after_ms",
    "limits",
    "verdict",
    "sure",
    "doubt",
    "error",
];

/// The header row, with its line end.
#[must_use]
pub fn csv_header() -> String {
    COLUMNS.join(",") + "\r\n"
}

/// The rows of one record, each with its line end.
#[must_use]
pub fn csv_rows(record: &Record, settings: &Settings, dial_id: Option<&str>) -> String {
    let (digits, verdict, error): (&[Digit], _, _) = match &record.outcome {
        Ok(measured) => (&measured.scored.digits, measured.scored.verdict, None),
        Err(unreadable) => (
            &[],
            score::Verdict::NotJudged,
            Some(unreadable.code.as_str()),
        ),
    };
    let limits = settings.limits.as_ref();
    if digits.is_empty() {
        let mut cells = vec![String::new(); COLUMNS.len()];
        cells[0] = record.input.clone();
        cells[1] = dial_id.unwrap_or_default().to_owned();
        cells[30] = name(limits);
        cells[31] = verdict_code(verdict).to_owned();
        cells[34] = error.unwrap_or_default().to_owned();
        return row(&cells);
    }
    let cells = |(index, digit)| {
        let lead = [record.input.clone(), dial_id.unwrap_or_default().to_owned()];
        row(&lead
            .into_iter()
            .chain(digit_cells(index, digit, limits))
            .collect::<Vec<_>>())
    };
    digits.iter().enumerate().map(cells).collect()
}

fn name(limits: Option<&LimitSet>) -> String {
    limits.map(|set| set.name.to_string()).unwrap_or_default()
}

fn digit_cells(index: usize, digit: &Digit, limits: Option<&LimitSet>) -> Vec<String> {
    let mut cells = vec![
        index.to_string(),
        digit.digit.clone().unwrap_or_default(),
        digit.pulses.to_string(),
        digit.start_s.to_string(),
        digit.end_s.to_string(),
    ];
    cells.extend(value(digit.speed_pps));
    cells.extend(value(digit.percent_break));
    cells.extend(spread(Some(&digit.break_ms)));
    cells.extend(spread(digit.make_ms.as_ref()));
    cells.extend(value(digit.slow_down_percent));
    cells.extend(value(digit.unevenness_percent));
    cells.extend([
        digit.chatter_ms_max.to_string(),
        digit.chatter_floor_ms.to_string(),
    ]);
    cells.extend(value(digit.pause_before_ms));
    cells.extend([
        number(digit.winding_ms),
        number(digit.return_ms),
        number(digit.idle_after_ms),
    ]);
    cells.extend([
        name(limits),
        verdict_code(digit.verdict).to_owned(),
        digit.sure.to_string(),
        digit.doubt.clone().unwrap_or_default(),
        String::new(),
    ]);
    cells
}

fn number(value: Option<f64>) -> String {
    value
        .filter(|value| value.is_finite())
        .map(|value| value.to_string())
        .unwrap_or_default()
}

fn value(value: Option<Value>) -> [String; 2] {
    [number(value.map(|v| v.value)), number(value.map(|v| v.u95))]
}

fn spread(summary: Option<&Summary>) -> [String; 4] {
    [
        number(summary.map(|s| s.mean.value)),
        number(summary.map(|s| s.mean.u95)),
        number(summary.map(|s| s.min)),
        number(summary.map(|s| s.max)),
    ]
}

pub(crate) fn row(cells: &[String]) -> String {
    cells
        .iter()
        .map(|cell| quoted(cell))
        .collect::<Vec<_>>()
        .join(",")
        + "\r\n"
}

/// A cell, quoted where RFC 4180 asks for it.
fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}
