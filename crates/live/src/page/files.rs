//! Where captures and figures go. Every name is made here.

use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Names for the next capture, `bench-001.wav` and so on, from the first that no file in `folder` has.
pub(crate) fn captures(folder: &Path) -> impl Iterator<Item = PathBuf> {
    (1_u32..)
        .map(|number| folder.join(format!("bench-{number:03}.wav")))
        .filter(|path| path.symlink_metadata().is_err())
}

/// Writes `text` to a neighbour of `path` and gives it the name when it is complete.
pub(crate) fn write_whole(path: &Path, text: &str) -> io::Result<()> {
    let neighbour = path.with_extension("partial");
    let written = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .open(&neighbour)
        .and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&neighbour, path));
    if written.is_err() {
        let _ = fs::remove_file(&neighbour);
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_is_taken_is_not_given_again() {
        let folder = tempfile::tempdir().unwrap();
        let next = || captures(folder.path()).next().unwrap();
        assert_eq!(next(), folder.path().join("bench-001.wav"));
        fs::write(next(), "").unwrap();
        fs::write(folder.path().join("bench-003.wav"), "").unwrap();
        assert_eq!(next(), folder.path().join("bench-002.wav"));
        fs::write(next(), "").unwrap();
        assert_eq!(next(), folder.path().join("bench-004.wav"));
    }

    #[test]
    fn what_cannot_be_written_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bench-001.json");
        write_whole(&path, "{}").unwrap();
        write_whole(&path, "[]").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "[]");
        assert!(write_whole(&folder.path().join("none/bench.json"), "").is_err());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
