//! The own WAV reader, sample by sample, against an independent one where that reads the file rightly.

#![expect(
    clippy::unwrap_used,
    reason = "a test may stop at what it does not expect"
)]

use std::io::Cursor;

use recording::{OpenOptions, Recording};

/// Frames of a test: more than one block of 256 KiB for every width, and an odd count.
const FRAMES: usize = 70_001;

fn read_all(bytes: Vec<u8>) -> (Recording, Vec<f32>) {
    let reader = Box::new(Cursor::new(bytes));
    let mut recording = Recording::from_reader(reader, "", &OpenOptions::default()).unwrap();
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording.next_block(&mut block).unwrap() {
        all.extend_from_slice(&block);
    }
    (recording, all)
}

/// Codes that take in both ends of the scale and everything between.
fn code(index: usize, bits: u16) -> i32 {
    let mixed = (index as u32).wrapping_mul(2_654_435_761) as i32;
    match index {
        0 => i32::MIN >> (32 - bits),
        1 => i32::MAX >> (32 - bits),
        _ => mixed >> (32 - bits),
    }
}

fn written(bits: u16, channels: u16, format: hound::SampleFormat) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels,
        sample_rate: 44_100,
        bits_per_sample: bits,
        sample_format: format,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for index in 0..FRAMES * usize::from(channels) {
        match format {
            hound::SampleFormat::Int => writer.write_sample(code(index, bits)).unwrap(),
            hound::SampleFormat::Float => {
                writer.write_sample(code(index, 32) as f32 * 1e-9).unwrap()
            }
        }
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn by_hound(bytes: &[u8]) -> Vec<f32> {
    let mut reader = hound::WavReader::new(Cursor::new(bytes)).unwrap();
    let spec = reader.spec();
    match spec.sample_format {
        hound::SampleFormat::Float => reader.samples::<f32>().map(Result::unwrap).collect(),
        hound::SampleFormat::Int => {
            let full_scale = 2f64.powi(i32::from(spec.bits_per_sample) - 1);
            let samples = reader.samples::<i32>();
            samples
                .map(|sample| (f64::from(sample.unwrap()) / full_scale) as f32)
                .collect()
        }
    }
}

#[test]
fn every_width_and_channel_count_reads_as_hound_reads_it() {
    use hound::SampleFormat::{Float, Int};
    // With more than two channels or more than 16 bits this writer uses WAVE_FORMAT_EXTENSIBLE.
    for (bits, format) in [(8, Int), (16, Int), (24, Int), (32, Int), (32, Float)] {
        for channels in [1, 2, 3, 8] {
            let bytes = written(bits, channels, format);
            let expected = by_hound(&bytes);
            let (recording, samples) = read_all(bytes);
            let what = format!("{bits} bits {format:?}, {channels} channels");
            assert_eq!(expected.len(), FRAMES * usize::from(channels), "{what}");
            assert!(samples == expected, "{what}");
            assert_eq!(recording.facts().channels, channels, "{what}");
            assert_eq!(recording.facts().sample_rate_hz, 44_100.0, "{what}");
            assert_eq!(recording.facts().frames, Some(FRAMES as u64), "{what}");
            assert_eq!(recording.frames_read(), FRAMES as u64, "{what}");
            assert_eq!(recording.warnings(), [], "{what}");
        }
    }
}
