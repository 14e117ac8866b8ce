//! How fast the detector is on what a recorder may bring, 48 kHz, one channel. `cargo bench -p edges`.
//!
//! Divided by 48 000, the items a second are the times real time. Comparisons with other tools, long
//! recordings and memory are in docs/performance.md (`cargo xtask performance`).

use divan::{Bencher, counter::ItemsCount};
use edges::Detector;
use synth::{Recorder, Scenario, Sound, SoundKind};

const RATE_HZ: f64 = 48_000.0;
/// Block of a sound card at work.
const BLOCK: usize = 4_096;

fn main() {
    divan::main();
}

/// Noise 30 dB below the dial's step.
fn recorder() -> Recorder {
    Recorder {
        sample_rate_hz: RATE_HZ,
        noise_db: Some(30.0),
        ..Recorder::default()
    }
}

/// A minute in which somebody dials one number of three digits: an evening of a museum, shortened.
fn quiet() -> Scenario {
    Scenario {
        numbers: vec![4, 10, 2],
        lead_in_s: 28.0,
        tail_s: 28.0,
        recorder: recorder(),
        ..Scenario::default()
    }
}

/// One digit after the other, with the shortest pauses that a hand makes.
fn busy() -> Scenario {
    Scenario {
        numbers: (0..20).map(|k| 1 + (k * 7 % 10) as u8).collect(),
        pauses_s: vec![0.4, 0.6],
        recorder: recorder(),
        ..Scenario::default()
    }
}

/// Twenty seconds of one sound, nothing dialled.
fn only(kind: SoundKind) -> Scenario {
    Scenario {
        numbers: Vec::new(),
        lead_in_s: 20.0,
        tail_s: 0.0,
        recorder: recorder(),
        sounds: vec![Sound {
            kind,
            level: 1.0,
            start_s: None,
            end_s: None,
            until_first_break: false,
            while_closed: false,
        }],
        ..Scenario::default()
    }
}

fn detect(bencher: Bencher, scenario: &Scenario) {
    let samples = synth::render(scenario).channels.swap_remove(0);
    bencher.counter(ItemsCount::new(samples.len())).bench(|| {
        let mut detector = Detector::new(RATE_HZ);
        divan::black_box(&samples)
            .chunks(BLOCK)
            .for_each(|block| detector.push(block));
        detector.finish()
    });
}

#[divan::bench(sample_count = 10)]
fn quiet_minute(bencher: Bencher) {
    detect(bencher, &quiet());
}

#[divan::bench(sample_count = 10)]
fn busy_dialling(bencher: Bencher) {
    detect(bencher, &busy());
}

#[divan::bench(sample_count = 10)]
fn speech(bencher: Bencher) {
    detect(bencher, &only(SoundKind::Speech));
}

#[divan::bench(sample_count = 10)]
fn music(bencher: Bencher) {
    detect(bencher, &only(SoundKind::Music));
}

#[divan::bench(sample_count = 10)]
fn noise(bencher: Bencher) {
    detect(bencher, &only(SoundKind::Noise));
}

#[divan::bench(sample_count = 10)]
fn clicks(bencher: Bencher) {
    detect(bencher, &only(SoundKind::Clicks { per_second: 8.0 }));
}
