//! What depends on the sample rate alone: made once for each rate and shared by all detectors, since a box of
//! dials is many short recordings of one rate.

use crate::bank::{self, Probed};
use crate::coarse;
use crate::hum::{Fitter, NOMINAL_HZ};
use crate::onset::Followers;
use crate::ticks;
use crate::tone::Spectrum;
use std::sync::{Arc, Mutex, PoisonError};

/// Rates remembered.
const KEPT: usize = 8;

/// Templates and solvers for one sample rate.
#[derive(Debug)]
pub(crate) struct Tools {
    pub(crate) bank: Vec<Probed>,
    pub(crate) followers: Followers,
    /// One for each nominal frequency of the mains.
    pub(crate) fitters: Vec<Fitter>,
    pub(crate) spectrum: Spectrum,
}

impl Tools {
    fn new(sample_rate_hz: f64) -> Self {
        let tick_rate_hz = sample_rate_hz / ticks::factor(sample_rate_hz) as f64;
        Tools {
            bank: bank::probed(sample_rate_hz / coarse::factor(sample_rate_hz) as f64),
            followers: Followers::new(sample_rate_hz),
            fitters: NOMINAL_HZ
                .into_iter()
                .filter_map(|nominal| Fitter::new(nominal, tick_rate_hz))
                .collect(),
            spectrum: Spectrum::new(tick_rate_hz),
        }
    }

    /// The tools for a sample rate.
    pub(crate) fn of(sample_rate_hz: f64) -> Arc<Self> {
        static MADE: Mutex<Vec<(u64, Arc<Tools>)>> = Mutex::new(Vec::new());
        let key = sample_rate_hz.to_bits();
        let mut made = MADE.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, tools)) = made.iter().find(|(rate, _)| *rate == key) {
            return Arc::clone(tools);
        }
        let tools = Arc::new(Tools::new(sample_rate_hz));
        if made.len() >= KEPT {
            made.remove(0);
        }
        made.push((key, Arc::clone(&tools)));
        tools
    }
}
