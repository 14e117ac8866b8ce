//! Finds out how a table is written, from the lines themselves.

use std::collections::BTreeMap;

use crate::Error;

use super::cells::{self, Dialect, is_blank, is_comment, number, split};

/// Most lines that are tried with every way of writing.
const MOST_LINES: usize = 2000;

/// The ways of writing that are tried; of equally good ones the first is taken, a single column
/// last.
const WAYS: [(Option<u8>, u8); 9] = [
    (Some(b'\t'), b'.'),
    (Some(b'\t'), b','),
    (Some(b';'), b'.'),
    (Some(b';'), b','),
    (Some(b','), b'.'),
    (Some(b' '), b'.'),
    (Some(b' '), b','),
    (None, b'.'),
    (None, b','),
];

/// A table found in text.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Table {
    pub(crate) dialect: Dialect,
    /// Cells in a row.
    pub(crate) cells: usize,
    /// Index of the line with the first row of numbers.
    pub(crate) first_row: usize,
}

/// Why text is no table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Refusal {
    NoNumbers,
    Ambiguous,
}

impl Refusal {
    /// The error; a name that promises a table is told that the table is empty.
    pub(crate) fn error(self, name: &str) -> Error {
        let lower = name.to_ascii_lowercase();
        let promised = [".csv", ".tsv"]
            .iter()
            .any(|ending| lower.ends_with(ending));
        match self {
            Refusal::NoNumbers if promised => Error::new(
                "no-samples",
                "it has no rows of numbers; export the current or voltage with a time column",
            ),
            Refusal::NoNumbers => Error::new(
                "text",
                "it is text and no table of numbers; name a recording or a CSV of loop current",
            ),
            Refusal::Ambiguous => Error::new(
                "csv-ambiguous",
                "its commas may separate columns or be decimal commas; export it with semicolons between columns",
            ),
        }
    }
}

/// Finds the table in `lines`.
pub(crate) fn find(lines: &[&[u8]]) -> Result<Table, Refusal> {
    let sample = &lines[..lines.len().min(MOST_LINES)];
    let mut best: Option<(f64, Table)> = None;
    for (delimiter, decimal) in WAYS {
        let Some((score, table)) = try_way(sample, Dialect { delimiter, decimal }) else {
            continue;
        };
        // Columns that hold together are better evidence than one column, at an equal score.
        let better = best.is_none_or(|(before, held)| {
            score > before || (score == before && held.cells == 1 && table.cells > 1)
        });
        if better {
            best = Some((score, table));
        }
    }
    let (_, table) = best.ok_or(Refusal::NoNumbers)?;
    settle_commas(sample, table)
}

/// How many rows a way of writing explains, each counted by its share of numbers.
fn try_way(lines: &[&[u8]], dialect: Dialect) -> Option<(f64, Table)> {
    let mut rows: BTreeMap<usize, Rows> = BTreeMap::new();
    let mut content = 0;
    for (index, line) in lines.iter().enumerate() {
        if is_blank(line) || is_comment(line, dialect) {
            continue;
        }
        content += 1;
        let cells: Vec<&[u8]> = split(line, dialect.delimiter).collect();
        let numbers = cells
            .iter()
            .filter(|cell| number(cell, dialect.decimal).is_some())
            .count();
        if numbers > 0 && numbers * 2 >= cells.len() {
            let entry = rows.entry(cells.len()).or_insert(Rows {
                first: index,
                before: content - 1,
                count: 0,
                score: 0.0,
            });
            entry.count += 1;
            entry.score += numbers as f64 / cells.len() as f64;
        }
    }
    let (&cells, found) = rows.iter().max_by(|a, b| a.1.score.total_cmp(&b.1.score))?;
    // A delimiter that never occurs is none.
    let delimited = cells > 1 || dialect.delimiter.is_none();
    let mostly_rows = found.count * 2 >= content - found.before;
    (found.count >= 2 && mostly_rows && delimited).then_some((
        found.score,
        Table {
            dialect,
            cells,
            first_row: found.first,
        },
    ))
}

struct Rows {
    /// Index of the first such line.
    first: usize,
    /// Lines with content before it.
    before: usize,
    count: usize,
    score: f64,
}

/// Commas between whole numbers may be decimal commas: `0,5` is one half or a row of two.
fn settle_commas(lines: &[&[u8]], table: Table) -> Result<Table, Refusal> {
    let dialect = table.dialect;
    if dialect.delimiter != Some(b',') || table.cells < 2 {
        return Ok(table);
    }
    let rows: Vec<Vec<&[u8]>> = lines[table.first_row..]
        .iter()
        .filter(|line| !is_blank(line) && !is_comment(line, dialect))
        .map(|line| split(line, dialect.delimiter).collect())
        .filter(|row: &Vec<&[u8]>| row.len() == table.cells)
        .collect();
    if !rows.iter().all(|row| may_be_decimals(row)) || spaced(&lines[table.first_row..]) {
        return Ok(table);
    }
    let padded = rows.iter().flatten().any(|cell| has_leading_zero(cell));
    let single = Table {
        dialect: Dialect {
            delimiter: None,
            decimal: b',',
        },
        cells: 1,
        ..table
    };
    match table.cells {
        2 if padded => Ok(single),
        2 if counts_up(&rows) || has_names(lines, table) => Ok(table),
        2 => Err(Refusal::Ambiguous),
        _ if padded => Err(Refusal::Ambiguous),
        _ => Ok(table),
    }
}

/// Whole numbers, signed at most before the decimal comma.
fn may_be_decimals(row: &[&[u8]]) -> bool {
    let digits = |cell: &[u8]| !cell.is_empty() && cell.iter().all(u8::is_ascii_digit);
    row.iter().enumerate().all(|(index, cell)| {
        let unsigned = if index % 2 == 0 {
            cell.strip_prefix(b"-").unwrap_or(cell)
        } else {
            cell
        };
        digits(unsigned)
    })
}

/// Nobody writes a space after a decimal comma.
fn spaced(lines: &[&[u8]]) -> bool {
    lines
        .iter()
        .any(|line| line.windows(2).any(|pair| pair == b", "))
}

/// `05` and `-0` are halves of decimal fractions, never whole numbers.
fn has_leading_zero(cell: &[u8]) -> bool {
    matches!(cell, [b'0', b'0'..=b'9', ..] | [b'-', b'0', ..])
}

/// The first column counts or measures time in equal whole steps.
fn counts_up(rows: &[Vec<&[u8]>]) -> bool {
    let first: Vec<f64> = rows.iter().filter_map(|row| number(row[0], b'.')).collect();
    let step = |pair: &[f64]| pair[1] - pair[0];
    let steps: Vec<f64> = first.windows(2).map(step).collect();
    steps.len() >= 3 && steps[0] > 0.0 && steps.iter().all(|step| *step == steps[0])
}

/// A line of as many names stands above the rows.
fn has_names(lines: &[&[u8]], table: Table) -> bool {
    lines[..table.first_row]
        .iter()
        .rev()
        .find(|line| !is_blank(line))
        .is_some_and(|line| {
            let names: Vec<&[u8]> = split(line, table.dialect.delimiter).collect();
            names.len() == table.cells
                && names
                    .iter()
                    .all(|name| cells::number(name, b'.').is_none() && !name.is_empty())
        })
}
