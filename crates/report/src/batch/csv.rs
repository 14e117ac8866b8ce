//! The table of a batch as CSV after RFC 4180: one row a dial. A missing value is an empty cell, never 0.

use super::takes::{Dial, Mean};
use crate::words::verdict_code;

/// Names of the columns, in order. `…_spread…` is largest less smallest take; `nearest_inside` is the distance to
/// the nearest limit in the unit of its quantity, negative outside; `nearest_share` the same as a share of half the
/// tolerance; `receivers` holds each with `yes`, `perhaps`, `no` or `cannot-tell`.
const COLUMNS: [&str; 18] = [
    "dial",
    "takes",
    "verdict",
    "digits",
    "speed_pps",
    "speed_u95_pps",
    "speed_spread_pps",
    "percent_break",
    "percent_break_u95",
    "percent_break_spread",
    "nearest_quantity",
    "nearest_inside",
    "nearest_share",
    "findings",
    "inputs",
    "error",
    "receivers",
    "limits",
];

/// The header row, with its line end.
#[must_use]
pub fn dial_csv_header() -> String {
    COLUMNS.join(",") + "\r\n"
}

/// One dial, with its line end.
#[must_use]
pub fn dial_csv_row(dial: &Dial) -> String {
    let joined = |parts: Vec<&str>| parts.join("; ");
    let nearest = dial.nearest();
    let mut cells = vec![
        dial.name.clone(),
        dial.takes.len().to_string(),
        verdict_code(dial.verdict()).to_owned(),
        joined(dial.takes.iter().map(|take| take.digits.as_str()).collect()),
    ];
    cells.extend(mean(dial.speed_pps()));
    cells.extend(mean(dial.percent_break()));
    cells.push(
        nearest
            .map(|nearest| nearest.quantity.clone())
            .unwrap_or_default(),
    );
    cells.push(number(nearest.map(|nearest| nearest.inside)));
    cells.push(number(nearest.map(|nearest| nearest.share)));
    cells.push(joined(dial.findings()));
    cells.push(joined(
        dial.takes.iter().map(|take| take.input.as_str()).collect(),
    ));
    cells.push(joined(
        dial.takes
            .iter()
            .filter_map(|take| take.error.as_deref())
            .collect(),
    ));
    let receivers = dial.receivers();
    let receivers: Vec<String> = receivers
        .iter()
        .map(|(name, answer)| format!("{name} {}", answer.code()))
        .collect();
    cells.push(receivers.join("; "));
    let mut sets: Vec<&str> = dial
        .takes
        .iter()
        .filter_map(|take| take.limits.as_ref())
        .map(|limits| limits.name.as_str())
        .collect();
    sets.dedup();
    cells.push(joined(sets));
    crate::csv::row(&cells)
}

fn mean(mean: Option<Mean>) -> [String; 3] {
    [
        number(mean.map(|mean| mean.value.value)),
        number(mean.map(|mean| mean.value.u95)),
        number(mean.and_then(|mean| mean.spread)),
    ]
}

fn number(value: Option<f64>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}
