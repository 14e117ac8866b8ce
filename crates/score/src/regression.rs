//! Least squares by taking columns out one after the other.
//!
//! Most columns say something of one digit only and are zero elsewhere, so that of most pairs nothing need be
//! computed: a column holds only the rows in which it is not zero.

use std::ops::Range;

/// A column counts as spent when less than this part of its length is left.
const SPENT: f64 = 1e-7;

/// What is left of some observations when columns have been fitted to them.
#[derive(Clone, Debug)]
pub(crate) struct Regression {
    /// Directions already taken out: orthonormal.
    basis: Vec<Column>,
    /// The observations without those directions.
    residual: Vec<f64>,
}

/// A column: its values from row `first` on; zero elsewhere.
#[derive(Clone, Debug)]
pub(crate) struct Column {
    pub(crate) first: usize,
    pub(crate) values: Vec<f64>,
}

impl Column {
    /// Values of all rows.
    pub(crate) fn whole(values: Vec<f64>) -> Self {
        Column { first: 0, values }
    }

    fn rows(&self) -> Range<usize> {
        self.first..self.first + self.values.len()
    }

    fn dot(&self, other: &[f64]) -> f64 {
        dot(&self.values, &other[self.rows()])
    }

    /// Takes `along` times this out of the values of all rows.
    fn leave(&self, values: &mut [f64], along: f64) {
        take_out(&mut values[self.rows()], &self.values, along);
    }

    fn length(&self) -> f64 {
        dot(&self.values, &self.values).sqrt()
    }

    fn touches(&self, other: &Column) -> bool {
        self.first < other.rows().end && other.first < self.rows().end
    }

    /// Makes this orthogonal to a direction that it touches.
    fn turn_from(&mut self, direction: &Column) {
        self.reach_over(&direction.rows());
        let from = direction.first - self.first;
        let shared = &mut self.values[from..from + direction.values.len()];
        let along = dot(&direction.values, shared);
        take_out(shared, &direction.values, along);
    }

    /// Takes in rows, as zeros.
    fn reach_over(&mut self, rows: &Range<usize>) {
        let before = self.first.saturating_sub(rows.start);
        if before > 0 {
            self.values.splice(0..0, std::iter::repeat_n(0.0, before));
            self.first = rows.start;
        }
        let length = self.values.len().max(rows.end - self.first);
        self.values.resize(length, 0.0);
    }
}

fn dot(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(x, y)| x * y).sum()
}

fn take_out(values: &mut [f64], column: &[f64], along: f64) {
    let pairs = values.iter_mut().zip(column);
    pairs.for_each(|(x, d)| *x -= along * d);
}

/// What a few more columns would explain.
#[derive(Clone, Debug)]
pub(crate) struct Gain {
    /// Sum of squares explained.
    pub(crate) squares: f64,
    /// Number of columns that were not spent.
    pub(crate) columns: usize,
}

impl Regression {
    pub(crate) fn new(observations: Vec<f64>) -> Self {
        Regression {
            basis: Vec::new(),
            residual: observations,
        }
    }

    /// Fits columns and takes them out.
    pub(crate) fn take_out(&mut self, columns: &[Column]) {
        for column in columns {
            if let Some(direction) = self.new_direction(column, &[]) {
                let along = direction.dot(&self.residual);
                direction.leave(&mut self.residual, along);
                self.basis.push(direction);
            }
        }
    }

    /// What `columns` would explain of what is left.
    pub(crate) fn gain(&self, columns: &[Column]) -> Gain {
        let mut own: Vec<Column> = Vec::new();
        for column in columns {
            own.extend(self.new_direction(column, &own));
        }
        Gain {
            squares: own
                .iter()
                .map(|direction| direction.dot(&self.residual).powi(2))
                .sum(),
            columns: own.len(),
        }
    }

    /// Coefficient of one more column, and the length of what is new in it; `None` when nothing is.
    pub(crate) fn coefficient(&self, column: &Column) -> Option<(f64, f64)> {
        let direction = self.new_direction(column, &[])?;
        let shared = &direction.values[column.first - direction.first..];
        let length = dot(&column.values, shared);
        Some((direction.dot(&self.residual) / length, length))
    }

    /// Sum of squares of what is left.
    pub(crate) fn squares(&self) -> f64 {
        self.residual.iter().map(|x| x * x).sum()
    }

    /// Degrees of freedom of what is left.
    pub(crate) fn degrees(&self) -> usize {
        self.residual.len().saturating_sub(self.basis.len())
    }

    /// The part of a column that is in no direction known so far, at unit length.
    fn new_direction(&self, column: &Column, more: &[Column]) -> Option<Column> {
        let mut left = column.clone();
        let before = left.length();
        let mut touched: Vec<&Column> = Vec::new();
        for direction in self.basis.iter().chain(more) {
            if direction.touches(&left) {
                left.turn_from(direction);
                touched.push(direction);
            }
        }
        // Again: the first pass leaves rounding errors of the size of what it took away.
        touched.into_iter().for_each(|d| left.turn_from(d));
        let after = left.length();
        left.values.iter_mut().for_each(|x| *x /= after);
        (after > SPENT * before).then_some(left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// 1, 2, 4 about their mean: −4/3, −1/3, 5/3, squares 42/9. A slope of 1.5 explains 2 × 1.5² = 4.5 of them.
    #[test]
    fn a_line_through_three_points() {
        let mut left = Regression::new(vec![1.0, 2.0, 4.0]);
        left.take_out(&[Column::whole(vec![1.0; 3])]);
        assert_relative_eq!(left.squares(), 42.0 / 9.0, max_relative = 1e-12);
        let ramp = Column::whole(vec![0.0, 1.0, 2.0]);
        let gain = left.gain(&[ramp.clone(), Column::whole(vec![5.0, 6.0, 7.0])]);
        assert_eq!(gain.columns, 1);
        assert_relative_eq!(gain.squares, 4.5, max_relative = 1e-12);
        let (slope, length) = left.coefficient(&ramp).expect("a slope");
        assert_relative_eq!(slope, 1.5, max_relative = 1e-12);
        assert_relative_eq!(length, 2f64.sqrt(), max_relative = 1e-12);
        left.take_out(std::slice::from_ref(&ramp));
        assert_eq!(left.degrees(), 1);
        assert_relative_eq!(left.squares(), 1.0 / 6.0, max_relative = 1e-9);
        assert!(left.coefficient(&ramp).is_none());
    }

    /// Columns of two digits beside one another: each digit by itself must give the same, and a column over both takes
    /// from both.
    #[test]
    fn columns_that_are_zero_elsewhere_leave_the_rest_alone() {
        let of = |first, values: &[f64]| Column {
            first,
            values: values.to_vec(),
        };
        let mut left = Regression::new(vec![1.0, 2.0, 4.0, 3.0, 5.0]);
        left.take_out(&[of(0, &[1.0; 3]), of(3, &[1.0; 2])]);
        // 42/9 of the first, (3 - 4)^2 + (5 - 4)^2 of the second.
        assert_relative_eq!(left.squares(), 42.0 / 9.0 + 2.0, max_relative = 1e-12);
        let slope = left.gain(&[of(1, &[1.0, 2.0])]);
        assert_relative_eq!(slope.squares, 4.5, max_relative = 1e-12);
        // Ramps of -1, 0, 1 and -1/2, 1/2, with the residuals' products 3 and 1: (3 + 1)^2 / (2 + 1/2).
        let ramps = of(1, &[1.0, 2.0, 0.0, 1.0]);
        let both = left.gain(std::slice::from_ref(&ramps));
        assert_relative_eq!(both.squares, 16.0 / 2.5, max_relative = 1e-12);
        assert_eq!(left.gain(&[of(3, &[2.0, 2.0])]).columns, 0);
        // (3 + 1) / 2.5 along it, of which the root of 2.5 is new.
        let (along, length) = left.coefficient(&ramps).expect("something new");
        assert_relative_eq!(along, 4.0 / 2.5, max_relative = 1e-12);
        assert_relative_eq!(length, 2.5f64.sqrt(), max_relative = 1e-12);
    }
}
