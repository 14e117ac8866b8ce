//! What is kept in memory of every recording: some forty bytes, so that a table of millions can be sorted. The
//! results themselves lie in the ledger.

use std::collections::HashMap;

use report::{Dial, Row, weight};
use score::Verdict;

use super::args::Sort;
use super::ledger::{Ledger, Place};
use crate::stop::Stop;

/// One recording: where its line lies, and which dial it belongs to.
#[derive(Clone, Copy, Debug)]
struct Entry {
    place: Place,
    dial: u32,
}

/// What orders a dial in the table.
#[derive(Clone, Copy, Debug)]
struct Rank {
    /// Worst verdict of its takes; what cannot be read comes last.
    weight: u8,
    /// Smallest share of the distance to a limit.
    share: f64,
    speed: Running,
    percent: Running,
}

/// A mean that needs no list.
#[derive(Clone, Copy, Debug, Default)]
struct Running {
    sum: f64,
    count: f64,
}

impl Running {
    fn add(&mut self, value: Option<f64>) {
        if let Some(value) = value {
            self.sum += value;
            self.count += 1.0;
        }
    }

    /// The mean; without values infinity, so that it comes last.
    fn mean(self) -> f64 {
        if self.count > 0.0 {
            self.sum / self.count
        } else {
            f64::INFINITY
        }
    }
}

/// All recordings of a batch.
#[derive(Default)]
pub(crate) struct Index {
    entries: Vec<Entry>,
    ranks: Vec<Rank>,
    dials: HashMap<String, u32>,
}

impl Index {
    /// Adds a recording whose line lies at `place`.
    pub(crate) fn add(&mut self, row: &Row, place: Place) {
        let dial = self.dial_of(row);
        let rank = &mut self.ranks[dial as usize];
        let word = if row.error.is_some() {
            UNREADABLE
        } else {
            weight(row.verdict)
        };
        rank.weight = rank.weight.max(word);
        rank.share = rank.share.min(
            row.nearest
                .as_ref()
                .map_or(f64::INFINITY, |nearest| nearest.share),
        );
        rank.speed.add(row.speed_pps.map(|speed| speed.value));
        rank.percent
            .add(row.percent_break.map(|percent| percent.value));
        self.entries.push(Entry { place, dial });
    }

    /// Number of recordings.
    pub(crate) fn recordings(&self) -> usize {
        self.entries.len()
    }

    /// The dial of `row`; a recording that names none is a dial of its own.
    fn dial_of(&mut self, row: &Row) -> u32 {
        let next = self.ranks.len() as u32;
        let found = match &row.dial {
            Some(name) => *self.dials.entry(name.clone()).or_insert(next),
            None => next,
        };
        if found == next {
            self.ranks.push(Rank {
                weight: 0,
                share: f64::INFINITY,
                speed: Running::default(),
                percent: Running::default(),
            });
        }
        found
    }

    /// Hands every dial to `show` in the order asked for, read again from `ledger` one at a time.
    pub(crate) fn each_dial(
        &mut self,
        (sort, reverse): (Sort, bool),
        ledger: &mut Ledger,
        mut show: impl FnMut(&Dial) -> Result<(), Stop>,
    ) -> Result<(), Stop> {
        // Within a dial the order of the inputs stays.
        self.entries.sort_by_key(|entry| entry.dial);
        let mut order: Vec<u32> = (0..self.ranks.len() as u32).collect();
        order.sort_by(|a, b| compared(&self.ranks[*a as usize], &self.ranks[*b as usize], sort));
        if reverse {
            order.reverse();
        }
        for dial in order {
            show(&self.dial(dial, ledger)?)?;
        }
        Ok(())
    }

    fn dial(&self, dial: u32, ledger: &mut Ledger) -> Result<Dial, Stop> {
        let first = self.entries.partition_point(|entry| entry.dial < dial);
        let takes = self.entries[first..]
            .iter()
            .take_while(|entry| entry.dial == dial);
        let mut rows = Vec::new();
        for entry in takes {
            let line = ledger.read(entry.place)?;
            rows.push(Row::read(&line).map_err(|error| Stop::Failed(error.to_string()))?);
        }
        let name = rows
            .first()
            .map(|row| row.dial.clone().unwrap_or_else(|| row.input.clone()));
        Ok(Dial {
            name: name.unwrap_or_default(),
            takes: rows,
        })
    }

    /// Dials by verdict, for the line below the table.
    pub(crate) fn counts(&self) -> Vec<(&'static str, usize)> {
        let words = [
            (weight(Verdict::Pass), "pass"),
            (weight(Verdict::ConditionalPass), "conditional pass"),
            (weight(Verdict::ConditionalFail), "conditional fail"),
            (weight(Verdict::Fail), "fail"),
            (weight(Verdict::NotJudged), "not judged"),
            (UNREADABLE, "cannot be read"),
        ];
        let count = |wanted: u8| {
            self.ranks
                .iter()
                .filter(|rank| rank.weight == wanted)
                .count()
        };
        words
            .into_iter()
            .map(|(weight, word)| (word, count(weight)))
            .filter(|(_, n)| *n > 0)
            .collect()
    }
}

/// Heavier than any verdict.
const UNREADABLE: u8 = 9;

fn compared(a: &Rank, b: &Rank, sort: Sort) -> std::cmp::Ordering {
    match sort {
        // The sort is stable: dials are in the order of their first recording.
        Sort::Input => std::cmp::Ordering::Equal,
        Sort::Verdict => a.weight.cmp(&b.weight).then(b.share.total_cmp(&a.share)),
        Sort::Speed => a.speed.mean().total_cmp(&b.speed.mean()),
        Sort::PercentBreak => a.percent.mean().total_cmp(&b.percent.mean()),
    }
}
