//! The command tested as a shell session: arguments, files and standard input in; standard output, standard
//! error and exit code out, all checked, even when empty.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod batch;
mod compare;
mod demo;
mod examples;
mod formats;
mod gaps;
mod input;
mod limits;
mod other_commands;
mod output_file;
mod plot;
mod schema;
mod serve;
mod session;
mod usage;
