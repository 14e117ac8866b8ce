//! Sharp transitions of which one side is cut off.
//!
//! What an overloaded recorder cut off says nothing but that the trace was beyond. A step fitted to such samples is too small, and
//! lies too late or too early. So the samples at the limit are left out, and one size is found for all transitions of a kind: the
//! filter of the recorder swings on the side that is not cut off, by a share of the whole step, and where it swings tells the
//! instant.

use crate::cluster::Line;
use crate::linear;
use crate::shape::Shape;

/// Instants are tried so far to either side of where a step was found, so far apart, in samples.
const NEAR: f64 = 1.5;
const SPACING: f64 = 0.05;
/// Sizes are tried up to so many times what is seen of it, each so many times the one before.
const MOST: f64 = 4.0;
const LARGER: f64 = 1.02;
const LEAST: f64 = 0.9;
/// Energy beside a straight line of a step of size one, in a window of some milliseconds.
const WHOLE: f64 = 10.0;
/// The recorder's filter swings for so many samples beside a step; farther away is noise.
const SWINGS: f64 = 10.0;
/// Samples left to fit; fewer say nothing.
const LEAST_SAMPLES: usize = 10;
/// The first sample that is cut off lies beyond the limit, but for so many standard deviations of noise.
const BEYOND: f64 = 3.0;

/// Samples around a transition: those that are free, on one side of it.
pub(crate) struct Free<'a> {
    /// Free samples in a row, and where the first of them lies.
    pub(crate) samples: &'a [f64],
    pub(crate) first: f64,
    /// The nearest sample that is cut off: where it lies, and the limit it is held at.
    pub(crate) cut: (f64, f64),
    /// Where the step was found, in samples.
    pub(crate) at: f64,
    /// Sign of the step.
    pub(crate) sign: f64,
}

/// Transitions of one kind, placed anew.
pub(crate) struct Placed {
    /// Instant of each and its variance.
    pub(crate) each: Vec<Option<(f64, f64)>>,
    /// Size of the step.
    pub(crate) size: f64,
    /// Variance that all share.
    pub(crate) common: f64,
    /// Energy that the shape leaves of a transition beyond noise, over the square of the size.
    pub(crate) unexplained: f64,
    /// Sum of the squares of what is left, and their variance.
    pub(crate) left: f64,
    pub(crate) variance: f64,
}

/// What every instant tried leaves of a transition, as far as it depends on the size: squares are `energy - 2 size product +
/// size² power`.
struct Tried {
    energy: f64,
    count: usize,
    places: Vec<Place>,
}

#[derive(Clone, Copy)]
struct Place {
    at: f64,
    product: f64,
    power: f64,
    /// The trace at the nearest sample that is cut off, beyond the limit: of the line through the free samples, and of
    /// one unit of the step.
    beyond: [f64; 2],
}

impl Place {
    fn left(&self, size: f64) -> f64 {
        size * (size * self.power - 2.0 * self.product)
    }
}

impl Tried {
    fn of(free: &Free<'_>, shape: &Shape) -> Option<Self> {
        let length = free.samples.len();
        if length < LEAST_SAMPLES {
            return None;
        }
        let line = Line::new(length);
        let (rest, floor) = line.out_of(free.samples);
        let before = free.cut.0 < free.first;
        let count = (2.0 * NEAR / SPACING).round() as usize;
        let place = |i: usize| {
            let at = free.at - NEAR + SPACING * i as f64;
            // The column reaches from the sample that is cut off to the last free one, or the other way round.
            let from = free.first.min(free.cut.0);
            let reach = (free.first + length as f64 - 1.0).max(free.cut.0) - from;
            let column = shape.column(at - from, reach as usize + 1);
            let skip = (free.first - from) as usize;
            let own = &column[skip..skip + length];
            let at_cut = if before {
                column[0]
            } else {
                column[reach as usize]
            };
            let products = line.of(own);
            let power = linear::dot(own, own) - products[0].powi(2) - products[1].powi(2);
            let there = free.cut.0 - free.first;
            let sign = free.sign;
            // Beyond the limit is away from the free samples: where the step goes to, or where it comes from.
            let away = if before { -sign } else { sign };
            Place {
                at,
                product: sign * linear::dot(&rest, own),
                power,
                beyond: [
                    away * (line.at(there, floor) - free.cut.1),
                    away * sign * (at_cut - line.at(there, products)),
                ],
            }
        };
        Some(Tried {
            energy: linear::dot(&rest, &rest),
            count: length,
            places: (0..=count).map(place).collect(),
        })
    }

    /// The instant at which a step of this size leaves least, and the curvature of what it leaves.
    fn instant(&self, size: f64, noise: f64) -> Option<(f64, f64)> {
        let index = self.best(size, noise)?;
        let [l, r] = self.beside(index)?.map(|p| p.left(size));
        let m = self.places[index].left(size);
        let curvature = (l - 2.0 * m + r) / (SPACING * SPACING);
        let between = linear::parabola_peak(l, m, r);
        (curvature > 0.0 && between.abs() <= 1.0)
            .then(|| (self.places[index].at + SPACING * between, curvature))
    }

    /// What is left of the transition at the instant, between those tried, at which a step of this size leaves least.
    fn least(&self, size: f64, noise: f64) -> f64 {
        let Some(index) = self.best(size, noise) else {
            return self.energy;
        };
        let middle = self.places[index].left(size);
        let lower = match self.beside(index) {
            Some(beside) => {
                let [l, r] = beside.map(|p| p.left(size));
                let curvature = (l - 2.0 * middle + r).max(f64::MIN_POSITIVE);
                // Where what is cut off forbids the very least, neither neighbour need be larger.
                let is_least = middle <= l.min(r);
                if is_least {
                    (l - r).powi(2) / (8.0 * curvature)
                } else {
                    0.0
                }
            }
            None => 0.0,
        };
        self.energy + middle - lower
    }

    /// The places beside one.
    fn beside(&self, index: usize) -> Option<[&Place; 2]> {
        Some([
            self.places.get(index.checked_sub(1)?)?,
            self.places.get(index + 1)?,
        ])
    }

    /// The place that leaves least of the transition when the step has this size.
    fn best(&self, size: f64, noise: f64) -> Option<usize> {
        let allowed = |i: &usize| {
            let [line, step] = self.places[*i].beyond;
            line + size * step > -BEYOND * noise
        };
        let left = |i: &usize| self.places[*i].left(size);
        (0..self.places.len())
            .filter(allowed)
            .min_by(|a, b| left(a).total_cmp(&left(b)))
    }
}

/// Finds one size for all of some transitions and the instant of each. `seen` is how much of the step is seen, `whole` are the
/// sizes of those that are not cut off.
pub(crate) fn place(
    free: &[Free<'_>],
    whole: &[f64],
    shape: &Shape,
    seen: f64,
    noise: f64,
) -> Option<Placed> {
    let tried: Vec<Option<Tried>> = free.iter().map(|f| Tried::of(f, shape)).collect();
    let left = |size: f64| -> f64 {
        let cut = tried.iter().flatten().map(|t| t.least(size, noise));
        let beside = whole.iter().map(|own| WHOLE * (size - own).powi(2));
        cut.sum::<f64>() + beside.sum::<f64>()
    };
    let sizes: Vec<f64> = (0..)
        .map(|i| LEAST * seen * LARGER.powi(i))
        .take_while(|size| *size < MOST * seen)
        .collect();
    let all: Vec<f64> = sizes.iter().map(|s| left(*s)).collect();
    let best = (0..all.len()).min_by(|a, b| all[*a].total_cmp(&all[*b]))?;
    if best == 0 || best + 1 == all.len() {
        return None;
    }
    let between = linear::parabola_peak(all[best - 1], all[best], all[best + 1]);
    let size = sizes[best] * LARGER.powf(between);
    let count: usize = tried.iter().flatten().map(|t| t.count).sum();
    let unknown = 3 * tried.iter().flatten().count() + 1;
    let variance = all[best] / (count as f64 - unknown as f64).max(1.0);
    let step = sizes[best] * (LARGER - 1.0);
    let curvature = (all[best - 1] - 2.0 * all[best] + all[best + 1]) / (step * step);
    let of_size = 2.0 * variance / curvature.max(f64::MIN_POSITIVE);
    let mut slopes = Vec::new();
    let each = tried
        .iter()
        .map(|tried| {
            let tried = tried.as_ref()?;
            let (own, larger) = (
                tried.instant(size, noise)?,
                tried.instant(size * LARGER, noise)?,
            );
            slopes.push(((larger.0 - own.0) / (size * (LARGER - 1.0))).abs());
            Some((own.0, 2.0 * variance / own.1))
        })
        .collect::<Vec<Option<(f64, f64)>>>();
    let slope = linear::median(&slopes)?;
    let rests: Vec<f64> = free
        .iter()
        .zip(&each)
        .filter_map(|(free, each)| Some(unexplained(free, shape, each.as_ref()?.0, size)))
        .collect();
    Some(Placed {
        common: slope * slope * of_size,
        unexplained: linear::median(&rests)? / (size * size),
        each,
        size,
        left: all[best],
        variance,
    })
}

/// Variance of the instants of some transitions from not knowing the recorder's filter: those that leave hardly more than the
/// best may be it as well.
pub(crate) fn doubt(filters: &[Placed], best: usize, which: &[usize]) -> f64 {
    let found = &filters[best];
    let (mut squares, mut all) = (0.0, 0.0);
    for other in filters {
        let likely =
            (0.5 * (found.left - other.left) / found.variance.max(f64::MIN_POSITIVE)).exp();
        let apart = which
            .iter()
            .filter_map(|&k| Some(other.each[k]?.0 - found.each[k]?.0));
        let apart = linear::median(&apart.collect::<Vec<f64>>()).unwrap_or(0.0);
        squares += likely * apart * apart;
        all += likely;
    }
    squares / all
}

/// Energy that a step leaves near it, beyond what it leaves farther away, which is noise.
fn unexplained(free: &Free<'_>, shape: &Shape, at: f64, size: f64) -> f64 {
    let length = free.samples.len();
    let column = shape.column(at - free.first, length);
    let rest: Vec<f64> = free
        .samples
        .iter()
        .zip(column)
        .map(|(x, c)| x - free.sign * size * c)
        .collect();
    let rest = Line::new(length).out_of(&rest).0;
    let (mut near, mut far) = ((0.0, 0.0), (0.0, 0.0));
    for (i, x) in rest.iter().enumerate() {
        let sum = if (free.first + i as f64 - at).abs() < SWINGS {
            &mut near
        } else {
            &mut far
        };
        sum.0 += x * x;
        sum.1 += 1.0;
    }
    let noise = if far.1 < SWINGS { 0.0 } else { far.0 / far.1 };
    (near.0 - near.1 * noise).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Response;
    use approx::assert_abs_diff_eq;

    const SIZE: f64 = 0.4;
    const LENGTH: usize = 140;

    /// Openings at some instants, of which nothing is left beyond `limit`.
    fn openings(shape: &Shape, instants: &[f64], limit: f64) -> Vec<Vec<f64>> {
        let opening = |at: &f64| {
            let step = shape.column(*at, LENGTH).into_iter();
            step.map(|x| (0.2 - SIZE * x).max(limit)).collect()
        };
        instants.iter().map(opening).collect()
    }

    fn free(samples: &[f64], limit: f64, at: f64) -> Free<'_> {
        let cut = samples.iter().position(|x| *x == limit).expect("cut off");
        Free {
            samples: &samples[..cut],
            first: 0.0,
            cut: (cut as f64, limit),
            at,
            sign: -1.0,
        }
    }

    #[test]
    fn steps_of_which_half_is_seen_are_placed_to_a_hundredth_of_a_sample() {
        let response = Response::first_order(5.0);
        let drawn = Shape::filtered(&response, 48_000.0).nth(1).expect("some");
        let instants = [70.13, 69.81, 70.5, 70.02, 69.37];
        // What a step fitted to what is seen finds lies early.
        let limit = 0.2 - 0.5 * SIZE;
        let lines = openings(&drawn, &instants, limit);
        let free: Vec<Free> = lines.iter().map(|line| free(line, limit, 70.0)).collect();
        let filters: Vec<Placed> = Shape::filtered(&response, 48_000.0)
            .filter_map(|shape| place(&free, &[], &shape, 0.5 * SIZE, 0.0))
            .collect();
        let left = |i: &usize| filters[*i].left;
        let best = (0..filters.len())
            .min_by(|a, b| left(a).total_cmp(&left(b)))
            .expect("some");
        let found = &filters[best];
        assert_abs_diff_eq!(found.size, SIZE, epsilon = 0.01 * SIZE);
        for (each, at) in found.each.iter().zip(instants) {
            assert_abs_diff_eq!(each.expect("placed").0, at, epsilon = 0.01);
        }
        // Without noise no other filter may be it.
        assert!(doubt(&filters, best, &[0, 1, 2]) < 1e-6);
    }

    #[test]
    fn the_size_of_those_that_are_not_cut_off_counts() {
        let response = Response::first_order(5.0);
        let shape = Shape::new(&response, 48_000.0);
        let limit = 0.2 - 0.6 * SIZE;
        let lines = openings(&shape, &[70.25], limit);
        let free = [free(&lines[0], limit, 70.0)];
        let found = place(&free, &[SIZE; 8], &shape, 0.6 * SIZE, 0.0).expect("placed");
        assert_abs_diff_eq!(found.size, SIZE, epsilon = 0.002 * SIZE);
        assert_abs_diff_eq!(found.each[0].expect("placed").0, 70.25, epsilon = 0.005);
    }

    #[test]
    fn too_few_free_samples_place_nothing() {
        let shape = Shape::new(&Response::direct(), 48_000.0);
        let few = Free {
            samples: &[0.2; LEAST_SAMPLES - 1],
            first: 0.0,
            cut: (9.0, 0.0),
            at: 9.0,
            sign: -1.0,
        };
        assert!(place(&[few], &[], &shape, 0.2, 0.01).is_none());
    }
}
