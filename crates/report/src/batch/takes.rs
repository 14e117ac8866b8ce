//! Several takes of one dial in one.

use score::{Understood, Value, Verdict};

use super::nearest::Nearest;
use super::row::Row;

/// A dial with its takes; without a pattern of names every recording is a dial of its own.
#[derive(Clone, Debug)]
pub struct Dial {
    /// Its name by the pattern, or the path of its only recording.
    pub name: String,
    /// Its recordings, in the order found; never empty.
    pub takes: Vec<Row>,
}

/// A quantity over several takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mean {
    /// Mean of the takes; its `u95` is what the measurement leaves uncertain, and says nothing of how the dial
    /// differs from one winding to the next.
    pub value: Value,
    /// Largest less smallest take; `None` with one.
    pub spread: Option<f64>,
}

impl Dial {
    /// Worst verdict of its takes: fail, conditional fail, not judged, conditional pass, pass.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let words = self.takes.iter().map(|take| take.verdict);
        words
            .max_by_key(|word| weight(*word))
            .unwrap_or(Verdict::NotJudged)
    }

    /// True when none of its recordings could be read.
    #[must_use]
    pub fn is_unreadable(&self) -> bool {
        self.takes.iter().all(|take| take.error.is_some())
    }

    /// Pulsing speed.
    #[must_use]
    pub fn speed_pps(&self) -> Option<Mean> {
        mean(self.takes.iter().filter_map(|take| take.speed_pps))
    }

    /// Percent break.
    #[must_use]
    pub fn percent_break(&self) -> Option<Mean> {
        mean(self.takes.iter().filter_map(|take| take.percent_break))
    }

    /// The nearest limit of all takes.
    #[must_use]
    pub fn nearest(&self) -> Option<&Nearest> {
        let all = self.takes.iter().filter_map(|take| take.nearest.as_ref());
        all.min_by(|a, b| a.share.total_cmp(&b.share))
    }

    /// Codes of the findings of all takes, each once.
    #[must_use]
    pub fn findings(&self) -> Vec<&str> {
        let all = self.takes.iter().flat_map(|take| &take.findings);
        let mut codes: Vec<&str> = all.map(String::as_str).collect();
        codes.sort_unstable();
        codes.dedup();
        codes
    }

    /// What each receiver makes of the worst of its takes, in the order asked.
    #[must_use]
    pub fn receivers(&self) -> Vec<(&str, Understood)> {
        let mut worst: Vec<(&str, Understood)> = Vec::new();
        for answer in self.takes.iter().flat_map(|take| &take.receivers) {
            match worst.iter_mut().find(|(name, _)| *name == answer.receiver) {
                Some((_, word)) if word.weight() >= answer.understood.weight() => {}
                Some((_, word)) => *word = answer.understood,
                None => worst.push((&answer.receiver, answer.understood)),
            }
        }
        worst
    }

    /// What keeps it from a better word: why it could not be read or not be judged.
    #[must_use]
    pub fn trouble(&self) -> Option<&str> {
        let of = |take: &'_ Row| take.error.clone().or_else(|| take.reason.clone());
        let index = self.takes.iter().position(|take| of(take).is_some())?;
        let take = &self.takes[index];
        take.error.as_deref().or(take.reason.as_deref())
    }
}

/// Mean of independent takes. The clock of one recorder is the same in all of them, and so may be what its
/// transitions share: uncertainties are averaged, not divided by the root of their number.
fn mean(values: impl Iterator<Item = Value>) -> Option<Mean> {
    let values: Vec<Value> = values.collect();
    let count = values.len() as f64;
    let (least, greatest) = values.iter().fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, greatest), v| (least.min(v.value), greatest.max(v.value)),
    );
    (!values.is_empty()).then(|| Mean {
        value: Value {
            value: values.iter().map(|v| v.value).sum::<f64>() / count,
            u95: values.iter().map(|v| v.u95).sum::<f64>() / count,
        },
        spread: (values.len() > 1).then_some(greatest - least),
    })
}

/// Order of verdicts, worst last; what cannot be read weighs more than what is not judged.
#[must_use]
pub fn weight(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Pass => 0,
        Verdict::ConditionalPass => 1,
        Verdict::NotJudged => 2,
        Verdict::ConditionalFail => 3,
        Verdict::Fail => 4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_are_averaged_and_their_spread_kept_apart() {
        let of = |value, u95| Value { value, u95 };
        let two = mean([of(10.0, 0.002), of(10.1, 0.004)].into_iter()).unwrap();
        approx::assert_relative_eq!(two.value.value, 10.05, max_relative = 1e-12);
        approx::assert_relative_eq!(two.value.u95, 0.003, max_relative = 1e-12);
        approx::assert_relative_eq!(two.spread.unwrap(), 0.1, max_relative = 1e-9);
        assert_eq!(mean([of(10.0, 0.002)].into_iter()).unwrap().spread, None);
        assert_eq!(mean([].into_iter()), None);
    }
}
