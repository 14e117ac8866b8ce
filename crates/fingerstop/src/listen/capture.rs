//! Where the capture goes.

use std::path::{Path, PathBuf};

use crate::stop::Stop;

/// Numbers of captures beside one another at most.
const MOST: u32 = 9999;

/// The named file, or the first free one of a row: `listen-001.wav`, or by the name of the dial.
pub(crate) fn choose(named: Option<&Path>, dial_id: Option<&str>) -> Result<PathBuf, Stop> {
    if let Some(path) = named {
        return verified(path);
    }
    let stem = dial_id.map(plain).filter(|stem| !stem.is_empty());
    let stem = stem.unwrap_or_else(|| "listen".to_owned());
    (1..=MOST)
        .map(|number| PathBuf::from(format!("{stem}-{number:03}.wav")))
        .find(|path| !path.exists())
        .ok_or_else(|| {
            Stop::Failed(format!(
                "{stem}-001.wav to {stem}-{MOST}.wav exist; name another with -o"
            ))
        })
}

fn verified(path: &Path) -> Result<PathBuf, Stop> {
    if path.as_os_str() == "-" {
        let message = "a capture is kept in a file that can be gone back in: -o FILE.wav, not -";
        return Err(Stop::Usage(message.to_owned()));
    }
    if path.exists() {
        return Err(Stop::Failed(format!(
            "{} exists, and a capture never overwrites a file; name another",
            path.display()
        )));
    }
    Ok(path.to_owned())
}

/// What of a dial's name can stand in the name of a file anywhere.
fn plain(dial_id: &str) -> String {
    let kept: String = dial_id
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || "-_".contains(c) {
                c
            } else {
                '-'
            }
        })
        .take(60)
        .collect();
    kept.trim_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_of_a_dial_becomes_that_of_a_file() {
        assert_eq!(plain("bench 12/3"), "bench-12-3");
        assert_eq!(plain("../../etc"), "etc");
        assert_eq!(plain("???"), "");
    }
}
