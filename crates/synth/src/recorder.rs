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

/// Makes the recording of a scenario. The same scenario gives the same samples.
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
fn step_after_coupling(scenario: &Scenario, dialling: &Dialling, trace: &[f64], rate: f64) -> f64 {
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
