//! The accuracy table: synthetic recordings of known truth, family by family, and where they fall short of
//! what is wanted.

mod draw;
mod page;
mod recording;
mod requirement;
mod statistics;
mod tally;

use std::io::Write as _;
use std::process::ExitCode;

use anyhow::Context;
use rayon::prelude::*;
use synth::Scenario;
use synth::families::{self, Family};

pub(crate) use draw::{DrawOptions, draw};
use recording::{Compared, Outcome};
use requirement::{Lack, Shortfall};
use tally::{Contacts, InventedTally, Measure, Tally};

/// Recordings of each family in the smaller version that CI runs, and of `mixed`, in which many things meet.
const QUICK: [u64; 2] = [20, 60];
/// Of `mixed` so many are drawn at least: one in fifty may be in doubt.
const LEAST_MIXED: u64 = 1_000;
/// Recordings drawn at once while digits are counted.
const CHUNK: u64 = 40;

/// The smaller version fails on these alone; the others it states. Not yet enforced there: that every recording
/// is right, how large errors may be, how many intervals hold the truth, and that nothing at all is reported
/// where nothing is dialled. Several families still fall short of them, as docs/accuracy.md says, and too few
/// recordings are drawn to tell an accident from a loss. Move a kind here as soon as the whole table has
/// nothing to say of it.
const QUICK_ENFORCES: [Lack; 1] = [Lack::WrongAndSure];
/// Least share of dialled recordings that must be right in the smaller version, in percent: a floor against
/// losses, not the aim, which is all of them.
const QUICK_RIGHT_PERCENT: usize = 95;

/// Which recordings, and how many.
#[derive(clap::Args)]
pub(crate) struct Options {
    /// Recordings of each family; of `mixed`, where several impairments meet, at least 1 000
    #[arg(long, default_value_t = 40)]
    recordings: u64,
    /// First index of each family (another start draws other recordings)
    #[arg(long, default_value_t = 0)]
    from: u64,
    /// Only families whose name contains this
    #[arg(long)]
    family: Option<String>,
    /// Say what went wrong with each recording that is not right
    #[arg(long)]
    verbose: bool,
    /// With --verbose: say which percent breaks are off by more than this, in points
    #[arg(long, default_value_t = 0.05)]
    notable: f64,
    /// A smaller version that fails only on what CI enforces
    #[arg(long, conflicts_with_all = ["recordings", "coverage"])]
    quick: bool,
    /// Only how many intervals hold the truth, over so many digits of each family
    #[arg(long, value_name = "DIGITS", num_args = 0..=1, default_missing_value = COVERAGE_DEFAULT)]
    coverage: Option<usize>,
    /// Recordings measured at once; as many as there are cores unless set
    #[arg(long)]
    jobs: Option<usize>,
    /// Write the table to this file
    #[arg(short)]
    output: Option<std::path::PathBuf>,
}

const COVERAGE_DEFAULT: &str = "2000";

impl Options {
    fn wants(&self, name: &str) -> bool {
        let part = self.family.as_deref();
        part.is_none_or(|part| name.contains(part))
    }

    /// Indices of a family's recordings.
    fn indices(&self, mixed: bool) -> std::ops::Range<u64> {
        let count = if self.quick {
            QUICK[usize::from(mixed)]
        } else if mixed {
            self.recordings.max(LEAST_MIXED)
        } else {
            self.recordings
        };
        self.from..self.from + count
    }

    /// The arguments that decide what is drawn, as they are typed.
    fn arguments(&self) -> String {
        let family = self.family.as_ref().map(|f| format!(" --family {f:?}"));
        format!(
            " --recordings {} --from {}{}",
            self.recordings,
            self.from,
            family.unwrap_or_default()
        )
    }
}

/// A family with its name; `None` is `mixed`.
type Named = (&'static str, Option<&'static Family>);

/// Prints the tables, writes them with what they mean when a file is given, and ends badly when a family falls
/// short.
pub(crate) fn run(options: &Options) -> anyhow::Result<ExitCode> {
    if let Some(jobs) = options.jobs {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs);
        pool.build_global().context("cannot set --jobs")?;
    }
    options.output.as_deref().map_or(Ok(()), try_path)?;
    let mut found = Found::default();
    if let Some(digits) = options.coverage {
        found.coverage(options, digits);
    } else {
        found.tell(&page::introduction(&options.arguments()), false);
        found.dialled(options);
        found.nothing(options);
        found.contacts();
    }
    let list = page::shortfalls(&found.shortfalls);
    found.tell(&list, true);
    if options.coverage.is_some() {
        found.tell(page::COVERAGE_CLOSE, false);
    }
    if let Some(path) = &options.output {
        std::fs::write(path, &found.page)
            .with_context(|| format!("cannot write {}", path.display()))?;
    }
    Ok(if options.quick {
        found.quick_verdict()
    } else if found.shortfalls.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// A bad path fails before the work starts; what is there already stays until the work is done.
fn try_path(path: &std::path::Path) -> anyhow::Result<()> {
    let opened = std::fs::File::options()
        .create(true)
        .append(true)
        .open(path);
    opened
        .map(drop)
        .with_context(|| format!("cannot write {}", path.display()))
}

/// What has been found so far.
#[derive(Default)]
struct Found {
    page: String,
    shortfalls: Vec<Shortfall>,
    recordings: usize,
    right: usize,
    /// Of the families that have off-normal contacts, each; of all others together.
    contacts: Vec<(&'static str, Contacts)>,
    contacts_elsewhere: Contacts,
}

impl Found {
    fn tell(&mut self, text: &str, aloud: bool) {
        if aloud {
            print!("{text}");
        }
        self.page.push_str(text);
    }

    fn dialled(&mut self, options: &Options) {
        self.tell(page::DIALLED_HEAD, true);
        for (name, family) in dialled_families(options) {
            let tally = measured(name, family, options.indices(family.is_none()), options);
            self.tell(&page::dialled_row(name, &tally), true);
            self.recordings += tally.recordings;
            self.right += tally.right;
            self.shortfalls
                .extend(requirement::dialled(name, family, &tally));
            let contacts = tally.contacts;
            if contacts.right.len() + contacts.silent > 0 {
                self.contacts.push((name, contacts));
            } else {
                self.contacts_elsewhere.extend(&contacts);
            }
        }
    }

    fn contacts(&mut self) {
        self.tell(page::CONTACTS_HEAD, true);
        let mut all = Contacts::default();
        let rows = std::mem::take(&mut self.contacts);
        let elsewhere = std::mem::take(&mut self.contacts_elsewhere);
        for (name, contacts) in rows.into_iter().chain([("all others", elsewhere)]) {
            self.tell(&page::contacts_row(name, &contacts), true);
            all.extend(&contacts);
        }
        self.shortfalls.extend(requirement::contacts(&all));
    }

    fn nothing(&mut self, options: &Options) {
        self.tell(page::NOTHING_HEAD, true);
        for family in families::nothing().iter().filter(|f| options.wants(f.name)) {
            let tally = invented(family, options);
            self.tell(&page::nothing_row(family.name, &tally), true);
            self.shortfalls.extend(requirement::nothing(family, &tally));
        }
    }

    fn coverage(&mut self, options: &Options, digits: usize) {
        self.tell(&page::coverage_introduction(digits), false);
        self.tell(page::COVERAGE_HEAD, true);
        for (name, family) in dialled_families(options) {
            let tally = measured_to(name, family, digits, options);
            self.tell(&page::coverage_row(name, &tally), true);
            let fallen = requirement::dialled(name, family, &tally);
            let of_coverage = fallen.into_iter().filter(|s| s.lack == Lack::Coverage);
            self.shortfalls.extend(of_coverage);
        }
    }

    /// What CI enforces, said aloud.
    fn quick_verdict(&self) -> ExitCode {
        let enforced = |s: &&Shortfall| QUICK_ENFORCES.contains(&s.lack);
        let broken: Vec<_> = self.shortfalls.iter().filter(enforced).collect();
        broken.iter().for_each(|s| println!("broken: {s}"));
        let enough = 100 * self.right >= QUICK_RIGHT_PERCENT * self.recordings;
        println!(
            "{} of {} dialled recordings right, at least {QUICK_RIGHT_PERCENT} % enforced",
            self.right, self.recordings
        );
        if broken.is_empty() && enough {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        }
    }
}

fn dialled_families(options: &Options) -> impl Iterator<Item = Named> {
    let singles = families::singles().iter().map(|f| (f.name, Some(f)));
    singles
        .chain([("mixed", None)])
        .filter(|(name, _)| options.wants(name))
}

fn drawn(family: Option<&Family>, index: u64) -> Scenario {
    family.map_or_else(|| families::mixed(index), |f| families::draw(f, index))
}

fn measured(
    name: &str,
    family: Option<&Family>,
    indices: std::ops::Range<u64>,
    options: &Options,
) -> Tally {
    let mut tally = Tally::default();
    extend(&mut tally, name, family, indices, options);
    tally
}

/// Draws recordings until so many digits have been measured, or as many recordings have been.
fn measured_to(name: &str, family: Option<&Family>, digits: usize, options: &Options) -> Tally {
    let mut tally = Tally::default();
    let mut from = options.from;
    while tally.covered(Measure::Speed).1 < digits && tally.recordings < digits {
        extend(&mut tally, name, family, from..from + CHUNK, options);
        from += CHUNK;
    }
    tally
}

fn extend(
    tally: &mut Tally,
    name: &str,
    family: Option<&Family>,
    indices: std::ops::Range<u64>,
    options: &Options,
) {
    let results: Vec<(u64, Compared)> = indices
        .into_par_iter()
        .map(|index| (index, recording::compared(&drawn(family, index))))
        .collect();
    for (index, compared) in &results {
        tally.add(compared);
        if options.verbose {
            explain(name, *index, compared, options.notable);
        }
    }
    progress(name, tally.recordings);
}

fn invented(family: &Family, options: &Options) -> InventedTally {
    let results: Vec<_> = options
        .indices(false)
        .into_par_iter()
        .map(|index| (index, recording::invented(&families::draw(family, index))))
        .collect();
    let mut tally = InventedTally::default();
    for (index, found) in &results {
        tally.add(found);
        if found.sure + found.unsure > 0 && options.verbose {
            println!("    {} {index}: {}", family.name, found.note);
        }
    }
    progress(family.name, tally.recordings);
    tally
}

/// How far the work is, on standard error; that nobody listens is no reason to stop.
fn progress(name: &str, recordings: usize) {
    let _ = writeln!(std::io::stderr(), "{name}: {recordings} recordings");
}

fn explain(name: &str, index: u64, compared: &Compared, notable: f64) {
    for errors in &compared.errors {
        let (speed, percent) = (errors.speed, errors.percent_break);
        if percent.error.abs() > notable {
            println!(
                "    {name} {index}: speed {:+.5} % ({:+.2} of u95), percent break {:+.4} points ({:+.2} of u95)",
                speed.error,
                speed.error / speed.u95,
                percent.error,
                percent.error / percent.u95
            );
        }
    }
    if compared.outcome != Outcome::Right {
        println!(
            "    {name} {index}: {:?} {}",
            compared.outcome, compared.note
        );
    }
}

#[cfg(test)]
mod of_options {
    use super::*;

    #[test]
    fn coverage_is_counted_over_as_many_digits_as_it_takes_to_show_it() {
        assert_eq!(COVERAGE_DEFAULT.parse(), Ok(requirement::COVERAGE_DIGITS));
    }

    /// Reports may say that their intervals are proved exactly as long as the page of every kind says so.
    #[test]
    fn reports_say_of_the_intervals_what_their_page_shows() {
        let page = include_str!("../../../../docs/coverage.md");
        let rows = page.lines().filter(|line| line.starts_with("| "));
        let kinds = rows.clone().count() - 1;
        assert_eq!(
            kinds,
            synth::families::singles().len() + 1,
            "kinds on the page"
        );
        let falls_short = rows.filter(|row| row.contains("**too ") || row.contains("too few"));
        let proved = falls_short.count() == 0;
        assert_eq!(report::UNCERTAINTY_VERIFIED, proved);
    }

    #[test]
    fn the_smaller_version_fails_on_what_it_enforces_and_on_nothing_else() {
        let verdict = |family: &str, lack, right| {
            let shortfall = Shortfall {
                family: family.to_owned(),
                lack,
                text: String::new(),
            };
            let found = Found {
                shortfalls: vec![shortfall],
                recordings: 100,
                right,
                ..Found::default()
            };
            found.quick_verdict()
        };
        assert_eq!(verdict("hum", Lack::Coverage, 100), ExitCode::SUCCESS);
        assert_eq!(verdict("hum", Lack::WrongAndSure, 100), ExitCode::FAILURE);
        assert_eq!(
            verdict("hum", Lack::Coverage, QUICK_RIGHT_PERCENT - 1),
            ExitCode::FAILURE
        );
    }
}
