//! Limit sets in words.

use score::limits::{LimitSet, PercentLimit, Range};

use super::page::{Page, Paint};
use crate::figure::limits;

/// Document, clause and year of a set, in one line.
pub(super) fn source(set: &LimitSet) -> String {
    let parts = [
        set.document.as_ref(),
        set.clause.as_ref(),
        set.year.as_ref(),
    ];
    parts
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(", ")
}

/// Every set in a line or two, with a newline at the end.
#[must_use]
pub fn limit_list(sets: &[LimitSet]) -> String {
    let mut page = Page::new(Paint::Plain);
    page.line(0, "NAME              GRADE  WHAT IT LIMITS");
    for set in sets {
        let lead = format!("{:<17} {:<6} ", set.name, set.grade.name());
        page.paragraph_after(&lead, &format!("{}: {}", set.title, summary(set)));
    }
    page.blank();
    page.paragraph(0, "Grade: how good the evidence is; A the document was read, A- a transcription of it, B at \
        second hand, C information only. Choose a set that fits the dial's country and age: the families \
        exclude each other's healthy dials.");
    page.finish()
}

fn summary(set: &LimitSet) -> String {
    ranges(set)
        .into_iter()
        .map(|(name, range, unit)| joined(name, &limits(range.lower, range.upper), unit))
        .collect::<Vec<_>>()
        .join(", ")
}

fn joined(name: &str, limits: &str, unit: &str) -> String {
    format!("{name} {limits} {unit}").trim_end().to_owned()
}

/// The limits of a set: name, range, unit, in a fixed order.
fn ranges(set: &LimitSet) -> Vec<(&'static str, Range, &'static str)> {
    let percent = set.percent.as_ref().map(|percent| match percent {
        PercentLimit::Break(range) => ("percent break", range.clone(), "%"),
        PercentLimit::Make(range) => ("percent make", range.clone(), "%"),
    });
    let plain = [
        ("break/make ratio", &set.break_make_ratio, ""),
        ("period", &set.period_ms, "ms"),
        ("break", &set.break_ms, "ms"),
        ("make", &set.make_ms, "ms"),
        ("bounce", &set.bounce_ms, "ms"),
        ("pause", &set.pause_ms, "ms"),
    ];
    let speed = set.pps.clone().map(|range| ("speed", range, "pps"));
    let rest = plain
        .into_iter()
        .filter_map(|(name, range, unit)| range.clone().map(|range| (name, range, unit)));
    speed.into_iter().chain(percent).chain(rest).collect()
}

/// One set in full, with a newline at the end.
#[must_use]
pub fn limit_sheet(set: &LimitSet) -> String {
    let mut page = Page::new(Paint::Plain);
    page.paragraph(0, &format!("{}: {}", set.name, set.title));
    page.blank();
    for (name, range, unit) in ranges(set) {
        let clause = range
            .clause
            .as_ref()
            .map(|clause| format!("   ({clause})"))
            .unwrap_or_default();
        let figure = joined("", &limits(range.lower, range.upper), unit);
        page.line(2, &format!("{name:<17}{figure}{clause}"));
    }
    page.blank();
    let scopes: Vec<&str> = set.scopes.iter().map(|scope| scope.words()).collect();
    let field = |page: &mut Page, name: &str, words: &str| {
        if !words.is_empty() {
            page.paragraph_after(&format!("  {name:<10}"), words);
        }
    };
    field(&mut page, "source", &source(set));
    field(&mut page, "grade", set.grade.name());
    field(&mut page, "evidence", &set.evidence);
    field(&mut page, "scope", &scopes.join("; "));
    if let Some(current) = set.line_current {
        let words = format!(
            "break below {} mA, make above {} mA",
            current.break_below_ma, current.make_above_ma
        );
        field(&mut page, "current", &words);
    }
    if set.set_to_only {
        field(
            &mut page,
            "use",
            "tells what to set a dial to; being outside is not by itself a reason to reject it",
        );
    }
    if set.pause_ms.is_some() {
        field(
            &mut page,
            "pause",
            "judged only with --judge-pauses: a hand makes most of it",
        );
    }
    field(&mut page, "note", &set.note);
    page.finish()
}
