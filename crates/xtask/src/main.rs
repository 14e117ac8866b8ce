//! Developer commands: what CI runs, and the tables in `docs/`.
#![expect(clippy::print_stdout, reason = "a command speaks on standard output")]
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod accuracy;
mod findings;
mod packages;
#[cfg(unix)]
mod performance;
mod tests;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

#[derive(Parser)]
#[command(about = "Developer commands of fingerstop")]
struct Arguments {
    #[command(subcommand)]
    task: Task,
}

#[derive(Subcommand)]
enum Task {
    /// Runs every test of the workspace and says how many ran
    Test,
    /// Measures the detector against recordings of known truth
    Accuracy(accuracy::Options),
    /// Measures speed and memory beside other programs, and writes docs/performance.md
    #[cfg(unix)]
    Performance(performance::Options),
    /// Measures the delay of a live digit and ten minutes of capture, and writes that section of docs/performance.md
    #[cfg(unix)]
    Live(performance::live::LiveOptions),
    /// Measures a batch of many recordings and a comparison, and writes that section of docs/performance.md
    #[cfg(unix)]
    Box(performance::boxes::BoxOptions),
    /// Measures how often each finding is made where its fault is, and where it is not
    Findings(findings::Options),
    /// Writes one recording of a family with its truth, and prints its scenario
    Draw(accuracy::DrawOptions),
}

fn main() -> anyhow::Result<ExitCode> {
    match Arguments::parse().task {
        Task::Test => tests::run(),
        Task::Accuracy(options) => accuracy::run(&options),
        #[cfg(unix)]
        Task::Performance(options) => performance::run(&options),
        #[cfg(unix)]
        Task::Live(options) => performance::live::run(&options),
        #[cfg(unix)]
        Task::Box(options) => performance::boxes::run(&options),
        Task::Findings(options) => findings::run(&options).map(|()| ExitCode::SUCCESS),
        Task::Draw(options) => accuracy::draw(&options).map(|()| ExitCode::SUCCESS),
    }
}
