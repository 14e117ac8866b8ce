//! Every test of the workspace in one command, with proof that they ran.
//!
//! A test run that finds no tests succeeds, so success alone proves nothing. The tests are counted from
//! what the test programs themselves print, and too few of them is a failure.

use std::io::{BufRead, BufReader};
use std::process::{Command, ExitCode, Stdio};

use anyhow::Context;

use crate::packages;

/// Tests that must have run; below this some of them have been lost. Raise it when tests are added.
const LEAST_TESTS: u64 = 718;

/// Tests by how they ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Tally {
    passed: u64,
    failed: u64,
    ignored: u64,
    /// Test programs, and crates whose documentation has examples.
    programs: u64,
}

impl Tally {
    fn run(self) -> u64 {
        self.passed + self.failed
    }

    /// Takes in one line of output; lines that are no summary change nothing.
    fn add(&mut self, line: &str) {
        let Some((_, counts)) = line
            .strip_prefix("test result: ")
            .and_then(|rest| rest.split_once(". "))
        else {
            return;
        };
        self.programs += 1;
        for part in counts.split("; ") {
            let Some((number, what)) = part.split_once(' ') else {
                continue;
            };
            let number = number.parse().unwrap_or(0);
            match what {
                "passed" => self.passed += number,
                "failed" => self.failed += number,
                "ignored" => self.ignored += number,
                _ => {}
            }
        }
    }
}

/// Runs the tests and ends as they end, or badly when too few ran.
pub(crate) fn run() -> anyhow::Result<ExitCode> {
    let axe = packages::install_missing();
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut command = Command::new(cargo);
    if !axe {
        command.env(packages::WITHOUT_AXE, "1");
    }
    let mut child = command
        .args(["test", "--workspace", "--locked", "--no-fail-fast"])
        .stdout(Stdio::piped())
        .spawn()
        .context("cannot start cargo: is the Rust toolchain on the PATH?")?;
    let output = child
        .stdout
        .take()
        .context("cargo was started without an output")?;
    let mut tally = Tally::default();
    for line in BufReader::new(output).split(b'\n') {
        let line = line.context("cannot read what cargo says")?;
        let line = String::from_utf8_lossy(&line);
        println!("{line}");
        tally.add(&line);
    }
    let status = child.wait().context("cannot wait for cargo")?;
    println!("\n{}", summary(tally));
    if !status.success() {
        return Ok(exit_code(status.code()));
    }
    Ok(judge(tally))
}

fn summary(tally: Tally) -> String {
    let Tally {
        passed,
        failed,
        ignored,
        programs,
    } = tally;
    format!(
        "{} tests ran in {programs} programs: {passed} passed, {failed} failed, {ignored} ignored",
        tally.run()
    )
}

/// Judges a run that cargo calls good.
fn judge(tally: Tally) -> ExitCode {
    if tally.run() < LEAST_TESTS {
        println!("too few: at least {LEAST_TESTS} should have run, so some were lost");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

/// Cargo's own code where there is one; a signal leaves none.
fn exit_code(code: Option<i32>) -> ExitCode {
    code.and_then(|code| u8::try_from(code).ok())
        .filter(|code| *code != 0)
        .map_or(ExitCode::FAILURE, ExitCode::from)
}

#[cfg(test)]
mod of_tally {
    use super::*;

    fn tally_of(output: &str) -> Tally {
        let mut tally = Tally::default();
        output.lines().for_each(|line| tally.add(line));
        tally
    }

    #[test]
    fn summaries_of_all_programs_add_up() {
        let output = "running 3 tests\n\
            test a ... ok\n\
            test result: ok. 2 passed; 0 failed; 1 ignored; 0 measured; 0 filtered out; finished in 0.01s\n\
            test result: FAILED. 5 passed; 4 failed; 0 ignored; 0 measured; 9 filtered out; finished in 1.20s\n";
        let expected = Tally {
            passed: 7,
            failed: 4,
            ignored: 1,
            programs: 2,
        };
        assert_eq!(tally_of(output), expected);
        assert_eq!(expected.run(), 11);
    }

    #[test]
    fn other_lines_count_for_nothing() {
        let output =
            "test result of nothing\ntest b ... ok\n  test result: ok. 3 passed; 0 failed\n";
        assert_eq!(tally_of(output), Tally::default());
    }

    #[test]
    fn one_test_too_few_is_a_failure() {
        let ran = |passed| Tally {
            passed,
            ..Tally::default()
        };
        assert_eq!(judge(ran(LEAST_TESTS)), ExitCode::SUCCESS);
        assert_eq!(judge(ran(LEAST_TESTS - 1)), ExitCode::FAILURE);
    }

    #[test]
    fn ignored_tests_have_not_run() {
        let ignored = Tally {
            ignored: LEAST_TESTS,
            ..Tally::default()
        };
        assert_eq!(judge(ignored), ExitCode::FAILURE);
    }

    #[test]
    fn a_failure_is_never_passed_on_as_success() {
        assert_eq!(exit_code(Some(101)), ExitCode::from(101));
        assert_eq!(exit_code(Some(0)), ExitCode::FAILURE);
        assert_eq!(exit_code(Some(512)), ExitCode::FAILURE);
        assert_eq!(exit_code(None), ExitCode::FAILURE);
    }
}
