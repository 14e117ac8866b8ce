//! The accuracy table: synthetic recordings of known truth, family by family.

use anyhow::Context;
use rayon::prelude::*;
use score::{Digit, Settings};
use std::fmt::Write as _;
use synth::families::{self, Family};
use synth::{DigitTruth, Rendered, Scenario};

/// Which recordings, and how many.
#[derive(clap::Args)]
pub(crate) struct Options {
    /// Recordings of each family
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
    /// Write the table to this file
    #[arg(short)]
    output: Option<std::path::PathBuf>,
}

/// What became of one recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Outcome {
    /// Every digit equals the truth and is sure.
    Right,
    /// Every digit equals the truth, not all are sure.
    Unsure,
    /// Wrong, and says so.
    Declined,
    /// Wrong and sure: the worst.
    WrongAndSure,
}

struct Result {
    outcome: Outcome,
    /// Error over truth in percent, error over u95, by digit.
    speeds: Vec<(f64, f64)>,
    /// Error in points, error over u95, by digit.
    breaks: Vec<(f64, f64)>,
    covered: (usize, usize, usize),
    note: String,
}

/// Prints the tables, and writes them with what they mean when a file is given.
pub(crate) fn run(options: &Options) -> anyhow::Result<()> {
    let mut page = introduction(options);
    let mut tell = |text: &str| {
        print!("{text}");
        page.push_str(text);
    };
    let wanted = |name: &str| {
        options
            .family
            .as_ref()
            .is_none_or(|f| name.contains(f.as_str()))
    };
    tell(DIALLED_HEAD);
    let singles = families::singles().iter().map(|f| (f.name, Some(f)));
    for (name, family) in singles
        .chain([("mixed", None)])
        .filter(|(name, _)| wanted(name))
    {
        tell(&measure(name, family, options));
    }
    tell(NOTHING_HEAD);
    for family in families::nothing().iter().filter(|f| wanted(f.name)) {
        tell(&invented(family, options));
    }
    if let Some(path) = &options.output {
        std::fs::write(path, &page).with_context(|| format!("cannot write {}", path.display()))?;
    }
    Ok(())
}

fn introduction(options: &Options) -> String {
    format!(
        "# Accuracy on recordings of known truth\n\n\
         Made by `cargo run --release -p xtask -- accuracy --recordings {} --from {} -o docs/accuracy.md`. \
         Every recording is drawn by `crates/synth` from its family and index, so the table can be made \
         again to the last digit; another `--from` draws other recordings. All of it is simulated: the \
         checks against things we did not make are in `tests/`.\n\n\
         - **right**: every digit equals the truth and is sure. **right, not sure**: equal, but the tool \
         doubts. **declined**: not equal, and the tool says that it is not sure or finds nothing. **wrong \
         and sure**: a sure digit that was not dialled so; must be zero.\n\
         - Errors are of sure digits with at least four pulses: median, 95th percentile, worst.\n\
         - The last column says how often the stated 95 % interval held the truth, for speed and for \
         percent break, over sure digits with at least three pulses. Until it is 93-98 % in every family \
         over 2 000 digits each, reports say that the uncertainty is not yet verified.\n\n",
        options.recordings, options.from
    )
}

const DIALLED_HEAD: &str = "## Dialled\n\n\
| family | recordings | right | right, not sure | declined | wrong and sure | speed error, % | \
percent-break error, points | intervals that hold the truth |\n|---|---|---|---|---|---|---|---|---|\n";

const NOTHING_HEAD: &str = "\n## Nothing dialled\n\n\
| family | recordings | nothing found | digits not sure | sure digits |\n|---|---|---|---|---|\n";

fn measure(name: &str, family: Option<&Family>, options: &Options) -> String {
    let draw = |index| family.map_or_else(|| families::mixed(index), |f| families::draw(f, index));
    let results: Vec<(u64, Result)> = (options.from..options.from + options.recordings)
        .into_par_iter()
        .map(|index| (index, one(&draw(index))))
        .collect();
    if options.verbose {
        for (index, result) in &results {
            for (speed, percent) in result.speeds.iter().zip(&result.breaks) {
                if percent.0.abs() > options.notable {
                    println!(
                        "    {name} {index}: speed {:+.5} % ({:+.1} of u95), percent break {:+.4} points ({:+.1} of u95)",
                        speed.0, speed.1, percent.0, percent.1
                    );
                }
            }
        }
        for (index, result) in results.iter().filter(|r| r.1.outcome != Outcome::Right) {
            println!("    {} {index}: {:?} {}", name, result.outcome, result.note);
        }
    }
    row(name, results.into_iter().map(|r| r.1).collect())
}

/// Digits found where none was dialled.
fn invented(family: &Family, options: &Options) -> String {
    let found: Vec<(usize, usize)> = (options.from..options.from + options.recordings)
        .into_par_iter()
        .map(|index| {
            let digits = detect(&synth::render(&families::draw(family, index)));
            let sure = digits.iter().filter(|d| d.sure).count();
            if sure > 0 && options.verbose {
                println!("    {} {index}: {}", family.name, note(&[], &digits));
            }
            (sure, digits.len() - sure)
        })
        .collect();
    let (sure, unsure) = found.iter().fold((0, 0), |s, f| (s.0 + f.0, s.1 + f.1));
    let empty = found.iter().filter(|f| f.0 + f.1 == 0).count();
    format!(
        "| {} | {} | {empty} | {unsure} | {sure} |\n",
        family.name,
        found.len()
    )
}

fn row(name: &str, results: Vec<Result>) -> String {
    let count = |o: Outcome| results.iter().filter(|r| r.outcome == o).count();
    let speeds: Vec<f64> = results
        .iter()
        .flat_map(|r| r.speeds.iter().map(|s| s.0))
        .collect();
    let breaks: Vec<f64> = results
        .iter()
        .flat_map(|r| r.breaks.iter().map(|s| s.0))
        .collect();
    let (speed_in, break_in, all) = results.iter().fold((0, 0, 0), |s, r| {
        (s.0 + r.covered.0, s.1 + r.covered.1, s.2 + r.covered.2)
    });
    let mut line = String::new();
    let _ = writeln!(
        line,
        "| {name} | {} | {} | {} | {} | {} | {} | {} | {} |",
        results.len(),
        count(Outcome::Right),
        count(Outcome::Unsure),
        count(Outcome::Declined),
        count(Outcome::WrongAndSure),
        spread(speeds, 5),
        spread(breaks, 4),
        if all == 0 {
            "–".to_owned()
        } else {
            let share = |n: usize| 100.0 * n as f64 / all as f64;
            format!(
                "{:.1} %, {:.1} % of {all}",
                share(speed_in),
                share(break_in)
            )
        },
    );
    line
}

fn spread(mut values: Vec<f64>, digits: usize) -> String {
    if values.is_empty() {
        return "–".to_owned();
    }
    values.iter_mut().for_each(|v| *v = v.abs());
    values.sort_by(f64::total_cmp);
    let at = |share: f64| values[((values.len() - 1) as f64 * share).round() as usize];
    format!(
        "{:.digits$}, {:.digits$}, {:.digits$}",
        at(0.5),
        at(0.95),
        at(1.0)
    )
}

fn one(scenario: &Scenario) -> Result {
    let rendered = synth::render(scenario);
    let digits = detect(&rendered);
    compare(&rendered.truth.digits, &digits)
}

fn detect(rendered: &Rendered) -> Vec<Digit> {
    let scored: Vec<score::Scored> = rendered
        .channels
        .iter()
        .map(|channel| {
            let mut detector = edges::Detector::new(rendered.sample_rate_hz);
            detector.push(channel);
            score::score(&detector.finish(), &Settings::default())
        })
        .collect();
    scored
        .into_iter()
        .max_by_key(|s| {
            let sure = s.digits.iter().filter(|d| d.sure);
            (
                sure.map(|d| d.pulses).sum::<usize>(),
                s.digits.iter().map(|d| d.pulses).sum::<usize>(),
            )
        })
        .map(|s| s.digits)
        .unwrap_or_default()
}

fn compare(truth: &[DigitTruth], digits: &[Digit]) -> Result {
    let matched: Vec<Option<&Digit>> = truth
        .iter()
        .map(|t| {
            let start = t.breaks.first().map_or(0.0, |b| b.break_start_s);
            digits
                .iter()
                .find(|d| d.pulses == t.pulses && (d.start_s - start).abs() < 0.02)
        })
        .collect();
    let wrong_and_sure = digits
        .iter()
        .any(|d| d.sure && !matched.iter().flatten().any(|m| std::ptr::eq(*m, d)));
    let all = matched.iter().all(Option::is_some) && digits.len() == truth.len();
    let outcome = if wrong_and_sure {
        Outcome::WrongAndSure
    } else if !all {
        Outcome::Declined
    } else if digits.iter().all(|d| d.sure) {
        Outcome::Right
    } else {
        Outcome::Unsure
    };
    let mut result = Result {
        outcome,
        speeds: Vec::new(),
        breaks: Vec::new(),
        covered: (0, 0, 0),
        note: note(truth, digits),
    };
    for (t, d) in truth.iter().zip(&matched) {
        if let Some(d) = d.filter(|d| d.sure) {
            take_errors(&mut result, t, d);
        }
    }
    result
}

fn take_errors(result: &mut Result, truth: &DigitTruth, digit: &Digit) {
    let (Some(speed), Some(percent)) = (digit.speed_pps, digit.percent_break) else {
        return;
    };
    let (Some(true_speed), Some(true_percent)) = (truth.speed_pps, truth.percent_break) else {
        return;
    };
    let speed_error = speed.value - true_speed;
    let break_error = percent.value - true_percent;
    if truth.pulses >= 3 {
        result.covered.0 += usize::from(speed_error.abs() <= speed.u95);
        result.covered.1 += usize::from(break_error.abs() <= percent.u95);
        result.covered.2 += 1;
    }
    if truth.pulses >= 4 {
        result
            .speeds
            .push((100.0 * speed_error / true_speed, speed_error / speed.u95));
        result.breaks.push((break_error, break_error / percent.u95));
    }
}

fn note(truth: &[DigitTruth], digits: &[Digit]) -> String {
    let want: Vec<String> = truth.iter().map(|t| t.pulses.to_string()).collect();
    let got: Vec<String> = digits
        .iter()
        .map(|d| match &d.doubt {
            Some(doubt) => format!("{}? ({doubt})", d.pulses),
            None => d.pulses.to_string(),
        })
        .collect();
    format!("want [{}] got [{}]", want.join(" "), got.join(" "))
}

/// Which recording to write.
#[derive(clap::Args)]
pub(crate) struct DrawOptions {
    /// Family, or `mixed`
    family: String,
    /// Index within the family
    index: u64,
    /// WAV file to write; the truth goes beside it
    output: std::path::PathBuf,
}

/// Writes one recording of a family, to look at it.
pub(crate) fn draw(options: &DrawOptions) -> anyhow::Result<()> {
    let scenario = match families::singles()
        .iter()
        .chain(families::nothing())
        .find(|f| f.name == options.family)
    {
        Some(family) => families::draw(family, options.index),
        None if options.family == "mixed" => families::mixed(options.index),
        None => anyhow::bail!("no family is called {}", options.family),
    };
    let rendered = synth::render(&scenario);
    synth::write_wav(&rendered, rendered.encoding, &options.output)?;
    synth::write_truth(&rendered, &options.output)?;
    println!("{}", serde_json::to_string_pretty(&scenario)?);
    Ok(())
}
