//! Why a recording cannot be read.

use std::io;

/// A recording that cannot be read: one line for a person, a stable code for a program.
///
/// The line is a lower-case fragment that fits behind "cannot read X: " and says the way out.
#[derive(Debug, thiserror::Error)]
#[error("{message}")]
pub struct Error {
    code: &'static str,
    message: String,
    source: Option<io::Error>,
}

impl Error {
    pub(crate) fn new(code: &'static str, message: impl Into<String>) -> Error {
        Error {
            code,
            message: one_line(&message.into()),
            source: None,
        }
    }

    pub(crate) fn io(error: io::Error) -> Error {
        let (code, message) = match error.kind() {
            io::ErrorKind::NotFound => (
                "not-found",
                "there is no such file; check the path".to_owned(),
            ),
            io::ErrorKind::PermissionDenied => (
                "no-permission",
                "the system does not permit it; check the file's permissions".to_owned(),
            ),
            _ => (
                "read-failed",
                format!("reading failed ({error}); copy it to a local disk and try again"),
            ),
        };
        Error {
            code,
            message: one_line(&message),
            source: Some(error),
        }
    }

    /// The stable code of this error, such as `empty-file`; it never changes its meaning.
    ///
    /// | code | what is wrong |
    /// |---|---|
    /// | `not-found`, `no-permission`, `read-failed` | the system refuses the bytes |
    /// | `folder` | the path is a folder |
    /// | `empty-file` | there is not one byte |
    /// | `no-samples` | a header, but no samples |
    /// | `text` | text that is no table of numbers |
    /// | `unknown-format` | no format that is known here |
    /// | `unknown-codec` | a format or codec that is known by name but cannot be decoded |
    /// | `bad-header` | a header that contradicts itself or is cut off |
    /// | `zero-rate`, `zero-channels` | the header says a rate of 0 or no channels |
    /// | `bad-raw-format` | a raw format that cannot be understood |
    /// | `csv-no-rate` | a table without time column, and no rate was given |
    /// | `csv-ambiguous` | a table whose commas can be read in two ways |
    /// | `not-seekable` | the format needs a file on disk, not a pipe |
    pub fn code(&self) -> &'static str {
        self.code
    }
}

/// Text from a file may hold anything; a message is one printable line.
pub(crate) fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}
