//! Recordings that Chromium plays as its microphone.

use std::path::PathBuf;

use synth::{Dial, Recorder, Scenario};
use tempfile::TempDir;

/// Chromium's microphone plays this rate as it is.
const RATE: u32 = 44_100;
/// The capture is begun meanwhile.
const LEAD_IN_S: f64 = 5.0;

/// A digit that is dialled.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Take {
    pub(crate) pulses: u8,
    pub(crate) speed_pps: f64,
    pub(crate) percent_break: f64,
    /// Ten milliseconds of it are silence, as where somebody covered a loss.
    pub(crate) is_torn: bool,
}

impl Take {
    /// A zero.
    pub(crate) const fn zero(speed_pps: f64, percent_break: f64) -> Take {
        Take {
            pulses: 10,
            speed_pps,
            percent_break,
            is_torn: false,
        }
    }
}

/// A recording of these takes, and of nothing for so long afterwards.
pub(crate) fn microphone(takes: &[Take], tail_s: f64) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("microphone.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    for (index, take) in takes.iter().enumerate() {
        let scenario = Scenario {
            seed: 7 + index as u64,
            numbers: vec![take.pulses],
            dial: Dial {
                speed_pps: take.speed_pps,
                percent_break: take.percent_break,
                ..Dial::default()
            },
            recorder: Recorder {
                sample_rate_hz: f64::from(RATE),
                noise_db: Some(46.0),
                ..Recorder::default()
            },
            lead_in_s: if index == 0 { LEAD_IN_S } else { 0.8 },
            tail_s: if index == takes.len() - 1 {
                tail_s
            } else {
                0.7
            },
            ..Scenario::default()
        };
        let mut samples: Vec<i16> = synth::render(&scenario).channels[0]
            .iter()
            .map(|x| (x * 32_768.0) as i16)
            .collect();
        if take.is_torn {
            let middle = (scenario.lead_in_s + 0.35) * f64::from(RATE);
            samples[middle as usize..][..RATE as usize / 100].fill(0);
        }
        samples
            .iter()
            .for_each(|x| writer.write_sample(*x).unwrap());
    }
    writer.finalize().unwrap();
    (folder, path)
}
