//! One input from its bytes to a record, with progress.

use std::path::Path;

use drive::Options;
use report::Record;
use score::Settings;

use super::progress::Progress;

/// Reads, measures and scores `input`. What cannot be read is a record too.
pub(crate) fn record(
    input: &Path,
    options: &Options,
    settings: &Settings,
    progress: &mut Progress,
) -> Record {
    progress.next_file();
    let mut show = |name: &str, part| progress.show(name, part);
    drive::record(input, options, settings, &mut show)
}
