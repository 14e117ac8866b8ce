//! Developer commands: what CI runs, and the tables in `docs/`.
#![expect(clippy::print_stdout, reason = "a command speaks on standard output")]

mod accuracy;

use clap::{Parser, Subcommand};

#[derive(Parser)]
#[command(about = "Developer commands of fingerstop")]
struct Arguments {
    #[command(subcommand)]
    task: Task,
}

#[derive(Subcommand)]
enum Task {
    /// Measures the detector against recordings of known truth
    Accuracy(accuracy::Options),
}

fn main() -> anyhow::Result<()> {
    match Arguments::parse().task {
        Task::Accuracy(options) => accuracy::run(&options),
    }
}
