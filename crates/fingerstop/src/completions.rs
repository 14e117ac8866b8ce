//! `completions`: what a shell needs to complete the command.

use clap::{Args, CommandFactory};
use clap_complete::{Shell, generate};

use crate::cli::Cli;
use crate::output;
use crate::stop::{Exit, Stop};

/// Options of `completions`.
#[derive(Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    shell: Shell,
}

/// Writes the completions to standard output.
pub(crate) fn run(args: &CompletionsArgs) -> Result<Exit, Stop> {
    let mut script = Vec::new();
    generate(args.shell, &mut Cli::command(), "fingerstop", &mut script);
    output::print(&String::from_utf8_lossy(&script))
}
