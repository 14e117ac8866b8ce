//! Facts of the recording that the trains tell.

use edges::{Hum, Polarity, Train};

use crate::types::TraceFacts;

/// Gathers what the trains know of the recording.
pub(crate) fn of(trains: &[Train]) -> TraceFacts {
    TraceFacts {
        coupling_hz: median(
            trains
                .iter()
                .filter_map(|train| train.coupling_hz)
                .collect(),
        ),
        polarity: polarity(trains),
        hum: strongest_hum(trains),
        snr_db: trains.iter().filter_map(snr_db).min_by(f64::total_cmp),
        chatter_floor_ms: trains
            .iter()
            .map(|train| 1000.0 * train.chatter_floor_s)
            .max_by(f64::total_cmp),
        spikes_only: trains.iter().any(|train| train.spikes_only),
    }
}

fn polarity(trains: &[Train]) -> Option<Polarity> {
    let normal = trains
        .iter()
        .filter(|train| train.polarity == Polarity::Normal)
        .count();
    if trains.is_empty() {
        None
    } else if 2 * normal >= trains.len() {
        Some(Polarity::Normal)
    } else {
        Some(Polarity::Inverted)
    }
}

fn strongest_hum(trains: &[Train]) -> Option<Hum> {
    let hums = trains.iter().filter_map(|train| train.hum);
    hums.max_by(|one, other| one.relative_amplitude.total_cmp(&other.relative_amplitude))
}

/// 20 log10(step / noise); `None` where it is not finite.
fn snr_db(train: &Train) -> Option<f64> {
    Some(20.0 * (train.step.abs() / train.noise_rms).log10()).filter(|snr| snr.is_finite())
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let upper = values.get(values.len() / 2)?;
    let lower = values.get((values.len() - 1) / 2)?;
    Some((upper + lower) / 2.0)
}
