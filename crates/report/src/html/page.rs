//! What every page shares: its head, its foot and its style.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use score::Verdict;

/// Light and dark colours in step with those of the plots; paper and ink for the printer.
const STYLE: &str = include_str!("page.css");

/// A page up to the beginning of its contents; [`foot`] closes it.
///
/// Written in pieces, so that a sheet of many dials need not be held at once.
pub(crate) fn head(title: &str, style: &str) -> String {
    let head = html! {
        (DOCTYPE)
        (PreEscaped("<html lang=\"en\">"))
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (safe(title)) }
            style { (PreEscaped(STYLE)) (PreEscaped(style)) }
        }
        (PreEscaped("<body>\n"))
    };
    head.into_string()
}

/// The end of a page, with the script that adds what is not needed to read it.
pub(crate) fn foot(script: &str) -> String {
    let script = html! { @if !script.is_empty() { script { (PreEscaped(script)) } } };
    format!("{}</body></html>\n", script.into_string())
}

/// A verdict in a box: filled when sure, an outline when conditional or not judged, so that grey tells them
/// apart.
pub(crate) fn badge(verdict: Verdict, word: &str) -> Markup {
    html! { span class={ "badge " (tone(verdict)) } { (word) } }
}

/// Name of the style of a verdict.
pub(crate) fn tone(verdict: Verdict) -> &'static str {
    crate::words::verdict_code(verdict)
}

/// Text without control characters, which neither a screen nor a printer shows.
pub(crate) fn safe(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect()
}
