//! How pulses become digits. A recording cannot tell the plan: the user chooses it.

/// Mapping between a digit and its number of pulses.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Plan {
    /// d pulses for 1-9, ten for 0: most countries (AS/CA S002:2010 clause 5.5.1.7.1(c)).
    #[default]
    Standard,
    /// d + 1 pulses: 0 sends one, 9 sends ten (Sweden).
    ZeroFirst,
    /// 10 − d pulses for 1-9, ten for 0 (New Zealand, PTC 200 clause 5.1(3); Oslo).
    Reversed,
    /// As the standard plan, with an eleventh position E that sends eleven (early French rotary and step networks, by
    /// a collector's page).
    Eleventh,
}

impl Plan {
    /// Every plan with its name.
    pub const ALL: [(&'static str, Plan); 4] = [
        ("standard", Plan::Standard),
        ("zero-first", Plan::ZeroFirst),
        ("reversed", Plan::Reversed),
        ("eleventh", Plan::Eleventh),
    ];

    /// Name of the plan, as it is chosen.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Plan::Standard => "standard",
            Plan::ZeroFirst => "zero-first",
            Plan::Reversed => "reversed",
            Plan::Eleventh => "eleventh",
        }
    }

    /// The plan of that name.
    #[must_use]
    pub fn find(name: &str) -> Option<Plan> {
        Plan::ALL
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, plan)| *plan)
    }

    /// Number of pulses (1-10) that digit `digit` (0-9) sends.
    #[must_use]
    pub fn pulses(self, digit: u32) -> Option<usize> {
        let digit = usize::try_from(digit).ok().filter(|digit| *digit <= 9)?;
        Some(match (self, digit) {
            (Plan::Standard | Plan::Reversed | Plan::Eleventh, 0) => 10,
            (Plan::Standard | Plan::Eleventh, digit) => digit,
            (Plan::ZeroFirst, digit) => digit + 1,
            (Plan::Reversed, digit) => 10 - digit,
        })
    }

    /// The digit that `pulses` pulses mean; `None` for none or more than ten.
    #[must_use]
    pub fn digit(self, pulses: usize) -> Option<u32> {
        (0..=9).find(|digit| self.pulses(*digit) == Some(pulses))
    }

    /// What `pulses` pulses are called: a digit, or `E` for the eleventh position of a plan that has one.
    #[must_use]
    pub fn label(self, pulses: usize) -> Option<String> {
        match (self, pulses) {
            (Plan::Eleventh, 11) => Some("E".to_owned()),
            _ => self.digit(pulses).map(|digit| digit.to_string()),
        }
    }

    /// The most pulses that a position of this plan sends.
    #[must_use]
    pub fn most_pulses(self) -> usize {
        if self == Plan::Eleventh { 11 } else { 10 }
    }

    /// Pulses of what is called so: a digit, or `E`.
    fn pulses_of_label(self, label: char) -> Option<usize> {
        match (self, label) {
            (Plan::Eleventh, 'E' | 'e') => Some(11),
            _ => self.pulses(label.to_digit(10)?),
        }
    }

    /// Pulses of every digit in what was said to be dialled.
    ///
    /// Spaces, hyphens, dots and brackets are passed over.
    ///
    /// # Errors
    /// When there is no digit in it, or a character that is neither digit nor separator.
    pub fn pulses_of(self, dialled: &str) -> Result<Vec<usize>, DialledError> {
        let pulses = dialled
            .chars()
            .filter(|character| !" -.()/".contains(*character))
            .map(|character| {
                self.pulses_of_label(character).ok_or(
                    if Plan::Eleventh.pulses_of_label(character).is_some() {
                        DialledError::EleventhOnly(character)
                    } else {
                        DialledError::NotADigit(character)
                    },
                )
            })
            .collect::<Result<Vec<_>, _>>()?;
        if pulses.is_empty() {
            Err(DialledError::Empty)
        } else {
            Ok(pulses)
        }
    }
}

/// Why a dialled number cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DialledError {
    /// A character no dial sends.
    #[error("`{0}` in the dialled number is not a digit: give the digits 0-9 only")]
    NotADigit(char),
    /// The position that only the plan eleventh has.
    #[error("`{0}` is dialled on the plan eleventh only: choose it by --plan eleventh")]
    EleventhOnly(char),
    /// No digit at all.
    #[error("the dialled number holds no digit: give the digits 0-9")]
    Empty,
}
