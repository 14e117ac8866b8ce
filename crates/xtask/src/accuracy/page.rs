//! The tables as text.

use super::requirement::{COVERAGE_DIGITS, Covering, Shortfall, covering};
use super::statistics::quantile;
use super::tally::{Contacts, InventedTally, Measure, Tally};

pub(crate) const DIALLED_HEAD: &str = "## Dialled\n\n\
| family | recordings | right | right, not sure | declined | wrong and sure | speed error, % | \
percent-break error, points | error over bound | intervals that hold the truth |\n\
|---|---|---|---|---|---|---|---|---|---|\n";

pub(crate) const NOTHING_HEAD: &str = "\n## Nothing dialled\n\n\
| family | recordings | nothing found | digits not sure | sure digits |\n|---|---|---|---|---|\n";

pub(crate) const CONTACTS_HEAD: &str = "\n## Off-normal contacts\n\n\
Winding and return times of the digits that were found: how many are those of the contacts (within 10 ms), how many are of \
something else (most families have no such contacts), how many are there and not given, and how far those given are off.\n\n\
| families | given, right | given, of something else | not given | error, ms |\n|---|---|---|---|---|\n";

pub(crate) fn contacts_row(name: &str, contacts: &Contacts) -> String {
    let at = |share| Some(format!("{:.2}", quantile(&contacts.right, share)?));
    let errors: Option<Vec<String>> = [0.5, 0.95, 1.0].into_iter().map(at).collect();
    let errors = errors.map_or_else(dash, |e| e.join(", "));
    let right = contacts.right.len();
    format!(
        "| {name} | {right} | {} | {} | {errors} |\n",
        contacts.wrong, contacts.silent
    )
}

/// What the page of intervals is and how it was made.
pub(crate) fn coverage_introduction(digits: usize) -> String {
    format!(
        "# How often the intervals hold the truth\n\n\
         Made by `cargo run --release -p xtask -- accuracy --coverage {digits} -o docs/coverage.md`. Of each kind of \
         simulated recording at least {digits} sure digits of three pulses or more are measured, and it is counted \
         how often the stated 95 % interval holds the true speed and the true percent break. In brackets the 99 % \
         interval of Clopper and Pearson; wanted are 93-98 %, and a kind falls short when that interval lies \
         outside.\n\n"
    )
}

/// What is counted where the line has capacitance.
pub(crate) const COVERAGE_CLOSE: &str = "\n\
Capacitance of line and leads lets openings come late, against closings, by up to a microsecond. It curves the steps of \
one kind more than those of the other, but what is not known of the recorder's filter makes a scatter several times that: \
no recording shows it. Like the tolerance of the recorder's clock it is therefore kept apart from `u95`, and joins it in \
the guard band of verdicts and behind every ± that people read. The bench supply without relays has such capacitance and \
nothing else in its line; its percent breaks are counted with the ± that people read, all others with `u95` alone.\n";

pub(crate) const COVERAGE_HEAD: &str = "\
| family | recordings | digits | speed, % | percent break, % |\n|---|---|---|---|---|\n";

/// What the page is, how it was made and how to read it.
pub(crate) fn introduction(arguments: &str) -> String {
    format!(
        "# Accuracy on recordings of known truth\n\n\
         Made by `cargo run --release -p xtask -- accuracy{arguments} -o docs/accuracy.md`. Every recording is drawn \
         by `crates/synth` from its family and index, so the table can be made again to the last digit; another \
         `--from` draws other recordings. All of it is simulated: the checks against things we did not make are in \
         `tests/`.\n\n\
         - **right**: every digit equals the truth and is sure. **right, not sure**: equal, but the tool doubts. \
         **declined**: not equal, and the tool says that it is not sure or finds nothing. **wrong and sure**: a sure \
         digit that was not dialled so; must be zero.\n\
         - Errors are of sure digits with at least four pulses: median, 95th percentile, worst.\n\
         - **Error over bound**: root mean square of each digit's error over the least standard error that any \
         unbiased estimate could have (speed, percent break); 1.0 is the physical limit. The bound is that of a \
         known step in white noise, derived in [bounds.md](bounds.md); hum, speech, tones, wander and an unknown \
         course of slow transitions are left out of it, so families that have them must stand above 1. A dash: no \
         noise, no bound.\n\
         - The last column says how often the stated 95 % interval held the truth, for speed and for percent break, \
         over sure digits with at least three pulses. Until it is 93-98 % in every family over {COVERAGE_DIGITS} \
         digits each, reports say that the uncertainty is not yet verified.\n\n"
    )
}

pub(crate) fn dialled_row(name: &str, tally: &Tally) -> String {
    format!(
        "| {name} | {} | {} | {} | {} | {} | {} | {} | {} | {} |\n",
        tally.recordings,
        tally.right,
        tally.unsure,
        tally.declined,
        tally.wrong_and_sure,
        spread(tally, Measure::Speed, 5),
        spread(tally, Measure::PercentBreak, 4),
        over_bound(tally),
        coverage(tally),
    )
}

pub(crate) fn nothing_row(name: &str, tally: &InventedTally) -> String {
    format!(
        "| {name} | {} | {} | {} | {} |\n",
        tally.recordings, tally.empty, tally.unsure, tally.sure
    )
}

pub(crate) fn coverage_row(name: &str, tally: &Tally) -> String {
    let (_, digits) = tally.covered(Measure::Speed);
    let [speed, percent] = Measure::BOTH.map(|m| interval(m, tally));
    format!(
        "| {name} | {} | {digits} | {speed} | {percent} |\n",
        tally.recordings
    )
}

/// What is wanted and not reached, one line each.
pub(crate) fn shortfalls(shortfalls: &[Shortfall]) -> String {
    let mut text = "\n## Where it falls short\n\n".to_owned();
    if shortfalls.is_empty() {
        text.push_str("Nowhere: every family reaches what is wanted.\n");
    }
    shortfalls
        .iter()
        .for_each(|s| text.push_str(&format!("- {s}\n")));
    text
}

fn spread(tally: &Tally, measure: Measure, digits: usize) -> String {
    let at = |share| {
        let error = tally.error(measure, None, share)?;
        Some(format!("{error:.digits$}"))
    };
    let parts: Option<Vec<String>> = [0.5, 0.95, 1.0].into_iter().map(at).collect();
    parts.map_or_else(dash, |p| p.join(", "))
}

fn over_bound(tally: &Tally) -> String {
    let parts = Measure::BOTH.map(|m| tally.over_bound(m).map(significant));
    let parts: Option<Vec<String>> = parts.into_iter().collect();
    parts.map_or_else(dash, |p| p.join(", "))
}

/// Two decimals below ten, none above: a ratio far from 1 is known no better.
fn significant(ratio: f64) -> String {
    if ratio < 10.0 {
        format!("{ratio:.2}")
    } else {
        format!("{ratio:.0}")
    }
}

fn coverage(tally: &Tally) -> String {
    let (speed, digits) = tally.covered(Measure::Speed);
    let (percent, _) = tally.covered(Measure::PercentBreak);
    if digits == 0 {
        return dash();
    }
    let share = |n: usize| 100.0 * n as f64 / digits as f64;
    format!("{:.1} %, {:.1} % of {digits}", share(speed), share(percent))
}

fn interval(measure: Measure, tally: &Tally) -> String {
    let Some((interval, covering)) = covering(measure, tally) else {
        return dash();
    };
    let word = match covering {
        Covering::NotShown => " (too few digits to say)",
        Covering::Shown => "",
        Covering::TooNarrow => " **too narrow**",
        Covering::TooWide => " **too wide**",
    };
    let (held, all) = tally.covered(measure);
    format!(
        "{:.1} ({:.1}-{:.1}){word}",
        100.0 * held as f64 / all as f64,
        100.0 * interval[0],
        100.0 * interval[1]
    )
}

fn dash() -> String {
    "–".to_owned()
}
