//! Mains hum before anything was dialled: a warning for who still connects things. How much hum a digit carries, and what is
//! left without it, is found by the detector, which fits it beside the edges; here a Fourier sum over quiet will do.

use std::f64::consts::TAU;

use crate::event::Hum;

/// Whole periods of 50 and of 60 Hz.
const WINDOW_S: f64 = 1.0;
/// Samples are averaged down to about this rate.
const RATE_HZ: f64 = 2000.0;
const HARMONICS: usize = 3;
/// Hum that is less than half of all there is (in power) cannot be told from it so simply.
const SHARE: f64 = 0.5;
/// Below -60 dB of full scale nobody minds.
const LEAST: f64 = 0.001;
/// Told again when its size changed so much.
const CHANGE: f64 = 1.5;

/// Looks for hum in one channel, second by second.
#[derive(Debug)]
pub(crate) struct HumWatch {
    channel: u16,
    factor: usize,
    rate_hz: f64,
    sum: f64,
    summed: usize,
    window: Vec<f64>,
    told: Option<Hum>,
}

impl HumWatch {
    pub(crate) fn new(channel: u16, rate_hz: f64) -> Self {
        let factor = ((rate_hz / RATE_HZ) as usize).max(1);
        HumWatch {
            channel,
            factor,
            rate_hz: rate_hz / factor as f64,
            sum: 0.0,
            summed: 0,
            window: Vec::new(),
            told: None,
        }
    }

    /// Takes the next sample; hum that is news comes back at the end of a window.
    pub(crate) fn push(&mut self, sample: f32) -> Option<Hum> {
        self.sum += f64::from(sample);
        self.summed += 1;
        if self.summed < self.factor {
            return None;
        }
        self.window.push(self.sum / self.factor as f64);
        (self.sum, self.summed) = (0.0, 0);
        if (self.window.len() as f64) < WINDOW_S * self.rate_hz {
            return None;
        }
        let hum = self.measure();
        self.window.clear();
        self.news(hum)
    }

    fn news(&mut self, hum: Option<Hum>) -> Option<Hum> {
        let hum = hum?;
        let known = self.told.map_or(0.0, |told| told.amplitude);
        let is_news = hum.amplitude > known * CHANGE || hum.amplitude * CHANGE < known;
        if is_news {
            self.told = Some(hum);
        }
        is_news.then_some(hum)
    }

    fn measure(&self) -> Option<Hum> {
        let count = self.window.len() as f64;
        let mean = self.window.iter().sum::<f64>() / count;
        let power = self.window.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
        let hums = [50.0, 60.0].map(|frequency_hz| {
            let squares: f64 = (1..=HARMONICS)
                .map(|harmonic| self.amplitude(frequency_hz * harmonic as f64, mean).powi(2))
                .sum();
            (frequency_hz, squares)
        });
        let (frequency_hz, squares) = if hums[0].1 >= hums[1].1 {
            hums[0]
        } else {
            hums[1]
        };
        let amplitude = squares.sqrt();
        let found = amplitude > LEAST && squares / 2.0 > SHARE * power;
        found.then_some(Hum {
            channel: self.channel,
            frequency_hz,
            amplitude,
            percent_of_step: None,
        })
    }

    /// Amplitude at one frequency, from the Fourier sum over the window.
    fn amplitude(&self, frequency_hz: f64, mean: f64) -> f64 {
        let turn = TAU * frequency_hz / self.rate_hz;
        let (re, im) = self
            .window
            .iter()
            .enumerate()
            .fold((0.0, 0.0), |(re, im), (index, x)| {
                let (sin, cos) = (turn * index as f64).sin_cos();
                (re + (x - mean) * cos, im + (x - mean) * sin)
            });
        2.0 * f64::hypot(re, im) / self.window.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(signal: impl Fn(f64) -> f64) -> Vec<Hum> {
        let mut watch = HumWatch::new(1, 48_000.0);
        (0..3 * 48_000)
            .filter_map(|n| watch.push(signal(f64::from(n) / 48_000.0) as f32))
            .collect()
    }

    #[test]
    fn hum_is_told_once_with_its_size() {
        let hum = told(|t| 0.3 + 0.04 * (TAU * 60.0 * t).sin() + 0.03 * (TAU * 180.0 * t).cos());
        assert_eq!((hum.len(), hum[0].frequency_hz), (1, 60.0));
        // √(0.04² + 0.03²); averaging 24 samples takes 1 % from the third harmonic.
        assert!((hum[0].amplitude - 0.05).abs() < 0.0005, "{hum:?}");
    }

    #[test]
    fn pulses_and_tones_are_no_hum() {
        assert!(told(|t| if (10.0 * t).fract() < 0.6 { 0.0 } else { 0.3 }).is_empty());
        assert!(told(|t| 0.2 * (TAU * 425.0 * t).sin()).is_empty());
    }
}
