//! What changed from one digit to another, and whether the change is larger than its own uncertainty.

use score::Value;
use score::apart::{OPENING_DELAY_MS, clock_u95, delay_u95_ms, delay_u95_percent};

use crate::saved::{SavedDigit, SavedSpread};

/// How the recorders' clocks enter the uncertainty of a change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clocks {
    /// Tolerance of the clock before, in parts per million.
    pub before_ppm: f64,
    /// Tolerance of the clock after, in parts per million.
    pub after_ppm: f64,
    /// Both were recorded by the same clock: what it is off, it is off twice, and the difference keeps only
    /// its share of the change.
    pub same: bool,
}

impl Clocks {
    /// Uncertainty (95 %) that the clocks leave in the difference of two values.
    fn u95(self, before: f64, after: f64) -> f64 {
        if self.same {
            clock_u95(after - before, self.after_ppm.max(self.before_ppm))
        } else {
            clock_u95(before, self.before_ppm).hypot(clock_u95(after, self.after_ppm))
        }
    }

    /// Uncertainty (95 %) that late openings leave in the difference, by what they leave in either value: one bench's
    /// leads are the same twice.
    fn delays_u95(self, before: f64, after: f64) -> f64 {
        if self.same {
            (after - before).abs()
        } else {
            before.hypot(after)
        }
    }
}

/// One quantity before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Stable name with unit, as in the measurement's JSON.
    pub quantity: &'static str,
    /// Before; its `u95` holds the recorder's clock and the delay of openings.
    pub before: Value,
    /// After; the same.
    pub after: Value,
    /// After minus before.
    pub change: Value,
}

impl Change {
    /// True when the change is larger than its own uncertainty (95 %).
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.change.value.abs() > self.change.u95
    }
}

/// A quantity of a digit: its name, whether the recorder's clock enters it, and where it is found.
struct Quantity {
    name: &'static str,
    clock: bool,
    of: fn(&SavedDigit) -> Option<Value>,
}

/// What is compared, in the order in which it is shown. Winding, return and pauses are left out: a hand makes
/// most of them, and no uncertainty of them is known.
static QUANTITIES: [Quantity; 8] = [
    Quantity {
        name: "speed_pps",
        clock: true,
        of: |digit| digit.speed_pps,
    },
    Quantity {
        name: "percent_break",
        clock: false,
        of: |digit| digit.percent_break,
    },
    Quantity {
        name: "percent_break_half_step",
        clock: false,
        of: |digit| digit.percent_break_half_step,
    },
    Quantity {
        name: "break_ms",
        clock: true,
        of: |digit| Some(mean(digit.break_ms)),
    },
    Quantity {
        name: "make_ms",
        clock: true,
        of: |digit| digit.make_ms.map(mean),
    },
    Quantity {
        name: "slow_down_percent",
        clock: false,
        of: |digit| joined(digit.slow_down_percent, digit.slow_down_u95_percent),
    },
    Quantity {
        name: "unevenness_percent",
        clock: false,
        of: |digit| joined(digit.unevenness_percent, digit.unevenness_u95_percent),
    },
    Quantity {
        name: "chatter_ms",
        clock: false,
        of: chatter,
    },
];

/// What the delay of openings leaves uncertain (95 %) in a quantity of a digit.
fn delay_u95(quantity: &str, digit: &SavedDigit) -> f64 {
    match (quantity, digit.speed_pps) {
        ("percent_break", Some(speed)) => delay_u95_percent(OPENING_DELAY_MS, 1e3 / speed.value),
        ("break_ms" | "make_ms", _) => delay_u95_ms(OPENING_DELAY_MS),
        _ => 0.0,
    }
}

fn mean(spread: SavedSpread) -> Value {
    Value {
        value: spread.mean,
        u95: spread.u95,
    }
}

fn joined(value: Option<f64>, u95: Option<f64>) -> Option<Value> {
    Some(Value {
        value: value?,
        u95: u95?,
    })
}

/// Chatter shorter than the floor is not seen: the floor is what a difference of chatters cannot resolve.
fn chatter(digit: &SavedDigit) -> Option<Value> {
    Some(Value {
        value: digit.chatter_ms_max,
        u95: digit.chatter_floor_ms,
    })
}

/// Every quantity that both digits have.
pub(super) fn changes(before: &SavedDigit, after: &SavedDigit, clocks: Clocks) -> Vec<Change> {
    let of = |quantity: &Quantity| {
        let (one, two) = ((quantity.of)(before)?, (quantity.of)(after)?);
        let delays = (
            delay_u95(quantity.name, before),
            delay_u95(quantity.name, after),
        );
        Some(change(quantity, (one, two), delays, clocks))
    };
    QUANTITIES.iter().filter_map(of).collect()
}

/// Uncertainty of a difference of two independent measurements, after JCGM 100:2008 clause 5.1.2:
/// U² = U₁² + U₂² and, for speeds and durations, the clocks' part; where breaks are compared with makes, that of late
/// openings.
fn change(
    quantity: &Quantity,
    (before, after): (Value, Value),
    delays: (f64, f64),
    clocks: Clocks,
) -> Change {
    let recordings = before.u95.hypot(after.u95);
    let clock = if quantity.clock {
        clocks.u95(before.value, after.value)
    } else {
        0.0
    };
    let as_read = |value: Value, ppm: f64, delay: f64| {
        let clock = if quantity.clock {
            clock_u95(value.value, ppm)
        } else {
            0.0
        };
        Value {
            value: value.value,
            u95: value.u95.hypot(clock).hypot(delay),
        }
    };
    Change {
        quantity: quantity.name,
        before: as_read(before, clocks.before_ppm, delays.0),
        after: as_read(after, clocks.after_ppm, delays.1),
        change: Value {
            value: after.value - before.value,
            u95: recordings
                .hypot(clock)
                .hypot(clocks.delays_u95(delays.0, delays.1)),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const SPEED: Quantity = Quantity {
        name: "speed_pps",
        clock: true,
        of: |digit| digit.speed_pps,
    };

    fn value(value: f64, u95: f64) -> Value {
        Value { value, u95 }
    }

    fn clocks(same: bool) -> Clocks {
        Clocks {
            before_ppm: 100.0,
            after_ppm: 100.0,
            same,
        }
    }

    #[test]
    fn independent_recorders_leave_both_clocks_in_the_change() {
        // 3-4-5 of the recordings; each clock 1.13 × 10 × 1e-4 = 0.00113 pps.
        let changed = change(
            &SPEED,
            (value(10.0, 0.003), value(10.0, 0.004)),
            (0.0, 0.0),
            clocks(false),
        );
        let clock = 0.00113 * 2f64.sqrt();
        assert_relative_eq!(
            changed.change.u95,
            0.005f64.hypot(clock),
            max_relative = 1e-12
        );
        assert_relative_eq!(
            changed.before.u95,
            0.003f64.hypot(0.00113),
            max_relative = 1e-12
        );
    }

    #[test]
    fn the_same_clock_cancels_but_for_its_share_of_the_change() {
        let changed = change(
            &SPEED,
            (value(8.0, 0.0), value(10.0, 0.0)),
            (0.0, 0.0),
            clocks(true),
        );
        assert_relative_eq!(changed.change.u95, 1.13 * 2.0 * 1e-4, max_relative = 1e-12);
        assert!(changed.is_shown());
    }

    #[test]
    fn a_change_within_its_uncertainty_is_not_shown() {
        let still = change(
            &SPEED,
            (value(10.0, 0.003), value(10.004, 0.004)),
            (0.0, 0.0),
            clocks(true),
        );
        assert!(!still.is_shown());
    }

    /// 3-4-5 of the two delays where the benches differ; at one bench only what differs by itself.
    #[test]
    fn late_openings_cancel_at_one_bench() {
        let of = |same| {
            let values = (value(60.0, 0.0), value(61.0, 0.0));
            let percent = &QUANTITIES[1];
            change(percent, values, (0.003, 0.004), clocks(same))
        };
        assert_relative_eq!(of(false).change.u95, 0.005, max_relative = 1e-12);
        assert_relative_eq!(of(true).change.u95, 0.001, max_relative = 1e-9);
        assert_relative_eq!(of(true).before.u95, 0.003, max_relative = 1e-12);
    }
}
