//! Every fixture, by what it must give or how it must be refused.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop at what it does not expect"
)]

use std::collections::BTreeSet;
use std::f64::consts::TAU;
use std::fs;
use std::path::PathBuf;

use recording::{Error, Gap, OpenOptions, Recording};

/// What a file must give: all samples from a formula, or a message.
enum Expect {
    /// Rate, channels, encoding, warnings, and the samples.
    Gives(f64, u16, &'static str, &'static [&'static str], Samples),
    /// The code, and words that the message must hold.
    Refused(&'static str, &'static [&'static str]),
}

/// Samples as the README of the fixtures describes them.
enum Samples {
    /// The integer codes, so many frames.
    Codes(usize),
    /// The codes with these bits cleared.
    CodesWithout(i32),
    /// The values of all 256 codes of a companding law, from the frozen table.
    Law(&'static str),
    /// Exactly these.
    These(&'static [f32]),
    /// The tone, exactly.
    Tone,
    /// The tone through a lossy codec: whole length in frames and most error, root mean square.
    About(usize, f64),
    /// The tone with holes; whole length, and the frames that are filled.
    Holes(usize, &'static [Gap]),
    /// Loop current of 40 mA in 33 of 100 rows, 0.25 mA else; 400 rows.
    Loop,
    /// The number of the row, 400 rows.
    Rows,
    /// Not compared beyond their count: another test looks at them.
    Count(usize),
}

use Expect::{Gives, Refused};
use Samples::*;

const fn gap(start_frame: u64, frames: u64) -> Gap {
    Gap {
        start_frame,
        frames,
    }
}

#[rustfmt::skip]
const TABLE: &[(&str, Expect)] = &[
    ("plain-01-16-bit.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Codes(500))),
    ("plain-02-16-bit-stereo.wav", Gives(8e3, 2, "WAV, 16-bit PCM", &[], Codes(500))),
    ("plain-03-clipped.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Count(12))),
    ("odd-01-odd-sized-chunk.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Codes(500))),
    ("odd-02-odd-sized-chunk-without-pad.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Codes(500))),
    ("odd-03-junk-and-bext-before-format.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Codes(500))),
    ("odd-04-24-bit-in-32-bit-words.wav", Gives(8e3, 1, "WAV, 24-bit PCM in 32-bit words", &[], Codes(500))),
    ("odd-05-12-bit-in-16-bit-words.wav", Gives(8e3, 1, "WAV, 12-bit PCM in 16-bit words", &[], CodesWithout(15))),
    ("odd-06-rf64.wav", Gives(8e3, 1, "RF64, 16-bit PCM", &[], Codes(500))),
    ("odd-07-bw64.wav", Gives(8e3, 1, "BW64, 16-bit PCM", &[], Codes(500))),
    ("odd-08-rifx.wav", Gives(8e3, 1, "RIFX, 16-bit PCM", &[], Codes(500))),
    ("odd-09-mulaw-16-byte-format.wav", Gives(8e3, 1, "WAV, mu-law", &[], Law("g711-mulaw.txt"))),
    ("odd-10-alaw-18-byte-format.wav", Gives(8e3, 1, "WAV, A-law", &[], Law("g711-alaw.txt"))),
    ("odd-11-64-bit-float.wav", Gives(8e3, 1, "WAV, 64-bit float", &[], Codes(500))),
    ("odd-12-extensible-float.wav", Gives(8e3, 1, "WAV, 32-bit float", &[], Codes(500))),
    ("odd-13-64-bit-integers.wav", Gives(8e3, 1, "WAV, 64-bit PCM", &[], Codes(500))),
    ("odd-14-format-without-bits.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Codes(500))),
    ("odd-15-wrong-extension.mp3", Gives(8e3, 1, "WAV, 16-bit PCM", &[], Codes(500))),
    ("odd-16-40-bit-integers.wav", Gives(8e3, 1, "WAV, 40-bit PCM", &[], Codes(500))),
    ("aiff-01-16-bit.aiff", Gives(8e3, 1, "AIFF, 16-bit PCM", &[], Codes(500))),
    ("aiff-02-little-endian.aifc", Gives(8e3, 1, "AIFF, 16-bit PCM", &[], Codes(500))),
    ("aiff-03-cut.aiff", Gives(8e3, 1, "AIFF, 16-bit PCM", &["truncated", "partial-frame"], Codes(300))),
    ("aiff-04-never-finished.aiff", Gives(8e3, 1, "AIFF, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("caf-01-16-bit.caf", Gives(8e3, 1, "CAF, 16-bit PCM", &[], Codes(500))),
    ("caf-02-never-finished.caf", Gives(8e3, 1, "CAF, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("caf-03-cut.caf", Gives(8e3, 1, "CAF, 16-bit PCM", &["truncated", "partial-frame"], Codes(300))),
    ("raw-01-16-bit.raw", Refused("unknown-format", &["s16le:48000:1"])),
    ("damaged-01-length-0.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("damaged-02-length-ffffffff.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("damaged-03-length-past-the-end.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &["truncated"], Codes(500))),
    ("damaged-04-cut-in-mid-frame.wav", Gives(8e3, 2, "WAV, 16-bit PCM", &["truncated", "partial-frame"], Codes(349))),
    ("damaged-05-length-7ffff000.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("damaged-06-wrong-frame-size.wav", Gives(8e3, 2, "WAV, 16-bit PCM", &["block-size"], Codes(500))),
    ("damaged-07-not-finite.wav", Gives(8e3, 1, "WAV, 32-bit float", &["non-finite"], These(&[0.5, 0.0, -0.5, 0.0, 0.0, 1.5]))),
    ("damaged-08-rf64-never-finished.wav", Gives(8e3, 1, "RF64, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("damaged-09-partial-last-frame.wav", Gives(8e3, 2, "WAV, 16-bit PCM", &["partial-frame"], Codes(499))),
    ("damaged-10-length-0-in-a-placeholder-of-36.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("damaged-11-length-0-in-a-placeholder-of-7ffff024.wav", Gives(8e3, 1, "WAV, 16-bit PCM", &["streamed-length"], Codes(500))),
    ("damaged-20-packet.flac", Gives(8e3, 1, "FLAC, 16-bit", &["damaged-packet"], Holes(8000, &[gap(4608, 1152)]))),
    ("damaged-21-packet.ogg", Gives(8e3, 1, "Ogg, Vorbis", &["damaged-packet"], Holes(8000, &[gap(5888, 1024)]))),
    ("damaged-22-packet.mp3", Gives(8e3, 1, "MP3", &["damaged-packet"], Holes(8111, &[gap(4655, 1152)]))),
    ("damaged-23-packet.m4a", Gives(8e3, 1, "M4A, AAC", &["damaged-packet"], Holes(9216, &[gap(3072, 2048)]))),
    ("damaged-24-packet.aac", Gives(8e3, 1, "AAC", &["damaged-packet"], Holes(9216, &[gap(5120, 2048)]))),
    ("damaged-25-cut.flac", Gives(8e3, 1, "FLAC, 16-bit", &["truncated"], Count(4608))),
    ("damaged-26-cut.ogg", Gives(8e3, 1, "Ogg, Vorbis", &["truncated"], About(4864, 0.01))),
    ("damaged-27-cut.mp3", Gives(8e3, 1, "MP3", &["truncated"], About(3503, 0.05))),
    ("damaged-28-cut.m4a", Gives(8e3, 1, "M4A, AAC", &["truncated"], About(3072, 0.05))),
    ("damaged-29-rate-changes.ogg", Gives(8e3, 1, "Ogg, Vorbis", &["format-changed"], About(8000, 0.01))),
    ("damaged-30-last-packet.flac", Gives(8e3, 1, "FLAC, 16-bit", &["truncated"], Count(6912))),
    ("damaged-31-first-packet.flac", Gives(8e3, 1, "FLAC, 16-bit", &["damaged-packet"], Holes(8000, &[gap(0, 1152)]))),
    ("tone-01.flac", Gives(8e3, 1, "FLAC, 16-bit", &[], Tone)),
    ("tone-02-vorbis.ogg", Gives(8e3, 1, "Ogg, Vorbis", &[], About(8000, 0.01))),
    ("tone-03-flac.ogg", Gives(8e3, 1, "Ogg, FLAC, 16-bit", &[], Tone)),
    ("tone-04.mp3", Gives(8e3, 1, "MP3", &[], About(8000, 0.05))),
    ("tone-05-aac-index-behind.m4a", Gives(8e3, 1, "M4A, AAC", &[], About(9216, 0.05))),
    ("tone-06-aac-index-before.m4a", Gives(8e3, 1, "M4A, AAC", &[], About(9216, 0.05))),
    ("tone-07-alac.m4a", Gives(8e3, 1, "M4A, ALAC, 16-bit", &[], Tone)),
    ("tone-08-alac.caf", Gives(8e3, 1, "CAF, ALAC, 16-bit", &[], Tone)),
    ("tone-09-aac.aac", Gives(8e3, 1, "AAC", &[], About(9216, 0.05))),
    ("tone-10-ima-adpcm.wav", Gives(8e3, 1, "WAV, IMA ADPCM", &[], About(8080, 0.05))),
    ("tone-11-adpcm.wav", Gives(8e3, 1, "WAV, ADPCM", &[], About(8000, 0.05))),
    ("tone-12-without-length.mp3", Gives(8e3, 1, "MP3", &[], About(9216, 0.05))),
    ("tone-13-two-in-one.ogg", Gives(8e3, 1, "Ogg, Vorbis", &[], Count(16000))),
    ("csv-01-comma.csv", Gives(8e3, 1, "CSV, comma, with times", &[], Loop)),
    ("csv-02-semicolon-decimal-comma-ms.csv", Gives(8e3, 1, "CSV, semicolon, decimal comma, with times", &[], Loop)),
    ("csv-03-tab-and-units-line.tsv", Gives(8e3, 1, "CSV, tab, with times", &[], Loop)),
    ("csv-04-spaces-and-comments.txt", Gives(8e3, 1, "CSV, space, with times", &[], Loop)),
    ("csv-05-quoted-crlf-bom.csv", Gives(8e3, 1, "CSV, comma, with times", &[], Loop)),
    ("csv-06-two-channels.csv", Gives(8e3, 2, "CSV, comma, with times", &[], Loop)),
    ("csv-07-jitter.csv", Gives(8e3, 1, "CSV, comma, with times", &["csv-rate", "csv-resampled"], Rows)),
    ("csv-08-cells-without-numbers.csv", Gives(8e3, 1, "CSV, comma, with times", &["csv-cell"], Count(400))),
    ("csv-09-one-column.csv", Refused("csv-no-rate", &["rate in Hz"])),
    ("csv-10-one-column-decimal-comma.csv", Refused("csv-no-rate", &["rate in Hz"])),
    ("csv-11-time-backwards.csv", Gives(8e3, 1, "CSV, comma, with times", &["csv-time"], Rows)),
    ("csv-12-time-leaps.csv", Gives(8e3, 1, "CSV, comma, with times", &["csv-time"], Count(80_400))),
    ("csv-13-micro-sign-in-latin-1.csv", Gives(8e3, 1, "CSV, semicolon, with times", &[], Loop)),
    ("csv-14-zeros-left-out.csv", Gives(48e3, 1, "CSV, comma, with times", &[], Loop)),
    ("csv-15-seconds-meant-as-ms.csv", Gives(8.0, 1, "CSV, comma, with times", &["csv-rate"], Loop)),
    ("csv-16-time-without-name.csv", Gives(8e3, 1, "CSV, comma, with times", &[], Loop)),
    ("csv-17-scope-header.csv", Gives(8e3, 1, "CSV, comma, with times", &[], Loop)),
    ("csv-18-missing-rows.csv", Gives(8e3, 1, "CSV, comma, with times", &["csv-resampled"], Rows)),
    ("csv-19-step-of-30-us.csv", Gives(1.0 / 3e-5, 1, "CSV, comma, with times", &["csv-rate"], Loop)),
    ("csv-20-coarse-times.csv", Gives(8e3, 1, "CSV, comma, with times", &["csv-rate"], Loop)),
    ("refused-01-empty.wav", Refused("empty-file", &["empty"])),
    ("refused-02-text.txt", Refused("text", &["CSV"])),
    ("refused-03-header-only.wav", Refused("no-samples", &["header"])),
    ("refused-04-rate-0.wav", Refused("zero-rate", &["sampling rate of 0"])),
    ("refused-05-no-channels.wav", Refused("zero-channels", &["0 channels"])),
    ("refused-06-unknown-tag.wav", Refused("unknown-codec", &["0x1234", "ffmpeg"])),
    ("refused-07-random-bytes.wav", Refused("unknown-format", &["raw samples"])),
    ("refused-08-float-of-7-bits.wav", Refused("bad-header", &["7 bits"])),
    ("refused-09-no-data-chunk.wav", Refused("no-samples", &["header"])),
    ("refused-10-samples-before-format.wav", Refused("bad-header", &["before their format"])),
    ("refused-11-cut-in-header.wav", Refused("bad-header", &["cut off"])),
    ("refused-12-header-only-then-notes.wav", Refused("no-samples", &["header"])),
    ("refused-13-unknown-sub-format.wav", Refused("unknown-codec", &["000102030405060708090a0b0c0d0e0f"])),
    ("refused-14-utf-16.csv", Refused("text", &["UTF-16", "UTF-8"])),
    ("refused-15-pcm-of-0-bits.wav", Refused("bad-header", &["0 bits"])),
    ("refused-20-csv-without-rate.csv", Refused("csv-no-rate", &["rate in Hz"])),
    ("refused-21-csv-ambiguous-commas.csv", Refused("csv-ambiguous", &["semicolons"])),
    ("refused-22-csv-header-only.csv", Refused("no-samples", &["no rows of numbers"])),
    ("refused-23-csv-times-only.csv", Refused("no-samples", &["time column"])),
    ("refused-24-csv-row-numbers.csv", Refused("csv-no-rate", &["rate in Hz"])),
    ("refused-25-csv-times-too-coarse.csv", Refused("csv-no-rate", &["more digits"])),
    ("refused-30-index-missing.m4a", Refused("bad-header", &["index"])),
    ("refused-31-opus.opus", Refused("unknown-codec", &["Opus", "ffmpeg"])),
    ("refused-32-opus.webm", Refused("unknown-codec", &["Opus", "ffmpeg"])),
    ("refused-33-opus.caf", Refused("unknown-codec", &["Opus", "ffmpeg"])),
    ("refused-34-speex.spx", Refused("unknown-codec", &["Speex", "ffmpeg"])),
    ("refused-35-wma.wma", Refused("unknown-codec", &["WMA", "ffmpeg"])),
    ("refused-36-ac3.m4a", Refused("unknown-codec", &["AC-3", "ffmpeg"])),
    ("refused-37-amr.amr", Refused("unknown-codec", &["AMR", "ffmpeg"])),
    ("refused-38-gsm.wav", Refused("unknown-codec", &["GSM", "0x0031", "ffmpeg"])),
    ("refused-39-wave64.w64", Refused("unknown-codec", &["Wave64", "ffmpeg"])),
];

/// What lies beside the fixtures: how they were made, and the frozen tables.
const NOT_FIXTURES: [&str; 6] = [
    "README.md",
    "make-wav.py",
    "make-compressed.sh",
    "g711.py",
    "g711-mulaw.txt",
    "g711-alaw.txt",
];

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/recording")
}

fn read(name: &str, options: &OpenOptions) -> Result<(Recording, Vec<f32>), Error> {
    let recording = Recording::open(&folder().join(name), options)?;
    to_end(recording)
}

fn to_end(mut recording: Recording) -> Result<(Recording, Vec<f32>), Error> {
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording.next_block(&mut block)? {
        assert!(!block.is_empty());
        assert!(block.iter().all(|sample| sample.is_finite()));
        all.extend_from_slice(&block);
    }
    assert!(block.is_empty());
    Ok((recording, all))
}

fn code(frame: usize, channel: usize) -> i32 {
    ((frame + 1000 * channel) * 7919 % 20_001) as i32 - 10_000
}

fn codes(frames: usize, channels: usize, clear: i32) -> Vec<f32> {
    let of_frame =
        |frame| (0..channels).map(move |channel| (code(frame, channel) & !clear) as f32 / 32_768.0);
    (0..frames).flat_map(of_frame).collect()
}

fn tone(frame: f64) -> f64 {
    0.5 * (TAU * 440.0 * frame / 8000.0).sin()
}

/// The tone as 16-bit codes.
fn exact_tone() -> Vec<f32> {
    let code = |k: u32| (32_768.0 * tone(f64::from(k))).round() as f32;
    (0..8000).map(|k| code(k) / 32_768.0).collect()
}

/// Root mean square of what is left after the best fit of a 440 Hz tone, its ends left out, where
/// codecs start late and stop. The phase is free: encoders delay by amounts of their own.
fn misfit(name: &str, samples: &[f32]) -> f64 {
    let inner = &samples[samples.len() / 2..samples.len() * 7 / 8];
    let phase = |k: usize| TAU * 440.0 * k as f64 / 8000.0;
    let n = inner.len() as f64;
    let project = |wave: fn(f64) -> f64| {
        2.0 / n
            * inner
                .iter()
                .enumerate()
                .map(|(k, x)| f64::from(*x) * wave(phase(k)))
                .sum::<f64>()
    };
    let (a, b) = (project(f64::sin), project(f64::cos));
    let miss = inner
        .iter()
        .enumerate()
        .map(|(k, x)| (f64::from(*x) - a * phase(k).sin() - b * phase(k).cos()).powi(2));
    let amplitude = a.hypot(b);
    assert!(
        (amplitude - 0.5).abs() < 0.03,
        "{name}: amplitude {amplitude}"
    );
    (miss.sum::<f64>() / n).sqrt()
}

fn frozen(name: &str) -> Vec<f32> {
    let text = fs::read_to_string(folder().join(name)).unwrap();
    let values: Vec<f32> = text
        .lines()
        .map(|line| line.parse::<f32>().unwrap() / 32_768.0)
        .collect();
    assert_eq!(values.len(), 256);
    values
}

fn check_samples(name: &str, recording: &Recording, got: &[f32], expected: &Samples) {
    let channels = usize::from(recording.facts().channels);
    let same = |expected: &[f32]| assert!(got == expected, "{name}: samples differ");
    match expected {
        Codes(frames) => same(&codes(*frames, channels, 0)),
        CodesWithout(bits) => same(&codes(500, channels, *bits)),
        Law(table) => same(&frozen(table)),
        These(samples) => same(samples),
        Tone => same(&exact_tone()),
        About(frames, most) => {
            assert_eq!(got.len(), *frames, "{name}");
            let misfit = misfit(name, got);
            assert!(misfit < *most, "{name}: {misfit}");
        }
        Holes(frames, gaps) => {
            assert_eq!(got.len(), *frames, "{name}");
            assert_eq!(recording.gaps(), *gaps, "{name}");
            for gap in *gaps {
                let start = gap.start_frame as usize;
                let held = start.checked_sub(1).map_or(0.0, |before| got[before]);
                let filled = &got[start..][..gap.frames as usize];
                assert!(filled.iter().all(|sample| *sample == held), "{name}");
            }
        }
        Loop => {
            let row = |k: usize| if k % 100 < 33 { 40.0 } else { 0.25 };
            let all: Vec<f32> = (0..400)
                .flat_map(|k| [row(k), -row(k)].into_iter().take(channels))
                .collect();
            same(&all);
        }
        Rows => {
            assert_eq!(got.len(), 400, "{name}");
            // Values equal to the row's place stay so under straight lines, to rounding in f32.
            for (k, sample) in got.iter().enumerate() {
                assert!(
                    (sample - k as f32).abs() < 1e-3,
                    "{name}: row {k} is {sample}"
                );
            }
        }
        Count(frames) => assert_eq!(got.len(), frames * channels, "{name}"),
    }
}

fn check(name: &str, result: Result<(Recording, Vec<f32>), Error>, expect: &Expect) {
    match (expect, result) {
        (Gives(rate, channels, encoding, warnings, samples), Ok((recording, got))) => {
            let facts = recording.facts();
            assert!(
                (facts.sample_rate_hz / rate - 1.0).abs() < 1e-12,
                "{name}: {}",
                facts.sample_rate_hz
            );
            assert_eq!(
                (facts.channels, facts.encoding.as_str()),
                (*channels, *encoding),
                "{name}"
            );
            let codes: Vec<&str> = recording
                .warnings()
                .iter()
                .map(|warning| warning.code)
                .collect();
            assert_eq!(codes, *warnings, "{name}: {:?}", recording.warnings());
            assert_eq!(
                recording.frames_read(),
                (got.len() / usize::from(*channels)) as u64,
                "{name}"
            );
            check_samples(name, &recording, &got, samples);
        }
        (Refused(code, words), Err(error)) => {
            let message = error.to_string();
            assert_eq!(error.code(), *code, "{name}: {message}");
            assert!(
                words.iter().all(|word| message.contains(word)),
                "{name}: {message}"
            );
            check_style(&message);
        }
        (Gives(..), Err(error)) => panic!("{name} is refused: {error}"),
        (Refused(code, _), Ok((recording, _))) => {
            panic!("{name} is not refused as {code}: {recording:?}")
        }
    }
}

/// A fragment that fits behind "cannot read X: ", on one line.
fn check_style(message: &str) {
    assert!(
        !message.contains('\n') && !message.ends_with('.'),
        "{message}"
    );
    let first: String = message
        .chars()
        .take_while(|c| c.is_alphanumeric())
        .collect();
    let is_name = first
        .chars()
        .skip(1)
        .any(|c| c.is_uppercase() || c.is_numeric());
    let starts_small = first.chars().next().is_some_and(char::is_lowercase);
    assert!(
        starts_small || is_name || ["Ogg", "Wave64", "WebM"].contains(&first.as_str()),
        "{message}"
    );
}

#[test]
fn every_fixture_gives_what_it_must() {
    for (name, expect) in TABLE {
        check(name, read(name, &OpenOptions::default()), expect);
    }
}

/// Where the samples are 16-bit integers, those are the same samples, clipped ones too.
#[test]
fn integers_of_sixteen_bits_are_given_as_such() {
    let mut tried = 0;
    for (name, _) in TABLE {
        let Ok(mut recording) = Recording::open(&folder().join(name), &OpenOptions::default())
        else {
            continue;
        };
        let (mut all, mut block) = (Vec::new(), Vec::new());
        if !recording.has_words() {
            assert!(!recording.next_words(&mut block).unwrap(), "{name}");
            continue;
        }
        while recording.next_words(&mut block).unwrap() {
            all.extend(block.iter().map(|&word| f32::from(word) / 32_768.0));
        }
        let (whole, values) = read(name, &OpenOptions::default()).unwrap();
        assert_eq!(all, values, "{name}");
        assert_eq!(recording.clipped(), whole.clipped(), "{name}");
        assert_eq!(recording.frames_read(), whole.frames_read(), "{name}");
        assert_eq!(recording.warnings(), whole.warnings(), "{name}");
        tried += 1;
    }
    assert!(tried > 20, "{tried}");
}

#[test]
fn the_table_and_the_folder_hold_the_same_files() {
    let in_folder: BTreeSet<String> = fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let in_table: BTreeSet<String> = TABLE
        .iter()
        .map(|(name, _)| (*name).to_owned())
        .chain(NOT_FIXTURES.map(str::to_owned))
        .collect();
    assert!(in_folder.len() > 100);
    assert_eq!(in_folder, in_table);
}

#[test]
fn every_fixture_is_described_in_the_readme() {
    let readme = fs::read_to_string(folder().join("README.md")).unwrap();
    for (name, _) in TABLE {
        assert!(readme.contains(&format!("`{name}`")), "{name}");
    }
}

#[test]
fn every_code_has_a_fixture() {
    let mut codes = BTreeSet::new();
    for (_, expect) in TABLE {
        match expect {
            Gives(.., warnings, _) => codes.extend(warnings.iter().copied()),
            Refused(code, _) => drop(codes.insert(code)),
        }
    }
    let all = [
        "bad-header",
        "block-size",
        "csv-ambiguous",
        "csv-cell",
        "csv-no-rate",
        "csv-rate",
        "csv-resampled",
        "csv-time",
        "damaged-packet",
        "empty-file",
        "format-changed",
        "no-samples",
        "non-finite",
        "partial-frame",
        "streamed-length",
        "text",
        "truncated",
        "unknown-codec",
        "unknown-format",
        "zero-channels",
        "zero-rate",
    ];
    assert_eq!(codes, BTreeSet::from(all));
}

#[test]
fn a_pipe_gives_what_the_file_gives() {
    // These need an index or a length that stands at the end.
    const NOT_PIPED: [&str; 5] = [
        "tone-05-aac-index-behind.m4a",
        "tone-07-alac.m4a",
        "tone-08-alac.caf",
        "refused-30-index-missing.m4a",
        "refused-36-ac3.m4a",
    ];
    // Nothing at the end of a pipe tells that more was meant to come.
    const NOT_NOTICED: [&str; 1] = ["damaged-26-cut.ogg"];
    for (name, expect) in TABLE {
        let file = fs::File::open(folder().join(name)).unwrap();
        let piped =
            Recording::from_reader(Box::new(file), name, &OpenOptions::default()).and_then(to_end);
        if NOT_PIPED.contains(name) {
            assert_eq!(piped.unwrap_err().code(), "not-seekable", "{name}");
        } else if !NOT_NOTICED.contains(name) {
            check(name, piped, expect);
        }
    }
}

#[test]
fn runs_at_either_end_of_the_scale_count_as_clipped() {
    // 3 x highest, one highest alone, 2 x lowest, highest next to lowest: 5 stand in runs.
    let (recording, _) = read("plain-03-clipped.wav", &OpenOptions::default()).unwrap();
    assert_eq!(recording.clipped(), [5]);
    let (recording, _) = read("damaged-07-not-finite.wav", &OpenOptions::default()).unwrap();
    assert_eq!(recording.clipped(), [0]);
}

#[test]
fn raw_samples_are_read_in_the_format_given() {
    let raw = OpenOptions {
        raw: Some("s16le:8000:1".parse().unwrap()),
        ..OpenOptions::default()
    };
    let result = read("raw-01-16-bit.raw", &raw);
    check(
        "raw",
        result,
        &Gives(8e3, 1, "raw, 16-bit PCM", &[], Codes(500)),
    );
    let stereo = OpenOptions {
        raw: Some("s16le:44100:2".parse().unwrap()),
        ..OpenOptions::default()
    };
    assert_eq!(
        read("raw-01-16-bit.raw", &stereo).unwrap().0.frames_read(),
        250
    );
}

#[test]
fn a_given_rate_serves_tables_without_times() {
    let given = OpenOptions {
        csv_rate_hz: Some(4000.0),
        ..OpenOptions::default()
    };
    check(
        "one column",
        read("csv-09-one-column.csv", &given),
        &Gives(4e3, 1, "CSV, one column", &[], Loop),
    );
    check(
        "a time column that disagrees",
        read("csv-01-comma.csv", &given),
        &Gives(4e3, 1, "CSV, comma, with times", &["csv-rate"], Loop),
    );
    let (recording, got) = read("csv-10-one-column-decimal-comma.csv", &given).unwrap();
    assert_eq!(recording.facts().encoding, "CSV, one column, decimal comma");
    assert_eq!((got[5], got[399]), (0.05, 3.99));
    let (recording, _) = read("refused-24-csv-row-numbers.csv", &given).unwrap();
    assert_eq!(
        (recording.facts().channels, recording.frames_read()),
        (1, 400)
    );
}

#[test]
fn cells_without_numbers_hold_the_value_before() {
    let (recording, got) =
        read("csv-08-cells-without-numbers.csv", &OpenOptions::default()).unwrap();
    assert_eq!(got[8..16], [8.0, 9.0, 9.0, 9.0, 9.0, 9.0, 14.0, 15.0]);
    assert!(
        recording.warnings()[0].message.contains("(4)"),
        "{:?}",
        recording.warnings()
    );
}

#[test]
fn missing_rows_are_reported_as_a_gap() {
    let (recording, _) = read("csv-18-missing-rows.csv", &OpenOptions::default()).unwrap();
    assert_eq!(recording.gaps(), [gap(100, 10)]);
    let (recording, _) = read("csv-08-cells-without-numbers.csv", &OpenOptions::default()).unwrap();
    assert_eq!(recording.gaps(), [gap(10, 4)]);
    let (recording, _) = read("csv-11-time-backwards.csv", &OpenOptions::default()).unwrap();
    assert_eq!(recording.gaps(), [gap(200, 0)]);
    let (recording, _) = read("csv-12-time-leaps.csv", &OpenOptions::default()).unwrap();
    assert_eq!(recording.gaps(), [gap(200, 80_000)]);
}

#[test]
fn what_is_no_file_is_refused() {
    let options = OpenOptions::default();
    for (path, code) in [
        (folder(), "folder"),
        (folder().join("none.wav"), "not-found"),
    ] {
        let error = Recording::open(&path, &options).unwrap_err();
        assert_eq!(error.code(), code);
        check_style(&error.to_string());
    }
}

#[test]
fn raw_formats_are_three_parts() {
    for text in [
        "",
        "s16le",
        "s16le:8000",
        "s16:8000:1",
        "s16le:0:1",
        "s16le:nan:1",
        "s16le:8000:0",
        "s16le:8000:1:1",
    ] {
        let error = text.parse::<recording::RawFormat>().unwrap_err();
        assert_eq!(error.code(), "bad-raw-format", "{text}");
    }
}

/// A picture has no sound to be converted.
#[test]
fn what_holds_no_sound_is_named_without_advice_to_convert_it() {
    let cases: [(&[u8], &str); 4] = [
        (b"\x89PNG\r\n\x1a\n", "picture"),
        (b"%PDF-1.7\n", "PDF"),
        (b"PK\x03\x04\x14\x00\x00\x00", "unpack"),
        (b"MThd\x00\x00\x00\x06", "notes"),
    ];
    for (head, word) in cases {
        let mut bytes = head.to_vec();
        bytes.resize(4096, 0x5A);
        let error = Recording::from_reader(
            Box::new(std::io::Cursor::new(bytes)),
            "a file",
            &OpenOptions::default(),
        )
        .expect_err("no sound");
        let message = error.to_string();
        assert_eq!(error.code(), "no-sound");
        assert!(
            message.contains(word) && !message.contains("ffmpeg"),
            "{message}"
        );
    }
}
