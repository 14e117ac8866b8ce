//! Sound in the makes that is not in the breaks: it comes through the contacts, so the speech network is not shorted
//! while the dial pulses.

use edges::{Snippet, Train};

use super::Evidence;
use crate::grouping::Group;
use crate::types::{Finding, HowSure};
use crate::wording::significant;

/// After a contact has moved, so long is left out, in seconds: chatter and transients.
const SETTLING_S: f64 = 0.012;
/// Before it moves again, so long is left out, in seconds.
const MARGIN_S: f64 = 0.003;
/// Shortest stretch that says anything, in seconds.
const SHORTEST_S: f64 = 0.008;
/// Fewest stretches to compare with one another.
const FEWEST: usize = 4;
/// Sound in the makes must be this many times that in the breaks, and this much of the dial's step, in percent: of 500
/// simulated dials in order none shows as much. Companding alone reaches 1.9 %, since it is coarser at the level of a
/// make.
const NOTABLE_RATIO: f64 = 1.6;
const NOTABLE_PERCENT: f64 = 2.0;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let mut total = [Scatter::default(); 2];
    let mut digits = 0;
    // Digits in doubt too: the sound itself may be what casts the doubt, and it is not counted but compared.
    for group in evidence
        .groups
        .iter()
        .filter(|group| group.holes.is_empty())
    {
        let train = &evidence.trace.trains[group.first().open.train];
        // A digit drawn from two trains has two snippets; such digits are rare and left out.
        let alone = group.trains().count() == 1 && !train.spikes_only;
        if let (true, Some(makes), Some(breaks)) =
            (alone, makes(train, group), breaks(train, group))
        {
            total[0].add(&makes, train.step);
            total[1].add(&breaks, train.step);
            digits += 1;
        }
    }
    let [makes, breaks] = total.map(|scatter| scatter.percent());
    let heard = digits > 0 && makes >= NOTABLE_PERCENT && makes >= NOTABLE_RATIO * breaks;
    heard
        .then(|| finding(makes, breaks, digits))
        .into_iter()
        .collect()
}

/// Squares of what differs from stretch to stretch.
#[derive(Clone, Copy, Debug, Default)]
struct Scatter {
    squares: f64,
    samples: f64,
}

impl Scatter {
    /// Stretches of one length, each without its mean and slope. What all have alike (a slow rise, ringing) does not count: of
    /// their squares those of their mean are left out.
    fn add(&mut self, stretches: &[&[f32]], step: f64) {
        let count = stretches.len() as f64;
        let length = stretches.first().map_or(0, |stretch| stretch.len());
        let mut mean = vec![0.0; length];
        let mut squares = 0.0;
        for stretch in stretches {
            let pairs = mean.iter_mut().zip(*stretch);
            pairs.for_each(|(mean, x)| *mean += f64::from(*x) / count);
            squares += squares_beside_line(stretch.iter().map(|x| f64::from(*x)));
        }
        squares -= count * squares_beside_line(mean.into_iter());
        self.squares += squares.max(0.0) / (step * step);
        self.samples += (count - 1.0) * length as f64;
    }

    /// Root mean square in percent of the step.
    fn percent(&self) -> f64 {
        100.0 * (self.squares / self.samples.max(1.0)).sqrt()
    }
}

/// The stretches of the makes within a digit. Sound is not alike in any two.
fn makes<'a>(train: &'a Train, group: &Group) -> Option<Vec<&'a [f32]>> {
    let pairs = group.breaks.windows(2);
    let pairs = pairs.filter(|pair| pair[0].interruptions.is_empty());
    stretches(
        &train.snippet,
        pairs.map(|pair| (pair[0].close.instant_s, pair[1].open.instant_s)),
    )
}

fn breaks<'a>(train: &'a Train, group: &Group) -> Option<Vec<&'a [f32]>> {
    let whole = group
        .breaks
        .iter()
        .filter(|pulse| pulse.interruptions.is_empty());
    stretches(
        &train.snippet,
        whole.map(|pulse| (pulse.open.instant_s, pulse.close.instant_s)),
    )
}

fn stretches(snippet: &Snippet, spans: impl Iterator<Item = (f64, f64)>) -> Option<Vec<&[f32]>> {
    let spans: Vec<(f64, f64)> = spans
        .map(|(from, to)| (from + SETTLING_S, to - MARGIN_S))
        .collect();
    let shortest = spans
        .iter()
        .map(|(from, to)| to - from)
        .fold(f64::INFINITY, f64::min);
    if spans.len() < FEWEST || shortest < SHORTEST_S {
        return None;
    }
    let length = (shortest * snippet.rate_hz) as usize;
    let stretch = |(from, _): &(f64, f64)| {
        let first = ((from - snippet.start_s) * snippet.rate_hz).round();
        let samples = snippet.samples.get(first.max(0.0) as usize..)?;
        samples.get(..length)
    };
    spans.iter().map(stretch).collect()
}

/// Sum of squares of samples without their mean and slope. Some run side by side.
fn squares_beside_line(samples: impl ExactSizeIterator<Item = f64>) -> f64 {
    const LANES: usize = 8;
    let n = samples.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mut sums = [[0.0; LANES]; 3];
    for (index, x) in samples.enumerate() {
        let lane = index % LANES;
        sums[0][lane] += x;
        sums[1][lane] += (index as f64 - middle) * x;
        sums[2][lane] += x * x;
    }
    let [sum, turned, squares] = sums.map(|lanes| lanes.iter().sum::<f64>());
    let spread = n * (n * n - 1.0) / 12.0;
    (squares - sum * sum / n.max(1.0) - turned * turned / spread.max(1.0)).max(0.0)
}

fn finding(makes: f64, breaks: f64, digits: usize) -> Finding {
    Finding {
        code: "off-normal-not-shorting",
        title: "Sound comes through while the dial pulses".into(),
        evidence: format!(
            "in the makes {} % of the step, root mean square, in the breaks {} %, over {digits} digit{}",
            significant(makes, 2),
            significant(breaks, 2),
            if digits == 1 { "" } else { "s" }
        ),
        likely_cause: "the off-normal contacts do not short the speech network: speech and clicks reach line and receiver \
                       while pulsing"
            .into(),
        advice: "clean the off-normal contacts and see that they close as soon as the wheel leaves rest; noise that comes \
                 down the line looks the same, so record once more from a bench supply"
            .into(),
        basis: "that these contacts short the speech circuit is on record in several descriptions of dials; that its \
                failure shows so is derived",
        how_sure: HowSure::Likely,
        how_much: None,
        digit_index: None,
        pulse_index: None,
    }
}
