//! Small dense least squares: bases of a few dozen columns on a few hundred samples.

use crate::wide::wide;

/// Least squares with a fixed basis, solved once and applied to many right-hand sides.
#[derive(Debug)]
pub(crate) struct Solver {
    basis: Vec<Vec<f64>>,
    /// Rows of the pseudo-inverse: coefficient i is the dot product of row i and the samples.
    rows: Vec<Vec<f64>>,
}

impl Solver {
    /// `basis` holds the columns. `None` when they depend on one another.
    pub(crate) fn new(basis: &[Vec<f64>]) -> Option<Self> {
        let inverse = invert(&gram(basis))?;
        let length = basis.first()?.len();
        let rows = inverse
            .iter()
            .map(|line| {
                let mut row = vec![0.0; length];
                for (factor, column) in line.iter().zip(basis) {
                    for (r, c) in row.iter_mut().zip(column) {
                        *r += factor * c;
                    }
                }
                row
            })
            .collect();
        Some(Solver {
            basis: basis.to_vec(),
            rows,
        })
    }

    /// Variance of coefficient `index` for samples of unit variance.
    pub(crate) fn variance_factor(&self, index: usize) -> f64 {
        dot(&self.rows[index], &self.rows[index])
    }

    /// Coefficients and root-mean-square residual.
    pub(crate) fn fit(&self, samples: &[f64]) -> (Vec<f64>, f64) {
        let coefficients: Vec<f64> = self.rows.iter().map(|row| dot(row, samples)).collect();
        let mut residual = samples.to_vec();
        for (coefficient, column) in coefficients.iter().zip(&self.basis) {
            for (r, c) in residual.iter_mut().zip(column) {
                *r -= coefficient * c;
            }
        }
        let rms = (dot(&residual, &residual) / samples.len() as f64).sqrt();
        (coefficients, rms)
    }
}

/// Sum of products.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    wide(
        #[inline(always)]
        || dot_here(a, b),
    )
}

/// The same, for use inside of what runs wide already. Eight run side by side.
#[inline(always)]
pub(crate) fn dot_here(a: &[f64], b: &[f64]) -> f64 {
    const LANES: usize = 8;
    let length = a.len().min(b.len());
    let (left, left_rest) = a[..length].as_chunks::<LANES>();
    let (right, right_rest) = b[..length].as_chunks::<LANES>();
    let rest = left_rest.iter().zip(right_rest);
    let rest: f64 = rest.map(|(x, y)| x * y).sum();
    let mut sums = [0.0; LANES];
    for (x, y) in left.iter().zip(right) {
        for k in 0..LANES {
            sums[k] += x[k] * y[k];
        }
    }
    sums.iter().sum::<f64>() + rest
}

/// Sum of a column, and of its values times their places, the first of which is given. For use inside of what runs wide.
#[inline(always)]
pub(crate) fn sums_here(column: &[f64], first: f64) -> (f64, f64) {
    const LANES: usize = 4;
    let (chunks, rest) = column.as_chunks::<LANES>();
    let mut places = [0.0, 1.0, 2.0, 3.0].map(|k| first + k);
    let (mut sums, mut turned) = ([0.0; LANES], [0.0; LANES]);
    for chunk in chunks {
        for k in 0..LANES {
            sums[k] += chunk[k];
            turned[k] += places[k] * chunk[k];
            places[k] += LANES as f64;
        }
    }
    for (k, x) in rest.iter().enumerate() {
        sums[k] += x;
        turned[k] += places[k] * x;
    }
    (sums.iter().sum(), turned.iter().sum())
}

/// Products of all columns with one another.
pub(crate) fn gram(basis: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let mut out = vec![vec![0.0; basis.len()]; basis.len()];
    wide(
        #[inline(always)]
        || {
            for (i, a) in basis.iter().enumerate() {
                for (j, b) in basis[..=i].iter().enumerate() {
                    let product = dot_here(a, b);
                    out[i][j] = product;
                    out[j][i] = product;
                }
            }
        },
    );
    out
}

/// Takes a column's share out of samples.
pub(crate) fn take_out(samples: &mut [f64], column: &[f64], share: f64) {
    wide(
        #[inline(always)]
        || {
            let pairs = samples.iter_mut().zip(column);
            pairs.for_each(|(x, c)| *x -= share * c);
        },
    );
}

/// Least and largest of some values.
pub(crate) fn span(values: &[f64]) -> (f64, f64) {
    const SIDE: usize = 8;
    let (whole, rest) = values.as_chunks::<SIDE>();
    let (mut least, mut most) = ([f64::MAX; SIDE], [f64::MIN; SIDE]);
    wide(
        #[inline(always)]
        || {
            for some in whole {
                for k in 0..SIDE {
                    least[k] = if some[k] < least[k] {
                        some[k]
                    } else {
                        least[k]
                    };
                    most[k] = if some[k] > most[k] { some[k] } else { most[k] };
                }
            }
        },
    );
    let all = |lanes: [f64; SIDE]| lanes.into_iter().chain(rest.iter().copied());
    (
        all(least).fold(f64::MAX, f64::min),
        all(most).fold(f64::MIN, f64::max),
    )
}

/// Sums over a trace from which the energy of any part of it without its constant and line follows.
#[derive(Debug)]
pub(crate) struct RunningSums {
    /// Of y, i·y and y², with leading zeros.
    sums: Vec<[f64; 3]>,
}

impl RunningSums {
    pub(crate) fn new(trace: &[f64]) -> Self {
        let mut now = [0.0; 3];
        let mut sums = Vec::with_capacity(trace.len() + 1);
        sums.push(now);
        sums.extend(trace.iter().enumerate().map(|(i, &x)| {
            now[0] += x;
            now[1] += i as f64 * x;
            now[2] += x * x;
            now
        }));
        RunningSums { sums }
    }

    /// Samples in the trace.
    pub(crate) fn length(&self) -> usize {
        self.sums.len() - 1
    }

    /// Energy of `length` samples from `start` on, constant and line taken out.
    pub(crate) fn without_line(&self, start: usize, length: usize) -> f64 {
        let n = length as f64;
        let [y, iy, yy] = self.around_middle(start, length);
        (yy - y * y / n - iy * iy / spread(n)).max(0.0)
    }

    /// The straight line through `length` samples from `start` on: its value just after them, and its slope.
    pub(crate) fn line(&self, start: usize, length: usize) -> [f64; 2] {
        let n = length as f64;
        let [y, iy, _] = self.around_middle(start, length);
        let slope = iy / spread(n);
        [y / n + slope * (n + 1.0) / 2.0, slope]
    }

    /// Sums of y, i·y and y², with i counted from the middle.
    fn around_middle(&self, start: usize, length: usize) -> [f64; 3] {
        let middle = start as f64 + (length as f64 - 1.0) / 2.0;
        let (from, to) = (self.sums[start], self.sums[start + length]);
        let y = to[0] - from[0];
        [y, to[1] - from[1] - middle * y, to[2] - from[2]]
    }
}

/// Sum of the squares of n numbers one apart around zero.
pub(crate) fn spread(n: f64) -> f64 {
    n * (n * n - 1.0) / 12.0
}

/// Inverse of a symmetric positive definite matrix by Gauss-Jordan elimination with pivoting.
pub(crate) fn invert(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut work: Vec<Vec<f64>> = matrix
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let mut line = row.clone();
            line.extend((0..n).map(|j| f64::from(u8::from(i == j))));
            line
        })
        .collect();
    let scale = (0..n).map(|i| matrix[i][i].abs()).fold(0.0, f64::max);
    for column in 0..n {
        let pivot =
            (column..n).max_by(|&a, &b| work[a][column].abs().total_cmp(&work[b][column].abs()))?;
        if work[pivot][column].abs() <= 1e-13 * scale {
            return None;
        }
        work.swap(column, pivot);
        let head = work[column][column];
        work[column].iter_mut().for_each(|x| *x /= head);
        let lead = work[column].clone();
        for (row, line) in work.iter_mut().enumerate() {
            let factor = line[column];
            if row != column && factor != 0.0 {
                line.iter_mut()
                    .zip(&lead)
                    .for_each(|(x, l)| *x -= factor * l);
            }
        }
    }
    Some(work.into_iter().map(|line| line[n..].to_vec()).collect())
}

/// Where the parabola through three equally spaced values has its extreme, in spacings from the middle
/// one (within ±0.5); 0 when the three lie on a line.
pub(crate) fn parabola_peak(left: f64, middle: f64, right: f64) -> f64 {
    let curvature = left - 2.0 * middle + right;
    if curvature == 0.0 {
        return 0.0;
    }
    (0.5 * (left - right) / curvature).clamp(-0.5, 0.5)
}

/// Middle value (the upper one of two); `None` when there is none.
pub(crate) fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Value below which a `share` of the values lie.
pub(crate) fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut values = values.to_vec();
    let last = values.len().checked_sub(1)?;
    let index = ((last as f64) * share).round() as usize;
    let (_, value, _) = values.select_nth_unstable_by(index.min(last), f64::total_cmp);
    Some(*value)
}
