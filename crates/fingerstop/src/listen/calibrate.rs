//! What is known of an input: how its clock runs, and what current its full scale is.

use std::path::Path;

use drive::Channel;
use live::{Calibration, DialStep, KnownTone, ToneMeter};
use recording::{OpenOptions, Recording};
use report::{Record, with_uncertainty};

use crate::config::Config;
use crate::stop::{Exit, Stop};

/// Reads `HZ:PPM`.
pub(crate) fn known_tone(text: &str) -> Result<KnownTone, String> {
    let number = |part: &str| part.parse::<f64>().ok().filter(|x| x.is_finite());
    let parts = text
        .split_once(':')
        .and_then(|(hz, ppm)| number(hz).zip(number(ppm)));
    parts
        .and_then(|(hz, tolerance_ppm)| KnownTone::new(hz, tolerance_ppm))
        .ok_or_else(|| {
            "give the tone and how well it is known, in hertz and parts per million, such as 1000:1"
                .to_owned()
        })
}

/// Measures the tone in the capture, and keeps what it says of the input's clock.
pub(super) fn clock(
    tone: KnownTone,
    capture: &Path,
    channel: Channel,
    device: &str,
) -> Result<(String, Exit), Stop> {
    let failed = |error: recording::Error| {
        Stop::Failed(format!("cannot read {}: {error}", capture.display()))
    };
    let mut recording = Recording::open(capture, &OpenOptions::default()).map_err(failed)?;
    let facts = recording.facts().clone();
    let stride = usize::from(facts.channels);
    let first = match channel {
        Channel::Auto => 0,
        Channel::Number(number) => usize::from(number) - 1,
    };
    let mut meter = ToneMeter::new(facts.sample_rate_hz, tone.hz);
    let mut block = Vec::new();
    while recording.next_block(&mut block).map_err(failed)? {
        meter.push(block.iter().skip(first).step_by(stride).copied());
    }
    if !recording.gaps().is_empty() {
        let message = "samples were lost meanwhile, so the clock was not calibrated: run it again";
        return Err(Stop::Failed(message.to_owned()));
    }
    let Some(found) = meter.finish() else {
        let message = format!(
            "there is no tone of {} Hz in channel {}, or for less than five seconds: nothing was calibrated",
            tone.hz,
            first + 1
        );
        return Err(Stop::Failed(message));
    };
    let mut known = Calibration::default();
    known.set_clock(tone, &found);
    let (offset_ppm, clock_ppm) = (-found.off_ppm, known.clock_ppm.unwrap_or(f64::NAN));
    let path = Config::load()?.calibrate(device, |kept| kept.set_clock(tone, &found))?;
    let way = if offset_ppm < 0.0 { "slow" } else { "fast" };
    let text = format!(
        "the clock of {device} runs {} ppm {way} by a tone of {} Hz good to {} ppm, over {:.0} s;\n\
         from now on `listen` counts it as good to {clock_ppm:.1} ppm (kept in {})\n",
        with_uncertainty(offset_ppm.abs(), found.u95_ppm.hypot(tone.tolerance_ppm)),
        tone.hz,
        tone.tolerance_ppm,
        found.seconds,
        path.display()
    );
    Ok((text, Exit::Good))
}

/// Takes the dial step of the sure digits for the known current, and keeps it.
pub(super) fn level(
    current_ma: f64,
    record: &Record,
    device: &str,
) -> Result<(String, Exit), Stop> {
    let step = record.outcome.as_ref().ok().and_then(|m| DialStep::of(m));
    let Some(step) = step else {
        let message = "no sure digit with whole steps was heard, so the level was not calibrated: dial a digit while \
                       the known current flows";
        return Err(Stop::Failed(message.to_owned()));
    };
    let full_scale_ma = current_ma / step.mean;
    let path = Config::load()?.calibrate(device, |known| known.set_level(current_ma, step))?;
    let text = format!(
        "a dial step of {:.4} of full scale is {current_ma} mA ({} digits, alike within {:.1} %): full scale of {device} is \
         {full_scale_ma:.1} mA with this probe and gain (kept in {})\n",
        step.mean,
        step.digits,
        100.0 * step.spread,
        path.display()
    );
    Ok((text, Exit::Good))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_is_given_with_how_well_it_is_known() {
        let tone = KnownTone {
            hz: 1000.0,
            tolerance_ppm: 0.5,
        };
        assert_eq!(known_tone("1000:0.5"), Ok(tone));
        for wrong in ["1000", "1000:", ":1", "1000:-1", "1e9:1", "nan:1"] {
            assert!(known_tone(wrong).is_err(), "{wrong}");
        }
    }
}
