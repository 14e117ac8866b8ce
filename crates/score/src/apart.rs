//! What a recording does not show of itself, and what is therefore kept apart from `u95`: how true the recorder's clock
//! runs, and how much the capacitance of line and leads delays the openings. Both join the guard band, and the ± that
//! people read.

use crate::settings::Settings;
use crate::types::{Digit, Value};

/// 95 % half-width of a rectangular distribution of half-width 1, so of a tolerance taken as the bounds of an equally
/// likely error: 1.96 / √3 = 1.13 (JCGM 100:2008 clause 4.3.7).
const RECTANGULAR_95: f64 = 1.13;

/// What capacitance may delay openings by beyond closings, in milliseconds, unless the settings say otherwise: an
/// opening contact lets it charge through the feed (1 nF behind 800 Ω is 0.8 µs), a closing one shorts it. Longer delays
/// show in the trace. Common practice, no source.
pub const OPENING_DELAY_MS: f64 = 0.000_8;

/// What a clock good to `clock_ppm` leaves uncertain (95 %) in a speed or a duration, in its unit.
#[must_use]
pub fn clock_u95(value: f64, clock_ppm: f64) -> f64 {
    (RECTANGULAR_95 * value * clock_ppm / 1e6).abs()
}

/// What openings late by up to `delay_ms` leave uncertain (95 %) in a break or a make, in milliseconds.
#[must_use]
pub fn delay_u95_ms(delay_ms: f64) -> f64 {
    RECTANGULAR_95 * delay_ms
}

/// The same in a percent break of so long a mean period.
#[must_use]
pub fn delay_u95_percent(delay_ms: f64, period_ms: f64) -> f64 {
    100.0 * delay_u95_ms(delay_ms) / period_ms
}

/// The same in a break-to-make ratio: with b + m = T and r = b/m, ∂r/∂b = (1 + r)²/T.
fn delay_u95_ratio(delay_ms: f64, ratio: f64, period_ms: f64) -> f64 {
    (1.0 + ratio).powi(2) * delay_u95_ms(delay_ms) / period_ms
}

/// What a recording does not show of itself in a quantity (95 %), in its unit: the clock in speeds and durations, the
/// delay of openings in whatever compares breaks with makes.
pub(crate) fn u95(quantity: &str, value: f64, period_ms: Option<f64>, settings: &Settings) -> f64 {
    let clock = clock_u95(value, settings.clock_ppm);
    let delay_ms = settings.opening_delay_ms;
    match (quantity, period_ms) {
        ("percent_break", Some(period_ms)) => delay_u95_percent(delay_ms, period_ms),
        ("break_make_ratio", Some(period_ms)) => delay_u95_ratio(delay_ms, value, period_ms),
        ("percent_break" | "break_make_ratio", None) => 0.0,
        ("break_ms" | "make_ms", _) => clock.hypot(delay_u95_ms(delay_ms)),
        _ => clock,
    }
}

/// A break or a make in milliseconds with clock and delay joined: what people read behind the ±.
#[must_use]
pub fn duration_as_read(duration_ms: Value, settings: &Settings) -> Value {
    let apart = u95("break_ms", duration_ms.value, None, settings);
    Value {
        u95: duration_ms.u95.hypot(apart),
        ..duration_ms
    }
}

impl Digit {
    /// Percent break with the delay of openings joined: what people read behind the ±.
    #[must_use]
    pub fn percent_break_as_read(&self, settings: &Settings) -> Option<Value> {
        let (percent, period_ms) = (self.percent_break?, self.period_ms?.value);
        let apart = u95("percent_break", percent.value, Some(period_ms), settings);
        Some(Value {
            u95: percent.u95.hypot(apart),
            ..percent
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_clock_of_100_ppm_leaves_1_13_thousandths_of_a_pulse_a_second() {
        assert_relative_eq!(clock_u95(10.0, 100.0), 0.001_13, max_relative = 1e-12);
        assert_relative_eq!(clock_u95(-10.0, 100.0), 0.001_13, max_relative = 1e-12);
    }

    /// 0.8 µs of a period of 100 ms: the share moves by 0.0008 points, the ratio by what the moved break makes of it.
    #[test]
    fn a_later_opening_moves_the_share_and_the_ratio_as_worked_out_by_hand() {
        assert_relative_eq!(
            delay_u95_percent(0.0008, 100.0),
            0.000_904,
            max_relative = 1e-9
        );
        let (broken, make, late) = (60.0, 40.0, delay_u95_ms(0.0008));
        let moved = (broken - late) / (make + late);
        assert_relative_eq!(
            delay_u95_ratio(0.0008, broken / make, broken + make),
            broken / make - moved,
            max_relative = 1e-4
        );
    }

    #[test]
    fn durations_have_both_and_pauses_the_clock_alone() {
        let settings = Settings {
            clock_ppm: 100.0,
            opening_delay_ms: 0.01,
            ..Settings::default()
        };
        let read = duration_as_read(
            Value {
                value: 60.0,
                u95: 0.0,
            },
            &settings,
        );
        assert_relative_eq!(read.u95, 0.006_78_f64.hypot(0.011_3), max_relative = 1e-9);
        assert_relative_eq!(u95("pause_before_ms", 60.0, None, &settings), 0.006_78);
    }
}
