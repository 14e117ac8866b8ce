//! What the page may choose from.

use score::Plan;

use crate::page::Bench;
use crate::page::protocol::Named;

/// No limits, and every set.
pub(super) fn limits(bench: &Bench) -> Vec<Named> {
    let none = Named {
        name: "none".to_owned(),
        words: "none: measure only".to_owned(),
        about: "Nothing is judged. Limits differ between countries and years: choose those that are meant for this dial."
            .to_owned(),
    };
    let sets = bench.limit_sets.iter().map(|set| Named {
        name: set.name.to_string(),
        words: format!("{}: {}", set.name, set.title),
        about: about(set),
    });
    std::iter::once(none).chain(sets).collect()
}

fn about(set: &score::LimitSet) -> String {
    let source: Vec<&str> = [&set.document, &set.clause, &set.year]
        .into_iter()
        .map(AsRef::as_ref)
        .filter(|part| !part.is_empty())
        .collect();
    let caution = if set.set_to_only {
        " These limits tell what to set a dial to; being outside is not by itself a reason to reject it."
    } else {
        ""
    };
    format!(
        "Grade {}. Source: {}.{caution}",
        set.grade.name(),
        source.join(", ")
    )
}

/// Every plan.
pub(super) fn plans() -> Vec<Named> {
    Plan::ALL
        .into_iter()
        .map(|(name, plan)| {
            let zero = plan.pulses(0).unwrap_or_default();
            let one = plan.pulses(1).unwrap_or_default();
            Named {
                name: name.to_owned(),
                words: format!("{name}: 1 is {one}, 0 is {zero} pulses"),
                about: String::new(),
            }
        })
        .collect()
}
