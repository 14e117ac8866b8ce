//! Cuts blocks where samples are missing, so that the detector hears of a gap at its own place.

use recording::Gap;

/// How far the gaps of a recording have been told.
#[derive(Default)]
pub(crate) struct Gaps {
    /// Gaps that lie wholly before the frames still to come.
    passed: usize,
}

/// Frames without a gap among them.
#[derive(Debug, PartialEq)]
pub(crate) struct Piece<'a, S> {
    /// Samples are missing right before the first of the frames, or the first of them begins a stretch that was
    /// filled.
    pub(crate) after_gap: bool,
    /// Whole frames.
    pub(crate) frames: &'a [S],
}

impl Gaps {
    /// Cuts `frames`, of `stride` samples each, whose first is frame `first` of the file. A filled stretch is cut
    /// off on both sides: what was held is as little a measurement as what is missing.
    pub(crate) fn split<'a, S>(
        &mut self,
        first: u64,
        frames: &'a [S],
        stride: usize,
        gaps: &[Gap],
    ) -> Vec<Piece<'a, S>> {
        let end = first + (frames.len() / stride) as u64;
        let mut pieces = Vec::new();
        let (mut from, mut after_gap) = (first, false);
        let at = |frame: u64| (frame - first) as usize * stride;
        for place in self.cuts(first, end, gaps) {
            if place > from {
                let frames = &frames[at(from)..at(place)];
                pieces.push(Piece { after_gap, frames });
            }
            (from, after_gap) = (place, true);
        }
        if end > from {
            let frames = &frames[at(from)..];
            pieces.push(Piece { after_gap, frames });
        }
        pieces
    }

    /// Beginnings and ends of gaps from `first` up to, not including, `end`, in order.
    fn cuts(&mut self, first: u64, end: u64, gaps: &[Gap]) -> Vec<u64> {
        let over = |gap: &&Gap| gap.start_frame + gap.frames < first;
        self.passed += gaps[self.passed..].iter().take_while(over).count();
        let mut places: Vec<u64> = gaps[self.passed..]
            .iter()
            .take_while(|gap| gap.start_frame < end)
            .flat_map(|gap| [gap.start_frame, gap.start_frame + gap.frames])
            .filter(|place| (first..end).contains(place))
            .collect();
        // Gaps may meet or overlap, as where a leap in time leads to a row without a value.
        places.sort_unstable();
        places.dedup();
        places
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of two samples, numbered from `first`; each piece as (after a gap, its first frame, frames).
    fn pieces(gaps: &mut Gaps, first: u64, count: u64, known: &[Gap]) -> Vec<(bool, u64, usize)> {
        let frames: Vec<f32> = (first..first + count)
            .flat_map(|frame| [frame as f32, -1.0])
            .collect();
        gaps.split(first, &frames, 2, known)
            .iter()
            .map(|piece| {
                (
                    piece.after_gap,
                    piece.frames[0] as u64,
                    piece.frames.len() / 2,
                )
            })
            .collect()
    }

    fn gap(start_frame: u64, frames: u64) -> Gap {
        Gap {
            start_frame,
            frames,
        }
    }

    #[test]
    fn a_filled_stretch_is_cut_off_on_both_sides() {
        let mut gaps = Gaps::default();
        assert_eq!(
            pieces(&mut gaps, 0, 10, &[gap(4, 3)]),
            [(false, 0, 4), (true, 4, 3), (true, 7, 3)]
        );
        assert_eq!(pieces(&mut gaps, 10, 5, &[gap(4, 3)]), [(false, 10, 5)]);
    }

    #[test]
    fn a_gap_across_blocks_ends_in_the_later_one() {
        let (mut gaps, known) = (Gaps::default(), [gap(8, 4)]);
        assert_eq!(
            pieces(&mut gaps, 0, 10, &known),
            [(false, 0, 8), (true, 8, 2)]
        );
        assert_eq!(
            pieces(&mut gaps, 10, 10, &known),
            [(false, 10, 2), (true, 12, 8)]
        );
    }

    #[test]
    fn a_gap_that_ends_with_a_block_is_told_with_the_next() {
        let (mut gaps, known) = (Gaps::default(), [gap(8, 2)]);
        assert_eq!(
            pieces(&mut gaps, 0, 10, &known),
            [(false, 0, 8), (true, 8, 2)]
        );
        assert_eq!(pieces(&mut gaps, 10, 5, &known), [(true, 10, 5)]);
    }

    #[test]
    fn gaps_that_overlap_are_told_once() {
        assert_eq!(
            pieces(
                &mut Gaps::default(),
                0,
                10,
                &[gap(2, 4), gap(2, 5), gap(7, 0)]
            ),
            [(false, 0, 2), (true, 2, 4), (true, 6, 1), (true, 7, 3)]
        );
    }

    #[test]
    fn a_section_that_begins_inside_a_gap_hears_of_its_end() {
        let known = [gap(2, 1), gap(5, 10)];
        assert_eq!(
            pieces(&mut Gaps::default(), 9, 10, &known),
            [(false, 9, 6), (true, 15, 4)]
        );
    }
}
