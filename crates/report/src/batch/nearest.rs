//! How near a recording comes to the limits it was judged by.

use crate::saved::SavedCheck;

/// The limit that a recording comes nearest to, or exceeds most.
#[derive(Clone, Debug, PartialEq)]
pub struct Nearest {
    /// Quantity, as in the measurement's JSON.
    pub quantity: String,
    /// Distance to the limit in the unit of the quantity; negative outside.
    pub inside: f64,
    /// The same as a share: of half the width between two limits, or of a lone limit. Orders dials across
    /// quantities.
    pub share: f64,
}

/// The worst of all checks with a limit; `None` when there is none.
pub(super) fn nearest(checks: &[SavedCheck]) -> Option<Nearest> {
    checks
        .iter()
        .filter_map(distance)
        .min_by(|a, b| a.share.total_cmp(&b.share))
}

fn distance(check: &SavedCheck) -> Option<Nearest> {
    let above_lower = check.lower.map(|lower| check.value - lower);
    let below_upper = check.upper.map(|upper| upper - check.value);
    let (inside, width) = match (above_lower, below_upper) {
        (Some(above), Some(below)) => (above.min(below), (above + below) / 2.0),
        (Some(above), None) => (above, check.lower?.abs()),
        (None, Some(below)) => (below, check.upper?.abs()),
        (None, None) => return None,
    };
    // A count has one right value: there is nothing to be near to.
    (width > 0.0).then(|| Nearest {
        quantity: check.quantity.clone(),
        inside,
        share: inside / width,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use score::Verdict;

    fn check(quantity: &str, value: f64, lower: Option<f64>, upper: Option<f64>) -> SavedCheck {
        SavedCheck {
            quantity: quantity.to_owned(),
            digit_index: 0,
            value,
            guard_band: 0.0,
            lower,
            upper,
            verdict: Verdict::Pass,
        }
    }

    #[test]
    fn the_nearest_of_several_limits_is_found_by_its_share() {
        let checks = [
            check("speed_pps", 10.3, Some(9.5), Some(10.5)),
            check("percent_break", 62.0, Some(60.0), Some(64.0)),
            check("bounce_ms", 0.9, None, Some(1.0)),
            check("pulses", 10.0, Some(10.0), Some(10.0)),
        ];
        // 0.2 of 0.5 is 0.4; 2 of 2 is 1; 0.1 of 1 is 0.1; the count has no width.
        let found = nearest(&checks).unwrap();
        assert_eq!(found.quantity, "bounce_ms");
        approx::assert_relative_eq!(found.share, 0.1, max_relative = 1e-9);
        let found = nearest(&checks[..2]).unwrap();
        assert_eq!(found.quantity, "speed_pps");
        approx::assert_relative_eq!(found.inside, 0.2, max_relative = 1e-9);
        assert_eq!(nearest(&checks[3..]), None);
    }

    #[test]
    fn outside_is_negative() {
        let found = nearest(&[check("speed_pps", 8.0, Some(9.5), Some(10.5))]).unwrap();
        assert_eq!((found.inside, found.share), (-1.5, -3.0));
    }
}
