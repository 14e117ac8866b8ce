//! A comparison for programs, schema `fingerstop.comparison/1`. Grows, never changes meaning.

use score::Value;
use serde::Serialize;

use super::{Change, Comparison, Step, name_and_unit};
use crate::saved::{Saved, SavedFinding};
use crate::words::verdict_code;

/// Name and version of the schema.
const SCHEMA: &str = "fingerstop.comparison/1";

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    tool_version: &'a str,
    recordings: Vec<RecordingJson<'a>>,
    steps: Vec<StepJson<'a>>,
    uncertainty_verified: bool,
}

#[derive(Serialize)]
struct RecordingJson<'a> {
    input: &'a str,
    verdict: &'static str,
    limits: Option<&'a str>,
    dial_id: Option<&'a str>,
    error: Option<&'a str>,
    clock_ppm: Option<f64>,
    receivers: Vec<AnswerJson<'a>>,
}

/// What a receiver makes of the dial.
#[derive(Serialize)]
struct AnswerJson<'a> {
    receiver: &'a str,
    understood: &'static str,
}

#[derive(Serialize)]
struct StepJson<'a> {
    before: usize,
    after: usize,
    verdict_before: &'static str,
    verdict_after: &'static str,
    digits: Vec<PairJson<'a>>,
    only_before: &'a [usize],
    only_after: &'a [usize],
    findings_gone: Vec<FindingJson<'a>>,
    findings_new: Vec<FindingJson<'a>>,
    findings_stayed: Vec<FindingJson<'a>>,
    shift_verdict: Option<&'static str>,
}

#[derive(Serialize)]
struct PairJson<'a> {
    digit: Option<&'a str>,
    pulses: usize,
    before_index: usize,
    after_index: usize,
    changes: Vec<ChangeJson>,
}

#[derive(Serialize)]
struct ChangeJson {
    quantity: &'static str,
    unit: &'static str,
    before: ValueJson,
    after: ValueJson,
    change: ValueJson,
    changed: bool,
    max_shift: Option<f64>,
    shift_verdict: Option<&'static str>,
}

#[derive(Serialize)]
struct ValueJson {
    value: f64,
    u95: f64,
}

#[derive(Serialize)]
struct FindingJson<'a> {
    code: &'a str,
    title: &'a str,
}

/// The comparison as a JSON document, with a newline at its end.
///
/// # Errors
/// Never for values that this crate makes; passed on from the writer all the same.
pub fn json(comparison: &Comparison, tool_version: &str) -> Result<String, serde_json::Error> {
    let document = Document {
        schema: SCHEMA,
        tool_version,
        recordings: comparison.recordings.iter().map(recording).collect(),
        steps: comparison
            .steps
            .iter()
            .map(|s| step(comparison, s))
            .collect(),
        uncertainty_verified: crate::UNCERTAINTY_VERIFIED,
    };
    serde_json::to_string_pretty(&document).map(|text| text + "\n")
}

fn recording(saved: &Saved) -> RecordingJson<'_> {
    RecordingJson {
        input: &saved.input,
        verdict: verdict_code(saved.verdict),
        limits: saved.limits.as_ref().map(|limits| limits.name.as_str()),
        dial_id: saved.dial_id.as_deref(),
        error: saved.error.as_ref().map(|error| error.code.as_str()),
        clock_ppm: saved.trace.as_ref().map(|trace| trace.clock_ppm),
        receivers: saved
            .receivers
            .iter()
            .map(|answer| AnswerJson {
                receiver: &answer.receiver,
                understood: answer.understood.code(),
            })
            .collect(),
    }
}

fn step<'a>(comparison: &'a Comparison, step: &'a Step) -> StepJson<'a> {
    let (before, after) = (
        &comparison.recordings[step.before],
        &comparison.recordings[step.after],
    );
    let pairs = step.pairing.pairs.iter().zip(&step.changes);
    StepJson {
        before: step.before,
        after: step.after,
        verdict_before: verdict_code(before.verdict),
        verdict_after: verdict_code(after.verdict),
        digits: pairs
            .map(|(&(before_index, after_index), changes)| PairJson {
                digit: before.digits[before_index].digit.as_deref(),
                pulses: before.digits[before_index].pulses,
                before_index,
                after_index,
                changes: changes.iter().map(|c| change(comparison, c)).collect(),
            })
            .collect(),
        only_before: &step.pairing.only_before,
        only_after: &step.pairing.only_after,
        findings_gone: findings(&step.gone),
        findings_new: findings(&step.came),
        findings_stayed: findings(&step.stayed),
        shift_verdict: step.shift.map(verdict_code),
    }
}

fn change(comparison: &Comparison, change: &Change) -> ChangeJson {
    let shift = comparison
        .max_shifts
        .iter()
        .find(|shift| shift.quantity == change.quantity);
    ChangeJson {
        quantity: change.quantity,
        unit: name_and_unit(change.quantity).1,
        before: value(change.before),
        after: value(change.after),
        change: value(change.change),
        changed: change.is_shown(),
        max_shift: shift.map(|shift| shift.most),
        shift_verdict: shift
            .and_then(|shift| shift.verdict(change))
            .map(verdict_code),
    }
}

fn value(value: Value) -> ValueJson {
    ValueJson {
        value: value.value,
        u95: value.u95,
    }
}

fn findings(findings: &[SavedFinding]) -> Vec<FindingJson<'_>> {
    findings
        .iter()
        .map(|finding| FindingJson {
            code: &finding.code,
            title: &finding.title,
        })
        .collect()
}
