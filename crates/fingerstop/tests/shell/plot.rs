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
        "uncertainty not yet verified",
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
            "fingerstop: --plot draws one recording, but 2 were named: run it once for each\n",
        ),
        (
            &["a.wav", "--plot", "p.png"],
            "fingerstop: --plot writes SVG: name the file p.svg\n",
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
