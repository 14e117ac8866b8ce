//! Limit sets in words.

use score::limits::{Grade, LimitSet, PercentLimit, Range};

use super::page::{Page, Paint};
use crate::figure::limits;
use crate::words::source;

/// The grade, with what it says of the evidence where it must be printed: `A`, `B+, second-hand`.
pub(super) fn grade(set: &LimitSet) -> String {
    let name = set.grade.name();
    if set.grade.is_to_be_printed() {
        format!("{name}, {}", set.grade.words())
    } else {
        name.to_owned()
    }
}

/// A heading of the list, and which sets stand under it.
type Chapter = (&'static str, fn(&LimitSet) -> bool);

/// Every set in a line or two, by what it is for, with a newline at the end.
#[must_use]
pub fn limit_list(sets: &[LimitSet]) -> String {
    let chapters: [Chapter; 4] = [
        ("For a dial", |set| {
            for_dials(set) && !set.limits_only_pauses()
        }),
        (
            "For the pauses of an automatic sender (--judge-pauses)",
            |set| for_dials(set) && set.limits_only_pauses(),
        ),
        (
            "For a receiver: will this dial be understood (check --for NAME)",
            |set| set.grade.judges() && !set.is_about_dials(),
        ),
        ("For information, not judged", |set| !set.grade.judges()),
    ];
    let mut page = Page::new(Paint::Plain);
    page.line(0, "NAME                 GRADE  WHAT IT LIMITS");
    for (title, belongs) in chapters {
        let chosen: Vec<&LimitSet> = sets.iter().filter(|set| belongs(set)).collect();
        if !chosen.is_empty() {
            page.blank();
            page.line(0, title);
            chosen.into_iter().for_each(|set| list_line(&mut page, set));
        }
    }
    page.blank();
    page.paragraph(
        0,
        "Grade: how good the evidence is; A the document was read, A- a transcription of it, B second-hand, C for \
         information, not judged. No set is used unless you choose it: choose one that fits the dial's country \
         and age, since the families exclude each other's healthy dials.",
    );
    page.finish()
}

fn for_dials(set: &LimitSet) -> bool {
    set.grade.judges() && set.is_about_dials()
}

fn list_line(page: &mut Page, set: &LimitSet) {
    let lead = format!("{:<20} {:<6} ", set.name, set.grade.name());
    page.paragraph_after(&lead, &format!("{}: {}", set.title, summary(set)));
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

/// One set in full, fit to be cited, with a newline at the end.
#[must_use]
pub fn limit_sheet(set: &LimitSet) -> String {
    let mut page = Page::new(Paint::Plain);
    page.paragraph(0, &format!("{}: {}", set.name, set.title));
    limit_table(&mut page, set);
    page.blank();
    for (name, words) in provenance(set) {
        if !words.is_empty() {
            page.paragraph_after(&format!("  {name:<10}"), &words);
        }
    }
    page.blank();
    page.paragraph_after("  cite as   ", &citation(set));
    page.finish()
}

/// The limits by kind: the trade states five, and none is ever turned into another.
fn limit_table(page: &mut Page, set: &LimitSet) {
    for kind in ["rate", "percent", "ratio", "period", "milliseconds"] {
        let of_kind: Vec<_> = ranges(set)
            .into_iter()
            .filter(|(name, ..)| kind_of(name) == kind)
            .collect();
        if of_kind.is_empty() {
            continue;
        }
        page.blank();
        page.line(2, &format!("limits of {kind}, for {}", holds_for(kind)));
        for (name, range, unit) in of_kind {
            let clause = range
                .clause
                .as_ref()
                .map(|clause| format!("   ({clause})"))
                .unwrap_or_default();
            let figure = joined("", &limits(range.lower, range.upper), unit);
            page.line(4, &format!("{name:<17}{figure}{clause}"));
        }
    }
}

/// The kind of limit that a quantity is stated in.
fn kind_of(name: &str) -> &'static str {
    match name {
        "speed" => "rate",
        "percent break" | "percent make" => "percent",
        "break/make ratio" => "ratio",
        "period" => "period",
        _ => "milliseconds",
    }
}

fn holds_for(kind: &str) -> &'static str {
    match kind {
        "milliseconds" => "every break, every make but a digit's last, every bounce and pause",
        _ => "the mean of a digit",
    }
}

/// Where a set comes from and how it is used, in the order of the sheet.
fn provenance(set: &LimitSet) -> Vec<(&'static str, String)> {
    let scopes: Vec<&str> = set.scopes.iter().map(|scope| scope.words()).collect();
    let current = set.line_current.map(|current| {
        format!(
            "break below {} mA, make above {} mA",
            current.break_below_ma, current.make_above_ma
        )
    });
    let set_to =
        "tells what to set a dial to; being outside is not by itself a reason to reject it";
    let pause = "judged only with --judge-pauses: a hand makes most of it";
    let said = |holds: bool, words: &str| {
        if holds {
            words.to_owned()
        } else {
            String::new()
        }
    };
    vec![
        ("document", set.document.to_string()),
        ("clause", set.clause.to_string()),
        ("year", set.year.to_string()),
        (
            "grade",
            format!("{}, {}", set.grade.name(), set.grade.words()),
        ),
        ("evidence", set.evidence.to_string()),
        ("scope", scopes.join("; ")),
        ("current", current.unwrap_or_default()),
        ("use", said(set.set_to_only, set_to)),
        ("pause", said(set.pause_ms.is_some(), pause)),
        ("note", set.note.to_string()),
    ]
}

/// One line for a report: document, clause, year, and how well it is known where that is not A.
fn citation(set: &LimitSet) -> String {
    let reserve = match set.grade {
        Grade::A | Grade::Own => String::new(),
        grade => format!(" (grade {}: {})", grade.name(), grade.words()),
    };
    format!("{}{reserve}", source(set))
}
