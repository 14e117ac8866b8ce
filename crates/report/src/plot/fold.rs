//! A time axis that leaves out the long pauses between digits, so that every pulse stays legible.

/// Longest stretch of pause drawn in full, in seconds; what is longer is left out and its length written.
const PAUSE_DRAWN_S: f64 = 0.16;

/// Width of a mark that stands for time left out, in page units.
pub(super) const FOLD_WIDTH: f64 = 44.0;

/// A stretch of time drawn to scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stretch {
    /// First and last instant, in seconds.
    pub start_s: f64,
    pub end_s: f64,
    /// Page units of both.
    pub left: f64,
    pub right: f64,
}

/// Stretches in time order with folds between them.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FoldedAxis {
    pub stretches: Vec<Stretch>,
}

impl FoldedAxis {
    /// Lays out `wanted` intervals from page unit `left` on, `scale` page units a second.
    pub(super) fn new(wanted: &[(f64, f64)], left: f64, scale: f64) -> Self {
        let mut stretches: Vec<Stretch> = Vec::new();
        for (start_s, end_s) in merged(wanted) {
            let from = stretches
                .last()
                .map_or(left, |previous| previous.right + FOLD_WIDTH);
            let right = from + (end_s - start_s) * scale;
            stretches.push(Stretch {
                start_s,
                end_s,
                left: from,
                right,
            });
        }
        FoldedAxis { stretches }
    }

    /// Where instant `time_s` is drawn; `None` when it is left out.
    pub(super) fn place(&self, time_s: f64) -> Option<f64> {
        self.stretches
            .iter()
            .find(|s| (s.start_s..=s.end_s).contains(&time_s))
            .map(|s| s.place(time_s))
    }

    /// Right end of the axis, in page units.
    pub(super) fn right(&self) -> f64 {
        self.stretches.last().map_or(0.0, |s| s.right)
    }
}

impl Stretch {
    /// Where instant `time_s` is drawn, inside the stretch or on its nearer end.
    pub(super) fn place(&self, time_s: f64) -> f64 {
        let part =
            (time_s.clamp(self.start_s, self.end_s) - self.start_s) / (self.end_s - self.start_s);
        self.left + part * (self.right - self.left)
    }
}

/// Seconds drawn to scale, and the number of folds, when `wanted` is laid out.
pub(super) fn extent(wanted: &[(f64, f64)]) -> (f64, usize) {
    let merged = merged(wanted);
    (
        merged.iter().map(|(start, end)| end - start).sum(),
        merged.len().saturating_sub(1),
    )
}

/// Intervals in order, joined where less than [`PAUSE_DRAWN_S`] lies between them.
fn merged(wanted: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sorted = wanted.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (start, end) in sorted {
        match joined.last_mut() {
            Some(last) if start - last.1 < PAUSE_DRAWN_S => last.1 = last.1.max(end),
            _ => joined.push((start, end)),
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_intervals_join_and_far_ones_are_folded() {
        let axis = FoldedAxis::new(&[(2.0, 3.0), (0.0, 0.5), (0.6, 1.0)], 100.0, 50.0);
        assert_eq!(axis.stretches.len(), 2);
        assert_eq!(axis.place(0.0), Some(100.0));
        assert_eq!(axis.place(1.0), Some(150.0));
        assert_eq!(axis.place(1.5), None);
        assert_eq!(axis.place(2.0), Some(150.0 + FOLD_WIDTH));
        assert_eq!(axis.right(), 200.0 + FOLD_WIDTH);
        assert_eq!(extent(&[(2.0, 3.0), (0.0, 1.0)]), (2.0, 1));
    }
}
