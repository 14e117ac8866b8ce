//! `check`: measures recordings and judges them.

pub(crate) mod args;
pub(crate) mod measure;
pub(crate) mod measuring;
pub(crate) mod outcome;
mod pictures;
pub(crate) mod progress;
pub(crate) mod render;
pub(crate) mod settings;

pub(crate) use args::CheckArgs;

use crate::output::Output;
use crate::stop::{Exit, Stop, tell};
use drive::Options;
use pictures::Pictures;
use progress::Progress;
use render::Renderer;

/// Measures every input, writes what was found, and says how it ended.
pub(crate) fn run(args: &CheckArgs) -> Result<Exit, Stop> {
    args.verify()?;
    let chosen = settings::choose(&args.measuring.judging)?;
    let mut output = Output::open(args.output.as_deref(), args.force)?;
    let mut pictures = Pictures::open(args)?;
    let mut renderer = Renderer::new(args, &chosen, &output);
    let mut progress = Progress::new(args);
    let mut exit = Exit::Good;
    output.write(&renderer.begin(), exit)?;
    let options = Options {
        not_drawn: !pictures.are_asked_for(),
        ..args.measuring.options()
    };
    for input in &args.files {
        let record = measure::record(input, &options, &chosen.settings, &mut progress);
        progress.clear();
        exit = exit.max(outcome::of(&record, &chosen.settings));
        if let Err(unreadable) = &record.outcome {
            tell(&format!(
                "cannot read {}: {}",
                record.input, unreadable.message
            ));
        }
        output.write(&renderer.add(&record)?, exit)?;
        pictures.draw(&record, &chosen)?;
    }
    exit = exit.max(
        renderer
            .takes()
            .as_ref()
            .map_or(Exit::Good, outcome::of_takes),
    );
    output.write(&renderer.end()?, exit)?;
    output.commit()?;
    Ok(exit)
}
