//! Nothing is invented: tones from libspandsp's generators (fixtures/nothing), and hours of speech,
//! music, bells and noise from Debian packages, gathered by tests/outside/fetch_audio.py.
#![allow(
    clippy::unwrap_used,
    reason = "a fixture that is not as it was frozen must fail the test"
)]
#![allow(
    clippy::print_stdout,
    reason = "hours and doubtful digits are for a person to read"
)]

mod outside_support;

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use outside_support::{Complaints, folder, traces};
use score::Settings;

/// A digit that nobody dialled.
#[derive(Debug)]
#[expect(dead_code, reason = "pulses and start are read through Debug")]
struct Invented {
    pulses: usize,
    start_s: f64,
    sure: bool,
}

/// What one file holds, over all channels.
struct Heard {
    seconds: f64,
    invented: Vec<Invented>,
}

fn listen(path: &Path) -> Result<Heard, recording::Error> {
    let traces = traces(path)?;
    let invented = traces
        .iter()
        .flat_map(|trace| score::score(trace, &Settings::default()).digits)
        .map(|digit| Invented {
            pulses: digit.pulses,
            start_s: digit.start_s,
            sure: digit.sure,
        })
        .collect();
    let seconds = traces[0].samples as f64 / traces[0].sample_rate_hz;
    Ok(Heard { seconds, invented })
}

fn check_tones(is_wrong: fn(&Invented) -> bool) {
    let files = files_under(&folder("nothing"));
    assert_eq!(files.len(), 8);
    let mut complaints = Complaints::default();
    for path in files {
        let mut invented = listen(&path).unwrap().invented;
        invented.retain(is_wrong);
        complaints.unless(invented.is_empty(), || {
            let file = path.file_name().unwrap().display();
            format!("{file}: {} invented: {invented:?}", invented.len())
        });
    }
    complaints.raise();
}

/// A wrong digit reported as sure is the worst thing the tool can do.
#[test]
fn no_digit_is_sure_in_tones() {
    check_tones(|digit| digit.sure);
}

#[test]
fn no_digit_is_found_in_tones() {
    check_tones(|_| true);
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
    let is_known = |e: &std::ffi::OsStr| known.iter().any(|k| e.eq_ignore_ascii_case(k));
    path.is_file() && path.extension().is_some_and(is_known)
}

fn fetched() -> PathBuf {
    env::var_os("FINGERSTOP_AUDIO_DIR").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/outside-audio"),
        PathBuf::from,
    )
}

/// What a whole folder holds.
#[derive(Default)]
struct Tally {
    seconds: f64,
    unreadable: Vec<String>,
    unsure: usize,
    sure: Vec<String>,
}

impl Tally {
    fn add(&mut self, name: &str, heard: Result<Heard, recording::Error>) {
        let heard = match heard {
            Ok(heard) => heard,
            Err(error) => return self.unreadable.push(format!("{name}: {error}")),
        };
        self.seconds += heard.seconds;
        for digit in heard.invented {
            let line = format!("{name}: {digit:?}");
            // At once, so that hours of work are not lost when the run is stopped.
            println!("{line}");
            if digit.sure {
                self.sure.push(line);
            } else {
                self.unsure += 1;
            }
        }
    }

    fn hours(&self) -> f64 {
        self.seconds / 3600.0
    }

    fn print(&self) {
        println!(
            "{:.2} hours: {} digits sure, {} unsure; {} files unreadable\n{}",
            self.hours(),
            self.sure.len(),
            self.unsure,
            self.unreadable.len(),
            self.unreadable.join("\n")
        );
    }
}

/// At least this much must have been read, so that a failed download does not pass for silence: the
/// speech packages alone hold 2.4 hours.
const LEAST_HOURS: f64 = 2.0;

/// Runs over whatever was fetched. No digit may be sure; those that are unsure are listed, since each is
/// work for a person to look at.
#[test]
#[ignore = "needs the sound that tests/outside/fetch_audio.py gathers"]
fn no_digit_is_sure_in_hours_of_other_sound() {
    let folder = fetched();
    assert!(
        folder.is_dir(),
        "{} is not there; run tests/outside/fetch_audio.py",
        folder.display()
    );
    let mut tally = Tally::default();
    for path in files_under(&folder) {
        let name = path.strip_prefix(&folder).unwrap().display().to_string();
        tally.add(&name, listen(&path));
    }
    tally.print();
    assert!(
        tally.hours() >= LEAST_HOURS,
        "only {:.2} hours could be read; run tests/outside/fetch_audio.py",
        tally.hours()
    );
    assert!(
        tally.sure.is_empty(),
        "{} digits are sure where nobody dialled:\n{}",
        tally.sure.len(),
        tally.sure.join("\n")
    );
}
