//! The few statistics that the tables need.

use statrs::distribution::{Beta, ContinuousCDF, Normal};

/// The value below which this share of the magnitudes lies; `None` of nothing.
pub(crate) fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    sorted.get((last as f64 * share).round() as usize).copied()
}

/// Root mean square; `None` of nothing.
pub(crate) fn root_mean_square(values: &[f64]) -> Option<f64> {
    let squares: f64 = values.iter().map(|v| v * v).sum();
    (!values.is_empty()).then(|| (squares / values.len() as f64).sqrt())
}

/// Interval that holds the probability of a success with at least this confidence, from `hits` in `trials`
/// (C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), pp. 404-413), by quantiles of the beta distribution.
pub(crate) fn clopper_pearson(hits: usize, trials: usize, confidence: f64) -> Option<[f64; 2]> {
    if trials == 0 || hits > trials {
        return None;
    }
    let tail = (1.0 - confidence) / 2.0;
    let (hit, missed) = (hits as f64, (trials - hits) as f64);
    let quantile = |a, b, p| Beta::new(a, b).ok().map(|beta| beta.inverse_cdf(p));
    let low = if hits == 0 {
        0.0
    } else {
        quantile(hit, missed + 1.0, tail)?
    };
    let high = if hits == trials {
        1.0
    } else {
        quantile(hit + 1.0, missed, 1.0 - tail)?
    };
    Some([low, high])
}

/// The 95th percentile of the magnitude of errors that are normal, each with its own standard deviation and
/// each as likely: what a family's errors would show if every one of them kept to its bound.
pub(crate) fn percentile_95_of(deviations: &[f64]) -> f64 {
    let normal = Normal::standard();
    let within = |x: f64| {
        let share = |s: &f64| {
            if *s > 0.0 {
                2.0 * normal.cdf(x / s) - 1.0
            } else {
                1.0
            }
        };
        deviations.iter().map(share).sum::<f64>() / deviations.len() as f64
    };
    let widest = deviations.iter().copied().fold(0.0, f64::max);
    let (mut low, mut high) = (0.0, 2.0 * widest);
    // Sixty halvings leave nothing of an f64.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if within(middle) < 0.95 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

#[cfg(test)]
mod of_statistics {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn intervals_agree_with_worked_values() {
        // All of n: low end is (tail)^(1/n); none of n: high end is its complement. 0.005^(1/100) = 0.94840.
        let all = clopper_pearson(100, 100, 0.99).unwrap();
        assert_abs_diff_eq!(all[0], 0.005f64.powf(0.01), epsilon = 1e-7);
        assert_eq!(all[1], 1.0);
        let none = clopper_pearson(0, 100, 0.99).unwrap();
        assert_abs_diff_eq!(none[1], 1.0 - 0.005f64.powf(0.01), epsilon = 1e-7);
        // One of two at 95 %: P(at least 1 of 2) = 1 - (1 - p)² = 0.025 at p = 0.012579.
        let half = clopper_pearson(1, 2, 0.95).unwrap();
        assert_abs_diff_eq!(half[0], 1.0 - 0.975f64.sqrt(), epsilon = 1e-6);
        assert_abs_diff_eq!(half[1], 0.975f64.sqrt(), epsilon = 1e-6);
    }

    #[test]
    fn of_nothing_there_is_no_interval() {
        assert_eq!(clopper_pearson(0, 0, 0.99), None);
        assert_eq!(quantile(&[], 0.95), None);
        assert_eq!(root_mean_square(&[]), None);
    }

    #[test]
    fn equal_deviations_give_the_normal_percentile() {
        assert_abs_diff_eq!(
            percentile_95_of(&[2.0, 2.0]),
            2.0 * 1.959_964,
            epsilon = 1e-4
        );
        // One in twenty far wider than the rest: its middle half is what lies beyond.
        let mixed = percentile_95_of(&[&[1.0; 19][..], &[1e6]].concat());
        assert!((3.0..10.0).contains(&mixed), "{mixed}");
    }

    #[test]
    fn the_largest_value_is_the_last_quantile() {
        assert_eq!(quantile(&[1.0, -3.0, 2.0], 1.0), Some(3.0));
        assert_eq!(quantile(&[1.0, -3.0, 2.0], 0.5), Some(2.0));
    }
}
