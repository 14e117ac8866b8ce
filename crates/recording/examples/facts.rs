//! Prints what is known of each recording named, read to its end.
#![expect(clippy::print_stdout, reason = "an example shows its result")]

use std::path::Path;

use recording::{Error, OpenOptions, Recording};

fn main() {
    for path in std::env::args().skip(1) {
        match read(Path::new(&path)) {
            Ok(recording) => println!(
                "{path}: {recording:#?}\n  gaps {:?}, clipped {:?}",
                recording.gaps(),
                recording.clipped()
            ),
            Err(error) => println!("cannot read {path}: {error} [{}]", error.code()),
        }
    }
}

fn read(path: &Path) -> Result<Recording, Error> {
    let mut recording = match path.to_str() {
        Some("-") => {
            Recording::from_reader(Box::new(std::io::stdin()), "", &OpenOptions::default())?
        }
        _ => Recording::open(path, &OpenOptions::default())?,
    };
    let mut frames = Vec::new();
    while recording.next_block(&mut frames)? {}
    Ok(recording)
}
