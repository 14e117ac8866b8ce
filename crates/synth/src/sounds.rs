//! What is to be heard beside the dial: tones, ringing, clicks, music, speech, noise.

use std::f64::consts::{PI, TAU};

use crate::impairment::Sine;
use crate::kernel::{HALF_WIDTH, Kernel};
use crate::random::{Random, Stream};
use crate::scenario::{AntiAlias, Cadence, Sound, SoundKind};
use crate::speech::{normalise, speech};

/// Sounds fade in and out over this long, in seconds.
const FADE_S: f64 = 0.003;
/// Length of a dual-tone signal and of the silence after it, in seconds.
const DUAL_TONE_S: f64 = 0.08;

/// When and how fast.
pub(crate) struct Clock {
    pub(crate) rate_hz: f64,
    pub(crate) first_break_s: Option<f64>,
    /// When the pulsing contacts are open, in seconds.
    pub(crate) open_s: Vec<[f64; 2]>,
    pub(crate) seed: u64,
}

/// Adds every sound to a trace in which the dial's step is 1.
pub(crate) fn add_sounds(trace: &mut [f64], sounds: &[Sound], clock: &Clock) {
    for (index, sound) in sounds.iter().enumerate() {
        add_sound(
            trace,
            sound,
            clock,
            Random::new(clock.seed, Stream::Sounds, index as u64),
        );
    }
}

fn add_sound(trace: &mut [f64], sound: &Sound, clock: &Clock, mut random: Random) {
    let rate = clock.rate_hz;
    let first = sound
        .start_s
        .map_or(0, |s| (s * rate) as usize)
        .min(trace.len());
    let mut last = sound
        .end_s
        .map_or(trace.len(), |s| (s * rate) as usize)
        .clamp(first, trace.len());
    let stop = clock
        .first_break_s
        .filter(|_| sound.until_first_break)
        .map(|s| s * rate);
    if let Some(stop) = stop {
        last = last.min((stop.max(0.0) as usize + 40).max(first));
    }
    let mut wave = wave(&sound.kind, last - first, rate, &mut random);
    if sound.while_closed {
        silence(&mut wave, first, &clock.open_s, rate);
    }
    let fade = FADE_S * rate;
    let faded_start = sound.start_s.is_some();
    let faded_end = sound.end_s.is_some() && stop.is_none();
    let kernel = Kernel::of(AntiAlias::LinearPhase);
    for (n, value) in wave.into_iter().enumerate() {
        let mut gate = if faded_start {
            (n as f64 / fade).min(1.0)
        } else {
            1.0
        };
        if faded_end {
            gate = gate.min((last - first - n) as f64 / fade);
        }
        // The opening contact cuts the sound off at its own instant, between samples.
        gate *= stop.map_or(1.0, |stop| {
            1.0 - kernel.unit_step((first + n) as f64 - stop)
        });
        trace[first + n] += sound.level * gate * value;
    }
}

/// The open contact cuts a sound off at its own instants, between samples.
fn silence(wave: &mut [f64], first: usize, open_s: &[[f64; 2]], rate: f64) {
    let kernel = Kernel::of(AntiAlias::LinearPhase);
    for [from, to] in open_s.iter().map(|[from, to]| [from * rate, to * rate]) {
        let reach = HALF_WIDTH as f64;
        let begin = ((from - reach).max(0.0) as usize)
            .saturating_sub(first)
            .min(wave.len());
        let end = ((to + reach).max(0.0) as usize)
            .saturating_sub(first)
            .min(wave.len());
        for (n, value) in wave.iter_mut().enumerate().take(end).skip(begin) {
            let at = (first + n) as f64;
            *value *= 1.0 - kernel.unit_step(at - from) + kernel.unit_step(at - to);
        }
    }
}

/// A sound with a peak of about 1.
fn wave(kind: &SoundKind, length: usize, rate: f64, random: &mut Random) -> Vec<f64> {
    match kind {
        SoundKind::Tones {
            frequencies_hz,
            cadence,
        } => interrupted(tones(frequencies_hz, length, rate, random), cadence, rate),
        SoundKind::ModulatedTone {
            frequency_hz,
            modulation_hz,
        } => modulated(*frequency_hz, *modulation_hz, length, rate, random),
        SoundKind::Speech => speech(length, rate, random),
        SoundKind::Clicks { per_second } => clicks(*per_second, length, rate, random),
        SoundKind::Ringing {
            frequency_hz,
            cadence,
            clipped,
        } => interrupted(
            ringing(*frequency_hz, *clipped, length, rate, random),
            cadence,
            rate,
        ),
        SoundKind::DualTone { keys } => dual_tones(keys, length, rate, random),
        SoundKind::Music => music(length, rate, random),
        SoundKind::Noise => (0..length).map(|_| random.normal() / 3.0).collect(),
    }
}

fn tones(frequencies_hz: &[f64], length: usize, rate: f64, random: &mut Random) -> Vec<f64> {
    let mut trace = vec![0.0; length];
    for &frequency_hz in frequencies_hz {
        Sine::new(frequency_hz, rate, random.phase())
            .add_to(&mut trace, 1.0 / frequencies_hz.len() as f64);
    }
    trace
}

fn modulated(
    frequency_hz: f64,
    modulation_hz: f64,
    length: usize,
    rate: f64,
    random: &mut Random,
) -> Vec<f64> {
    let mut carrier = Sine::new(frequency_hz, rate, random.phase());
    let mut modulation = Sine::new(modulation_hz, rate, random.phase());
    (0..length)
        .map(|_| carrier.next() * 0.5 * (1.0 + modulation.next()))
        .collect()
}

fn interrupted(mut trace: Vec<f64>, cadence: &Option<Cadence>, rate: f64) -> Vec<f64> {
    if let Some(cadence) = cadence {
        let period = cadence.sound_s + cadence.silence_s;
        for (n, sample) in trace.iter_mut().enumerate() {
            let t = n as f64 / rate % period;
            let gate = (t / FADE_S)
                .min((cadence.sound_s - t) / FADE_S)
                .clamp(0.0, 1.0);
            *sample *= gate;
        }
    }
    trace
}

fn ringing(
    frequency_hz: f64,
    clipped: bool,
    length: usize,
    rate: f64,
    random: &mut Random,
) -> Vec<f64> {
    let mut trace = tones(&[frequency_hz], length, rate, random);
    if clipped {
        trace
            .iter_mut()
            .for_each(|x| *x = (3.0 * *x).clamp(-1.0, 1.0));
    }
    trace
}

/// Short damped oscillations at random instants.
fn clicks(per_second: f64, length: usize, rate: f64, random: &mut Random) -> Vec<f64> {
    let mut trace = vec![0.0; length];
    // Times between the events of a Poisson process are exponential.
    let mut wait = || -random.between(1e-9, 1.0).ln() / per_second.max(1e-3) * rate;
    let mut instants = vec![wait()];
    while instants[instants.len() - 1] < length as f64 {
        instants.push(instants[instants.len() - 1] + wait());
    }
    instants
        .into_iter()
        .for_each(|at| click(&mut trace, at, rate, random));
    trace
}

fn click(trace: &mut [f64], instant: f64, rate: f64, random: &mut Random) {
    let frequency = TAU * random.log_between(500.0, 3_500.0).min(0.4 * rate) / rate;
    let decay = random.log_between(0.1e-3, 1.0e-3) * rate;
    let amplitude = random.between(0.3, 1.0) * if random.chance(0.5) { 1.0 } else { -1.0 };
    let first = (instant.ceil() as usize).min(trace.len());
    let length = (12.0 * decay) as usize + 1;
    for (n, sample) in trace[first..].iter_mut().take(length).enumerate() {
        let t = (first + n) as f64 - instant;
        *sample += amplitude * (-t / decay).exp() * (frequency * t).cos();
    }
}

/// Row and column tones of the sixteen keys, in hertz, ITU-T Q.23.
fn key_tones_hz(key: char) -> Option<[f64; 2]> {
    const ROWS: [(&str, f64); 4] = [
        ("123A", 697.0),
        ("456B", 770.0),
        ("789C", 852.0),
        ("*0#D", 941.0),
    ];
    const COLUMNS_HZ: [f64; 4] = [1209.0, 1336.0, 1477.0, 1633.0];
    ROWS.iter()
        .find_map(|(keys, row_hz)| keys.find(key).map(|column| [*row_hz, COLUMNS_HZ[column]]))
}

fn dual_tones(keys: &str, length: usize, rate: f64, random: &mut Random) -> Vec<f64> {
    let mut trace = vec![0.0; length];
    let signal = (DUAL_TONE_S * rate) as usize;
    let pairs = keys.chars().filter_map(key_tones_hz);
    for (pair, stretch) in pairs.zip(trace.chunks_mut(2 * signal)) {
        let sounding = signal.min(stretch.len());
        stretch[..sounding].copy_from_slice(&tones(&pair, sounding, rate, random));
    }
    trace
}

/// Chords of decaying notes on a beat, with a drum now and then.
fn music(length: usize, rate: f64, random: &mut Random) -> Vec<f64> {
    let mut trace = vec![0.0; length];
    let beat = (random.between(0.22, 0.5) * rate) as usize;
    let mut at = 0;
    while at < length {
        let end = (at + 3 * beat).min(length);
        for _ in 0..random.whole(1, 3) {
            note(&mut trace[at..end], rate, random);
        }
        if random.chance(0.5) {
            drum(&mut trace[at..end], rate, random);
        }
        at += beat / random.pick(&[1, 1, 2]);
    }
    normalise(&mut trace);
    trace
}

fn note(trace: &mut [f64], rate: f64, random: &mut Random) {
    // Equal temperament over four octaves from 55 Hz.
    let pitch_hz = 55.0 * f64::exp2(random.whole(0, 48) as f64 / 12.0);
    let decay = 1.0 - 1.0 / (random.between(0.1, 0.5) * rate);
    for harmonic in 1..=4 {
        let frequency_hz = pitch_hz * f64::from(harmonic);
        if frequency_hz > 0.4 * rate {
            break;
        }
        let mut sine = Sine::new(frequency_hz, rate, random.phase());
        let mut amplitude = 1.0 / f64::from(harmonic);
        for (n, sample) in trace.iter_mut().enumerate() {
            let attack = (n as f64 / (0.005 * rate)).min(1.0);
            *sample += attack * amplitude * sine.next();
            amplitude *= decay;
        }
    }
}

fn drum(trace: &mut [f64], rate: f64, random: &mut Random) {
    let fall = 1.0 - 1.0 / (0.04 * rate);
    let mut amplitude = 1.0;
    let thump_hz = random.between(50.0, 110.0);
    for (n, sample) in trace.iter_mut().enumerate().take((0.3 * rate) as usize) {
        let thump = (TAU * thump_hz * n as f64 / rate + PI / 2.0).sin();
        *sample += amplitude * (thump + 0.3 * random.normal());
        amplitude *= fall;
    }
}
