//! Whether a pulse count is beyond doubt, and if not, why, in plain words.

use edges::{Doubt, Train};

use crate::grouping::{Break, Group, Interruption, SPLIT_CLOSURE_S};

/// A count is sure only if every other count is less likely than this.
const GREATEST_RISK: f64 = 0.001;
/// A gap or an unexplained transition within this many periods of a digit casts doubt on it.
const NEIGHBOURHOOD_PERIODS: f64 = 2.0;
/// Period taken for a single pulse, in seconds: the nominal one at 10 pps.
const NOMINAL_PERIOD_S: f64 = 0.1;

/// Why the count of a digit is in doubt; `None` when it is sure. `is_first` and `is_last` say whether it is
/// the first and the last digit in its trains.
pub(crate) fn about(
    trains: &[Train],
    group: &Group,
    is_first: bool,
    is_last: bool,
) -> Option<String> {
    let mut words: Vec<String> = group.breaks.iter().flat_map(interruptions).collect();
    for train in &trains[group.trains()] {
        let concerning = train
            .doubts
            .iter()
            .filter(|doubt| concerns(doubt, group, is_first, is_last))
            .filter(|doubt| !is_told(doubt, group));
        words.extend(concerning.map(in_words));
    }
    // Either train may be miscounted: 1 − (1 − p)(1 − q), written so that one risk alone stays as it is.
    let risks = trains[group.trains()].iter().map(|train| train.count_risk);
    let risk = risks.fold(0.0, |either, risk| either + risk - either * risk);
    // A risk that is not a number cannot be called small.
    let is_small = risk <= GREATEST_RISK;
    if !is_small && words.is_empty() {
        words.push(format!(
            "another pulse count is {} % likely",
            crate::wording::significant(100.0 * risk, 2)
        ));
    }
    words.dedup();
    if words.is_empty() {
        None
    } else {
        Some(words.join("; "))
    }
}

/// True when a doubt about a train is a doubt about this digit of it.
fn concerns(doubt: &Doubt, group: &Group, is_first: bool, is_last: bool) -> bool {
    match doubt {
        Doubt::StartsInside => is_first,
        Doubt::EndsInside => is_last,
        Doubt::Gap(at_s)
        | Doubt::WeakEdge(at_s)
        | Doubt::UnexplainedEdge(at_s)
        | Doubt::CutOff(at_s) => {
            let margin_s =
                NEIGHBOURHOOD_PERIODS * group.median_period_s().unwrap_or(NOMINAL_PERIOD_S);
            let from_s = group.start_s() - margin_s;
            let to_s = group.end_s() + margin_s;
            // Where the digit stands alone in its train, the detector has already decided.
            (is_first && is_last) || (*at_s >= from_s && *at_s <= to_s)
        }
        Doubt::OtherCount(_) | Doubt::Irregular | Doubt::EdgeKind | Doubt::MayBeFlash => true,
    }
}

/// True when an interruption says what the doubt only points at.
fn is_told(doubt: &Doubt, group: &Group) -> bool {
    let Doubt::UnexplainedEdge(at_s) = doubt else {
        return false;
    };
    let mut found = group.breaks.iter().flat_map(|pulse| &pulse.interruptions);
    found.any(|found| (found.at_s() - at_s).abs() < SPLIT_CLOSURE_S)
}

fn interruptions(pulse: &Break) -> impl Iterator<Item = String> {
    pulse
        .interruptions
        .iter()
        .map(|interruption| match interruption {
            Interruption::Split { at_s, closure_s } => {
                format!(
                    "a break is split by a closure of {:.1} ms at {at_s:.3} s",
                    1000.0 * closure_s
                )
            }
            Interruption::Reopening { at_s, opening_s } => {
                format!(
                    "the loop reopens for {:.1} ms shortly after a make, at {at_s:.3} s",
                    1000.0 * opening_s
                )
            }
        })
}

fn in_words(doubt: &Doubt) -> String {
    match doubt {
        Doubt::StartsInside => "the recording starts inside the digit".into(),
        Doubt::EndsInside => "the recording ends inside the digit or too soon after it".into(),
        Doubt::Gap(at_s) => format!("samples are missing at {at_s:.3} s"),
        Doubt::WeakEdge(at_s) => format!("the edge at {at_s:.3} s is too weak for the noise"),
        Doubt::UnexplainedEdge(at_s) => {
            format!("a click at {at_s:.3} s is not explained by the pulses")
        }
        Doubt::CutOff(at_s) => format!(
            "at {at_s:.3} s the recorder cut off the open and the closed line alike, so that a pulse may be lost there; \
             record at a lower level"
        ),
        Doubt::OtherCount(0) => {
            "so few pulses have no rhythm of their own, and nothing beside them confirms that they \
                                 were dialled"
                .into()
        }
        Doubt::OtherCount(count) => format!("{count} pulses explain the recording nearly as well"),
        Doubt::Irregular => "the pulses are too uneven for a dial".into(),
        Doubt::EdgeKind => "it cannot be told whether the edges are sharp or slow".into(),
        Doubt::MayBeFlash => "a single opening may be a hook flash".into(),
    }
}
