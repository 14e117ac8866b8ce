//! What the rhythm of the pulses tells: findings from the patterns in it.

use super::rhythm::{self, Departure, Jitter, Pattern};
use super::{COMMON_PRACTICE, Evidence};
use crate::grouping::{Break, Group};
use crate::settings::IdleRun;
use crate::types::{Finding, HowSure};
use crate::wording::{significant, which};

/// Chance explains less than once in a million dials: taken as shown.
const SHOWN: f64 = 1e-6;

pub(super) fn find(evidence: &Evidence) -> Vec<Finding> {
    let steady: Vec<usize> = evidence
        .steady()
        .map(|(index, _)| index)
        .filter(|index| evidence.groups[*index].breaks.len() >= 4)
        .collect();
    let groups: Vec<&Group> = steady
        .iter()
        .map(|index| &evidence.groups[*index])
        .collect();
    let noise = [
        noise_percent(evidence, &groups, |pulse| vec![pulse.open.edge]),
        noise_percent(evidence, &groups, |pulse| {
            vec![pulse.open.edge, pulse.close.edge]
        }),
    ];
    let rhythm = rhythm::of(&groups, noise);
    let place = Place {
        evidence,
        only: match steady.as_slice() {
            [index] => Some(*index),
            _ => None,
        },
        digits: steady.len(),
        pulses: groups.iter().map(|group| group.breaks.len()).sum(),
    };
    let mut findings: Vec<Finding> = Vec::new();
    for departure in &rhythm.departures {
        let told = place.departure(departure);
        // The same fault shows in openings and in breaks: the first is the surer one.
        findings.extend(told.filter(|told| findings.iter().all(|known| known.code != told.code)));
    }
    findings.extend(rhythm.jitter.map(|jitter| place.jitter(&jitter)));
    findings
}

/// Standard uncertainty of an opening, or of a break, in percent of the mean period.
fn noise_percent(
    evidence: &Evidence,
    groups: &[&Group],
    edges: impl Fn(&Break) -> Vec<usize>,
) -> f64 {
    let variance = |pulse: &Break| -> f64 {
        let train = &evidence.trace.trains[pulse.open.train];
        edges(pulse)
            .into_iter()
            .map(|edge| train.edges[edge].variance_s2)
            .sum()
    };
    let parts: Vec<f64> = groups
        .iter()
        .filter_map(|group| Some((group, group.median_period_s()?)))
        .flat_map(|(group, period_s)| {
            group
                .breaks
                .iter()
                .map(move |pulse| variance(pulse) / (period_s * period_s))
        })
        .collect();
    100.0 * (parts.iter().sum::<f64>() / parts.len().max(1) as f64).sqrt()
}

/// Where a finding was made.
struct Place<'a> {
    evidence: &'a Evidence<'a>,
    only: Option<usize>,
    digits: usize,
    pulses: usize,
}

impl Place<'_> {
    /// `through the first digit (0)` or `through 4 digits`.
    fn through(&self) -> String {
        match self.only {
            Some(index) => format!("through the {}", which(index, self.evidence.digits)),
            None => format!("through {} digits", self.digits),
        }
    }

    fn looked_at(&self) -> String {
        let digits = if self.digits == 1 { "digit" } else { "digits" };
        format!("{} {digits}, {} pulses", self.digits, self.pulses)
    }

    fn departure(&self, departure: &Departure) -> Option<Finding> {
        match departure.pattern {
            Pattern::Drift { percent } if percent > 0.0 => Some(self.slows(departure, percent)),
            Pattern::Drift { percent } => Some(self.quickens(departure, -percent)),
            Pattern::FirstPeriod { percent } if percent > 0.0 => {
                self.first_long(departure, percent)
            }
            Pattern::FirstPeriod { .. } => None,
            Pattern::TwoPulse { percent, breaks } => {
                Some(self.two_pulse(departure, percent.abs(), breaks))
            }
            Pattern::Tooth {
                from_last,
                percent,
                breaks,
            } => Some(self.tooth(departure, from_last, percent, breaks)),
            Pattern::Ripple { percent, pulses } => Some(self.ripple(departure, percent, pulses)),
        }
    }

    fn finding(
        &self,
        code: &'static str,
        how_sure: HowSure,
        evidence: String,
        chance: f64,
    ) -> Finding {
        Finding {
            code,
            title: String::new(),
            evidence: format!(
                "{evidence} ({}; {})",
                self.looked_at(),
                chance_in_words(chance)
            ),
            likely_cause: String::new(),
            advice: String::new(),
            basis: COMMON_PRACTICE,
            how_sure,
            how_much: None,
            digit_index: self.only,
            pulse_index: None,
        }
    }

    fn slows(&self, departure: &Departure, percent: f64) -> Finding {
        let evidence = format!(
            "the period grows by {} % from the first to the last of a digit",
            figure(percent)
        );
        Finding {
            title: format!("The dial slows {}", self.through()),
            likely_cause: "the drive fades: dirt, congealed oil or a weak main spring; the speed has fallen below the \
                           governor's grip"
                .into(),
            advice: "clean and oil the dial first; then look at the main spring".into(),
            basis: "congealed oil dragging the return is on record in maintenance minutes; the rest is common \
                    practice, no source; no source limits slow-down",
            ..self.finding("slow-down", surety(departure), evidence, departure.chance)
        }
    }

    fn quickens(&self, departure: &Departure, percent: f64) -> Finding {
        let evidence = format!(
            "the period shrinks by {} % from the first to the last of a digit",
            figure(percent)
        );
        Finding {
            title: format!("The dial quickens {}", self.through()),
            likely_cause: "the governor grips late, or there is oil on its brake surface".into(),
            advice: "clean the governor's brake surface; keep oil off it".into(),
            ..self.finding("speed-up", surety(departure), evidence, departure.chance)
        }
    }

    /// Normal where the idle run is at the end: then the first pulse comes while the dial still gathers speed.
    fn first_long(&self, departure: &Departure, percent: f64) -> Option<Finding> {
        let idle_run = self.evidence.settings.idle_run;
        if idle_run == Some(IdleRun::End) {
            return None;
        }
        let at_end = match idle_run {
            Some(IdleRun::Start) => "",
            _ => {
                " This is normal in a dial whose idle run is at the end (say so by --idle-run end)."
            }
        };
        let evidence = format!(
            "the first period is {} % longer than the others",
            figure(percent)
        );
        Some(Finding {
            title: format!("Only the first period is long {}", self.through()),
            likely_cause: format!(
                "the dial is still gathering speed at its first pulse: a dry or dirty train, or a governor slow to let \
                 go.{at_end}"
            ),
            advice: "dial several digits and see that it stays; then clean and oil the pivots"
                .into(),
            basis: "derived: an idle run at the start is on record as there to let the governor reach speed",
            ..self.finding(
                "first-period-long",
                surety(departure),
                evidence,
                departure.chance,
            )
        })
    }

    fn two_pulse(&self, departure: &Departure, percent: f64, breaks: bool) -> Finding {
        let evidence = if breaks {
            format!(
                "every second break is {} % of the period longer",
                figure(percent)
            )
        } else {
            format!(
                "every second opening comes {} % of the period late",
                figure(percent)
            )
        };
        Finding {
            title: format!("Pulses differ two by two {}", self.through()),
            likely_cause: "a cam or pulse wheel of two lobes that are not alike, or a bent spindle".into(),
            advice: "turn the dial slowly and watch the contacts over two pulses; look at lobes and spindle".into(),
            basis: "derived from the mechanism, no source",
            ..self.finding("two-pulse-pattern", surety(departure), evidence, departure.chance)
        }
    }

    fn tooth(
        &self,
        departure: &Departure,
        from_last: usize,
        percent: f64,
        breaks: bool,
    ) -> Finding {
        let alone = departure.digits < 2;
        let what = match (breaks, percent > 0.0) {
            (false, true) => "opens late by",
            (false, false) => "opens early by",
            (true, true) => "has a break longer by",
            (true, false) => "has a break shorter by",
        };
        let evidence = format!(
            "the {} {what} {} % of the period in {}",
            pulse_from_the_last(from_last),
            figure(percent.abs()),
            if alone {
                "the only digit that reaches it".into()
            } else {
                format!("{} digits", departure.digits)
            },
        );
        Finding {
            title: format!("One pulse is out of place: the {}", from_the_last(from_last)),
            likely_cause: "a worn, burred or bent tooth of the pulse wheel at that place: all digits share the end of \
                           the return, so it is counted from the last pulse"
                .into(),
            advice: if alone {
                "dial other digits: the same place from the end in all of them points to the wheel, another place to \
                 the contacts or the hand"
                    .into()
            } else {
                "look at the pulse wheel at that place, counted back from rest, and dress a burr".into()
            },
            basis: "derived from the mechanism, no source",
            ..self.finding("bad-tooth", if alone { HowSure::Hint } else { surety(departure) }, evidence, departure.chance)
        }
    }

    fn ripple(&self, departure: &Departure, percent: f64, pulses: f64) -> Finding {
        let evidence = format!(
            "the openings swing by {} % of the period to either side, once in {pulses:.1} pulses",
            figure(percent)
        );
        Finding {
            title: format!("The speed swings {}", self.through()),
            likely_cause: "a part of the governor drive turns out of true: worm or gear eccentric, or meshed too deep".into(),
            advice: "look at the mesh of the governor's gear, then at worm and pivots; after clearing, a few turns should \
                     run smoothly"
                .into(),
            basis: "vibration from a mesh that is too deep is on record in an engineering instruction (B5126 §3); the \
                    rest is derived",
            ..self.finding("governor-ripple", surety(departure), evidence, departure.chance)
        }
    }

    fn jitter(&self, jitter: &Jitter) -> Finding {
        let evidence = format!(
            "the openings scatter by {} % of the period, root mean square, about a steady course; the recording's \
             noise alone gives {} %",
            figure(jitter.percent),
            significant(jitter.noise_percent, 1),
        );
        Finding {
            title: format!("The pulses are uneven {}", self.through()),
            likely_cause: "a loose governor, slack pivots, a gear meshed too deep, or a finger dragging on the wheel".into(),
            advice: "dial again with the finger clear of the wheel; if it stays, look at governor, pivots and the mesh \
                     of its gear"
                .into(),
            ..self.finding(
                "unevenness",
                if jitter.chance < SHOWN { HowSure::Shown } else { HowSure::Likely },
                evidence,
                jitter.chance,
            )
        }
    }
}

fn surety(departure: &Departure) -> HowSure {
    if departure.chance < SHOWN {
        HowSure::Shown
    } else {
        HowSure::Likely
    }
}

fn figure(percent: f64) -> String {
    significant(percent, 2)
}

/// `last`, `2nd from the last`.
fn from_the_last(from_last: usize) -> String {
    match from_last {
        0 => "last".into(),
        _ => format!("{} from the last", crate::wording::ordinal(from_last + 1)),
    }
}

/// `last pulse`, `2nd pulse from the last`.
fn pulse_from_the_last(from_last: usize) -> String {
    match from_last {
        0 => "last pulse".into(),
        _ => format!(
            "{} pulse from the last",
            crate::wording::ordinal(from_last + 1)
        ),
    }
}

/// `chance alone: under 1 in a million dials`.
fn chance_in_words(chance: f64) -> String {
    let words = [
        (1e-6, "a million"),
        (1e-5, "100 000"),
        (1e-4, "10 000"),
        (1e-3, "1000"),
    ];
    let under = words.iter().find(|(limit, _)| chance < *limit);
    under.map_or_else(
        || "chance may have made it".into(),
        |(_, dials)| format!("chance alone: under 1 in {dials} dials"),
    )
}
