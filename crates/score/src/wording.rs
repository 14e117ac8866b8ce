//! Figures in words: no more digits than were measured.

use crate::limits::Range;
use crate::types::Digit;

/// A value with as many decimals as its uncertainty has to two significant digits: `10.003 ± 0.016`.
pub(crate) fn measured(value: f64, u95: f64) -> String {
    let decimals = decimals(u95, 2);
    format!("{value:.decimals$} ± {u95:.decimals$}")
}

/// A figure to a number of significant digits, without exponent.
pub(crate) fn significant(value: f64, digits: i32) -> String {
    let decimals = decimals(value, digits);
    format!("{value:.decimals$}")
}

/// Decimals that show `digits` significant digits of a figure, between none and six; four for zero.
fn decimals(figure: f64, digits: i32) -> usize {
    if figure == 0.0 || !figure.is_finite() {
        return 4;
    }
    let leading = figure.abs().log10().floor() as i32;
    (digits - 1 - leading).clamp(0, 6) as usize
}

/// A pair of limits: `9.5-10.5`, `at least 600`, `at most 0.5`.
pub(crate) fn limits(lower: Option<f64>, upper: Option<f64>) -> String {
    match (lower, upper) {
        (Some(lower), Some(upper)) => format!("{lower}-{upper}"),
        (Some(lower), None) => format!("at least {lower}"),
        (None, Some(upper)) => format!("at most {upper}"),
        (None, None) => "no limit".into(),
    }
}

/// The limits of a range.
pub(crate) fn range(range: &Range) -> String {
    limits(range.lower, range.upper)
}

/// A quantity's name and unit as the trade says them.
pub(crate) fn quantity(name: &str) -> (&'static str, &'static str) {
    match name {
        "speed_pps" => ("pulsing speed", " pps"),
        "period_ms" => ("mean period", " ms"),
        "percent_break" => ("percent break", " %"),
        "break_make_ratio" => ("break-to-make ratio", ""),
        "break_ms" => ("break", " ms"),
        "make_ms" => ("make", " ms"),
        "bounce_ms" => ("contact bounce", " ms"),
        "pause_before_ms" => ("pause before it", " ms"),
        "pulses" => ("count", " pulses"),
        _ => ("value", ""),
    }
}

/// Which digit of a recording is meant, by its place and by what it means: `first digit (0)`, `2nd digit (5)`.
///
/// A bare number would not do: "digit 1" is also the digit that one pulse sends. `index` counts from 0;
/// `digit` is [`crate::Digit::digit`], left out where the plan has none.
#[must_use]
pub fn nth_digit(index: usize, digit: Option<&str>) -> String {
    let meaning = digit.map(|digit| format!(" ({digit})")).unwrap_or_default();
    format!("{} digit{meaning}", ordinal(index + 1))
}

/// The digit at `index`, by place and meaning.
pub(crate) fn which(index: usize, digits: &[Digit]) -> String {
    nth_digit(
        index,
        digits.get(index).and_then(|digit| digit.digit.as_deref()),
    )
}

/// `first`, `2nd`, `3rd`, `11th`, `21st`.
pub(crate) fn ordinal(number: usize) -> String {
    let ending = match (number % 100, number % 10) {
        _ if number == 1 => return "first".into(),
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_never_taken_for_a_digit() {
        assert_eq!(nth_digit(0, Some("0")), "first digit (0)");
        assert_eq!(nth_digit(0, None), "first digit");
        let named: Vec<_> = [1, 2, 3, 10, 11, 12, 20, 21, 22, 110]
            .iter()
            .map(|index| ordinal(index + 1))
            .collect();
        let expected = [
            "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "23rd", "111th",
        ];
        assert_eq!(named, expected);
    }
}
