//! Recordings to measure speed on, written minute by minute: ten hours are never in memory.

use std::path::Path;

use anyhow::Context;
use synth::{Chatter, Coupling, Dial, Probe, Recorder, Scenario, Sound, SoundKind};

pub(crate) const RATE_HZ: u32 = 48_000;
const MINUTE_S: f64 = 60.0;

/// What a recording holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Content {
    /// Noise 30 dB below the step; in every tenth minute a number of three digits.
    Quiet,
    /// One digit after the other.
    Busy,
    Speech,
    Music,
    Noise,
    Clicks,
    /// Dialling by a chattering contact through a transformer, with clicks.
    Bad,
}

impl Content {
    pub(crate) const WORST: [Content; 6] = [
        Content::Busy,
        Content::Speech,
        Content::Music,
        Content::Noise,
        Content::Clicks,
        Content::Bad,
    ];

    /// As it is called in the table.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Content::Quiet => "quiet (30 dB, one number in ten minutes)",
            Content::Busy => "busy dialling",
            Content::Speech => "speech",
            Content::Music => "music",
            Content::Noise => "noise",
            Content::Clicks => "clicks",
            Content::Bad => "busy dialling, chatter, transformer, clicks",
        }
    }

    /// What is in its minutes, which come over and over.
    fn scenarios(self) -> Vec<Scenario> {
        match self {
            Content::Quiet => (0..10).map(quiet).collect(),
            Content::Busy => vec![busy()],
            Content::Speech => vec![only(SoundKind::Speech)],
            Content::Music => vec![only(SoundKind::Music)],
            Content::Noise => vec![only(SoundKind::Noise)],
            Content::Clicks => vec![only(SoundKind::Clicks { per_second: 8.0 })],
            Content::Bad => vec![bad()],
        }
    }

    /// Writes so many minutes as 16-bit WAV.
    pub(crate) fn write(self, minutes: usize, path: &Path) -> anyhow::Result<()> {
        let cannot = || format!("cannot write {}", path.display());
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: RATE_HZ,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let different: Vec<Vec<i16>> = self
            .scenarios()
            .into_iter()
            .map(|scenario| minute(scenario, RATE_HZ))
            .collect();
        let mut writer = hound::WavWriter::create(path, spec).with_context(cannot)?;
        for minute in different.iter().cycle().take(minutes) {
            let mut block = writer.get_i16_writer(minute.len() as u32);
            minute.iter().for_each(|sample| block.write_sample(*sample));
            block.flush().with_context(cannot)?;
        }
        writer.finalize().with_context(cannot)
    }
}

/// The first minute of a scenario, or the whole of it over and over until it is one.
fn minute(mut scenario: Scenario, rate_hz: u32) -> Vec<i16> {
    scenario.recorder.sample_rate_hz = f64::from(rate_hz);
    let rendered = synth::render(&scenario);
    let samples = rendered.channels[0].iter().map(|x| (x * 32_768.0) as i16);
    let length = (MINUTE_S * f64::from(rate_hz)) as usize;
    samples.cycle().take(length).collect()
}

fn scenario(seed: u64) -> Scenario {
    Scenario {
        seed,
        recorder: Recorder {
            noise_db: Some(30.0),
            encoding: synth::Encoding::S16,
            ..Recorder::default()
        },
        ..Scenario::default()
    }
}

fn quiet(minute: u64) -> Scenario {
    let dialled = minute == 0;
    Scenario {
        numbers: if dialled { vec![4, 10, 2] } else { Vec::new() },
        lead_in_s: if dialled { 25.0 } else { MINUTE_S },
        tail_s: if dialled { 40.0 } else { 0.0 },
        ..scenario(1 + minute)
    }
}

fn busy() -> Scenario {
    Scenario {
        numbers: (0..50).map(|k| 1 + (k * 7 % 10) as u8).collect(),
        pauses_s: vec![0.4, 0.6],
        ..scenario(1)
    }
}

fn only(kind: SoundKind) -> Scenario {
    Scenario {
        numbers: Vec::new(),
        lead_in_s: MINUTE_S,
        tail_s: 0.0,
        sounds: vec![sound(kind, 1.0)],
        ..scenario(1)
    }
}

fn bad() -> Scenario {
    Scenario {
        dial: Dial {
            chatter: Some(Chatter {
                total_s: 0.003,
                reopenings: 3,
            }),
            ..Dial::default()
        },
        probe: Probe {
            coupling: Coupling::Transformer {
                corner_hz: 150.0,
                quality: 0.6,
            },
            inverted: false,
        },
        sounds: vec![sound(SoundKind::Clicks { per_second: 2.0 }, 0.4)],
        ..busy()
    }
}

fn sound(kind: SoundKind, level: f64) -> Sound {
    Sound {
        kind,
        level,
        start_s: None,
        end_s: None,
        until_first_break: false,
        while_closed: false,
    }
}

#[cfg(test)]
mod of_content {
    use super::*;

    #[test]
    fn a_recording_is_as_long_as_asked_and_holds_what_it_should() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("busy.wav");
        Content::Busy.write(2, &path).unwrap();
        let reader = hound::WavReader::open(&path).unwrap();
        assert_eq!(reader.duration(), 2 * 60 * RATE_HZ);
        let (least, most) = reader
            .into_samples::<i16>()
            .map(Result::unwrap)
            .fold((0, 0), |(l, m), x| (x.min(l), x.max(m)));
        // A step of 0.4 of full scale, from 0 to 13 107.
        assert!((13_107..20_000).contains(&most) && least > -6_000);
    }
}
