//! A comparison as a page that stands alone.

use maud::{Markup, PreEscaped, html};
use score::Verdict;

use super::text::{limits_differ, nothing_to_compare, receivers, shift_line, with_value, word};
use super::{Change, Comparison, Step, chart, digit_name, name_and_unit, signed};
use crate::html::page::{self, badge, safe};
use crate::plot::{PlotError, Theme};
use crate::saved::{Saved, SavedFinding};
use crate::words::{pulses, verdict_words};

/// Plots on one page at most: a number of seven digits is enough to see.
const PLOTS_AT_MOST: usize = 8;

/// One digit before and after goes on one sheet, with its plot.
const STYLE: &str =
    "@media print{body{line-height:1.25}h2{margin-top:.8rem}figure svg{width:85%}}\n";

/// The comparison as an HTML document.
///
/// # Errors
/// When the drawing library refuses.
pub fn html(comparison: &Comparison, tool_version: &str) -> Result<String, PlotError> {
    let plots = chart::plots(comparison, Theme::Auto, PLOTS_AT_MOST)?;
    let body = html! {
        main {
            h1 { "Before and after" }
            (recordings(&comparison.recordings))
            @if let Some(caution) = limits_differ(&comparison.recordings) { p { strong { (caution) } } }
            @for step in &comparison.steps { (show_step(comparison, step)) }
            @if !plots.is_empty() {
                h2 { "Pulse by pulse, on common scales" }
                @for plot in &plots {
                    figure {
                        (PreEscaped(plot))
                        figcaption {
                            "Bars are 95 % uncertainties where they are larger than the mark; those of the speed are upper bounds. Traces \
                            are drawn of recordings, not of saved figures; what coupling took from their levels is put back."
                        }
                    }
                }
            }
            (footing(tool_version))
        }
    };
    Ok(page::head("Before and after", STYLE) + &body.into_string() + &page::foot(""))
}

fn recordings(recordings: &[Saved]) -> Markup {
    html! {
        div.scroll {
            table {
                thead { tr { th { "no." } th { "verdict" } th { "limits" } th { "recording" } th { "measured by" } } }
                tbody {
                    @for (index, saved) in recordings.iter().enumerate() {
                        tr {
                            td { (index + 1) }
                            td { (badge(saved.verdict, word(saved))) }
                            td { @if let Some(set) = &saved.limits { (set.name) ", grade " (set.grade) } @else { "none" } }
                            td {
                                (safe(&saved.input))
                                @if let Some(dial) = &saved.dial_id { ", dial " (safe(dial)) }
                                @if let Some(error) = &saved.error { br; (safe(&error.message)) }
                            }
                            td { "fingerstop " (saved.tool_version) }
                        }
                    }
                }
            }
        }
    }
}

fn show_step(comparison: &Comparison, step: &Step) -> Markup {
    let (before, after) = (
        &comparison.recordings[step.before],
        &comparison.recordings[step.after],
    );
    html! {
        section {
            h2 { "From " (step.before + 1) " to " (step.after + 1) }
            p { (badge(before.verdict, word(before))) " → " (badge(after.verdict, word(after))) }
            @if step.pairing.pairs.is_empty() { p { (nothing_to_compare(before, after)) } }
            @for (pair, changes) in step.pairing.pairs.iter().zip(&step.changes) {
                @let digit = &before.digits[pair.0];
                h3 { "Digit " (digit_name(digit)) ", " (pulses(digit.pulses)) }
                (table(comparison, changes))
            }
            (lone("Only before", before, &step.pairing.only_before))
            (lone("Only after", after, &step.pairing.only_after))
            (findings("Findings gone", &step.gone))
            (findings("Findings new", &step.came))
            (findings("Findings still there", &step.stayed))
            @let answers = receivers(before, after);
            @if !answers.is_empty() {
                h3 { "Will it be understood" }
                ul { @for line in answers { li { (safe(&line)) } } }
            }
            @if let Some(verdict) = step.shift {
                p { (shift_line(comparison)) ": " (badge(verdict, verdict_words(verdict))) }
            }
        }
    }
}

fn table(comparison: &Comparison, changes: &[Change]) -> Markup {
    html! {
        div.scroll {
            table {
                thead { tr { th { "quantity" } th { "before" } th { "after" } th { "change" } th { "changed?" } } }
                tbody { @for change in changes { (row(comparison, change)) } }
            }
        }
    }
}

fn row(comparison: &Comparison, change: &Change) -> Markup {
    let (name, unit) = name_and_unit(change.quantity);
    let judged = comparison
        .max_shifts
        .iter()
        .find_map(|shift| shift.verdict(change));
    html! {
        tr {
            th scope="row" { (name) ", " (unit) }
            td { (with_value(change, |change| change.before)) }
            td { (with_value(change, |change| change.after)) }
            td { (signed(change.change)) }
            td {
                @if change.is_shown() { strong { "changed" } } @else { span.quiet { "within ±" } }
                @if let Some(verdict) = judged.filter(|verdict| *verdict != Verdict::Pass) {
                    " " (badge(verdict, verdict_words(verdict)))
                }
            }
        }
    }
}

fn lone(words: &str, saved: &Saved, indexes: &[usize]) -> Markup {
    let names: Vec<&str> = indexes
        .iter()
        .map(|index| digit_name(&saved.digits[*index]))
        .collect();
    html! { @if !names.is_empty() { p { (words) ": digit " (names.join(", ")) } } }
}

fn findings(words: &str, findings: &[SavedFinding]) -> Markup {
    html! {
        @if !findings.is_empty() {
            h3 { (words) }
            ul { @for finding in findings { li { strong { (finding.title) } " (" (finding.code) "). " (finding.evidence) } } }
        }
    }
}

fn footing(tool_version: &str) -> Markup {
    html! {
        footer.quiet.small {
            p {
                "± is the 95 % uncertainty of the measurement, the recorders' clocks included"
                @if !crate::UNCERTAINTY_VERIFIED { "; uncertainty not yet verified" }
                ". A change within its ± is not shown to be one. A dial also differs from one winding to the next: more \
                takes show by how much."
            }
            p { "Written by fingerstop " (tool_version) "." }
        }
    }
}
