//! Scales and their tick marks.

/// A straight scale from data to page units.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    pub low: f64,
    pub upper: f64,
    from: f64,
    to: f64,
}

impl Scale {
    /// `low` is drawn at `from`, `upper` at `to`.
    pub(super) fn new(low: f64, upper: f64, from: f64, to: f64) -> Self {
        Scale {
            low,
            upper,
            from,
            to,
        }
    }

    pub(super) fn place(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.upper - self.low) * (self.to - self.from)
    }
}

/// A range that holds all values with a little room, and is no narrower than `least_span`: keeps ordinary scatter from
/// looking like a fault. `None` of no values.
pub(super) fn roomy(values: impl Iterator<Item = f64>, least_span: f64) -> Option<(f64, f64)> {
    let (least, greatest) = values
        .map(|value| (value, value))
        .reduce(|one, other| (one.0.min(other.0), one.1.max(other.1)))?;
    let missing = (least_span - (greatest - least)).max(0.0) / 2.0;
    let room = 0.1 * (greatest - least).max(least_span);
    Some((least - missing - room, greatest + missing + room))
}

/// The step 1, 2 or 5 times a power of ten that is nearest above `span / count`.
pub(super) fn round_step(span: f64, count: f64) -> f64 {
    let rough = span / count;
    let decade = 10f64.powf(rough.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .iter()
        .map(|m| m * decade)
        .find(|step| *step >= rough * 0.999_999)
        .unwrap_or(rough)
}

/// Multiples of `step` within `low..=upper`.
pub(super) fn ticks(low: f64, upper: f64, step: f64) -> Vec<f64> {
    let (first, last) = ((low / step).ceil() as i64, (upper / step).floor() as i64);
    (first..=last).map(|index| index as f64 * step).collect()
}

/// `value` written with the decimals that `step` needs.
pub(super) fn tick_label(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).max(0.0) as usize;
    let text = format!("{value:.decimals$}");
    if text
        .trim_start_matches('-')
        .chars()
        .all(|c| c == '0' || c == '.')
    {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        for (span, count, step) in [
            (1.0, 5.0, 0.2),
            (10.0, 5.0, 2.0),
            (1.3, 5.0, 0.5),
            (0.07, 7.0, 0.01),
            (1200.0, 10.0, 200.0),
        ] {
            assert!(
                (round_step(span, count) - step).abs() < 1e-12,
                "{span}/{count}"
            );
        }
    }

    #[test]
    fn ticks_lie_within_and_are_labelled_without_spare_digits() {
        let step = 0.2;
        let labels: Vec<_> = ticks(9.45, 10.1, step)
            .into_iter()
            .map(|v| tick_label(v, step))
            .collect();
        assert_eq!(labels, ["9.6", "9.8", "10.0"]);
        assert_eq!(tick_label(-0.0, 0.1), "0.0");
        assert_eq!(tick_label(1200.0, 200.0), "1200");
    }
}
