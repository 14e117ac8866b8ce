//! Speech-like sound: voiced and unvoiced syllables through formant resonances, with pauses. It says
//! nothing; what matters is that its onsets, pitch pulses and rhythm resemble talk.

use std::f64::consts::TAU;

use crate::random::Random;

/// Mean first three formants of some vowels, in hertz (from the phonetic literature, rounded).
const VOWELS_HZ: [[f64; 3]; 6] = [
    [270.0, 2290.0, 3010.0],
    [530.0, 1840.0, 2480.0],
    [730.0, 1090.0, 2440.0],
    [570.0, 840.0, 2410.0],
    [300.0, 870.0, 2240.0],
    [490.0, 1350.0, 1690.0],
];

/// A resonance that passes neither zero frequency nor half the sample rate: y = g (x - x2) + a y1 + b y2.
#[derive(Clone, Copy, Default)]
struct Resonance {
    gain: f64,
    a: f64,
    b: f64,
    past: [f64; 2],
    past_input: [f64; 2],
}

impl Resonance {
    fn tune(&mut self, centre_hz: f64, width_hz: f64, rate_hz: f64) {
        let radius = (-std::f64::consts::PI * width_hz / rate_hz).exp();
        self.a = 2.0 * radius * (TAU * centre_hz / rate_hz).cos();
        self.b = -radius * radius;
        // Gain 1 at the centre.
        self.gain = 0.5 * (1.0 - radius * radius);
    }

    fn next(&mut self, x: f64) -> f64 {
        let y =
            self.gain * (x - self.past_input[1]) + self.a * self.past[0] + self.b * self.past[1];
        self.past_input = [x, self.past_input[0]];
        self.past = [y, self.past[0]];
        y
    }
}

/// Speech-like samples with a peak of 1.
pub(crate) fn speech(length: usize, rate_hz: f64, random: &mut Random) -> Vec<f64> {
    let mut trace = vec![0.0; length];
    let mut pitch_hz = random.log_between(90.0, 220.0);
    let mut at = 0;
    while at < length {
        pitch_hz = (pitch_hz * random.between(0.93, 1.07)).clamp(80.0, 260.0);
        let end = (at + (random.between(0.06, 0.28) * rate_hz) as usize).min(length);
        let voiced = random.chance(0.75).then_some(pitch_hz);
        syllable(&mut trace[at..end], voiced, rate_hz, random);
        let pause_s = if random.chance(0.12) {
            random.between(0.2, 0.7)
        } else {
            random.between(0.0, 0.06)
        };
        at = end + (pause_s * rate_hz) as usize;
    }
    normalise(&mut trace);
    trace
}

fn syllable(trace: &mut [f64], pitch_hz: Option<f64>, rate_hz: f64, random: &mut Random) {
    let mut resonances = formants(pitch_hz.is_some(), rate_hz, random);
    let loudness = random.between(0.3, 1.0);
    // Plosives start abruptly, other sounds swell.
    let attack = if random.chance(0.3) { 0.002 } else { 0.03 } * rate_hz;
    let release = 0.04 * rate_hz;
    let length = trace.len() as f64;
    let mut phase = 0.0;
    for (n, sample) in trace.iter_mut().enumerate() {
        let source = match pitch_hz {
            Some(pitch_hz) => glottis(&mut phase, pitch_hz / rate_hz) + 0.02 * random.normal(),
            None => 0.3 * random.normal(),
        };
        let n = n as f64;
        let swell = (n / attack).min((length - n) / release).clamp(0.0, 1.0);
        *sample += loudness * swell * resonances.iter_mut().map(|r| r.next(source)).sum::<f64>();
    }
}

/// Air through the glottis as the mouth radiates it: little while it opens, a sharp pulse as it closes. Its
/// mean over a period is zero: 0.5 x 2 / pi x 0.6 = 0.95 x 0.2.
fn glottis(phase: &mut f64, step: f64) -> f64 {
    *phase = (*phase + step).fract();
    if *phase < 0.6 {
        (std::f64::consts::PI * *phase / 0.6).sin() * 0.5
    } else if *phase < 0.8 {
        -0.955 * 2.0 * (0.8 - *phase) / 0.2
    } else {
        0.0
    }
}

fn formants(voiced: bool, rate_hz: f64, random: &mut Random) -> [Resonance; 3] {
    let centres = if voiced {
        random.pick(&VOWELS_HZ)
    } else {
        [1_500.0, 2_600.0, 3_300.0]
    };
    let mut resonances = [Resonance::default(); 3];
    for (resonance, centre_hz) in resonances.iter_mut().zip(centres) {
        let centre_hz = centre_hz * random.between(0.9, 1.15);
        resonance.tune(
            centre_hz.min(0.42 * rate_hz),
            random.between(60.0, 160.0),
            rate_hz,
        );
    }
    resonances
}

/// Brings the largest magnitude to 1.
pub(crate) fn normalise(trace: &mut [f64]) {
    let peak = trace.iter().fold(0.0, |p: f64, x| p.max(x.abs()));
    if peak > 0.0 {
        trace.iter_mut().for_each(|x| *x /= peak);
    }
}
