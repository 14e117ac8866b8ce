//! The parts of the page, all of them in the program itself.

/// One part.
#[derive(Debug)]
pub(crate) struct Asset {
    target: &'static str,
    pub(crate) content_type: &'static str,
    pub(crate) body: &'static [u8],
}

const ALL: [Asset; 10] = [
    Asset {
        target: "/",
        content_type: "text/html; charset=utf-8",
        body: include_bytes!("web/bench.html"),
    },
    Asset {
        target: "/bench.css",
        content_type: "text/css; charset=utf-8",
        body: include_bytes!("web/bench.css"),
    },
    Asset {
        target: "/bench.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/bench.js"),
    },
    Asset {
        target: "/page.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/page.js"),
    },
    Asset {
        target: "/input.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/input.js"),
    },
    Asset {
        target: "/figures.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/figures.js"),
    },
    Asset {
        target: "/reports.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/reports.js"),
    },
    Asset {
        target: "/drawing.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/drawing.js"),
    },
    Asset {
        target: "/capture.js",
        content_type: "text/javascript; charset=utf-8",
        body: include_bytes!("web/capture.js"),
    },
    Asset {
        target: "/icon.svg",
        content_type: "image/svg+xml",
        body: include_bytes!("web/icon.svg"),
    },
];

/// The part that is asked for, by its exact name.
pub(crate) fn find(target: &str) -> Option<&'static Asset> {
    // A browser that is given a query keeps the page the same.
    ALL.iter().find(|asset| asset.target == target)
}
