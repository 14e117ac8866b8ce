//! The parts of the page, all of them in the program itself.

/// One part.
#[derive(Debug)]
pub(crate) struct Asset {
    target: &'static str,
    pub(crate) content_type: &'static str,
    pub(crate) body: &'static [u8],
}

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";

const fn asset(target: &'static str, content_type: &'static str, body: &'static [u8]) -> Asset {
    Asset {
        target,
        content_type,
        body,
    }
}

const ALL: [Asset; 11] = [
    asset("/", HTML, include_bytes!("web/bench.html")),
    asset("/bench.css", CSS, include_bytes!("web/bench.css")),
    asset("/bench.js", SCRIPT, include_bytes!("web/bench.js")),
    asset("/page.js", SCRIPT, include_bytes!("web/page.js")),
    asset("/input.js", SCRIPT, include_bytes!("web/input.js")),
    asset("/figures.js", SCRIPT, include_bytes!("web/figures.js")),
    asset("/reports.js", SCRIPT, include_bytes!("web/reports.js")),
    asset("/drawing.js", SCRIPT, include_bytes!("web/drawing.js")),
    asset("/source.js", SCRIPT, include_bytes!("web/source.js")),
    asset("/capture.js", SCRIPT, include_bytes!("web/capture.js")),
    asset("/icon.svg", SVG, include_bytes!("web/icon.svg")),
];

/// The part that is asked for, by its exact name.
pub(crate) fn find(target: &str) -> Option<&'static Asset> {
    // A browser that is given a query keeps the page the same.
    ALL.iter().find(|asset| asset.target == target)
}
