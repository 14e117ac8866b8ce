//! The command line: flags, progress and exit codes. Measures nothing itself.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod batch;
mod check;
mod cli;
mod compare;
mod completions;
mod config;
mod explain;
mod interrupt;
mod limits;
mod limits_file;
mod listen;
mod manner;
mod output;
mod serve;
mod stop;
mod synth;
mod values;

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    interrupt::end_cleanly();
    let cli = cli::Cli::parse();
    stop::exit_code(cli::run(&cli))
}
