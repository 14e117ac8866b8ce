//! The only crate that knows text, JSON, CSV, SVG, PNG and HTML.
//!
//! Takes what was measured ([`Record`]) and gives strings; never prints, never opens a file, and has
//! never heard of how anything was measured.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may panic"))]

mod batch;
mod chart;
mod compare;
mod csv;
mod explain;
mod figure;
mod html;
pub mod json;
mod overlay_chart;
mod plot;
mod record;
#[cfg(test)]
mod sample;
mod saved;
mod tag;
mod text;
mod words;

pub use batch::{
    Dial, Mean, Nearest, Row, dial_csv_header, dial_csv_row, sheet_card, sheet_foot, sheet_head,
    table_head, table_row, weight,
};
pub use chart::{overview_plot, timing_plot};
pub use compare::{
    Change, Clocks, CompareOptions, Comparison, MaxShift, Pairing, Step, compare, compare_html,
    compare_json, compare_text,
};
pub use csv::{csv_header, csv_rows};
pub use explain::{explain, explained_codes};
pub use figure::{clock_joined, with_uncertainty};
pub use html::html_report;
pub use overlay_chart::overlay_plot;
pub use plot::raster::png;
pub use plot::{PlotError, Theme};
pub use record::{Measured, Record, Unreadable};
pub use saved::{
    Saved, SavedAnswer, SavedCheck, SavedDigit, SavedError, SavedFinding, SavedLimits,
    SavedMessage, SavedPulse, SavedRange, SavedReason, SavedSpread, SavedTrace, may_be_saved,
    read_saved,
};
pub use tag::tag;
pub use text::{CAUTION, Paint, limit_list, limit_sheet, text, text_summary, text_takes};
pub use words::{quench_word, tap_word, verdict_code, verdict_words};

/// True once the 95 % intervals have been shown to hold the truth 93-98 % of the time on simulated
/// recordings of every family of impairment. Until then every report says that they are not verified.
pub const UNCERTAINTY_VERIFIED: bool = true;
