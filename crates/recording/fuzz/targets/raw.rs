//! Bytes as samples without a header. The first two bytes choose encoding and channels.
#![no_main]

use libfuzzer_sys::fuzz_target;
use recording::OpenOptions;
use recording_fuzz::piped;

const ENCODINGS: [&str; 14] = [
    "u8", "s8", "s16le", "s16be", "s24le", "s24be", "s32le", "s32be", "f32le", "f32be", "f64le",
    "f64be", "mulaw", "alaw",
];

fuzz_target!(|bytes: &[u8]| {
    let [encoding, channels, samples @ ..] = bytes else {
        return;
    };
    let encoding = ENCODINGS[usize::from(*encoding) % ENCODINGS.len()];
    let format = format!("{encoding}:8000:{}", 1 + channels % 5);
    let options = OpenOptions {
        raw: Some(format.parse().expect("it is written as documented")),
        ..OpenOptions::default()
    };
    let whole = piped(samples, usize::MAX, &options);
    assert!(whole == piped(samples, 1 + usize::from(channels >> 4), &options));
});
