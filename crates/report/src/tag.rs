//! From a record to the card that is tied to the dial.

use score::limits::PercentLimit;
use score::{Settings, Value, Verdict};

use crate::batch::Row;
use crate::chart::tone;
use crate::figure::{limits, with_uncertainty};
use crate::json;
use crate::plot::PlotError;
use crate::plot::sheet::Badge;
use crate::plot::tag::{self, TagSheet};
use crate::record::Record;
use crate::words::verdict_words;

/// A card with the dial's name, a date, its figures, the verdict and the limits, as an SVG document of the size of
/// a luggage label. `date` is printed as it is given.
///
/// # Errors
/// When the drawing library refuses.
pub fn tag(
    record: &Record,
    settings: &Settings,
    dial_id: Option<&str>,
    date: Option<&str>,
    tool_version: &str,
) -> Result<String, PlotError> {
    let refused = |error: &dyn std::fmt::Display| PlotError(error.to_string());
    let recording = json::recording(record, settings, dial_id);
    let line = json::line(&recording, settings, tool_version).map_err(|error| refused(&error))?;
    let row = Row::read(&line).map_err(|error| refused(&error))?;
    tag::draw(&TagSheet {
        dial: dial_id.unwrap_or(file_name(&record.input)).to_owned(),
        date: date.map(str::to_owned),
        badge: badge(&row),
        figures: figures(record, &row),
        notes: notes(settings, &row, tool_version),
    })
}

/// A card has no room for folders.
fn file_name(input: &str) -> &str {
    input.rsplit(['/', '\\']).next().unwrap_or(input)
}

fn badge(row: &Row) -> Badge {
    let word = match row.verdict {
        _ if row.error.is_some() => "cannot be read",
        Verdict::NotJudged if row.is_measured() => "measured",
        verdict => verdict_words(verdict),
    };
    Badge {
        word: word.to_owned(),
        tone: tone(row.verdict),
    }
}

fn figures(record: &Record, row: &Row) -> Vec<(String, String)> {
    let shown =
        |value: Value, unit: &str| format!("{} {unit}", with_uncertainty(value.value, value.u95));
    let digits = record
        .outcome
        .iter()
        .flat_map(|measured| &measured.scored.digits);
    let chatter = digits
        .clone()
        .map(|digit| digit.chatter_ms_max)
        .fold(0.0, f64::max);
    let slow_down = digits
        .filter_map(|digit| digit.slow_down_percent)
        .max_by(|a, b| a.value.abs().total_cmp(&b.value.abs()));
    let all = [
        row.error.is_none().then(|| ("digits", digits_said(row))),
        row.speed_pps
            .map(|value| ("pulsing speed", shown(value, "pps"))),
        row.percent_break
            .map(|value| ("percent break", shown(value, "%"))),
        slow_down.map(|value| ("slow-down", shown(value, "%"))),
        (chatter > 0.0).then(|| ("chatter", format!("up to {chatter:.2} ms"))),
    ];
    all.into_iter()
        .flatten()
        .map(|(name, figure)| (name.to_owned(), figure))
        .collect()
}

fn digits_said(row: &Row) -> String {
    if row.digits.is_empty() {
        "no dialling found".to_owned()
    } else {
        row.digits.clone()
    }
}

fn notes(settings: &Settings, row: &Row, tool_version: &str) -> Vec<String> {
    let findings =
        (!row.findings.is_empty()).then(|| format!("findings: {}", row.findings.join(", ")));
    let verified = if crate::UNCERTAINTY_VERIFIED {
        ""
    } else {
        ", not yet verified"
    };
    let made = format!("± 95 %{verified}; fingerstop {tool_version}");
    let why = row.error.as_ref().or(row.reason.as_ref());
    why.cloned()
        .into_iter()
        .chain(findings)
        .chain(limit_lines(settings))
        .chain([made])
        .collect()
}

/// The set and its limits, a line each: the card is narrow.
fn limit_lines(settings: &Settings) -> Vec<String> {
    let Some(set) = &settings.limits else {
        return vec!["no limits chosen".to_owned()];
    };
    let name = format!("limits {} (grade {})", set.name, set.grade.name());
    let percent = set.percent.as_ref().map(PercentLimit::percent_break);
    let kinds = [
        (set.pps.as_ref(), "", " pps"),
        (set.period_ms.as_ref(), "period ", " ms"),
        (percent.as_ref(), "", " % break"),
        (set.break_make_ratio.as_ref(), "break to make ", ""),
        (set.break_ms.as_ref(), "break ", " ms"),
        (set.make_ms.as_ref(), "make ", " ms"),
        (set.bounce_ms.as_ref(), "bounce ", " ms"),
    ];
    let figures = kinds.into_iter().filter_map(|(range, name, unit)| {
        let range = range?;
        Some(format!("{name}{}{unit}", limits(range.lower, range.upper)))
    });
    let mut lines = vec![name];
    for figure in figures {
        match lines.last_mut() {
            Some(line) if lines_have_room(line, &figure) => *line += &format!(", {figure}"),
            _ => lines.push(figure),
        }
    }
    lines
}

/// A line of figures, not that of the name, takes another figure as long as it fits the card.
fn lines_have_room(line: &str, figure: &str) -> bool {
    const CHARACTERS: usize = 50;
    !line.starts_with("limits ") && line.len() + figure.len() + 2 <= CHARACTERS
}
