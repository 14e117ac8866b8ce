//! What is known of the input, and how it becomes known: its clock by a known tone, its level by a known current.

use report::with_uncertainty;

use super::{Capture, Talk};
use crate::page::protocol::{Say, shown};
use crate::{Calibration, DialStep, KnownTone, ToneMeter};

/// How long a tone is listened to.
const TONE_S: f64 = 60.0;
/// Most current that a loop has, in milliamperes, and more.
const MOST_MA: f64 = 1000.0;

/// A tone that is being listened to.
pub(super) struct Listening {
    tone: KnownTone,
    meter: ToneMeter,
    left: usize,
}

impl Talk {
    /// The input by the name under which it is kept: what a browser hands out is not what the system does.
    pub(super) fn name_of(input: &str) -> String {
        format!("browser: {}", shown(input))
    }

    /// Looks up what is known of an input that begins, and counts its clock as good as that. Attempts of several inputs are judged
    /// by the worst of their clocks.
    pub(super) fn look_up(&mut self, input: &str) -> Calibration {
        let known = match self.bench.calibrations.known(&Self::name_of(input)) {
            Ok(known) => known,
            Err(why) => {
                self.caution("calibration", why);
                Calibration::default()
            }
        };
        if !self.bench.clock_is_given {
            let unknown_ppm = self.bench.settings.clock_ppm;
            let own_ppm = known.clock_ppm.unwrap_or(unknown_ppm);
            self.settings.clock_ppm = if self.attempts.is_empty() {
                own_ppm
            } else {
                own_ppm.max(self.settings.clock_ppm)
            };
        }
        known
    }

    /// What is known of the input, in words.
    pub(super) fn known_words(&self, known: &Calibration) -> String {
        let clock = match (self.bench.clock_is_given, known.clock_ppm) {
            (true, _) => format!(
                "Its clock counts as good to {} ppm, as was said at the start.",
                self.settings.clock_ppm
            ),
            (false, Some(ppm)) => format!("Its clock is good to {ppm:.1} ppm, as calibrated."),
            (false, None) => format!(
                "Its clock is not calibrated: it counts as good to {} ppm.",
                self.bench.settings.clock_ppm
            ),
        };
        let level = match known.full_scale_ma {
            Some(ma) => format!("Full scale is {ma:.1} mA, as calibrated."),
            None => "Its level is not calibrated.".to_owned(),
        };
        format!("{clock} {level}")
    }

    pub(super) fn calibrate_clock(&mut self, hz: f64, tolerance_ppm: f64) {
        let Some(tone) = KnownTone::new(hz, tolerance_ppm) else {
            let words = "A tone of 50 to 20000 Hz is wanted, and how well it is known in ppm.";
            self.caution("calibration", words.to_owned());
            return;
        };
        let Some(capture) = &mut self.capture else {
            return;
        };
        let rate_hz = f64::from(capture.sitting.setup().format.sample_rate_hz);
        capture.tone = Some(Listening {
            tone,
            meter: ToneMeter::new(rate_hz, hz),
            left: (TONE_S * rate_hz) as usize,
        });
        let words = format!("Listening to the tone of {hz} Hz: leave it on for {TONE_S} s.");
        self.note("calibration", words);
    }

    /// Samples of a tone, as they come.
    pub(super) fn hear_tone(&mut self, samples: &[u8], channels: u16) {
        let Some(listening) = self
            .capture
            .as_mut()
            .and_then(|capture| capture.tone.as_mut())
        else {
            return;
        };
        let stride = 4 * usize::from(channels);
        let frames = samples.chunks_exact(stride).take(listening.left);
        let value = |frame: &[u8]| f32::from_le_bytes([frame[0], frame[1], frame[2], frame[3]]);
        let first: Vec<f32> = frames.map(value).collect();
        listening.left -= first.len();
        listening.meter.push(first.into_iter());
        if listening.left == 0 {
            self.end_tone();
        }
    }

    /// Samples are missing, and a phase that leaps says nothing of a clock.
    pub(super) fn lose_tone(&mut self) {
        let lost = self
            .capture
            .as_mut()
            .and_then(|capture| capture.tone.take());
        if lost.is_some() {
            let words =
                "Samples were lost meanwhile, so the clock was not calibrated: listen again.";
            self.caution("calibration", words.to_owned());
        }
    }

    fn end_tone(&mut self) {
        let Some(Listening { tone, meter, .. }) = self
            .capture
            .as_mut()
            .and_then(|capture| capture.tone.take())
        else {
            return;
        };
        let Some(heard) = meter.finish() else {
            let words = format!(
                "There was no tone of {} Hz in the first channel: nothing was calibrated.",
                tone.hz
            );
            self.caution("calibration", words);
            return;
        };
        let offset_ppm = -heard.off_ppm;
        let way = if offset_ppm < 0.0 { "slow" } else { "fast" };
        let found = format!(
            "The clock runs {} ppm {way}, by a tone good to {} ppm; from the next capture on that is counted.",
            with_uncertainty(offset_ppm.abs(), heard.u95_ppm.hypot(tone.tolerance_ppm)),
            tone.tolerance_ppm
        );
        self.keep_calibration(found, |known| known.set_clock(tone, &heard));
    }

    pub(super) fn calibrate_level(&mut self, current_ma: f64) {
        if !(current_ma > 0.0 && current_ma <= MOST_MA) {
            let words = format!("A current of up to {MOST_MA} mA is wanted.");
            self.caution("calibration", words);
            return;
        }
        let Some((file, from_s)) = self.capture.as_ref().map(Capture::probed) else {
            return;
        };
        let record = self.record_from(&file, from_s);
        let Some(step) = record
            .outcome
            .as_ref()
            .ok()
            .and_then(|measured| DialStep::of(measured))
        else {
            let words = "No sure digit with whole steps was heard yet: dial one while the known current flows.";
            self.caution("calibration", words.to_owned());
            return;
        };
        let found = format!(
            "A dial step of {:.4} of full scale is {current_ma} mA ({} digits, alike within {:.1} %), with this probe and gain.",
            step.mean,
            step.digits,
            100.0 * step.spread
        );
        self.keep_calibration(found, |known| known.set_level(current_ma, step));
    }

    fn keep_calibration(&mut self, found: String, mut change: impl FnMut(&mut Calibration)) {
        let Some(capture) = &mut self.capture else {
            return;
        };
        change(&mut capture.known);
        let (input, known) = (capture.input.clone(), capture.known);
        match self.bench.calibrations.change(&input, &mut change) {
            Ok(path) => {
                self.out.push(Say::Known {
                    words: self.known_words(&known),
                });
                self.note(
                    "calibration",
                    format!("{found} Kept in {}.", path.display()),
                );
            }
            Err(why) => self.caution("calibration", why),
        }
        if self.probe {
            self.say_probe();
        }
    }
}
