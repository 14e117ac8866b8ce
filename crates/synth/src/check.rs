//! Whether a scenario can be rendered: values that come from a file may be anything.

use crate::scenario::{Coupling, Dial, Line, Loop, Recorder, Scenario, Sound, SoundKind};

/// Why a scenario cannot be rendered.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("scenario: {field} is {value}; it must lie between {least} and {most}")]
pub struct ScenarioError {
    /// The field, as in the JSON.
    pub field: &'static str,
    /// What it is.
    pub value: f64,
    /// Least value that can be rendered.
    pub least: f64,
    /// Largest value that can be rendered.
    pub most: f64,
}

/// Field, value, least, most.
type Bound = (&'static str, f64, f64, f64);

impl Scenario {
    /// Checks that every value lies in the range that the models are good for. [`render`](crate::render) of
    /// a scenario that fails may give nonsense or not end.
    pub fn check(&self) -> Result<(), ScenarioError> {
        let mut bounds = vec![
            (
                "numbers (how many digits)",
                self.numbers.len() as f64,
                0.0,
                200.0,
            ),
            ("lead_in_s", self.lead_in_s, 0.0, 3_600.0),
            ("tail_s", self.tail_s, 0.0, 3_600.0),
        ];
        bounds.extend(
            self.numbers
                .iter()
                .map(|&n| ("numbers", n.into(), 1.0, 20.0)),
        );
        bounds.extend(self.pauses_s.iter().map(|&p| ("pauses_s", p, 0.05, 60.0)));
        bounds.extend(
            self.other_openings_s
                .iter()
                .flatten()
                .map(|&t| ("other_openings_s", t, 0.0, 10_000.0)),
        );
        dial_bounds(&self.dial, &mut bounds);
        coupling_bounds(
            &self.probe.coupling,
            0.4 * self.recorder.sample_rate_hz,
            &mut bounds,
        );
        recorder_bounds(&self.recorder, &mut bounds);
        if let Line::Loop(circuit) = &self.line {
            loop_bounds(circuit, &mut bounds);
        }
        self.sounds
            .iter()
            .for_each(|sound| sound_bounds(sound, &mut bounds));
        bounds.into_iter().try_for_each(within)
    }
}

/// Written so that a value which is no number fails.
fn within((field, value, least, most): Bound) -> Result<(), ScenarioError> {
    if value >= least && value <= most {
        Ok(())
    } else {
        Err(ScenarioError {
            field,
            value,
            least,
            most,
        })
    }
}

fn dial_bounds(dial: &Dial, bounds: &mut Vec<Bound>) {
    bounds.extend([
        ("dial.speed_pps", dial.speed_pps, 1.0, 50.0),
        ("dial.percent_break", dial.percent_break, 5.0, 95.0),
        (
            "dial.slow_down_percent",
            dial.slow_down_percent,
            -80.0,
            80.0,
        ),
        ("dial.jitter_percent", dial.jitter_percent, 0.0, 10.0),
        ("dial.idle_pulses", dial.idle_pulses as f64, 0.0, 5.0),
        ("dial.winding_pulses", dial.winding_pulses as f64, 0.0, 10.0),
        ("dial.make_level_sag", dial.make_level_sag, 0.0, 0.9),
    ]);
    if let Some(chatter) = dial.chatter {
        bounds.push(("dial.chatter.total_s", chatter.total_s, 0.0, 0.02));
        bounds.push((
            "dial.chatter.reopenings",
            chatter.reopenings as f64,
            1.0,
            8.0,
        ));
    }
    if let Some(bounce) = dial.opening_bounce {
        bounds.push(("dial.opening_bounce.after_s", bounce.after_s, 1e-6, 0.005));
        bounds.push((
            "dial.opening_bounce.closure_s",
            bounce.closure_s,
            1e-6,
            0.002,
        ));
    }
    if let Some(split) = dial.split_break {
        bounds.push(("dial.split_break.closure_s", split.closure_s, 1e-6, 0.015));
    }
    if let Some(cut) = dial.cut_short {
        bounds.push(("dial.cut_short.pulses", cut.pulses as f64, 1.0, 10.0));
    }
    if let Some(late) = dial.late_reopening {
        bounds.push(("dial.late_reopening.after_s", late.after_s, 1e-6, 0.015));
        bounds.push(("dial.late_reopening.opening_s", late.opening_s, 1e-6, 0.015));
    }
    if let Some(off_normal) = dial.off_normal {
        bounds.push((
            "dial.off_normal.level_change",
            off_normal.level_change,
            -0.5,
            1.0,
        ));
        bounds.push((
            "dial.off_normal.winding_s",
            off_normal.winding_s,
            0.01,
            10.0,
        ));
        bounds.push((
            "dial.off_normal.lost_motion_s",
            off_normal.lost_motion_s,
            0.001,
            5.0,
        ));
    }
}

fn coupling_bounds(coupling: &Coupling, most_hz: f64, bounds: &mut Vec<Bound>) {
    const LEAST_HZ: f64 = 0.001;
    match *coupling {
        Coupling::Direct => {}
        Coupling::Capacitor { corner_hz } => {
            bounds.push(("probe.coupling.corner_hz", corner_hz, LEAST_HZ, most_hz))
        }
        Coupling::Transformer { corner_hz, quality } => {
            bounds.push(("probe.coupling.corner_hz", corner_hz, LEAST_HZ, most_hz));
            bounds.push(("probe.coupling.quality", quality, 0.1, 5.0));
        }
        Coupling::TwoCorners {
            first_hz,
            second_hz,
        } => {
            bounds.push(("probe.coupling.first_hz", first_hz, LEAST_HZ, most_hz));
            bounds.push(("probe.coupling.second_hz", second_hz, LEAST_HZ, most_hz));
        }
    }
}

fn recorder_bounds(recorder: &Recorder, bounds: &mut Vec<Bound>) {
    let channels = recorder.channels as f64;
    bounds.extend([
        (
            "recorder.sample_rate_hz",
            recorder.sample_rate_hz,
            4_000.0,
            768_000.0,
        ),
        (
            "recorder.clock_ppm",
            recorder.clock_ppm,
            -10_000.0,
            10_000.0,
        ),
        ("recorder.level", recorder.level, 1e-6, 1.0),
        (
            "recorder.noise_db",
            recorder.noise_db.unwrap_or(0.0),
            -40.0,
            200.0,
        ),
        ("recorder.wander", recorder.wander, 0.0, 100.0),
        (
            "recorder.clipping.at",
            recorder.clipping.map_or(1.0, |c| c.at),
            0.001,
            100.0,
        ),
        ("recorder.channels", channels, 1.0, 2.0),
        (
            "recorder.wanted_channel",
            recorder.wanted_channel as f64,
            1.0,
            channels.max(1.0),
        ),
    ]);
    if let Some(hum) = &recorder.hum {
        bounds.push(("recorder.hum.mains_hz", hum.mains_hz, 10.0, 400.0));
        bounds.extend(
            hum.amplitudes
                .iter()
                .map(|&a| ("recorder.hum.amplitudes", a, 0.0, 100.0)),
        );
    }
}

fn loop_bounds(circuit: &Loop, bounds: &mut Vec<Bound>) {
    bounds.extend([
        ("line.loop.supply_v", circuit.supply_v, 0.1, 200.0),
        ("line.loop.feed_ohm", circuit.feed_ohm, 1.0, 100_000.0),
        ("line.loop.feed_henry", circuit.feed_henry, 0.0, 100.0),
        (
            "line.loop.core_loss_ohm",
            circuit.core_loss_ohm.unwrap_or(1e6),
            100.0,
            1e9,
        ),
        ("line.loop.line_ohm", circuit.line_ohm, 0.0, 100_000.0),
        ("line.loop.line_farad", circuit.line_farad, 0.0, 10e-6),
        ("line.loop.set_ohm", circuit.set_ohm, 5.0, 10_000.0),
    ]);
    if let Some(quench) = circuit.quench {
        bounds.push(("line.loop.quench.ohm", quench.ohm, 1.0, 10_000.0));
        bounds.push(("line.loop.quench.farad", quench.farad, 0.0, 20e-6));
    }
    if let Some(ringer) = circuit.ringer {
        bounds.push(("line.loop.ringer.ohm", ringer.ohm, 1.0, 100_000.0));
        bounds.push(("line.loop.ringer.henry", ringer.henry, 0.01, 1_000.0));
        bounds.push(("line.loop.ringer.farad", ringer.farad, 1e-9, 100e-6));
    }
}

fn sound_bounds(sound: &Sound, bounds: &mut Vec<Bound>) {
    bounds.extend([
        ("sounds.level", sound.level, 0.0, 1_000.0),
        ("sounds.start_s", sound.start_s.unwrap_or(0.0), 0.0, 1e6),
        ("sounds.end_s", sound.end_s.unwrap_or(0.0), 0.0, 1e6),
    ]);
    if let SoundKind::Tones {
        cadence: Some(cadence),
        ..
    }
    | SoundKind::Ringing {
        cadence: Some(cadence),
        ..
    } = &sound.kind
    {
        bounds.push(("sounds.cadence.sound_s", cadence.sound_s, 0.001, 60.0));
        bounds.push(("sounds.cadence.silence_s", cadence.silence_s, 0.0, 60.0));
    }
    match &sound.kind {
        SoundKind::Clicks { per_second } => {
            bounds.push(("sounds.clicks.per_second", *per_second, 0.0, 1_000.0))
        }
        SoundKind::Tones { frequencies_hz, .. } => {
            bounds.push((
                "sounds.tones.frequencies_hz (how many)",
                frequencies_hz.len() as f64,
                1.0,
                100.0,
            ));
            bounds.extend(
                frequencies_hz
                    .iter()
                    .map(|&f| ("sounds.tones.frequencies_hz", f, 0.0, 400_000.0)),
            );
        }
        SoundKind::Ringing { frequency_hz, .. } => {
            bounds.push(("sounds.ringing.frequency_hz", *frequency_hz, 0.0, 1_000.0));
        }
        SoundKind::ModulatedTone {
            frequency_hz,
            modulation_hz,
        } => {
            bounds.push((
                "sounds.modulated-tone.frequency_hz",
                *frequency_hz,
                0.0,
                400_000.0,
            ));
            bounds.push((
                "sounds.modulated-tone.modulation_hz",
                *modulation_hz,
                0.0,
                400_000.0,
            ));
        }
        SoundKind::Speech | SoundKind::DualTone { .. } | SoundKind::Music | SoundKind::Noise => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::families;

    #[test]
    fn everything_that_the_families_and_demos_draw_can_be_rendered() {
        let drawn = families::singles().iter().chain(families::nothing());
        for family in drawn {
            for index in 0..50 {
                assert_eq!(
                    families::draw(family, index).check(),
                    Ok(()),
                    "{}",
                    family.name
                );
            }
        }
        (0..200).for_each(|index| assert_eq!(families::mixed(index).check(), Ok(()), "{index}"));
    }

    #[test]
    fn a_value_out_of_range_is_named_with_its_range() {
        let with = |dial| {
            Scenario {
                dial,
                ..Scenario::default()
            }
            .check()
            .unwrap_err()
            .to_string()
        };
        assert_eq!(
            with(Dial {
                speed_pps: 0.0,
                ..Dial::default()
            }),
            "scenario: dial.speed_pps is 0; it must lie between 1 and 50"
        );
        assert!(
            with(Dial {
                percent_break: f64::NAN,
                ..Dial::default()
            })
            .contains("dial.percent_break is NaN")
        );
        let recorder = Recorder {
            wanted_channel: 2,
            ..Recorder::default()
        };
        let error = Scenario {
            recorder,
            ..Scenario::default()
        }
        .check()
        .unwrap_err();
        assert_eq!(error.field, "recorder.wanted_channel");
        assert!(
            Scenario {
                numbers: vec![3, 0],
                ..Scenario::default()
            }
            .check()
            .is_err()
        );
    }
}
