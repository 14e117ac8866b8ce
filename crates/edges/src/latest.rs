//! The latest samples of a stream, kept as they came: 16-bit integers take half the room of what they stand for.

use crate::wide::{greater, lesser};
use std::borrow::Cow;
use std::ops::Range;

/// What a 16-bit integer counts, in full-scale units.
const STEP: f32 = 1.0 / 32_768.0;

/// A sample in any form.
pub(crate) trait Sample: Copy + Default {
    /// Of differences between samples.
    type Sum: Copy + Default;

    /// Its value, in full-scale units.
    fn value(self) -> f32;
    /// Its difference from another.
    fn since(self, first: Self) -> Self::Sum;
    /// Sum of two.
    fn plus(one: Self::Sum, other: Self::Sum) -> Self::Sum;
    /// Value of a sum, in full-scale units.
    fn value_of_sum(sum: Self::Sum) -> f32;
    /// The lesser of two.
    fn lesser(self, other: Self) -> Self;
    /// The greater of two.
    fn greater(self, other: Self) -> Self;
}

impl Sample for f32 {
    type Sum = f32;

    #[inline(always)]
    fn value(self) -> f32 {
        self
    }

    #[inline(always)]
    fn since(self, first: f32) -> f32 {
        self - first
    }

    #[inline(always)]
    fn plus(one: f32, other: f32) -> f32 {
        one + other
    }

    #[inline(always)]
    fn value_of_sum(sum: f32) -> f32 {
        sum
    }

    #[inline(always)]
    fn lesser(self, other: f32) -> f32 {
        lesser(self, other)
    }

    #[inline(always)]
    fn greater(self, other: f32) -> f32 {
        greater(self, other)
    }
}

/// Sums of some hundred are exact, as those of their values are in single precision.
impl Sample for i16 {
    type Sum = i32;

    #[inline(always)]
    fn value(self) -> f32 {
        f32::from(self) * STEP
    }

    #[inline(always)]
    fn since(self, first: i16) -> i32 {
        i32::from(self) - i32::from(first)
    }

    #[inline(always)]
    fn plus(one: i32, other: i32) -> i32 {
        one + other
    }

    #[inline(always)]
    fn value_of_sum(sum: i32) -> f32 {
        sum as f32 * STEP
    }

    #[inline(always)]
    fn lesser(self, other: i16) -> i16 {
        self.min(other)
    }

    #[inline(always)]
    fn greater(self, other: i16) -> i16 {
        self.max(other)
    }
}

/// Samples in a row.
#[derive(Debug)]
pub(crate) enum Latest {
    Words(Vec<i16>),
    Floats(Vec<f32>),
}

impl Latest {
    pub(crate) fn new() -> Self {
        Latest::Words(Vec::new())
    }

    pub(crate) fn len(&self) -> usize {
        match self {
            Latest::Words(words) => words.len(),
            Latest::Floats(floats) => floats.len(),
        }
    }

    pub(crate) fn extend(&mut self, samples: &[f32]) {
        if let Latest::Words(words) = self {
            *self = Latest::Floats(values(words));
        }
        if let Latest::Floats(floats) = self {
            floats.extend_from_slice(samples);
        }
    }

    pub(crate) fn extend_by_words(&mut self, samples: &[i16]) {
        match self {
            Latest::Words(words) => words.extend_from_slice(samples),
            Latest::Floats(floats) => floats.extend(samples.iter().map(|word| word.value())),
        }
    }

    /// The values of a stretch.
    pub(crate) fn values(&self, stretch: Range<usize>) -> Cow<'_, [f32]> {
        match self {
            Latest::Words(words) => Cow::Owned(values(&words[stretch])),
            Latest::Floats(floats) => Cow::Borrowed(&floats[stretch]),
        }
    }

    /// Forgets the first samples.
    pub(crate) fn forget(&mut self, count: usize) {
        match self {
            Latest::Words(words) => drop(words.drain(..count)),
            Latest::Floats(floats) => drop(floats.drain(..count)),
        }
    }
}

fn values(words: &[i16]) -> Vec<f32> {
    words.iter().map(|word| word.value()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_kept_until_floats_come() {
        let mut latest = Latest::new();
        latest.extend_by_words(&[16_384, -32_768, 1]);
        assert!(matches!(latest, Latest::Words(_)));
        assert_eq!(*latest.values(0..2), [0.5, -1.0]);
        latest.forget(1);
        latest.extend(&[0.25]);
        latest.extend_by_words(&[-16_384]);
        assert_eq!(latest.len(), 4);
        assert_eq!(*latest.values(0..4), [-1.0, 1.0 / 32_768.0, 0.25, -0.5]);
    }
}
