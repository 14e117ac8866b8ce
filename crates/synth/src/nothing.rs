//! Families of recordings in which nothing is dialled.

use crate::encoding::Encoding;
use crate::families::{Family, Kind, Measures, any_dial_tone, cadence};
use crate::random::Random;
use crate::scenario::{Coupling, Hum, Line, Recorder, Scenario, Sound, SoundKind};

/// Length of a recording, in seconds.
const LENGTH_S: f64 = 20.0;

const NONE: Measures = Measures {
    count: true,
    speed: false,
    percent_break: false,
    chatter: false,
    sure: true,
};

const fn nothing_but(name: &'static str, impair: fn(&mut Scenario, &mut Random)) -> Family {
    Family {
        name,
        kind: Kind::Nothing,
        measures: NONE,
        impair,
    }
}

/// The line really opens, or is as good as opened: a detector may count it, and must doubt.
const fn never_sure(name: &'static str, impair: fn(&mut Scenario, &mut Random)) -> Family {
    Family {
        measures: Measures {
            sure: false,
            ..NONE
        },
        ..nothing_but(name, impair)
    }
}

static NOTHING: [Family; 17] = [
    nothing_but("silence", quiet),
    nothing_but("noise alone", |s, r| only(s, r, |_| SoundKind::Noise)),
    nothing_but("speech alone", |s, r| only(s, r, |_| SoundKind::Speech)),
    nothing_but("music alone", |s, r| only(s, r, |_| SoundKind::Music)),
    nothing_but("dial tone alone", |s, r| only(s, r, any_dial_tone)),
    nothing_but("call-progress tones", |s, r| only(s, r, call_progress)),
    nothing_but("dual-tone dialling", |s, r| only(s, r, dual_tone)),
    nothing_but("ringing", |s, r| only(s, r, |r| ringing(r, false))),
    never_sure("clipped ringing", |s, r| only(s, r, |r| ringing(r, true))),
    nothing_but("10 Hz sine", |s, r| only(s, r, |_| sine(10.0))),
    nothing_but("5-22 Hz sine", |s, r| {
        only(s, r, |r| sine(r.log_between(5.0, 22.0)))
    }),
    nothing_but("clicks alone", |s, r| {
        only(s, r, |r| SoundKind::Clicks {
            per_second: r.log_between(0.5, 12.0),
        })
    }),
    nothing_but("hum alone", hum),
    nothing_but("wander alone", |s, r| {
        quiet(s, r);
        s.recorder.wander = r.between(0.3, 2.0);
    }),
    never_sure("hook-switch flashes", flashes),
    never_sure("hook-switch tapping", tapping),
    nothing_but("speech, music and clicks", jumble),
];

/// Families in which nothing is dialled.
pub fn nothing() -> &'static [Family] {
    &NOTHING
}

fn quiet(scenario: &mut Scenario, random: &mut Random) {
    *scenario = Scenario {
        seed: random.seed(),
        numbers: Vec::new(),
        lead_in_s: LENGTH_S,
        tail_s: 0.0,
        recorder: Recorder {
            sample_rate_hz: random.pick(&[8_000.0, 16_000.0, 44_100.0, 48_000.0]),
            level: random.log_between(0.02, 0.8),
            noise_db: Some(random.between(30.0, 65.0)),
            encoding: random.pick(&[Encoding::S16, Encoding::S24, Encoding::MuLaw]),
            ..Recorder::default()
        },
        ..Scenario::default()
    };
    // The line stays as it is: with the coupling settled there is no level.
    scenario.probe.coupling = Coupling::Capacitor {
        corner_hz: random.log_between(0.5, 80.0),
    };
    scenario.line = Line::Ideal;
}

fn only(scenario: &mut Scenario, random: &mut Random, kind: impl Fn(&mut Random) -> SoundKind) {
    quiet(scenario, random);
    add(scenario, kind(random), 1.0);
}

fn add(scenario: &mut Scenario, kind: SoundKind, level: f64) {
    scenario.sounds.push(Sound {
        kind,
        level,
        start_s: None,
        end_s: None,
        until_first_break: false,
        while_closed: false,
    });
}

fn sine(frequency_hz: f64) -> SoundKind {
    SoundKind::Tones {
        frequencies_hz: vec![frequency_hz],
        cadence: None,
    }
}

/// Busy, ringing, congestion and special information tones of several countries.
fn call_progress(random: &mut Random) -> SoundKind {
    let (frequencies_hz, cadence) = random.pick(&[
        (&[480.0, 620.0][..], cadence(0.5, 0.5)),
        (&[480.0, 620.0], cadence(0.25, 0.25)),
        (&[440.0, 480.0], cadence(2.0, 4.0)),
        (&[425.0], cadence(0.5, 0.5)),
        (&[425.0], cadence(0.2, 0.2)),
        (&[425.0], cadence(1.0, 4.0)),
        (&[400.0], cadence(0.375, 0.375)),
        (&[425.0], cadence(0.06, 0.04)),
        (&[950.0, 1400.0, 1800.0], cadence(0.33, 0.1)),
    ]);
    SoundKind::Tones {
        frequencies_hz: frequencies_hz.to_vec(),
        cadence,
    }
}

fn dual_tone(random: &mut Random) -> SoundKind {
    let keys: Vec<char> = "0123456789*#".chars().collect();
    SoundKind::DualTone {
        keys: (0..120).map(|_| random.pick(&keys)).collect(),
    }
}

fn ringing(random: &mut Random, clipped: bool) -> SoundKind {
    let frequency_hz = random.pick(&[
        16.667, 17.0, 20.0, 25.0, 30.0, 33.3, 50.0, 54.0, 60.0, 66.7, 68.0,
    ]);
    let cadence = random.pick(&[
        None,
        cadence(2.0, 4.0),
        cadence(1.0, 4.0),
        cadence(0.4, 0.2),
    ]);
    SoundKind::Ringing {
        frequency_hz,
        cadence,
        clipped,
    }
}

fn hum(scenario: &mut Scenario, random: &mut Random) {
    quiet(scenario, random);
    let amplitudes = (1..=11)
        .map(|k| random.between(0.0, 1.0) / f64::from(k))
        .collect();
    scenario.recorder.hum = Some(Hum {
        mains_hz: random.pick(&[49.97, 50.0, 60.0, 60.04]),
        amplitudes,
    });
}

/// A hook switch held down for longer than a dial's break, now and then.
fn flashes(scenario: &mut Scenario, random: &mut Random) {
    quiet(scenario, random);
    let mut at = random.between(0.5, 1.5);
    while at < LENGTH_S - 2.0 {
        let end = at + random.between(0.2, 0.5);
        scenario.other_openings_s.push([at, end]);
        at = end + random.between(0.6, 3.0);
    }
}

/// A hook switch rattled by hand: groups of openings of 60 to 500 ms, no two alike.
fn tapping(scenario: &mut Scenario, random: &mut Random) {
    quiet(scenario, random);
    let mut at = random.between(0.5, 1.5);
    while at < LENGTH_S - 4.0 {
        // Each opening differs from the one before by at least a third either way.
        let mut break_s = random.log_between(0.06, 0.5);
        for _ in 0..random.whole(3, 7) {
            let end = at + break_s;
            scenario.other_openings_s.push([at, end]);
            at = end + random.log_between(0.06, 0.4);
            break_s = other_length(break_s, random);
        }
        at += random.between(0.8, 2.5);
    }
}

fn other_length(break_s: f64, random: &mut Random) -> f64 {
    let factor = random.between(1.4, 3.5);
    if break_s * factor > 0.5 || (random.chance(0.5) && break_s / factor > 0.06) {
        (break_s / factor).max(0.06)
    } else {
        break_s * factor
    }
}

fn jumble(scenario: &mut Scenario, random: &mut Random) {
    only(scenario, random, |_| SoundKind::Speech);
    add(scenario, SoundKind::Music, random.between(0.1, 0.6));
    add(
        scenario,
        SoundKind::Clicks {
            per_second: random.between(0.5, 4.0),
        },
        random.between(0.2, 1.0),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::families::draw;
    use crate::render;

    #[test]
    fn nothing_is_dialled_and_every_draw_renders() {
        for family in nothing() {
            for index in 0..2 {
                let rendered = render(&draw(family, index));
                assert!(rendered.truth.digits.is_empty(), "{}", family.name);
                assert!(
                    rendered.channels[0].iter().all(|x| x.is_finite()),
                    "{}",
                    family.name
                );
                assert!(rendered.truth.duration_s > 19.0, "{}", family.name);
            }
        }
    }

    #[test]
    fn tapped_openings_differ_from_their_neighbours() {
        let family = nothing()
            .iter()
            .find(|f| f.name == "hook-switch tapping")
            .unwrap();
        for index in 0..20 {
            let openings = render(&draw(family, index)).truth.other_openings_s;
            assert!(openings.len() > 10);
            let lengths: Vec<f64> = openings.iter().map(|o| o[1] - o[0]).collect();
            assert!(lengths.iter().all(|l| (0.0599..=0.5001).contains(l)));
        }
    }
}
