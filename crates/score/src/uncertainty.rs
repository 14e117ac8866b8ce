//! Propagation of the edges' variances to a measured value, after JCGM 100:2008 clause 5.
//!
//! A value is, near the measured instants, a weighted sum of instants. The weight of each instant is the
//! partial derivative (sensitivity) of the value to it; an instant that enters twice has one weight, the
//! sum. Each edge brings a variance of its own, and all edges of one kind in one train share an error:
//! the shared part adds up before it is squared, so it cancels wherever the weights of a kind sum to zero
//! (speed and periods) and stays where they do not (breaks, makes, percent break).

use std::collections::BTreeMap;

use edges::{Direction, Train};

use crate::COVERAGE_FACTOR;
use crate::grouping::Contact;

/// The weights of the instants that a value is made of.
pub(crate) struct Sensitivities<'trace> {
    trains: &'trace [Train],
    weights: BTreeMap<(usize, usize), f64>,
}

impl<'trace> Sensitivities<'trace> {
    pub(crate) fn new(trains: &'trace [Train]) -> Self {
        Sensitivities {
            trains,
            weights: BTreeMap::new(),
        }
    }

    /// Adds the partial derivative of the value to one instant, in the value's unit per second.
    pub(crate) fn add(&mut self, contact: &Contact, derivative: f64) {
        *self
            .weights
            .entry((contact.train, contact.edge))
            .or_insert(0.0) += derivative;
    }

    /// Expanded uncertainty of the value, in its unit.
    pub(crate) fn u95(&self) -> f64 {
        COVERAGE_FACTOR * (self.independent_variance() + self.common_variance()).sqrt()
    }

    /// Σ cᵢ² vᵢ over the edges.
    fn independent_variance(&self) -> f64 {
        self.weights
            .iter()
            .map(|((train, edge), weight)| {
                weight * weight * self.trains[*train].edges[*edge].variance_s2
            })
            .sum()
    }

    /// (Σ cᵢ)² V over the openings of each train, and the same over its closings.
    fn common_variance(&self) -> f64 {
        let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
        for ((train, edge), weight) in &self.weights {
            let (openings, closings) = sums.entry(*train).or_default();
            match self.trains[*train].edges[*edge].direction {
                Direction::Opening => *openings += weight,
                Direction::Closing => *closings += weight,
            }
        }
        sums.iter()
            .map(|(train, (openings, closings))| {
                openings * openings * self.trains[*train].opening_common_s2
                    + closings * closings * self.trains[*train].closing_common_s2
            })
            .sum()
    }
}
