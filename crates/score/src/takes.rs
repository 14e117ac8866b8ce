//! Several takes of one dial: mean and spread beside what each recording allows. The spread is often the larger,
//! and then it decides.

use crate::apart;
use crate::evenness::student_95;
use crate::judge;
use crate::limits::PercentLimit;
use crate::settings::Settings;
use crate::types::{Check, Digit, Value};

/// Fewest pulses of a digit that counts as a take.
const LEAST_PULSES: usize = 4;

/// One quantity over all takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// `speed_pps` or `percent_break`; `period_ms` and `break_make_ratio` where the chosen set limits those.
    pub quantity: &'static str,
    /// Mean of the takes.
    pub mean: f64,
    /// Uncertainty (95 %) of the mean by what the recordings allow: √(Σ u95²) / n.
    pub recordings_u95: f64,
    /// Standard deviation of the takes.
    pub spread: f64,
    /// Uncertainty (95 %) of the mean by the spread: Student's t times spread over √n (JCGM 100:2008 4.2.3, G.3).
    pub spread_u95: f64,
    /// Uncertainty (95 %) by what no recording shows of itself, alike in all takes: [`crate::apart`].
    pub apart_u95: f64,
    /// Smallest and largest take.
    pub range: (f64, f64),
    /// The mean against the chosen limits, with the larger of the two uncertainties.
    pub check: Option<Check>,
}

impl Taken {
    /// The larger of the two uncertainties of the mean.
    #[must_use]
    pub fn u95(&self) -> f64 {
        self.recordings_u95.max(self.spread_u95)
    }

    /// The larger of the two uncertainties of the mean, with what is kept apart joined: what people read behind the ±.
    #[must_use]
    pub fn u95_as_read(&self) -> f64 {
        self.u95().hypot(self.apart_u95)
    }

    /// True when the dial differs more from take to take than the recordings leave uncertain.
    #[must_use]
    pub fn spread_decides(&self) -> bool {
        self.spread_u95 > self.recordings_u95
    }
}

/// Takes of one digit of one dial.
#[derive(Clone, Debug, PartialEq)]
pub struct Takes {
    /// Pulses of each take: only digits of the same number are alike enough to compare.
    pub pulses: usize,
    /// Number of takes.
    pub count: usize,
    /// What was taken of them: speed, percent break, and what else the chosen set limits the mean of.
    pub quantities: Vec<Taken>,
}

impl Takes {
    /// Time for ten pulses, in seconds, by the mean speed: how benches have long stated a dial's speed. One pulse a
    /// second (pps) is one impulse a second (ips).
    #[must_use]
    pub fn ten_pulses_s(&self) -> Option<f64> {
        let speed = self
            .quantities
            .iter()
            .find(|taken| taken.quantity == "speed_pps")?;
        Some(10.0 / speed.mean)
    }
}

/// Gathers takes from the digits of one dial: of all sure digits those of the number of pulses that was dialled most
/// often, of several such numbers the largest. `None` when no digit was dialled twice.
#[must_use]
pub fn takes<'a>(
    digits: impl IntoIterator<Item = &'a Digit>,
    settings: &Settings,
) -> Option<Takes> {
    let sure: Vec<&Digit> = digits
        .into_iter()
        .filter(|digit| digit.sure && digit.pulses >= LEAST_PULSES)
        .collect();
    let of = |pulses: usize| sure.iter().filter(move |digit| digit.pulses == pulses);
    let pulses = sure
        .iter()
        .map(|digit| digit.pulses)
        .max_by_key(|pulses| (of(*pulses).count(), *pulses))?;
    let count = of(pulses).count();
    if count < 2 {
        return None;
    }
    let values = |value: fn(&Digit) -> Option<Value>| -> Vec<Value> {
        of(pulses).filter_map(|digit| value(digit)).collect()
    };
    let set = settings.limits.as_ref();
    type Of = fn(&Digit) -> Option<Value>;
    let quantities: [(&'static str, Of, bool); 4] = [
        ("speed_pps", |digit| digit.speed_pps, true),
        ("percent_break", |digit| digit.percent_break, true),
        (
            "period_ms",
            |digit| digit.period_ms,
            set.is_some_and(|set| set.period_ms.is_some()),
        ),
        (
            "break_make_ratio",
            |digit| digit.break_make_ratio,
            set.is_some_and(|set| set.break_make_ratio.is_some()),
        ),
    ];
    let wanted = quantities.into_iter().filter(|(_, _, wanted)| *wanted);
    let periods = values(|digit| digit.period_ms);
    let period_ms = periods.iter().map(|period| period.value).sum::<f64>() / count as f64;
    let apart = |quantity: &str, mean: f64| apart::u95(quantity, mean, Some(period_ms), settings);
    Some(Takes {
        pulses,
        count,
        quantities: wanted
            .filter_map(|(quantity, of, _)| taken(quantity, &values(of), apart, settings))
            .collect(),
    })
}

fn taken(
    quantity: &'static str,
    values: &[Value],
    apart: impl Fn(&str, f64) -> f64,
    settings: &Settings,
) -> Option<Taken> {
    let plain: Vec<f64> = values.iter().map(|value| value.value).collect();
    let spread_u95 = mean_u95(&plain)?;
    let count = values.len() as f64;
    let mean = plain.iter().sum::<f64>() / count;
    let squares = values.iter().map(|value| value.u95.powi(2)).sum::<f64>();
    let mut taken = Taken {
        quantity,
        mean,
        recordings_u95: squares.sqrt() / count,
        spread: spread_u95 * count.sqrt() / student_95(count - 1.0),
        spread_u95,
        apart_u95: apart(quantity, mean),
        range: (
            plain.iter().copied().fold(f64::INFINITY, f64::min),
            plain.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        ),
        check: None,
    };
    taken.check = check(&taken, settings);
    Some(taken)
}

/// The mean against the chosen set; `None` where it limits no such quantity or is for information only.
fn check(taken: &Taken, settings: &Settings) -> Option<Check> {
    let set = settings.limits.as_ref().filter(|set| set.grade.judges())?;
    let range = match taken.quantity {
        "speed_pps" => set.pps.clone(),
        "period_ms" => set.period_ms.clone(),
        "break_make_ratio" => set.break_make_ratio.clone(),
        _ => set.percent.as_ref().map(PercentLimit::percent_break),
    }?;
    let value = Value {
        value: taken.mean,
        u95: taken.u95(),
    };
    Some(judge::compare(
        taken.quantity,
        value,
        &range,
        taken.apart_u95,
        set,
    ))
}

/// Uncertainty (95 %) of the mean of some values by their spread; `None` of fewer than two.
pub(crate) fn mean_u95(values: &[f64]) -> Option<f64> {
    let count = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let deviation = (squares / (count - 1.0)).sqrt();
    Some(student_95(count - 1.0) * deviation / count.sqrt())
}
