//! JSON after the schema `fingerstop.measurement/1`.
//!
//! The schema grows and never changes meaning. A missing value is `null` with a reason in `why_null`,
//! never zero. Values keep full precision; rounding belongs to the text.

use std::collections::BTreeMap;

use edges::Polarity;
use score::limits::{LimitSet, Range};
use score::{Check, Digit, Finding, Pulse, Settings, Summary, Value, Verdict};
use serde::Serialize;

use crate::record::{Measured, Record, Unreadable};
use crate::words::{quench_word, tap_word, verdict_code};

/// Name and version of the schema.
pub const SCHEMA: &str = "fingerstop.measurement/1";

/// Everything `check` found in all inputs.
#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    tool_version: &'a str,
    limits: Option<LimitsJson>,
    recordings: &'a [RecordingJson],
    summary: SummaryJson,
    uncertainty_verified: bool,
    takes: Option<TakesJson>,
}

/// One line of NDJSON: a recording that stands alone.
#[derive(Serialize)]
struct Line<'a> {
    schema: &'static str,
    tool_version: &'a str,
    limits: Option<LimitsJson>,
    #[serde(flatten)]
    recording: &'a RecordingJson,
    uncertainty_verified: bool,
}

#[derive(Default, Serialize)]
#[serde(rename_all = "kebab-case")]
struct SummaryJson {
    pass: usize,
    conditional_pass: usize,
    conditional_fail: usize,
    fail: usize,
    not_judged: usize,
    unreadable: usize,
}

#[derive(Clone, Serialize)]
struct LimitsJson {
    name: String,
    title: String,
    document: String,
    clause: String,
    year: String,
    grade: &'static str,
    evidence: String,
    set_to_only: bool,
    note: String,
    scopes: Vec<&'static str>,
    speed_pps: Option<RangeJson>,
    percent_break: Option<RangeJson>,
    break_make_ratio: Option<RangeJson>,
    period_ms: Option<RangeJson>,
    break_ms: Option<RangeJson>,
    make_ms: Option<RangeJson>,
    bounce_ms: Option<RangeJson>,
    pause_ms: Option<RangeJson>,
}

#[derive(Clone, Serialize)]
struct RangeJson {
    lower: Option<f64>,
    upper: Option<f64>,
}

/// One input in the shape of the schema. Owned, so that the trace it was made from can be let go.
#[derive(Serialize)]
pub struct RecordingJson {
    input: String,
    verdict: &'static str,
    error: Option<Message>,
    trace: Option<TraceJson>,
    digits: Vec<DigitJson>,
    checks: Vec<CheckJson>,
    findings: Vec<FindingJson>,
    plan: Option<&'static str>,
    count: Option<CountJson>,
    reasons: Vec<ReasonJson>,
    cautions: Vec<ReasonJson>,
    would_say: Vec<WouldSayJson>,
    dial_id: Option<String>,
    receivers: Vec<AnswerJson>,
    takes: Option<TakesJson>,
}

/// What a receiver makes of the dial.
#[derive(Serialize)]
struct AnswerJson {
    receiver: String,
    title: String,
    grade: &'static str,
    source: String,
    understood: &'static str,
    reasons: Vec<String>,
    counted_pulses: Vec<Option<usize>>,
}

/// Several takes of one digit.
#[derive(Serialize)]
struct TakesJson {
    pulses: usize,
    count: usize,
    ten_pulses_s: Option<f64>,
    quantities: Vec<TakenJson>,
}

#[derive(Serialize)]
struct TakenJson {
    quantity: &'static str,
    mean: f64,
    u95: f64,
    recordings_u95: f64,
    spread: f64,
    spread_u95: f64,
    min: f64,
    max: f64,
    decides: &'static str,
    check: Option<CheckJson>,
}

#[derive(Serialize)]
struct Message {
    code: String,
    message: String,
}

#[derive(Serialize)]
struct TraceJson {
    sample_rate_hz: f64,
    channels: u16,
    channel: u16,
    duration_s: f64,
    encoding: String,
    coupling_hz: Option<f64>,
    polarity: Option<&'static str>,
    snr_db: Option<f64>,
    clipped: u64,
    mains_hz: Option<u32>,
    clock_ppm: f64,
    warnings: Vec<Message>,
    hum_percent_of_step: Option<f64>,
    chatter_floor_ms: Option<f64>,
    tap: Option<&'static str>,
    quench: Option<&'static str>,
    heard_not_wired: bool,
    spikes_only: bool,
}

#[derive(Serialize)]
struct ValueJson {
    value: f64,
    u95: f64,
}

#[derive(Serialize)]
struct SpreadJson {
    mean: f64,
    u95: f64,
    min: f64,
    max: f64,
}

#[derive(Serialize)]
struct DigitJson {
    digit: Option<String>,
    pulses: usize,
    start_s: f64,
    end_s: f64,
    speed_pps: Option<ValueJson>,
    percent_break: Option<ValueJson>,
    break_ms: SpreadJson,
    make_ms: Option<SpreadJson>,
    slow_down_percent: Option<f64>,
    unevenness_percent: Option<f64>,
    chatter_ms_max: f64,
    pause_before_ms: Option<f64>,
    verdict: &'static str,
    sure: bool,
    doubt: Option<String>,
    pulses_detail: Vec<PulseJson>,
    percent_break_half_step: Option<ValueJson>,
    winding_ms: Option<f64>,
    return_ms: Option<f64>,
    idle_after_ms: Option<f64>,
    why_null: BTreeMap<&'static str, &'static str>,
    period_ms: Option<ValueJson>,
    break_make_ratio: Option<ValueJson>,
    slow_down_u95_percent: Option<f64>,
    unevenness_u95_percent: Option<f64>,
    pause_before_u95_ms: Option<f64>,
    chatter_floor_ms: f64,
}

#[derive(Serialize)]
struct PulseJson {
    break_start_s: f64,
    make_start_s: f64,
    break_ms: f64,
    make_ms: Option<f64>,
    percent_break: Option<f64>,
    chatter_ms: f64,
    break_u95_ms: f64,
    make_u95_ms: Option<f64>,
    chatter_longest_ms: f64,
}

#[derive(Serialize)]
struct CheckJson {
    quantity: &'static str,
    digit_index: usize,
    value: f64,
    u95: f64,
    lower: Option<f64>,
    upper: Option<f64>,
    verdict: &'static str,
    source: String,
    pulse_index: Option<usize>,
    conformance_probability: Option<f64>,
    grade: Option<&'static str>,
    guard_band: f64,
    as_quoted: Option<String>,
    why_not_judged: Option<String>,
    undecidable: bool,
}

#[derive(Serialize)]
struct FindingJson {
    code: &'static str,
    title: String,
    evidence: String,
    likely_cause: String,
    advice: String,
    basis: &'static str,
    digit_index: Option<usize>,
    pulse_index: Option<usize>,
    how_sure: &'static str,
    how_much: Option<HowMuchJson>,
}

/// How far to change a quantity, in its unit.
#[derive(Serialize)]
struct HowMuchJson {
    quantity: &'static str,
    middle: Option<f64>,
    change: Option<f64>,
    least: Option<f64>,
    most: Option<f64>,
}

#[derive(Serialize)]
struct CountJson {
    dialled: Option<String>,
    expected_pulses: Vec<usize>,
    found_pulses: Vec<usize>,
    verdict: &'static str,
    reason: Option<String>,
    other_plan: Option<&'static str>,
}

#[derive(Serialize)]
struct ReasonJson {
    code: &'static str,
    text: String,
    digit_index: Option<usize>,
}

#[derive(Serialize)]
struct WouldSayJson {
    name: String,
    grade: &'static str,
    verdict: &'static str,
    line: String,
}

/// One record in the shape of the schema.
#[must_use]
pub fn recording(record: &Record, settings: &Settings, dial_id: Option<&str>) -> RecordingJson {
    match &record.outcome {
        Ok(measured) => measured_json(&record.input, measured, settings, dial_id),
        Err(unreadable) => unreadable_json(&record.input, unreadable, dial_id),
    }
}

/// One digit in the shape of the schema, with its checks: for a digit that is told before its recording ends.
#[derive(Serialize)]
pub struct HeardJson {
    #[serde(flatten)]
    digit: DigitJson,
    checks: Vec<CheckJson>,
}

/// One digit with its checks.
#[must_use]
pub fn digit(digit: &Digit, checks: &[Check]) -> HeardJson {
    HeardJson {
        digit: digit_json(digit),
        checks: checks.iter().map(check_json).collect(),
    }
}

/// The whole document, with a newline at its end.
///
/// # Errors
/// Never for values that this crate makes; passed on from the writer all the same.
pub fn document(
    recordings: &[RecordingJson],
    settings: &Settings,
    tool_version: &str,
) -> Result<String, serde_json::Error> {
    document_with_takes(recordings, settings, tool_version, None)
}

/// The whole document with the takes over all recordings, where those are of one dial.
///
/// # Errors
/// Never for values that this crate makes; passed on from the writer all the same.
pub fn document_with_takes(
    recordings: &[RecordingJson],
    settings: &Settings,
    tool_version: &str,
    takes: Option<&score::Takes>,
) -> Result<String, serde_json::Error> {
    let document = Document {
        schema: SCHEMA,
        tool_version,
        limits: settings.limits.as_ref().map(limits_json),
        recordings,
        summary: summary(recordings),
        uncertainty_verified: crate::UNCERTAINTY_VERIFIED,
        takes: takes.map(takes_json),
    };
    serde_json::to_string_pretty(&document).map(|text| text + "\n")
}

/// One recording as a line of NDJSON, with a newline at its end.
///
/// # Errors
/// Never for values that this crate makes; passed on from the writer all the same.
pub fn line(
    recording: &RecordingJson,
    settings: &Settings,
    tool_version: &str,
) -> Result<String, serde_json::Error> {
    let line = Line {
        schema: SCHEMA,
        tool_version,
        limits: settings.limits.as_ref().map(limits_json),
        recording,
        uncertainty_verified: crate::UNCERTAINTY_VERIFIED,
    };
    serde_json::to_string(&line).map(|text| text + "\n")
}

/// The same line with the fields of `more` at its end.
///
/// # Errors
/// When `more` cannot be written as fields of an object.
pub fn line_with<T: Serialize>(
    recording: &RecordingJson,
    settings: &Settings,
    tool_version: &str,
    more: &T,
) -> Result<String, serde_json::Error> {
    #[derive(Serialize)]
    struct Longer<'a, T> {
        #[serde(flatten)]
        line: Line<'a>,
        #[serde(flatten)]
        more: &'a T,
    }
    let line = Line {
        schema: SCHEMA,
        tool_version,
        limits: settings.limits.as_ref().map(limits_json),
        recording,
        uncertainty_verified: crate::UNCERTAINTY_VERIFIED,
    };
    serde_json::to_string(&Longer { line, more }).map(|text| text + "\n")
}

fn summary(recordings: &[RecordingJson]) -> SummaryJson {
    let count = |verdict| {
        recordings
            .iter()
            .filter(|r| r.verdict == verdict_code(verdict))
            .count()
    };
    SummaryJson {
        pass: count(Verdict::Pass),
        conditional_pass: count(Verdict::ConditionalPass),
        conditional_fail: count(Verdict::ConditionalFail),
        fail: count(Verdict::Fail),
        not_judged: count(Verdict::NotJudged),
        unreadable: recordings.iter().filter(|r| r.error.is_some()).count(),
    }
}

fn unreadable_json(input: &str, unreadable: &Unreadable, dial_id: Option<&str>) -> RecordingJson {
    RecordingJson {
        input: input.to_owned(),
        verdict: verdict_code(Verdict::NotJudged),
        error: Some(Message {
            code: unreadable.code.clone(),
            message: unreadable.message.clone(),
        }),
        trace: None,
        digits: Vec::new(),
        checks: Vec::new(),
        findings: Vec::new(),
        plan: None,
        count: None,
        reasons: Vec::new(),
        cautions: Vec::new(),
        would_say: Vec::new(),
        dial_id: dial_id.map(str::to_owned),
        receivers: Vec::new(),
        takes: None,
    }
}

fn measured_json(
    input: &str,
    measured: &Measured,
    settings: &Settings,
    dial_id: Option<&str>,
) -> RecordingJson {
    let scored = &measured.scored;
    RecordingJson {
        input: input.to_owned(),
        verdict: verdict_code(scored.verdict),
        error: None,
        trace: Some(trace_json(measured, settings)),
        digits: scored.digits.iter().map(digit_json).collect(),
        checks: scored.checks.iter().map(check_json).collect(),
        findings: scored.findings.iter().map(finding_json).collect(),
        plan: Some(scored.plan.name()),
        count: Some(count_json(&scored.count)),
        reasons: scored.reasons.iter().map(reason_json).collect(),
        cautions: scored.warnings.iter().map(reason_json).collect(),
        would_say: scored.would_say.iter().map(would_say_json).collect(),
        dial_id: dial_id.map(str::to_owned),
        receivers: scored.receivers.iter().map(answer_json).collect(),
        takes: scored.takes.as_ref().map(takes_json),
    }
}

fn trace_json(measured: &Measured, settings: &Settings) -> TraceJson {
    let facts = &measured.scored.facts;
    TraceJson {
        sample_rate_hz: measured.facts.sample_rate_hz,
        channels: measured.facts.channels,
        channel: measured.channel,
        duration_s: measured.duration_s(),
        encoding: measured.facts.encoding.clone(),
        coupling_hz: facts.coupling_hz,
        polarity: facts.polarity.map(|polarity| match polarity {
            Polarity::Normal => "normal",
            Polarity::Inverted => "inverted",
        }),
        snr_db: facts.snr_db,
        clipped: measured.clipped(),
        mains_hz: facts
            .hum
            .map(|hum| if hum.frequency_hz < 55.0 { 50 } else { 60 }),
        clock_ppm: settings.clock_ppm,
        warnings: measured
            .warnings
            .iter()
            .map(|warning| Message {
                code: warning.code.to_owned(),
                message: warning.message.clone(),
            })
            .collect(),
        hum_percent_of_step: facts.hum.map(|hum| 100.0 * hum.relative_amplitude),
        chatter_floor_ms: facts.chatter_floor_ms,
        tap: settings.tap.map(tap_word),
        quench: settings.quench.map(quench_word),
        heard_not_wired: measured.trace.heard_not_wired,
        spikes_only: facts.spikes_only,
    }
}

fn value(value: Option<Value>) -> Option<ValueJson> {
    value.map(|Value { value, u95 }| ValueJson { value, u95 })
}

fn spread(summary: &Summary) -> SpreadJson {
    SpreadJson {
        mean: summary.mean.value,
        u95: summary.mean.u95,
        min: summary.min,
        max: summary.max,
    }
}

fn digit_json(digit: &Digit) -> DigitJson {
    DigitJson {
        digit: digit.digit.clone(),
        pulses: digit.pulses,
        start_s: digit.start_s,
        end_s: digit.end_s,
        speed_pps: value(digit.speed_pps),
        percent_break: value(digit.percent_break),
        break_ms: spread(&digit.break_ms),
        make_ms: digit.make_ms.as_ref().map(spread),
        slow_down_percent: digit.slow_down_percent.map(|v| v.value),
        unevenness_percent: digit.unevenness_percent.map(|v| v.value),
        chatter_ms_max: digit.chatter_ms_max,
        pause_before_ms: digit.pause_before_ms.map(|v| v.value),
        verdict: verdict_code(digit.verdict),
        sure: digit.sure,
        doubt: digit.doubt.clone(),
        pulses_detail: digit.pulses_detail.iter().map(pulse_json).collect(),
        percent_break_half_step: value(digit.percent_break_half_step),
        winding_ms: digit.winding_ms,
        return_ms: digit.return_ms,
        idle_after_ms: digit.idle_after_ms,
        why_null: digit.why_null.clone(),
        period_ms: value(digit.period_ms),
        break_make_ratio: value(digit.break_make_ratio),
        slow_down_u95_percent: digit.slow_down_percent.map(|v| v.u95),
        unevenness_u95_percent: digit.unevenness_percent.map(|v| v.u95),
        pause_before_u95_ms: digit.pause_before_ms.map(|v| v.u95),
        chatter_floor_ms: digit.chatter_floor_ms,
    }
}

fn pulse_json(pulse: &Pulse) -> PulseJson {
    PulseJson {
        break_start_s: pulse.break_start_s,
        make_start_s: pulse.make_start_s,
        break_ms: pulse.break_ms,
        make_ms: pulse.make_ms,
        percent_break: pulse.percent_break,
        chatter_ms: pulse.chatter_ms,
        break_u95_ms: pulse.break_u95_ms,
        make_u95_ms: pulse.make_u95_ms,
        chatter_longest_ms: pulse.chatter_longest_ms,
    }
}

fn check_json(check: &Check) -> CheckJson {
    CheckJson {
        quantity: check.quantity,
        digit_index: check.digit_index,
        value: check.value,
        u95: check.u95,
        lower: check.lower,
        upper: check.upper,
        verdict: verdict_code(check.verdict),
        source: check.source.clone(),
        pulse_index: check.pulse_index,
        conformance_probability: check.conformance_probability,
        grade: check.grade.map(score::Grade::name),
        guard_band: check.guard_band,
        as_quoted: check.as_quoted.clone(),
        why_not_judged: check.why_not_judged.clone(),
        undecidable: check.undecidable,
    }
}

fn finding_json(finding: &Finding) -> FindingJson {
    FindingJson {
        code: finding.code,
        title: finding.title.clone(),
        evidence: finding.evidence.clone(),
        likely_cause: finding.likely_cause.clone(),
        advice: finding.advice.clone(),
        basis: finding.basis,
        digit_index: finding.digit_index,
        pulse_index: finding.pulse_index,
        how_sure: finding.how_sure.code(),
        how_much: finding.how_much.map(how_much_json),
    }
}

fn how_much_json(how_much: score::HowMuch) -> HowMuchJson {
    HowMuchJson {
        quantity: how_much.quantity,
        middle: how_much.middle,
        change: how_much.change,
        least: how_much.least,
        most: how_much.most,
    }
}

fn answer_json(answer: &score::Answer) -> AnswerJson {
    AnswerJson {
        receiver: answer.receiver.clone(),
        title: answer.title.clone(),
        grade: answer.grade.name(),
        source: answer.source.clone(),
        understood: answer.understood.code(),
        reasons: answer.reasons.clone(),
        counted_pulses: answer.counted.clone(),
    }
}

fn takes_json(takes: &score::Takes) -> TakesJson {
    let taken = |taken: &score::Taken| TakenJson {
        quantity: taken.quantity,
        mean: taken.mean,
        u95: taken.u95(),
        recordings_u95: taken.recordings_u95,
        spread: taken.spread,
        spread_u95: taken.spread_u95,
        min: taken.range.0,
        max: taken.range.1,
        decides: if taken.spread_decides() {
            "spread"
        } else {
            "recordings"
        },
        check: taken.check.as_ref().map(check_json),
    };
    TakesJson {
        pulses: takes.pulses,
        count: takes.count,
        ten_pulses_s: takes.ten_pulses_s(),
        quantities: takes.quantities.iter().map(taken).collect(),
    }
}

fn count_json(count: &score::CountCheck) -> CountJson {
    CountJson {
        dialled: count.dialled.clone(),
        expected_pulses: count.expected_pulses.clone(),
        found_pulses: count.found_pulses.clone(),
        verdict: verdict_code(count.verdict),
        reason: count.reason.clone(),
        other_plan: count.other_plan.map(score::Plan::name),
    }
}

fn reason_json(reason: &score::Reason) -> ReasonJson {
    ReasonJson {
        code: reason.code,
        text: reason.text.clone(),
        digit_index: reason.digit_index,
    }
}

fn would_say_json(would_say: &score::WouldSay) -> WouldSayJson {
    WouldSayJson {
        name: would_say.name.clone(),
        grade: would_say.grade.name(),
        verdict: verdict_code(would_say.verdict),
        line: would_say.line.clone(),
    }
}

fn limits_json(set: &LimitSet) -> LimitsJson {
    let range = |range: &Option<Range>| range.as_ref().map(range_json);
    LimitsJson {
        name: set.name.to_string(),
        title: set.title.to_string(),
        document: set.document.to_string(),
        clause: set.clause.to_string(),
        year: set.year.to_string(),
        grade: set.grade.name(),
        evidence: set.evidence.to_string(),
        set_to_only: set.set_to_only,
        note: set.note.to_string(),
        scopes: set.scopes.iter().map(|scope| scope.words()).collect(),
        speed_pps: range(&set.pps),
        percent_break: set
            .percent
            .as_ref()
            .map(|percent| range_json(&percent.percent_break())),
        break_make_ratio: range(&set.break_make_ratio),
        period_ms: range(&set.period_ms),
        break_ms: range(&set.break_ms),
        make_ms: range(&set.make_ms),
        bounce_ms: range(&set.bounce_ms),
        pause_ms: range(&set.pause_ms),
    }
}

fn range_json(range: &Range) -> RangeJson {
    RangeJson {
        lower: range.lower,
        upper: range.upper,
    }
}
