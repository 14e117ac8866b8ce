//! A wrong command line: exit code 2, nothing on standard output, the option named on standard error.

use crate::session::Session;

#[test]
fn a_wrong_option_is_named_and_ends_with_2() {
    let session = Session::new();
    let cases: [(&[&str], &str); 17] = [
        (&["check"], "<FILE>"),
        (&["chek", "a.wav"], "chek"),
        (
            &["check", "a.wav", "--limits", "mars"],
            "there is no limit set `mars`; sets are none, jp-10",
        ),
        (
            &["check", "a.wav", "--dialled", "12a"],
            "`a` in the dialled number is not a digit",
        ),
        (&["check", "a.wav", "--dialled", "--"], "--dialled"),
        (
            &["check", "a.wav", "--channel", "0"],
            "give a channel from 1 on, or auto",
        ),
        (&["check", "a.wav", "--from", "soon"], "give seconds"),
        (
            &["check", "a.wav", "--from", "2", "--to", "1"],
            "--from is not before --to",
        ),
        (
            &["check", "a.wav", "--clock-ppm", "-5"],
            "give a number of at least 0",
        ),
        (
            &["check", "a.wav", "--clock-ppm", "NaN"],
            "give a number of at least 0",
        ),
        (
            &["check", "a.wav", "--raw", "s16le"],
            "encoding:rate:channels",
        ),
        (
            &["check", "a.wav", "--csv-rate", "0"],
            "give a number above 0",
        ),
        (&["check", "a.wav", "--format", "xml"], "xml"),
        (
            &["check", "-", "-"],
            "standard input (-) can be read only once",
        ),
        (&["check", "a.wav", "--plot-theme", "dark"], "--plot"),
        (
            &["explain", "no-such-code"],
            "there is no code `no-such-code`",
        ),
        (&["synth", "--digits", "5"], "--output"),
    ];
    for (arguments, words) in cases {
        let ran = session.run(arguments);
        assert_eq!(
            (ran.stdout.as_str(), ran.code),
            ("", Some(2)),
            "{arguments:?}"
        );
        assert!(ran.stderr.contains(words), "{arguments:?}: {}", ran.stderr);
    }
}

#[test]
fn a_wrong_environment_is_a_wrong_command_line() {
    let session = Session::new().with_env("FINGERSTOP_LIMITS", "mars");
    let ran = session.run(&["check", "a.wav"]);
    assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(2)));
    assert!(
        ran.stderr.contains("there is no limit set `mars`"),
        "{}",
        ran.stderr
    );
}

#[test]
fn help_and_version_go_to_standard_output() {
    let session = Session::new();
    let version = session.run(&["--version"]);
    assert_eq!((version.stderr.as_str(), version.code), ("", Some(0)));
    assert_eq!(
        version.stdout,
        format!("fingerstop {}\n", env!("CARGO_PKG_VERSION"))
    );
    for arguments in [
        &["--help"][..],
        &["check", "--help"],
        &["limits", "--help"],
        &["synth", "--help"],
        &["help", "check"],
    ] {
        let ran = session.run(arguments);
        assert_eq!(
            (ran.stderr.as_str(), ran.code),
            ("", Some(0)),
            "{arguments:?}"
        );
        assert!(ran.stdout.contains("Usage: fingerstop"), "{arguments:?}");
    }
}
