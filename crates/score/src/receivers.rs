//! Whether a receiver understands a dial: another question than whether the dial is in adjustment.

use std::borrow::Cow;

use crate::grouping::{Break, Group, Interruption, break_s, make_s};
use crate::judge::{self, severity};
use crate::limits::{self, Grade, LimitSet, Range, Scope};
use crate::settings::Settings;
use crate::types::{Check, Digit, Verdict};
use crate::wording::{limits as limits_in_words, which};

/// What a receiver takes for a pulse, beside or instead of published limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Receiver {
    /// Limits, source and grade. Of the common adapter it has no limits, only a name and a grade.
    pub set: LimitSet,
    /// An opening of this length, in milliseconds, counts as one pulse, whatever else is true of it; `None` where
    /// only limits are known.
    pub counted_ms: Option<Range>,
    /// An opening of this length, in milliseconds, may be taken for a hook flash.
    pub flash_ms: Option<Range>,
}

impl Receiver {
    /// A receiver of which limits are known, and nothing else.
    #[must_use]
    pub fn of_set(set: LimitSet) -> Self {
        Receiver {
            set,
            counted_ms: None,
            flash_ms: None,
        }
    }

    /// A digit is over when the loop has been closed for this long, in milliseconds: the longest pulse and a little,
    /// as common adapters have it.
    fn digit_ends_ms(&self) -> Option<f64> {
        const A_LITTLE_MS: f64 = 50.0;
        Some(self.counted_ms.as_ref()?.upper? + A_LITTLE_MS)
    }
}

/// Every receiver known here: those of the published sets that say what must be received, and the common adapter.
#[must_use]
pub fn all() -> Vec<Receiver> {
    let receiving = |set: &&LimitSet| set.scopes.contains(&Scope::Receive);
    let published = limits::all()
        .iter()
        .filter(receiving)
        .cloned()
        .map(published);
    published.chain([adapter()]).collect()
}

/// The receiver of that name.
#[must_use]
pub fn find(name: &str) -> Option<Receiver> {
    all().into_iter().find(|receiver| receiver.set.name == name)
}

fn published(set: LimitSet) -> Receiver {
    let flash_ms = (set.name == "fi-rx").then(|| Range::between(90.0, 500.0));
    Receiver {
        flash_ms,
        ..Receiver::of_set(set)
    }
}

/// What open-source line drivers do by default: openings of 15-200 ms are pulses, a digit is over 50 ms after the
/// longest of them.
fn adapter() -> Receiver {
    Receiver {
        set: LimitSet {
            title: Cow::Borrowed("common adapter for a rotary telephone"),
            scopes: Cow::Borrowed(&[Scope::Receive]),
            document: Cow::Borrowed(
                "default constants of an open-source line driver (built for short hook flashes it counts 80 ms at most)",
            ),
            grade: Grade::Practice,
            evidence: Cow::Borrowed(
                "the constants were read in its source text; adapters differ, and none is bound by them",
            ),
            ..LimitSet::own("adapter")
        },
        counted_ms: Some(Range::between(15.0, 200.0)),
        flash_ms: None,
    }
}

/// The answer to "will this dial be understood".
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Understood {
    /// Every digit lies inside what the receiver takes.
    Yes,
    /// A digit lies so near to its bounds that this recording cannot tell on which side.
    Perhaps,
    /// A digit lies outside, or would be counted wrong.
    No,
    /// Nothing sure was recorded that the receiver has bounds for.
    CannotTell,
}

impl Understood {
    /// As a program reads it: `yes`, `perhaps`, `no`, `cannot-tell`.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Understood::Yes => "yes",
            Understood::Perhaps => "perhaps",
            Understood::No => "no",
            Understood::CannotTell => "cannot-tell",
        }
    }

    /// The answer that [`Understood::code`] writes as `code`.
    #[must_use]
    pub fn of_code(code: &str) -> Option<Self> {
        let all = [
            Understood::Yes,
            Understood::Perhaps,
            Understood::No,
            Understood::CannotTell,
        ];
        all.into_iter().find(|answer| answer.code() == code)
    }

    /// In words for a reader.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Understood::Yes => "will be understood",
            Understood::Perhaps => "may be misunderstood",
            Understood::No => "will not be understood reliably",
            Understood::CannotTell => "cannot be told",
        }
    }

    fn of(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Pass => Understood::Yes,
            Verdict::ConditionalPass | Verdict::ConditionalFail => Understood::Perhaps,
            Verdict::Fail => Understood::No,
            Verdict::NotJudged => Understood::CannotTell,
        }
    }

    /// Order of the answers, worst last: yes, perhaps, cannot tell, no.
    #[must_use]
    pub fn weight(self) -> u8 {
        match self {
            Understood::Yes => 0,
            Understood::Perhaps => 1,
            Understood::CannotTell => 2,
            Understood::No => 3,
        }
    }
}

/// What one receiver makes of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Name of the receiver.
    pub receiver: String,
    /// One line that says what it is.
    pub title: String,
    /// Grade of what is known of it; [`Grade::Practice`] where no limit was published.
    pub grade: Grade,
    /// Document, clause and year, or what stands in their place.
    pub source: String,
    /// The answer.
    pub understood: Understood,
    /// Why, one line each; empty only where everything is inside.
    pub reasons: Vec<String>,
    /// Pulses that the receiver would count in each digit; `None` where it is known by limits only, or the digit is
    /// not sure.
    pub counted: Vec<Option<usize>>,
}

/// Asks every receiver of the settings.
pub(crate) fn answers(digits: &[Digit], groups: &[Group], settings: &Settings) -> Vec<Answer> {
    settings
        .receivers
        .iter()
        .map(|receiver| answer(receiver, digits, groups, settings))
        .collect()
}

fn answer(receiver: &Receiver, digits: &[Digit], groups: &[Group], settings: &Settings) -> Answer {
    let mut answer = Answer {
        receiver: receiver.set.name.to_string(),
        title: receiver.set.title.to_string(),
        grade: receiver.set.grade,
        source: receiver.set.source_of(&Range::at_least(0.0)),
        understood: Understood::CannotTell,
        reasons: Vec::new(),
        counted: Vec::new(),
    };
    let mut words = Vec::new();
    for (index, digit) in digits.iter().enumerate() {
        let name = which(index, digits);
        if !digit.sure {
            words.push(Understood::CannotTell);
            answer
                .reasons
                .push(format!("{name}: its own count is not beyond doubt"));
            answer.counted.push(None);
            continue;
        }
        let checks = judge::comparisons(digits, index, &receiver.set, settings);
        words.extend(checks.iter().map(|check| Understood::of(check.verdict)));
        answer
            .reasons
            .extend(checks.iter().filter_map(|check| outside(check, &name)));
        let (word, reason) = flash(receiver, digit, &name);
        words.extend(word);
        answer.reasons.extend(reason);
        let counted = counted(receiver, &groups[index], digit);
        words.extend(counted.as_ref().map(|counted| counted.understood));
        answer.reasons.extend(
            counted
                .as_ref()
                .and_then(|counted| counted.reason(digit, &name)),
        );
        answer.counted.push(counted.map(|counted| counted.pulses));
        answer
            .reasons
            .extend(short_pause(receiver, digit, settings, &name));
    }
    answer.understood = words
        .into_iter()
        .max_by_key(|word| word.weight())
        .unwrap_or(Understood::CannotTell);
    if answer.understood == Understood::CannotTell && answer.reasons.is_empty() {
        answer
            .reasons
            .push("nothing was recorded that it has bounds for".into());
    }
    answer
}

fn outside(check: &Check, name: &str) -> Option<String> {
    (severity(check.verdict) > 0).then(|| format!("{name}: {}", crate::explain::statement(check)))
}

/// A break long enough for a hook flash. The longest decides.
fn flash(receiver: &Receiver, digit: &Digit, name: &str) -> (Option<Understood>, Option<String>) {
    let Some(from_ms) = receiver.flash_ms.as_ref().and_then(|range| range.lower) else {
        return (None, None);
    };
    let longest = digit
        .pulses_detail
        .iter()
        .max_by(|one, other| one.break_ms.total_cmp(&other.break_ms));
    let Some(pulse) = longest.filter(|pulse| pulse.break_ms + pulse.break_u95_ms >= from_ms) else {
        return (None, None);
    };
    let sure = pulse.break_ms - pulse.break_u95_ms >= from_ms;
    let reason = format!(
        "{name}: a break of {:.1} ms may be taken for a hook flash, which starts at {from_ms} ms there",
        pulse.break_ms
    );
    (
        Some(if sure {
            Understood::No
        } else {
            Understood::Perhaps
        }),
        Some(reason),
    )
}

/// The hand makes most of a pause: a short one is said, and weighs only when pauses are judged.
fn short_pause(
    receiver: &Receiver,
    digit: &Digit,
    settings: &Settings,
    name: &str,
) -> Option<String> {
    let least_ms = receiver.set.pause_ms.as_ref()?.lower?;
    let pause = digit
        .pause_before_ms
        .filter(|pause| pause.value < least_ms)?;
    (!settings.judge_pauses).then(|| {
        format!(
            "{name}: the pause before it, {:.0} ms, is shorter than the {least_ms} ms needed there; the hand makes \
             most of it, so it does not weigh here",
            pause.value
        )
    })
}

/// What a counting receiver makes of a digit.
struct Counted {
    pulses: usize,
    understood: Understood,
    /// An opening too near to a bound, or beyond the longest pulse, in milliseconds.
    odd_ms: Option<f64>,
    bounds: String,
    /// The digit would fall apart at a make this long, in milliseconds.
    parted_ms: Option<f64>,
}

impl Counted {
    fn reason(&self, digit: &Digit, name: &str) -> Option<String> {
        if self.understood == Understood::Yes {
            return None;
        }
        let count = format!(
            "{name}: {} of {} pulses would be counted",
            self.pulses, digit.pulses
        );
        let odd = self.odd_ms.map(|ms| {
            format!(
                "; an opening of {ms:.1} ms lies at or beyond {} ms",
                self.bounds
            )
        });
        let parted = self
            .parted_ms
            .map(|ms| format!("; a make of {ms:.0} ms would end the digit"));
        Some(format!(
            "{count}{}{}",
            odd.unwrap_or_default(),
            parted.unwrap_or_default()
        ))
    }
}

/// Counts as the receiver would: every opening of a digit, the parts of a split break by themselves.
fn counted(receiver: &Receiver, group: &Group, digit: &Digit) -> Option<Counted> {
    let range = receiver.counted_ms.as_ref()?;
    let (least_ms, most_ms) = (
        range.lower.unwrap_or(0.0),
        range.upper.unwrap_or(f64::INFINITY),
    );
    let u95_ms = digit
        .pulses_detail
        .iter()
        .map(|pulse| pulse.break_u95_ms)
        .fold(0.0, f64::max);
    let openings: Vec<f64> = group.breaks.iter().flat_map(openings_ms).collect();
    let near = |ms: f64| (ms - least_ms).abs() < u95_ms || (ms - most_ms).abs() < u95_ms;
    // Both bounds are the receiver's own, to what binary fractions leave of them.
    let (shortest_ms, longest_ms) = (
        least_ms * (1.0 - judge::EQUAL),
        most_ms * (1.0 + judge::EQUAL),
    );
    let is_pulse = |ms: &f64| (shortest_ms..=longest_ms).contains(ms);
    let pulses = openings.iter().copied().filter(is_pulse).count();
    let too_long = openings.iter().copied().find(|ms| *ms > longest_ms);
    let ends_ms = receiver.digit_ends_ms().unwrap_or(f64::INFINITY);
    let parted_ms = group
        .breaks
        .windows(2)
        .map(|pair| 1000.0 * make_s(&pair[0], &pair[1]))
        .find(|make_ms| *make_ms > ends_ms);
    let close = openings.iter().copied().find(|ms| near(*ms));
    let understood = if pulses != digit.pulses || too_long.is_some() || parted_ms.is_some() {
        Understood::No
    } else if close.is_some() {
        Understood::Perhaps
    } else {
        Understood::Yes
    };
    Some(Counted {
        pulses,
        understood,
        odd_ms: too_long.or(close),
        bounds: limits_in_words(range.lower, range.upper),
        parted_ms,
    })
}

/// Lengths of the openings of one break, in milliseconds: of one piece, or parted by short closures, and late
/// reopenings after it.
fn openings_ms(pulse: &Break) -> Vec<f64> {
    let mut pieces = Vec::new();
    let mut from_s = pulse.open.instant_s;
    let whole_s = break_s(pulse);
    for interruption in &pulse.interruptions {
        match interruption {
            Interruption::Split { at_s, closure_s } => {
                pieces.push(1000.0 * (at_s - from_s));
                from_s = at_s + closure_s;
            }
            Interruption::Reopening { opening_s, .. } => pieces.push(1000.0 * opening_s),
        }
    }
    pieces.push(1000.0 * (pulse.open.instant_s + whole_s - from_s));
    pieces
}
