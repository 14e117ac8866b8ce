//! Pages that stand alone: one file, no network, legible without a script and on paper.

pub(crate) mod page;
mod record;

pub use record::html as html_report;
