//! What really happened, with the measures of a digit by their definitions.

use serde::{Deserialize, Serialize};

use crate::scenario::{Coupling, Line, Scenario, Unevenness};

/// The truth of one recording. Instants are in seconds of true time from the first sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Digits in the order dialled.
    pub digits: Vec<DigitTruth>,
    /// Openings of the line that are no dialling, `[start, end]` in seconds.
    pub other_openings_s: Vec<[f64; 2]>,
    /// Channel that carries the dialling, counted from 1.
    pub channel: usize,
    /// Which way the recorded signal moves when the loop opens.
    pub polarity: Polarity,
    /// Size of the dial's step in the recording, as a fraction of full scale.
    pub step: f64,
    /// Nominal sample rate, in hertz.
    pub sample_rate_hz: f64,
    /// Error of the recorder's clock, in parts per million; an instant by the recording's own sample count
    /// is the true instant times (1 + clock_ppm / 10^6).
    pub clock_ppm: f64,
    /// Length, in seconds.
    pub duration_s: f64,
    /// What impairs the recording, in the trade's words.
    pub impairments: Vec<String>,
}

/// Which way the recorded signal moves when the loop opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Polarity {
    /// Down.
    Normal,
    /// Up.
    Inverted,
}

/// A stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Start, in seconds.
    pub start_s: f64,
    /// End, in seconds.
    pub end_s: f64,
}

/// One digit as the line saw it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DigitTruth {
    /// The digit that the count says, `None` above ten pulses.
    pub digit: Option<u8>,
    /// Pulses, as opened.
    pub pulses: usize,
    /// Pulses that a good dial would have sent.
    pub pulses_meant: usize,
    /// The pulses' breaks in time order.
    pub breaks: Vec<BreakTruth>,
    /// Pulsing speed, in pulses per second: (N - 1) / (start of last break - start of first).
    pub speed_pps: Option<f64>,
    /// Percent break: 100 x sum of the first N - 1 breaks / (start of last break - start of first).
    pub percent_break: Option<f64>,
    /// Slow-down: 100 x slope x (N - 2) / mean period, of a straight line through the N - 1 periods.
    pub slow_down_percent: Option<f64>,
    /// Unevenness: 100 x sqrt(SSR / (N - 3)) / mean period, SSR about that line.
    pub unevenness_percent: Option<f64>,
    /// End of the digit before's last break to the start of this digit's first, in seconds.
    pub pause_before_s: Option<f64>,
    /// Off-normal contacts operate: winding starts, in seconds.
    pub winding_start_s: Option<f64>,
    /// Off-normal contacts restore, in seconds.
    pub off_normal_restored_s: Option<f64>,
    /// Breaks (counted from 0) after which a pulse is missing.
    pub missing_after: Vec<usize>,
}

/// One break.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct BreakTruth {
    /// First opening, in seconds.
    pub break_start_s: f64,
    /// First closure that ends the break, in seconds.
    pub make_start_s: f64,
    /// Reopenings after it.
    pub chatter: Vec<Interval>,
    /// Short closures just after the opening.
    pub opening_bounce: Vec<Interval>,
    /// Short closure that splits the break.
    pub split: Option<Interval>,
    /// Opening in the make after it, too late for chatter and too soon for a pulse.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reopening: Option<Interval>,
}

impl BreakTruth {
    /// Length of the break, in seconds.
    pub fn break_s(&self) -> f64 {
        self.make_start_s - self.break_start_s
    }

    /// First to last closure, in seconds; zero without chatter.
    pub fn chatter_s(&self) -> f64 {
        self.chatter
            .last()
            .map_or(0.0, |last| last.end_s - self.make_start_s)
    }

    /// Last closure before the next break, in seconds.
    pub(crate) fn last_closure_s(&self) -> f64 {
        self.reopening
            .map_or(self.make_start_s + self.chatter_s(), |late| late.end_s)
    }
}

impl DigitTruth {
    /// Measures a digit from its breaks.
    pub(crate) fn measured(breaks: Vec<BreakTruth>, pulses_meant: usize) -> Self {
        let pulses = breaks.len();
        let mut digit = Self {
            digit: digit_of(pulses),
            pulses,
            pulses_meant,
            ..Self::default()
        };
        if let [first, .., last] = breaks.as_slice() {
            let span = last.break_start_s - first.break_start_s;
            let broken: f64 = breaks[..pulses - 1].iter().map(BreakTruth::break_s).sum();
            digit.speed_pps = Some((pulses - 1) as f64 / span);
            digit.percent_break = Some(100.0 * broken / span);
        }
        let periods: Vec<f64> = breaks
            .windows(2)
            .map(|w| w[1].break_start_s - w[0].break_start_s)
            .collect();
        if let Some((slow_down, unevenness)) = trend(&periods) {
            digit.slow_down_percent = Some(slow_down);
            digit.unevenness_percent = Some(unevenness);
        }
        digit.breaks = breaks;
        digit
    }

    /// Instant of the last first-closure, in seconds.
    pub(crate) fn last_make_s(&self) -> f64 {
        self.breaks.last().map_or(0.0, |b| b.make_start_s)
    }
}

fn digit_of(pulses: usize) -> Option<u8> {
    match pulses {
        1..=9 => Some(pulses as u8),
        10 => Some(0),
        _ => None,
    }
}

/// Slow-down and unevenness in percent of the mean period, from the three or more periods of a train.
fn trend(periods: &[f64]) -> Option<(f64, f64)> {
    let count = periods.len();
    if count < 3 {
        return None;
    }
    let mean = periods.iter().sum::<f64>() / count as f64;
    let centre = (count - 1) as f64 / 2.0;
    let spread: f64 = (0..count).map(|i| (i as f64 - centre).powi(2)).sum();
    let slope = periods
        .iter()
        .enumerate()
        .map(|(i, p)| (i as f64 - centre) * (p - mean))
        .sum::<f64>()
        / spread;
    let residual = |(i, p): (usize, &f64)| (p - mean - slope * (i as f64 - centre)).powi(2);
    let squares: f64 = periods.iter().enumerate().map(residual).sum();
    let slow_down = 100.0 * slope * (count - 1) as f64 / mean;
    Some((
        slow_down,
        100.0 * (squares / (count - 2) as f64).sqrt() / mean,
    ))
}

/// What impairs a recording, one short phrase each.
pub(crate) fn impairments(scenario: &Scenario) -> Vec<String> {
    let recorder = &scenario.recorder;
    let hum = recorder.hum.as_ref().map(|h| {
        let root = h.amplitudes.iter().map(|a| a * a).sum::<f64>().sqrt();
        format!(
            "hum {:.2} Hz, {:.0} % of the step",
            h.mains_hz,
            100.0 * root
        )
    });
    let other_channel =
        (recorder.channels > 1).then(|| format!("dialling on channel {}", recorder.wanted_channel));
    [
        coupling(&scenario.probe.coupling),
        matches!(scenario.line, Line::Loop(_)).then(|| "solved loop".into()),
        recorder
            .noise_db
            .map(|db| format!("white noise {db:.0} dB")),
        hum,
        (recorder.wander > 0.0)
            .then(|| format!("wander {:.0} % of the step", 100.0 * recorder.wander)),
        recorder
            .clipping
            .map(|c| format!("clipping at {:.0} % of the step", 100.0 * c.at)),
        scenario
            .dial
            .chatter
            .map(|c| format!("chatter up to {:.1} ms", 1000.0 * c.total_s)),
        scenario
            .dial
            .off_normal
            .map(|o| format!("off-normal step {:.0} %", 100.0 * o.level_change)),
        scenario.dial.missing_pulse.map(|_| "missing pulse".into()),
        scenario.dial.extra_pulse.then(|| "extra pulse".into()),
        scenario.dial.split_break.map(|_| "split break".into()),
        scenario.dial.cut_short.map(|_| "a digit cut short".into()),
        scenario
            .dial
            .late_reopening
            .map(|_| "late reopening".into()),
        (scenario.dial.unevenness != Unevenness::Even).then(|| "uneven pulses".into()),
        (!scenario.sounds.is_empty()).then(|| "other sounds".into()),
        other_channel,
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn coupling(coupling: &Coupling) -> Option<String> {
    match coupling {
        Coupling::Direct => None,
        Coupling::Capacitor { corner_hz } => Some(format!("coupling corner {corner_hz:.1} Hz")),
        Coupling::Transformer { corner_hz, .. } => Some(format!("transformer {corner_hz:.0} Hz")),
        Coupling::TwoCorners {
            first_hz,
            second_hz,
        } => Some(format!(
            "transformer and capacitor {first_hz:.0} Hz and {second_hz:.0} Hz"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn digit(starts_and_ends_ms: &[[f64; 2]]) -> DigitTruth {
        let breaks = starts_and_ends_ms
            .iter()
            .map(|[start, end]| BreakTruth {
                break_start_s: start / 1000.0,
                make_start_s: end / 1000.0,
                ..BreakTruth::default()
            })
            .collect::<Vec<_>>();
        DigitTruth::measured(breaks, starts_and_ends_ms.len())
    }

    #[test]
    fn measures_of_four_pulses_by_hand() {
        // Periods 100, 100, 130 ms: mean 110; breaks counted 60, 62, 66; the last break is left out.
        let d = digit(&[[0.0, 60.0], [100.0, 162.0], [200.0, 266.0], [330.0, 400.0]]);
        assert_eq!((d.digit, d.pulses), (Some(4), 4));
        assert_relative_eq!(d.speed_pps.unwrap(), 3.0 / 0.330, max_relative = 1e-12);
        assert_relative_eq!(
            d.percent_break.unwrap(),
            100.0 * 188.0 / 330.0,
            max_relative = 1e-12
        );
        // Slope 15 ms a pulse, over two steps: 30 ms of 110. Residuals 5, -10, 5: SSR 150, one degree left.
        assert_relative_eq!(
            d.slow_down_percent.unwrap(),
            100.0 * 30.0 / 110.0,
            max_relative = 1e-9
        );
        assert_relative_eq!(
            d.unevenness_percent.unwrap(),
            100.0 * 150f64.sqrt() / 110.0,
            max_relative = 1e-9
        );
    }

    #[test]
    fn one_pulse_has_no_speed_and_three_have_no_trend() {
        let one = digit(&[[0.0, 60.0]]);
        assert_eq!(
            (one.speed_pps, one.percent_break, one.digit),
            (None, None, Some(1))
        );
        let three = digit(&[[0.0, 60.0], [100.0, 160.0], [200.0, 260.0]]);
        assert_relative_eq!(three.speed_pps.unwrap(), 10.0, max_relative = 1e-12);
        assert_eq!(three.slow_down_percent, None);
    }

    #[test]
    fn ten_pulses_are_the_digit_zero_and_eleven_none() {
        let train = |n: usize| {
            let breaks: Vec<_> = (0..n)
                .map(|i| [100.0 * i as f64, 100.0 * i as f64 + 60.0])
                .collect();
            digit(&breaks).digit
        };
        assert_eq!((train(10), train(11)), (Some(0), None));
    }
}
