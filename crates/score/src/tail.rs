//! How likely chance alone is to reach a value: tails of the F and χ² distributions.

/// Probability that an F ratio with `q` and `d` degrees of freedom exceeds `f`:
/// I_x(d/2, q/2) with x = d / (d + q f), the regularised incomplete beta function.
pub(crate) fn f_tail(f: f64, q: usize, d: usize) -> f64 {
    if f.is_nan() || q == 0 || d == 0 {
        return 1.0;
    }
    let (q, d) = (q as f64, d as f64);
    if f <= 0.0 {
        1.0
    } else if f.is_infinite() {
        0.0
    } else {
        incomplete_beta(d / 2.0, q / 2.0, d / (d + q * f))
    }
}

/// Probability that χ² with `d` degrees of freedom exceeds `chi2`: the F distribution whose second number of
/// degrees of freedom is very large.
pub(crate) fn chi2_tail(chi2: f64, d: usize) -> f64 {
    const VERY_LARGE: usize = 1_000_000;
    f_tail(chi2 / d.max(1) as f64, d, VERY_LARGE)
}

/// I_x(a, b), by its continued fraction (Abramowitz and Stegun 26.5.8), on the side where that converges fast.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    let front = |a: f64, b: f64, x: f64| {
        let log_beta = libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b);
        (a * x.ln() + b * (1.0 - x).ln() - log_beta).exp() / a
    };
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else if x < (a + 1.0) / (a + b + 2.0) {
        front(a, b, x) * fraction(a, b, x)
    } else {
        1.0 - front(b, a, 1.0 - x) * fraction(b, a, 1.0 - x)
    }
}

/// The continued fraction 1/(1 + d₁/(1 + d₂/(1 + …))) with d_{2m+1} = −(a+m)(a+b+m) x / ((a+2m)(a+2m+1)) and
/// d_{2m} = m (b−m) x / ((a+2m−1)(a+2m)), from its near end by Lentz's ratios of neighbouring convergents, until they
/// agree: some ten terms, where a fixed number would have to be hundreds.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    const TERMS: usize = 2_000;
    const SMALLEST: f64 = 1e-300;
    let term = |k: usize| {
        let m = (k / 2) as f64;
        if k % 2 == 1 {
            -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))
        } else {
            m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m))
        }
    };
    let away_from_zero = |value: f64| {
        if value.abs() < SMALLEST {
            SMALLEST
        } else {
            value
        }
    };
    let (mut below, mut upper, mut lower) = (1.0, 1.0, 0.0);
    for k in 1..=TERMS {
        let numerator = term(k);
        lower = 1.0 / away_from_zero(1.0 + numerator * lower);
        upper = away_from_zero(1.0 + numerator / upper);
        let change: f64 = upper * lower;
        below *= change;
        if (change - 1.0).abs() < 4.0 * f64::EPSILON {
            break;
        }
    }
    1.0 / below
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Upper points from the usual printed tables: F 5 % with (1, 10), (2, 5), (4, 20), and 0.1 % with (2, 5);
    /// χ² 5 % with 1 and 10 degrees.
    #[test]
    fn tails_of_the_tables() {
        for (f, q, d, expected) in [
            (4.965, 1, 10, 0.05),
            (5.786, 2, 5, 0.05),
            (2.866, 4, 20, 0.05),
            (37.12, 2, 5, 0.001),
        ] {
            assert_relative_eq!(f_tail(f, q, d), expected, max_relative = 2e-3);
        }
        for (chi2, d) in [(3.841, 1), (18.307, 10)] {
            assert_relative_eq!(chi2_tail(chi2, d), 0.05, max_relative = 2e-3);
        }
    }

    /// With two degrees above, the tail has a closed form: (d / (d + 2 F))^(d / 2).
    #[test]
    fn two_degrees_have_a_closed_form() {
        for (f, d) in [(0.1, 3), (1.0, 7), (9.0, 12), (80.0, 30)] {
            let exact = (d as f64 / (d as f64 + 2.0 * f)).powf(d as f64 / 2.0);
            assert_relative_eq!(f_tail(f, 2, d), exact, max_relative = 1e-9);
        }
        assert_eq!((f_tail(f64::INFINITY, 1, 3), f_tail(0.0, 1, 3)), (0.0, 1.0));
    }
}
