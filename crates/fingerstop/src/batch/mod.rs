//! `batch`: a box of dials in one run.

mod args;
mod fingerprint;
mod in_order;
mod index;
mod inputs;
mod ledger;
mod measure;
mod merge;
mod name;
mod options;
mod progress;
mod table;

pub(crate) use args::BatchArgs;

use std::collections::HashSet;
use std::sync::RwLock;

use args::BatchFormat;
use index::Index;
use ledger::{Ledger, Place};
use measure::{Done, Measurer};
use progress::Progress;
use report::Row;
use score::{Settings, Verdict};

use crate::check::{outcome, settings};
use crate::output::Output;
use crate::stop::{Exit, Stop};

/// Measures or merges everything, then writes the table and the contact sheet.
pub(crate) fn run(args: &BatchArgs) -> Result<Exit, Stop> {
    args.verify()?;
    let chosen = settings::choose(&args.measuring.judging)?;
    let options = options::in_words(&args.measuring, &chosen.settings);
    let output = Output::open(args.output.as_deref(), args.force)?;
    let sheet = table::Sheet::open(args)?;
    let ledger = match &args.ndjson {
        Some(path) => Ledger::open(path, args.resume, args.force, &options)?,
        None => Ledger::temporary()?,
    };
    let mut batch = Batch {
        args,
        settings: &chosen.settings,
        output,
        index: Index::default(),
        exit: Exit::Good,
        seen: HashSet::new(),
    };
    let mut ledger = if args.merge {
        batch.merge(ledger)?
    } else {
        batch.measure(ledger, &options)?
    };
    if batch.index.recordings() == 0 {
        return Err(Stop::Failed(
            "no recordings were found; a folder is searched for WAV, FLAC, AIFF, CAF, Ogg, MP3, M4A, AAC and CSV".to_owned(),
        ));
    }
    ledger.settle()?;
    table::write(&mut batch, &mut ledger, sheet)?;
    ledger.drop_stale()?;
    Ok(batch.exit)
}

/// A run in progress.
struct Batch<'a> {
    args: &'a BatchArgs,
    settings: &'a Settings,
    output: Output,
    index: Index,
    exit: Exit,
    /// Hashes of the paths that were taken: one named twice is one recording.
    seen: HashSet<u128>,
}

impl Batch<'_> {
    fn measure(&mut self, ledger: Ledger, options: &str) -> Result<Ledger, Stop> {
        let (args, settings) = (self.args, self.settings);
        let measurer = Measurer {
            args,
            settings,
            options,
        };
        let progress = Progress::new(args);
        // Workers only look up earlier results; the one who takes results in appends.
        let ledger = RwLock::new(ledger);
        let workers = args.jobs.map_or_else(processors, usize::from);
        let mut seen = std::mem::take(&mut self.seen);
        let items = inputs::find(&args.paths)?
            .filter(|found| seen.insert(ledger::key(&measure::shown(found))));
        let work = |found| measurer.line(&found, &ledger);
        let done = in_order::in_order(items, workers, work, |done: Result<Done, Stop>| {
            progress.step();
            let mut ledger = ledger
                .write()
                .unwrap_or_else(std::sync::PoisonError::into_inner);
            self.take(done?, &mut ledger)
        });
        progress.clear();
        done?;
        Ok(ledger
            .into_inner()
            .unwrap_or_else(std::sync::PoisonError::into_inner))
    }

    fn merge(&mut self, mut ledger: Ledger) -> Result<Ledger, Stop> {
        let paths = &self.args.paths;
        merge::merge(paths, |row, line| {
            let place = ledger.append(&row.input, line)?;
            self.count(row, line, place)
        })?;
        Ok(ledger)
    }

    fn take(&mut self, done: Done, ledger: &mut Ledger) -> Result<(), Stop> {
        let (line, place) = match done {
            Done::Earlier(place) => (ledger.read(place)?, place),
            Done::New(input, line) => {
                let place = ledger.append(&input, &line)?;
                (line, place)
            }
        };
        let row = Row::read(&line).map_err(|error| Stop::Failed(error.to_string()))?;
        self.count(&row, &line, place)
    }

    fn count(&mut self, row: &Row, line: &str, place: Place) -> Result<(), Stop> {
        self.exit = self.exit.max(ending(row));
        self.index.add(row, place);
        if self.args.format == BatchFormat::Ndjson {
            self.output.write(line, self.exit)?;
        }
        Ok(())
    }
}

fn processors() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// How a run with this recording alone would end.
fn ending(row: &Row) -> Exit {
    let judged = match row.verdict {
        _ if row.error.is_some() => Exit::Undone,
        Verdict::Fail | Verdict::ConditionalFail => Exit::Bad,
        Verdict::NotJudged if row.asked => Exit::Undone,
        Verdict::NotJudged | Verdict::Pass | Verdict::ConditionalPass => Exit::Good,
    };
    let answers = row.receivers.iter().map(|answer| answer.understood);
    judged.max(outcome::of_answers(answers))
}
