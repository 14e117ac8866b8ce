//! Ctrl-C: leave no half-written file, and say 130.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Exit code of an interrupted command: 128 and the number of the signal.
const INTERRUPTED: i32 = 130;

/// Files that are not finished yet.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn unfinished() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What an interrupt does: ends the command, asks it to end, or has asked already.
static ASKING: AtomicU8 = AtomicU8::new(ENDS);
const ENDS: u8 = 0;
const ASKS: u8 = 1;
const ASKED: u8 = 2;

/// From now on the first interrupt only asks the command to end, for which it looks by [`is_asked_to_end`]; the
/// second ends it.
pub(crate) fn ask_first() {
    ASKING.store(ASKS, Ordering::SeqCst);
}

/// True when an interrupt has asked for the end.
pub(crate) fn is_asked_to_end() -> bool {
    ASKING.load(Ordering::SeqCst) == ASKED
}

/// Takes care that an interrupt removes unfinished files and ends with 130.
pub(crate) fn end_cleanly() {
    // Where no handler can be set, the system's own ending still holds; it only leaves unfinished files.
    let _ = ctrlc::set_handler(|| {
        let first = ASKING.compare_exchange(ASKS, ASKED, Ordering::SeqCst, Ordering::SeqCst);
        if first.is_ok() {
            return;
        }
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
