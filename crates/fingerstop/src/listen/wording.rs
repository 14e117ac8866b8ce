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
        figures(digit, settings)
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

fn figures(digit: &Digit, settings: &Settings) -> String {
    let speed = digit.speed_pps.map(|speed| {
        let joined = report::clock_joined(speed, settings.clock_ppm);
        format!("{} pps", with_uncertainty(speed.value, joined))
    });
    let percent = digit
        .percent_break_as_read(settings)
        .map(|Value { value, u95 }| format!("{} % break", with_uncertainty(value, u95)));
    let alone = || {
        let mean = digit.break_ms.mean;
        let joined = score::apart::duration_as_read(mean, settings).u95;
        format!("break {} ms", with_uncertainty(mean.value, joined))
    };
    match (speed, percent) {
        (Some(speed), Some(percent)) => format!("{speed}  {percent}"),
        _ => alone(),
    }
}

/// What changed, and whether it is larger than its uncertainty. Only like digits are compared in words: others differ by
/// nature.
fn changed(change: &Change) -> String {
    let parts = [
        (change.speed_pps, "pps", ["faster", "slower"]),
        (
            change.percent_break,
            "points of break",
            ["longer breaks", "shorter breaks"],
        ),
    ];
    let parts = parts
        .into_iter()
        .filter_map(|(difference, unit, words)| Some((difference?, unit, words)));
    let (mut figures, mut words) = (Vec::new(), Vec::new());
    for (difference, unit, [up, down]) in parts {
        figures.push(figure(&difference, unit));
        if difference.exceeds() {
            words.push(if difference.value > 0.0 { up } else { down });
        }
    }
    let words = match (change.same_pulses, words.as_slice()) {
        (false, _) => "another digit".to_owned(),
        (true, []) => "no change beyond the uncertainty".to_owned(),
        (true, words) => words.join(", "),
    };
    format!(
        "against no. {}: {words} ({})",
        change.against + 1,
        figures.join("; ")
    )
}

fn figure(difference: &Difference, unit: &str) -> String {
    let sign = if difference.value > 0.0 { "+" } else { "" };
    format!(
        "{sign}{} {unit}",
        with_uncertainty(difference.value, difference.u95)
    )
}

/// The system hands a mono input out twice.
pub(super) const ONE_SIGNAL: &str =
    "both channels of the input carry the same signal; the capture keeps one of them";

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
        Event::OneSignal => Some(ONE_SIGNAL.to_owned()),
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

#[cfg(test)]
mod tests {
    use super::*;

    fn change(speed: f64, percent: f64, same_pulses: bool) -> Change {
        let with = |value| {
            let u95 = 0.010;
            Some(Difference { value, u95 })
        };
        Change {
            against: 2,
            same_pulses,
            speed_pps: with(speed),
            percent_break: with(percent),
        }
    }

    #[test]
    fn only_what_is_larger_than_its_uncertainty_is_called_a_change() {
        let cases = [
            (
                change(0.3, -0.2, true),
                "against no. 3: faster, shorter breaks (+0.300 ± 0.010 pps; -0.200 ± 0.010 points of break)",
            ),
            (
                change(-0.3, 0.001, true),
                "against no. 3: slower (-0.300 ± 0.010 pps; +0.001 ± 0.010 points of break)",
            ),
            (
                change(0.001, 0.0, true),
                "against no. 3: no change beyond the uncertainty (+0.001 ± 0.010 pps; 0.000 ± 0.010 points of break)",
            ),
            (
                change(0.3, 0.3, false),
                "against no. 3: another digit (+0.300 ± 0.010 pps; +0.300 ± 0.010 points of break)",
            ),
        ];
        for (change, words) in cases {
            assert_eq!(changed(&change), words);
        }
    }
}
