//! Ctrl-C: leave no half-written file, and say 130.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Exit code of an interrupted command: 128 and the number of the signal.
const INTERRUPTED: i32 = 130;

/// Files that are not finished yet.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes care that an interrupt removes unfinished files and ends with 130.
pub(crate) fn end_cleanly() {
    // Where no handler can be set, the system's own ending still holds; it only leaves unfinished files.
    let _ = ctrlc::set_handler(|| {
        for path in unfinished().iter() {
            let _ = std::fs::remove_file(path);
        }
        std::process::exit(INTERRUPTED);
    });
}

/// Remembers a file to be removed on an interrupt.
pub(crate) fn begun(path: &Path) {
    unfinished().insert(path.to_owned());
}

/// Forgets a file that is finished or gone.
pub(crate) fn done(path: &Path) {
    unfinished().remove(path);
}
