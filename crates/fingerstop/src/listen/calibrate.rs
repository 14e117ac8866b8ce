//! What is known of an input: how its clock runs, and what current its full scale is.

use std::path::Path;

use drive::Channel;
use live::ToneMeter;
use recording::{OpenOptions, Recording};
use report::{Record, with_uncertainty};

use crate::config::{Calibration, Config};
use crate::stop::{Exit, Stop};

/// A tone whose frequency is known: `1000:1` is 1000 Hz good to 1 ppm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct KnownTone {
    pub(crate) hz: f64,
    pub(crate) tolerance_ppm: f64,
}

/// Reads `HZ:PPM`.
pub(crate) fn known_tone(text: &str) -> Result<KnownTone, String> {
    let number = |part: &str| part.parse::<f64>().ok().filter(|x| x.is_finite());
    let parts = text
        .split_once(':')
        .and_then(|(hz, ppm)| number(hz).zip(number(ppm)));
    match parts {
        Some((hz, tolerance_ppm)) if (50.0..=20_000.0).contains(&hz) && tolerance_ppm >= 0.0 => {
            Ok(KnownTone { hz, tolerance_ppm })
        }
        _ => Err(
            "give the tone and how well it is known, in hertz and parts per million, such as 1000:1"
                .to_owned(),
        ),
    }
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
    // A clock that runs fast makes a tone seem low.
    let offset_ppm = -found.off_ppm;
    let clock_ppm = offset_ppm.abs() + found.u95_ppm + tone.tolerance_ppm;
    let path = Config::load()?.calibrate(device, |known: &mut Calibration| {
        known.clock_ppm = Some(clock_ppm);
        known.clock_offset_ppm = Some(offset_ppm);
    })?;
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
    let steps: Vec<f64> = match &record.outcome {
        Ok(measured) => measured
            .trace
            .trains
            .iter()
            .filter(|train| train.doubts.is_empty() && !train.spikes_only)
            .map(|train| train.step.abs())
            .collect(),
        Err(_) => Vec::new(),
    };
    if steps.is_empty() {
        let message = "no sure digit with whole steps was heard, so the level was not calibrated: dial a digit while \
                       the known current flows";
        return Err(Stop::Failed(message.to_owned()));
    }
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    let spread = steps
        .iter()
        .map(|step| (step - mean).abs())
        .fold(0.0, f64::max)
        / mean;
    let full_scale_ma = current_ma / mean;
    let path = Config::load()?.calibrate(device, |known: &mut Calibration| {
        known.full_scale_ma = Some(full_scale_ma);
    })?;
    let text = format!(
        "a dial step of {mean:.4} of full scale is {current_ma} mA ({} digits, alike within {:.1} %): full scale of {device} is \
         {full_scale_ma:.1} mA with this probe and gain (kept in {})\n",
        steps.len(),
        100.0 * spread,
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
