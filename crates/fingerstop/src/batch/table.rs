//! The table and the contact sheet, dial by dial.

use report::{Dial, Paint};

use super::Batch;
use super::args::{BatchArgs, BatchFormat};
use super::ledger::Ledger;
use crate::check::render::paint;
use crate::output::Output;
use crate::stop::{Exit, Stop};

/// The contact sheet, its file open.
pub(super) struct Sheet(Option<Output>);

impl Sheet {
    /// Opens the file of `--html`, if there is one.
    pub(super) fn open(args: &BatchArgs) -> Result<Sheet, Stop> {
        let open = |path: &std::path::PathBuf| Output::open(Some(path), args.force);
        args.html.as_ref().map(open).transpose().map(Sheet)
    }

    fn write(&mut self, text: impl FnOnce() -> String) -> Result<(), Stop> {
        match &mut self.0 {
            Some(output) => output.write(&text(), Exit::Good),
            None => Ok(()),
        }
    }
}

/// Writes every dial in the order asked for, and finishes the outputs.
pub(super) fn write(
    batch: &mut Batch<'_>,
    ledger: &mut Ledger,
    mut sheet: Sheet,
) -> Result<(), Stop> {
    let (args, exit) = (batch.args, batch.exit);
    let paint = paint(args.colour.color, &batch.output);
    let (counts, limits) = (batch.index.counts(), batch.index.limits());
    let mut output = std::mem::replace(&mut batch.output, Output::Standard);
    output.write(&head(args.format, paint), exit)?;
    sheet.write(|| report::sheet_head(&counts, &limits))?;
    batch
        .index
        .each_dial((args.sort, args.reverse), ledger, |dial| {
            output.write(&row(args.format, dial, paint), exit)?;
            sheet.write(|| report::sheet_card(dial))
        })?;
    if args.format == BatchFormat::Text {
        output.write(&summary(batch.index.recordings(), &counts, &limits), exit)?;
    }
    sheet.write(report::sheet_foot)?;
    output.commit()?;
    sheet.0.map_or(Ok(()), Output::commit)
}

fn head(format: BatchFormat, paint: Paint) -> String {
    match format {
        BatchFormat::Text => report::table_head(paint),
        BatchFormat::Csv => report::dial_csv_header(),
        BatchFormat::Ndjson => String::new(),
    }
}

fn row(format: BatchFormat, dial: &Dial, paint: Paint) -> String {
    match format {
        BatchFormat::Text => report::table_row(dial, paint),
        BatchFormat::Csv => report::dial_csv_row(dial),
        BatchFormat::Ndjson => String::new(),
    }
}

fn summary(recordings: usize, counts: &[(&str, usize)], limits: &[String]) -> String {
    let dials: usize = counts.iter().map(|(_, count)| count).sum();
    let words: Vec<String> = counts
        .iter()
        .map(|(word, count)| format!("{count} {word}"))
        .collect();
    let number = |count: usize, what: &str| {
        let plural = if count == 1 { "" } else { "s" };
        format!("{count} {what}{plural}")
    };
    format!(
        "\n{} in {}: {}\n{}\n",
        number(dials, "dial"),
        number(recordings, "recording"),
        words.join(", "),
        limits.join("\n")
    )
}
