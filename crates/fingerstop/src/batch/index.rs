//! What is kept in memory of every recording: some forty bytes, so that a table of millions can be sorted. The
//! results themselves lie in the ledger.

use std::collections::{BTreeSet, HashMap};

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
    /// Worst verdict of its takes; a dial of which nothing could be read comes last.
    weight: u8,
    /// One of its takes could be read.
    readable: bool,
    /// All of its takes were measured, and no judgement was asked for.
    measured: bool,
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
    /// Sets that recordings were judged by, with grade and source.
    judged_by: BTreeSet<String>,
}

impl Index {
    /// Adds a recording whose line lies at `place`.
    pub(crate) fn add(&mut self, row: &Row, place: Place) {
        self.judged_by.extend(row.judged_by());
        let dial = self.dial_of(row);
        let rank = &mut self.ranks[dial as usize];
        rank.weight = rank.weight.max(weight(row.verdict));
        rank.readable |= row.error.is_none();
        rank.measured &= row.is_measured();
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

    /// What is said below the table of the limits: every set that was used, with grade and source.
    pub(crate) fn limits(&self) -> Vec<String> {
        let sets = self.judged_by.iter().map(|set| format!("judged by {set}"));
        let mut lines: Vec<String> = sets.collect();
        match lines.len() {
            0 => lines.push("no limits were chosen: nothing was judged".to_owned()),
            1 => {}
            _ => lines.push(
                "judged by several sets: their verdicts do not compare with one another".to_owned(),
            ),
        }
        lines
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
                readable: false,
                measured: true,
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

    /// Dials by the word that the table has for them, for the line below it.
    pub(crate) fn counts(&self) -> Vec<(&'static str, usize)> {
        let words = [
            (MEASURED, "measured"),
            (weight(Verdict::Pass), "pass"),
            (weight(Verdict::ConditionalPass), "conditional pass"),
            (weight(Verdict::ConditionalFail), "conditional fail"),
            (weight(Verdict::Fail), "fail"),
            (weight(Verdict::NotJudged), "not judged"),
            (UNREADABLE, "cannot be read"),
        ];
        let count = |wanted: u8| {
            let ranks = self.ranks.iter();
            ranks.filter(|rank| rank.word() == wanted).count()
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
/// No verdict, since none was asked for.
const MEASURED: u8 = 8;

impl Rank {
    /// The word of the dial as a number: a weight of verdicts or one of the two above.
    fn word(&self) -> u8 {
        if !self.readable {
            UNREADABLE
        } else if self.measured && self.weight == weight(Verdict::NotJudged) {
            MEASURED
        } else {
            self.weight
        }
    }

    /// What the table is sorted by: best first, and at its end what could not be read.
    fn order(&self) -> u8 {
        if self.readable {
            self.weight
        } else {
            UNREADABLE
        }
    }
}

fn compared(a: &Rank, b: &Rank, sort: Sort) -> std::cmp::Ordering {
    match sort {
        // The sort is stable: dials are in the order of their first recording.
        Sort::Input => std::cmp::Ordering::Equal,
        Sort::Verdict => a.order().cmp(&b.order()).then(b.share.total_cmp(&a.share)),
        Sort::Speed => a.speed.mean().total_cmp(&b.speed.mean()),
        Sort::PercentBreak => a.percent.mean().total_cmp(&b.percent.mean()),
    }
}
