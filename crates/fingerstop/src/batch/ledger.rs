//! The file of results: one whole line a recording, written as they come, read again for the table.

use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::Deserialize;
use xxhash_rust::xxh3::xxh3_128;

use super::fingerprint::Fingerprint;
use crate::stop::Stop;

/// Where a line lies in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    offset: u64,
    bytes: u32,
}

/// The file of results.
pub(crate) struct Ledger {
    file: File,
    path: PathBuf,
    end: u64,
    /// What an earlier run left: hash of the path to place and content.
    earlier: HashMap<u128, (Place, Fingerprint)>,
    /// Lines that a later one about the same recording replaces.
    stale: Vec<Place>,
}

/// The fields by which an earlier line is known again.
#[derive(Deserialize)]
struct Known {
    input: String,
    source: Option<Fingerprint>,
}

impl Ledger {
    /// A file of its own that vanishes with the run.
    pub(crate) fn temporary() -> Result<Ledger, Stop> {
        let failed = |error| {
            Stop::Failed(format!(
                "cannot write a temporary file: {error}; set TMPDIR to a folder with room"
            ))
        };
        let file = tempfile::tempfile().map_err(failed)?;
        Ok(Ledger {
            file,
            path: PathBuf::from("a temporary file"),
            end: 0,
            earlier: HashMap::new(),
            stale: Vec::new(),
        })
    }

    /// The file that the user named; one that exists is gone on with if `resume`, else replaced if `force`.
    pub(crate) fn open(
        path: &Path,
        resume: bool,
        force: bool,
        options: &str,
    ) -> Result<Ledger, Stop> {
        if !resume && !force && path.symlink_metadata().is_ok() {
            return Err(Stop::Failed(format!(
                "{} exists already; add --resume to go on with it, or --force to overwrite it",
                path.display()
            )));
        }
        let opened = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(!resume)
            .open(path);
        let mut ledger = Ledger {
            file: opened.map_err(|error| unwritable(path, &error))?,
            path: path.to_owned(),
            end: 0,
            earlier: HashMap::new(),
            stale: Vec::new(),
        };
        if resume {
            ledger.take_up(options)?;
        }
        Ok(ledger)
    }

    /// Reads what an earlier run left, and cuts off a line that it could not finish.
    fn take_up(&mut self, options: &str) -> Result<(), Stop> {
        let mut reader =
            BufReader::new(self.file.try_clone().map_err(|error| self.failed(&error))?);
        let mut line = String::new();
        loop {
            line.clear();
            let read = reader
                .read_line(&mut line)
                .map_err(|error| self.failed(&error))?;
            if read == 0 || !line.ends_with('\n') {
                break;
            }
            self.remember(&line, options)?;
            self.end += read as u64;
        }
        self.file
            .set_len(self.end)
            .map_err(|error| self.failed(&error))
    }

    fn remember(&mut self, line: &str, options: &str) -> Result<(), Stop> {
        let refuse =
            |why: &str| Stop::Usage(format!("cannot go on with {}: {why}", self.path.display()));
        let known: Known = serde_json::from_str(line).map_err(|error| {
            refuse(&format!(
                "it holds a line that is no result ({error}); name another file"
            ))
        })?;
        let Some(source) = known.source else {
            return Ok(());
        };
        if source.options != options {
            return Err(refuse(&format!(
                "it was made by other options ({}); repeat those, or name another file",
                source.options
            )));
        }
        let place = Place {
            offset: self.end,
            bytes: line.len() as u32,
        };
        let replaced = self.earlier.insert(key(&known.input), (place, source));
        self.stale.extend(replaced.map(|(place, _)| place));
        Ok(())
    }

    /// The line of an earlier run about `input`, if its content is the same.
    pub(crate) fn earlier(&self, input: &str, now: &Fingerprint) -> Option<Place> {
        let (place, then) = self.earlier.get(&key(input))?;
        then.same_content(now).then_some(*place)
    }

    /// Appends one whole line about `input`.
    pub(crate) fn append(&mut self, input: &str, line: &str) -> Result<Place, Stop> {
        let replaced = self.earlier.remove(&key(input));
        self.stale.extend(replaced.map(|(place, _)| place));
        let place = Place {
            offset: self.end,
            bytes: line.len() as u32,
        };
        let written = self
            .file
            .seek(SeekFrom::Start(self.end))
            .and_then(|_| self.file.write_all(line.as_bytes()));
        written.map_err(|error| self.failed(&error))?;
        self.end += line.len() as u64;
        Ok(place)
    }

    /// Reads a line again.
    pub(crate) fn read(&mut self, place: Place) -> Result<String, Stop> {
        let mut line = vec![0; place.bytes as usize];
        let read = self
            .file
            .seek(SeekFrom::Start(place.offset))
            .and_then(|_| self.file.read_exact(&mut line));
        read.map_err(|error| self.failed(&error))?;
        String::from_utf8(line).map_err(|_| {
            Stop::Failed(format!(
                "{} was changed while it was used",
                self.path.display()
            ))
        })
    }

    /// Takes out the lines that a changed recording has made untrue.
    pub(crate) fn drop_stale(&mut self) -> Result<(), Stop> {
        if self.stale.is_empty() {
            return Ok(());
        }
        self.stale.sort_unstable_by_key(|place| place.offset);
        let folder = self
            .path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        let mut neighbour = tempfile::NamedTempFile::new_in(folder.unwrap_or(Path::new(".")))
            .map_err(|error| self.failed(&error))?;
        let end = Place {
            offset: self.end,
            bytes: 0,
        };
        let mut from = 0;
        for place in std::mem::take(&mut self.stale).into_iter().chain([end]) {
            self.copy(from, place.offset, neighbour.as_file_mut())
                .map_err(|error| self.failed(&error))?;
            from = place.offset + u64::from(place.bytes);
        }
        self.file = neighbour
            .persist(&self.path)
            .map_err(|error| self.failed(&error.error))?;
        Ok(())
    }

    fn copy(&mut self, from: u64, to: u64, target: &mut File) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(from))?;
        io::copy(&mut (&self.file).take(to - from), target).map(drop)
    }

    /// Makes sure that every line is on the disk.
    pub(crate) fn settle(&self) -> Result<(), Stop> {
        self.file.sync_all().map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &io::Error) -> Stop {
        unwritable(&self.path, error)
    }
}

fn unwritable(path: &Path, error: &io::Error) -> Stop {
    Stop::Failed(format!("cannot write {}: {error}", path.display()))
}

/// Paths are known by 128 bits of hash: a million of them share one by chance in 1 of 10^26 batches.
pub(crate) fn key(input: &str) -> u128 {
    xxh3_128(input.as_bytes())
}
