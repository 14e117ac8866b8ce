//! Events in words, one line each.

use live::{Change, Difference, Encoding, Event, Format, Heard, Lost, LostHow};
use report::with_uncertainty;
use score::{Digit, Settings, Value};

/// A format as it is said: `48000 Hz, 2 channels, 16 bit`.
pub(super) fn format(format: Format) -> String {
    let channels = match format.channels {
        1 => "1 channel".to_owned(),
        more => format!("{more} channels"),
    };
    let bits = match format.encoding {
        Encoding::I16 => "16 bit",
        Encoding::I24 => "24 bit",
        Encoding::I32 => "32 bit",
        Encoding::F32 => "32-bit float",
    };
    format!("{} Hz, {channels}, {bits}", format.sample_rate_hz)
}

/// What a digit sent, with verdict and what changed.
pub(super) fn heard(heard: &Heard, settings: &Settings, note: &str) -> String {
    let digit = &heard.digit;
    let name = digit.digit.as_deref().unwrap_or("?");
    let pulses = match digit.pulses {
        1 => "1 pulse".to_owned(),
        more => format!("{more} pulses"),
    };
    let verdict = match &digit.doubt {
        Some(doubt) => format!("not sure: {doubt}"),
        None if settings.limits.is_none() => "measured".to_owned(),
        None => report::verdict_words(digit.verdict).to_owned(),
    };
    let mut line = format!(
        "{:>3}.  {name}  {pulses}  {}  {verdict}",
        heard.index + 1,
        figures(digit, settings.clock_ppm)
    );
    if !note.is_empty() {
        line.push_str(&format!("  ({note})"));
    }
    if let Some(change) = &heard.change {
        line.push_str(&format!("\n      {}", changed(change)));
    }
    line.push('\n');
    line
}

fn figures(digit: &Digit, clock_ppm: f64) -> String {
    let speed = digit.speed_pps.map(|speed| {
        let joined = report::clock_joined(speed, clock_ppm);
        format!("{} pps", with_uncertainty(speed.value, joined))
    });
    let percent = digit
        .percent_break
        .map(|Value { value, u95 }| format!("{} % break", with_uncertainty(value, u95)));
    let alone = || {
        let mean = digit.break_ms.mean;
        let joined = report::clock_joined(mean, clock_ppm);
        format!("break {} ms", with_uncertainty(mean.value, joined))
    };
    match (speed, percent) {
        (Some(speed), Some(percent)) => format!("{speed}  {percent}"),
        _ => alone(),
    }
}

/// What changed, and whether it is larger than its uncertainty.
fn changed(change: &Change) -> String {
    let same = change.same_pulses;
    let parts = [
        change
            .speed_pps
            .map(|d| difference(&d, "pps", ["faster", "slower"], same)),
        change.percent_break.map(|d| {
            let words = ["longer breaks", "shorter breaks"];
            difference(&d, "points of break", words, same)
        }),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let other = if same { "" } else { " (another digit)" };
    format!(
        "against no. {}{other}: {}",
        change.against + 1,
        parts.join("; ")
    )
}

/// A difference, in words only between like digits: others differ by nature.
fn difference(difference: &Difference, unit: &str, words: [&str; 2], same: bool) -> String {
    let word = match (difference.exceeds(), difference.value > 0.0) {
        _ if !same => "",
        (false, _) => ", no change beyond the uncertainty",
        (true, true) => words[0],
        (true, false) => words[1],
    };
    let comma = if word.is_empty() || word.starts_with(',') {
        ""
    } else {
        ", "
    };
    let sign = if difference.value > 0.0 { "+" } else { "" };
    format!(
        "{sign}{} {unit}{comma}{word}",
        with_uncertainty(difference.value, difference.u95)
    )
}

/// What an event warns of; `None` for those that are figures.
pub(super) fn warning(event: &Event) -> Option<String> {
    match event {
        Event::Clipping {
            channel,
            samples,
            at_s,
        } => Some(format!(
            "channel {channel} clips ({samples} samples up to {at_s:.1} s): turn the input down"
        )),
        Event::Hum(hum) => {
            let size = match hum.percent_of_step {
                Some(percent) => format!("{percent:.0} % of the dial step"),
                None => format!("{} of full scale", decibels(hum.amplitude)),
            };
            Some(format!(
                "mains hum of {} Hz in channel {}, {size}: see docs/live.md for how to be rid of it",
                hum.frequency_hz, hum.channel
            ))
        }
        Event::Hint(hint) => Some(hint.text.clone()),
        Event::Lost(lost) => Some(lost_words(lost)),
        Event::Withdrawn(index) => Some(format!(
            "no. {} was no digit, by what came later",
            index + 1
        )),
        _ => None,
    }
}

fn lost_words(lost: &Lost) -> String {
    let how_many = match lost.frames {
        Some(frames) => format!("{frames} samples are missing"),
        None => "samples are missing".to_owned(),
    };
    let how = match lost.how {
        LostHow::Counted => "the input lost them",
        LostHow::Clock => "fewer came than the time that passed",
        LostHow::Seam => "the trace stands still amid noise, so something else filled it",
        LostHow::Away => "the input was away",
    };
    format!(
        "{how_many} at {:.2} s ({how}): no digit near them is sure, dial it again",
        lost.at_s
    )
}

/// An amplitude in decibels of full scale.
pub(super) fn decibels(amplitude: f64) -> String {
    if amplitude > 0.0 {
        format!("{:.0} dB", 20.0 * amplitude.log10())
    } else {
        "silence".to_owned()
    }
}
