//! Whether a capture holds all samples of its source, in a row.

/// Samples that are looked for together: noise makes no two such pieces alike.
const NEEDLE: usize = 64;

/// What a capture kept of its source.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Kept {
    /// Where the comparison ended in the capture.
    pub(super) end: usize,
    /// Samples that were compared.
    pub(super) samples: usize,
    /// Where the two part: sample of the source, and how many samples are missing (or, below zero, put in).
    pub(super) breaks: Vec<(usize, i64)>,
}

impl Kept {
    /// Holds a capture against its source, from the first piece of `from` on that is in the source; `reach` samples are
    /// looked through for it, and at a break. `None` if there is none.
    pub(super) fn of(source: &[i16], capture: &[i16], from: usize, reach: usize) -> Option<Kept> {
        let mut kept = Kept {
            end: 0,
            samples: 0,
            breaks: Vec::new(),
        };
        let (mut heard, mut played) = joined(source, capture, from, 0, reach)?;
        loop {
            let alike = source[played..]
                .iter()
                .zip(&capture[heard..])
                .take_while(|(a, b)| a == b)
                .count();
            kept.samples += alike;
            (heard, played) = (heard + alike, played + alike);
            kept.end = heard;
            // What comes when the source is over is no part of it.
            if played == source.len() || heard == capture.len() {
                return Some(kept);
            }
            let Some(next) = joined(source, capture, heard, played, reach) else {
                kept.breaks.push((played, (source.len() - played) as i64));
                return Some(kept);
            };
            let missing = (next.1 - played) as i64 - (next.0 - heard) as i64;
            kept.breaks.push((played, missing));
            (heard, played) = next;
        }
    }

    /// In words.
    pub(super) fn words(&self, rate_hz: u32) -> String {
        let seconds = |samples: f64| samples / f64::from(rate_hz);
        let length = seconds(self.samples as f64);
        if self.breaks.is_empty() {
            return format!(
                "{length:.2} s of the recording are in the capture, sample by sample and in a row"
            );
        }
        let sum = |wanted: fn(i64) -> bool| {
            let found = self.breaks.iter().map(|(_, missing)| *missing);
            let found: Vec<i64> = found.filter(|missing| wanted(*missing)).collect();
            let samples: u64 = found.iter().map(|missing| missing.unsigned_abs()).sum();
            let ms = 1000.0 * seconds(samples as f64);
            format!("{ms:.0} ms in {} places", found.len())
        };
        format!(
            "{length:.2} s of the recording are in the capture, sample by sample; missing {}, put in {}",
            sum(|missing| missing > 0),
            sum(|missing| missing <= 0)
        )
    }
}

/// The next places of capture and source that are alike.
fn joined(
    source: &[i16],
    capture: &[i16],
    heard: usize,
    played: usize,
    reach: usize,
) -> Option<(usize, usize)> {
    let played_to = (played + reach).min(source.len());
    let heard_to = (heard + reach).min(capture.len());
    (heard..heard_to).step_by(NEEDLE).find_map(|at| {
        let needle = capture.get(at..at + NEEDLE)?;
        let found = source[played..played_to]
            .windows(NEEDLE)
            .position(|piece| piece == needle)?;
        Some((at, played + found))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise.
    fn source() -> Vec<i16> {
        let mut state = 1_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 16) as i16
        };
        (0..4000).map(|_| next()).collect()
    }

    #[test]
    fn a_capture_that_has_it_all_has_no_breaks() {
        let source = source();
        let capture = [&[7; 300], &source[100..], &[0; 50]].concat();
        let kept = Kept::of(&source, &capture, 0, 2000).unwrap();
        assert_eq!(kept.breaks, []);
        assert!((3900 - NEEDLE..=3900).contains(&kept.samples), "{kept:?}");
        assert_eq!(Kept::of(&source, &[7; 300], 0, 2000), None);
    }

    #[test]
    fn what_is_missing_or_put_in_is_found() {
        let source = source();
        let capture = [
            &source[..1000],
            &source[1480..2500],
            &[0; 441],
            &source[2500..],
        ]
        .concat();
        let kept = Kept::of(&source, &capture, 0, 2000).unwrap();
        assert_eq!(kept.breaks, [(1000, 480), (2500, -441)]);
        assert!(
            kept.words(48_000)
                .ends_with("missing 10 ms in 1 places, put in 9 ms in 1 places")
        );
    }
}
