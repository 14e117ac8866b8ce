//! One recording of known truth, measured and compared.

use score::{Digit, Settings, Value};
use synth::families::{Kind, kind_of};
use synth::{DigitBound, DigitTruth, Line, Rendered, Scenario};

/// Matched-filter signal-to-noise ratio of an edge below which "not sure" is the right answer.
const TOO_WEAK: f64 = 5.0;
/// A digit is that of the truth if it starts within this time of it, in seconds.
const SAME_START_S: f64 = 0.02;

/// What became of one recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// Every digit equals the truth and is sure.
    Right,
    /// Every digit equals the truth, not all are sure.
    Unsure,
    /// Wrong, and says so.
    Declined,
    /// Wrong and sure: the worst.
    WrongAndSure,
}

/// A sure digit's errors.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Errors {
    pub(crate) kind: Kind,
    pub(crate) pulses: usize,
    pub(crate) speed: Error,
    pub(crate) percent_break: Error,
}

/// One error, speeds in percent of the truth, percent breaks in points.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Error {
    pub(crate) error: f64,
    /// The stated 95 % uncertainty.
    pub(crate) u95: f64,
    /// Least standard error possible; `None` where there is no noise.
    pub(crate) bound: Option<f64>,
}

impl Error {
    /// The stated interval holds the truth.
    pub(crate) fn covered(&self) -> bool {
        self.error.abs() <= self.u95
    }

    /// The error in units of the least standard error possible.
    pub(crate) fn over_bound(&self) -> Option<f64> {
        self.bound.filter(|b| *b > 0.0).map(|b| self.error / b)
    }
}

/// A time that the off-normal contacts tell, in milliseconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Contact {
    /// `None` where the line has no such contacts.
    pub(crate) truth: Option<f64>,
    /// What is reported.
    pub(crate) read: Option<f64>,
}

/// One recording, compared with its truth.
pub(crate) struct Compared {
    pub(crate) outcome: Outcome,
    /// Some edge is too weak for any detector.
    pub(crate) too_weak: bool,
    pub(crate) errors: Vec<Errors>,
    /// Winding and return of the digits that were found.
    pub(crate) contacts: Vec<Contact>,
    pub(crate) note: String,
}

/// Digits found where none was dialled.
#[derive(Clone, Debug)]
pub(crate) struct Invented {
    pub(crate) sure: usize,
    pub(crate) unsure: usize,
    pub(crate) note: String,
}

/// Renders, measures and compares.
pub(crate) fn compared(scenario: &Scenario) -> Compared {
    let rendered = synth::render(scenario);
    let digits = detect(&rendered);
    let truth = &rendered.truth.digits;
    let bounds = synth::bounds(scenario, &rendered.truth);
    let matched: Vec<Option<&Digit>> = truth.iter().map(|t| matching(t, &digits)).collect();
    let errors = |index: usize| {
        let digit = matched[index].filter(|d| d.sure)?;
        let bound = bounds.as_ref().and_then(|b| b.get(index));
        errors(scenario, &truth[index], digit, bound)
    };
    Compared {
        outcome: outcome(truth, &digits, &matched),
        too_weak: bounds.as_deref().is_some_and(too_weak),
        errors: (0..truth.len()).filter_map(errors).collect(),
        contacts: contacts(truth, &matched),
        note: note(truth, &digits),
    }
}

/// Renders a recording in which nothing is dialled and counts what is found all the same.
pub(crate) fn invented(scenario: &Scenario) -> Invented {
    let digits = detect(&synth::render(scenario));
    let sure = digits.iter().filter(|d| d.sure).count();
    Invented {
        sure,
        unsure: digits.len() - sure,
        note: note(&[], &digits),
    }
}

fn detect(rendered: &Rendered) -> Vec<Digit> {
    let scored = rendered.channels.iter().map(|channel| {
        let mut detector = edges::Detector::new(rendered.sample_rate_hz);
        detector.push(channel);
        score::score(&detector.finish(), &Settings::default()).digits
    });
    let pulses = |digits: &[Digit], sure: bool| -> usize {
        let counted = digits.iter().filter(|d| d.sure || !sure);
        counted.map(|d| d.pulses).sum()
    };
    scored
        .max_by_key(|digits| (pulses(digits, true), pulses(digits, false)))
        .unwrap_or_default()
}

fn matching<'a>(truth: &DigitTruth, digits: &'a [Digit]) -> Option<&'a Digit> {
    let start = truth.breaks.first().map_or(0.0, |b| b.break_start_s);
    digits
        .iter()
        .find(|d| d.pulses == truth.pulses && (d.start_s - start).abs() < SAME_START_S)
}

fn contacts(truth: &[DigitTruth], matched: &[Option<&Digit>]) -> Vec<Contact> {
    let of_digit = |(truth, digit): (&DigitTruth, &Option<&Digit>)| {
        let (start_s, digit) = (truth.breaks.first()?.break_start_s, (*digit)?);
        let after_ms = |instant_s: f64| 1000.0 * (instant_s - start_s);
        Some([
            Contact {
                truth: truth.winding_start_s.map(|s| -after_ms(s)),
                read: digit.winding_ms,
            },
            Contact {
                truth: truth.off_normal_restored_s.map(after_ms),
                read: digit.return_ms,
            },
        ])
    };
    let digits = truth.iter().zip(matched);
    digits.filter_map(of_digit).flatten().collect()
}

fn outcome(truth: &[DigitTruth], digits: &[Digit], matched: &[Option<&Digit>]) -> Outcome {
    let is_matched = |d: &Digit| matched.iter().flatten().any(|m| std::ptr::eq(*m, d));
    if digits.iter().any(|d| d.sure && !is_matched(d)) {
        Outcome::WrongAndSure
    } else if matched.iter().any(Option::is_none) || digits.len() != truth.len() {
        Outcome::Declined
    } else if digits.iter().all(|d| d.sure) {
        Outcome::Right
    } else {
        Outcome::Unsure
    }
}

fn too_weak(bounds: &[DigitBound]) -> bool {
    bounds
        .iter()
        .flat_map(|digit| &digit.breaks)
        .any(|b| b.opening.snr.min(b.closing.snr) < TOO_WEAK)
}

/// The delay of openings by capacitance alone shows in no recording: there the ± counts that people read.
fn percent_break(scenario: &Scenario, digit: &Digit) -> Option<Value> {
    match &scenario.line {
        Line::Loop(circuit) if circuit.feed_henry == 0.0 => {
            digit.percent_break_as_read(&Settings::default())
        }
        _ => digit.percent_break,
    }
}

fn errors(
    scenario: &Scenario,
    truth: &DigitTruth,
    digit: &Digit,
    bound: Option<&DigitBound>,
) -> Option<Errors> {
    let (speed, percent) = (digit.speed_pps?, percent_break(scenario, digit)?);
    let (true_speed, true_percent) = (truth.speed_pps?, truth.percent_break?);
    let to_percent = 100.0 / true_speed;
    Some(Errors {
        kind: kind_of(scenario),
        pulses: truth.pulses,
        speed: Error {
            error: to_percent * (speed.value - true_speed),
            u95: to_percent * speed.u95,
            bound: bound.and_then(|b| b.speed_pps).map(|b| to_percent * b),
        },
        percent_break: Error {
            error: percent.value - true_percent,
            u95: percent.u95,
            bound: bound.and_then(|b| b.percent_break),
        },
    })
}

fn note(truth: &[DigitTruth], digits: &[Digit]) -> String {
    let want: Vec<String> = truth.iter().map(|t| t.pulses.to_string()).collect();
    let got: Vec<String> = digits
        .iter()
        .map(|d| match &d.doubt {
            Some(doubt) => format!("{}? ({doubt})", d.pulses),
            None => d.pulses.to_string(),
        })
        .collect();
    format!("want [{}] got [{}]", want.join(" "), got.join(" "))
}
