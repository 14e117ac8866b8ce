//! Joint least squares of the steps that stand so close together that they must be fitted as one: a
//! transition with its chatter, or a single sharp edge.

use crate::linear::{self, RunningSums};
use crate::shape::Shape;
use crate::wide::wide;

/// One step of a cluster: instant in samples from the window's first, and sign.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub(crate) at: f64,
    pub(crate) sign: f64,
}

/// Result of a fit.
#[derive(Clone, Debug)]
pub(crate) struct Fit {
    pub(crate) steps: Vec<Step>,
    /// Size of a step (positive).
    pub(crate) amplitude: f64,
    /// Value of the polynomial under the steps at the first of them: the level just before it.
    pub(crate) level_before: f64,
    /// Root-mean-square residual, degrees of freedom counted.
    pub(crate) residual: f64,
    /// Samples fitted.
    pub(crate) samples: usize,
    /// Root-mean-square residual far from the steps.
    pub(crate) noise: f64,
    /// Variances of the instants, in samples², by the normal equations.
    pub(crate) variances: Vec<f64>,
}

impl Fit {
    /// Residual beside the size of the step.
    pub(crate) fn misfit(&self) -> f64 {
        self.residual / self.amplitude
    }
}

/// Polynomials over a window, orthonormal over its samples: those of Gram, each from the two before it.
pub(crate) struct Floor {
    columns: Vec<Vec<f64>>,
}

impl Floor {
    pub(crate) fn new(length: usize, order: usize) -> Self {
        let n = length as f64;
        let middle = (n - 1.0) / 2.0;
        let mut columns = vec![vec![n.sqrt().recip(); length]];
        let mut before = 0.0;
        for power in 1..=order {
            let k = power as f64;
            // Recurrence of polynomials of unit length: root of k² (n² - k²) / 4 (4 k² - 1).
            let step = (k * k * (n * n - k * k) / (4.0 * (4.0 * k * k - 1.0))).sqrt();
            let (earlier, last) = match &columns[..] {
                [.., earlier, last] => (Some(earlier), last),
                [last] => (None, last),
                [] => break,
            };
            let column = (0..length).map(|i| {
                let two_back = earlier.map_or(0.0, |column| column[i]);
                ((i as f64 - middle) * last[i] - before * two_back) / step
            });
            let column = column.collect();
            columns.push(column);
            before = step;
        }
        Floor { columns }
    }

    /// Products with a column.
    fn of(&self, column: &[f64]) -> Vec<f64> {
        self.columns
            .iter()
            .map(|own| linear::dot(own, column))
            .collect()
    }

    /// The polynomial with these products at a place, between samples too.
    fn at(&self, place: f64, products: &[f64]) -> f64 {
        let length = self.columns[0].len();
        let index = (place.max(0.0) as usize).min(length.saturating_sub(2));
        let value = |i: usize| -> f64 {
            let own = self.columns.iter().zip(products);
            own.map(|(column, product)| column[i.min(length - 1)] * product)
                .sum()
        };
        let (left, right) = (value(index), value(index + 1));
        left + (place - index as f64) * (right - left)
    }

    /// What lies under some samples, by the best fit to others, taken out of them.
    pub(crate) fn take_out(&self, samples: &mut [f64], fitted_to: &[f64]) {
        for (column, product) in self.columns.iter().zip(self.of(fitted_to)) {
            linear::take_out(samples, column, product);
        }
    }
}

/// Constant and straight line over a window, each of unit length: where they need not stand in memory.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Line {
    middle: f64,
    each: f64,
    slope: f64,
}

impl Line {
    pub(crate) fn new(length: usize) -> Self {
        let n = length as f64;
        Line {
            middle: (n - 1.0) / 2.0,
            each: n.sqrt().recip(),
            slope: (n * (n * n - 1.0) / 12.0)
                .max(f64::MIN_POSITIVE)
                .sqrt()
                .recip(),
        }
    }

    /// Products with a column.
    pub(crate) fn of(&self, column: &[f64]) -> [f64; 2] {
        let [sum, ramp] = sums(column, self.middle);
        [self.each * sum, self.slope * ramp]
    }

    /// Its value at a place, when these are its products with what it lies under.
    pub(crate) fn at(&self, place: f64, products: [f64; 2]) -> f64 {
        products[0] * self.each + products[1] * self.slope * (place - self.middle)
    }

    /// What the best line leaves of a window, and its products with that.
    pub(crate) fn out_of(&self, window: &[f64]) -> (Vec<f64>, [f64; 2]) {
        let mut rest = window.to_vec();
        let products = self.of(window);
        self.take_out(&mut rest, products);
        (rest, products)
    }

    /// Takes the line with these products out of a column.
    pub(crate) fn take_out(&self, column: &mut [f64], products: [f64; 2]) {
        let (slope, each) = (products[1] * self.slope, products[0] * self.each);
        let first = each - slope * self.middle;
        wide(
            #[inline(always)]
            || {
                for (i, x) in column.iter_mut().enumerate() {
                    *x -= first + slope * i as f64;
                }
            },
        );
    }
}

/// Sum of a column, and of its values times their distance from `middle`.
fn sums(column: &[f64], middle: f64) -> [f64; 2] {
    const LANES: usize = 8;
    wide(
        #[inline(always)]
        || {
            let mut all = [[0.0; LANES]; 2];
            let mut place = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0].map(|k| k - middle);
            let (chunks, rest) = column.as_chunks::<LANES>();
            for x in chunks {
                for k in 0..LANES {
                    all[0][k] += x[k];
                    all[1][k] += place[k] * x[k];
                    place[k] += LANES as f64;
                }
            }
            for (k, x) in rest.iter().enumerate() {
                all[0][k] += x;
                all[1][k] += place[k] * x;
            }
            all.map(|lanes| lanes.iter().sum())
        },
    )
}

/// A window of which a step's place, size and floor, a straight line, are unknown: what the floor leaves of it.
pub(crate) struct Profile {
    line: Line,
    rest: Vec<f64>,
    /// Products of the window with the floor.
    floor: [f64; 2],
}

impl Profile {
    pub(crate) fn new(window: &[f64]) -> Self {
        let line = Line::new(window.len());
        let (rest, floor) = line.out_of(window);
        Profile { line, rest, floor }
    }

    pub(crate) fn len(&self) -> usize {
        self.rest.len()
    }

    /// Products of the window with columns, and of the columns with one another, all without the floor.
    pub(crate) fn products(&self, columns: &[Vec<f64>]) -> (Vec<f64>, Vec<Vec<f64>>) {
        let own = columns.iter().map(|c| linear::dot(&self.rest, c)).collect();
        let floors: Vec<[f64; 2]> = columns.iter().map(|c| self.line.of(c)).collect();
        let mut all = linear::gram(columns);
        for (row, a) in all.iter_mut().zip(&floors) {
            for (product, b) in row.iter_mut().zip(&floors) {
                *product -= a[0] * b[0] + a[1] * b[1];
            }
        }
        (own, all)
    }

    /// Energy of the window without the floor.
    pub(crate) fn energy(&self) -> f64 {
        linear::dot(&self.rest, &self.rest)
    }

    /// Energy that a column explains which may only count with `sign`, by its product with the window and its energy,
    /// both without the floor.
    fn gain(sign: f64, product: f64, energy: f64) -> f64 {
        if product * sign <= 0.0 || energy <= 1e-9 {
            0.0
        } else {
            product * product / energy
        }
    }

    /// The size of a step whose column is this one, and how far to move it, by Gauss-Newton.
    fn solve(&self, column: &[f64], slopes: &[f64]) -> Option<Moved> {
        let products = products(column, slopes, &self.rest, self.line.middle);
        let [
            sum,
            ramp,
            squares,
            product,
            both,
            slope_sum,
            slope_ramp,
            slope_squares,
            slope_product,
        ] = products;
        let own = [self.line.each * sum, self.line.slope * ramp];
        let slope = [self.line.each * slope_sum, self.line.slope * slope_ramp];
        let energy = squares - own[0] * own[0] - own[1] * own[1];
        let slope_energy = slope_squares - slope[0] * slope[0] - slope[1] * slope[1];
        let both = both - own[0] * slope[0] - own[1] * slope[1];
        // window = a column - a d slopes.
        let determinant = energy * slope_energy - both * both;
        if determinant <= 1e-12 * energy * slope_energy {
            return None;
        }
        let size = (product * slope_energy - slope_product * both) / determinant;
        let along = (slope_product * energy - product * both) / determinant;
        (size != 0.0).then(|| Moved {
            size,
            shift: -along / size,
            variance: energy / (determinant * size * size),
            lines: [own, slope],
        })
    }

    /// What is left of the window without a step of this size, moved as far.
    fn left(&self, column: &[f64], slopes: &[f64], moved: &Moved) -> Vec<f64> {
        let mut rest = self.rest.clone();
        let along = -moved.size * moved.shift;
        let [own, slope] = moved.lines;
        let line = [0, 1].map(|k| moved.size * own[k] + along * slope[k]);
        wide(
            #[inline(always)]
            || {
                let columns = column.iter().zip(slopes);
                for (x, (c, s)) in rest.iter_mut().zip(columns) {
                    *x -= moved.size * c + along * s;
                }
            },
        );
        self.line.take_out(&mut rest, line.map(|part| -part));
        rest
    }
}

/// A step fitted to a window, and how far it still has to be moved.
struct Moved {
    /// Its size, with its sign.
    size: f64,
    shift: f64,
    /// Variance of its instant for samples of unit variance.
    variance: f64,
    /// Products of its column, and of the slopes of that, with the floor.
    lines: [[f64; 2]; 2],
}

/// Sums over a column and its slopes at once: of the column, its values times their distance from `middle`, its
/// squares, its products with the window and with the slopes; and the same of the slopes but for the last.
fn products(column: &[f64], slopes: &[f64], window: &[f64], middle: f64) -> [f64; 9] {
    const LANES: usize = 4;
    wide(
        #[inline(always)]
        || {
            let mut all = [[0.0; LANES]; 9];
            let mut place = [0.0, 1.0, 2.0, 3.0].map(|k| k - middle);
            let (columns, column_rest) = column.as_chunks::<LANES>();
            let (slopes, slopes_rest) = slopes[..column.len()].as_chunks::<LANES>();
            let (windows, window_rest) = window[..column.len()].as_chunks::<LANES>();
            let mut add = |k: usize, place: f64, c: f64, s: f64, w: f64| {
                let terms = [
                    c,
                    place * c,
                    c * c,
                    w * c,
                    s * c,
                    s,
                    place * s,
                    s * s,
                    w * s,
                ];
                for (sum, term) in all.iter_mut().zip(terms) {
                    sum[k] += term;
                }
            };
            for ((c, s), w) in columns.iter().zip(slopes).zip(windows) {
                for k in 0..LANES {
                    add(k, place[k], c[k], s[k], w[k]);
                    place[k] += LANES as f64;
                }
            }
            for (k, c) in column_rest.iter().enumerate() {
                add(k, place[k], *c, slopes_rest[k], window_rest[k]);
            }
            all.map(|lanes| (lanes[0] + lanes[2]) + (lanes[1] + lanes[3]))
        },
    )
}

/// Places tried at first: one in so many.
const SKIPPED: usize = 3;

/// Best place of one step of known sign in `window`, by profile least squares at places a sample apart over
/// `range` (samples from the window's first), and between them. Gives the instant.
pub(crate) fn scan(window: &[f64], shape: &Shape, sign: f64, range: (f64, f64)) -> Option<f64> {
    let profile = Profile::new(window);
    let count = (range.1 - range.0).floor().max(0.0) as usize;
    // A step one sample later is the same column, one sample on.
    let column = shape.column(range.0 + count as f64, window.len() + count);
    let energies = RunningSums::new(&column);
    let gain = |later: usize| {
        let start = count - later;
        let product = linear::dot(&profile.rest, &column[start..][..window.len()]);
        Profile::gain(sign, product, energies.without_line(start, window.len()))
    };
    let mut gains = vec![0.0; count + 1];
    let largest = |gains: &[f64]| (0..gains.len()).max_by(|&a, &b| gains[a].total_cmp(&gains[b]));
    // What a step explains falls off to both sides of it over more samples than are skipped.
    for later in (0..=count).step_by(SKIPPED) {
        gains[later] = gain(later);
    }
    let near = largest(&gains)?;
    let around = near.saturating_sub(SKIPPED)..(near + SKIPPED + 1).min(gains.len());
    for (later, slot) in around.clone().zip(&mut gains[around]) {
        *slot = gain(later);
    }
    let best = largest(&gains)?;
    if gains[best] <= 0.0 {
        return None;
    }
    let inner = best > 0 && best + 1 < gains.len();
    let shift = if inner {
        linear::parabola_peak(gains[best - 1], gains[best], gains[best + 1])
    } else {
        0.0
    };
    Some(range.0 + best as f64 + shift)
}

/// The best straight line taken out of a window.
pub(crate) fn without_line(window: &[f64]) -> Vec<f64> {
    Line::new(window.len()).out_of(window).0
}

/// Gauss-Newton on all instants of the cluster together with its amplitude and floor.
pub(crate) fn fit(window: &[f64], shape: &Shape, start: &[Step], order: usize) -> Option<Fit> {
    let over = Over {
        window,
        shape,
        floor: Floor::new(window.len(), order),
    };
    let under = over.floor.of(window);
    let mut steps = start.to_vec();
    let mut system = System::new(&over, &under, &steps, None);
    let (mut inverse, mut solution) = system.solved()?;
    // What has not settled by the last round is told where it lies then.
    for round in 1..=TOGETHER_ROUNDS {
        system = System::new(&over, &under, &steps, Some(solution[0]));
        (inverse, solution) = system.solved()?;
        let is_last = round == TOGETHER_ROUNDS;
        if is_last || shift_steps(&mut steps, &solution[1..]) < NEARLY_SETTLED {
            break;
        }
    }
    let amplitude = solution[0];
    if amplitude <= 0.0 {
        return None;
    }
    let mut rest = window.to_vec();
    let mut under = under;
    for ((column, floor), coefficient) in system.columns.iter().zip(&system.floors).zip(&solution) {
        linear::take_out(&mut rest, column, *coefficient);
        let own = under.iter_mut().zip(floor);
        own.for_each(|(under, product)| *under -= coefficient * product);
    }
    for (column, product) in over.floor.columns.iter().zip(&under) {
        linear::take_out(&mut rest, column, *product);
    }
    let terms = under.len() + system.columns.len();
    let freedom = (window.len() as f64 - terms as f64).max(1.0);
    let variance = linear::dot(&rest, &rest) / freedom;
    let noise = noise_variance(&rest, &steps, variance, amplitude);
    Some(Fit {
        level_before: over.floor.at(steps[0].at, &under),
        amplitude,
        residual: variance.sqrt(),
        samples: window.len(),
        noise: noise.sqrt(),
        variances: (1..inverse.len()).map(|i| noise * inverse[i][i]).collect(),
        steps,
    })
}

/// What is fitted, and to what.
struct Over<'a> {
    window: &'a [f64],
    shape: &'a Shape,
    floor: Floor,
}

/// Normal equations of a cluster: its steps together, and the slopes of each, without the floor.
struct System {
    columns: Vec<Vec<f64>>,
    /// Products of each column with the floor.
    floors: Vec<Vec<f64>>,
    gram: Vec<Vec<f64>>,
    products: Vec<f64>,
}

impl System {
    /// `under` are the products of the window with the floor. Without an amplitude the steps stay where they are.
    fn new(over: &Over<'_>, under: &[f64], steps: &[Step], amplitude: Option<f64>) -> Self {
        let length = over.window.len();
        let mut all = vec![0.0; length];
        for step in steps {
            over.shape.add_column(&mut all, step.at, step.sign);
        }
        let mut columns = vec![all];
        if let Some(amplitude) = amplitude {
            for step in steps {
                let mut slopes = over.shape.slopes(step.at, length);
                let share = -amplitude * step.sign;
                slopes.iter_mut().for_each(|x| *x *= share);
                columns.push(slopes);
            }
        }
        let floors: Vec<Vec<f64>> = columns.iter().map(|c| over.floor.of(c)).collect();
        let mut gram = linear::gram(&columns);
        for (row, own) in gram.iter_mut().zip(&floors) {
            for (product, other) in row.iter_mut().zip(&floors) {
                *product -= linear::dot(own, other);
            }
        }
        let products = columns.iter().zip(&floors);
        let products = products
            .map(|(column, floor)| linear::dot(column, over.window) - linear::dot(floor, under));
        System {
            products: products.collect(),
            columns,
            floors,
            gram,
        }
    }

    /// Inverse of the normal equations, and the coefficients.
    fn solved(&self) -> Option<(Vec<Vec<f64>>, Vec<f64>)> {
        let inverse = linear::invert(&self.gram)?;
        let solution = inverse
            .iter()
            .map(|row| linear::dot(row, &self.products))
            .collect();
        Some((inverse, solution))
    }
}

/// The same for one step on a straight line, whose place and size are all that has to be found.
pub(crate) fn fit_one(window: &[f64], shape: &Shape, start: Step) -> Option<Fit> {
    let profile = Profile::new(window);
    let length = window.len();
    let mut step = start;
    for round in 1.. {
        let column = shape.column(step.at, length);
        let slopes = shape.slopes(step.at, length);
        let moved = profile.solve(&column, &slopes)?;
        let moves = shift_steps(std::slice::from_mut(&mut step), &[moved.shift]);
        if moves >= NEARLY_SETTLED && round < ROUNDS {
            continue;
        }
        let amplitude = moved.size * step.sign;
        if amplitude <= 0.0 {
            return None;
        }
        let rest = profile.left(&column, &slopes, &moved);
        let variance = linear::dot(&rest, &rest) / (length as f64 - 4.0).max(1.0);
        let noise = noise_variance(&rest, std::slice::from_ref(&step), variance, amplitude);
        // The floor is what the line has of the window, less what it has of the step.
        let [own, slope] = moved.lines;
        let along = -moved.size * moved.shift;
        let floor = [0, 1].map(|k| profile.floor[k] - moved.size * own[k] - along * slope[k]);
        return Some(Fit {
            steps: vec![step],
            amplitude,
            level_before: profile.line.at(step.at, floor),
            residual: variance.sqrt(),
            samples: length,
            noise: noise.sqrt(),
            variances: vec![noise * moved.variance],
        });
    }
    None
}

/// Each round leaves the square of what the one before moved: a step that moves by less has settled with that.
const NEARLY_SETTLED: f64 = 2e-3;
/// Gauss-Newton has settled after so many rounds, or never will.
const ROUNDS: usize = 8;
const TOGETHER_ROUNDS: usize = 7;

/// Moves the steps, never past one another and never by more than a sample at once. Gives the largest
/// move.
fn shift_steps(steps: &mut [Step], shifts: &[f64]) -> f64 {
    let mut largest = 0.0f64;
    for (step, &shift) in steps.iter_mut().zip(shifts) {
        let bounded = shift.clamp(-0.7, 0.7);
        step.at += bounded;
        largest = largest.max(bounded.abs());
    }
    for i in 1..steps.len() {
        if steps[i].at < steps[i - 1].at + 0.5 {
            steps[i].at = steps[i - 1].at + 0.5;
        }
    }
    largest
}

/// The recorder's filter is never quite the one assumed, which shows in so many samples beside a step and is
/// accounted for by itself.
const BESIDE: f64 = 8.0;
/// Fewer samples farther away tell no noise.
const LEAST_SAMPLES: usize = 12;
/// A fit that leaves so much more beside its steps than elsewhere, and than this share of the step, is wrong.
const WRONG: f64 = 6.0;
const WRONG_SHARE: f64 = 0.02;

/// Variance of the noise, from what a fit leaves far from its steps; where the fit is wrong, or all is near,
/// from all that it leaves.
fn noise_variance(rest: &[f64], steps: &[Step], all: f64, amplitude: f64) -> f64 {
    let far: Vec<f64> = rest
        .iter()
        .enumerate()
        .filter(|(i, _)| steps.iter().all(|s| (*i as f64 - s.at).abs() > BESIDE))
        .map(|(_, x)| *x)
        .collect();
    if far.len() < LEAST_SAMPLES {
        return all;
    }
    let noise = linear::dot(&far, &far) / (far.len() as f64 - 3.0);
    if all > WRONG * noise + (WRONG_SHARE * amplitude).powi(2) {
        all
    } else {
        noise
    }
}

/// Root-mean-square residual of a straight line, and its lag-one autocorrelation.
pub(crate) fn straight(window: &[f64]) -> Option<(f64, f64)> {
    if window.len() < 6 {
        return None;
    }
    let rest = without_line(window);
    let energy = linear::dot(&rest, &rest);
    let colour = linear::dot(&rest[1..], &rest[..rest.len() - 1]) / energy.max(f64::MIN_POSITIVE);
    Some(((energy / (window.len() as f64 - 2.0)).sqrt(), colour))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Response;
    use approx::assert_abs_diff_eq;

    fn draw(shape: &Shape, steps: &[Step], length: usize) -> Vec<f64> {
        (0..length)
            .map(|i| {
                let x = i as f64;
                0.2 + 0.001 * x
                    + 0.4
                        * steps
                            .iter()
                            .map(|s| s.sign * shape.at(x - s.at))
                            .sum::<f64>()
            })
            .collect()
    }

    #[test]
    fn a_single_step_is_found_to_a_thousandth_of_a_sample() {
        let shape = Shape::new(&Response::first_order(20.0), 48_000.0);
        let truth = Step {
            at: 70.337,
            sign: -1.0,
        };
        let window = draw(&shape, &[truth], 144);
        let at = scan(&window, &shape, -1.0, (40.0, 100.0)).expect("there");
        assert_abs_diff_eq!(at, truth.at, epsilon = 0.3);
        let fit = fit(&window, &shape, &[Step { at, sign: -1.0 }], 1).expect("fits");
        assert_abs_diff_eq!(fit.steps[0].at, truth.at, epsilon = 1e-3);
        assert_abs_diff_eq!(fit.amplitude, 0.4, epsilon = 1e-4);
    }

    #[test]
    fn chatter_is_fitted_together() {
        let shape = Shape::new(&Response::direct(), 48_000.0);
        let truth = [
            Step {
                at: 60.2,
                sign: 1.0,
            },
            Step {
                at: 75.9,
                sign: -1.0,
            },
            Step {
                at: 84.4,
                sign: 1.0,
            },
        ];
        let window = draw(&shape, &truth, 200);
        let start = [60.0, 76.5, 84.0].iter().zip(&truth);
        let start: Vec<Step> = start.map(|(&at, t)| Step { at, sign: t.sign }).collect();
        let fit = fit(&window, &shape, &start, 1).expect("fits");
        for (got, want) in fit.steps.iter().zip(&truth) {
            assert_abs_diff_eq!(got.at, want.at, epsilon = 1e-2);
        }
    }
}
