//! The options of a run in words: results made by different options must not be mixed.

use score::limits::{Grade, LimitSet};
use score::{IdleRun, Settings};
use xxhash_rust::xxh3::xxh3_64;

use drive::Channel;

use crate::check::measuring::MeasureArgs;

/// Every option that can change a result, in a fixed order.
pub(crate) fn in_words(args: &MeasureArgs, settings: &Settings) -> String {
    let channel = match args.judging.channel {
        Channel::Auto => "auto".to_owned(),
        Channel::Number(number) => number.to_string(),
    };
    let time = |time: Option<f64>| time.map_or_else(|| "-".to_owned(), |time| time.to_string());
    let parts = [
        (
            "limits",
            settings
                .limits
                .as_ref()
                .map_or_else(|| "none".to_owned(), named),
        ),
        (
            "dialled",
            settings.dialled.clone().unwrap_or_else(|| "-".to_owned()),
        ),
        ("plan", settings.plan.name().to_owned()),
        ("channel", channel),
        ("from", time(args.from)),
        ("to", time(args.to)),
        ("tap", settings.tap.map_or("-", report::tap_word).to_owned()),
        (
            "quench",
            settings.quench.map_or("-", report::quench_word).to_owned(),
        ),
        (
            "idle-run",
            settings.idle_run.map_or("-", idle_run).to_owned(),
        ),
        ("for", receivers(settings)),
        ("judge-pauses", settings.judge_pauses.to_string()),
        ("clock-ppm", settings.clock_ppm.to_string()),
        (
            "raw",
            args.raw
                .as_ref()
                .map_or_else(|| "-".to_owned(), |raw| format!("{raw:?}")),
        ),
        ("csv-rate", time(args.csv_rate)),
        ("version", env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let words: Vec<String> = parts
        .iter()
        .map(|(name, value)| format!("{name}={value}"))
        .collect();
    words.join(" ")
}

/// The name of a set; one of the user's own may change under its name, so its content is named too.
fn named(set: &LimitSet) -> String {
    if set.grade == Grade::Own {
        format!(
            "{}#{:016x}",
            set.name,
            xxh3_64(format!("{set:?}").as_bytes())
        )
    } else {
        set.name.to_string()
    }
}

fn receivers(settings: &Settings) -> String {
    let names: Vec<String> = settings
        .receivers
        .iter()
        .map(|receiver| named(&receiver.set))
        .collect();
    if names.is_empty() {
        "-".to_owned()
    } else {
        names.join(",")
    }
}

fn idle_run(place: IdleRun) -> &'static str {
    match place {
        IdleRun::Start => "start",
        IdleRun::End => "end",
    }
}
