//! Slow-down and unevenness: a straight line through the periods of a digit, and the scatter about it.
//!
//! No published source limits either; they are diagnostics.

use crate::COVERAGE_FACTOR;
use crate::grouping::{Break, period_s};
use crate::measure::Measurer;
use crate::types::Value;
use crate::uncertainty::Sensitivities;

/// Fewest pulses for a line through the periods with a degree of freedom left for the scatter.
const LEAST_PULSES: usize = 4;

/// The line through the periods T_k, k = 0…n − 1, with n = N − 1.
pub(crate) struct PeriodLine {
    /// Mean period, in seconds.
    mean_s: f64,
    /// Growth of the period from one to the next, in seconds.
    slope_s: f64,
    /// Number of periods.
    count: usize,
    /// Sum of squared distances from the line, in s².
    residual_s2: f64,
}

impl PeriodLine {
    /// Fits the line by least squares; `None` below [`LEAST_PULSES`] pulses.
    pub(crate) fn fit(breaks: &[Break]) -> Option<Self> {
        if breaks.len() < LEAST_PULSES {
            return None;
        }
        let periods: Vec<f64> = breaks
            .windows(2)
            .map(|pair| period_s(&pair[0], &pair[1]))
            .collect();
        let count = periods.len();
        let mean_s = periods.iter().sum::<f64>() / count as f64;
        let slope_s: f64 = (0..count)
            .map(|k| slope_weight(k, count) * periods[k])
            .sum();
        let distance = |k: usize| periods[k] - mean_s - slope_s * (k as f64 - middle(count));
        let residual_s2 = (0..count).map(|k| distance(k).powi(2)).sum();
        Some(PeriodLine {
            mean_s,
            slope_s,
            count,
            residual_s2,
        })
    }

    /// 100 × slope × (N − 2) / mean period.
    pub(crate) fn slow_down_percent(&self) -> f64 {
        self.steps() * self.slope_s * self.percent()
    }

    /// 100 × sqrt(SSR / (N − 3)) / mean period.
    pub(crate) fn unevenness_percent(&self) -> f64 {
        (self.residual_s2 / self.degrees()).sqrt() * self.percent()
    }

    /// Degrees of freedom of the scatter: N − 3.
    pub(crate) fn degrees(&self) -> f64 {
        (self.count - 2) as f64
    }

    /// Steps from the first period to the last: N − 2.
    fn steps(&self) -> f64 {
        (self.count - 1) as f64
    }

    fn percent(&self) -> f64 {
        100.0 / self.mean_s
    }
}

/// Slow-down of a digit with its uncertainty.
///
/// With g = 100 (N − 2) Σ w_k T_k / T̄: ∂g/∂T_k = 100 (N − 2) w_k / T̄ − g / ((N − 1) T̄), and each T_k is the
/// difference of two openings.
pub(crate) fn slow_down(measurer: &Measurer) -> Option<Value> {
    let line = PeriodLine::fit(measurer.breaks)?;
    let value = line.slow_down_percent();
    let mut sensitivities = Sensitivities::new(measurer.trains);
    for (k, pair) in measurer.breaks.windows(2).enumerate() {
        let derivative = line.steps() * slope_weight(k, line.count) * line.percent()
            - value / (line.count as f64 * line.mean_s);
        sensitivities.add(&pair[1].open, derivative);
        sensitivities.add(&pair[0].open, -derivative);
    }
    Some(Value {
        value,
        u95: sensitivities.u95(),
    })
}

/// Unevenness of a digit with its uncertainty.
///
/// The scatter is the length of a vector of distances from the line. Noise adds a vector to it, so by the
/// triangle inequality the length errs by at most the length of the noise vector, whose mean square is
/// Σ (noise variance of each distance). This holds too where the dial is perfectly even and no derivative
/// exists; where it is uneven the interval holds the truth more often than 95 %.
pub(crate) fn unevenness(measurer: &Measurer) -> Option<Value> {
    let line = PeriodLine::fit(measurer.breaks)?;
    let noise_s2: f64 = (0..line.count)
        .map(|k| distance_u95_s(measurer, line.count, k).powi(2))
        .sum();
    let u95 = (noise_s2 / line.degrees()).sqrt() * line.percent();
    Some(Value {
        value: line.unevenness_percent(),
        u95,
    })
}

/// Uncertainty (95 %) of the distance of period k from the line, in seconds: the distance is the weighted
/// sum Σ_j (δ_kj − 1/n − (k − k̄) w_j) T_j.
fn distance_u95_s(measurer: &Measurer, count: usize, k: usize) -> f64 {
    let mut sensitivities = Sensitivities::new(measurer.trains);
    for (j, pair) in measurer.breaks.windows(2).enumerate() {
        let own = if j == k { 1.0 } else { 0.0 };
        let weight = own - 1.0 / count as f64 - (k as f64 - middle(count)) * slope_weight(j, count);
        sensitivities.add(&pair[1].open, weight);
        sensitivities.add(&pair[0].open, -weight);
    }
    sensitivities.u95()
}

fn middle(count: usize) -> f64 {
    (count - 1) as f64 / 2.0
}

/// Σ (k − k̄)² over k = 0…count − 1.
fn spread(count: usize) -> f64 {
    (0..count).map(|k| (k as f64 - middle(count)).powi(2)).sum()
}

/// Weight of period k in the least-squares slope.
fn slope_weight(k: usize, count: usize) -> f64 {
    (k as f64 - middle(count)) / spread(count)
}

/// Quantile of Student's t for a two-sided 95 % interval (JCGM 100:2008 table G.2); beyond ten degrees the
/// normal quantile's neighbourhood is near enough for a finding.
pub(crate) fn student_95(degrees: f64) -> f64 {
    const TABLE: [f64; 10] = [12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23];
    let index = (degrees as usize).clamp(1, TABLE.len()) - 1;
    TABLE[index].max(COVERAGE_FACTOR)
}
