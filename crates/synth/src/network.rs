//! A linear network as state equations, in the form that line and probe hand to the renderer.

use nalgebra::{DMatrix, DVector, RowDVector};

/// State equations x' = A x, y = C x. State 0 is the constant 1, which carries the sources.
#[derive(Clone, Debug)]
pub(crate) struct Network {
    /// Per second.
    pub(crate) rates: DMatrix<f64>,
    pub(crate) output: RowDVector<f64>,
}

impl Network {
    /// A network with no states of its own that gives a constant.
    pub(crate) fn constant(value: f64) -> Self {
        Self {
            rates: DMatrix::zeros(1, 1),
            output: RowDVector::from_element(1, value),
        }
    }

    /// Number of states.
    pub(crate) fn order(&self) -> usize {
        self.rates.nrows()
    }

    /// The same network with `more` further states at rest, which do nothing yet.
    pub(crate) fn with_states(&self, more: usize) -> Self {
        let order = self.order() + more;
        Self {
            rates: self.rates.clone().resize(order, order, 0.0),
            output: self.output.clone().resize_horizontally(order, 0.0),
        }
    }

    /// The state in which nothing changes any more.
    pub(crate) fn equilibrium(&self) -> DVector<f64> {
        let order = self.order();
        let mut state = DVector::zeros(order);
        state[0] = 1.0;
        if order > 1 {
            let inner = self.rates.view((1, 1), (order - 1, order - 1)).into_owned();
            let drive = self.rates.view((1, 0), (order - 1, 1)).into_owned();
            if let Some(rest) = inner.lu().solve(&(-drive)) {
                state.rows_mut(1, order - 1).copy_from(&rest);
            }
        }
        state
    }

    /// Output when nothing changes any more.
    pub(crate) fn settled_output(&self) -> f64 {
        (&self.output * self.equilibrium())[0]
    }

    /// The same with its output multiplied.
    pub(crate) fn scaled(mut self, factor: f64) -> Self {
        self.output *= factor;
        self
    }
}
