//! Measures the values of one digit, each with its uncertainty.
//!
//! Written throughout: sᵢ start and eᵢ end of break i, i = 1…N; D = s_N − s_1; B the sum of the first
//! N − 1 breaks. The last make merges into the pause, so it is in none of them.

use edges::Train;

use crate::grouping::{Break, Contact, Group, break_s, make_s};
use crate::types::{Pulse, Summary, Value};
use crate::uncertainty::Sensitivities;

const MS_PER_S: f64 = 1000.0;

/// One digit's breaks with the variances of their edges.
#[derive(Clone, Copy)]
pub(crate) struct Measurer<'trace> {
    pub(crate) trains: &'trace [Train],
    pub(crate) breaks: &'trace [Break],
}

/// Sum of the first N − 1 breaks, and start of the last break minus start of the first, both in seconds.
struct Sums {
    breaks_s: f64,
    span_s: f64,
}

impl<'trace> Measurer<'trace> {
    pub(crate) fn new(trains: &'trace [Train], group: &'trace Group) -> Self {
        Measurer {
            trains,
            breaks: &group.breaks,
        }
    }

    fn sensitivities(&self) -> Sensitivities<'trace> {
        Sensitivities::new(self.trains)
    }

    /// First and last opening; `None` for a single pulse.
    fn ends(&self) -> Option<(&'trace Contact, &'trace Contact)> {
        match self.breaks {
            [first, .., last] if last.open.instant_s > first.open.instant_s => {
                Some((&first.open, &last.open))
            }
            _ => None,
        }
    }

    fn periods(&self) -> f64 {
        (self.breaks.len() - 1) as f64
    }

    fn sums(&self, instant_s: fn(&Contact) -> f64) -> Option<Sums> {
        let (first, last) = self.ends()?;
        let breaks_s = self
            .complete()
            .iter()
            .map(|pulse| instant_s(&pulse.close) - instant_s(&pulse.open))
            .sum();
        Some(Sums {
            breaks_s,
            span_s: instant_s(last) - instant_s(first),
        })
    }

    /// The first N − 1 breaks: those whose make ends within the digit.
    fn complete(&self) -> &'trace [Break] {
        &self.breaks[..self.breaks.len() - 1]
    }

    /// f = (N − 1) / D; ∂f/∂s_N = −f/D, ∂f/∂s_1 = +f/D.
    pub(crate) fn speed_pps(&self) -> Option<Value> {
        let (first, last) = self.ends()?;
        let span_s = last.instant_s - first.instant_s;
        let speed = self.periods() / span_s;
        let mut sensitivities = self.sensitivities();
        sensitivities.add(last, -speed / span_s);
        sensitivities.add(first, speed / span_s);
        Some(Value {
            value: speed,
            u95: sensitivities.u95(),
        })
    }

    /// T = D / (N − 1); ∂T/∂s_N = 1 / (N − 1), ∂T/∂s_1 = −1 / (N − 1).
    pub(crate) fn period_ms(&self) -> Option<Value> {
        let (first, last) = self.ends()?;
        let scale = MS_PER_S / self.periods();
        let mut sensitivities = self.sensitivities();
        sensitivities.add(last, scale);
        sensitivities.add(first, -scale);
        Some(Value {
            value: scale * (last.instant_s - first.instant_s),
            u95: sensitivities.u95(),
        })
    }

    /// P = 100 B / D at the contacts' own instants.
    pub(crate) fn percent_break(&self) -> Option<Value> {
        self.share(|contact| contact.instant_s)
    }

    /// P at the half-step instants; `None` on sharp edges, where it is the same figure.
    pub(crate) fn percent_break_half_step(&self) -> Option<Value> {
        // Far below any timing that a recording allows: such a difference is arithmetic, not physics.
        const SAME_S: f64 = 1e-7;
        let differs = |contact: &Contact| (contact.half_step_s - contact.instant_s).abs() > SAME_S;
        let sharp = !self
            .breaks
            .iter()
            .any(|pulse| differs(&pulse.open) || differs(&pulse.close));
        if sharp {
            None
        } else {
            self.share(|contact| contact.half_step_s)
        }
    }

    /// P = 100 B / D. ∂P/∂B = 100/D and ∂P/∂D = −P/D; every eᵢ (i < N) enters B with +1, every sᵢ with −1,
    /// and s_N and s_1 enter D with +1 and −1, so s_1 carries both parts.
    fn share(&self, instant_s: fn(&Contact) -> f64) -> Option<Value> {
        let Sums { breaks_s, span_s } = self.sums(instant_s)?;
        let percent = 100.0 * breaks_s / span_s;
        let u95 = self.u95_of_sums(100.0 / span_s, -percent / span_s)?;
        Some(Value {
            value: percent,
            u95,
        })
    }

    /// r = B / (D − B). With M = D − B: ∂r/∂B = 1/M + B/M² = D/M², ∂r/∂D = −B/M².
    pub(crate) fn break_make_ratio(&self) -> Option<Value> {
        let Sums { breaks_s, span_s } = self.sums(|contact| contact.instant_s)?;
        let makes_s = span_s - breaks_s;
        let squared = makes_s * makes_s;
        let u95 = self.u95_of_sums(span_s / squared, -breaks_s / squared)?;
        Some(Value {
            value: breaks_s / makes_s,
            u95,
        })
    }

    /// Uncertainty of a value whose derivatives to B and to D are given.
    fn u95_of_sums(&self, to_breaks: f64, to_span: f64) -> Option<f64> {
        let (first, last) = self.ends()?;
        let mut sensitivities = self.sensitivities();
        for pulse in self.complete() {
            sensitivities.add(&pulse.close, to_breaks);
            sensitivities.add(&pulse.open, -to_breaks);
        }
        sensitivities.add(last, to_span);
        sensitivities.add(first, -to_span);
        Some(sensitivities.u95())
    }

    /// All breaks of the digit.
    pub(crate) fn break_summary_ms(&self) -> Summary {
        let lengths: Vec<f64> = self
            .breaks
            .iter()
            .map(|pulse| MS_PER_S * break_s(pulse))
            .collect();
        let spans = self.breaks.iter().map(|pulse| (&pulse.open, &pulse.close));
        summary(&lengths, self.mean_u95_ms(spans))
    }

    /// The first N − 1 makes of the digit.
    pub(crate) fn make_summary_ms(&self) -> Option<Summary> {
        self.ends()?;
        let lengths: Vec<f64> = self
            .breaks
            .windows(2)
            .map(|pair| MS_PER_S * make_s(&pair[0], &pair[1]))
            .collect();
        let spans = self
            .breaks
            .windows(2)
            .map(|pair| (&pair[0].close, &pair[1].open));
        Some(summary(&lengths, self.mean_u95_ms(spans)))
    }

    /// Uncertainty of the mean of some spans, in milliseconds.
    fn mean_u95_ms(
        &self,
        spans: impl ExactSizeIterator<Item = (&'trace Contact, &'trace Contact)>,
    ) -> f64 {
        let weight = MS_PER_S / spans.len() as f64;
        let mut sensitivities = self.sensitivities();
        for (from, to) in spans {
            sensitivities.add(to, weight);
            sensitivities.add(from, -weight);
        }
        sensitivities.u95()
    }

    /// Every pulse by itself.
    pub(crate) fn pulses(&self) -> Vec<Pulse> {
        (0..self.breaks.len())
            .map(|index| self.pulse(index))
            .collect()
    }

    fn pulse(&self, index: usize) -> Pulse {
        let pulse = &self.breaks[index];
        let broken = span_ms(self.trains, &pulse.open, &pulse.close);
        let make = self
            .breaks
            .get(index + 1)
            .map(|next| span_ms(self.trains, &pulse.close, &next.open));
        Pulse {
            break_start_s: pulse.open.instant_s,
            make_start_s: pulse.close.instant_s,
            break_ms: broken.value,
            break_u95_ms: broken.u95,
            make_ms: make.map(|make| make.value),
            make_u95_ms: make.map(|make| make.u95),
            percent_break: make.map(|make| 100.0 * broken.value / (broken.value + make.value)),
            chatter_ms: pulse.chatter.total_ms,
            chatter_longest_ms: pulse.chatter.longest_ms,
        }
    }
}

/// Time from one edge to another, in milliseconds.
pub(crate) fn span_ms(trains: &[Train], from: &Contact, to: &Contact) -> Value {
    let mut sensitivities = Sensitivities::new(trains);
    sensitivities.add(to, MS_PER_S);
    sensitivities.add(from, -MS_PER_S);
    Value {
        value: MS_PER_S * (to.instant_s - from.instant_s),
        u95: sensitivities.u95(),
    }
}

fn summary(lengths_ms: &[f64], u95: f64) -> Summary {
    let mean = lengths_ms.iter().sum::<f64>() / lengths_ms.len() as f64;
    Summary {
        mean: Value { value: mean, u95 },
        min: lengths_ms.iter().copied().fold(f64::INFINITY, f64::min),
        max: lengths_ms.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    }
}
