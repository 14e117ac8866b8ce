//! The options of a run in words: results made by different options must not be mixed.

use score::Settings;

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
                .map_or("none", |set| &set.name)
                .to_owned(),
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
