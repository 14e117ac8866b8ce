//! The rhythm of the pulses: a steady course, and what departs from it.
//!
//! Two series are looked at, both in percent of a digit's mean period: the place of every opening, and the
//! length of every break. From each the even course of its digit is taken out (for the breaks with a trend);
//! then of all patterns the one that chance explains least is taken out, and so on while one is left that
//! chance explains less than once in a thousand dials and that is worth a word. What remains is jitter.
//!
//! All digits of a recording are looked at together. The wheel always ends its run in the same place, so
//! pulses are counted back from the last.

use crate::grouping::{Group, break_s, period_s};
use crate::regression::{Column, Regression};
use crate::tail::{chi2_tail, f_tail};

/// Chance explains a pattern less often than this, or it is none.
const CHANCE: f64 = 1e-3;
/// Patterns taken out of one series at most: with more, nothing is left to compare them with.
const MOST_PATTERNS: usize = 3;
/// No scatter smaller than this is believed, in percent of the period: contact instants are not rounder.
const LEAST_SCATTER: f64 = 0.02;
/// Degrees of freedom that must be left when a pattern is taken out.
const LEAST_DEGREES: usize = 2;
/// Fewest pulses of the longest digit in which a ripple can be told from a trend.
const RIPPLE_PULSES: usize = 7;
/// Fewest pulses of a digit that adds to the evidence for one.
const SWING_PULSES: usize = 5;
/// Finest step between the swings that are tried, in swings a pulse: over ten pulses a twentieth of a swing.
const SWING_STEP: f64 = 0.005;
/// Jitter of contact instants in a dial in order, root mean square in percent of the period. Common practice,
/// no source.
const USUAL_JITTER: f64 = 0.6;

/// What departs from an even course. Sizes are in percent of the mean period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Pattern {
    /// The period grows steadily (shrinks, negative) from the first to the last of a digit.
    Drift { percent: f64 },
    /// The first period is longer than the others (shorter, negative).
    FirstPeriod { percent: f64 },
    /// Every second opening comes late, or every second break is longer.
    TwoPulse { percent: f64, breaks: bool },
    /// One opening comes late (early, negative), or one break is longer: counted back, 0 is the last pulse.
    Tooth {
        from_last: usize,
        percent: f64,
        breaks: bool,
    },
    /// The openings swing by this to either side, once in so many pulses.
    Ripple { percent: f64, pulses: f64 },
}

impl Pattern {
    /// Least size worth a word. Common practice, no source limits any of them; 5 % of a period is what the one
    /// published limit on single breaks allows to either side (AS/CA S002:2010, 60-70 ms).
    fn notable(self) -> f64 {
        match self {
            Pattern::FirstPeriod { .. } => 3.0,
            Pattern::Drift { .. } | Pattern::TwoPulse { .. } | Pattern::Tooth { .. } => 2.0,
            Pattern::Ripple { .. } => 1.5,
        }
    }

    fn size(self) -> f64 {
        match self {
            Pattern::Drift { percent }
            | Pattern::FirstPeriod { percent }
            | Pattern::TwoPulse { percent, .. }
            | Pattern::Tooth { percent, .. }
            | Pattern::Ripple { percent, .. } => percent.abs(),
        }
    }
}

/// A pattern with how likely chance is to make one like it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Departure {
    pub(super) pattern: Pattern,
    pub(super) chance: f64,
    /// Digits that show it.
    pub(super) digits: usize,
}

/// What was made of the rhythm of a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Rhythm {
    pub(super) departures: Vec<Departure>,
    pub(super) jitter: Option<Jitter>,
}

/// Scatter of the openings that no pattern explains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Jitter {
    /// Root mean square, in percent of the period.
    pub(super) percent: f64,
    /// What the recording's noise alone would give, in percent of the period.
    pub(super) noise_percent: f64,
    pub(super) chance: f64,
}

/// One digit's series, in percent of its mean period.
struct Series {
    openings: Vec<f64>,
    breaks: Vec<f64>,
}

impl Series {
    fn of(group: &Group) -> Self {
        let breaks = &group.breaks;
        let count = breaks.len();
        let mean_s = period_s(&breaks[0], &breaks[count - 1]) / (count - 1) as f64;
        let place =
            |index: usize| 100.0 * (period_s(&breaks[0], &breaks[index]) / mean_s - index as f64);
        Series {
            openings: (0..count).map(place).collect(),
            breaks: breaks.iter().map(|b| 100.0 * break_s(b) / mean_s).collect(),
        }
    }
}

/// Looks at digits of at least four pulses. `noise_percent` is the standard uncertainty of an opening's place and
/// of a break's length, in percent of the period.
pub(super) fn of(groups: &[&Group], noise_percent: [f64; 2]) -> Rhythm {
    let groups: Vec<&Group> = groups
        .iter()
        .copied()
        .filter(|g| g.breaks.len() >= 4)
        .collect();
    if groups.is_empty() {
        return Rhythm::default();
    }
    let groups = super::spread_over(&groups);
    let digits: Vec<Series> = groups.iter().map(|group| Series::of(group)).collect();
    let layout = Layout::of(&digits);
    let openings = digits.iter().flat_map(|d| d.openings.clone()).collect();
    let breaks = digits.iter().flat_map(|d| d.breaks.clone()).collect();
    let (mut departures, mut left) = layout.search(openings, noise_percent[0], false);
    let of_breaks = layout.search(breaks, noise_percent[1], true).0;
    // A longer first break belongs to a longer first period, which shows in the openings.
    departures.extend(
        of_breaks
            .into_iter()
            .filter(|departure| !matches!(departure.pattern, Pattern::FirstPeriod { .. })),
    );
    left.take_out(&layout.squares());
    Rhythm {
        jitter: jitter(&left, noise_percent[0]),
        departures,
    }
}

fn jitter(left: &Regression, noise_percent: f64) -> Option<Jitter> {
    let degrees = left.degrees();
    let expected = USUAL_JITTER.hypot(noise_percent).powi(2);
    let chance = chi2_tail(left.squares() / expected, degrees);
    let variance = left.squares() / degrees.max(1) as f64 - noise_percent.powi(2);
    let percent = variance.max(0.0).sqrt();
    (degrees > 0 && chance < CHANCE && percent > 2.0 * USUAL_JITTER).then_some(Jitter {
        percent,
        noise_percent,
        chance,
    })
}

/// Where each digit's pulses stand in a series of all digits.
struct Layout {
    /// Pulses of each digit.
    pulses: Vec<usize>,
}

/// A pattern to be tried: its columns, and how many others like it are tried beside it.
struct Candidate {
    pattern: Pattern,
    columns: Vec<Column>,
    tries: usize,
}

impl Layout {
    fn of(digits: &[Series]) -> Self {
        Layout {
            pulses: digits.iter().map(|digit| digit.openings.len()).collect(),
        }
    }

    /// A column over all digits from a function of pulse and number of pulses.
    fn over_all(&self, value: impl Fn(usize, usize) -> f64) -> Column {
        let pulses = self.pulses.iter();
        let all = pulses.flat_map(|&count| (0..count).map(move |index| (index, count)));
        Column::whole(all.map(|(index, count)| value(index, count)).collect())
    }

    /// One column for each digit of so many pulses.
    fn of_each_with(&self, least: usize, value: impl Fn(usize) -> f64) -> Vec<Column> {
        let mut first = 0;
        let mut columns = Vec::with_capacity(self.pulses.len());
        for &count in &self.pulses {
            if count >= least {
                let values = (0..count).map(&value).collect();
                columns.push(Column { first, values });
            }
            first += count;
        }
        columns
    }

    /// One column for each digit.
    fn of_each(&self, value: impl Fn(usize) -> f64) -> Vec<Column> {
        self.of_each_with(0, value)
    }

    /// Places of an even digit: a start and a speed of its own; of breaks: a length and a trend.
    fn even_course(&self) -> Vec<Column> {
        let starts = self.of_each(|_| 1.0);
        let speeds = self.of_each(|index| index as f64);
        starts.into_iter().chain(speeds).collect()
    }

    fn squares(&self) -> Vec<Column> {
        self.of_each(|index| (index * index) as f64)
    }

    /// Takes out patterns while there is one; gives them and what is left.
    fn search(
        &self,
        observations: Vec<f64>,
        noise_percent: f64,
        breaks: bool,
    ) -> (Vec<Departure>, Regression) {
        let mut left = Regression::new(observations);
        left.take_out(&self.even_course());
        let candidates = if breaks {
            self.break_candidates()
        } else {
            self.opening_candidates()
        };
        let mut found = Vec::new();
        while found.len() < MOST_PATTERNS {
            let tried = candidates
                .iter()
                .map(|candidate| (self.chance(&left, candidate, noise_percent), candidate));
            let Some((chance, best)) = tried
                .filter(|(chance, _)| *chance < CHANCE)
                .min_by(|one, other| one.0.total_cmp(&other.0))
            else {
                break;
            };
            let pattern = self.sized(&left, best);
            left.take_out(&best.columns);
            if pattern.size() < pattern.notable() {
                break;
            }
            found.push(Departure {
                pattern,
                chance,
                digits: self.showing(pattern),
            });
        }
        (found, left)
    }

    /// How likely chance is to make any of the patterns like this one as large: the tail of F, times the tries.
    fn chance(&self, left: &Regression, candidate: &Candidate, noise_percent: f64) -> f64 {
        let gain = left.gain(&candidate.columns);
        let degrees = left.degrees().saturating_sub(gain.columns);
        if gain.columns == 0 || degrees < LEAST_DEGREES {
            return 1.0;
        }
        let scatter = (left.squares() - gain.squares).max(0.0) / degrees as f64;
        let scatter = scatter
            .max(noise_percent.powi(2))
            .max(LEAST_SCATTER.powi(2));
        let ratio = gain.squares / gain.columns as f64 / scatter;
        f_tail(ratio, gain.columns, degrees) * candidate.tries as f64
    }

    /// The pattern with its size.
    fn sized(&self, left: &Regression, candidate: &Candidate) -> Pattern {
        let first = || {
            let column = candidate.columns.first();
            column
                .and_then(|column| left.coefficient(column))
                .map_or(0.0, |(value, _)| value)
        };
        match candidate.pattern {
            Pattern::Drift { .. } => Pattern::Drift {
                percent: self.drift(left),
            },
            // An early start of the first pulse is a long first period.
            Pattern::FirstPeriod { .. } => Pattern::FirstPeriod { percent: -first() },
            Pattern::TwoPulse { breaks, .. } => Pattern::TwoPulse {
                percent: mean_size(left, &candidate.columns),
                breaks,
            },
            Pattern::Tooth {
                from_last, breaks, ..
            } => Pattern::Tooth {
                from_last,
                percent: first(),
                breaks,
            },
            Pattern::Ripple { pulses, .. } => Pattern::Ripple {
                percent: self.swing(left, candidate),
                pulses,
            },
        }
    }

    /// Growth of the period over a digit: with places c i², each period grows by 2 c, over N − 2 steps. The mean
    /// over the digits, each by the weight that its length gives it.
    fn drift(&self, left: &Regression) -> f64 {
        let columns = self.squares();
        let parts = columns
            .iter()
            .zip(&self.pulses)
            .filter_map(|(column, &count)| {
                let (value, length) = left.coefficient(column)?;
                let steps = (count - 2) as f64;
                let weight = (length / steps).powi(2);
                Some((weight * 2.0 * value * steps, weight))
            });
        let (sum, weights) =
            parts.fold((0.0, 0.0), |(s, w), (part, weight)| (s + part, w + weight));
        if weights > 0.0 { sum / weights } else { 0.0 }
    }

    /// Root mean square over the digits that can hold it of the amplitude that cosine and sine have together. Two columns that are
    /// nearly alike (a swing of nearly two pulses) share what they explain, so the sum of squares is taken: a swing
    /// of amplitude a over n pulses holds n a² / 2.
    fn swing(&self, left: &Regression, candidate: &Candidate) -> f64 {
        let pulses: usize = self
            .pulses
            .iter()
            .filter(|count| **count >= RIPPLE_PULSES)
            .sum();
        (2.0 * left.gain(&candidate.columns).squares / pulses.max(1) as f64).sqrt()
    }

    /// Digits that can show a pattern.
    fn showing(&self, pattern: Pattern) -> usize {
        let can = |count: &&usize| match pattern {
            Pattern::Tooth {
                from_last, breaks, ..
            } => from_last + usize::from(!breaks) < **count,
            Pattern::Ripple { .. } => **count >= SWING_PULSES,
            _ => true,
        };
        self.pulses.iter().filter(can).count()
    }

    fn opening_candidates(&self) -> Vec<Candidate> {
        let mut candidates = vec![
            Candidate {
                pattern: Pattern::Drift { percent: 0.0 },
                columns: self.squares(),
                tries: 1,
            },
            self.first(),
            self.alternating(false),
        ];
        candidates.extend(self.teeth(false));
        candidates.extend(self.ripples());
        candidates
    }

    fn break_candidates(&self) -> Vec<Candidate> {
        [self.alternating(true), self.first()]
            .into_iter()
            .chain(self.teeth(true))
            .collect()
    }

    /// The first pulse of every digit.
    fn first(&self) -> Candidate {
        Candidate {
            pattern: Pattern::FirstPeriod { percent: 0.0 },
            columns: vec![self.over_all(|index, _| if index == 0 { 1.0 } else { 0.0 })],
            tries: 1,
        }
    }

    /// Half to one side, half to the other, turn about. Each digit has a size of its own: where a digit of an odd number
    /// of pulses begins, the cam need not.
    fn alternating(&self, breaks: bool) -> Candidate {
        Candidate {
            pattern: Pattern::TwoPulse {
                percent: 0.0,
                breaks,
            },
            columns: self.of_each(|index| if index % 2 == 0 { 0.5 } else { -0.5 }),
            tries: 1,
        }
    }

    /// One tooth each. The opening of a digit's first pulse is left out: to move it is to lengthen the first period.
    fn teeth(&self, breaks: bool) -> Vec<Candidate> {
        let longest = self.pulses.iter().copied().max().unwrap_or(0);
        let tries = longest;
        (0..longest)
            .map(|from_last| Candidate {
                pattern: Pattern::Tooth {
                    from_last,
                    percent: 0.0,
                    breaks,
                },
                columns: vec![self.over_all(|index, count| {
                    let is_it = index + 1 + from_last == count && (breaks || index > 0);
                    if is_it { 1.0 } else { 0.0 }
                })],
                tries,
            })
            .collect()
    }

    /// Swings of 2.3 to 6 pulses: shorter ones look like the two-pulse pattern, longer ones like a trend. Each digit has a
    /// phase of its own. Of neighbouring lengths some five are independent in ten pulses.
    fn ripples(&self) -> Vec<Candidate> {
        const INDEPENDENT: usize = 5;
        let (slowest, fastest) = (1.0 / 6.0, 1.0 / 2.3);
        if self.pulses.iter().all(|count| *count < RIPPLE_PULSES) {
            return Vec::new();
        }
        let wave = |swings: f64, turn: f64| {
            self.of_each_with(SWING_PULSES, |index| {
                (std::f64::consts::TAU * (index as f64 * swings + turn)).cos()
            })
        };
        let steps = ((fastest - slowest) / SWING_STEP) as usize;
        (0..=steps)
            .map(|step| slowest + SWING_STEP * step as f64)
            .map(|swings| Candidate {
                pattern: Pattern::Ripple {
                    percent: 0.0,
                    pulses: 1.0 / swings,
                },
                columns: wave(swings, 0.0)
                    .into_iter()
                    .chain(wave(swings, 0.25))
                    .collect(),
                tries: INDEPENDENT,
            })
            .collect()
    }
}

/// Root mean square of the columns' coefficients.
fn mean_size(left: &Regression, columns: &[Column]) -> f64 {
    let sizes: Vec<f64> = columns
        .iter()
        .filter_map(|column| Some(left.coefficient(column)?.0))
        .collect();
    (sizes.iter().map(|size| size * size).sum::<f64>() / sizes.len().max(1) as f64).sqrt()
}
