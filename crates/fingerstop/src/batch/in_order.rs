//! Work on several processors whose results come out in the order of the work.

use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use crate::stop::Stop;

/// Items that may be finished ahead of one that takes long: bounds the memory of results that wait.
const WINDOW: u64 = 256;

struct Source<I> {
    items: I,
    taken: u64,
    given: u64,
    stopped: bool,
}

impl<I> Source<I> {
    /// True when so many items are out that the next one has to wait.
    fn is_far_ahead(&self) -> bool {
        self.given >= self.taken + WINDOW
    }
}

struct Shared<I> {
    source: Mutex<Source<I>>,
    moved: Condvar,
}

/// Does `work` on every item with `workers` threads of rayon's, and hands the results to `take` in the order of
/// the items. Stops early when `take` refuses.
pub(crate) fn in_order<T: Send, R: Send>(
    items: impl Iterator<Item = T> + Send,
    workers: usize,
    work: impl Fn(T) -> R + Sync,
    mut take: impl FnMut(R) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(workers)
        .build()
        .map_err(|error| {
            Stop::Failed(format!(
                "cannot start {workers} workers: {error}; try --jobs 1"
            ))
        })?;
    let shared = Shared {
        source: Mutex::new(Source {
            items,
            taken: 0,
            given: 0,
            stopped: false,
        }),
        moved: Condvar::new(),
    };
    let (sender, receiver) = channel();
    pool.in_place_scope(|scope| {
        for _ in 0..workers {
            let (sender, shared, work) = (sender.clone(), &shared, &work);
            scope.spawn(move |_| shared.labour(work, &sender));
        }
        drop(sender);
        shared.collect(&receiver, &mut take)
    })
}

impl<T, I: Iterator<Item = T>> Shared<I> {
    fn lock(&self) -> MutexGuard<'_, Source<I>> {
        self.source.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next item, once it is not too far ahead of what was taken.
    fn next(&self) -> Option<(u64, T)> {
        let mut source = self.lock();
        while !source.stopped && source.is_far_ahead() {
            source = self
                .moved
                .wait(source)
                .unwrap_or_else(PoisonError::into_inner);
        }
        if source.stopped {
            return None;
        }
        let item = source.items.next()?;
        source.given += 1;
        Some((source.given - 1, item))
    }

    fn labour<R>(&self, work: &impl Fn(T) -> R, results: &Sender<(u64, R)>) {
        let _alarm = Alarm(|| {
            self.lock().stopped = true;
            self.moved.notify_all();
        });
        while let Some((place, item)) = self.next() {
            if results.send((place, work(item))).is_err() {
                return;
            }
        }
    }

    fn collect<R>(
        &self,
        results: &Receiver<(u64, R)>,
        take: &mut impl FnMut(R) -> Result<(), Stop>,
    ) -> Result<(), Stop> {
        let mut waiting = BTreeMap::new();
        let mut wanted = 0;
        for (place, result) in results {
            waiting.insert(place, result);
            while let Some(result) = waiting.remove(&wanted) {
                wanted += 1;
                let taken = take(result);
                let mut source = self.lock();
                // Only a worker that was too far ahead waits.
                let waited = source.is_far_ahead();
                source.taken = wanted;
                source.stopped |= taken.is_err();
                drop(source);
                if waited {
                    self.moved.notify_all();
                }
                taken?;
            }
        }
        Ok(())
    }
}

/// Runs when a worker panics: the others would wait for ever for a result that never comes.
struct Alarm<F: Fn()>(F);

impl<F: Fn()> Drop for Alarm<F> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            (self.0)();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn results_come_in_the_order_of_the_items_however_long_each_takes() {
        let mut seen = Vec::new();
        let slow_first = |item: u64| {
            std::thread::sleep(Duration::from_micros(if item.is_multiple_of(300) {
                20_000
            } else {
                1
            }));
            item
        };
        in_order(0..1_000, 4, slow_first, |item| {
            seen.push(item);
            Ok(())
        })
        .unwrap();
        assert_eq!(seen, (0..1_000).collect::<Vec<_>>());
    }

    #[test]
    fn a_refusal_ends_the_work() {
        let mut taken = 0;
        let ended = in_order(
            0..1_000_000,
            2,
            |item: u64| item,
            |item| {
                taken += 1;
                if item == 10 {
                    Err(Stop::Failed("full".to_owned()))
                } else {
                    Ok(())
                }
            },
        );
        assert!(matches!(ended, Err(Stop::Failed(_))));
        assert_eq!(taken, 11);
    }

    #[test]
    fn a_panic_ends_the_work_instead_of_leaving_the_others_to_wait() {
        let work = |item: u64| assert!(item != 3, "made to fail");
        let ended = std::panic::catch_unwind(|| in_order(0..1_000_000, 2, work, |()| Ok(())));
        assert!(ended.is_err());
    }
}
