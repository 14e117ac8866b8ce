//! The sampling rate of a table, from its times.

use crate::Error;
use crate::stream::Notes;

use super::columns::{Columns, TimeColumn};

/// Rates below this cannot show a dial's pulses and mostly mean a unit other than the second.
const PLAUSIBLE_HZ: f64 = 500.0;

/// Relative doubt of a rate that is worth a word; as much as a recorder's clock has.
const DOUBT: f64 = 1e-4;

/// Relative doubt of a rate with which no speed could be judged.
const MOST_DOUBT: f64 = 0.01;

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
        (None, Some(found))
            if !(found.rate_hz.is_finite() && found.rate_hz > 0.0 && found.doubt < MOST_DOUBT) =>
        {
            Err(Error::new(
                "csv-no-rate",
                "its times are written too coarsely to know the rate; export them with more digits, or give the rate in Hz",
            ))
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
            "the times do not fix the rate: {:.1} Hz is known to {:.2} % only",
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

/// Fits a straight line to the longest stretch of times without a fall or a leap.
fn from_times(time: &TimeColumn) -> Found {
    let steps: Vec<f64> = time
        .times_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .collect();
    let median = median(&steps);
    let leap = LEAP * (median + time.resolution_s);
    let stretches = time.times_s.chunk_by(|a, b| *b >= *a && *b - *a < leap);
    let longest = stretches
        .max_by_key(|stretch| stretch.len())
        .unwrap_or(&time.times_s);
    // Where times are rounded to more than a period, rows can only be counted.
    let period_s = if median > 1.5 * time.resolution_s {
        median
    } else {
        0.0
    };
    let line = Line::through(longest, period_s);
    let span = longest[longest.len() - 1] - longest[0];
    // Rounding that always falls alike hides a wrong slope of one digit over the whole stretch;
    // rounding that varies averages out as noise does.
    let hidden = if line.rms < 0.1 * time.resolution_s {
        time.resolution_s / span
    } else {
        0.0
    };
    let count = longest.len() as f64;
    let noise = 4.0 * line.rms * (12.0 / count.powi(3)).sqrt() / line.slope;
    let doubt = (hidden + noise).max(FLOOR);
    Found {
        rate_hz: rounded(line.slope, doubt),
        doubt,
    }
}

/// Steps of so many periods end a stretch.
const LEAP: f64 = 100.0;

/// Arithmetic alone leaves this relative doubt.
const FLOOR: f64 = 1e-9;

/// A straight line of times over row numbers.
struct Line {
    slope: f64,
    /// Root mean square of what the times miss it by.
    rms: f64,
}

impl Line {
    /// Least squares through `times`. A step of several `period_s` counts as several rows; with 0
    /// every row counts as one.
    fn through(times: &[f64], period_s: f64) -> Line {
        let mut index = 0.0;
        let mut points = vec![(0.0, 0.0)];
        for pair in times.windows(2) {
            let periods = if period_s > 0.0 {
                ((pair[1] - pair[0]) / period_s).round()
            } else {
                1.0
            };
            index += periods.max(1.0);
            points.push((index, pair[1] - times[0]));
        }
        let count = points.len() as f64;
        let sum = points
            .iter()
            .fold((0.0, 0.0), |sum, point| (sum.0 + point.0, sum.1 + point.1));
        let mean = (sum.0 / count, sum.1 / count);
        let cross: f64 = points
            .iter()
            .map(|point| (point.0 - mean.0) * (point.1 - mean.1))
            .sum();
        let square: f64 = points.iter().map(|point| (point.0 - mean.0).powi(2)).sum();
        let slope = cross / square;
        let miss = |point: &(f64, f64)| (point.1 - mean.1 - slope * (point.0 - mean.0)).powi(2);
        Line {
            slope,
            rms: (points.iter().map(miss).sum::<f64>() / count).sqrt(),
        }
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
