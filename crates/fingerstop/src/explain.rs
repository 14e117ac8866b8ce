//! `explain`: what a code in a report means.

use clap::Args;

use crate::output;
use crate::stop::{Exit, Stop};

/// Options of `explain`.
#[derive(Args)]
pub(crate) struct ExplainArgs {
    /// Code from a report, such as split-break; without one, every code is listed
    code: Option<String>,
}

/// Explains one code, or lists them all.
pub(crate) fn run(args: &ExplainArgs) -> Result<Exit, Stop> {
    match &args.code {
        None => output::print(&report::explained_codes()),
        Some(code) => match report::explain(code) {
            Some(text) => output::print(&text),
            None => Err(Stop::Usage(format!(
                "there is no code `{code}`; `fingerstop explain` lists them all"
            ))),
        },
    }
}
