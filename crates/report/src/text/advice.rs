//! What to do next.

use score::{Scored, Settings, Verdict};

use super::page::Page;
use crate::record::Measured;

/// What touches a line can hurt: said wherever the reader is told to record one.
pub const CAUTION: &str = "Caution: ringing is 75-105 V a.c. on 48 V d.c. and can shock; break transients reach \
    more than 200 V; a computer's sound input is earthed and takes about 1 V, so isolate and divide. Best is \
    a bench supply of a few volts with a series resistor and no line at all. Only approved equipment may be \
    joined to a public line.";

/// How to wire a probe that can be judged.
const PROBE: &str = "Record through a wired probe: a bench supply of a few volts, the dial's pulse contacts \
    and a resistor in series, and the sound-card line input across the resistor.";

/// What a microphone beside a dial gives.
const HEARD: &str = "A dial is heard: its clicks are there, but no steps of a line. A microphone beside a dial \
    hears its mechanism, not when its contacts open and close, so nothing is judged.";

/// Says that a microphone heard a dial, and what to do instead.
pub(super) fn heard_not_wired(page: &mut Page, measured: &Measured) {
    page.paragraph(2, HEARD);
    super::recording_lines(page, measured);
    page.heading("Next");
    page.paragraph(2, PROBE);
    page.paragraph(2, CAUTION);
}

/// Where no digit was found: what is in the recording instead, and what to do.
pub(crate) fn without_digits(measured: &Measured) -> (String, Vec<String>) {
    if measured.trace.heard_not_wired {
        return (HEARD.to_owned(), vec![PROBE.to_owned()]);
    }
    let found = format!(
        "No dial pulses were found in {:.2} s of channel {}. {}",
        measured.duration_s(),
        measured.channel,
        level(measured)
    );
    let mut next = vec![
        "play it: each break and make should be a click, ten a second".to_owned(),
        "check that the probe is wired to the dial and the right input was recorded".to_owned(),
    ];
    if measured.facts.channels > 1 {
        next.push(format!(
            "name the channel, if you know it: --channel 1 to {}",
            measured.facts.channels
        ));
    }
    next.push(
        "switch off noise reduction, echo cancelling and automatic gain: they remove clicks"
            .to_owned(),
    );
    (found, next)
}

/// Says that nothing was dialled, and what to check.
pub(super) fn no_dialling(page: &mut Page, measured: &Measured) {
    let (found, next) = without_digits(measured);
    page.paragraph(2, &found);
    super::recording_lines(page, measured);
    page.heading("Next");
    for step in &next {
        page.item(step);
    }
    page.paragraph(2, CAUTION);
}

/// How much the channel moves about its mean, in words that help to find the fault.
fn level(measured: &Measured) -> String {
    let rms = measured.trace.rms;
    if rms <= 0.0 {
        return "The channel is silent: every sample is the same.".to_owned();
    }
    let decibels = 20.0 * rms.log10();
    if decibels < -60.0 {
        return format!("The channel is almost silent: {decibels:.0} dB of full scale.");
    }
    format!("Its level is {decibels:.0} dB of full scale.")
}

/// What to do after figures were given.
pub(super) fn next(page: &mut Page, measured: &Measured, settings: &Settings, measure_only: bool) {
    let scored = &measured.scored;
    let unsure = scored.digits.iter().any(|digit| !digit.sure);
    let choose = settings.limits.is_none() && !measure_only;
    if !(unsure || choose) {
        return adjust(page, scored);
    }
    page.heading("Next");
    if unsure {
        page.item("a pulse count is not beyond doubt: record the digit again, with a second of quiet line \
            before and after it");
    }
    if choose {
        page.item("no limits were chosen, so nothing was judged. Choose: --limits NAME for this run, \
            FINGERSTOP_LIMITS=NAME, or once for all `fingerstop limits use NAME`; `fingerstop limits list` \
            shows them");
    }
}

/// Where a fault was measured and no finding names its cause.
fn adjust(page: &mut Page, scored: &Scored) {
    let failed = matches!(scored.verdict, Verdict::Fail | Verdict::ConditionalFail);
    if !failed || !scored.findings.is_empty() {
        return;
    }
    page.heading("Next");
    let count = &scored.count;
    let unpaired = count.expected_pulses.len() != count.found_pulses.len();
    if count.verdict == Verdict::Fail && unpaired {
        page.item("dial the number once more: a digit that is wholly missing or too many need not be the dial's fault");
    } else {
        page.item("adjust the dial, record the same digit again and compare");
    }
}
