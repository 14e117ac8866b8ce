//! Whatever the bytes are and however they come, reading ends, and gives the same.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop at what it does not expect"
)]

use std::fs;
use std::io::{self, Cursor, Read};
use std::path::PathBuf;

use proptest::prelude::*;
use recording::{OpenOptions, Recording, Warning};

/// Hands out its bytes in steps of 1 to `most`, drawn from a fixed sequence.
struct Dribble {
    bytes: Cursor<Vec<u8>>,
    state: u64,
    most: u64,
}

impl Read for Dribble {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.state = self
            .state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        if self.state >> 61 == 0 {
            return Err(io::ErrorKind::Interrupted.into());
        }
        let step = (1 + (self.state >> 33) % self.most) as usize;
        let step = step.min(buffer.len());
        self.bytes.read(&mut buffer[..step])
    }
}

/// All that reading gives: samples by their bits, or the code of the refusal.
type Outcome = Result<(Vec<u32>, Vec<Warning>, Vec<u64>), &'static str>;

fn outcome(reader: Box<dyn Read + Send>, options: &OpenOptions) -> Outcome {
    /// Far more than any of these bytes can hold, since holes are filled up to a bound.
    const MOST_SAMPLES: usize = 50_000_000;
    let mut recording =
        Recording::from_reader(reader, "", options).map_err(|error| error.code())?;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording
        .next_block(&mut block)
        .map_err(|error| error.code())?
    {
        assert!(!block.is_empty() && block.iter().all(|sample| sample.is_finite()));
        assert_eq!(block.len() % usize::from(recording.facts().channels), 0);
        all.extend(block.iter().map(|sample| sample.to_bits()));
        assert!(all.len() < MOST_SAMPLES);
    }
    Ok((
        all,
        recording.warnings().to_vec(),
        recording.clipped().to_vec(),
    ))
}

fn whole(bytes: &[u8], options: &OpenOptions) -> Outcome {
    outcome(Box::new(Cursor::new(bytes.to_vec())), options)
}

/// Names and bytes of all fixtures, in order.
fn fixtures() -> Vec<(String, Vec<u8>)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/recording");
    let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            (
                path.file_name().unwrap().to_string_lossy().into_owned(),
                fs::read(&path).unwrap(),
            )
        })
        .collect();
    files.sort();
    assert!(files.len() > 100);
    files
}

#[test]
fn the_samples_do_not_depend_on_how_the_bytes_come() {
    let options = OpenOptions::default();
    for (name, bytes) in fixtures() {
        let expected = whole(&bytes, &options);
        for (seed, most) in [(1, 1), (2, 3), (3, 1000), (4, 100_000)] {
            let dribble = Dribble {
                bytes: Cursor::new(bytes.clone()),
                state: seed,
                most,
            };
            assert!(
                outcome(Box::new(dribble), &options) == expected,
                "{name}, steps to {most}"
            );
        }
    }
}

/// A WAV longer than several blocks, of a frame size that divides no power of two.
#[test]
fn long_recordings_do_not_depend_on_how_the_bytes_come() {
    let spec = hound::WavSpec {
        channels: 3,
        sample_rate: 8000,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    (0..300_000i32).for_each(|index| writer.write_sample(index * 27 % 8_388_607).unwrap());
    writer.finalize().unwrap();
    let bytes = bytes.into_inner();
    let expected = whole(&bytes, &OpenOptions::default());
    assert_eq!(expected.as_ref().unwrap().0.len(), 300_000);
    for most in [7, 70_000, 1_000_000] {
        let dribble = Dribble {
            bytes: Cursor::new(bytes.clone()),
            state: 9,
            most,
        };
        assert!(outcome(Box::new(dribble), &OpenOptions::default()) == expected);
    }
}

/// Beginnings that lead into every reader.
const MAGICS: [&[u8]; 16] = [
    b"",
    b"RIFF\xFF\xFF\xFF\xFFWAVEfmt ",
    b"RF64\xFF\xFF\xFF\xFFWAVEds64",
    b"RIFX\0\0\0\xFFWAVE",
    b"FORM\0\0\0\xFFAIFFCOMM",
    b"caff\0\x01\0\0desc\0\0\0\0\0\0\0\x20",
    b"fLaC",
    b"OggS\0\x02",
    b"ID3\x03\0",
    b"\xFF\xFB\x90\0",
    b"\xFF\xF1\x50\x80",
    b"\0\0\0\x20ftypM4A ",
    b"t,a\n0,1\n",
    b"1;2\n",
    b"0,5\n",
    b"\xEF\xBB\xBFt",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_are_read_to_an_end_or_refused(magic in 0..MAGICS.len(), tail in prop::collection::vec(any::<u8>(), 0..3000)) {
        let bytes = [MAGICS[magic], &tail].concat();
        let _: Outcome = whole(&bytes, &OpenOptions::default());
    }

    #[test]
    fn random_text_is_read_to_an_end_or_refused(text in "[-0-9.,;eE\t \n\"#a-z]{0,400}", rate in prop::option::of(1.0..1e6f64)) {
        let options = OpenOptions { csv_rate_hz: rate, ..OpenOptions::default() };
        let _: Outcome = whole(text.as_bytes(), &options);
    }

    #[test]
    fn random_tables_are_read_to_an_end(rows in prop::collection::vec((any::<f64>(), any::<f32>()), 2..60)) {
        let lines = rows.iter().map(|(time, value)| format!("{time:e},{value}\n"));
        let table = format!("time_s,a\n{}", lines.collect::<String>());
        let _: Outcome = whole(table.as_bytes(), &OpenOptions::default());
    }

    #[test]
    fn any_raw_format_takes_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300), encoding in 0..14usize, channels in 1..5u16) {
        let names = ["u8", "s8", "s16le", "s16be", "s24le", "s24be", "s32le", "s32be", "f32le", "f32be", "f64le", "f64be", "mulaw", "alaw"];
        let raw = format!("{}:8000:{channels}", names[encoding]).parse().unwrap();
        let options = OpenOptions { raw: Some(raw), ..OpenOptions::default() };
        let _: Outcome = whole(&bytes, &options);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6000, ..ProptestConfig::default() })]

    #[test]
    fn mutated_fixtures_are_read_to_an_end_or_refused(
        file in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), any::<bool>()), 1..6),
        length in prop::option::of(any::<prop::sample::Index>()),
    ) {
        thread_local! { static FILES: Vec<(String, Vec<u8>)> = fixtures(); }
        let mut bytes = FILES.with(|files| file.get(files).1.clone());
        for (at, value, in_header) in changes {
            // Half of the changes hit the header, where they matter most.
            let reach = if in_header { bytes.len().min(120) } else { bytes.len() };
            if reach > 0 {
                bytes[at.index(reach)] = value;
            }
        }
        if let Some(length) = length {
            bytes.truncate(length.index(bytes.len() + 1));
        }
        let _: Outcome = whole(&bytes, &OpenOptions::default());
    }
}
