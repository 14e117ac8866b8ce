//! What outlives a connection: the talks of pages that may come back, and the reports that were made.

use std::collections::VecDeque;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use super::Bench;
use super::gate::Token;
use super::reports::Reports;
use super::talk::Talk;

/// Talks kept for pages that are away.
const AWAY: usize = 6;
/// A page that comes back may be faster than the end of its old connection.
const WAIT_FOR_OLD: Duration = Duration::from_secs(2);

/// What outlives a connection.
#[derive(Default)]
pub(crate) struct Desk {
    away: Mutex<VecDeque<Talk>>,
    pub(crate) reports: Arc<Reports>,
}

impl std::fmt::Debug for Desk {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Desk")
    }
}

impl Desk {
    /// A new talk, under a name that cannot be guessed.
    pub(crate) fn open(&self, bench: &Bench) -> io::Result<Talk> {
        let page = Token::new()?.as_str().to_owned();
        Ok(Talk::new(page, bench, Arc::clone(&self.reports)))
    }

    /// Keeps the talk of a page whose connection ended. Of too many, the one that is away longest is finished.
    pub(crate) fn leave(&self, talk: Talk) {
        if talk.is_blank() {
            return;
        }
        let mut away = lock(&self.away);
        away.push_back(talk);
        let too_many = if away.len() > AWAY {
            away.pop_front()
        } else {
            None
        };
        drop(away);
        if let Some(mut oldest) = too_many {
            oldest.closing();
        }
    }

    /// The talk of that page, if it is kept.
    pub(crate) fn back(&self, page: &str) -> Option<Talk> {
        let until = Instant::now() + WAIT_FOR_OLD;
        loop {
            let mut away = lock(&self.away);
            let place = away.iter().position(|talk| talk.page() == page);
            if let Some(found) = place.and_then(|place| away.remove(place)) {
                return Some(found);
            }
            drop(away);
            if Instant::now() > until {
                return None;
            }
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// Finishes whatever is still being captured.
    pub(crate) fn finish_all(&self) {
        let away = std::mem::take(&mut *lock(&self.away));
        for mut talk in away {
            talk.closing();
        }
    }
}

/// A thread that panicked has at worst left an older state.
pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
