//! A box of dials: one row each, as a table, as CSV and as a contact sheet.

mod csv;
mod nearest;
mod row;
mod sheet;
mod takes;
mod text;

pub use csv::{dial_csv_header, dial_csv_row};
pub use nearest::Nearest;
pub use row::Row;
pub use sheet::{sheet_card, sheet_foot, sheet_head};
pub use takes::{Dial, Mean, weight};
pub use text::{table_head, table_row};
