//! What the crate hands on: measured values, judged checks, findings. Reports stand on these types, so
//! they grow but never change meaning.

use std::collections::BTreeMap;

use edges::{Hum, Polarity};

use crate::limits::Grade;
use crate::plan::Plan;
use crate::receivers::Answer;
use crate::takes::Takes;

/// A measured value with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// The value, in the unit its field's name carries.
    pub value: f64,
    /// Half-width of the 95 % interval that the recording itself allows, in the unit of the value:
    /// expanded uncertainty with coverage factor [`crate::COVERAGE_FACTOR`], after JCGM 100:2008. The
    /// tolerance of the recorder's clock is not in it; it joins in [`Check::guard_band`].
    pub u95: f64,
}

/// Mean, smallest and largest of one duration within a digit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// Mean, in milliseconds.
    pub mean: Value,
    /// Smallest, in milliseconds.
    pub min: f64,
    /// Largest, in milliseconds.
    pub max: f64,
}

/// The five words a comparison with a limit can give, after ILAC-G8:09/2019 clause 4.2.3.
///
/// With tolerance limit T and guard band w: [`Pass`](Verdict::Pass) inside by at least w,
/// [`ConditionalPass`](Verdict::ConditionalPass) inside by less, [`ConditionalFail`](Verdict::ConditionalFail)
/// outside by at most w, [`Fail`](Verdict::Fail) outside by more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Inside the limit by at least the guard band.
    Pass,
    /// Inside the limit, but nearer to it than the guard band.
    ConditionalPass,
    /// Outside the limit, but nearer to it than the guard band.
    ConditionalFail,
    /// Outside the limit by more than the guard band, or a wrong count.
    Fail,
    /// Nothing was judged, or the recording does not allow it.
    NotJudged,
}

impl Verdict {
    /// The word as the standard writes it.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::ConditionalPass => "conditional pass",
            Verdict::ConditionalFail => "conditional fail",
            Verdict::Fail => "fail",
            Verdict::NotJudged => "not judged",
        }
    }
}

/// One pulse: a break and the make after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// Instant of the first opening, in seconds from the first sample.
    pub break_start_s: f64,
    /// Instant of the first closure after it, in seconds from the first sample.
    pub make_start_s: f64,
    /// Length of the break, in milliseconds.
    pub break_ms: f64,
    /// Uncertainty (95 %) of [`Pulse::break_ms`], in milliseconds.
    pub break_u95_ms: f64,
    /// Length of the make, in milliseconds; `None` for the last pulse of a digit, whose make merges into
    /// the pause.
    pub make_ms: Option<f64>,
    /// Uncertainty (95 %) of [`Pulse::make_ms`], in milliseconds.
    pub make_u95_ms: Option<f64>,
    /// 100 × break / (break + make); `None` for the last pulse of a digit.
    pub percent_break: Option<f64>,
    /// First to last closure of the make's chatter, in milliseconds; 0 when no reopening longer than the
    /// detection floor was seen.
    pub chatter_ms: f64,
    /// Longest reopening within the chatter, in milliseconds; 0 when none was seen.
    pub chatter_longest_ms: f64,
}

/// One digit: what was sent, how it was sent, and what is said about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Digit {
    /// The digit by the chosen plan; `None` when the plan has no digit of so many pulses.
    pub digit: Option<String>,
    /// Number of pulses (breaks) counted.
    pub pulses: usize,
    /// Start of the first break, in seconds from the first sample.
    pub start_s: f64,
    /// End of the last break, in seconds from the first sample.
    pub end_s: f64,
    /// Pulsing speed in pulses per second: (N − 1) / (start of last break − start of first).
    pub speed_pps: Option<Value>,
    /// Mean period in milliseconds: (start of last break − start of first) / (N − 1).
    pub period_ms: Option<Value>,
    /// 100 × sum of the first N − 1 breaks / (start of last break − start of first).
    pub percent_break: Option<Value>,
    /// The same taken at the half-step instants, as a relay would see it; `None` on sharp edges, where it
    /// is the same figure.
    pub percent_break_half_step: Option<Value>,
    /// Sum of the first N − 1 breaks over sum of the first N − 1 makes.
    pub break_make_ratio: Option<Value>,
    /// All breaks, in milliseconds.
    pub break_ms: Summary,
    /// The first N − 1 makes, in milliseconds.
    pub make_ms: Option<Summary>,
    /// Growth of the period from the first to the last of the digit, in percent of the mean period, by a
    /// straight line through the periods; positive when the dial slows. Needs N ≥ 4.
    pub slow_down_percent: Option<Value>,
    /// Scatter of the periods about that line, in percent of the mean period. Needs N ≥ 4.
    pub unevenness_percent: Option<Value>,
    /// Longest chatter of all makes, in milliseconds; 0 when none longer than the floor was seen.
    pub chatter_ms_max: f64,
    /// Shortest reopening that could be told from noise, in milliseconds.
    pub chatter_floor_ms: f64,
    /// End of the previous digit's last break to the start of this digit's first, in milliseconds.
    pub pause_before_ms: Option<Value>,
    /// Off-normal contacts operating to the first opening, in milliseconds: the winding, with any idle run
    /// before the first pulse.
    pub winding_ms: Option<f64>,
    /// First opening to off-normal contacts restoring, in milliseconds.
    pub return_ms: Option<f64>,
    /// Lost motion: last make to off-normal contacts restoring, in milliseconds.
    pub idle_after_ms: Option<f64>,
    /// Worst of the digit's checks.
    pub verdict: Verdict,
    /// True only if every other pulse count is less likely than 1 in 1000.
    pub sure: bool,
    /// Why the pulse count is in doubt, in plain words.
    pub doubt: Option<String>,
    /// Field name to reason code, for every field above that is `None`.
    pub why_null: BTreeMap<&'static str, &'static str>,
    /// The pulses in time order.
    pub pulses_detail: Vec<Pulse>,
    /// Index into [`edges::Trace::trains`] of the train that holds the digit's first break.
    pub train: usize,
}

/// One value compared with one limit (or pair of limits).
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Stable name with unit: `speed_pps`, `period_ms`, `percent_break`, `break_make_ratio`, `break_ms`,
    /// `make_ms`, `bounce_ms`, `pause_before_ms`, `pulses`.
    pub quantity: &'static str,
    /// Index into [`Scored::digits`].
    pub digit_index: usize,
    /// Index into [`Digit::pulses_detail`] of the worst pulse, for limits that hold for every pulse.
    pub pulse_index: Option<usize>,
    /// Measured value, in the unit of the quantity.
    pub value: f64,
    /// Its 95 % uncertainty, without the clock.
    pub u95: f64,
    /// Lower tolerance limit.
    pub lower: Option<f64>,
    /// Upper tolerance limit.
    pub upper: Option<f64>,
    /// The limits as the source words them, where that differs (percent make 30-42 %).
    pub as_quoted: Option<String>,
    /// Guard band: u95 with the clock's tolerance joined for speed and durations.
    pub guard_band: f64,
    /// The word.
    pub verdict: Verdict,
    /// Why the word is [`Verdict::NotJudged`], in plain words.
    pub why_not_judged: Option<String>,
    /// Probability that the true value lies within the limits, after JCGM 106:2012 clause 7; `None` where
    /// nothing continuous was measured (a count) or the digit is not sure.
    pub conformance_probability: Option<f64>,
    /// Document, clause and year of the limit; for a count, what was said to be dialled.
    pub source: String,
    /// Grade of the evidence for the limit; `None` for a count.
    pub grade: Option<Grade>,
    /// True when the guard band exceeds a quarter of the tolerance half-width: this recording cannot
    /// decide.
    pub undecidable: bool,
}

/// Dialled against found.
#[derive(Clone, Debug, PartialEq)]
pub struct CountCheck {
    /// What was said to be dialled, as given; `None` when nothing was said.
    pub dialled: Option<String>,
    /// Pulses expected for each dialled digit by the plan.
    pub expected_pulses: Vec<usize>,
    /// Pulses found in each digit.
    pub found_pulses: Vec<usize>,
    /// [`Verdict::Pass`], [`Verdict::Fail`], or [`Verdict::NotJudged`] when nothing was said to be dialled
    /// or a digit in question is not sure.
    pub verdict: Verdict,
    /// What is wrong, in plain words; `None` when the count is right or was not asked.
    pub reason: Option<String>,
    /// Another plan under which every digit is right, where the chosen one makes the count wrong.
    pub other_plan: Option<Plan>,
}

/// How sure a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HowSure {
    /// The figures show the effect beyond doubt; the cause is still the likely one.
    Shown,
    /// The figures speak for it; chance or a cause that looks alike is not ruled out.
    Likely,
    /// Too little was recorded to tell: dial more, and see whether it stays.
    Hint,
}

impl HowSure {
    /// As a program reads it: `shown`, `likely`, `hint`.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            HowSure::Shown => "shown",
            HowSure::Likely => "likely",
            HowSure::Hint => "hint",
        }
    }

    /// In words for a reader.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            HowSure::Shown => "shown by the figures",
            HowSure::Likely => "likely",
            HowSure::Hint => "a hint only: dial more to be surer",
        }
    }
}

/// How far to change a quantity. Changes are in its unit; positive raises it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HowMuch {
    /// `speed_pps`, `period_ms`, `percent_break`, `break_make_ratio`, `break_ms` or `make_ms`.
    pub quantity: &'static str,
    /// The middle of the limits; `None` where they have only one side.
    pub middle: Option<f64>,
    /// Change that reaches the middle.
    pub change: Option<f64>,
    /// Least change after which the value passes with its guard band; `None` without a lower limit, or when no change
    /// is sure to pass.
    pub least: Option<f64>,
    /// Largest change after which it still passes; `None` without an upper limit, or when no change is sure to pass.
    pub most: Option<f64>,
}

impl HowMuch {
    /// For values from `least` to `most` of which every one must pass, each with the guard band.
    pub(crate) fn to_pass(
        quantity: &'static str,
        values: std::ops::RangeInclusive<f64>,
        range: &crate::limits::Range,
        guard_band: f64,
    ) -> Self {
        let (smallest, largest) = (*values.start(), *values.end());
        let middle = range
            .lower
            .zip(range.upper)
            .map(|(lower, upper)| lower.midpoint(upper));
        let least = range.lower.map(|lower| lower + guard_band - smallest);
        let most = range.upper.map(|upper| upper - guard_band - largest);
        let none_passes = least.zip(most).is_some_and(|(least, most)| least > most);
        HowMuch {
            quantity,
            middle,
            change: middle.map(|middle| middle - smallest.midpoint(largest)),
            least: least.filter(|_| !none_passes),
            most: most.filter(|_| !none_passes),
        }
    }
}

/// What a recording shows about a dial, with the evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable code, such as `split-break`.
    pub code: &'static str,
    /// A few words for a heading.
    pub title: String,
    /// The figures that show it.
    pub evidence: String,
    /// What usually causes it.
    pub likely_cause: String,
    /// What to do.
    pub advice: String,
    /// Where cause and advice come from; says so where it is common practice without a source.
    pub basis: &'static str,
    /// How sure it is.
    pub how_sure: HowSure,
    /// How far to change what; `None` where a figure would say nothing.
    pub how_much: Option<HowMuch>,
    /// Index into [`Scored::digits`], when it concerns one digit.
    pub digit_index: Option<usize>,
    /// Index into [`Digit::pulses_detail`], when it concerns one pulse.
    pub pulse_index: Option<usize>,
}

/// A line that explains a verdict, or warns about a comparison.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reason {
    /// Stable code, such as `no-limits` or `tap-scope`.
    pub code: &'static str,
    /// One line in plain words.
    pub text: String,
    /// Index into [`Scored::digits`], when it concerns one digit.
    pub digit_index: Option<usize>,
}

/// Facts of the recording that the trains tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TraceFacts {
    /// Median corner of the high-pass in the recording path, in hertz; `None` when no train shows one.
    pub coupling_hz: Option<f64>,
    /// Which way the trace moves at an opening, by most trains; `None` without trains.
    pub polarity: Option<Polarity>,
    /// The strongest hum found around a train.
    pub hum: Option<Hum>,
    /// Dial step over residual noise in decibels, 20 log10(step / noise), of the worst train; `None`
    /// without trains or without noise.
    pub snr_db: Option<f64>,
    /// Shortest reopening that can be told from noise in every train, in milliseconds; `None` without
    /// trains.
    pub chatter_floor_ms: Option<f64>,
    /// True when in some train only spikes remain of the steps.
    pub spikes_only: bool,
}

/// What one published set would say of the recording, when the user chose none.
#[derive(Clone, Debug, PartialEq)]
pub struct WouldSay {
    /// Name of the set, as it is chosen.
    pub name: String,
    /// Grade of its evidence.
    pub grade: Grade,
    /// What the verdict would be.
    pub verdict: Verdict,
    /// One line in plain words.
    pub line: String,
}

/// One scored recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Scored {
    /// Worst digit, in the order fail, conditional fail, not judged, conditional pass, pass.
    pub verdict: Verdict,
    /// Why, one line each; empty only when everything passed without reserve.
    pub reasons: Vec<Reason>,
    /// What to keep in mind about the comparison (scope, tap, quench, definition, grade).
    pub warnings: Vec<Reason>,
    /// Facts of the recording.
    pub facts: TraceFacts,
    /// Digits in time order.
    pub digits: Vec<Digit>,
    /// Comparisons, digit by digit.
    pub checks: Vec<Check>,
    /// Dialled against found.
    pub count: CountCheck,
    /// Findings, digit by digit.
    pub findings: Vec<Finding>,
    /// One line per citable set; empty when limits were chosen.
    pub would_say: Vec<WouldSay>,
    /// The plan by which pulses became digits.
    pub plan: Plan,
    /// What each receiver that was asked about makes of it.
    pub receivers: Vec<Answer>,
    /// Digits that were dialled more than once, together.
    pub takes: Option<Takes>,
}
