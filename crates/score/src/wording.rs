//! Figures in words: no more digits than were measured.

use crate::limits::Range;
use crate::types::Value;

/// A value with as many decimals as its uncertainty has to two significant digits: `10.003 ± 0.016`.
pub(crate) fn measured(value: f64, u95: f64) -> String {
    let decimals = decimals(u95, 2);
    format!("{value:.decimals$} ± {u95:.decimals$}")
}

/// A value by its own uncertainty.
pub(crate) fn of(value: &Value) -> String {
    measured(value.value, value.u95)
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
