//! The corner (and quality) of the probe, improved on the first milliseconds after every opening.
//!
//! Gauss-Newton on the parameters, floor and size of each opening projected out: what is left of an opening
//! depends on the probe alone.

use crate::bank::Probe;
use crate::cluster::Profile;
use crate::linear;
use crate::response::{Response, second_order_poles};
use crate::shape::Shape;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::RangeInclusive;

/// Corners below the first leave nothing to see within some milliseconds.
const CORNER_HZ: RangeInclusive<f64> = 0.2..=600.0;
const QUALITY: RangeInclusive<f64> = 0.3..=1.2;
/// A direct probe is taken for one with a low corner, and improved.
const LEAST_START_HZ: f64 = 8.0;
/// Parameters are changed by this share to see what depends on them.
const TRIED: f64 = 0.02;
/// A parameter is changed by no more than this factor at once, and settled when by less than this share.
const MOST: f64 = 2.5;
const SETTLED: f64 = 0.002;
const ROUNDS: usize = 12;
/// Shorter stretches tell nothing.
const LEAST_SAMPLES: usize = 12;

/// Samples after one opening.
pub(crate) struct After {
    profile: Profile,
    /// The opening, in samples from the first.
    at: f64,
}

impl After {
    pub(crate) fn new(window: &[f64], at: f64) -> Option<Self> {
        (window.len() >= LEAST_SAMPLES).then(|| After {
            profile: Profile::new(window),
            at,
        })
    }
}

/// Poles of the probe that fits the openings best.
pub(crate) fn poles(probe: &Probe, openings: &[After], rate_hz: f64) -> Vec<Complex64> {
    match *probe {
        Probe::FirstOrder(corner) => Search {
            openings,
            rate_hz,
            poles: |p: &[f64]| vec![Complex64::new(-TAU * p[0], 0.0)],
        }
        .run(vec![corner.max(LEAST_START_HZ)]),
        Probe::SecondOrder(corner, q) => Search {
            openings,
            rate_hz,
            poles: |p: &[f64]| second_order_poles(p[0], p[1]).to_vec(),
        }
        .run(vec![corner, q]),
    }
}

struct Search<'a, P> {
    openings: &'a [After],
    rate_hz: f64,
    poles: P,
}

/// Misfit at some parameters, and the step that would make it least.
struct Slope {
    misfit: f64,
    step: Option<Vec<f64>>,
}

impl<P: Fn(&[f64]) -> Vec<Complex64>> Search<'_, P> {
    fn run(&self, start: Vec<f64>) -> Vec<Complex64> {
        let mut best = start;
        let mut slope = self.slope(&best);
        let mut share = 1.0;
        for _ in 0..ROUNDS {
            let Some(step) = &slope.step else {
                break;
            };
            let next: Vec<f64> = best
                .iter()
                .zip(step)
                .zip([CORNER_HZ, QUALITY])
                .map(|((&p, &s), bounds)| {
                    let moved = (p + share * s).clamp(p / MOST, p * MOST);
                    moved.clamp(*bounds.start(), *bounds.end())
                })
                .collect();
            let moved = best
                .iter()
                .zip(&next)
                .map(|(a, b)| (b / a - 1.0).abs())
                .fold(0.0, f64::max);
            if moved < SETTLED {
                break;
            }
            let there = self.slope(&next);
            if there.misfit < slope.misfit {
                (best, slope, share) = (next, there, 1.0);
            } else {
                share *= 0.4;
            }
        }
        (self.poles)(&best)
    }

    fn shape(&self, parameters: &[f64]) -> Shape {
        Shape::rough(
            &Response::from_poles(&(self.poles)(parameters)),
            self.rate_hz,
        )
    }

    fn slope(&self, parameters: &[f64]) -> Slope {
        let here = self.shape(parameters);
        let beside: Vec<(f64, Shape)> = (0..parameters.len())
            .map(|k| {
                let mut tried = parameters.to_vec();
                tried[k] *= 1.0 + TRIED;
                (TRIED * parameters[k], self.shape(&tried))
            })
            .collect();
        let count = parameters.len();
        let mut misfit = 0.0;
        let mut curvature = vec![vec![0.0; count]; count];
        let mut towards = vec![0.0; count];
        for opening in self.openings {
            let (profile, at) = (&opening.profile, opening.at);
            let own = here.column(at, profile.len());
            let mut columns: Vec<Vec<f64>> = beside
                .iter()
                .map(|(change, shape)| {
                    let mut column = shape.column(at, profile.len());
                    let pairs = column.iter_mut().zip(&own);
                    pairs.for_each(|(c, o)| *c = (*c - o) / change);
                    column
                })
                .collect();
            columns.push(own);
            let (own, all) = profile.products(&columns);
            let energy = all[count][count].max(f64::MIN_POSITIVE);
            let size = own[count] / energy;
            misfit += profile.energy() - size * own[count];
            for i in 0..count {
                towards[i] += size * (own[i] - size * all[i][count]);
                for (j, sum) in curvature[i].iter_mut().enumerate() {
                    *sum += size * size * (all[i][j] - all[i][count] * all[j][count] / energy);
                }
            }
        }
        let step = linear::invert(&curvature).map(|inverse| {
            inverse
                .iter()
                .map(|row| linear::dot(row, &towards))
                .collect()
        });
        Slope { misfit, step }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn after(response: &Response) -> After {
        let shape = Shape::new(response, 48_000.0);
        let column = shape.column(72.3, 360).into_iter().enumerate();
        let window: Vec<f64> = column
            .map(|(i, x)| 0.1 - 0.4 * x + 1e-4 * i as f64)
            .collect();
        After::new(&window, 72.3).expect("long enough")
    }

    #[test]
    fn the_corner_is_found_from_afar() {
        for corner_hz in [0.7, 5.0, 31.0, 78.0] {
            let opening = after(&Response::first_order(corner_hz));
            let poles = poles(&Probe::FirstOrder(20.0), &[opening], 48_000.0);
            assert_relative_eq!(-poles[0].re / TAU, corner_hz, max_relative = 0.02);
        }
    }

    #[test]
    fn corner_and_quality_are_found_together() {
        let opening = after(&Response::second_order(150.0, 0.62));
        let found = poles(&Probe::SecondOrder(180.0, 0.75), &[opening], 48_000.0);
        let want = second_order_poles(150.0, 0.62);
        assert_relative_eq!(found[0].re, want[0].re, max_relative = 0.01);
        assert_relative_eq!(found[0].im, want[0].im, max_relative = 0.01);
    }
}
