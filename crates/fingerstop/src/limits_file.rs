//! A limit set of one's own, from a TOML file. Every complaint says where: file, line and column.

use std::borrow::Cow;
use std::fs;
use std::ops::Range as Span;
use std::path::Path;

use score::limits::{LimitSet, PercentLimit, Range, Scope, find};
use serde::Deserialize;
use toml::Spanned;

/// What a file may say. Limits that are left out are not judged.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SetFile {
    name: Spanned<String>,
    title: Option<String>,
    document: Option<String>,
    clause: Option<String>,
    year: Option<String>,
    note: Option<String>,
    scope: Option<Vec<ScopeName>>,
    set_to_only: Option<bool>,
    speed_pps: Option<Spanned<RangeFile>>,
    percent_break: Option<Spanned<RangeFile>>,
    percent_make: Option<Spanned<RangeFile>>,
    break_make_ratio: Option<Spanned<RangeFile>>,
    period_ms: Option<Spanned<RangeFile>>,
    break_ms: Option<Spanned<RangeFile>>,
    make_ms: Option<Spanned<RangeFile>>,
    bounce_ms: Option<Spanned<RangeFile>>,
    pause_ms: Option<Spanned<RangeFile>>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum ScopeName {
    Send,
    Receive,
    Bench,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RangeFile {
    lower: Option<Spanned<f64>>,
    upper: Option<Spanned<f64>>,
    clause: Option<String>,
}

/// What is wrong with a file, and where it stands.
struct Complaint {
    at: Span<usize>,
    what: String,
}

fn complaint<T>(at: Span<usize>, what: impl Into<String>) -> Result<T, Complaint> {
    Err(Complaint {
        at,
        what: what.into(),
    })
}

/// Reads and checks the set in `path`. The message of a failure names the file, and of one that can be read line and
/// column.
pub(crate) fn read(path: &Path) -> Result<LimitSet, String> {
    let shown = path.display();
    let bytes = fs::read(path).map_err(|error| format!("cannot read {shown}: {error}"))?;
    let (text, read) = match String::from_utf8(bytes) {
        Ok(text) => {
            let read = parsed(&text);
            (text, read)
        }
        Err(odd) => {
            let valid = odd.utf8_error().valid_up_to();
            let text = String::from_utf8_lossy(&odd.as_bytes()[..valid]).into_owned();
            (text, complaint(valid..valid, NO_TEXT))
        }
    };
    read.map_err(|Complaint { at, what }| {
        let (line, column) = place(&text, at.start);
        format!("{shown}, line {line}, column {column}: {what}")
    })
}

const NO_TEXT: &str =
    "no text in UTF-8: a set of limits is a TOML file, as docs/limits.md shows one";

/// Line and column of a byte, both counted from 1; columns are characters.
fn place(text: &str, byte: usize) -> (usize, usize) {
    let before = text.get(..byte).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |end| end + 1);
    let line = before.matches('\n').count() + 1;
    (line, before[line_start..].chars().count() + 1)
}

fn parsed(text: &str) -> Result<LimitSet, Complaint> {
    let file: SetFile = toml::from_str(text).map_err(|error| Complaint {
        at: error.span().unwrap_or_default(),
        what: in_words(error.message()),
    })?;
    let name = name(&file.name)?;
    let set = LimitSet {
        title: owned(file.title.clone()).unwrap_or(LimitSet::own("").title),
        document: owned(file.document.clone()).unwrap_or(LimitSet::own("").document),
        clause: owned(file.clause.clone()).unwrap_or_default(),
        year: owned(file.year.clone()).unwrap_or_default(),
        note: owned(file.note.clone()).unwrap_or_default(),
        scopes: Cow::Owned(scopes(&file)),
        set_to_only: file.set_to_only.unwrap_or(false),
        pps: range("speed_pps", &file.speed_pps, 100.0)?,
        percent: percent(&file)?,
        break_make_ratio: range("break_make_ratio", &file.break_make_ratio, 100.0)?,
        period_ms: range("period_ms", &file.period_ms, 10_000.0)?,
        break_ms: range("break_ms", &file.break_ms, 10_000.0)?,
        make_ms: range("make_ms", &file.make_ms, 10_000.0)?,
        bounce_ms: range("bounce_ms", &file.bounce_ms, 10_000.0)?,
        pause_ms: range("pause_ms", &file.pause_ms, 1e6)?,
        ..LimitSet::own(name)
    };
    limits_something(&set, text.len())?;
    Ok(set)
}

/// The parser's message in one line, and without the names of types that only programmers know.
fn in_words(message: &str) -> String {
    [
        ("\n", ", "),
        ("expected f64", "expected a number"),
        ("expected a sequence", "expected a list such as [\"bench\"]"),
        (
            "expected struct RangeFile",
            "expected a table with lower and upper",
        ),
    ]
    .into_iter()
    .fold(message.to_owned(), |message, (from, to)| {
        message.replace(from, to)
    })
}

fn owned(text: Option<String>) -> Option<Cow<'static, str>> {
    text.map(Cow::Owned)
}

/// A name that a command line and a table can carry, and that no published set has.
fn name(name: &Spanned<String>) -> Result<String, Complaint> {
    let text = name.get_ref();
    let plain = |c: char| c.is_ascii_alphanumeric() || "-._".contains(c);
    if text.is_empty() || !text.chars().all(plain) {
        return complaint(
            name.span(),
            "the name may hold letters, digits, hyphens, dots and underscores only",
        );
    }
    if text == "none" || find(text).is_some() {
        return complaint(
            name.span(),
            format!(
                "`{text}` is a name that is taken: choose another, so that no report can be misread"
            ),
        );
    }
    Ok(text.clone())
}

fn scopes(file: &SetFile) -> Vec<Scope> {
    let names = file.scope.iter().flatten();
    names
        .map(|name| match name {
            ScopeName::Send => Scope::Send,
            ScopeName::Receive => Scope::Receive,
            ScopeName::Bench => Scope::Bench,
        })
        .collect()
}

/// Percent break or percent make, as the source states it; both would be one limit twice.
fn percent(file: &SetFile) -> Result<Option<PercentLimit>, Complaint> {
    if let (Some(_), Some(make)) = (&file.percent_break, &file.percent_make) {
        return complaint(
            make.span(),
            "percent_make is the complement of percent_break: give the one that your source states",
        );
    }
    let broken = range("percent_break", &file.percent_break, 100.0)?.map(PercentLimit::Break);
    let made = range("percent_make", &file.percent_make, 100.0)?.map(PercentLimit::Make);
    Ok(broken.or(made))
}

/// A range between 0 and `most`, with at least one limit, the lower below the upper.
fn range(
    name: &str,
    range: &Option<Spanned<RangeFile>>,
    most: f64,
) -> Result<Option<Range>, Complaint> {
    let Some(range) = range else { return Ok(None) };
    let RangeFile {
        lower,
        upper,
        clause,
    } = range.get_ref();
    let possible = |limit: f64| limit.is_finite() && (0.0..=most).contains(&limit);
    let mut limits = lower.iter().chain(upper);
    if let Some(odd) = limits.find(|limit| !possible(*limit.get_ref())) {
        let limit = odd.get_ref();
        let what = format!("{name} has the limit {limit}: it must lie between 0 and {most}");
        return complaint(odd.span(), what);
    }
    let value = |limit: &Option<Spanned<f64>>| limit.as_ref().map(|limit| *limit.get_ref());
    match (value(lower), value(upper)) {
        (None, None) => complaint(range.span(), format!("{name} has neither lower nor upper")),
        (Some(least), Some(greatest)) if least >= greatest => complaint(
            upper.as_ref().map_or(range.span(), Spanned::span),
            format!("{name} has lower {least} and upper {greatest}: nothing lies between them"),
        ),
        (lower, upper) => Ok(Some(Range {
            lower,
            upper,
            clause: owned(clause.clone()),
        })),
    }
}

/// `end` is where a limit could be written.
fn limits_something(set: &LimitSet, end: usize) -> Result<(), Complaint> {
    let blank = LimitSet {
        name: set.name.clone(),
        title: set.title.clone(),
        document: set.document.clone(),
        clause: set.clause.clone(),
        year: set.year.clone(),
        note: set.note.clone(),
        scopes: set.scopes.clone(),
        set_to_only: set.set_to_only,
        ..LimitSet::own("")
    };
    if *set == blank {
        let what = "no limit is given: write a table such as [speed_pps] with lower and upper; others are \
                    percent_break, percent_make, break_make_ratio, period_ms, break_ms, make_ms, bounce_ms, pause_ms";
        return complaint(end..end, what);
    }
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may panic")]
mod tests {
    use super::*;

    fn refused(text: &str) -> ((usize, usize), String) {
        let complaint = parsed(text).err().unwrap();
        (place(text, complaint.at.start), complaint.what)
    }

    #[test]
    fn a_set_is_read_in_the_kinds_it_states() {
        let set = parsed(
            "name = \"bench-1\"\nscope = [\"bench\"]\nset_to_only = true\n[speed_pps]\nlower = 9.8\nupper = 10.2\n\
             [percent_make]\nlower = 36\nupper = 40\nclause = \"table 2\"\n[bounce_ms]\nupper = 1.5\n",
        )
        .ok()
        .unwrap();
        assert_eq!((set.name.as_ref(), set.set_to_only), ("bench-1", true));
        assert_eq!(set.pps, Some(Range::between(9.8, 10.2)));
        let Some(PercentLimit::Make(range)) = &set.percent else {
            panic!("{:?}", set.percent)
        };
        assert_eq!((range.lower, range.upper), (Some(36.0), Some(40.0)));
        assert_eq!(set.source_of(range), "own limits, table 2");
        assert_eq!(set.bounce_ms, Some(Range::at_most(1.5)));
    }

    /// What is wrong, and the line and column at which it stands.
    #[test]
    fn complaints_say_where() {
        let cases = [
            ("name = \"a\"\n[speed_pps\n", (2, 11), "table"),
            ("name = \"a\"\nsped = 3\n", (2, 1), "sped"),
            (
                "name = \"a\"\n[speed_pps]\nlower = \"ten\"\n",
                (3, 9),
                "string \"ten\", expected a number",
            ),
            (
                "name = \"a\"\nscope = \"bench\"\n[speed_pps]\nlower = 9\n",
                (2, 9),
                "expected a list such as",
            ),
            (
                "name = \"a\"\nspeed_pps = 10\n",
                (2, 13),
                "expected a table with lower and upper",
            ),
            (
                "name = \"a\"\n[speed_hz]\nlower = 9\n",
                (2, 2),
                "unknown field `speed_hz`, expected one of `name`",
            ),
            ("", (1, 1), "missing field `name`"),
            ("name = \"a\"\n[speed_pps]\nupper = nan\n", (3, 9), "NaN"),
            (
                "name = \"a\"\n\n[speed_pps]\nlower = 10.5\nupper = 9.5\n",
                (5, 9),
                "nothing lies between",
            ),
            ("name = \"a\"\n[speed_pps]\n", (2, 1), "neither"),
            (
                "name = \"a\"\n[percent_break]\nupper = 164\n",
                (3, 9),
                "between 0 and 100",
            ),
            (
                "name = \"jp-10\"\n[speed_pps]\nlower = 9\n",
                (1, 8),
                "taken",
            ),
            (
                "name = \"a b\"\n[speed_pps]\nlower = 9\n",
                (1, 8),
                "letters",
            ),
            ("name = \"a\"\n", (2, 1), "no limit"),
            (
                "name = \"a\"\n[percent_break]\nlower = 60\n[percent_make]\nlower = 30\n",
                (4, 1),
                "complement",
            ),
        ];
        for (text, at, words) in cases {
            let (place, what) = refused(text);
            assert_eq!(place, at, "{text}: {what}");
            assert!(what.contains(words) && !what.contains('\n'), "{what}");
        }
    }

    #[test]
    fn a_column_counts_characters() {
        assert_eq!(place("é = 1\nññ x", 11), (2, 3));
    }
}
