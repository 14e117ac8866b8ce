//! Figures with no more digits than were measured.

use score::Value;
use score::apart::clock_u95;

/// `value ± u95`: the uncertainty rounded to two significant digits, the value to the same place
/// (JCGM 100:2008 clause 7.2.6). Without an uncertainty above zero, the value to three decimals.
///
/// ```
/// assert_eq!(report::with_uncertainty(10.01234, 0.0123), "10.012 ± 0.012");
/// assert_eq!(report::with_uncertainty(1342.0, 123.0), "1340 ± 120");
/// ```
#[must_use]
pub fn with_uncertainty(value: f64, u95: f64) -> String {
    match place(u95) {
        Some(place) => format!("{} ± {}", rounded(value, place), rounded(u95, place)),
        None => format!("{value:.3}"),
    }
}

/// The value alone, rounded as [`with_uncertainty`] rounds it.
pub(crate) fn to_its_place(value: f64, u95: f64) -> String {
    place(u95).map_or_else(|| format!("{value:.3}"), |place| rounded(value, place))
}

/// Power of ten of the last digit that `u95` keeps when rounded to two significant digits.
fn place(u95: f64) -> Option<i32> {
    if !(u95.is_finite() && u95 > 0.0) {
        return None;
    }
    let tens = u95.log10().floor() as i32 - 1;
    // 0.0996 becomes 0.10: rounding up into the next decade moves the place.
    let moves_up = (u95 / 10f64.powi(tens)).round() >= 100.0;
    Some((tens + i32::from(moves_up)).max(-9))
}

fn rounded(value: f64, place: i32) -> String {
    let unit = 10f64.powi(place);
    let decimals = usize::try_from(-place).unwrap_or(0);
    let value = (value / unit).round() * unit;
    // Minus zero says no more than zero.
    let value = if value == 0.0 { 0.0 } else { value };
    format!("{value:.decimals$}")
}

/// Uncertainty (95 %) of a speed or a duration with the tolerance of the recorder's clock joined:
/// √(u95² + (1.13 × value × clock_ppm / 10⁶)²). The tolerance counts as rectangular.
#[must_use]
pub fn clock_joined(value: Value, clock_ppm: f64) -> f64 {
    value.u95.hypot(clock_u95(value.value, clock_ppm))
}

/// A limit as it is quoted: no digits that are not in it.
pub(crate) fn plain(limit: f64) -> String {
    let text = format!("{limit:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A pair of limits in words.
pub(crate) fn limits(lower: Option<f64>, upper: Option<f64>) -> String {
    match (lower, upper) {
        (Some(lower), Some(upper)) => format!("{} to {}", plain(lower), plain(upper)),
        (Some(lower), None) => format!("at least {}", plain(lower)),
        (None, Some(upper)) => format!("at most {}", plain(upper)),
        (None, None) => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uncertainty_keeps_two_digits_and_the_value_its_place() {
        let cases = [
            (61.5234, 0.1234, "61.52 ± 0.12"),
            (61.5, 0.0996, "61.50 ± 0.10"),
            (10.0, 0.000_043, "10.000000 ± 0.000043"),
            (812.4, 9.96, "812 ± 10"),
            (1342.0, 123.0, "1340 ± 120"),
            (-0.0001, 0.2, "0.00 ± 0.20"),
            (5.0, 0.0, "5.000"),
            (5.0, f64::NAN, "5.000"),
        ];
        for (value, u95, expected) in cases {
            assert_eq!(with_uncertainty(value, u95), expected);
        }
    }

    #[test]
    fn clock_joins_as_a_rectangular_share() {
        // 1.13 × 10 pps × 100 ppm = 0.00113 pps; with 0.00113 beside it, √2 times that.
        let joined = clock_joined(
            Value {
                value: 10.0,
                u95: 0.001_13,
            },
            100.0,
        );
        approx::assert_relative_eq!(joined, 0.001_13 * 2f64.sqrt(), max_relative = 1e-12);
    }

    #[test]
    fn limits_are_quoted_without_spare_digits() {
        assert_eq!(limits(Some(9.5), Some(10.5)), "9.5 to 10.5");
        assert_eq!(limits(None, Some(0.5)), "at most 0.5");
        assert_eq!(limits(Some(600.0), None), "at least 600");
    }
}
