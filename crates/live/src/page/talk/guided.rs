//! The guided run and the first take, as the page asks for them.

use score::Digit;

use super::{Kept, Talk};
use crate::page::protocol::Say;

impl Talk {
    pub(super) fn digits(attempts: &[Kept]) -> Vec<(usize, &Digit)> {
        attempts
            .iter()
            .map(|kept| (kept.number, &kept.told.digit))
            .collect()
    }

    pub(super) fn turn_guide(&mut self, on: bool) {
        self.guide.turn(on);
        let shown = self
            .guide
            .shown(&Self::digits(&self.attempts), self.settings.plan);
        self.out.push(Say::Guide(shown));
    }

    pub(super) fn guide_took(&mut self, number: usize) {
        // The attempt itself must not answer for the question that it answers.
        let earlier: Vec<(usize, &Digit)> = Self::digits(&self.attempts)
            .into_iter()
            .filter(|(known, _)| *known != number)
            .collect();
        self.guide.came(number, &earlier, self.settings.plan);
    }

    pub(super) fn pass_over(&mut self) {
        self.guide
            .pass_over(&Self::digits(&self.attempts), self.settings.plan);
        self.say_guide();
    }

    pub(super) fn say_guide(&mut self) {
        if self.guide.is_on() {
            let shown = self
                .guide
                .shown(&Self::digits(&self.attempts), self.settings.plan);
            self.out.push(Say::Guide(shown));
        }
    }

    pub(super) fn take_first(&mut self) {
        let latest = self.attempts.iter().rfind(|kept| kept.told.digit.sure);
        match latest.map(|kept| kept.number) {
            Some(number) => {
                self.first = Some(number);
                self.say_all();
            }
            None => self.caution(
                "first",
                "There is no sure attempt to compare with yet.".to_owned(),
            ),
        }
    }
}
