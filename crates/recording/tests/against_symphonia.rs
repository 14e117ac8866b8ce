//! The own WAV reader, sample by sample, against a second independent one where that reads the file
//! rightly.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop at what it does not expect"
)]

use std::fs::File;
use std::path::{Path, PathBuf};

use recording::{OpenOptions, Recording};
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

fn by_us(path: &Path) -> Vec<f32> {
    let mut recording = Recording::open(path, &OpenOptions::default()).unwrap();
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording.next_block(&mut block).unwrap() {
        all.extend_from_slice(&block);
    }
    all
}

fn by_symphonia(path: &Path) -> Vec<f32> {
    let source = MediaSourceStream::new(Box::new(File::open(path).unwrap()), Default::default());
    let mut reader = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            source,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .unwrap();
    let track = reader.default_track(TrackType::Audio).unwrap();
    let params = track.codec_params.as_ref().unwrap().audio().unwrap();
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .unwrap();
    let (mut all, mut samples) = (Vec::new(), Vec::<f32>::new());
    while let Some(packet) = reader.next_packet().unwrap() {
        decoder
            .decode(&packet)
            .unwrap()
            .copy_to_vec_interleaved(&mut samples);
        all.extend_from_slice(&samples);
    }
    all
}

#[test]
fn wav_reads_as_symphonia_reads_it() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/recording");
    let names = [
        "plain-01-16-bit.wav",
        "plain-02-16-bit-stereo.wav",
        "plain-03-clipped.wav",
        "odd-01-odd-sized-chunk.wav",
        "odd-03-junk-and-bext-before-format.wav",
        "odd-10-alaw-18-byte-format.wav",
        "odd-11-64-bit-float.wav",
        "odd-12-extensible-float.wav",
        "odd-15-wrong-extension.mp3",
    ];
    for name in names {
        let path = folder.join(name);
        let samples = by_us(&path);
        assert!(
            samples.len() >= 12 && samples == by_symphonia(&path),
            "{name}"
        );
    }
}
