//! The dial and the take in a file name.

use std::path::Path;
use std::str::FromStr;

/// A pattern of file names, such as `{dial}-{take}`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pattern {
    parts: Vec<Part>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Part {
    Text(String),
    Field(Field),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Field {
    Dial,
    Take,
    /// Anything that is to be passed over.
    Any,
}

/// What a name tells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Named {
    /// The dial.
    pub(crate) dial: String,
    /// The take; empty when the pattern has none.
    pub(crate) take: String,
}

impl FromStr for Pattern {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some((before, from)) = rest.split_once('{') {
            let (field, after) = from.split_once('}').ok_or("a { has no }")?;
            if !before.is_empty() {
                parts.push(Part::Text(before.to_owned()));
            }
            parts.push(Part::Field(match field {
                "dial" => Field::Dial,
                "take" => Field::Take,
                "any" => Field::Any,
                _ => {
                    return Err(format!(
                        "there is no {{{field}}}; there are {{dial}}, {{take}} and {{any}}"
                    ));
                }
            }));
            rest = after;
        }
        if !rest.is_empty() {
            parts.push(Part::Text(rest.to_owned()));
        }
        Pattern { parts }.verified()
    }
}

impl Pattern {
    fn verified(self) -> Result<Self, String> {
        let count = |field| {
            self.parts
                .iter()
                .filter(|part| **part == Part::Field(field))
                .count()
        };
        if count(Field::Dial) != 1 || count(Field::Take) > 1 {
            return Err(
                "name {dial} once, and {take} once at most, such as {dial}-{take}".to_owned(),
            );
        }
        let touch = |pair: &[Part]| matches!(pair, [Part::Field(_), Part::Field(_)]);
        if self.parts.windows(2).any(touch) {
            return Err("two fields touch: put a character that parts them between".to_owned());
        }
        Ok(self)
    }

    /// What the name of `path`, without its ending, tells; `None` when it does not fit.
    pub(crate) fn read(&self, path: &Path) -> Option<Named> {
        let stem = path.file_stem()?.to_str()?;
        let mut named = Named::default();
        // The last separator counts: dials are named `hall-7`, takes seldom.
        matches(&self.parts, stem, &mut named).then_some(named)
    }
}

/// Matches `text` from its end, so that every field but the first is as short as can be.
fn matches(parts: &[Part], text: &str, named: &mut Named) -> bool {
    match parts.split_last() {
        None => text.is_empty(),
        Some((Part::Text(wanted), before)) => text
            .strip_suffix(wanted.as_str())
            .is_some_and(|text| matches(before, text, named)),
        Some((Part::Field(field), before)) => {
            let Some(start) = start_of_last(before, text) else {
                return false;
            };
            let (text, value) = text.split_at(start);
            match field {
                Field::Dial => named.dial = value.to_owned(),
                Field::Take => named.take = value.to_owned(),
                Field::Any => {}
            }
            !value.is_empty() && matches(before, text, named)
        }
    }
}

/// Where the last field of `text` begins: behind the last occurrence of the text before it.
fn start_of_last(before: &[Part], text: &str) -> Option<usize> {
    match before.last() {
        Some(Part::Text(separator)) => text
            .rfind(separator.as_str())
            .map(|at| at + separator.len()),
        _ => Some(0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_taken_apart_from_their_end() {
        let table = [
            ("{dial}-{take}", "hall-7-2.wav", Some(("hall-7", "2"))),
            ("{dial}-{take}", "box/a/hall.wav", None),
            ("{dial}", "x/hall-7.flac", Some(("hall-7", ""))),
            (
                "dial_{dial}_take{take}",
                "dial_12_take03.wav",
                Some(("12", "03")),
            ),
            ("dial_{dial}_take{take}", "12_take03.wav", None),
            ("{any} {dial}.{take}", "2026 A 14.b.wav", Some(("14", "b"))),
            ("{take}~{dial}", "1~.wav", None),
        ];
        for (pattern, path, expected) in table {
            let pattern: Pattern = pattern.parse().unwrap();
            let found = pattern.read(Path::new(path));
            let found = found
                .as_ref()
                .map(|named| (named.dial.as_str(), named.take.as_str()));
            assert_eq!(found, expected, "{path}");
        }
    }

    #[test]
    fn patterns_that_cannot_be_told_are_refused() {
        for (pattern, says) in [
            ("{take}", "name {dial} once"),
            ("{dial}{take}", "touch"),
            ("{dial", "has no }"),
            ("{phone}", "there is no {phone}"),
        ] {
            let refused = pattern.parse::<Pattern>().unwrap_err();
            assert!(refused.contains(says), "{refused}");
        }
    }
}
