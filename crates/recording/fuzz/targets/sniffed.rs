//! Bytes through every reader that their beginning asks for, whole and in small pieces.
#![no_main]

use libfuzzer_sys::fuzz_target;
use recording::OpenOptions;
use recording_fuzz::piped;

fuzz_target!(|bytes: &[u8]| {
    let options = OpenOptions::default();
    let whole = piped(bytes, usize::MAX, &options);
    let step = 1 + bytes.last().map_or(0, |b| usize::from(b % 7));
    assert!(whole == piped(bytes, step, &options), "in steps of {step}");
});
