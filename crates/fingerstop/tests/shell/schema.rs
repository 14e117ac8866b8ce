//! Strict readers of `fingerstop.measurement/1`: a field too many or too few fails.

#![allow(
    dead_code,
    reason = "every field is named so that a missing or extra one is seen"
)]

use std::collections::BTreeMap;

use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Document {
    pub(crate) schema: String,
    pub(crate) tool_version: String,
    #[serde(deserialize_with = "present")]
    pub(crate) limits: Option<Limits>,
    pub(crate) recordings: Vec<Recording>,
    pub(crate) summary: Summary,
    pub(crate) uncertainty_verified: bool,
    #[serde(deserialize_with = "present")]
    pub(crate) takes: Option<Takes>,
}

/// A line of NDJSON. serde cannot flatten and refuse unknown fields at once, so the recording's fields
/// stand here again.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Line {
    pub(crate) schema: String,
    pub(crate) tool_version: String,
    #[serde(deserialize_with = "present")]
    pub(crate) limits: Option<Limits>,
    pub(crate) input: String,
    pub(crate) verdict: Verdict,
    #[serde(deserialize_with = "present")]
    pub(crate) error: Option<Message>,
    #[serde(deserialize_with = "present")]
    pub(crate) trace: Option<Trace>,
    pub(crate) digits: Vec<Digit>,
    pub(crate) checks: Vec<Check>,
    pub(crate) findings: Vec<Finding>,
    #[serde(deserialize_with = "present")]
    pub(crate) plan: Option<String>,
    #[serde(deserialize_with = "present")]
    pub(crate) count: Option<Count>,
    pub(crate) reasons: Vec<Reason>,
    pub(crate) cautions: Vec<Reason>,
    pub(crate) would_say: Vec<WouldSay>,
    #[serde(deserialize_with = "present")]
    pub(crate) dial_id: Option<String>,
    pub(crate) receivers: Vec<Answer>,
    #[serde(deserialize_with = "present")]
    pub(crate) takes: Option<Takes>,
    pub(crate) uncertainty_verified: bool,
}

/// `null` is a value, absence is not: serde would take either for an `Option`.
fn present<'de, D: serde::Deserializer<'de>, T: Deserialize<'de>>(
    reader: D,
) -> Result<Option<T>, D::Error> {
    Option::deserialize(reader)
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Summary {
    pub(crate) pass: usize,
    pub(crate) conditional_pass: usize,
    pub(crate) conditional_fail: usize,
    pub(crate) fail: usize,
    pub(crate) not_judged: usize,
    pub(crate) unreadable: usize,
}

#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Verdict {
    Pass,
    ConditionalPass,
    ConditionalFail,
    Fail,
    NotJudged,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Limits {
    pub(crate) name: String,
    pub(crate) title: String,
    pub(crate) document: String,
    pub(crate) clause: String,
    pub(crate) year: String,
    pub(crate) grade: String,
    pub(crate) evidence: String,
    pub(crate) set_to_only: bool,
    pub(crate) note: String,
    pub(crate) scopes: Vec<String>,
    #[serde(deserialize_with = "present")]
    pub(crate) speed_pps: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) percent_break: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) break_make_ratio: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) period_ms: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) break_ms: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) make_ms: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) bounce_ms: Option<Range>,
    #[serde(deserialize_with = "present")]
    pub(crate) pause_ms: Option<Range>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Range {
    #[serde(deserialize_with = "present")]
    pub(crate) lower: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) upper: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Recording {
    pub(crate) input: String,
    pub(crate) verdict: Verdict,
    #[serde(deserialize_with = "present")]
    pub(crate) error: Option<Message>,
    #[serde(deserialize_with = "present")]
    pub(crate) trace: Option<Trace>,
    pub(crate) digits: Vec<Digit>,
    pub(crate) checks: Vec<Check>,
    pub(crate) findings: Vec<Finding>,
    #[serde(deserialize_with = "present")]
    pub(crate) plan: Option<String>,
    #[serde(deserialize_with = "present")]
    pub(crate) count: Option<Count>,
    pub(crate) reasons: Vec<Reason>,
    pub(crate) cautions: Vec<Reason>,
    pub(crate) would_say: Vec<WouldSay>,
    #[serde(deserialize_with = "present")]
    pub(crate) dial_id: Option<String>,
    pub(crate) receivers: Vec<Answer>,
    #[serde(deserialize_with = "present")]
    pub(crate) takes: Option<Takes>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Message {
    pub(crate) code: String,
    pub(crate) message: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Trace {
    pub(crate) sample_rate_hz: f64,
    pub(crate) channels: u16,
    pub(crate) channel: u16,
    pub(crate) duration_s: f64,
    pub(crate) encoding: String,
    #[serde(deserialize_with = "present")]
    pub(crate) coupling_hz: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) polarity: Option<Polarity>,
    #[serde(deserialize_with = "present")]
    pub(crate) snr_db: Option<f64>,
    pub(crate) clipped: u64,
    #[serde(deserialize_with = "present")]
    pub(crate) mains_hz: Option<u32>,
    pub(crate) clock_ppm: f64,
    pub(crate) warnings: Vec<Message>,
    #[serde(deserialize_with = "present")]
    pub(crate) hum_percent_of_step: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) chatter_floor_ms: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) tap: Option<String>,
    #[serde(deserialize_with = "present")]
    pub(crate) quench: Option<String>,
    pub(crate) heard_not_wired: bool,
    pub(crate) spikes_only: bool,
}

#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Polarity {
    Normal,
    Inverted,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Value {
    pub(crate) value: f64,
    pub(crate) u95: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Spread {
    pub(crate) mean: f64,
    pub(crate) u95: f64,
    pub(crate) min: f64,
    pub(crate) max: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Digit {
    #[serde(deserialize_with = "present")]
    pub(crate) digit: Option<String>,
    pub(crate) pulses: usize,
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    #[serde(deserialize_with = "present")]
    pub(crate) speed_pps: Option<Value>,
    #[serde(deserialize_with = "present")]
    pub(crate) percent_break: Option<Value>,
    pub(crate) break_ms: Spread,
    #[serde(deserialize_with = "present")]
    pub(crate) make_ms: Option<Spread>,
    #[serde(deserialize_with = "present")]
    pub(crate) slow_down_percent: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) unevenness_percent: Option<f64>,
    pub(crate) chatter_ms_max: f64,
    #[serde(deserialize_with = "present")]
    pub(crate) pause_before_ms: Option<f64>,
    pub(crate) verdict: Verdict,
    pub(crate) sure: bool,
    #[serde(deserialize_with = "present")]
    pub(crate) doubt: Option<String>,
    pub(crate) pulses_detail: Vec<Pulse>,
    #[serde(deserialize_with = "present")]
    pub(crate) percent_break_half_step: Option<Value>,
    #[serde(deserialize_with = "present")]
    pub(crate) winding_ms: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) return_ms: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) idle_after_ms: Option<f64>,
    pub(crate) why_null: BTreeMap<String, String>,
    #[serde(deserialize_with = "present")]
    pub(crate) period_ms: Option<Value>,
    #[serde(deserialize_with = "present")]
    pub(crate) break_make_ratio: Option<Value>,
    #[serde(deserialize_with = "present")]
    pub(crate) slow_down_u95_percent: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) unevenness_u95_percent: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) pause_before_u95_ms: Option<f64>,
    pub(crate) chatter_floor_ms: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Pulse {
    pub(crate) break_start_s: f64,
    pub(crate) make_start_s: f64,
    pub(crate) break_ms: f64,
    #[serde(deserialize_with = "present")]
    pub(crate) make_ms: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) percent_break: Option<f64>,
    pub(crate) chatter_ms: f64,
    pub(crate) break_u95_ms: f64,
    #[serde(deserialize_with = "present")]
    pub(crate) make_u95_ms: Option<f64>,
    pub(crate) chatter_longest_ms: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Check {
    pub(crate) quantity: String,
    pub(crate) digit_index: usize,
    pub(crate) value: f64,
    pub(crate) u95: f64,
    #[serde(deserialize_with = "present")]
    pub(crate) lower: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) upper: Option<f64>,
    pub(crate) verdict: Verdict,
    pub(crate) source: String,
    #[serde(deserialize_with = "present")]
    pub(crate) pulse_index: Option<usize>,
    #[serde(deserialize_with = "present")]
    pub(crate) conformance_probability: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) grade: Option<String>,
    pub(crate) guard_band: f64,
    #[serde(deserialize_with = "present")]
    pub(crate) as_quoted: Option<String>,
    #[serde(deserialize_with = "present")]
    pub(crate) why_not_judged: Option<String>,
    pub(crate) undecidable: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Finding {
    pub(crate) code: String,
    pub(crate) title: String,
    pub(crate) evidence: String,
    pub(crate) likely_cause: String,
    pub(crate) advice: String,
    pub(crate) basis: String,
    #[serde(deserialize_with = "present")]
    pub(crate) digit_index: Option<usize>,
    #[serde(deserialize_with = "present")]
    pub(crate) pulse_index: Option<usize>,
    pub(crate) how_sure: String,
    #[serde(deserialize_with = "present")]
    pub(crate) how_much: Option<HowMuch>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct HowMuch {
    pub(crate) quantity: String,
    #[serde(deserialize_with = "present")]
    pub(crate) middle: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) change: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) least: Option<f64>,
    #[serde(deserialize_with = "present")]
    pub(crate) most: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Answer {
    pub(crate) receiver: String,
    pub(crate) title: String,
    pub(crate) grade: String,
    pub(crate) source: String,
    pub(crate) understood: String,
    pub(crate) reasons: Vec<String>,
    pub(crate) counted_pulses: Vec<Option<usize>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Takes {
    pub(crate) pulses: usize,
    pub(crate) count: usize,
    #[serde(deserialize_with = "present")]
    pub(crate) ten_pulses_s: Option<f64>,
    pub(crate) quantities: Vec<Taken>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Taken {
    pub(crate) quantity: String,
    pub(crate) mean: f64,
    pub(crate) u95: f64,
    pub(crate) recordings_u95: f64,
    pub(crate) spread: f64,
    pub(crate) spread_u95: f64,
    pub(crate) min: f64,
    pub(crate) max: f64,
    pub(crate) decides: String,
    #[serde(deserialize_with = "present")]
    pub(crate) check: Option<Check>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Count {
    #[serde(deserialize_with = "present")]
    pub(crate) dialled: Option<String>,
    pub(crate) expected_pulses: Vec<usize>,
    pub(crate) found_pulses: Vec<usize>,
    pub(crate) verdict: Verdict,
    #[serde(deserialize_with = "present")]
    pub(crate) reason: Option<String>,
    #[serde(deserialize_with = "present")]
    pub(crate) other_plan: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Reason {
    pub(crate) code: String,
    pub(crate) text: String,
    #[serde(deserialize_with = "present")]
    pub(crate) digit_index: Option<usize>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct WouldSay {
    pub(crate) name: String,
    pub(crate) grade: String,
    pub(crate) verdict: Verdict,
    pub(crate) line: String,
}

/// Reads a whole document.
#[track_caller]
pub(crate) fn document(text: &str) -> Document {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error} in\n{text}"))
}
