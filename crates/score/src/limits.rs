//! Limit sets and their sources.
//!
//! The trade states limits in five kinds: rate, period, percent, ratio and milliseconds. They are kept
//! apart and never converted into each other: a dial at 9 pps and 63 % break satisfies rate and percent
//! limits whose products in milliseconds it does not.

use std::borrow::Cow;

mod published;

pub use published::{all, find};

/// How good the evidence for a set is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Grade {
    /// The words of the document were read.
    A,
    /// A transcription with section and paragraph was read.
    AMinus,
    /// Several second-hand texts agree, or a text without author was read.
    BPlus,
    /// One good second-hand text.
    B,
    /// One second-hand text.
    BMinus,
    /// One party's table, with no document behind it: for information, not judged.
    CPlus,
    /// For information, not judged.
    C,
    /// What equipment of today is commonly known to do; no published limit.
    Practice,
    /// The user's own limits: no published evidence is claimed.
    Own,
}

impl Grade {
    /// The grade as printed: `A`, `A-`, `B+`, `B`, `B-`, `C+`, `C`, `practice`, `own`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Grade::A => "A",
            Grade::AMinus => "A-",
            Grade::BPlus => "B+",
            Grade::B => "B",
            Grade::BMinus => "B-",
            Grade::CPlus => "C+",
            Grade::C => "C",
            Grade::Practice => "practice",
            Grade::Own => "own",
        }
    }

    /// The grade of that printed name.
    #[must_use]
    pub fn find(name: &str) -> Option<Grade> {
        use Grade::{A, AMinus, B, BMinus, BPlus, C, CPlus, Own, Practice};
        [A, AMinus, BPlus, B, BMinus, CPlus, C, Practice, Own]
            .into_iter()
            .find(|grade| grade.name() == name)
    }

    /// What the grade says of the evidence, in a few words for a reader.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Grade::A => "the document was read",
            Grade::AMinus => "a transcription of the document was read",
            Grade::BPlus | Grade::B | Grade::BMinus => "second-hand",
            Grade::CPlus | Grade::C => "for information, not judged",
            Grade::Practice => "common practice, no published limit",
            Grade::Own => "the user's own",
        }
    }

    /// True when the evidence is good enough for a verdict: not for grade C and C+, nor for practice.
    #[must_use]
    pub fn judges(self) -> bool {
        !matches!(self, Grade::CPlus | Grade::C | Grade::Practice)
    }

    /// True when the grade must be printed beside a verdict: published evidence below A-.
    #[must_use]
    pub fn is_to_be_printed(self) -> bool {
        !matches!(self, Grade::A | Grade::AMinus | Grade::Own)
    }
}

/// What a set of limits is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Scope {
    /// What a dial or terminal must send.
    Send,
    /// What an exchange or adapter must receive.
    Receive,
    /// Bench or maintenance limits for a dial in service.
    Bench,
}

impl Scope {
    /// The letter and words of the scope.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Scope::Send => "what a dial or terminal must send",
            Scope::Receive => "what an exchange must receive",
            Scope::Bench => "bench limits for a dial in service",
        }
    }
}

/// A pair of tolerance limits, either of which may be missing. Both belong to the tolerance.
#[derive(Clone, Debug, PartialEq)]
pub struct Range {
    /// Lower tolerance limit.
    pub lower: Option<f64>,
    /// Upper tolerance limit.
    pub upper: Option<f64>,
    /// Clause that states it, where it is narrower than [`LimitSet::clause`].
    pub clause: Option<Cow<'static, str>>,
}

impl Range {
    /// From `lower` to `upper`, both included.
    #[must_use]
    pub const fn between(lower: f64, upper: f64) -> Self {
        Range {
            lower: Some(lower),
            upper: Some(upper),
            clause: None,
        }
    }

    /// At least `lower`.
    #[must_use]
    pub const fn at_least(lower: f64) -> Self {
        Range {
            lower: Some(lower),
            upper: None,
            clause: None,
        }
    }

    /// At most `upper`.
    #[must_use]
    pub const fn at_most(upper: f64) -> Self {
        Range {
            lower: None,
            upper: Some(upper),
            clause: None,
        }
    }

    /// The same limits with the clause that states them.
    #[must_use]
    pub fn in_clause(self, clause: &'static str) -> Self {
        Range {
            clause: Some(Cow::Borrowed(clause)),
            ..self
        }
    }

    /// Half the width of the tolerance; `None` unless both limits are there.
    #[must_use]
    pub fn half_width(&self) -> Option<f64> {
        Some((self.upper? - self.lower?) / 2.0)
    }
}

/// A percent limit, kept in the form in which its source states it.
#[derive(Clone, Debug, PartialEq)]
pub enum PercentLimit {
    /// Percent break: 100 × break / (break + make).
    Break(Range),
    /// Percent make: 100 × make / (break + make), the complement of percent break.
    Make(Range),
}

impl PercentLimit {
    /// The limits on percent break: of a percent-make limit, the complements.
    #[must_use]
    pub fn percent_break(&self) -> Range {
        match self {
            PercentLimit::Break(range) => range.clone(),
            PercentLimit::Make(range) => Range {
                lower: range.upper.map(|upper| 100.0 - upper),
                upper: range.lower.map(|lower| 100.0 - lower),
                clause: range.clause.clone(),
            },
        }
    }
}

/// Line currents by which a set defines make and break.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurrentDefinition {
    /// The loop counts as open below this current, in milliamperes.
    pub break_below_ma: f64,
    /// The loop counts as closed above this current, in milliamperes.
    pub make_above_ma: f64,
}

/// A set of limits with its source. Missing limits are not judged.
///
/// A set of one's own starts from [`LimitSet::own`]:
///
/// ```
/// use score::limits::{LimitSet, Range};
/// let mine = LimitSet { pps: Some(Range::between(9.8, 10.2)), ..LimitSet::own("mine") };
/// assert_eq!(mine.grade.name(), "own");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct LimitSet {
    /// Name by which it is chosen.
    pub name: Cow<'static, str>,
    /// One line that says what it is.
    pub title: Cow<'static, str>,
    /// What it is about.
    pub scopes: Cow<'static, [Scope]>,
    /// Document that states it.
    pub document: Cow<'static, str>,
    /// Clause, table or paragraph.
    pub clause: Cow<'static, str>,
    /// Year of the document, or what is known of it.
    pub year: Cow<'static, str>,
    /// How good the evidence is.
    pub grade: Grade,
    /// What the evidence is, in our own words.
    pub evidence: Cow<'static, str>,
    /// The limits tell what to set a dial to: being outside is not by itself a reason to reject it.
    pub set_to_only: bool,
    /// What else to know before using it; may be empty.
    pub note: Cow<'static, str>,
    /// Line currents that define make and break, where the set has them.
    pub line_current: Option<CurrentDefinition>,
    /// Pulsing speed of a digit, in pulses per second.
    pub pps: Option<Range>,
    /// Percent break or percent make of a digit.
    pub percent: Option<PercentLimit>,
    /// Break-to-make ratio of a digit.
    pub break_make_ratio: Option<Range>,
    /// Mean period of a digit, in milliseconds.
    pub period_ms: Option<Range>,
    /// Every break, in milliseconds.
    pub break_ms: Option<Range>,
    /// Every make but the last of a digit, in milliseconds.
    pub make_ms: Option<Range>,
    /// Contact bounce of every make, in milliseconds.
    pub bounce_ms: Option<Range>,
    /// Interdigital pause, in milliseconds; judged only on request.
    pub pause_ms: Option<Range>,
}

impl LimitSet {
    /// A set without any limit, to be filled in: the user's own, with no published evidence.
    #[must_use]
    pub fn own(name: impl Into<Cow<'static, str>>) -> Self {
        LimitSet {
            name: name.into(),
            ..published::BLANK
        }
    }

    /// True when the set says something about what a dial sends, at the dial itself.
    #[must_use]
    pub fn is_about_dials(&self) -> bool {
        self.scopes.is_empty()
            || self
                .scopes
                .iter()
                .any(|scope| matches!(scope, Scope::Send | Scope::Bench))
    }

    /// True when nothing but the interdigital pause is limited.
    #[must_use]
    pub fn limits_only_pauses(&self) -> bool {
        self.pause_ms.is_some()
            && self.pps.is_none()
            && self.percent.is_none()
            && [
                &self.break_make_ratio,
                &self.period_ms,
                &self.break_ms,
                &self.make_ms,
                &self.bounce_ms,
            ]
            .iter()
            .all(|range| range.is_none())
    }

    /// Document, clause and year of one limit of the set, in one line.
    #[must_use]
    pub fn source_of(&self, range: &Range) -> String {
        let clause = range.clause.as_ref().unwrap_or(&self.clause);
        let parts = [&self.document, clause, &self.year];
        parts
            .iter()
            .filter(|part| !part.is_empty())
            .map(|part| part.as_ref())
            .collect::<Vec<_>>()
            .join(", ")
    }
}
