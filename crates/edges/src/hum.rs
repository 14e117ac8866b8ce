//! Mains hum: a fundamental near 50 or 60 Hz and its harmonics, estimated from a stretch that also holds
//! dial edges, and taken away.
//!
//! The stretch is cut into pieces of 40 ms. In each, sines and cosines of the nominal harmonics are
//! fitted together with a parabola (droop and wander). All pieces have the same length, so the fit is one
//! fixed matrix. A fundamental off its nominal frequency turns the phase of harmonic k by 2 pi k d t from
//! piece to piece: the offset d is where the turned-back amplitudes add up best. Pieces that hold an edge
//! fit badly and count little.

use crate::linear;
use std::f64::consts::TAU;

const PIECE_S: f64 = 0.040;
const HARMONICS: usize = 11;
/// Mains frequency is kept within some 0.1 % of nominal on large grids; a recorder's clock adds less.
const OFFSET_HZ: f64 = 0.15;
/// A harmonic is kept when its amplitude exceeds so many of its standard errors.
const SIGNIFICANCE: f64 = 4.5;

/// Hum found in a window.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct HumModel {
    pub(crate) frequency_hz: f64,
    /// (harmonic, cosine amplitude, sine amplitude), time zero at the first sample of the window.
    pub(crate) harmonics: Vec<(usize, f64, f64)>,
}

impl HumModel {
    /// Root sum of squares of the amplitudes.
    pub(crate) fn amplitude(&self) -> f64 {
        self.harmonics
            .iter()
            .map(|&(_, c, s)| c * c + s * s)
            .sum::<f64>()
            .sqrt()
    }

    /// Takes the hum out of samples taken at `rate_hz`, the first at `start_s`.
    pub(crate) fn subtract(&self, samples: &mut [f64], start_s: f64, rate_hz: f64) {
        for &(k, c, s) in &self.harmonics {
            let w = TAU * self.frequency_hz * k as f64;
            let (mut sin, mut cos) = (w * start_s).sin_cos();
            let (ds, dc) = (w / rate_hz).sin_cos();
            for sample in samples.iter_mut() {
                *sample -= c * cos + s * sin;
                (sin, cos) = (sin * dc + cos * ds, cos * dc - sin * ds);
            }
        }
    }
}

/// Amplitudes of one piece and how badly it fitted.
struct Piece {
    middle_s: f64,
    /// (cosine, sine) by harmonic, phase zero at the middle of the piece.
    amplitudes: Vec<(f64, f64)>,
    residual: f64,
}

/// Looks for hum in block means taken at `rate_hz`.
pub(crate) fn estimate(means: &[f64], rate_hz: f64) -> Option<HumModel> {
    [50.0, 60.0]
        .into_iter()
        .filter_map(|nominal| estimate_near(means, rate_hz, nominal))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, model)| model)
}

/// Gives the energy taken away per sample and the model.
fn estimate_near(means: &[f64], rate_hz: f64, nominal: f64) -> Option<(f64, HumModel)> {
    let harmonics = HARMONICS.min((0.45 * rate_hz / nominal) as usize);
    let pieces = fit_pieces(means, rate_hz, nominal, harmonics)?;
    let weights = weigh(&pieces);
    let offset = best_offset(&pieces, &weights, harmonics, nominal);
    let kept = combine(&pieces, &weights, harmonics, nominal + offset);
    if kept.is_empty() {
        return None;
    }
    let model = HumModel {
        frequency_hz: nominal + offset,
        harmonics: kept,
    };
    Some((model.amplitude(), model))
}

fn fit_pieces(means: &[f64], rate_hz: f64, nominal: f64, harmonics: usize) -> Option<Vec<Piece>> {
    let length = (PIECE_S * rate_hz).round() as usize;
    let basis = piece_basis(length, rate_hz, nominal, harmonics);
    let solver = linear::Solver::new(&basis)?;
    let pieces: Vec<Piece> = means
        .chunks_exact(length)
        .enumerate()
        .map(|(index, chunk)| {
            let (coefficients, residual) = solver.fit(chunk);
            Piece {
                middle_s: (index as f64 * length as f64 + (length as f64 - 1.0) / 2.0) / rate_hz,
                amplitudes: (0..harmonics)
                    .map(|k| (coefficients[3 + 2 * k], coefficients[4 + 2 * k]))
                    .collect(),
                residual,
            }
        })
        .collect();
    (pieces.len() >= 6).then_some(pieces)
}

fn piece_basis(length: usize, rate_hz: f64, nominal: f64, harmonics: usize) -> Vec<Vec<f64>> {
    let half = (length as f64 - 1.0) / 2.0;
    let at = |f: &dyn Fn(f64) -> f64| -> Vec<f64> {
        (0..length)
            .map(|i| f((i as f64 - half) / rate_hz))
            .collect()
    };
    let scale = PIECE_S / 2.0;
    let mut basis = vec![
        at(&|_| 1.0),
        at(&|t| t / scale),
        at(&|t| (t / scale).powi(2) - 1.0 / 3.0),
    ];
    for k in 1..=harmonics {
        let w = TAU * nominal * k as f64;
        basis.push(at(&|t| (w * t).cos()));
        basis.push(at(&|t| (w * t).sin()));
    }
    basis
}

/// Heavy-tailed weights: a piece that fits ten times worse than the better ones counts a hundredth.
fn weigh(pieces: &[Piece]) -> Vec<f64> {
    let mut sorted: Vec<f64> = pieces.iter().map(|p| p.residual).collect();
    sorted.sort_by(f64::total_cmp);
    let typical = sorted[sorted.len() / 4].max(1e-12);
    pieces
        .iter()
        .map(|p| {
            let ratio = p.residual / (2.0 * typical);
            1.0 / (1.0 + ratio * ratio).powi(2)
        })
        .collect()
}

fn best_offset(pieces: &[Piece], weights: &[f64], harmonics: usize, nominal: f64) -> f64 {
    let steps = 30;
    let score = |offset: f64| -> f64 {
        (0..harmonics)
            .map(|k| {
                let (c, s) = turned_mean(pieces, weights, k, nominal + offset);
                c * c + s * s
            })
            .sum()
    };
    let grid: Vec<f64> = (0..=2 * steps)
        .map(|i| OFFSET_HZ * (i as f64 - steps as f64) / steps as f64)
        .collect();
    let scores: Vec<f64> = grid.iter().map(|&d| score(d)).collect();
    let best = (0..grid.len())
        .max_by(|&a, &b| scores[a].total_cmp(&scores[b]))
        .unwrap_or(steps);
    if best == 0 || best == grid.len() - 1 {
        return grid[best];
    }
    let spacing = OFFSET_HZ / steps as f64;
    grid[best] + spacing * linear::parabola_peak(scores[best - 1], scores[best], scores[best + 1])
}

/// Weighted mean of harmonic `k` (from zero) with its phase turned back to time zero.
fn turned_mean(pieces: &[Piece], weights: &[f64], k: usize, frequency_hz: f64) -> (f64, f64) {
    let mut sum = (0.0, 0.0, 0.0);
    for (piece, &weight) in pieces.iter().zip(weights) {
        let (c, s) = turned(piece, k, frequency_hz);
        sum = (sum.0 + weight * c, sum.1 + weight * s, sum.2 + weight);
    }
    (sum.0 / sum.2, sum.1 / sum.2)
}

/// Amplitude of harmonic `k` of one piece, its phase turned from the middle of the piece to time zero of
/// the window.
fn turned(piece: &Piece, k: usize, frequency_hz: f64) -> (f64, f64) {
    let (c, s) = piece.amplitudes[k];
    let (sin, cos) = (TAU * (k + 1) as f64 * frequency_hz * piece.middle_s).sin_cos();
    (c * cos - s * sin, c * sin + s * cos)
}

/// Weighted mean amplitude of each harmonic that stands out of its own scatter.
fn combine(
    pieces: &[Piece],
    weights: &[f64],
    harmonics: usize,
    frequency_hz: f64,
) -> Vec<(usize, f64, f64)> {
    let total: f64 = weights.iter().sum();
    let total_squares: f64 = weights.iter().map(|w| w * w).sum();
    let effective = total * total / total_squares;
    (0..harmonics)
        .filter_map(|k| {
            let (c, s) = turned_mean(pieces, weights, k, frequency_hz);
            let scatter: f64 = pieces
                .iter()
                .zip(weights)
                .map(|(piece, &w)| {
                    let (pc, ps) = turned(piece, k, frequency_hz);
                    w * ((pc - c).powi(2) + (ps - s).powi(2))
                })
                .sum::<f64>()
                / total;
            let error = (scatter / (effective - 1.0).max(1.0)).sqrt();
            (c.hypot(s) > SIGNIFICANCE * error).then_some((k + 1, c, s))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Hum of 60.04 Hz with a third harmonic, under dial steps of size 1 and droop.
    fn trace(rate_hz: f64) -> Vec<f64> {
        (0..(2.4 * rate_hz) as usize)
            .map(|i| {
                let t = i as f64 / rate_hz;
                let open = (0.8..1.8).contains(&t) && (t * 10.0).fract() < 0.6;
                let hum = 0.3 * (TAU * 60.04 * t + 0.4).cos() + 0.1 * (TAU * 180.12 * t).sin();
                f64::from(u8::from(!open)) + hum + 0.05 * t
            })
            .collect()
    }

    #[test]
    fn hum_is_found_under_pulses_and_taken_away() {
        let rate = 8000.0;
        let mut means = trace(rate);
        let model = estimate(&means, rate).expect("hum is there");
        // Half of the stretch holds edges; what is left of 0.3 is one part in thirty.
        assert_abs_diff_eq!(model.frequency_hz, 60.04, epsilon = 0.01);
        assert_abs_diff_eq!(model.amplitude(), 0.1f64.sqrt(), epsilon = 0.01);
        model.subtract(&mut means, 0.0, rate);
        let quiet = &means[0..(0.7 * rate) as usize];
        let mean = quiet.iter().sum::<f64>() / quiet.len() as f64;
        let rms =
            (quiet.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / quiet.len() as f64).sqrt();
        assert!(rms < 0.02, "left {rms}");
    }

    #[test]
    fn no_hum_is_no_hum() {
        let rate = 8000.0;
        let clean: Vec<f64> = (0..16000)
            .map(|i| f64::from(u8::from((f64::from(i) / rate * 10.0).fract() < 0.6)))
            .collect();
        // Dialling at 10 pps is itself rich in multiples of 10 Hz; nothing of it may be called hum
        // beyond a few percent.
        let found = estimate(&clean, rate).map_or(0.0, |m| m.amplitude());
        assert!(found < 0.05, "invented {found}");
    }
}
