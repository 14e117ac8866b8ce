//! From options, environment and configuration to settings of the score.

use score::{IdleRun, Quench, Settings, Tap};

use super::measuring::{IdleRunName, JudgeArgs, QuenchName, TapName};
use crate::config::Config;
use crate::stop::Stop;
use crate::values::{LimitChoice, limit_choice};

/// What a run is to do.
pub(crate) struct Chosen {
    /// How to score.
    pub(crate) settings: Settings,
    /// The user said that nothing is to be judged.
    pub(crate) measure_only: bool,
}

/// Flag before environment before configuration.
pub(crate) fn choose(args: &JudgeArgs) -> Result<Chosen, Stop> {
    let choice = match &args.limits {
        Some(choice) => Some(choice.clone()),
        None => configured()?,
    };
    let measure_only = matches!(choice, Some(LimitChoice::None));
    let limits = match choice {
        Some(LimitChoice::Set(set)) => Some(*set),
        _ => None,
    };
    let settings = Settings {
        limits,
        dialled: args.dialled.clone(),
        plan: args.plan.plan(),
        judge_pauses: args.judge_pauses,
        clock_ppm: args.clock_ppm.unwrap_or(Settings::default().clock_ppm),
        opening_delay_ms: score::apart::OPENING_DELAY_MS,
        tap: args.tap.map(tap),
        quench: args.quench.map(quench),
        idle_run: args.idle_run.map(idle_run),
        receivers: args
            .receivers
            .iter()
            .flat_map(|named| named.0.clone())
            .collect(),
    };
    Ok(Chosen {
        settings,
        measure_only,
    })
}

fn configured() -> Result<Option<LimitChoice>, Stop> {
    let config = Config::load()?;
    let Some(name) = config.limits()? else {
        return Ok(None);
    };
    limit_choice(name)
        .map(Some)
        .map_err(|why| Stop::Usage(format!("{}: {why}", config.path().display())))
}

fn tap(name: TapName) -> Tap {
    match name {
        TapName::Contacts => Tap::Contacts,
        TapName::Series => Tap::Series,
        TapName::Line => Tap::Line,
        TapName::Adapter => Tap::Adapter,
    }
}

fn idle_run(name: IdleRunName) -> IdleRun {
    match name {
        IdleRunName::Start => IdleRun::Start,
        IdleRunName::End => IdleRun::End,
    }
}

fn quench(name: QuenchName) -> Quench {
    match name {
        QuenchName::In => Quench::In,
        QuenchName::Out => Quench::Out,
    }
}
