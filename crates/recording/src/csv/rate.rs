//! The sampling rate of a table, from its times.

use crate::Error;
use crate::stream::Notes;

use super::columns::{Columns, TimeColumn};

/// Rates below this cannot show a dial's pulses and mostly mean a unit other than the second.
const PLAUSIBLE_HZ: f64 = 500.0;

/// Relative doubt of a rate that is worth a word; as much as a recorder's clock has.
const DOUBT: f64 = 1e-4;

/// The rate in Hz, given or found.
pub(crate) fn find(
    columns: &Columns,
    given_hz: Option<f64>,
    notes: &mut Notes,
) -> Result<f64, Error> {
    if let Some(rate) = given_hz
        && !(rate.is_finite() && rate > 0.0)
    {
        return Err(Error::new(
            "csv-no-rate",
            "the rate given for it is not above 0; give it in Hz",
        ));
    }
    let found = columns
        .time
        .as_ref()
        .filter(|time| !only_counts(time))
        .map(from_times);
    match (given_hz, found) {
        (Some(given), found) => {
            if let Some(found) =
                found.filter(|found| (found.rate_hz / given - 1.0).abs() > found.doubt.max(DOUBT))
            {
                let message = format!(
                    "the time column says {:.1} Hz, {given} Hz were given: the latter was used",
                    found.rate_hz
                );
                notes.warn("csv-rate", message);
            }
            Ok(given)
        }
        (None, Some(found)) => {
            note_doubt(&found, notes);
            Ok(found.rate_hz)
        }
        (None, None) => Err(Error::new(
            "csv-no-rate",
            "it has no column of times in equal steps; add one, or give its rate in Hz",
        )),
    }
}

/// A column that goes up by one a row numbers the rows, unless a unit is written above it.
fn only_counts(time: &TimeColumn) -> bool {
    !time.unit_named && time.times_s.windows(2).all(|pair| pair[1] - pair[0] == 1.0)
}

fn note_doubt(found: &Found, notes: &mut Notes) {
    if found.rate_hz < PLAUSIBLE_HZ {
        let message = format!(
            "the time column says {:.3} Hz, too slow for a dial: write the unit of time above it, such as time_ms",
            found.rate_hz
        );
        notes.warn("csv-rate", message);
    } else if found.doubt > DOUBT {
        let message = format!(
            "the times are written too coarsely: the rate of {:.1} Hz is known to {:.2} % only",
            found.rate_hz,
            100.0 * found.doubt
        );
        notes.warn("csv-rate", message);
    }
}

/// A rate and its largest relative error.
struct Found {
    rate_hz: f64,
    doubt: f64,
}

fn from_times(time: &TimeColumn) -> Found {
    let steps: Vec<f64> = time
        .times_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .collect();
    let median = median(&steps);
    // Pauses in the logging would spoil the mean; rounded times would spoil the median.
    let fits = |step: &&f64| (**step - median).abs() <= 0.5 * median.abs() + time.resolution_s;
    let fitting: Vec<f64> = steps.iter().filter(fits).copied().collect();
    let span: f64 = fitting.iter().sum();
    let period_s = span / fitting.len() as f64;
    // A row of times rounded to a last digit is wrong by half of it at either end.
    let doubt = time.resolution_s / span;
    Found {
        rate_hz: rounded(period_s, doubt),
        doubt,
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

/// The rate behind a measured period: recorders run at round rates or round periods, so within the
/// doubt the rounder of the two is the true one.
fn rounded(period_s: f64, doubt: f64) -> f64 {
    let rate = roundest(1.0 / period_s, doubt);
    let period = roundest(period_s, doubt);
    match (rate, period) {
        (Some((rate, digits)), Some((_, others))) if digits <= others => rate,
        (Some((rate, _)), None) => rate,
        (_, Some((period, _))) => 1.0 / period,
        (None, None) => 1.0 / period_s,
    }
}

/// The number of fewest digits within a relative doubt, and how many digits it has.
fn roundest(value: f64, doubt: f64) -> Option<(f64, usize)> {
    (0..9).find_map(|digits| {
        let candidate: f64 = format!("{value:.digits$e}").parse().ok()?;
        ((candidate / value - 1.0).abs() <= doubt).then_some((candidate, digits))
    })
}
