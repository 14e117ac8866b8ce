//! `limits`: shows the published limit sets and chooses one.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use score::limits;

use crate::config::Config;
use crate::limits_file;
use crate::output;
use crate::stop::{Exit, Stop};
use crate::values::limit_set;

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
        /// Name of the set, or a TOML file of one's own
        name: String,
    },
    /// Check a set of one's own, and show how it is understood
    Test {
        /// TOML file
        file: PathBuf,
    },
    /// Choose a set for all runs, `none` to choose none
    Use {
        /// Name of the set, a TOML file of one's own, or none
        name: String,
    },
}

/// Shows or chooses.
pub(crate) fn run(args: &LimitsArgs) -> Result<Exit, Stop> {
    match &args.command {
        LimitsCommand::List => list(),
        LimitsCommand::Show { name } => {
            output::print(&report::limit_sheet(&limit_set(name).map_err(Stop::Usage)?))
        }
        LimitsCommand::Test { file } => test(file),
        LimitsCommand::Use { name } => choose(name),
    }
}

/// Shows how a file is understood; one that is not understood is unreadable, not misused.
fn test(file: &Path) -> Result<Exit, Stop> {
    let set = limits_file::read(file).map_err(Stop::Failed)?;
    output::print(&format!(
        "{} can be used: --limits {}\n\n{}",
        set.name,
        file.display(),
        report::limit_sheet(&set)
    ))
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
    let chosen = chosen_name(name)?;
    let path = Config::load()?.choose_limits(chosen.as_deref())?;
    output::print(&match chosen {
        Some(name) => format!(
            "{name} is used where neither --limits nor FINGERSTOP_LIMITS says otherwise ({})\n",
            path.display()
        ),
        None => format!("no limits are chosen any more ({})\n", path.display()),
    })
}

/// What the configuration keeps: a name, the full path of a file, or nothing.
fn chosen_name(name: &str) -> Result<Option<String>, Stop> {
    if name == "none" {
        return Ok(None);
    }
    limit_set(name).map_err(Stop::Usage)?;
    if limits::find(name).is_some() {
        return Ok(Some(name.to_owned()));
    }
    let path = std::path::absolute(name)
        .map_err(|error| Stop::Failed(format!("cannot find the place of {name}: {error}")))?;
    match path.to_str() {
        Some(path) => Ok(Some(path.to_owned())),
        None => Err(Stop::Usage(format!(
            "the path of {name} is no text: rename it before it can be chosen for all runs"
        ))),
    }
}
