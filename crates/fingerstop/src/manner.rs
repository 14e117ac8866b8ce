//! Options of how commands speak, the same in all of them.

use std::io::{IsTerminal, stderr};

use clap::{Args, ValueEnum};

/// Colour of text.
#[derive(Args)]
pub(crate) struct Colour {
    /// Colour the text
    #[arg(
        long,
        value_enum,
        value_name = "WHEN",
        default_value_t,
        env = "FINGERSTOP_COLOR",
        hide_env_values = true
    )]
    pub(crate) color: ColorWhen,
}

/// What is said on standard error.
#[derive(Args)]
pub(crate) struct Quiet {
    /// Say nothing on standard error but errors
    #[arg(short, long)]
    pub(crate) quiet: bool,

    /// Show no progress
    #[arg(long)]
    pub(crate) no_progress: bool,
}

impl Quiet {
    /// Progress belongs on a terminal, unless it is not wanted.
    pub(crate) fn shows_progress(&self) -> bool {
        !self.quiet && !self.no_progress && stderr().is_terminal()
    }
}

/// When text is coloured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum ColorWhen {
    /// On a terminal, unless NO_COLOR is set
    #[default]
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}
