//! Tables of loop current or voltage, as oscilloscopes and loggers export them.
//!
//! Values pass through unchanged, in the column's own unit: a table has no full scale, and finding
//! its largest value would need a second pass that a pipe cannot give.

mod cells;
mod columns;
mod dialect;
mod grid;
mod lines;
mod rate;

use crate::source::ByteSource;
use crate::stream::{Notes, Opened, Stream};
use crate::{Error, Facts, Gap, OpenOptions};

use cells::{Dialect, split};
use columns::{Columns, TimeColumn};
use grid::Grid;
use lines::Lines;

/// Bytes at the start from which delimiter, columns and rate are found: some seconds of signal, so
/// that the rate is known to parts in a million.
const SAMPLE_BYTES: usize = 1 << 20;

/// Beyond this, a time is damage: its neighbours on the grid could no longer be told apart.
const MOST_TIME: f64 = 1e15;

/// Samples gathered into one block.
const BLOCK_SAMPLES: usize = 64 * 1024;

/// Opens text, or refuses it if it is no table of numbers.
pub(crate) fn open(
    mut source: ByteSource,
    name: &str,
    options: &OpenOptions,
) -> Result<Opened, Error> {
    let sample = source.peek(SAMPLE_BYTES).map_err(Error::io)?;
    let lines = lines::complete(sample, sample.len() == SAMPLE_BYTES);
    let table = dialect::find(&lines).map_err(|refusal| refusal.error(name))?;
    let columns = columns::find(&lines, &table);
    let mut notes = Notes::default();
    let sample_rate_hz = rate::find(&columns, options.csv_rate_hz, &mut notes)?;
    let channels = channels(&columns)?;
    let facts = Facts {
        sample_rate_hz,
        channels,
        encoding: describe(table.dialect, &columns),
        frames: None,
    };
    let time = columns.time.filter(|_| options.csv_rate_hz.is_none());
    let stream = CsvStream {
        lines: Lines::new(source),
        dialect: table.dialect,
        skip_lines: table.first_row,
        // The times of the sample have served.
        time: time.map(|time| TimeColumn {
            times_s: Vec::new(),
            ..time
        }),
        values: columns.values,
        sample_rate_hz,
        grid: Grid::new(usize::from(channels), sample_rate_hz),
        row: vec![0.0; usize::from(channels)],
        ended: false,
    };
    Ok(Opened {
        facts,
        extremes: None,
        stream: Box::new(stream),
        notes,
    })
}

fn channels(columns: &Columns) -> Result<u16, Error> {
    match u16::try_from(columns.values.len()) {
        Ok(0) => Err(Error::new(
            "no-samples",
            "it has a time column and no column of values; export the current too",
        )),
        Ok(count) => Ok(count),
        Err(_) => Err(Error::new(
            "text",
            "it has more columns than a recording has channels; transpose it",
        )),
    }
}

fn describe(dialect: Dialect, columns: &Columns) -> String {
    let comma = if dialect.decimal == b',' {
        ", decimal comma"
    } else {
        ""
    };
    let time = if columns.time.is_some() {
        ", with times"
    } else {
        ""
    };
    format!("CSV, {}{comma}{time}", dialect.delimiter_name())
}

/// Rows, one after the other.
struct CsvStream {
    lines: Lines,
    dialect: Dialect,
    /// Lines before the first row of numbers.
    skip_lines: usize,
    time: Option<TimeColumn>,
    values: Vec<usize>,
    sample_rate_hz: f64,
    grid: Grid,
    row: Vec<f32>,
    ended: bool,
}

impl CsvStream {
    /// Takes in one line.
    fn take(&mut self, line: &[u8], frames: &mut Vec<f32>, notes: &mut Notes) {
        if cells::is_blank(line) || cells::is_comment(line, self.dialect) {
            return;
        }
        let cells: Vec<&[u8]> = split(line, self.dialect.delimiter).collect();
        let number = |column: usize| {
            cells
                .get(column)
                .and_then(|cell| cells::number(cell, self.dialect.decimal))
        };
        let mut read = 0;
        for (slot, &column) in self.row.iter_mut().zip(&self.values) {
            if let Some(value) = number(column) {
                *slot = value as f32;
                read += 1;
            }
        }
        count_unreadable(self.row.len() - read, notes);
        let start_frame = self.grid.frames();
        self.place(&cells, read > 0, frames, notes);
        let given = self.grid.frames() - start_frame;
        if read == 0 && given > 0 {
            notes.gap(Gap {
                start_frame,
                frames: given,
            });
        }
    }

    /// Puts the row that was read to its time; `has_value` says whether any of it is new.
    fn place(
        &mut self,
        cells: &[&[u8]],
        has_value: bool,
        frames: &mut Vec<f32>,
        notes: &mut Notes,
    ) {
        let Some(time) = &self.time else {
            self.grid.push_next(&self.row, frames);
            return;
        };
        let cell = cells.get(time.column);
        let at = cell
            .and_then(|cell| cells::number(cell, self.dialect.decimal))
            .filter(|at| at.abs() < MOST_TIME);
        if let (Some(cell), Some(at)) = (cell, at) {
            let per_unit = time.unit_s * self.sample_rate_hz;
            let resolution = time.fineness.resolution(cell, at, self.dialect.decimal) * per_unit;
            self.grid
                .push(at * per_unit, resolution, &self.row, frames, notes);
        } else if has_value {
            // A line without time and value is a remark; one with a value is a sample.
            count_unreadable(1, notes);
            self.grid.push_next(&self.row, frames);
        }
    }
}

fn count_unreadable(cells: usize, notes: &mut Notes) {
    if cells > 0 {
        let template = "cells without a number ({}): the value before them was held";
        notes.count("csv-cell", cells as u64, template);
    }
}

impl Stream for CsvStream {
    fn next(&mut self, frames: &mut Vec<f32>, notes: &mut Notes) -> Result<(), Error> {
        let mut line = Vec::new();
        while frames.len() < BLOCK_SAMPLES && !self.ended {
            if !self.lines.next(&mut line).map_err(Error::io)? {
                self.ended = true;
            } else if self.skip_lines > 0 {
                self.skip_lines -= 1;
            } else {
                self.take(&line, frames, notes);
            }
        }
        Ok(())
    }
}
