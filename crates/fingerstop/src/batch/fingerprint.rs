//! What tells that a file holds what it held when it was measured.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;
use std::time::UNIX_EPOCH;

use serde::{Deserialize, Serialize};
use xxhash_rust::xxh3::Xxh3;

/// Bytes read at a time: they stay in the first cache until they are hashed.
const BLOCK: usize = 32 * 1024;

/// The file that a result was made from, and by which options.
#[derive(Clone, Debug, Deserialize, PartialEq, Eq, Serialize)]
pub(crate) struct Fingerprint {
    /// Length, in bytes.
    pub(crate) bytes: u64,
    /// Time of its last change, in nanoseconds since 1970, as text: JSON's numbers do not hold so many digits.
    /// Empty when the system does not say.
    pub(crate) modified_ns: String,
    /// XXH3 of its content, 128 bits as hexadecimal digits.
    pub(crate) xxh3: String,
    /// The options that it was measured by.
    pub(crate) options: String,
}

impl Fingerprint {
    /// Reads the file at `path` once.
    pub(crate) fn of(path: &Path, options: &str) -> io::Result<Fingerprint> {
        let facts = fs::metadata(path)?;
        let modified = facts
            .modified()
            .ok()
            .and_then(|at| at.duration_since(UNIX_EPOCH).ok());
        Ok(Fingerprint {
            bytes: facts.len(),
            modified_ns: modified
                .map(|since| since.as_nanos().to_string())
                .unwrap_or_default(),
            xxh3: hash(path, facts.len())?,
            options: options.to_owned(),
        })
    }

    /// True when both have the same content. A file that was only copied or touched counts as the same.
    pub(crate) fn same_content(&self, other: &Fingerprint) -> bool {
        self.bytes == other.bytes && self.xxh3 == other.xxh3
    }
}

fn hash(path: &Path, bytes: u64) -> io::Result<String> {
    let mut file = File::open(path)?;
    let mut hasher = Xxh3::new();
    // No larger than a short file wants it.
    let mut block = vec![0; bytes.clamp(1, BLOCK as u64) as usize];
    loop {
        let read = file.read(&mut block)?;
        if read == 0 {
            return Ok(format!("{:032x}", hasher.digest128()));
        }
        hasher.update(&block[..read]);
    }
}
