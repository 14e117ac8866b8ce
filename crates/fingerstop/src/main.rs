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

/// Measuring takes many buffers of a few hundred kilobytes for a moment each. Most systems' own allocators hand those back
/// at once and get them anew, page by page, which costs as much as what is done in them.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    interrupt::end_cleanly();
    let cli = cli::Cli::parse();
    stop::exit_code(cli::run(&cli))
}
