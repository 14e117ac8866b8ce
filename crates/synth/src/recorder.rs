//! From a scenario to the samples of a recording.

use crate::dial::{Dialling, dialled};
use crate::encoding::Encoding;
use crate::impairment::{Sine, add_noise, impair};
use crate::random::{Random, Stream};
use crate::scenario::{Line, OtherChannel, Scenario};
use crate::sounds::{Clock, add_sounds};
use crate::speech::speech;
use crate::truth::{Polarity, Truth};
use crate::waveform::{opening_sign, rendered, true_rate_hz};

/// Largest magnitude in a recording: it is turned down where it would be larger.
const FULL: f64 = 0.98;

/// A recording and its truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Rendered {
    /// Nominal sample rate, in hertz.
    pub sample_rate_hz: f64,
    /// Encoding whose steps the samples already have.
    pub encoding: Encoding,
    /// Samples of each channel, full scale ±1, as a reader of the file would see them.
    pub channels: Vec<Vec<f32>>,
    /// What really happened.
    pub truth: Truth,
}

/// Makes the recording of a scenario. The same scenario gives the same samples. A scenario that comes from
/// outside should pass [`Scenario::check`] first.
pub fn render(scenario: &Scenario) -> Rendered {
    let dialling = dialled(scenario);
    let rate = true_rate_hz(scenario);
    let length = (dialling.duration_s * rate).round().max(0.0) as usize;
    let mut trace = rendered(scenario, &dialling, length);
    let raw_step = step_after_coupling(scenario, &dialling, &trace, rate);
    trace.iter_mut().for_each(|x| *x /= raw_step);
    let resting = trace.first().copied().unwrap_or(0.0);
    let clock = Clock {
        rate_hz: rate,
        first_break_s: first_opening_s(&dialling),
        open_s: open_s(&dialling),
        seed: scenario.seed,
    };
    add_sounds(&mut trace, &scenario.sounds, &clock);
    impair(&mut trace, resting, &scenario.recorder, rate, scenario.seed);
    let step = level(scenario, &trace);
    trace.iter_mut().for_each(|x| *x *= step);
    Rendered {
        sample_rate_hz: scenario.recorder.sample_rate_hz,
        encoding: scenario.recorder.encoding,
        channels: channels(scenario, &trace),
        truth: truth(scenario, dialling, step),
    }
}

fn open_s(dialling: &Dialling) -> Vec<[f64; 2]> {
    let breaks = dialling.digits.iter().flat_map(|digit| &digit.breaks);
    let breaks = breaks.map(|b| [b.break_start_s, b.make_start_s]);
    breaks
        .chain(dialling.other_openings_s.iter().copied())
        .collect()
}

fn first_opening_s(dialling: &Dialling) -> Option<f64> {
    let breaks = dialling
        .digits
        .iter()
        .flat_map(|d| &d.breaks)
        .map(|b| b.break_start_s);
    breaks
        .chain(dialling.other_openings_s.iter().map(|o| o[0]))
        .reduce(f64::min)
}

/// Size of an opening's step as recorded, for a settled step of 1. An ideal line's step passes every
/// coupling whole. In a solved loop the settled step may never be seen: there it is the trace's swing from
/// 0.2 ms before an opening to 3 ms after it, the median over the openings.
pub(crate) fn step_after_coupling(
    scenario: &Scenario,
    dialling: &Dialling,
    trace: &[f64],
    rate: f64,
) -> f64 {
    if scenario.line == Line::Ideal {
        return 1.0;
    }
    let mut swings: Vec<f64> = dialling
        .digits
        .iter()
        .flat_map(|d| &d.breaks)
        .map(|b| {
            swing(
                trace,
                (b.break_start_s - 0.0002) * rate,
                (b.break_start_s + 0.003) * rate,
            )
        })
        .collect();
    swings.sort_by(f64::total_cmp);
    swings
        .get(swings.len() / 2)
        .copied()
        .filter(|s| *s > 0.0)
        .unwrap_or(1.0)
}

fn swing(trace: &[f64], from: f64, to: f64) -> f64 {
    let at = |t: f64| (t.max(0.0) as usize).min(trace.len());
    let piece = &trace[at(from)..at(to)];
    let least = piece.iter().copied().fold(f64::INFINITY, f64::min);
    let most = piece.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if piece.is_empty() { 0.0 } else { most - least }
}

/// Full-scale size of the step: as asked, or what fits.
fn level(scenario: &Scenario, trace: &[f64]) -> f64 {
    let peak = trace.iter().fold(0.0, |p: f64, x| p.max(x.abs()));
    let asked = scenario.recorder.level;
    if asked * peak > FULL {
        FULL / peak
    } else {
        asked
    }
}

fn channels(scenario: &Scenario, trace: &[f64]) -> Vec<Vec<f32>> {
    let recorder = &scenario.recorder;
    let quantised = |values: &[f64]| {
        values
            .iter()
            .map(|x| recorder.encoding.quantised(*x))
            .collect::<Vec<_>>()
    };
    let wanted = quantised(trace);
    if recorder.channels < 2 {
        return vec![wanted];
    }
    let other = quantised(&other_channel(scenario, trace.len()));
    if recorder.wanted_channel == 2 {
        vec![other, wanted]
    } else {
        vec![wanted, other]
    }
}

fn other_channel(scenario: &Scenario, length: usize) -> Vec<f64> {
    let mut random = Random::new(scenario.seed, Stream::OtherChannel, 0);
    let rate = true_rate_hz(scenario);
    let mut trace = vec![0.0; length];
    match scenario.recorder.other_channel {
        OtherChannel::Silent => {}
        OtherChannel::Speech(peak) => {
            trace = speech(length, rate, &mut random);
            trace.iter_mut().for_each(|x| *x *= peak);
        }
        OtherChannel::Hum(peak) => {
            for (harmonic, share) in [(1.0, 0.6), (2.0, 0.25), (3.0, 0.15)] {
                Sine::new(50.0 * harmonic, rate, random.phase()).add_to(&mut trace, peak * share);
            }
        }
        OtherChannel::Noise(rms) => add_noise(&mut trace, rms, random),
    }
    trace
}

fn truth(scenario: &Scenario, dialling: Dialling, step: f64) -> Truth {
    let recorder = &scenario.recorder;
    Truth {
        digits: dialling.digits,
        other_openings_s: dialling.other_openings_s,
        channel: if recorder.channels < 2 {
            1
        } else {
            recorder.wanted_channel.clamp(1, 2)
        },
        polarity: if opening_sign(scenario) < 0.0 {
            Polarity::Normal
        } else {
            Polarity::Inverted
        },
        step,
        sample_rate_hz: recorder.sample_rate_hz,
        clock_ppm: recorder.clock_ppm,
        duration_s: dialling.duration_s,
        impairments: crate::truth::impairments(scenario),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{
        Clipping, Coupling, Dial, Loop, OffNormal, Probe, Recorder, Sound, SoundKind, Tap,
    };
    use approx::assert_abs_diff_eq;

    fn with(recorder: Recorder) -> Rendered {
        render(&Scenario {
            recorder,
            ..Scenario::default()
        })
    }

    /// Sample at a time, in fractions of the dial's step.
    fn at(rendered: &Rendered, t_s: f64) -> f64 {
        let sample =
            rendered.channels[rendered.truth.channel - 1][(t_s * rendered.sample_rate_hz) as usize];
        f64::from(sample) / rendered.truth.step
    }

    #[test]
    fn the_step_has_the_level_asked_for_unless_it_does_not_fit() {
        let quiet = with(Recorder {
            level: 0.02,
            ..Recorder::default()
        });
        assert_abs_diff_eq!(f64::from(quiet.channels[0][0]), 0.02, epsilon = 1e-8);
        let loud = with(Recorder {
            level: 1.5,
            ..Recorder::default()
        });
        let peak = loud.channels[0].iter().fold(0.0f32, |p, x| p.max(x.abs()));
        assert_abs_diff_eq!(peak, 0.98, epsilon = 1e-6);
        assert_abs_diff_eq!(at(&loud, 0.5), 1.0, epsilon = 1e-6);
    }

    #[test]
    fn the_dialling_is_on_the_channel_that_the_truth_says() {
        let recorder = Recorder {
            channels: 2,
            wanted_channel: 2,
            other_channel: OtherChannel::Noise(0.01),
            ..Recorder::default()
        };
        let rendered = with(recorder);
        assert_eq!((rendered.channels.len(), rendered.truth.channel), (2, 2));
        assert_abs_diff_eq!(at(&rendered, 0.5), 1.0, epsilon = 1e-6);
        let other = &rendered.channels[0];
        let rms =
            (other.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / other.len() as f64).sqrt();
        // Standard error of an rms of 130 000 samples: 0.2 %.
        assert_abs_diff_eq!(rms, 0.01, epsilon = 1e-4);
    }

    #[test]
    fn overload_keeps_what_lies_near_the_resting_level() {
        let rendered = with(Recorder {
            clipping: Some(Clipping { at: 0.6 }),
            ..Recorder::default()
        });
        assert_abs_diff_eq!(at(&rendered, 0.5), 1.0, epsilon = 1e-6);
        // In the middle of the first break.
        assert_abs_diff_eq!(at(&rendered, 1.03), 0.4, epsilon = 1e-6);
    }

    #[test]
    fn the_make_level_sags_to_what_is_left_at_the_last_make() {
        let scenario = Scenario {
            dial: Dial {
                make_level_sag: 0.3,
                ..Dial::default()
            },
            ..Scenario::default()
        };
        let rendered = render(&scenario);
        // In the middle of the makes after the first and the last pulse, and long before.
        assert_abs_diff_eq!(at(&rendered, 0.5), 1.0, epsilon = 1e-6);
        assert_abs_diff_eq!(at(&rendered, 1.08), 1.0, epsilon = 1e-6);
        assert_abs_diff_eq!(at(&rendered, 1.98), 0.7, epsilon = 1e-6);
    }

    #[test]
    fn a_sound_through_the_contacts_is_silent_while_they_are_open() {
        let scenario = Scenario {
            sounds: vec![Sound {
                kind: SoundKind::Noise,
                level: 0.2,
                start_s: None,
                end_s: None,
                until_first_break: false,
                while_closed: true,
            }],
            ..Scenario::default()
        };
        let rendered = render(&scenario);
        let rms = |from_s: f64, level: f64| {
            let values =
                (0..400).map(|n| (at(&rendered, from_s + f64::from(n) / 48_000.0) - level).powi(2));
            (values.sum::<f64>() / 400.0).sqrt()
        };
        assert!(rms(1.03, 0.0) < 1e-6 && rms(1.08, 1.0) > 0.01 && rms(0.5, 1.0) > 0.01);
    }

    #[test]
    fn off_normal_contacts_step_the_closed_level() {
        let off_normal = Some(OffNormal {
            level_change: 0.15,
            winding_s: 0.5,
            lost_motion_s: 0.2,
        });
        let scenario = Scenario {
            dial: Dial {
                off_normal,
                ..Dial::default()
            },
            ..Scenario::default()
        };
        let rendered = render(&scenario);
        let digit = &rendered.truth.digits[0];
        let wound = digit.winding_start_s.unwrap();
        let restored = digit.off_normal_restored_s.unwrap();
        assert_abs_diff_eq!(wound, 0.5, epsilon = 1e-9);
        assert_abs_diff_eq!(restored, digit.last_make_s() + 0.2, epsilon = 1e-9);
        for (t, level) in [
            (wound, 1.0 / 1.15),
            (restored + 0.02, 1.0 / 1.15),
            (wound + 0.02, 1.0),
            (1.03, 0.0),
        ] {
            assert_abs_diff_eq!(at(&rendered, t - 0.01), level, epsilon = 1e-5);
        }
    }

    #[test]
    fn polarity_is_what_an_opening_does_to_the_trace() {
        let polarity = |line, inverted| {
            let probe = Probe {
                coupling: Coupling::Capacitor { corner_hz: 2.0 },
                inverted,
            };
            let rendered = render(&Scenario {
                line,
                probe,
                ..Scenario::default()
            });
            let moves = at(&rendered, 1.03) - at(&rendered, 0.99);
            (rendered.truth.polarity, moves > 0.0)
        };
        let tapped = |tap| {
            Line::Loop(Loop {
                tap,
                feed_henry: 0.0,
                ..Loop::default()
            })
        };
        for (line, inverted, want) in [
            (Line::Ideal, false, Polarity::Normal),
            (Line::Ideal, true, Polarity::Inverted),
            (tapped(Tap::Series), false, Polarity::Normal),
            (tapped(Tap::Line), false, Polarity::Inverted),
            (tapped(Tap::Line), true, Polarity::Normal),
        ] {
            assert_eq!(polarity(line, inverted), (want, want == Polarity::Inverted));
        }
    }

    #[test]
    fn dial_tone_stops_with_the_first_break() {
        let kind = SoundKind::Tones {
            frequencies_hz: vec![425.0],
            cadence: None,
        };
        let sounds = vec![Sound {
            kind,
            level: 0.2,
            start_s: None,
            end_s: None,
            until_first_break: true,
            while_closed: false,
        }];
        let scenario = Scenario {
            sounds,
            ..Scenario::default()
        };
        let (with, without) = (render(&scenario), render(&Scenario::default()));
        let difference: Vec<f32> = with.channels[0]
            .iter()
            .zip(&without.channels[0])
            .map(|(a, b)| a - b)
            .collect();
        let peak = |from: f64, to: f64| {
            let piece = &difference[(from * 48_000.0) as usize..(to * 48_000.0) as usize];
            f64::from(piece.iter().fold(0.0f32, |p, x| p.max(x.abs()))) / with.truth.step
        };
        assert_abs_diff_eq!(peak(0.0, 0.99), 0.2, epsilon = 1e-3);
        assert!(peak(1.001, 2.0) < 1e-6);
    }

    #[test]
    fn a_fast_clock_stretches_the_recording_and_not_the_truth() {
        let fast = with(Recorder {
            clock_ppm: 200.0,
            ..Recorder::default()
        });
        let right = with(Recorder::default());
        assert_eq!(fast.truth.digits, right.truth.digits);
        let halfway = |r: &Rendered| {
            r.channels[0]
                .iter()
                .position(|x| f64::from(*x) < 0.2)
                .unwrap()
        };
        // First break at 1 s: 48 000 samples by a right clock, 9.6 more by a fast one.
        assert_eq!((halfway(&right), halfway(&fast)), (48_001, 48_010));
    }

    #[test]
    fn another_seed_gives_other_noise_and_the_same_seed_the_same() {
        let noisy = |seed| {
            let recorder = Recorder {
                noise_db: Some(30.0),
                ..Recorder::default()
            };
            render(&Scenario {
                seed,
                recorder,
                ..Scenario::default()
            })
        };
        assert_eq!(noisy(4), noisy(4));
        assert_ne!(noisy(4).channels, noisy(5).channels);
    }
}
