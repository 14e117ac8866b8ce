//! Which column is time and which are values.

use super::cells::{Fineness, is_blank, is_comment, number, split};
use super::dialect::Table;

/// Lines right above the rows that may name columns and units.
const MOST_HEADER_LINES: usize = 3;

/// Fewest rows from which a column without a name is taken for time.
const FEWEST_ROWS: usize = 4;

/// What the columns are.
#[derive(Debug, Clone)]
pub(crate) struct Columns {
    pub(crate) time: Option<TimeColumn>,
    /// Columns that are channels, in order.
    pub(crate) values: Vec<usize>,
}

/// The column of the times.
#[derive(Debug, Clone)]
pub(crate) struct TimeColumn {
    pub(crate) column: usize,
    /// One unit of the column in seconds.
    pub(crate) unit_s: f64,
    /// Whether the unit is written above the column.
    pub(crate) unit_named: bool,
    /// Times in the sample in seconds, in order.
    pub(crate) times_s: Vec<f64>,
    /// The coarsest resolution of these, in seconds.
    pub(crate) resolution_s: f64,
    pub(crate) fineness: Fineness,
}

/// Finds the columns of a table.
pub(crate) fn find(lines: &[&[u8]], table: &Table) -> Columns {
    let rows: Vec<Vec<&[u8]>> = rows(lines, table);
    let numeric: Vec<usize> = (0..table.cells)
        .filter(|&column| mostly_numbers(&rows, column, table))
        .collect();
    let names: Vec<String> = (0..table.cells)
        .map(|column| name(lines, table, column))
        .collect();
    let time = time_column(&rows, &numeric, &names, table);
    let taken = time.as_ref().map(|time| time.column);
    let values = numeric
        .into_iter()
        .filter(|&column| Some(column) != taken)
        .collect();
    Columns { time, values }
}

fn rows<'a>(lines: &[&'a [u8]], table: &Table) -> Vec<Vec<&'a [u8]>> {
    lines[table.first_row..]
        .iter()
        .filter(|line| !is_blank(line) && !is_comment(line, table.dialect))
        .map(|line| split(line, table.dialect.delimiter).collect())
        .collect()
}

fn mostly_numbers(rows: &[Vec<&[u8]>], column: usize, table: &Table) -> bool {
    let is_number = |row: &&Vec<&[u8]>| {
        row.get(column)
            .is_some_and(|cell| number(cell, table.dialect.decimal).is_some())
    };
    rows.iter().filter(is_number).count() * 2 >= rows.len()
}

/// The words above a column, in lower case.
fn name(lines: &[&[u8]], table: &Table, column: usize) -> String {
    let above = lines[..table.first_row]
        .iter()
        .rev()
        .filter(|line| !is_blank(line));
    let mut parts: Vec<String> = above
        .take(MOST_HEADER_LINES)
        .map(|line| line.trim_ascii_start())
        .map(|line| {
            line.strip_prefix(b"#")
                .or(line.strip_prefix(b"%"))
                .unwrap_or(line)
        })
        .map(|line| split(line, table.dialect.delimiter).collect::<Vec<_>>())
        .filter(|cells| cells.len() == table.cells)
        .filter_map(|cells| cells.get(column).map(|cell| latin(cell).to_lowercase()))
        .collect();
    parts.reverse();
    parts.join(" ")
}

/// Header text in UTF-8 or, failing that, in Latin-1, where the micro sign often comes from.
fn latin(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().copied().map(char::from).collect(),
    }
}

fn time_column(
    rows: &[Vec<&[u8]>],
    numeric: &[usize],
    names: &[String],
    table: &Table,
) -> Option<TimeColumn> {
    let named = numeric.iter().find_map(|&column| {
        let heading = heading(&names[column])?;
        let time = gather(rows, column, table, heading.unit_s)?;
        // A logger that starts again falls back now and then; a signal falls half of the time.
        let falls = time
            .times_s
            .windows(2)
            .filter(|pair| pair[1] < pair[0])
            .count();
        (falls * 20 < time.times_s.len()).then_some(TimeColumn {
            unit_named: heading.unit_named,
            ..time
        })
    });
    named.or_else(|| {
        let &first = numeric.first().filter(|_| numeric.len() > 1)?;
        gather(rows, first, table, 1.0).filter(is_evenly_rising)
    })
}

/// The times of a column, if it has any two that differ.
fn gather(rows: &[Vec<&[u8]>], column: usize, table: &Table, unit_s: f64) -> Option<TimeColumn> {
    let decimal = table.dialect.decimal;
    let cells = || {
        let column = rows.iter().filter_map(move |row| row.get(column).copied());
        column.filter_map(move |cell| number(cell, decimal).map(|time| (cell, time)))
    };
    let mut fineness = Fineness::default();
    cells().for_each(|(cell, _)| fineness.add(cell, decimal));
    let times_s: Vec<f64> = cells().map(|(_, time)| time * unit_s).collect();
    let resolutions = cells().map(|(cell, time)| fineness.resolution(cell, time, decimal) * unit_s);
    let resolution_s = resolutions.fold(0.0, f64::max);
    let differ = times_s.windows(2).any(|pair| pair[1] > pair[0]);
    differ.then_some(TimeColumn {
        column,
        unit_s,
        unit_named: false,
        times_s,
        resolution_s,
        fineness,
    })
}

/// Without a name, only a column that rises in equal steps is time.
fn is_evenly_rising(time: &TimeColumn) -> bool {
    let times = &time.times_s;
    let mean = (times[times.len() - 1] - times[0]) / (times.len() - 1) as f64;
    // Two ends of a step are each rounded by half a last digit.
    let slack = 0.01 * mean + time.resolution_s;
    times.len() >= FEWEST_ROWS
        && times
            .windows(2)
            .all(|pair| pair[1] > pair[0] && (pair[1] - pair[0] - mean).abs() <= slack)
}

/// What the words above a column say of time.
struct Heading {
    unit_s: f64,
    unit_named: bool,
}

/// `None` if the words do not speak of time.
fn heading(name: &str) -> Option<Heading> {
    const TIME: [&str; 12] = [
        "time",
        "t",
        "times",
        "timestamp",
        "elapsed",
        "zeit",
        "temps",
        "tiempo",
        "tempo",
        "tid",
        "tijd",
        "czas",
    ];
    let words: Vec<&str> = name
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    let unit = words.iter().find_map(|word| unit_s(word));
    let is_time = words.iter().any(|word| TIME.contains(word));
    let only_units = !words.is_empty() && words.iter().all(|word| unit_s(word).is_some());
    (is_time || only_units || words == ["x"]).then_some(Heading {
        unit_s: unit.unwrap_or(1.0),
        unit_named: unit.is_some(),
    })
}

fn unit_s(word: &str) -> Option<f64> {
    Some(match word {
        "s" | "sec" | "secs" | "second" | "seconds" => 1.0,
        "ms" | "msec" | "millisecond" | "milliseconds" => 1e-3,
        // U+00B5 is the micro sign, U+03BC the Greek letter.
        "us" | "usec" | "\u{b5}s" | "\u{3bc}s" | "microsecond" | "microseconds" => 1e-6,
        "ns" | "nsec" | "nanosecond" | "nanoseconds" => 1e-9,
        "min" | "minute" | "minutes" => 60.0,
        _ => return None,
    })
}
