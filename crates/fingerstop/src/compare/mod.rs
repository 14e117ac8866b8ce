//! `compare`: the same dial before and after.

mod args;
mod inputs;

pub(crate) use args::CompareArgs;

use args::CompareFormat;
use report::{CompareOptions, Comparison};
use score::Verdict;

use crate::check::render::paint;
use crate::check::settings;
use crate::output::Output;
use crate::stop::{Exit, Stop};

const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Reads or measures every input, compares them in their order, and says how it ended.
pub(crate) fn run(args: &CompareArgs) -> Result<Exit, Stop> {
    args.verify()?;
    let chosen = settings::choose(&args.measuring.judging)?;
    let mut output = Output::open(args.output.as_deref(), args.force)?;
    let html = args.html.as_deref();
    let html = html
        .map(|path| Output::open(Some(path), args.force))
        .transpose()?;
    let inputs = inputs::read(args, &chosen.settings)?;
    let options = CompareOptions {
        same_recorder: args.same_recorder,
        max_shifts: args.max_shift.clone(),
    };
    let comparison = report::compare(inputs.recordings, &options);
    let exit = ending(&comparison);
    output.write(&written(args, &comparison, &output)?, exit)?;
    output.commit()?;
    if let Some(mut html) = html {
        let page = report::compare_html(&comparison, VERSION)
            .map_err(|error| Stop::Failed(error.to_string()))?;
        html.write(&page, exit)?;
        html.commit()?;
    }
    Ok(exit)
}

fn written(args: &CompareArgs, comparison: &Comparison, output: &Output) -> Result<String, Stop> {
    match args.format {
        CompareFormat::Text => Ok(report::compare_text(
            comparison,
            paint(args.colour.color, output),
        )),
        CompareFormat::Json => report::compare_json(comparison, VERSION)
            .map_err(|error| Stop::Failed(format!("cannot write JSON: {error}"))),
    }
}

/// 3 when something could not be read or not be compared, 1 when a shift is too large, else 0 whatever changed.
fn ending(comparison: &Comparison) -> Exit {
    let unread = comparison
        .recordings
        .iter()
        .any(|saved| saved.error.is_some());
    let incomparable = comparison
        .steps
        .iter()
        .any(|step| step.pairing.pairs.is_empty());
    let word = |wanted: &[Verdict]| {
        let words = comparison.steps.iter().filter_map(|step| step.shift);
        words.into_iter().any(|word| wanted.contains(&word))
    };
    if unread || incomparable || word(&[Verdict::NotJudged]) {
        Exit::Undone
    } else if word(&[Verdict::Fail, Verdict::ConditionalFail]) {
        Exit::Bad
    } else {
        Exit::Good
    }
}
