//! The contact sheet: a card for each dial, with a small strip of its timing.

use maud::{Markup, html};

use super::row::Row;
use super::takes::{Dial, Mean};
use super::text::{inside, receivers, word};
use crate::figure::with_uncertainty;
use crate::html::page::{self, badge, safe};

const STYLE: &str = include_str!("sheet.css");
const SCRIPT: &str = include_str!("sheet.js");

/// The sheet up to its first card. `counts` are the dials by verdict, `limits` what is said of the sets they were judged by.
#[must_use]
pub fn sheet_head(counts: &[(&'static str, usize)], limits: &[String]) -> String {
    let dials: usize = counts.iter().map(|(_, count)| count).sum();
    let words: Vec<String> = counts
        .iter()
        .map(|(word, count)| format!("{count} {word}"))
        .collect();
    let title = format!(
        "Contact sheet of {dials} dial{}",
        if dials == 1 { "" } else { "s" }
    );
    let top = html! {
        header {
            h1 { (title) }
            p { (words.join(", ")) }
            @for line in limits { p { (safe(line)) } }
            p.quiet.small {
                "Each strip shows the longest digit: breaks filled, all to the same scale of time; below it the pulsing \
                speed of each period, with its limits where some were chosen. "
                (caveat())
            }
        }
    };
    let tools = html! {
        form.tools role="search" aria-label="Filter and order" hidden {
            fieldset {
                legend { "Show" }
                @for (word, count) in counts {
                    label { input type="checkbox" name="word" value=(word) checked; " " (word) " (" (count) ")" }
                }
            }
            label { "Name or finding " input type="search" name="find"; }
            label { "Order "
                select name="order" {
                    option value="place" { "as in the table" }
                    option value="name" { "name" }
                    option value="speed" { "pulsing speed" }
                    option value="share" { "percent break" }
                }
            }
            output name="shown" aria-live="polite" {}
        }
    };
    let opening = "<main id=\"cards\">\n";
    page::head(&title, STYLE) + &top.into_string() + &tools.into_string() + opening
}

fn caveat() -> &'static str {
    if crate::UNCERTAINTY_VERIFIED {
        "± is the 95 % uncertainty of the measurement."
    } else {
        "± is the 95 % uncertainty of the measurement, not yet verified."
    }
}

/// One dial, with its line end.
#[must_use]
pub fn sheet_card(dial: &Dial) -> String {
    let name = safe(&dial.name);
    let centre = |mean: Option<Mean>| {
        mean.map(|mean| format!("{:.4}", mean.value.value))
            .unwrap_or_default()
    };
    let words = word(dial);
    let card = html! {
        article.card data-word=(words) data-speed=(centre(dial.speed_pps()))
            data-share=(centre(dial.percent_break())) {
            h2 { (name) }
            p { (badge(dial.verdict(), words)) }
            @for take in &dial.takes { (strip(take)) }
            (figures(dial))
            @if let Some(trouble) = dial.trouble() { p.trouble { (safe(trouble)) } }
            @if let Some(receivers) = receivers(dial) { p.small { (safe(&receivers)) } }
            @if !dial.findings().is_empty() { p.finds { (dial.findings().join(", ")) } }
        }
    };
    card.into_string() + "\n"
}

fn figures(dial: &Dial) -> Markup {
    let row = |name: &str, unit: &str, mean: Option<Mean>, places: usize| {
        html! {
            @if let Some(mean) = mean {
                dt { (name) }
                dd {
                    (with_uncertainty(mean.value.value, mean.value.u95)) " " (unit)
                    @if let Some(spread) = mean.spread { ", takes within " (format!("{spread:.places$}")) }
                }
            }
        }
    };
    html! {
        dl {
            (row("speed", "pps", dial.speed_pps(), 3))
            (row("break", "%", dial.percent_break(), 2))
            @if let Some(nearest) = dial.nearest() { dt { "limit" } dd { (inside(nearest)) } }
        }
    }
}

/// Time across a strip, in milliseconds: ten pulses of a slow dial.
const ACROSS_MS: f64 = 1300.0;
const WIDTH: f64 = 240.0;

/// The breaks of a take as blocks, and its speeds as a line.
fn strip(take: &Row) -> Markup {
    let Some((last, length)) = take.strip.last() else {
        return html! {};
    };
    let across = ACROSS_MS.max(last + length);
    let x = |ms: f64| ms / across * (WIDTH - 4.0) + 2.0;
    let breaks: String = take
        .strip
        .iter()
        .map(|(start, length)| {
            format!(
                "M{:.1} 2h{:.1}v11h-{:.1}z",
                x(*start),
                x(*length) - 2.0,
                x(*length) - 2.0
            )
        })
        .collect();
    let label = format!(
        "Breaks and makes of {}{}",
        safe(&take.input),
        take.take
            .as_ref()
            .map(|take| format!(", take {}", safe(take)))
            .unwrap_or_default()
    );
    html! {
        svg.strip viewBox="0 0 240 38" role="img" aria-label=(label) {
            path.b d=(breaks) {}
            (speeds(take, &x))
        }
    }
}

/// Speed of each period on a scale that its limits, or 10 % around its mean, fill to a third.
fn speeds(take: &Row, x: &impl Fn(f64) -> f64) -> Markup {
    let count = take.speeds_pps.len() as f64;
    if count < 1.0 {
        return html! {};
    }
    let range = take.limits.as_ref().and_then(|limits| limits.speed_pps);
    let limits = range.and_then(|range| Some((range.lower?, range.upper?)));
    let mean = take.speeds_pps.iter().sum::<f64>() / count;
    let (lower, upper) = limits.unwrap_or((0.95 * mean, 1.05 * mean));
    let (bottom, top) = (2.0 * lower - upper, 2.0 * upper - lower);
    let y = |speed: f64| 36.0 - (speed.clamp(bottom, top) - bottom) / (top - bottom) * 20.0;
    let pairs = take.strip.windows(2).zip(&take.speeds_pps);
    let points: Vec<String> = pairs
        .map(|(pair, speed)| format!("{:.1},{:.1}", x((pair[0].0 + pair[1].0) / 2.0), y(*speed)))
        .collect();
    html! {
        @if limits.is_some() {
            rect.l x="2" width="236" y=(format!("{:.1}", y(upper))) height=(format!("{:.1}", y(lower) - y(upper))) {}
        }
        polyline.s points=(points.join(" ")) {}
    }
}

/// The end of the sheet.
#[must_use]
pub fn sheet_foot() -> String {
    format!("</main>\n{}", page::foot(SCRIPT))
}
