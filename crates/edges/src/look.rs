//! What the transitions of one kind look like in the trace, whatever describes them: on one line, and through one
//! probe, they look the same in every train.

use crate::coarse::Coarse;
use crate::linear;

/// From so long before a transition to so long after it.
const BEFORE_S: f64 = 0.001;
const AFTER_S: f64 = 0.007;
/// Two are lined up by no more than this.
const LINE_UP_S: f64 = 0.001;
/// Looks of one line have at least this correlation, and sizes that differ by less than this factor.
const ALIKE: f64 = 0.93;
const SIZES: f64 = 1.5;

/// Mean of the trace around the transitions of one kind, from its level before them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Look {
    values: Vec<f64>,
    /// Values that two looks are lined up by at most.
    reach: usize,
}

impl Look {
    /// `places` are in samples from the first of the trace.
    pub(crate) fn of(coarse: &Coarse, places: impl Iterator<Item = f64>) -> Self {
        let blocks = |s: f64| (s * coarse.rate_hz).round() as usize;
        let (before, length) = (blocks(BEFORE_S), blocks(BEFORE_S + AFTER_S));
        let mut values = vec![0.0; length];
        let mut taken = 0.0;
        for place in places {
            let block = (place.max(0.0) / coarse.factor as f64) as usize;
            let stretch = block
                .checked_sub(before)
                .and_then(|first| coarse.means.get(first..first + length));
            let Some(stretch) = stretch else {
                continue;
            };
            let level = stretch[..before / 2].iter().sum::<f64>() / (before / 2).max(1) as f64;
            let pairs = values.iter_mut().zip(stretch);
            pairs.for_each(|(value, x)| *value += x - level);
            taken += 1.0;
        }
        values
            .iter_mut()
            .for_each(|value| *value /= f64::max(taken, 1.0));
        Look {
            values: smooth(&smooth(&values)),
            reach: blocks(LINE_UP_S),
        }
    }

    /// Whether both are the same transition of the same line.
    pub(crate) fn is_like(&self, other: &Look) -> bool {
        let reach = self.reach.min(self.values.len() / 2);
        let inner = self.values.len() - 2 * reach;
        if inner == 0 || self.values.len() != other.values.len() {
            return false;
        }
        let own = &self.values[reach..reach + inner];
        let energy = linear::dot(own, own);
        other.values.windows(inner).any(|theirs| {
            let theirs_energy = linear::dot(theirs, theirs);
            let alike = linear::dot(own, theirs) > ALIKE * (energy * theirs_energy).sqrt();
            let ratio = (energy / theirs_energy.max(f64::MIN_POSITIVE)).sqrt();
            alike && (1.0 / SIZES..SIZES).contains(&ratio)
        })
    }
}

/// A spike that is shorter than a block falls into one or into two.
fn smooth(values: &[f64]) -> Vec<f64> {
    let at = |i: usize| values.get(i).copied().unwrap_or(0.0);
    let places = 0..values.len();
    places
        .map(|i| 0.25 * at(i.wrapping_sub(1)) + 0.5 * at(i) + 0.25 * at(i + 1))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A swing that dies away, of a size, from a place on.
    fn swing(place: f64, size: f64, turn: f64) -> Look {
        let rate_hz = 8000.0;
        let at = |i: i32| {
            let t = (f64::from(i) - place) / rate_hz;
            let swung = (-t / 0.002).exp() * (1900.0 * t + turn).cos();
            0.3 + if t > 0.0 { size * swung } else { 0.0 }
        };
        let coarse = Coarse {
            factor: 1,
            rate_hz,
            means: (0..400).map(at).collect(),
        };
        Look::of(&coarse, [place].into_iter())
    }

    #[test]
    fn the_same_swing_is_alike_wherever_it_begins_and_another_is_not() {
        let own = swing(100.3, 1.0, 0.2);
        assert!(own.is_like(&swing(230.7, 1.2, 0.2)));
        assert!(!own.is_like(&swing(230.7, -1.0, 0.2)), "upside down");
        assert!(!own.is_like(&swing(230.7, 2.0, 0.2)), "twice as large");
        assert!(!own.is_like(&swing(230.7, 1.0, 1.6)), "another shape");
        assert!(!Look::default().is_like(&Look::default()));
    }
}
