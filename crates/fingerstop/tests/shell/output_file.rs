//! `-o`: opened before the work, never overwrites unasked, written whole or not at all.

use crate::session::{Session, assert_ran, demo_recording};

#[test]
fn results_go_to_the_file_and_nothing_else_is_left() {
    let session = Session::new();
    let path = demo_recording("dial-a-good.wav");
    let shown = session.run(&["check", &path, "--format", "json"]);
    assert_ran(
        &session.run(&["check", &path, "--format", "json", "-o", "out.json"]),
        "",
        "",
        0,
    );
    assert_eq!(session.read("out.json"), shown.stdout);
    assert_eq!(session.files(), ["out.json"]);
    assert_eq!(
        session
            .run(&["check", &path, "--format", "json", "-o", "-"])
            .stdout,
        shown.stdout
    );
}

#[test]
fn a_file_that_exists_is_kept_unless_forced() {
    let session = Session::new();
    let path = demo_recording("dial-a-good.wav");
    session.write("out.txt", "mine");
    let refused = "fingerstop: out.txt exists already; add --force to overwrite it\n";
    assert_ran(
        &session.run(&["check", &path, "-o", "out.txt"]),
        "",
        refused,
        3,
    );
    assert_eq!(session.read("out.txt"), "mine");
    assert_ran(
        &session.run(&["check", &path, "-o", "out.txt", "--force"]),
        "",
        "",
        0,
    );
    assert!(session.read("out.txt").starts_with("MEASURED, NOT JUDGED"));
    assert_eq!(session.files(), ["out.txt"]);
}

#[test]
fn an_output_that_cannot_be_written_fails_before_the_work() {
    let session = Session::new();
    std::fs::create_dir(session.path("folder")).unwrap();
    // The input does not exist either: had the work begun, that would be the error.
    let ran = session.run(&["check", "gone.wav", "-o", "nowhere/out.txt"]);
    assert_ran(
        &ran,
        "",
        "fingerstop: cannot write nowhere/out.txt: the folder does not exist; make it first\n",
        3,
    );
    let ran = session.run(&["check", "gone.wav", "-o", "folder"]);
    assert_ran(
        &ran,
        "",
        "fingerstop: cannot write folder: it is a folder\n",
        3,
    );
}

#[cfg(unix)]
#[test]
fn a_full_device_is_an_output_that_failed() {
    let session = Session::new();
    let ran = session.run(&[
        "check",
        &demo_recording("dial-a-good.wav"),
        "-o",
        "/dev/full",
    ]);
    assert_ran(
        &ran,
        "",
        "fingerstop: cannot write /dev/full: the disk is full\n",
        3,
    );
    let null = session.run(&[
        "check",
        &demo_recording("dial-a-good.wav"),
        "-o",
        "/dev/null",
    ]);
    assert_ran(&null, "", "", 0);
}

#[cfg(unix)]
#[test]
fn a_link_keeps_pointing_where_it_points() {
    let session = Session::new();
    session.write("real.txt", "old");
    std::os::unix::fs::symlink("real.txt", session.path("link.txt")).unwrap();
    let ran = session.run(&[
        "check",
        &demo_recording("dial-a-good.wav"),
        "-o",
        "link.txt",
        "--force",
    ]);
    assert_ran(&ran, "", "", 0);
    assert!(session.path("link.txt").is_symlink());
    assert!(session.read("real.txt").starts_with("MEASURED"));
}
