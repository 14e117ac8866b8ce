//! `limits`: shows the published limit sets and chooses one.

use clap::{Args, Subcommand};
use score::limits::{self, LimitSet};

use crate::config::Config;
use crate::output;
use crate::stop::{Exit, Stop};
use crate::values::no_such_set;

/// Options of `limits`.
#[derive(Args)]
#[command(arg_required_else_help = true)]
pub(crate) struct LimitsArgs {
    #[command(subcommand)]
    command: LimitsCommand,
}

#[derive(Subcommand)]
enum LimitsCommand {
    /// List the sets with what they limit and how good their evidence is
    List,
    /// Show one set with its source
    Show {
        /// Name of the set
        name: String,
    },
    /// Choose a set for all runs, `none` to choose none
    Use {
        /// Name of the set, or none
        name: String,
    },
}

/// Shows or chooses.
pub(crate) fn run(args: &LimitsArgs) -> Result<Exit, Stop> {
    match &args.command {
        LimitsCommand::List => list(),
        LimitsCommand::Show { name } => output::print(&report::limit_sheet(find(name)?)),
        LimitsCommand::Use { name } => choose(name),
    }
}

fn find(name: &str) -> Result<&'static LimitSet, Stop> {
    limits::find(name).ok_or_else(|| Stop::Usage(no_such_set(name)))
}

fn list() -> Result<Exit, Stop> {
    let config = Config::load()?;
    let chosen = match config.limits()? {
        Some(name) => format!(
            "Chosen for all runs: {name} ({})\n",
            config.path().display()
        ),
        None => {
            "None is chosen for all runs; choose with `fingerstop limits use NAME`.\n".to_owned()
        }
    };
    output::print(&format!("{}\n{chosen}", report::limit_list(limits::all())))
}

fn choose(name: &str) -> Result<Exit, Stop> {
    let chosen = if name == "none" {
        None
    } else {
        Some(find(name)?.name.as_ref())
    };
    let path = Config::load()?.choose_limits(chosen)?;
    output::print(&match chosen {
        Some(name) => format!(
            "{name} is used where neither --limits nor FINGERSTOP_LIMITS says otherwise ({})\n",
            path.display()
        ),
        None => format!("no limits are chosen any more ({})\n", path.display()),
    })
}
