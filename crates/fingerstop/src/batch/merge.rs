//! Results of earlier batches put together: the parts of a box that several machines measured.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};

use report::Row;

use super::ledger::key;
use crate::stop::{Stop, tell};

/// Hands every whole line of `files` to `add`, with its row. A recording that several files hold is taken
/// once, as the last file has it.
pub(crate) fn merge(
    files: &[PathBuf],
    mut add: impl FnMut(&Row, &str) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let last = last_of_each(files)?;
    for (number, path) in files.iter().enumerate() {
        each_line(path, |line_number, line, row| {
            if last.get(&key(&row.input)) == Some(&(number, line_number)) {
                add(&row, line)?;
            }
            Ok(())
        })?;
    }
    Ok(())
}

/// For each recording the file and the line that hold its last result.
fn last_of_each(files: &[PathBuf]) -> Result<std::collections::HashMap<u128, (usize, u64)>, Stop> {
    let mut last = std::collections::HashMap::new();
    for (number, path) in files.iter().enumerate() {
        each_line(path, |line_number, _, row| {
            last.insert(key(&row.input), (number, line_number));
            Ok(())
        })?;
    }
    Ok(last)
}

fn each_line(
    path: &Path,
    mut take: impl FnMut(u64, &str, Row) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let refuse = |why: &dyn std::fmt::Display| {
        Stop::Failed(format!("cannot read {}: {why}", path.display()))
    };
    let mut reader = BufReader::new(File::open(path).map_err(|error| refuse(&error))?);
    let mut line = String::new();
    for number in 0.. {
        line.clear();
        if reader
            .read_line(&mut line)
            .map_err(|error| refuse(&error))?
            == 0
        {
            break;
        }
        if !line.ends_with('\n') {
            tell(&format!(
                "{} ends in the middle of a result, which is left out",
                path.display()
            ));
            break;
        }
        let row =
            Row::read(&line).map_err(|error| refuse(&format!("line {}: {error}", number + 1)))?;
        take(number, &line, row)?;
    }
    Ok(())
}
