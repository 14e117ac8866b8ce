//! Which digit of one recording stands beside which of another.

use crate::saved::{Saved, SavedDigit};

/// Digits that are compared, and those that have no partner. Indexes count all digits of a recording.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pairing {
    /// Digits of the same number of pulses, in the order of the first recording.
    pub pairs: Vec<(usize, usize)>,
    /// Sure digits that only the first recording has.
    pub only_before: Vec<usize>,
    /// Sure digits that only the second recording has.
    pub only_after: Vec<usize>,
}

/// Pairs the k-th digit of N pulses of one recording with the k-th of N pulses of the other: dials are
/// compared over the same pulses, since a governor settles during a digit. Digits whose count is not beyond
/// doubt are left out.
pub(super) fn pair(before: &Saved, after: &Saved) -> Pairing {
    let mut free: Vec<(usize, &SavedDigit)> = after.sure_digits().collect();
    let mut pairing = Pairing::default();
    for (index, digit) in before.sure_digits() {
        match free
            .iter()
            .position(|(_, other)| other.pulses == digit.pulses)
        {
            Some(place) => pairing.pairs.push((index, free.remove(place).0)),
            None => pairing.only_before.push(index),
        }
    }
    pairing.only_after = free.into_iter().map(|(index, _)| index).collect();
    pairing
}
