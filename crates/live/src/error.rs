//! What ends a sitting before its time.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Why a sitting cannot begin or go on. What was captured up to then is kept and can be measured.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The capture file is there already; a capture never overwrites anything.
    #[error("{} exists, and a capture never overwrites a file; name another", .0.display())]
    Exists(PathBuf),
    /// The capture cannot be written.
    #[error("cannot write {}: {message}", .path.display())]
    Storage {
        /// The capture file.
        path: PathBuf,
        /// What is wrong and the way out.
        message: String,
        /// The disk is full.
        full: bool,
    },
    /// A WAV file holds no more.
    #[error("{} is full: a WAV file holds at most 4 GiB; begin another capture", .0.display())]
    FileFull(PathBuf),
    /// The input loses samples over and over.
    #[error(
        "the input lost samples {0} times, more than a capture can be trusted with; see `listen --probe-check`"
    )]
    TooManyGaps(usize),
    /// Of two channels that were one signal one was kept, and now they differ.
    #[error(
        "both channels of the input were one signal, of which one was kept, and now they differ; begin another capture"
    )]
    Parted,
    /// The format of the input cannot be measured.
    #[error("{0}")]
    Format(String),
}

impl Error {
    pub(crate) fn storage(path: &Path, error: &io::Error) -> Error {
        let full = matches!(
            error.kind(),
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge
        );
        let message = match error.kind() {
            ErrorKind::AlreadyExists => return Error::Exists(path.to_owned()),
            ErrorKind::NotFound => "the folder does not exist; make it first".to_owned(),
            ErrorKind::PermissionDenied => {
                "the system does not permit it; choose another folder".to_owned()
            }
            _ if full => "the disk is full; what was captured up to here is kept".to_owned(),
            _ => error.to_string(),
        };
        Error::Storage {
            path: path.to_owned(),
            message,
            full,
        }
    }

    pub(crate) fn hound(path: &Path, error: hound::Error) -> Error {
        match error {
            hound::Error::IoError(error) => Error::storage(path, &error),
            other => Error::Storage {
                path: path.to_owned(),
                message: other.to_string(),
                full: false,
            },
        }
    }
}
