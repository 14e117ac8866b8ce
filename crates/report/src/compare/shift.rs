//! A shift that the user allows, and what is said of it.

use score::Verdict;

use super::change::Change;

/// The largest change of one quantity that is allowed.
#[derive(Clone, Debug, PartialEq)]
pub struct MaxShift {
    /// Name of the quantity, as in [`MaxShift::QUANTITIES`].
    pub quantity: String,
    /// Largest change either way, in the unit of the quantity.
    pub most: f64,
}

impl MaxShift {
    /// Quantities that a shift can be judged in.
    pub const QUANTITIES: [&'static str; 8] = [
        "speed_pps",
        "percent_break",
        "percent_break_half_step",
        "break_ms",
        "make_ms",
        "slow_down_percent",
        "unevenness_percent",
        "chatter_ms",
    ];

    /// The word on a change, with its own uncertainty as the guard band (ILAC-G8:09/2019 clause 4.2.3); `None`
    /// when it is a change of something else.
    #[must_use]
    pub fn verdict(&self, change: &Change) -> Option<Verdict> {
        if change.quantity != self.quantity {
            return None;
        }
        let (shift, guard) = (change.change.value.abs(), change.change.u95);
        Some(if shift <= self.most - guard {
            Verdict::Pass
        } else if shift <= self.most {
            Verdict::ConditionalPass
        } else if shift <= self.most + guard {
            Verdict::ConditionalFail
        } else {
            Verdict::Fail
        })
    }
}

impl std::str::FromStr for MaxShift {
    type Err = String;

    /// Reads `QUANTITY=VALUE`, such as `speed_pps=0.2`.
    fn from_str(text: &str) -> Result<Self, String> {
        let (quantity, most) = text
            .split_once('=')
            .ok_or("give QUANTITY=VALUE, such as speed_pps=0.2")?;
        if !MaxShift::QUANTITIES.contains(&quantity) {
            return Err(format!(
                "there is no quantity `{quantity}`; there are {}",
                MaxShift::QUANTITIES.join(", ")
            ));
        }
        let most = most
            .parse::<f64>()
            .ok()
            .filter(|most| most.is_finite() && *most >= 0.0);
        Ok(MaxShift {
            quantity: quantity.to_owned(),
            most: most.ok_or("give a number of at least 0 behind the =")?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use score::Value;

    fn change(value: f64, u95: f64) -> Change {
        let any = Value {
            value: 0.0,
            u95: 0.0,
        };
        Change {
            quantity: "speed_pps",
            before: any,
            after: any,
            change: Value { value, u95 },
        }
    }

    #[test]
    fn the_four_words_lie_where_the_guard_band_says() {
        let shift: MaxShift = "speed_pps=0.5".parse().unwrap();
        let cases = [
            (-0.4, Verdict::Pass),
            (0.45, Verdict::ConditionalPass),
            (-0.55, Verdict::ConditionalFail),
            (0.61, Verdict::Fail),
        ];
        for (value, word) in cases {
            assert_eq!(shift.verdict(&change(value, 0.1)), Some(word), "{value}");
        }
        let other: MaxShift = "percent_break=1".parse().unwrap();
        assert_eq!(other.verdict(&change(9.0, 0.1)), None);
    }

    #[test]
    fn what_is_no_shift_is_refused() {
        for (text, says) in [
            ("0.5", "QUANTITY=VALUE"),
            ("speed=1", "percent_break"),
            ("break_ms=-1", "at least 0"),
            ("break_ms=nan", "at least 0"),
        ] {
            let error = text.parse::<MaxShift>().unwrap_err();
            assert!(error.contains(says), "{error}");
        }
    }
}
