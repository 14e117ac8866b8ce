//! What a family must reach, and where it falls short.

use synth::families::{Family, Kind};

use super::statistics::clopper_pearson;
use super::tally::{Contacts, InventedTally, Measure, Tally};

/// Share of `mixed` recordings that must be right, in percent; of single impairments all must be.
const MIXED_RIGHT_PERCENT: usize = 98;
/// Errors may be this much larger than an efficient estimate's would be.
const OVER_BOUND: f64 = 1.5;
/// Share of intervals that must hold the truth.
const COVERAGE: [f64; 2] = [0.93, 0.98];
/// Confidence of the interval that is compared with it.
const CONFIDENCE: f64 = 0.99;
/// Coverage is shown only over at least so many digits.
pub(crate) const COVERAGE_DIGITS: usize = 2_000;

/// In which way a family falls short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Lack {
    /// A wrong digit was called sure, or a sure digit was found where none was dialled.
    WrongAndSure,
    /// Too few recordings are right.
    Right,
    /// Errors are too large.
    Error,
    /// Intervals are too narrow or too wide.
    Coverage,
    /// Digits that are not sure were found where none may be reported.
    Invented,
    /// Times were given as those of off-normal contacts that are not.
    Contacts,
}

/// One way in which one family falls short.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shortfall {
    pub(crate) family: String,
    pub(crate) lack: Lack,
    pub(crate) text: String,
}

impl std::fmt::Display for Shortfall {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.family, self.text)
    }
}

/// Largest allowed 95th percentile of the error of a measure, before the bound is looked at: speeds in
/// percent, percent breaks in points.
fn allowed(measure: Measure, kind: Kind, mixed: bool) -> f64 {
    match (measure, kind, mixed) {
        (Measure::Speed, _, false) => 0.001,
        (Measure::Speed, _, true) => 0.005,
        (Measure::PercentBreak, Kind::SlowOrTransformer, false) => 0.05,
        (Measure::PercentBreak, Kind::SlowOrTransformer, true) => 0.3,
        (Measure::PercentBreak, _, false) => 0.005,
        (Measure::PercentBreak, _, true) => 0.05,
    }
}

/// Where a family in which something is dialled falls short; `family` is `None` for `mixed`.
pub(crate) fn dialled(name: &str, family: Option<&Family>, tally: &Tally) -> Vec<Shortfall> {
    let mut texts = Vec::new();
    if tally.wrong_and_sure > 0 {
        let text = format!("{} recordings wrong and sure", tally.wrong_and_sure);
        texts.push((Lack::WrongAndSure, text));
    }
    texts.extend(too_few_right(family, tally).map(|t| (Lack::Right, t)));
    for measure in Measure::BOTH {
        texts.extend(too_large(measure, family.is_none(), tally).map(|t| (Lack::Error, t)));
        texts.extend(badly_covered(measure, tally).map(|t| (Lack::Coverage, t)));
    }
    named(name, texts)
}

/// Where a family in which nothing is dialled falls short.
pub(crate) fn nothing(family: &Family, tally: &InventedTally) -> Vec<Shortfall> {
    let mut texts = Vec::new();
    if tally.sure > 0 {
        texts.push((
            Lack::WrongAndSure,
            format!("{} sure digits where none was dialled", tally.sure),
        ));
    }
    if family.measures.sure && tally.unsure > 0 {
        texts.push((
            Lack::Invented,
            format!("{} digits (not sure) where none was dialled", tally.unsure),
        ));
    }
    named(family.name, texts)
}

/// Share of the times given as those of off-normal contacts that may be of something else, in percent.
const CONTACTS_WRONG_PERCENT: usize = 2;

/// Where the times of off-normal contacts fall short, of all families together.
pub(crate) fn contacts(contacts: &Contacts) -> Vec<Shortfall> {
    let (wrong, given) = (contacts.wrong, contacts.given());
    let text = format!(
        "{wrong} of {given} times are of something else, {CONTACTS_WRONG_PERCENT} % allowed"
    );
    let too_many = 100 * wrong > CONTACTS_WRONG_PERCENT * given;
    named(
        "off-normal contacts",
        too_many
            .then_some((Lack::Contacts, text))
            .into_iter()
            .collect(),
    )
}

fn named(name: &str, texts: Vec<(Lack, String)>) -> Vec<Shortfall> {
    let named = |(lack, text)| Shortfall {
        family: name.to_owned(),
        lack,
        text,
    };
    texts.into_iter().map(named).collect()
}

fn too_few_right(family: Option<&Family>, tally: &Tally) -> Option<String> {
    let doubt_is_right = family.is_some_and(|f| !f.measures.sure);
    let right = if doubt_is_right {
        tally.right + tally.unsure
    } else {
        tally.right + tally.excused
    };
    let percent = if family.is_none() {
        MIXED_RIGHT_PERCENT
    } else {
        100
    };
    (100 * right < percent * tally.recordings).then(|| {
        format!(
            "{right} of {} recordings right, {percent} % wanted",
            tally.recordings
        )
    })
}

fn too_large(measure: Measure, mixed: bool, tally: &Tally) -> impl Iterator<Item = String> + '_ {
    let kinds = [Kind::Sharp, Kind::SlowOrTransformer];
    kinds.into_iter().filter_map(move |kind| {
        let error = tally.error(measure, Some(kind), 0.95)?;
        let least = allowed(measure, kind, mixed);
        let limit = least.max(OVER_BOUND * tally.bound_95(measure, Some(kind)));
        let (what, unit) = match measure {
            Measure::Speed => ("speed", "%"),
            Measure::PercentBreak => ("percent break", "points"),
        };
        let kind = match kind {
            Kind::Sharp => "sharp",
            _ => "slow or transformer",
        };
        (error > limit).then(|| {
            format!(
                "{what}, {kind}: 95 % of errors below {error:.5} {unit}, at most {limit:.5} wanted"
            )
        })
    })
}

/// How the coverage of a measure compares with what it must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Covering {
    /// Too few digits to say that it is right, and nothing says that it is not.
    NotShown,
    /// Agrees, over enough digits.
    Shown,
    /// Too few intervals hold the truth.
    TooNarrow,
    /// Too many do.
    TooWide,
}

/// Coverage with its interval, and what follows from it; `None` without digits.
pub(crate) fn covering(measure: Measure, tally: &Tally) -> Option<([f64; 2], Covering)> {
    let (held, all) = tally.covered(measure);
    let interval = clopper_pearson(held, all, CONFIDENCE)?;
    let covering = if interval[1] < COVERAGE[0] {
        Covering::TooNarrow
    } else if interval[0] > COVERAGE[1] {
        Covering::TooWide
    } else if all < COVERAGE_DIGITS {
        Covering::NotShown
    } else {
        Covering::Shown
    };
    Some((interval, covering))
}

fn badly_covered(measure: Measure, tally: &Tally) -> Option<String> {
    let (interval, covering) = covering(measure, tally)?;
    let word = match covering {
        Covering::NotShown | Covering::Shown => return None,
        Covering::TooNarrow => "narrow",
        Covering::TooWide => "wide",
    };
    let what = match measure {
        Measure::Speed => "speed",
        Measure::PercentBreak => "percent break",
    };
    let (held, all) = tally.covered(measure);
    Some(format!(
        "intervals of {what} too {word}: {held} of {all} hold the truth, {:.1}-{:.1} % with 99 % confidence, 93-98 % wanted",
        100.0 * interval[0],
        100.0 * interval[1],
    ))
}

#[cfg(test)]
mod of_requirements {
    use super::super::recording::{Compared, Error, Errors, Outcome};
    use super::*;
    use synth::families::{nothing as nothing_families, singles};

    fn family(name: &str) -> &'static Family {
        singles()
            .iter()
            .chain(nothing_families())
            .find(|f| f.name == name)
            .unwrap()
    }

    fn digit(size: f64, bound: Option<f64>) -> Errors {
        let error = Error {
            error: size,
            u95: 0.0,
            bound,
        };
        Errors {
            kind: Kind::Sharp,
            pulses: 5,
            speed: Error {
                error: 0.0,
                u95: 1.0,
                bound: None,
            },
            percent_break: error,
        }
    }

    fn tally(outcome: Outcome, too_weak: bool, errors: Vec<Errors>) -> Tally {
        let mut tally = Tally::default();
        tally.add(&Compared {
            outcome,
            too_weak,
            errors,
            contacts: Vec::new(),
            note: String::new(),
        });
        tally
    }

    fn lacks(family: Option<&Family>, tally: &Tally) -> Vec<Lack> {
        dialled("x", family, tally)
            .into_iter()
            .map(|s| s.lack)
            .collect()
    }

    #[test]
    fn wrong_and_sure_is_two_faults_and_a_doubt_one() {
        let clean = Some(family("clean"));
        assert_eq!(lacks(clean, &tally(Outcome::Right, false, vec![])), []);
        assert_eq!(
            lacks(clean, &tally(Outcome::WrongAndSure, true, vec![])),
            [Lack::WrongAndSure, Lack::Right]
        );
        assert_eq!(
            lacks(clean, &tally(Outcome::Unsure, false, vec![])),
            [Lack::Right]
        );
    }

    #[test]
    fn a_doubt_is_right_where_edges_are_too_weak_or_the_dial_too_odd() {
        assert_eq!(
            lacks(
                Some(family("clean")),
                &tally(Outcome::Declined, true, vec![])
            ),
            []
        );
        assert_eq!(
            lacks(
                Some(family("missing pulse")),
                &tally(Outcome::Unsure, false, vec![])
            ),
            []
        );
        assert_eq!(
            lacks(
                Some(family("missing pulse")),
                &tally(Outcome::Declined, false, vec![])
            ),
            [Lack::Right]
        );
    }

    #[test]
    fn one_in_fifty_mixed_recordings_may_be_in_doubt() {
        let mut mixed = Tally {
            recordings: 100,
            right: 98,
            unsure: 2,
            ..Tally::default()
        };
        assert_eq!(lacks(None, &mixed), []);
        mixed.right = 97;
        assert_eq!(lacks(None, &mixed), [Lack::Right]);
    }

    #[test]
    fn errors_may_be_as_large_as_allowed_or_half_again_the_bound() {
        let with = |size, bound| {
            lacks(
                Some(family("clean")),
                &tally(Outcome::Right, false, vec![digit(size, bound)]),
            )
        };
        assert_eq!(with(0.0049, None), []);
        assert_eq!(with(0.0051, None), [Lack::Error]);
        // 1.5 x 1.96 x 0.01 = 0.0294.
        assert_eq!(with(0.029, Some(0.01)), []);
        assert_eq!(with(0.030, Some(0.01)), [Lack::Error]);
    }

    #[test]
    fn one_in_fifty_times_of_contacts_may_be_of_something_else() {
        let lacks = |wrong| {
            let seen = Contacts {
                right: vec![0.1; 100 - wrong],
                wrong,
                silent: 1_000,
            };
            contacts(&seen)
                .into_iter()
                .map(|s| s.lack)
                .collect::<Vec<_>>()
        };
        assert_eq!(lacks(2), []);
        assert_eq!(lacks(3), [Lack::Contacts]);
        assert_eq!(contacts(&Contacts::default()), []);
    }

    #[test]
    fn coverage_falls_short_either_way_once_it_is_beyond_chance() {
        let covered = |held: usize, all: usize| {
            let one = |k| {
                let mut digit = digit(0.0, None);
                digit.percent_break.error = if k < held { 0.0 } else { 1e-9 };
                digit
            };
            let tally = tally(Outcome::Right, false, (0..all).map(one).collect());
            covering(Measure::PercentBreak, &tally).unwrap().1
        };
        // With 99 % confidence: 50 of 50 is 90-100 %, 500 of 500 at least 98.9 %.
        assert_eq!(covered(50, 50), Covering::NotShown);
        assert_eq!(covered(500, 500), Covering::TooWide);
        assert_eq!(covered(40, 50), Covering::TooNarrow);
        assert_eq!(covered(1_900, 2_000), Covering::Shown);
    }

    #[test]
    fn a_hook_switch_may_raise_doubtful_digits_and_speech_none() {
        let found = |sure, unsure| InventedTally {
            sure,
            unsure,
            ..InventedTally::default()
        };
        let lacks = |name, found| {
            nothing(family(name), &found)
                .into_iter()
                .map(|s| s.lack)
                .collect::<Vec<_>>()
        };
        assert_eq!(lacks("hook-switch tapping", found(0, 9)), []);
        assert_eq!(lacks("speech alone", found(0, 9)), [Lack::Invented]);
        assert_eq!(
            lacks("hook-switch tapping", found(1, 0)),
            [Lack::WrongAndSure]
        );
        assert_eq!(lacks("speech alone", found(0, 0)), []);
    }
}
