//! How the command ends.

use std::io::Write;
use std::process::ExitCode;

/// How a command that did its work ends. Ordered by weight: of several, the last wins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Exit {
    /// All pass or conditional pass, or no judgement was asked and all was read.
    #[default]
    Good,
    /// A fail, a conditional fail, a wrong count, or a receiver that will not understand.
    Bad,
    /// Unreadable input, not judged though asked, or a failed output.
    Undone,
}

/// Why a command stops before its work is done.
#[derive(Debug)]
pub(crate) enum Stop {
    /// The command line is wrong. One line that names the option and the way out.
    Usage(String),
    /// An output or a file that the command itself needs failed.
    Failed(String),
    /// The reader of our output has closed it: end quietly, as far as known.
    Closed(Exit),
}

impl Stop {
    /// What it says.
    pub(crate) fn words(self) -> String {
        match self {
            Stop::Usage(message) | Stop::Failed(message) => message,
            Stop::Closed(_) => String::new(),
        }
    }
}

/// Says why a command stopped, and gives the exit code.
pub(crate) fn exit_code(ended: Result<Exit, Stop>) -> ExitCode {
    match ended {
        Ok(exit) | Err(Stop::Closed(exit)) => code(exit),
        Err(Stop::Usage(message)) => {
            tell(&message);
            ExitCode::from(2)
        }
        Err(Stop::Failed(message)) => {
            tell(&message);
            code(Exit::Undone)
        }
    }
}

fn code(exit: Exit) -> ExitCode {
    ExitCode::from(match exit {
        Exit::Good => 0,
        Exit::Bad => 1,
        Exit::Undone => 3,
    })
}

/// Writes one line to standard error. If nobody listens there, nothing can be said.
pub(crate) fn tell(message: &str) {
    let line: String = message
        .chars()
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect();
    let _ = writeln!(std::io::stderr(), "fingerstop: {line}");
}
