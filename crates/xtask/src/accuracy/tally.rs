//! What a family's recordings came to.

use synth::families::Kind;

use super::recording::{Compared, Contact, Error, Errors, Invented, Outcome};
use super::statistics::{percentile_95_of, quantile, root_mean_square};

/// Errors are shown of digits with at least so many pulses.
const SHOWN_FROM: usize = 4;
/// Coverage is counted over digits with at least so many pulses.
const COVERED_FROM: usize = 3;

/// Which of a digit's two measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    Speed,
    PercentBreak,
}

impl Measure {
    pub(crate) const BOTH: [Measure; 2] = [Measure::Speed, Measure::PercentBreak];

    fn of(self, errors: &Errors) -> Error {
        match self {
            Measure::Speed => errors.speed,
            Measure::PercentBreak => errors.percent_break,
        }
    }
}

/// Recordings of a family in which something is dialled.
#[derive(Default)]
pub(crate) struct Tally {
    pub(crate) recordings: usize,
    pub(crate) right: usize,
    pub(crate) unsure: usize,
    pub(crate) declined: usize,
    pub(crate) wrong_and_sure: usize,
    /// Not right, and with an edge too weak for anybody.
    pub(crate) excused: usize,
    pub(crate) errors: Vec<Errors>,
    pub(crate) contacts: Contacts,
}

/// What became of the times that off-normal contacts tell.
#[derive(Default)]
pub(crate) struct Contacts {
    /// Given, and that of the contacts: their errors, in milliseconds.
    pub(crate) right: Vec<f64>,
    /// Given, and of something else.
    pub(crate) wrong: usize,
    /// There, and not given.
    pub(crate) silent: usize,
}

impl Contacts {
    /// A time is that of the contacts when it is no further from the truth, in milliseconds.
    const SAME_MS: f64 = 10.0;

    fn add(&mut self, contact: Contact) {
        match (contact.truth, contact.read) {
            (Some(truth), Some(read)) if (read - truth).abs() < Self::SAME_MS => {
                self.right.push((read - truth).abs());
            }
            (_, Some(_)) => self.wrong += 1,
            (Some(_), None) => self.silent += 1,
            (None, None) => {}
        }
    }

    pub(crate) fn extend(&mut self, other: &Contacts) {
        self.right.extend(&other.right);
        self.wrong += other.wrong;
        self.silent += other.silent;
    }

    pub(crate) fn given(&self) -> usize {
        self.right.len() + self.wrong
    }
}

impl Tally {
    pub(crate) fn add(&mut self, compared: &Compared) {
        self.recordings += 1;
        match compared.outcome {
            Outcome::Right => self.right += 1,
            Outcome::Unsure => self.unsure += 1,
            Outcome::Declined => self.declined += 1,
            Outcome::WrongAndSure => self.wrong_and_sure += 1,
        }
        let doubted = matches!(compared.outcome, Outcome::Unsure | Outcome::Declined);
        self.excused += usize::from(compared.too_weak && doubted);
        self.errors.extend(&compared.errors);
        let contacts = compared.contacts.iter();
        contacts.for_each(|&contact| self.contacts.add(contact));
    }

    /// Errors of the digits that are shown, of one kind or of all.
    fn shown(&self, measure: Measure, kind: Option<Kind>) -> Vec<Error> {
        self.errors
            .iter()
            .filter(|e| e.pulses >= SHOWN_FROM && kind.is_none_or(|k| k == e.kind))
            .map(|e| measure.of(e))
            .collect()
    }

    /// The magnitude that this share of the errors stays below.
    pub(crate) fn error(&self, measure: Measure, kind: Option<Kind>, share: f64) -> Option<f64> {
        let errors: Vec<f64> = self.shown(measure, kind).iter().map(|e| e.error).collect();
        quantile(&errors, share)
    }

    /// The 95th percentile of errors that keep to the bound; zero where there is no noise.
    pub(crate) fn bound_95(&self, measure: Measure, kind: Option<Kind>) -> f64 {
        let errors = self.shown(measure, kind);
        let bounds: Vec<f64> = errors.iter().map(|e| e.bound.unwrap_or(0.0)).collect();
        percentile_95_of(&bounds)
    }

    /// Root mean square of error over bound; `None` where there is no noise.
    pub(crate) fn over_bound(&self, measure: Measure) -> Option<f64> {
        let errors = self.shown(measure, None);
        let ratios: Vec<f64> = errors.iter().filter_map(Error::over_bound).collect();
        root_mean_square(&ratios)
    }

    /// Digits whose interval held the truth, and all digits.
    pub(crate) fn covered(&self, measure: Measure) -> (usize, usize) {
        let counted = self.errors.iter().filter(|e| e.pulses >= COVERED_FROM);
        let (held, all): (Vec<_>, Vec<_>) = counted
            .map(|e| measure.of(e))
            .partition(|e: &Error| e.covered());
        (held.len(), held.len() + all.len())
    }
}

/// Recordings of a family in which nothing is dialled.
#[derive(Default)]
pub(crate) struct InventedTally {
    pub(crate) recordings: usize,
    pub(crate) empty: usize,
    pub(crate) unsure: usize,
    pub(crate) sure: usize,
}

impl InventedTally {
    pub(crate) fn add(&mut self, found: &Invented) {
        self.recordings += 1;
        self.empty += usize::from(found.sure + found.unsure == 0);
        self.unsure += found.unsure;
        self.sure += found.sure;
    }
}

#[cfg(test)]
mod of_tally {
    use super::*;

    fn error(error: f64, bound: Option<f64>) -> Error {
        Error {
            error,
            u95: 1.0,
            bound,
        }
    }

    fn errors(kind: Kind, pulses: usize, size: f64) -> Errors {
        Errors {
            kind,
            pulses,
            speed: error(size, Some(0.5)),
            percent_break: error(-size, None),
        }
    }

    fn tally() -> Tally {
        let mut tally = Tally::default();
        for (outcome, too_weak) in [
            (Outcome::Right, false),
            (Outcome::Unsure, true),
            (Outcome::WrongAndSure, true),
        ] {
            tally.add(&Compared {
                outcome,
                too_weak,
                errors: vec![
                    errors(Kind::Sharp, 3, 7.0),
                    errors(Kind::Sharp, 4, 0.5),
                    errors(Kind::SlowOrTransformer, 5, 2.0),
                ],
                contacts: vec![
                    contact(Some(400.0), Some(409.0)),
                    contact(Some(400.0), Some(420.0)),
                    contact(None, Some(420.0)),
                    contact(Some(400.0), None),
                    contact(None, None),
                ],
                note: String::new(),
            });
        }
        tally
    }

    fn contact(truth: Option<f64>, read: Option<f64>) -> Contact {
        Contact { truth, read }
    }

    #[test]
    fn a_time_of_something_else_than_the_contacts_is_wrong() {
        let contacts = tally().contacts;
        assert_eq!(contacts.right, [9.0; 3]);
        assert_eq!(
            (contacts.wrong, contacts.silent, contacts.given()),
            (6, 3, 9)
        );
    }

    #[test]
    fn only_a_doubt_is_excused_by_weak_edges() {
        let tally = tally();
        assert_eq!((tally.recordings, tally.excused), (3, 1));
        assert_eq!((tally.right, tally.unsure, tally.wrong_and_sure), (1, 1, 1));
    }

    #[test]
    fn short_digits_count_for_coverage_and_not_for_errors() {
        let tally = tally();
        assert_eq!(tally.covered(Measure::Speed), (3, 9));
        assert_eq!(tally.error(Measure::Speed, None, 1.0), Some(2.0));
        assert_eq!(
            tally.error(Measure::PercentBreak, Some(Kind::Sharp), 1.0),
            Some(0.5)
        );
        assert_eq!(tally.error(Measure::Speed, Some(Kind::Nothing), 0.95), None);
    }

    #[test]
    fn errors_over_their_bound_are_a_root_mean_square() {
        // Errors of 0.5 and 2 over 0.5: 1 and 4.
        assert_eq!(tally().over_bound(Measure::Speed), Some(8.5f64.sqrt()));
        assert_eq!(tally().over_bound(Measure::PercentBreak), None);
    }
}
