//! What changed from one digit to the next.

use score::{Digit, Value};

/// A digit against an earlier one of the same sitting: the last with as many pulses, or else the last that has a
/// speed. Only sure digits are compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Number of the earlier digit in the sitting, from 0.
    pub against: usize,
    /// Both have the same number of pulses. Digits of different length differ by the dial's own slow-down too.
    pub same_pulses: bool,
    /// Change of the pulsing speed, in pulses per second.
    pub speed_pps: Option<Difference>,
    /// Change of the percent break, in points.
    pub percent_break: Option<Difference>,
}

/// A difference with its uncertainty. The recorder's clock is the same in both and cancels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Later less earlier.
    pub value: f64,
    /// Its 95 % uncertainty: the root sum of squares of both.
    pub u95: f64,
}

impl Difference {
    /// True when the change is larger than its uncertainty.
    #[must_use]
    pub fn exceeds(&self) -> bool {
        self.value.abs() > self.u95
    }

    pub(crate) fn between(earlier: Option<Value>, later: Option<Value>) -> Option<Difference> {
        let (earlier, later) = (earlier?, later?);
        Some(Difference {
            value: later.value - earlier.value,
            u95: earlier.u95.hypot(later.u95),
        })
    }
}

/// The change of digit `index` against the best earlier one.
pub(crate) fn of(digits: &[Digit], index: usize) -> Option<Change> {
    let digit = digits.get(index)?;
    if !digit.sure || digit.speed_pps.is_none() {
        return None;
    }
    let comparable = |earlier: &&usize| {
        let earlier = &digits[**earlier];
        earlier.sure && earlier.speed_pps.is_some()
    };
    let earlier: Vec<usize> = (0..index).collect();
    let same = earlier
        .iter()
        .filter(comparable)
        .rfind(|earlier| digits[**earlier].pulses == digit.pulses);
    let against = *same.or_else(|| earlier.iter().rfind(comparable))?;
    let before = &digits[against];
    Some(Change {
        against,
        same_pulses: before.pulses == digit.pulses,
        speed_pps: Difference::between(before.speed_pps, digit.speed_pps),
        percent_break: Difference::between(before.percent_break, digit.percent_break),
    })
}
