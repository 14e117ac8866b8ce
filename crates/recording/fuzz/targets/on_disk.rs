//! Bytes as a file: containers that can be looked into twice are opened differently.
#![no_main]

use std::io::Write;

use libfuzzer_sys::{Corpus, fuzz_target};
use recording::{OpenOptions, Recording};
use recording_fuzz::read;

fuzz_target!(|bytes: &[u8]| -> Corpus {
    let Ok(mut file) = tempfile::NamedTempFile::new() else {
        return Corpus::Reject;
    };
    if file.write_all(bytes).is_err() {
        return Corpus::Reject;
    }
    let _ = read(Recording::open(file.path(), &OpenOptions::default()));
    Corpus::Keep
});
