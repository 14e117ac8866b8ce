//! The frequency of a known tone, as the clock of a recorder sees it.

use std::f64::consts::TAU;

/// Phases are taken over so long.
const PIECE_S: f64 = 0.1;
/// Fewer phases than this are no measurement.
const LEAST_PIECES: usize = 50;
/// The tone must be so much of all there is, in power.
const SHARE: f64 = 0.5;

/// A tone that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// Its frequency by the recorder's clock, less the nominal one, in parts per million of it.
    pub off_ppm: f64,
    /// Uncertainty (95 %) of that, in parts per million, by the scatter of its phase.
    pub u95_ppm: f64,
    /// Amplitude, full scale 1.
    pub amplitude: f64,
    /// Seconds that were looked at.
    pub seconds: f64,
}

/// Measures a tone of about `nominal_hz` by the drift of its phase.
#[derive(Debug)]
pub struct ToneMeter {
    rate_hz: f64,
    nominal_hz: f64,
    piece: usize,
    index: u64,
    filled: usize,
    sums: [f64; 4],
    phases: Vec<f64>,
    power: f64,
    tone_power: f64,
}

impl ToneMeter {
    /// A meter for samples taken `rate_hz` times a second.
    #[must_use]
    pub fn new(rate_hz: f64, nominal_hz: f64) -> Self {
        ToneMeter {
            rate_hz,
            nominal_hz,
            piece: (PIECE_S * rate_hz) as usize,
            index: 0,
            filled: 0,
            sums: [0.0; 4],
            phases: Vec::new(),
            power: 0.0,
            tone_power: 0.0,
        }
    }

    /// Takes the next samples.
    pub fn push(&mut self, samples: impl Iterator<Item = f32>) {
        for sample in samples {
            // The phase of the nominal tone, as a part of a turn, so that hours lose nothing.
            let turns = (self.index as f64 * (self.nominal_hz / self.rate_hz)).fract();
            let (sin, cos) = (TAU * turns).sin_cos();
            let x = f64::from(sample);
            let weight = 1.0 - (TAU * self.filled as f64 / self.piece as f64).cos();
            self.sums[0] += weight * x * cos;
            self.sums[1] -= weight * x * sin;
            self.sums[2] += x;
            self.sums[3] += x * x;
            self.index += 1;
            self.filled += 1;
            if self.filled == self.piece {
                self.end_piece();
            }
        }
    }

    fn end_piece(&mut self) {
        let count = self.piece as f64;
        let [re, im, sum, squares] = self.sums;
        let amplitude = 2.0 * re.hypot(im) / count;
        self.power += squares / count - (sum / count).powi(2);
        self.tone_power += amplitude * amplitude / 2.0;
        let phase = im.atan2(re);
        // Nearest to where the last two point: the tone is off by far less than half a turn in a piece.
        let expected = match self.phases.as_slice() {
            [.., before, last] => 2.0 * last - before,
            [last] => *last,
            [] => phase,
        };
        self.phases
            .push(phase + TAU * ((expected - phase) / TAU).round());
        (self.sums, self.filled) = ([0.0; 4], 0);
    }

    /// The tone; `None` when there is none of that frequency, or for too short.
    #[must_use]
    pub fn finish(&self) -> Option<Tone> {
        let n = self.phases.len();
        if n < LEAST_PIECES || self.tone_power < SHARE * self.power {
            return None;
        }
        let piece_s = self.piece as f64 / self.rate_hz;
        let count = n as f64;
        let middle = (count - 1.0) / 2.0;
        let mean = self.phases.iter().sum::<f64>() / count;
        let spread: f64 = (0..n).map(|k| (k as f64 - middle).powi(2)).sum();
        let slope = self
            .phases
            .iter()
            .enumerate()
            .map(|(k, phase)| (k as f64 - middle) * (phase - mean))
            .sum::<f64>()
            / spread;
        let left: f64 = self
            .phases
            .iter()
            .enumerate()
            .map(|(k, phase)| (phase - mean - slope * (k as f64 - middle)).powi(2))
            .sum();
        let slope_sd = (left / (count - 2.0) / spread).sqrt();
        let ppm = 1e6 / (TAU * piece_s * self.nominal_hz);
        // A crystal that warms up drifts: where the phase bends, its scatter is no noise, and counts threefold.
        Some(Tone {
            off_ppm: slope * ppm,
            u95_ppm: 3.0 * 1.96 * slope_sd * ppm,
            amplitude: (2.0 * self.tone_power / count).sqrt(),
            seconds: count * piece_s,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(hz: f64, seconds: f64, noise: f64) -> Option<Tone> {
        let mut meter = ToneMeter::new(48_000.0, 1000.0);
        let samples = (0..(48_000.0 * seconds) as u64).map(|n| {
            let noise = noise * (((n * 7919 + n * n * 31) % 1000) as f64 / 500.0 - 1.0);
            (0.1 + 0.3 * (TAU * (hz * n as f64 / 48_000.0).fract()).sin() + noise) as f32
        });
        meter.push(samples);
        meter.finish()
    }

    #[test]
    fn a_tone_is_measured_to_a_part_of_a_ppm() {
        for off_ppm in [-80.0, 0.0, 23.0] {
            let tone = measured(1000.0 * (1.0 + off_ppm / 1e6), 20.0, 0.03).unwrap();
            assert!(
                (tone.off_ppm - off_ppm).abs() <= tone.u95_ppm + 0.01,
                "{tone:?}"
            );
            assert!(tone.u95_ppm < 1.0, "{tone:?}");
            assert!((tone.amplitude - 0.3).abs() < 0.003, "{tone:?}");
        }
    }

    #[test]
    fn without_the_tone_there_is_no_figure() {
        assert!(measured(440.0, 20.0, 0.03).is_none());
        assert!(measured(1000.0, 2.0, 0.03).is_none());
    }
}
