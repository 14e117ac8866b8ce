//! What the recorder and its surroundings add: hum, wander, noise, overload. All amplitudes are relative
//! to the dial's step, which is 1 here.

use std::f64::consts::TAU;

use crate::random::{Random, Stream};
use crate::scenario::{Hum, Recorder};

/// Slowest and fastest part of wander, in hertz.
const WANDER_HZ: (f64, f64) = (0.05, 1.9);
const WANDER_PARTS: usize = 4;

/// A sine by rotation of a pointer; adding it costs two multiplications a sample.
pub(crate) struct Sine {
    sine: f64,
    cosine: f64,
    turn: (f64, f64),
}

impl Sine {
    pub(crate) fn new(frequency_hz: f64, rate_hz: f64, phase: f64) -> Self {
        let (sine, cosine) = phase.sin_cos();
        Self {
            sine,
            cosine,
            turn: (TAU * frequency_hz / rate_hz).sin_cos(),
        }
    }

    pub(crate) fn next(&mut self) -> f64 {
        let value = self.sine;
        let (s, c) = self.turn;
        (self.sine, self.cosine) = (
            self.sine * c + self.cosine * s,
            self.cosine * c - self.sine * s,
        );
        value
    }

    pub(crate) fn add_to(mut self, trace: &mut [f64], amplitude: f64) {
        trace
            .iter_mut()
            .for_each(|sample| *sample += amplitude * self.next());
    }
}

/// Adds mains hum with random phases.
pub(crate) fn add_hum(trace: &mut [f64], hum: &Hum, rate_hz: f64, seed: u64) {
    let mut random = Random::new(seed, Stream::Hum, 0);
    for (k, &amplitude) in hum.amplitudes.iter().enumerate() {
        let frequency_hz = hum.mains_hz * (k + 1) as f64;
        let phase = random.phase();
        if amplitude != 0.0 && frequency_hz < 0.45 * rate_hz {
            Sine::new(frequency_hz, rate_hz, phase).add_to(trace, amplitude);
        }
    }
}

/// Adds wander whose peak cannot exceed `peak`.
pub(crate) fn add_wander(trace: &mut [f64], peak: f64, rate_hz: f64, seed: u64) {
    if peak == 0.0 {
        return;
    }
    let mut random = Random::new(seed, Stream::Wander, 0);
    let parts: [(f64, f64, f64); WANDER_PARTS] = std::array::from_fn(|_| {
        (
            random.log_between(WANDER_HZ.0, WANDER_HZ.1),
            random.between(0.2, 1.0),
            random.phase(),
        )
    });
    let sum: f64 = parts.iter().map(|p| p.1).sum();
    for (frequency_hz, share, phase) in parts {
        Sine::new(frequency_hz, rate_hz, phase).add_to(trace, peak * share / sum);
    }
}

/// Adds white noise of this root mean square.
pub(crate) fn add_noise(trace: &mut [f64], rms: f64, mut random: Random) {
    trace
        .iter_mut()
        .for_each(|sample| *sample += rms * random.normal());
}

/// Root mean square of the noise for a step of 1.
pub(crate) fn noise_rms(noise_db: f64) -> f64 {
    10f64.powf(-noise_db / 20.0)
}

/// Adds everything that the recorder adds to the wanted channel, overload last. `resting` is the level of
/// the closed line, from which overload counts.
pub(crate) fn impair(
    trace: &mut [f64],
    resting: f64,
    recorder: &Recorder,
    rate_hz: f64,
    seed: u64,
) {
    if let Some(hum) = &recorder.hum {
        add_hum(trace, hum, rate_hz, seed);
    }
    add_wander(trace, recorder.wander, rate_hz, seed);
    if let Some(noise_db) = recorder.noise_db {
        add_noise(
            trace,
            noise_rms(noise_db),
            Random::new(seed, Stream::Noise, 0),
        );
    }
    if let Some(clipping) = recorder.clipping {
        trace
            .iter_mut()
            .for_each(|x| *x = x.clamp(resting - clipping.at, resting + clipping.at));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn noise_has_the_root_mean_square_asked_for() {
        let mut trace = vec![0.0; 200_000];
        add_noise(
            &mut trace,
            noise_rms(20.0),
            Random::new(3, Stream::Noise, 0),
        );
        let rms = (trace.iter().map(|x| x * x).sum::<f64>() / trace.len() as f64).sqrt();
        // Standard error of an rms from n samples: 1 / sqrt(2 n) = 0.16 %; four of them.
        assert_relative_eq!(rms, 0.1, max_relative = 0.0064);
    }

    #[test]
    fn hum_has_the_amplitudes_asked_for() {
        let rate = 8_000.0;
        let mut trace = vec![0.0; 80_000];
        let hum = Hum {
            mains_hz: 50.0,
            amplitudes: vec![0.3, 0.0, 0.07],
        };
        add_hum(&mut trace, &hum, rate, 9);
        let amplitude = |hz: f64| {
            let at = |n: usize| TAU * hz * n as f64 / rate;
            let (mut re, mut im) = (0.0, 0.0);
            trace.iter().enumerate().for_each(|(n, x)| {
                re += x * at(n).cos();
                im += x * at(n).sin();
            });
            2.0 * f64::hypot(re, im) / trace.len() as f64
        };
        // Whole numbers of turns: the projection is exact.
        for (hz, want) in [(50.0, 0.3), (100.0, 0.0), (150.0, 0.07)] {
            approx::assert_abs_diff_eq!(amplitude(hz), want, epsilon = 1e-9);
        }
    }

    #[test]
    fn wander_stays_within_its_peak_and_below_two_hertz() {
        let mut trace = vec![0.0; 100_000];
        add_wander(&mut trace, 0.8, 1_000.0, 5);
        let peak = trace.iter().fold(0.0, |p: f64, x| p.max(x.abs()));
        assert!((0.2..=0.8).contains(&peak), "{peak}");
        // A sine of amplitude 0.8 at 2 Hz moves at most 0.8 x 2 pi x 2 / 1000 a sample.
        let steepest = trace
            .windows(2)
            .fold(0.0, |s: f64, w| s.max((w[1] - w[0]).abs()));
        assert!(steepest < 0.8 * TAU * 2.0 / 1_000.0);
    }
}
