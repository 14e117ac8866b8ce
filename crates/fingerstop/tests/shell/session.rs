//! A folder of its own, an environment of its own, and the command run in it.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// What a run left behind.
#[derive(Debug)]
pub(crate) struct Ran {
    pub(crate) stdout: String,
    pub(crate) stderr: String,
    pub(crate) code: Option<i32>,
}

/// A folder in which the command is run.
pub(crate) struct Session {
    folder: TempDir,
    environment: Vec<(String, String)>,
}

impl Session {
    pub(crate) fn new() -> Self {
        Session {
            folder: tempfile::tempdir().unwrap(),
            environment: Vec::new(),
        }
    }

    pub(crate) fn with_env(mut self, name: &str, value: &str) -> Self {
        self.environment.push((name.to_owned(), value.to_owned()));
        self
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> &Self {
        std::fs::write(self.path(name), bytes).unwrap();
        self
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    /// Names of everything in the folder, sorted.
    pub(crate) fn files(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<_> = entries
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    /// Makes a recording of `digits` with the command itself.
    pub(crate) fn dial(&self, name: &str, digits: &str, more: &[&str]) -> &Self {
        let ran = self.run(
            &[
                &["synth", "-o", name, "--digits", digits, "--rate", "16000"],
                more,
            ]
            .concat(),
        );
        assert_eq!(ran.code, Some(0), "{ran:?}");
        self
    }

    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fingerstop"));
        command
            .args(arguments)
            .current_dir(self.folder.path())
            .env_clear()
            .env("HOME", self.folder.path());
        command.envs(self.environment.iter().cloned());
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Ran {
        self.run_with(arguments, b"")
    }

    pub(crate) fn run_with(&self, arguments: &[&str], stdin: &[u8]) -> Ran {
        let mut command = self.command(arguments);
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut input = child.stdin.take().unwrap();
        let bytes = stdin.to_vec();
        // A command that refuses its arguments does not read: its closed pipe is no fault of the test.
        let feeder = std::thread::spawn(move || drop(input.write_all(&bytes)));
        let done = child.wait_with_output().unwrap();
        feeder.join().unwrap();
        Ran {
            stdout: String::from_utf8(done.stdout).unwrap(),
            stderr: String::from_utf8(done.stderr).unwrap(),
            code: done.status.code(),
        }
    }
}

/// Exact check of standard output, standard error and exit code.
#[track_caller]
pub(crate) fn assert_ran(ran: &Ran, stdout: &str, stderr: &str, code: i32) {
    assert_eq!(
        (ran.stdout.as_str(), ran.stderr.as_str(), ran.code),
        (stdout, stderr, Some(code))
    );
}

/// A demo recording of the project.
pub(crate) fn demo_recording(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo-recordings")
        .join(name);
    path.to_str().unwrap().to_owned()
}
