//! `--plot`.

use crate::session::{Session, assert_ran, demo_recording};

#[test]
fn the_plot_is_written_beside_the_results() {
    let session = Session::new();
    let path = demo_recording("dial-a-good.wav");
    let plain = session.run(&["check", &path, "--limits", "us-1956-later"]);
    let ran = session.run(&[
        "check",
        &path,
        "--limits",
        "us-1956-later",
        "--plot",
        "dial.svg",
    ]);
    assert_ran(&ran, &plain.stdout, "", 0);
    let svg = session.read("dial.svg");
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
    for part in [
        "PASS",
        "max 10.5",
        "min 60",
        "us-1956-later",
        "± is the 95 % uncertainty, a recorder clock good to 100 ppm included",
        "prefers-color-scheme",
    ] {
        assert!(svg.contains(part), "{part}");
    }
    let again = session.run(&["check", &path, "--plot", "dial.svg"]);
    assert_ran(
        &again,
        "",
        "fingerstop: dial.svg exists already; add --force to overwrite it\n",
        3,
    );
}

#[test]
fn two_runs_draw_the_same_to_the_last_byte() {
    let session = Session::new();
    let path = demo_recording("number-1234567.wav");
    for name in ["a.svg", "b.svg"] {
        assert_eq!(
            session
                .run(&["check", &path, "--plot", name, "--plot-theme", "dark"])
                .code,
            Some(0)
        );
    }
    assert_eq!(session.read("a.svg"), session.read("b.svg"));
    assert!(!session.read("a.svg").contains("prefers-color-scheme"));
}

/// Everything that a run writes, with the limits that were chosen once for all.
#[test]
fn two_runs_write_the_same_to_the_last_byte() {
    let session = Session::new();
    session.run(&["limits", "use", "us-1956-later"]);
    let path = demo_recording("phone-quality-50.wav");
    let run = |format: &str, number: u32| {
        let (results, plot) = (
            format!("{number}.{format}"),
            format!("{number}.{format}.svg"),
        );
        let ran = session.run(&[
            "check", &path, "--format", format, "-o", &results, "--plot", &plot,
        ]);
        assert_ran(&ran, "", "", 0);
        (session.read(&results), session.read(&plot))
    };
    for format in ["text", "json", "ndjson", "csv"] {
        let (first, second) = (run(format, 1), run(format, 2));
        assert_eq!(first, second, "{format}");
        let (results, plot) = first;
        assert!(
            results.contains("pass") || results.contains("PASS"),
            "{results}"
        );
        assert!(plot.contains("us-1956-later"), "{format}");
    }
}

#[test]
fn what_cannot_be_drawn_is_refused_in_one_line() {
    let session = Session::new();
    let refused = [
        (
            &["a.wav", "b.wav", "--plot", "p.svg"][..],
            "fingerstop: --plot shows one recording, but 2 were named: run it once for each, or use batch or compare\n",
        ),
        (
            &["a.wav", "--plot", "p.jpg"],
            "fingerstop: --plot writes SVG or PNG: name the file p.svg\n",
        ),
        (
            &["a.wav", "--html", "p.html", "--tag", "p.html"],
            "fingerstop: --tag writes SVG or PNG: name the file p.svg\n",
        ),
        (
            &["a.wav", "--plot", "p.svg", "--tag", "p.svg"],
            "fingerstop: --tag and --plot name the same file\n",
        ),
        (
            &["a.wav", "--plot", "p.svg", "-o", "p.svg"],
            "fingerstop: --plot and --output name the same file\n",
        ),
    ];
    for (arguments, message) in refused {
        assert_ran(
            &session.run(&[&["check"], arguments].concat()),
            "",
            message,
            2,
        );
    }
}

#[test]
fn an_unreadable_recording_leaves_no_plot() {
    let session = Session::new();
    let ran = session.run(&["check", "gone.wav", "--plot", "p.svg", "--format", "csv"]);
    assert_eq!(ran.code, Some(3));
    assert!(session.files().is_empty(), "{:?}", session.files());
}

/// Width and height that the head of a PNG states.
fn size_of_png(bytes: &[u8]) -> (u32, u32) {
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    (number(16), number(20))
}

#[test]
fn every_kind_of_plot_is_drawn_as_svg_and_in_pixels() {
    let session = Session::new();
    let path = demo_recording("number-1234567.wav");
    for (kind, shows) in [
        ("timing", "Pulsing speed of each period"),
        ("overview", "Whole recording, full scale = 1"),
        ("overlay", "The closings enlarged, each from its own"),
    ] {
        let drawn =
            |file: &str| session.run(&["check", &path, "--plot", file, "--plot-kind", kind]);
        let (svg, png) = (format!("{kind}.svg"), format!("{kind}.png"));
        assert_eq!((drawn(&svg).code, drawn(&png).code), (Some(0), Some(0)));
        assert!(session.read(&svg).contains(shows), "{kind}");
        let (width, height) = size_of_png(&std::fs::read(session.path(&png)).unwrap());
        assert_eq!(width, 2 * 1180);
        assert!(height > 600, "{height}");
    }
    let nothing = [
        "check",
        &demo_recording("nothing-dialled.wav"),
        "--plot",
        "n.svg",
        "--plot-kind",
        "overlay",
    ];
    let ran = session.run(&nothing);
    assert_eq!(ran.code, Some(3));
    assert!(
        ran.stderr.contains("no digit of two pulses or more"),
        "{}",
        ran.stderr
    );
    assert!(!session.path("n.svg").exists());
}

#[test]
fn the_report_stands_alone_and_says_what_the_text_says() {
    let session = Session::new();
    let path = demo_recording("dial-b-before.wav");
    let ran = session.run(&[
        "check",
        &path,
        "--limits",
        "us-1956-later",
        "--dial-id",
        "B <1>",
        "--html",
        "b.html",
    ]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(1)));
    let page = session.read("b.html");
    for part in [
        "<h1>Dial B &lt;1&gt;</h1>",
        "<span class=\"badge fail\">fail</span>",
        "8.19901 ± 0.00093 pps",
        "Notes on Distance Dialing",
        "± is the 95 % uncertainty",
        "How it was measured",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert_eq!(page.matches("<figure").count(), 2);
    let links: Vec<&str> = page
        .match_indices("http")
        .map(|(at, _)| &page[at..at + 26])
        .collect();
    assert!(
        links
            .iter()
            .all(|link| *link == "http://www.w3.org/2000/svg"),
        "{links:?}"
    );
    for foreign in ["src=", "@import", "url("] {
        assert!(!page.contains(foreign), "{foreign}");
    }
}

/// What the text says of receivers and of digits dialled twice, the page says too; and how sure a finding is.
#[test]
fn the_report_answers_for_receivers_and_gathers_takes() {
    let session = Session::new();
    session.dial(
        "twice.wav",
        "00",
        &["--speed", "8.4", "--percent-break", "62"],
    );
    let asked = [
        "--limits",
        "de-1.6",
        "--for",
        "jp-10",
        "--for",
        "us-switch",
        "--html",
        "twice.html",
    ];
    let ran = session.run(&[&["check", "twice.wav"], &asked[..]].concat());
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(1)));
    let page = session.read("twice.html");
    for part in [
        "<h2>Takes of this recording</h2><p>2 of 10 pulses</p>",
        "<dt>break/make ratio</dt>",
        "pass against 1.3 to 1.9</dd>",
        "fail against 90 to 110 ms",
        "<h2>Will it be understood</h2>",
        "<span class=\"badge fail\">will not be understood reliably</span>",
        "<span class=\"badge pass\">will be understood</span>",
        "AT&amp;T Specification 4566",
        "(slow; shown by the figures)",
    ] {
        assert!(page.contains(part), "{part}\n{page}");
    }
}

#[test]
fn the_tag_carries_what_the_user_gave_and_what_was_measured() {
    let session = Session::new();
    let path = demo_recording("dial-e-chatter.wav");
    let ran = session.run(&[
        "check",
        &path,
        "--limits",
        "us-1956-later",
        "--dial-id",
        "E",
        "--tag",
        "e.svg",
        "--tag-date",
        "12 March",
    ]);
    assert_eq!(ran.code, Some(0));
    let tag = session.read("e.svg");
    for part in [
        "12 March",
        "PASS",
        "pps",
        "findings: chatter",
        "limits us-1956-later",
        "9.5 to 10.5 pps, 60 to 64 % break",
    ] {
        assert!(tag.contains(part), "{part}");
    }
}

/// A card says the limits in the kind in which their set states them, and why there is no verdict.
#[test]
fn the_tag_says_limits_of_every_kind_and_what_is_missing() {
    let session = Session::new();
    let card = |name: &str, more: &[&str]| {
        let path = demo_recording(name);
        session.run(&[&["check", &path, "--tag", "t.svg", "--force"], more].concat());
        session.read("t.svg")
    };
    let tag = card("dial-a-good.wav", &["--limits", "au-s002"]);
    for part in [
        ">\ndial-a-good.wav\n<",
        "break 60 to 70 ms, make 30 to 40 ms",
        "bounce at most 0.5 ms",
    ] {
        assert!(tag.contains(part), "{part}\n{tag}");
    }
    let tag = card("dial-a-good.wav", &["--limits", "de-1.6"]);
    assert!(tag.contains("period 90 to 110 ms, break to make 1.3 to 1.9"));
    let tag = card("nothing-dialled.wav", &[]);
    assert!(tag.contains("no dialling found"));
}
