//! `limits`, and where a choice comes from: flag, environment, configuration, in that order.

use crate::schema::document;
use crate::session::{Session, assert_ran, demo_recording};

fn set_used(session: &Session, more: &[&str]) -> Option<String> {
    let path = demo_recording("dial-a-good.wav");
    let ran = session.run(&[&["check", path.as_str(), "--format", "json"], more].concat());
    assert_eq!(ran.stderr, "");
    document(&ran.stdout).limits.map(|set| set.name)
}

#[test]
fn a_set_is_used_only_when_chosen_and_the_flag_wins() {
    let session = Session::new();
    assert_eq!(set_used(&session, &[]), None);
    let used = session.run(&["limits", "use", "jp-10"]);
    assert_eq!((used.stderr.as_str(), used.code), ("", Some(0)));
    assert!(used.stdout.starts_with(
        "jp-10 is used where neither --limits nor FINGERSTOP_LIMITS says otherwise ("
    ));
    assert_eq!(
        session.read(".config/fingerstop/config.json"),
        "{\n  \"limits\": \"jp-10\"\n}\n"
    );
    assert_eq!(set_used(&session, &[]).as_deref(), Some("jp-10"));
    let session = session.with_env("FINGERSTOP_LIMITS", "de-1.6");
    assert_eq!(set_used(&session, &[]).as_deref(), Some("de-1.6"));
    assert_eq!(
        set_used(&session, &["--limits", "au-s002"]).as_deref(),
        Some("au-s002")
    );
    assert_eq!(set_used(&session, &["--limits", "none"]), None);
}

#[test]
fn a_choice_can_be_taken_back() {
    let session = Session::new();
    assert_eq!(session.run(&["limits", "use", "jp-10"]).code, Some(0));
    assert!(
        session
            .run(&["limits", "list"])
            .stdout
            .contains("Chosen for all runs: jp-10")
    );
    assert_eq!(session.run(&["limits", "use", "none"]).code, Some(0));
    assert_eq!(set_used(&session, &[]), None);
}

#[test]
fn the_configuration_goes_where_xdg_says() {
    let session = Session::new();
    let place = session.path("elsewhere").to_str().unwrap().to_owned();
    let session = session.with_env("XDG_CONFIG_HOME", &place);
    assert_eq!(session.run(&["limits", "use", "jp-10"]).code, Some(0));
    assert_eq!(session.files(), ["elsewhere"]);
}

#[test]
fn a_broken_configuration_is_named() {
    let session = Session::new();
    std::fs::create_dir_all(session.path(".config/fingerstop")).unwrap();
    for (text, words) in [
        ("{", "EOF"),
        ("[]", "not a JSON object"),
        ("{\"limits\": 3}", "not a name"),
        ("{\"limits\": \"mars\"}", "no limit set `mars`"),
    ] {
        session.write(".config/fingerstop/config.json", text);
        let ran = session.run(&["check", &demo_recording("dial-a-good.wav")]);
        assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(2)), "{text}");
        assert!(
            ran.stderr.contains("config.json") && ran.stderr.contains(words),
            "{}",
            ran.stderr
        );
        assert_eq!(ran.stderr.lines().count(), 1);
    }
}

#[test]
fn list_and_show_name_grade_and_source() {
    let session = Session::new();
    let list = session.run(&["limits", "list"]);
    assert_eq!((list.stderr.as_str(), list.code), ("", Some(0)));
    for name in [
        "jp-10",
        "au-s002",
        "us-1956-later",
        "us-1956-earlier",
        "uk-gpo-dial",
        "de-1.6",
    ] {
        assert!(
            list.stdout.lines().any(|line| line.starts_with(name)),
            "{name}"
        );
    }
    let show = session.run(&["limits", "show", "au-s002"]);
    assert_eq!((show.stderr.as_str(), show.code), ("", Some(0)));
    for part in [
        "60 to 70 ms",
        "30 to 40 ms",
        "at most 0.5 ms",
        "AS/CA S002:2010",
        "--judge-pauses",
    ] {
        assert!(show.stdout.contains(part), "{part} in\n{}", show.stdout);
    }
    let cited = session.run(&["limits", "show", "uk-gpo-exchange"]).stdout;
    assert!(cited.contains("B, second-hand"), "{cited}");
    let known = "fingerstop: there is no limit set `mars`; sets are none, jp-10, ";
    for command in ["show", "use"] {
        let ran = session.run(&["limits", command, "mars"]);
        assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(2)));
        assert!(ran.stderr.starts_with(known), "{}", ran.stderr);
    }
    assert_ran(
        &session.run(&["limits", "use", "none"]),
        &format!(
            "no limits are chosen any more ({})\n",
            session.path(".config/fingerstop/config.json").display()
        ),
        "",
        0,
    );
}

const OWN: &str = "name = \"bench-1\"\ntitle = \"the bench's own limits\"\nscope = [\"bench\"]\n\n[speed_pps]\n\
                   lower = 9.9\nupper = 10.1\n";

/// A set of one's own is tested, shown, used by path and chosen for all runs.
#[test]
fn a_set_of_ones_own_is_used_by_its_path() {
    let session = Session::new();
    session.write("mine.toml", OWN);
    let tested = session.run(&["limits", "test", "mine.toml"]);
    assert_eq!((tested.stderr.as_str(), tested.code), ("", Some(0)));
    assert!(
        tested.stdout.starts_with(
            "bench-1 can be used: --limits mine.toml\n\nbench-1: the bench's own limits\n"
        ),
        "{}",
        tested.stdout
    );
    assert!(tested.stdout.contains("9.9 to 10.1 pps") && tested.stdout.contains("own"));
    assert_eq!(
        set_used(&session, &["--limits", "mine.toml"]),
        Some("bench-1".into())
    );
    let used = session.run(&["limits", "use", "mine.toml"]);
    assert_eq!((used.stderr.as_str(), used.code), ("", Some(0)));
    assert_eq!(set_used(&session, &[]).as_deref(), Some("bench-1"));
}

/// A set that cannot be used says where: file, line and column; the exit code is that of an unreadable input.
#[test]
fn a_set_that_cannot_be_used_says_where() {
    let session = Session::new();
    session.write("odd.toml", OWN.replace("upper = 10.1", "uper = 10.1"));
    let ran = session.run(&["limits", "test", "odd.toml"]);
    assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(3)));
    assert!(
        ran.stderr
            .starts_with("fingerstop: odd.toml, line 7, column 1: "),
        "{}",
        ran.stderr
    );
    assert!(
        ran.stderr.contains("uper") && ran.stderr.contains("upper"),
        "{}",
        ran.stderr
    );
    assert_eq!(ran.stderr.lines().count(), 1);
    // A recording given in its place: no text, and the place of the first byte that is none.
    session.write("no-text.toml", b"name = \"a\"\nRIFF\xff\xfe\x00");
    let ran = session.run(&["limits", "test", "no-text.toml"]);
    assert_eq!((ran.stdout.as_str(), ran.code), ("", Some(3)));
    assert!(
        ran.stderr
            .starts_with("fingerstop: no-text.toml, line 2, column 5: no text in UTF-8"),
        "{}",
        ran.stderr
    );
    assert_eq!(ran.stderr.lines().count(), 1);
    let absent = session.run(&["limits", "test", "absent.toml"]);
    assert_eq!((absent.stdout.as_str(), absent.code), ("", Some(3)));
    assert!(
        absent
            .stderr
            .starts_with("fingerstop: cannot read absent.toml: "),
        "{}",
        absent.stderr
    );
    let refused = session.run(&["check", "x.wav", "--limits", "odd.toml"]);
    assert_eq!((refused.stdout.as_str(), refused.code), ("", Some(2)));
    assert!(
        refused.stderr.contains("odd.toml, line 7, column 1"),
        "{}",
        refused.stderr
    );
}

/// A set for information says where the values lie, gives no verdict, and the run ends as not judged.
#[test]
fn a_set_for_information_gives_no_verdict() {
    let session = Session::new();
    let path = demo_recording("dial-a-good.wav");
    let ran = session.run(&["check", &path, "--limits", "ussr-gost"]);
    assert_eq!((ran.stderr.as_str(), ran.code), ("", Some(3)));
    assert!(
        ran.stdout.contains("ussr-gost is for information"),
        "{}",
        ran.stdout
    );
    assert!(
        ran.stdout
            .contains("(grade C, for information, not judged)"),
        "{}",
        ran.stdout
    );
}
