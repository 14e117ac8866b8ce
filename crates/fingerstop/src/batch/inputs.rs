//! Which recordings a batch measures: found as they are wanted, never held all at once.

use std::io::{BufRead, BufReader, stdin};
use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use crate::stop::Stop;

/// Endings of files that a folder is searched for. A file that is named is read whatever its ending: what it
/// holds is told from its contents.
const ENDINGS: [&str; 20] = [
    "wav", "wave", "bwf", "rf64", "w64", "aif", "aiff", "aifc", "caf", "flac", "ogg", "oga", "mp3",
    "m4a", "mp4", "aac", "csv", "tsv", "au", "raw",
];

/// Patterns match as in a shell: a star does not begin with a dot, and does not cross a folder.
const AS_A_SHELL: glob::MatchOptions = glob::MatchOptions {
    case_sensitive: true,
    require_literal_separator: true,
    require_literal_leading_dot: true,
};

/// A path to be measured, or why a path leads nowhere.
pub(crate) type Found = Result<PathBuf, Lost>;

/// A path that leads to no recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Lost {
    /// As it was named.
    pub(crate) path: PathBuf,
    /// What is wrong with it.
    pub(crate) why: String,
}

/// Everything below `paths`, in their order and sorted within a folder.
pub(crate) fn find(paths: &[PathBuf]) -> Result<Box<dyn Iterator<Item = Found> + Send>, Stop> {
    if paths.iter().filter(|path| path.as_os_str() == "-").count() > 1 {
        return Err(Stop::Usage(
            "standard input (-) can be read only once".to_owned(),
        ));
    }
    let paths = paths.to_vec();
    Ok(Box::new(paths.into_iter().flat_map(expanded)))
}

/// How many recordings `paths` lead to, without holding them; `None` when a list comes from standard input.
pub(crate) fn count(paths: &[PathBuf]) -> Option<u64> {
    if paths.iter().any(|path| path.as_os_str() == "-") {
        return None;
    }
    let all = paths.iter().cloned().flat_map(expanded);
    Some(all.count() as u64)
}

fn expanded(path: PathBuf) -> Box<dyn Iterator<Item = Found> + Send> {
    if path.as_os_str() == "-" {
        return Box::new(listed());
    }
    named(path)
}

/// A folder, a file or a pattern. A file whose name looks like a pattern is a file.
fn named(path: PathBuf) -> Box<dyn Iterator<Item = Found> + Send> {
    if path.is_dir() {
        return Box::new(folder(&path));
    }
    let text = path.to_string_lossy().into_owned();
    if path.exists() || !text.contains(['*', '?', '[']) {
        return Box::new(std::iter::once(Ok(path)));
    }
    match glob::glob_with(&text, AS_A_SHELL) {
        Ok(found) => Box::new(matching(path, found.collect())),
        Err(error) => Box::new(std::iter::once(Err(Lost {
            path,
            why: format!("it is no pattern: {error}"),
        }))),
    }
}

fn matching(
    pattern: PathBuf,
    found: Vec<Result<PathBuf, glob::GlobError>>,
) -> Box<dyn Iterator<Item = Found> + Send> {
    if found.is_empty() {
        let why = "no file fits this pattern".to_owned();
        return Box::new(std::iter::once(Err(Lost { path: pattern, why })));
    }
    Box::new(found.into_iter().flat_map(|one| match one {
        Ok(path) if path.is_dir() => {
            Box::new(folder(&path)) as Box<dyn Iterator<Item = Found> + Send>
        }
        Ok(path) => Box::new(std::iter::once(Ok(path))),
        Err(error) => Box::new(std::iter::once(Err(Lost {
            path: error.path().to_owned(),
            why: error.error().to_string(),
        }))),
    }))
}

/// Recordings below `folder`, sorted by name. Hidden files are passed over: systems put notes of their own
/// beside recordings.
fn folder(folder: &Path) -> impl Iterator<Item = Found> + Send + use<> {
    let visible = |entry: &DirEntry| {
        entry.depth() == 0 || !entry.file_name().to_string_lossy().starts_with('.')
    };
    let root = folder.to_owned();
    let walk = WalkDir::new(folder)
        .sort_by_file_name()
        .into_iter()
        .filter_entry(visible);
    walk.filter_map(move |entry| match entry {
        Ok(entry) if entry.file_type().is_dir() || !is_recording(entry.path()) => None,
        Ok(entry) => Some(Ok(entry.into_path())),
        Err(error) => Some(Err(Lost {
            path: error.path().unwrap_or(&root).to_owned(),
            why: error
                .io_error()
                .map_or_else(|| error.to_string(), ToString::to_string),
        })),
    })
}

fn is_recording(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending.is_some_and(|ending| {
        ENDINGS
            .iter()
            .any(|known| ending.eq_ignore_ascii_case(known))
    })
}

/// Paths from standard input, one a line; lines may end with a zero byte instead, as `find -print0` writes them.
fn listed() -> impl Iterator<Item = Found> + Send {
    let lines = BufReader::new(stdin()).lines();
    lines.flat_map(|line| match line {
        Ok(line) => {
            let paths: Vec<PathBuf> = line
                .split('\0')
                .map(str::trim_end)
                .filter(|p| !p.is_empty())
                .map(PathBuf::from)
                .collect();
            Box::new(paths.into_iter().flat_map(named)) as Box<dyn Iterator<Item = Found> + Send>
        }
        Err(error) => Box::new(std::iter::once(Err(Lost {
            path: PathBuf::from("standard input"),
            why: error.to_string(),
        }))),
    })
}
