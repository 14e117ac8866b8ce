//! Least squares by taking columns out one after the other.
//!
//! Most columns say something of one digit only and are zero elsewhere, so that of most pairs nothing need be
//! computed: columns and directions know between which rows they are not zero.

use std::ops::Range;

/// A column counts as spent when less than this part of its length is left.
const SPENT: f64 = 1e-7;

/// What is left of some observations when columns have been fitted to them.
#[derive(Clone, Debug)]
pub(crate) struct Regression {
    /// Directions already taken out: orthonormal.
    basis: Vec<Direction>,
    /// The observations without those directions.
    residual: Vec<f64>,
}

/// A column, and the rows outside of which it is zero.
#[derive(Clone, Debug)]
struct Direction {
    rows: Range<usize>,
    values: Vec<f64>,
}

impl Direction {
    fn of(column: &[f64]) -> Self {
        let is_something = |value: &f64| *value != 0.0;
        let start = column.iter().position(is_something).unwrap_or(0);
        let end = column
            .iter()
            .rposition(is_something)
            .map_or(start, |last| last + 1);
        Direction {
            rows: start..end,
            values: column.to_vec(),
        }
    }

    fn dot(&self, other: &[f64]) -> f64 {
        let own = &self.values[self.rows.clone()];
        own.iter()
            .zip(&other[self.rows.clone()])
            .map(|(x, y)| x * y)
            .sum()
    }

    /// Takes `along` times this out of `values`.
    fn leave(&self, values: &mut [f64], along: f64) {
        let own = &self.values[self.rows.clone()];
        let theirs = &mut values[self.rows.clone()];
        theirs
            .iter_mut()
            .zip(own)
            .for_each(|(x, d)| *x -= along * d);
    }

    fn length(&self) -> f64 {
        self.dot(&self.values).sqrt()
    }

    /// Makes this orthogonal to a direction.
    fn turn_from(&mut self, direction: &Direction) {
        let apart = self.rows.end <= direction.rows.start || direction.rows.end <= self.rows.start;
        if apart {
            return;
        }
        let along = direction.dot(&self.values);
        direction.leave(&mut self.values, along);
        self.rows =
            self.rows.start.min(direction.rows.start)..self.rows.end.max(direction.rows.end);
    }
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
    pub(crate) fn take_out(&mut self, columns: &[Vec<f64>]) {
        for column in columns {
            if let Some(direction) = self.new_direction(column, &[]) {
                let along = direction.dot(&self.residual);
                direction.leave(&mut self.residual, along);
                self.basis.push(direction);
            }
        }
    }

    /// What `columns` would explain of what is left.
    pub(crate) fn gain(&self, columns: &[Vec<f64>]) -> Gain {
        let mut own: Vec<Direction> = Vec::new();
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
    pub(crate) fn coefficient(&self, column: &[f64]) -> Option<(f64, f64)> {
        let direction = self.new_direction(column, &[])?;
        let length = direction.dot(column);
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
    fn new_direction(&self, column: &[f64], more: &[Direction]) -> Option<Direction> {
        let mut left = Direction::of(column);
        let before = left.length();
        // Twice: the first pass leaves rounding errors of the size of what it took away.
        for direction in self.basis.iter().chain(more).chain(&self.basis).chain(more) {
            left.turn_from(direction);
        }
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
        left.take_out(&[vec![1.0; 3]]);
        assert_relative_eq!(left.squares(), 42.0 / 9.0, max_relative = 1e-12);
        let ramp = vec![0.0, 1.0, 2.0];
        let gain = left.gain(&[ramp.clone(), vec![5.0, 6.0, 7.0]]);
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
        let mut left = Regression::new(vec![1.0, 2.0, 4.0, 3.0, 5.0]);
        left.take_out(&[vec![1.0, 1.0, 1.0, 0.0, 0.0], vec![0.0, 0.0, 0.0, 1.0, 1.0]]);
        // 42/9 of the first, (3 - 4)^2 + (5 - 4)^2 of the second.
        assert_relative_eq!(left.squares(), 42.0 / 9.0 + 2.0, max_relative = 1e-12);
        let slope = left.gain(&[vec![0.0, 1.0, 2.0, 0.0, 0.0]]);
        assert_relative_eq!(slope.squares, 4.5, max_relative = 1e-12);
        // Ramps of -1, 0, 1 and -1/2, 1/2, with the residuals' products 3 and 1: (3 + 1)^2 / (2 + 1/2).
        let both = left.gain(&[vec![0.0, 1.0, 2.0, 0.0, 1.0]]);
        assert_relative_eq!(both.squares, 16.0 / 2.5, max_relative = 1e-12);
        assert_eq!(left.gain(&[vec![0.0, 0.0, 0.0, 2.0, 2.0]]).columns, 0);
    }
}
