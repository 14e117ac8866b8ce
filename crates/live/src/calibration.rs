//! What is known of an input: how well its clock keeps the rate that it states, and what current its full scale is.

use std::fmt::Debug;
use std::path::PathBuf;

use report::Measured;
use serde::{Deserialize, Serialize};

use crate::tone::Tone;

/// What is known of one input.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// How well its clock is known to keep the rate it states, in parts per million.
    #[serde(default)]
    pub clock_ppm: Option<f64>,
    /// How much faster than stated it runs, in parts per million; part of the above.
    #[serde(default)]
    pub clock_offset_ppm: Option<f64>,
    /// Loop current that is its full scale, in milliamperes, with the probe and gain it was calibrated with.
    #[serde(default)]
    pub full_scale_ma: Option<f64>,
}

/// A tone whose frequency is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownTone {
    /// Its frequency, in hertz.
    pub hz: f64,
    /// How well it is known, in parts per million.
    pub tolerance_ppm: f64,
}

impl KnownTone {
    /// A tone that a sound input hears, with a tolerance that is none below zero.
    #[must_use]
    pub fn new(hz: f64, tolerance_ppm: f64) -> Option<KnownTone> {
        let usable = (50.0..=20_000.0).contains(&hz) && (0.0..1e6).contains(&tolerance_ppm);
        usable.then_some(KnownTone { hz, tolerance_ppm })
    }
}

impl Calibration {
    /// Takes what was heard of a known tone: offset of the clock, its uncertainty and the tone's own tolerance together are
    /// how well the clock is known.
    pub fn set_clock(&mut self, known: KnownTone, heard: &Tone) {
        // A clock that runs fast makes a tone seem low.
        let offset_ppm = -heard.off_ppm;
        self.clock_offset_ppm = Some(offset_ppm);
        self.clock_ppm = Some(offset_ppm.abs() + heard.u95_ppm + known.tolerance_ppm);
    }

    /// Takes a dial step for a known current.
    pub fn set_level(&mut self, current_ma: f64, step: DialStep) {
        self.full_scale_ma = Some(current_ma / step.mean);
    }
}

/// The step of sure digits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DialStep {
    /// Its mean, full scale 1.
    pub mean: f64,
    /// Largest distance of a digit's step from it, as a part of it.
    pub spread: f64,
    /// Digits.
    pub digits: usize,
}

impl DialStep {
    /// Of the sure digits whose steps are whole; `None` if there are none.
    #[must_use]
    pub fn of(measured: &Measured) -> Option<DialStep> {
        let trains = measured.trace.trains.iter();
        let steps: Vec<f64> = trains
            .filter(|train| train.doubts.is_empty() && !train.spikes_only)
            .map(|train| train.step.abs())
            .collect();
        if steps.is_empty() {
            return None;
        }
        let mean = steps.iter().sum::<f64>() / steps.len() as f64;
        let off = steps.iter().map(|step| (step - mean).abs());
        Some(DialStep {
            mean,
            spread: off.fold(0.0, f64::max) / mean,
            digits: steps.len(),
        })
    }
}

/// Where it is kept what is known of inputs. Errors are one line for a person.
pub trait Calibrations: Send + Sync + Debug {
    /// What is known of the input of that name.
    ///
    /// # Errors
    /// What is kept cannot be read.
    fn known(&self, input: &str) -> Result<Calibration, String>;

    /// Changes what is known of it, and gives the file that it is kept in.
    ///
    /// # Errors
    /// It cannot be kept.
    fn change(
        &self,
        input: &str,
        change: &mut dyn FnMut(&mut Calibration),
    ) -> Result<PathBuf, String>;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_as_good_as_its_offset_and_all_that_is_unknown_of_it() {
        let mut known = Calibration::default();
        let heard = Tone {
            off_ppm: 40.0,
            u95_ppm: 0.2,
            amplitude: 0.3,
            seconds: 60.0,
        };
        let tone = KnownTone::new(1000.0, 1.0).unwrap();
        known.set_clock(tone, &heard);
        assert_eq!(known.clock_offset_ppm, Some(-40.0));
        assert!((known.clock_ppm.unwrap() - 41.2).abs() < 1e-9);
        let step = DialStep {
            mean: 0.4,
            spread: 0.0,
            digits: 3,
        };
        known.set_level(40.0, step);
        assert_eq!(known.full_scale_ma, Some(100.0));
        for (hz, ppm) in [
            (10.0, 1.0),
            (1e5, 1.0),
            (1000.0, -1.0),
            (f64::NAN, 1.0),
            (1000.0, f64::NAN),
        ] {
            assert_eq!(KnownTone::new(hz, ppm), None);
        }
    }
}
