//! Where results go: standard output, or a file that is written whole or not at all.

use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::interrupt;
use crate::stop::{Exit, Stop};

/// An open output.
#[derive(Debug)]
pub(crate) enum Output {
    /// Standard output.
    Standard,
    /// A device or a pipe, written as it comes.
    Device(File, PathBuf),
    /// A file, written to a neighbour and renamed.
    Whole(Whole),
}

impl Output {
    /// Opens the output before any work is done. Without a path, or with `-`, it is standard output.
    pub(crate) fn open(path: Option<&Path>, force: bool) -> Result<Output, Stop> {
        match path {
            None => Ok(Output::Standard),
            Some(path) if path.as_os_str() == "-" => Ok(Output::Standard),
            Some(path) => match fs::metadata(path) {
                Ok(found) if found.is_dir() => Err(Stop::Failed(format!(
                    "cannot write {}: it is a folder",
                    path.display()
                ))),
                Ok(found) if !found.is_file() => {
                    let device = OpenOptions::new()
                        .write(true)
                        .open(path)
                        .map_err(|error| failed(path, &error))?;
                    Ok(Output::Device(device, path.to_owned()))
                }
                _ => Whole::open(path, force).map(Output::Whole),
            },
        }
    }

    /// True for standard output.
    pub(crate) fn is_standard(&self) -> bool {
        matches!(self, Output::Standard)
    }

    /// Writes `text`. `so_far` is how the command ends if the reader has gone.
    pub(crate) fn write(&mut self, text: &str, so_far: Exit) -> Result<(), Stop> {
        self.write_bytes(text.as_bytes(), so_far)
    }

    /// Writes `bytes`, such as those of a picture.
    pub(crate) fn write_bytes(&mut self, bytes: &[u8], so_far: Exit) -> Result<(), Stop> {
        match self {
            Output::Standard => write_standard(bytes)
                .map_err(|error| closed_or(&error, Path::new("standard output"), so_far)),
            Output::Device(file, path) => file
                .write_all(bytes)
                .map_err(|error| closed_or(&error, path, so_far)),
            Output::Whole(whole) => whole.write(bytes),
        }
    }

    /// Finishes the output: a file gets its name.
    pub(crate) fn commit(self) -> Result<(), Stop> {
        match self {
            Output::Whole(whole) => whole.commit(),
            Output::Standard | Output::Device(..) => Ok(()),
        }
    }
}

fn write_standard(bytes: &[u8]) -> io::Result<()> {
    let mut standard = io::stdout().lock();
    standard.write_all(bytes)?;
    standard.flush()
}

fn closed_or(error: &io::Error, path: &Path, so_far: Exit) -> Stop {
    if error.kind() == ErrorKind::BrokenPipe {
        Stop::Closed(so_far)
    } else {
        failed(path, error)
    }
}

/// Text on standard output, for commands that say one thing.
pub(crate) fn print(text: &str) -> Result<Exit, Stop> {
    Output::Standard
        .write(text, Exit::Good)
        .map(|()| Exit::Good)
}

fn failed(path: &Path, error: &io::Error) -> Stop {
    let way_out = match error.kind() {
        ErrorKind::NotFound => "the folder does not exist; make it first".to_owned(),
        ErrorKind::PermissionDenied => {
            "the system does not permit it; choose another folder".to_owned()
        }
        ErrorKind::StorageFull => "the disk is full".to_owned(),
        _ => error.to_string(),
    };
    Stop::Failed(format!("cannot write {}: {way_out}", path.display()))
}

/// A file that gets its name only when it is complete.
#[derive(Debug)]
pub(crate) struct Whole {
    file: File,
    neighbour: PathBuf,
    path: PathBuf,
    force: bool,
}

impl Whole {
    /// Opens a neighbour of `path`; refuses a `path` that exists unless `force`.
    pub(crate) fn open(path: &Path, force: bool) -> Result<Whole, Stop> {
        refuse_existing(path, force)?;
        // A link keeps pointing where it points: what it names is replaced, not the link.
        let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let neighbour = neighbour_of(&path)?;
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&neighbour)
            .map_err(|error| failed(&path, &error))?;
        interrupt::begun(&neighbour);
        Ok(Whole {
            file,
            neighbour,
            path,
            force,
        })
    }

    /// Writes the next bytes.
    pub(crate) fn write(&mut self, bytes: &[u8]) -> Result<(), Stop> {
        self.file
            .write_all(bytes)
            .map_err(|error| failed(&self.path, &error))
    }

    /// Where the bytes are until they are complete, for writers that want a path.
    pub(crate) fn neighbour(&self) -> &Path {
        &self.neighbour
    }

    /// Gives the file its name.
    pub(crate) fn commit(self) -> Result<(), Stop> {
        refuse_existing(&self.path, self.force)?;
        self.file
            .sync_all()
            .map_err(|error| failed(&self.path, &error))?;
        fs::rename(&self.neighbour, &self.path).map_err(|error| failed(&self.path, &error))
    }
}

impl Drop for Whole {
    /// Removes the neighbour if it did not get its name.
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.neighbour);
        interrupt::done(&self.neighbour);
    }
}

fn refuse_existing(path: &Path, force: bool) -> Result<(), Stop> {
    if !force && path.symlink_metadata().is_ok() {
        return Err(Stop::Failed(format!(
            "{} exists already; add --force to overwrite it",
            path.display()
        )));
    }
    Ok(())
}

/// A name beside `path` that no other run uses.
fn neighbour_of(path: &Path) -> Result<PathBuf, Stop> {
    let name = path.file_name().ok_or_else(|| {
        Stop::Failed(format!("cannot write {}: it names no file", path.display()))
    })?;
    let mut neighbour = std::ffi::OsString::from(".");
    neighbour.push(name);
    neighbour.push(format!(".{}.partial", std::process::id()));
    Ok(path.with_file_name(neighbour))
}
