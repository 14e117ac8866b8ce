//! The report of one recording as a page that stands alone.

use maud::{Markup, PreEscaped, html};
use score::apart::duration_as_read;
use score::{Answer, Check, Digit, Finding, Settings, Takes, Understood, Value, Verdict};

use super::page::{self, badge, safe};
use crate::figure::{clock_joined, limits as limits_in_words, to_its_place, with_uncertainty};
use crate::plot::{PlotError, Theme};
use crate::record::{Measured, Record};
use crate::text::takes as text;
use crate::words::{name, no_chatter, pulses, quantity, quench_word, tap_word, verdict_words};
use crate::{overlay_plot, overview_plot, timing_plot};

const SCRIPT: &str = include_str!("record.js");
const STYLE: &str = include_str!("record.css");

/// Reasons shown at most: an hour of talk may hold hundreds of doubtful clicks, and two pages of them say no more than one.
const REASONS_SHOWN: usize = 40;

/// The report of a recording as an HTML document.
///
/// # Errors
/// When the drawing library refuses.
pub fn html(
    record: &Record,
    settings: &Settings,
    dial_id: Option<&str>,
    tool_version: &str,
) -> Result<String, PlotError> {
    let title = dial_id.map_or_else(|| record.input.clone(), |dial| format!("Dial {dial}"));
    let body = match &record.outcome {
        Ok(measured) => {
            let plots = plots(&record.input, measured, settings)?;
            measured_page(&title, &record.input, measured, settings, &plots)
        }
        Err(unreadable) => html! {
            h1 { (safe(&title)) }
            p { (badge(Verdict::NotJudged, "cannot be read")) }
            p { (safe(&unreadable.message)) }
        },
    };
    let page = html! { main { (body) (footing(tool_version)) } };
    Ok(page::head(&title, STYLE) + &page.into_string() + &page::foot(SCRIPT))
}

/// The plots of a page, each with what it shows.
fn plots(
    input: &str,
    measured: &Measured,
    settings: &Settings,
) -> Result<Vec<(String, &'static str)>, PlotError> {
    let theme = Theme::Auto;
    let mut plots = vec![(
        timing_plot(input, measured, settings, theme)?,
        if measured.scored.digits.is_empty() {
            "The trace, in which no break or make was found."
        } else {
            "The trace with every break and make, and the figures pulse by pulse with their limits."
        },
    )];
    if measured.scored.digits.len() > 1 {
        let overview = overview_plot(input, measured, settings, theme)?;
        plots.push((overview, "The whole recording, its digits boxed."));
    }
    let overlay = overlay_plot(input, measured, theme)?;
    let words = "All pulses of the longest digit from their openings: where the lines part, the pulses differ.";
    plots.extend(overlay.map(|plot| (plot, words)));
    Ok(plots)
}

fn measured_page(
    title: &str,
    input: &str,
    measured: &Measured,
    settings: &Settings,
    plots: &[(String, &'static str)],
) -> Markup {
    let scored = &measured.scored;
    html! {
        header {
            h1 { (safe(title)) }
            p { (badge(scored.verdict, word(measured, settings))) " " (what_was_dialled(measured)) }
        }
        (reasons(measured))
        (without_digits(measured))
        (findings(&scored.findings))
        (figures(measured, settings))
        @if let Some(takes) = &scored.takes { (several(takes)) }
        (receivers(&scored.receivers))
        h2 { "Plots" }
        @for (plot, words) in plots { (figure(plot, words)) }
        (limits(settings))
        (would_say(measured))
        (recording(input, measured, settings))
        (method(settings))
    }
}

/// The word at the top; without limits nothing was judged, and that is no reproach.
fn word(measured: &Measured, settings: &Settings) -> &'static str {
    match measured.scored.verdict {
        Verdict::NotJudged if settings.limits.is_none() && !measured.scored.digits.is_empty() => {
            "measured, not judged"
        }
        verdict => verdict_words(verdict),
    }
}

fn what_was_dialled(measured: &Measured) -> String {
    let scored = &measured.scored;
    let dialled = match scored.digits.as_slice() {
        [] => return "no dialling found".to_owned(),
        [digit] => format!("digit {}, {}", name(digit), pulses(digit.pulses)),
        digits => format!(
            "digits {}",
            digits.iter().map(name).collect::<Vec<_>>().join(" ")
        ),
    };
    match (&scored.count.dialled, scored.count.verdict) {
        (None, _) => dialled,
        (Some(said), Verdict::Pass) => format!("{dialled}; dialled {said}: the count is right"),
        (Some(said), Verdict::Fail) => format!("{dialled}; dialled {said}: the count is wrong"),
        (Some(said), _) => format!("{dialled}; dialled {said}: the count cannot be told"),
    }
}

fn reasons(measured: &Measured) -> Markup {
    let scored = &measured.scored;
    html! {
        @if !scored.reasons.is_empty() {
            h2 { "Why" }
            ul {
                @for reason in scored.reasons.iter().take(REASONS_SHOWN) { li { (safe(&reason.text)) } }
                @if scored.reasons.len() > REASONS_SHOWN {
                    li { "and " (scored.reasons.len() - REASONS_SHOWN) " more; --format json has them all" }
                }
            }
        }
        @if !scored.warnings.is_empty() {
            h2 { "Keep in mind" }
            ul { @for caution in &scored.warnings { li { (safe(&caution.text)) } } }
        }
    }
}

/// What to do where no digit was found.
fn without_digits(measured: &Measured) -> Markup {
    let empty = measured.scored.digits.is_empty();
    let advice = empty.then(|| crate::text::advice::without_digits(measured));
    html! {
        @if let Some((found, next)) = advice {
            p { (found) }
            h2 { "Next" }
            ul { @for step in &next { li { (step) } } }
        }
    }
}

fn findings(findings: &[Finding]) -> Markup {
    html! {
        @if !findings.is_empty() {
            h2 { "Findings and advice" }
            @for finding in findings {
                section.finding {
                    h3 { (finding.title) " " span.quiet { "(" (finding.code) "; " (finding.how_sure.words()) ")" } }
                    p { (finding.evidence) }
                    p { strong { "Likely cause: " } (finding.likely_cause) }
                    p { strong { "Advice: " } (finding.advice) }
                    p.quiet.small { "Basis: " (finding.basis) }
                }
            }
        }
    }
}

fn figures(measured: &Measured, settings: &Settings) -> Markup {
    let scored = &measured.scored;
    html! {
        @if !scored.digits.is_empty() { h2 { "Figures" } }
        @if scored.digits.len() > 1 { (all_digits(&scored.digits, settings)) }
        @for (index, digit) in scored.digits.iter().enumerate() {
            h3 {
                (score::nth_digit(index, digit.digit.as_deref())) ", " (pulses(digit.pulses)) " "
                @if digit.verdict != Verdict::NotJudged { (badge(digit.verdict, verdict_words(digit.verdict))) }
            }
            @if let Some(doubt) = &digit.doubt { p { "The pulse count is not beyond doubt: " (safe(doubt)) } }
            div.scroll { (digit_table(digit, &scored.checks, index, settings)) }
        }
    }
}

/// Digits of the recording that were dialled more than once.
fn several(takes: &Takes) -> Markup {
    html! {
        h2 { "Takes of this recording" }
        p { (takes.count) " of " (pulses(takes.pulses)) }
        dl {
            @for taken in &takes.quantities {
                @let (name, unit) = quantity(taken.quantity);
                dt { (name) }
                dd {
                    "mean " (with_uncertainty(taken.mean, taken.u95_as_read())) " " (unit)
                    br; (text::spread(taken, unit))
                    @if let Some(check) = &taken.check { br; (text::judged(check, unit)) }
                }
            }
            @if let Some(seconds) = takes.ten_pulses_s() {
                dt { "ten pulses" } dd { (format!("{seconds:.3}")) " s; one pps is one impulse a second (ips)" }
            }
        }
    }
}

/// What each receiver makes of the dial: another question than whether it is in adjustment.
fn receivers(answers: &[Answer]) -> Markup {
    let colour = |answer: Understood| match answer {
        Understood::Yes => Verdict::Pass,
        Understood::Perhaps => Verdict::ConditionalPass,
        Understood::No => Verdict::Fail,
        Understood::CannotTell => Verdict::NotJudged,
    };
    html! {
        @if !answers.is_empty() {
            h2 { "Will it be understood" }
            p { "Another question than whether the dial is in adjustment." }
            @for answer in answers {
                section.finding {
                    h3 { (answer.receiver) ", " (safe(&answer.title)) }
                    p { (badge(colour(answer.understood), answer.understood.words())) }
                    @for reason in &answer.reasons { p { (safe(reason)) } }
                    p.quiet.small { "Grade " (answer.grade.name()) " (" (answer.grade.words()) "): " (safe(&answer.source)) }
                }
            }
        }
    }
}

/// One line for each of several digits; all their figures follow.
fn all_digits(digits: &[Digit], settings: &Settings) -> Markup {
    let shown = |value: Option<Value>, u95: &dyn Fn(Value) -> f64| {
        value.map_or_else(|| "-".to_owned(), |v| with_uncertainty(v.value, u95(v)))
    };
    let clock = |value: Value| clock_joined(value, settings.clock_ppm);
    html! {
        div.scroll {
            table.figures {
                thead {
                    tr {
                        th { "no." } th { "digit" } th { "pulses" } th { "speed, pps" } th { "percent break" }
                        th { "pause, ms" } th { "verdict" }
                    }
                }
                tbody {
                    @for (index, digit) in digits.iter().enumerate() {
                        tr {
                            td { (index + 1) }
                            td { strong { (name(digit)) } }
                            td { (digit.pulses) }
                            td { (shown(digit.speed_pps, &clock)) }
                            td { (shown(digit.percent_break_as_read(settings), &|value| value.u95)) }
                            td { (digit.pause_before_ms.map_or_else(|| "-".to_owned(), |v| format!("{:.0}", v.value))) }
                            td { (digit_word(digit, settings)) }
                        }
                    }
                }
            }
        }
    }
}

/// The word of a digit, or what stands in its way.
fn digit_word(digit: &Digit, settings: &Settings) -> Markup {
    match (digit.sure, digit.verdict) {
        (false, _) => html! { "count unsure" },
        (true, Verdict::NotJudged) if settings.limits.is_none() => html! { "measured" },
        (true, verdict) => badge(verdict, verdict_words(verdict)),
    }
}

/// One figure of a digit: its name, its value in words, and the stable name of the check it may have.
type Line = (&'static str, String, &'static str);

fn digit_table(digit: &Digit, checks: &[Check], index: usize, settings: &Settings) -> Markup {
    let of = |name: &str| {
        checks
            .iter()
            .find(|check| check.digit_index == index && check.quantity == name)
    };
    html! {
        table.figures {
            thead { tr { th { "quantity" } th { "measured" } th { "limits" } th { "verdict" } } }
            tbody {
                @for (name, figure, key) in lines(digit, settings) { (row(name, &figure, of(key))) }
                @for key in ["period_ms", "break_make_ratio", "pause_before_ms", "pulses"] {
                    @if let Some(check) = of(key) { (row(quantity(key).0, &check_figure(check), Some(check))) }
                }
            }
        }
    }
}

fn lines(digit: &Digit, settings: &Settings) -> Vec<Line> {
    let clock = |value: Value| clock_joined(value, settings.clock_ppm);
    let plain =
        |value: Value, unit: &str| format!("{} {unit}", with_uncertainty(value.value, value.u95));
    let clocked = |value: Value, unit: &str| {
        format!("{} {unit}", with_uncertainty(value.value, clock(value)))
    };
    let spread = |summary: &score::Summary| {
        let joined = duration_as_read(summary.mean, settings).u95;
        let (least, greatest) = (
            to_its_place(summary.min, joined),
            to_its_place(summary.max, joined),
        );
        format!(
            "{} ms, from {least} to {greatest}",
            with_uncertainty(summary.mean.value, joined)
        )
    };
    let chatter = if digit.chatter_ms_max > 0.0 {
        format!("up to {:.2} ms after closing", digit.chatter_ms_max)
    } else {
        no_chatter(digit.chatter_floor_ms)
    };
    let optional = [
        digit
            .speed_pps
            .map(|v| ("pulsing speed", clocked(v, "pps"), "speed_pps")),
        digit
            .percent_break_as_read(settings)
            .map(|v| ("percent break", plain(v, "%"), "percent_break")),
        digit.percent_break_half_step.map(|v| {
            (
                "percent break at half step, as a relay sees it",
                plain(v, "%"),
                "",
            )
        }),
        Some(("break", spread(&digit.break_ms), "break_ms")),
        digit
            .make_ms
            .as_ref()
            .map(|v| ("make", spread(v), "make_ms")),
        Some(("chatter", chatter, "bounce_ms")),
        digit
            .slow_down_percent
            .map(|v| ("slow-down over the digit", plain(v, "%"), "")),
        digit
            .unevenness_percent
            .map(|v| ("unevenness", plain(v, "%"), "")),
        digit
            .pause_before_ms
            .map(|v| ("pause before", clocked(v, "ms"), "")),
        digit
            .winding_ms
            .map(|ms| ("winding", format!("{ms:.0} ms"), "")),
        digit
            .return_ms
            .map(|ms| ("return", format!("{ms:.0} ms"), "")),
        digit
            .idle_after_ms
            .map(|ms| ("lost motion", format!("{ms:.0} ms"), "")),
    ];
    optional.into_iter().flatten().collect()
}

fn check_figure(check: &Check) -> String {
    let unit = quantity(check.quantity).1;
    let figure = if check.quantity == "pulses" {
        format!("{:.0}", check.value)
    } else {
        with_uncertainty(check.value, check.guard_band)
    };
    format!("{figure} {unit}").trim_end().to_owned()
}

fn row(name: &str, figure: &str, check: Option<&Check>) -> Markup {
    html! {
        tr {
            th scope="row" { (name) }
            td {
                (figure)
                @if let Some((check, pulse)) = check.and_then(|check| Some((check, check.pulse_index?))) {
                    br; span.quiet { "worst: no. " (pulse + 1) ", " (check_figure(check)) }
                }
            }
            @match check {
                Some(check) => {
                    td { (allowed(check)) }
                    td {
                        (badge(check.verdict, verdict_words(check.verdict)))
                        @if let Some(why) = &check.why_not_judged { br; span.small { (safe(why)) } }
                    }
                }
                None => { td {} td {} }
            }
        }
    }
}

/// What a check allows, as its source words it; a count has one right answer.
fn allowed(check: &Check) -> String {
    match (&check.as_quoted, check.lower) {
        (Some(quoted), _) => quoted.clone(),
        (None, Some(dialled)) if check.quantity == "pulses" => format!("{dialled:.0} dialled"),
        (None, _) => limits_in_words(check.lower, check.upper),
    }
}

fn figure(plot: &str, words: &str) -> Markup {
    html! {
        figure.zoom {
            div.tools hidden {
                button type="button" data-zoom="in" { "Enlarge" }
                button type="button" data-zoom="out" { "Reduce" }
                button type="button" data-zoom="left" aria-label="Move left" { "◀" }
                button type="button" data-zoom="right" aria-label="Move right" { "▶" }
                button type="button" data-zoom="whole" { "Whole" }
            }
            div.plot role="group" aria-label=(words) { (PreEscaped(plot)) }
            p.readout.small hidden aria-live="off" { "Point at a pulse to read its figures." }
            figcaption { (words) }
        }
    }
}

fn limits(settings: &Settings) -> Markup {
    html! {
        section.whole {
        h2 { "Limits" }
        @match &settings.limits {
            None => p { "No limits were chosen, so nothing was judged." },
            Some(set) => {
                p { strong { (set.name) } ", grade " (set.grade.name()) ": " (set.title) }
                p { "Source: " (crate::words::source(set)) }
                @if !set.evidence.is_empty() { p.quiet { (set.evidence) } }
                @if set.set_to_only {
                    p { "These limits tell what to set a dial to; being outside is not by itself a reason to reject it." }
                }
                @if !set.note.is_empty() { p { (set.note) } }
            }
        }
        }
    }
}

fn would_say(measured: &Measured) -> Markup {
    let sets = &measured.scored.would_say;
    html! {
        @if !sets.is_empty() {
            h2 { "What the published sets would say" }
            ul { @for set in sets { li { (safe(&set.line)) } } }
        }
    }
}

fn recording(input: &str, measured: &Measured, settings: &Settings) -> Markup {
    let facts = &measured.scored.facts;
    let optional = [
        facts
            .snr_db
            .map(|db| ("step above noise", format!("{db:.0} dB"))),
        facts
            .coupling_hz
            .map(|hz| ("coupling", format!("{hz:.1} Hz high-pass"))),
        facts.hum.map(|hum| {
            let percent = 100.0 * hum.relative_amplitude;
            (
                "hum",
                format!("{:.0} Hz, {percent:.1} % of the step", hum.frequency_hz),
            )
        }),
        settings.tap.map(|tap| ("probe", tap_word(tap).to_owned())),
        settings
            .quench
            .map(|quench| ("quench capacitor", quench_word(quench).to_owned())),
        (measured.clipped() > 0).then(|| ("clipped", format!("{} samples", measured.clipped()))),
    ];
    html! {
        h2 { "Recording" }
        dl {
            dt { "file" } dd { (safe(input)) }
            dt { "encoding" } dd { (safe(&measured.facts.encoding)) ", " (measured.facts.sample_rate_hz) " Hz" }
            dt { "channel" } dd { (measured.channel) " of " (measured.facts.channels) }
            dt { "length" } dd { (format!("{:.2}", measured.duration_s())) " s" }
            @for (name, value) in optional.iter().flatten() { dt { (name) } dd { (value) } }
        }
        @if !measured.warnings.is_empty() {
            ul { @for warning in &measured.warnings { li { (safe(&warning.message)) } } }
        }
    }
}

fn method(settings: &Settings) -> Markup {
    html! {
        h2 { "How it was measured" }
        p {
            "The instants at which the contact opened and closed were found in the recording. Speed is the number of periods \
            by the time from the first opening to the last; percent break the sum of the breaks by the same time; the last \
            make merges into the pause and is left out."
        }
        p {
            "± is the 95 % uncertainty (JCGM 100), with a recorder clock good to " (settings.clock_ppm) " ppm in speeds and \
            durations, and openings that line and leads delay by up to " (format!("{:.1}", 1e3 * settings.opening_delay_ms)) " µs in breaks \
            and makes" @if !crate::UNCERTAINTY_VERIFIED { "; uncertainty not yet verified" }
            ". Verdicts follow ILAC-G8:09/2019 with the uncertainty as guard band: pass and fail are inside and outside by at \
            least the uncertainty, conditional pass and conditional fail by less."
        }
        p { (crate::CAUTION) }
    }
}

fn footing(tool_version: &str) -> Markup {
    html! { footer.quiet.small { p { "Written by fingerstop " (tool_version) "." } } }
}
