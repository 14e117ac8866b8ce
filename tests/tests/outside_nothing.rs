//! Nothing is invented: tones from libspandsp's generators (fixtures/nothing), and hours of speech,
//! music, bells and noise from Debian packages, gathered by tests/outside/fetch_audio.py.

mod outside_support;

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use outside_support::{Complaints, folder, traces};
use score::Settings;

/// What was found in one file: (pulses, start in seconds, sure) of each digit, over all channels.
fn digits(path: &Path) -> Result<(f64, Vec<(usize, f64, bool)>), recording::Error> {
    let traces = traces(path)?;
    let seconds = traces[0].samples as f64 / traces[0].sample_rate_hz;
    let found = traces
        .iter()
        .flat_map(|trace| score::score(trace, &Settings::default()).digits)
        .map(|digit| (digit.pulses, digit.start_s, digit.sure))
        .collect();
    Ok((seconds, found))
}

#[test]
#[ignore = "busy, congestion and ringback tones are taken for pulses"]
fn no_digit_is_found_in_tones() {
    let files = files_under(&folder("nothing"));
    assert_eq!(files.len(), 8);
    let mut complaints = Complaints::default();
    for path in files {
        let (_, found) = digits(&path).unwrap();
        complaints.unless(found.is_empty(), || {
            format!("{}: found {found:?}", path.display())
        });
    }
    complaints.raise();
}

fn files_under(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.is_symlink() {
            files.extend(files_under(&path));
        } else if is_audio(&path) {
            files.push(path);
        }
    }
    files.sort();
    files
}

fn is_audio(path: &Path) -> bool {
    let known = ["wav", "ogg", "oga", "flac", "aiff", "mp3"];
    path.is_file()
        && path
            .extension()
            .is_some_and(|e| known.iter().any(|k| e.eq_ignore_ascii_case(k)))
}

fn fetched() -> PathBuf {
    env::var_os("FINGERSTOP_AUDIO_DIR").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/outside-audio"),
        PathBuf::from,
    )
}

/// At least this much must be there, so that a failed download does not pass for silence: the speech
/// packages alone hold 2.4 hours.
const LEAST_HOURS: f64 = 2.0;

/// Runs over whatever was fetched. No digit may be sure; the few that are unsure are listed, since each
/// is work for a person to look at.
#[test]
#[ignore = "needs the sound that tests/outside/fetch_audio.py gathers"]
fn no_digit_is_found_in_hours_of_other_sound() {
    let folder = fetched();
    assert!(
        folder.is_dir(),
        "{} is not there; run tests/outside/fetch_audio.py",
        folder.display()
    );
    let (mut hours, mut unreadable, mut unsure) = (0.0, Vec::new(), Vec::new());
    let mut complaints = Complaints::default();
    for path in files_under(&folder) {
        let name = path.strip_prefix(&folder).unwrap().display().to_string();
        match digits(&path) {
            Err(error) => unreadable.push(format!("{name}: {error}")),
            Ok((seconds, found)) => {
                hours += seconds / 3600.0;
                let (sure, doubtful): (Vec<_>, Vec<_>) =
                    found.into_iter().partition(|digit| digit.2);
                complaints.unless(sure.is_empty(), || format!("{name}: sure of {sure:?}"));
                unsure.extend(
                    doubtful
                        .into_iter()
                        .map(|digit| format!("{name}: {digit:?}")),
                );
            }
        }
    }
    println!(
        "{hours:.2} hours, {} files unreadable, {} digits unsure",
        unreadable.len(),
        unsure.len()
    );
    println!("{}", [unreadable, unsure].concat().join("\n"));
    complaints.raise();
    assert!(hours >= LEAST_HOURS, "only {hours:.2} hours could be read");
}
