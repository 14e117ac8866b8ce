//! The guided run: every digit of the plan once, in the order of the finger wheel.

use score::{Digit, Plan};

use super::protocol::{Asked, AskedState, Guide as Shown};

/// The run through all ten digits.
#[derive(Clone, Debug, Default)]
pub(crate) struct Guide {
    on: bool,
    /// What was asked for when an attempt came: its number and the digit.
    asked_at: Vec<(usize, String)>,
    passed_over: Vec<String>,
}

/// The digits in the order in which they are asked for.
fn digits(plan: Plan) -> Vec<String> {
    let mut digits: Vec<(usize, String)> = (0..=9)
        .filter_map(|digit| Some((plan.pulses(digit)?, digit.to_string())))
        .collect();
    digits.sort_unstable();
    digits.into_iter().map(|(_, digit)| digit).collect()
}

impl Guide {
    /// Begins anew, or ends.
    pub(crate) fn turn(&mut self, on: bool) {
        *self = Guide {
            on,
            ..Guide::default()
        };
    }

    pub(crate) fn is_on(&self) -> bool {
        self.on
    }

    /// An attempt of that number has come.
    pub(crate) fn came(&mut self, number: usize, attempts: &[(usize, &Digit)], plan: Plan) {
        if self.on
            && let Some(asked) = self.asked(attempts, plan)
        {
            self.asked_at.push((number, asked));
        }
    }

    /// The digit that is asked for is left out.
    pub(crate) fn pass_over(&mut self, attempts: &[(usize, &Digit)], plan: Plan) {
        if self.on {
            self.passed_over.extend(self.asked(attempts, plan));
        }
    }

    fn state(&self, digit: &str, attempts: &[(usize, &Digit)]) -> AskedState {
        if self.passed_over.iter().any(|passed| passed == digit) {
            return AskedState::PassedOver;
        }
        let latest = self.asked_at.iter().rfind(|(_, asked)| asked == digit);
        let came = latest.and_then(|(number, _)| {
            let found = attempts.iter().find(|(known, _)| known == number);
            found.map(|(_, digit)| *digit)
        });
        match came {
            Some(came) if !came.sure => AskedState::Open,
            Some(came) if came.digit.as_deref() == Some(digit) => AskedState::Right,
            Some(_) => AskedState::Wrong,
            None => AskedState::Open,
        }
    }

    fn asked(&self, attempts: &[(usize, &Digit)], plan: Plan) -> Option<String> {
        digits(plan).into_iter().find(|digit| {
            matches!(
                self.state(digit, attempts),
                AskedState::Open | AskedState::Wrong
            )
        })
    }

    /// What was asked for, digit by digit, where every attempt of a capture from `first` on was asked for: what the
    /// count of the report is held against.
    pub(crate) fn dialled(&self, numbers: &[usize]) -> Option<String> {
        let asked = |number: &usize| {
            let found = self.asked_at.iter().find(|(known, _)| known == number);
            found.map(|(_, digit)| digit.as_str())
        };
        let all: Option<Vec<&str>> = numbers.iter().map(asked).collect();
        all.filter(|all| !all.is_empty()).map(|all| all.concat())
    }

    /// As the page shows it.
    pub(crate) fn shown(&self, attempts: &[(usize, &Digit)], plan: Plan) -> Shown {
        let digits: Vec<Asked> = digits(plan)
            .into_iter()
            .map(|digit| Asked {
                state: self.state(&digit, attempts),
                digit,
            })
            .collect();
        let asked = self.asked(attempts, plan);
        let words = self.words(asked.as_deref(), &digits, attempts, plan);
        Shown {
            on: self.on,
            asked,
            words,
            digits,
        }
    }

    fn words(
        &self,
        asked: Option<&str>,
        digits: &[Asked],
        attempts: &[(usize, &Digit)],
        plan: Plan,
    ) -> String {
        let Some(asked) = asked else {
            let passed = digits
                .iter()
                .filter(|digit| digit.state == AskedState::PassedOver)
                .count();
            return match passed {
                0 => "All ten digits are right".to_owned(),
                1 => "Done, 1 digit passed over".to_owned(),
                passed => format!("Done, {passed} digits passed over"),
            };
        };
        let latest = self.asked_at.last().filter(|(_, digit)| digit == asked);
        let came = latest.and_then(|(number, _)| {
            let found = attempts.iter().find(|(known, _)| known == number);
            found.map(|(_, digit)| *digit)
        });
        match came {
            Some(came) if !came.sure => format!("Dial {asked} again: the count was not sure"),
            Some(came) => format!(
                "Dial {asked} again: {} came, it has {}",
                count(came.pulses),
                asked
                    .parse()
                    .ok()
                    .and_then(|digit| plan.pulses(digit))
                    .unwrap_or_default()
            ),
            None => format!("Dial {asked}"),
        }
    }
}

fn count(pulses: usize) -> String {
    if pulses == 1 {
        "1 pulse".to_owned()
    } else {
        format!("{pulses} pulses")
    }
}
