//! The commands and where each is done.

use clap::{Parser, Subcommand};

use crate::stop::{Exit, Stop};
use crate::{batch, check, compare, completions, explain, limits, listen, serve, synth};

/// Measures the pulses of a rotary dial in recordings of its line, and judges them against published limits.
#[derive(Parser)]
#[command(name = "fingerstop", version, after_help = EXAMPLES, arg_required_else_help = true)]
pub(crate) struct Cli {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "\
Examples:
  fingerstop check dial.wav                          measure; nothing is judged
  fingerstop check dial.wav --limits us-1956-later   judge by a published set
  fingerstop check dial.wav --plot dial.svg          draw the timing plot
  fingerstop batch box --name '{dial}-{take}'        a box of dials, sorted
  fingerstop compare before.wav after.wav            what an adjustment changed
  fingerstop listen --limits us-1956-later           dial, and see the verdict
  fingerstop synth --demo demo                       make recordings to try it on

Exit codes:
  0  all pass or conditional pass, or no judgement was asked and all was read
  1  a fail, a conditional fail, a wrong count, or a receiver (--for) that will not understand
  2  the command line is wrong
  3  an input is unreadable, not judged though judgement was asked, or an output failed
  130  interrupted";

#[derive(Subcommand)]
enum Command {
    /// Measure the dialled digits in recordings, and judge them if limits are chosen
    Check(Box<check::CheckArgs>),
    /// Measure a box of dials: a sorted table and a contact sheet
    Batch(Box<batch::BatchArgs>),
    /// Show the same dial before and after: what changed, and whether the change is larger than its uncertainty
    Compare(Box<compare::CompareArgs>),
    /// Measure a dial while it is dialled, from a sound input; the capture is kept
    Listen(Box<listen::ListenArgs>),
    /// Measure live in a browser on this computer: the bench page
    Serve(Box<serve::ServeArgs>),
    /// Show the published limit sets, or choose one once for all
    Limits(limits::LimitsArgs),
    /// Make recordings of known truth
    Synth(Box<synth::SynthArgs>),
    /// Explain a code that a report names
    Explain(explain::ExplainArgs),
    /// Write shell completions to standard output
    Completions(completions::CompletionsArgs),
}

/// Does what the command line says.
pub(crate) fn run(cli: &Cli) -> Result<Exit, Stop> {
    match &cli.command {
        Command::Check(args) => check::run(args),
        Command::Batch(args) => batch::run(args),
        Command::Compare(args) => compare::run(args),
        Command::Listen(args) => listen::run(args),
        Command::Serve(args) => serve::run(args),
        Command::Limits(args) => limits::run(args),
        Command::Synth(args) => synth::run(args),
        Command::Explain(args) => explain::run(args),
        Command::Completions(args) => completions::run(args),
    }
}
