//! Families of recordings for accuracy tables: one impairment each, several at once, or nothing dialled.
//!
//! Every draw is decided by the family's name and an index alone, so a table can be made again, and sets
//! with other indices are held out.

use crate::encoding::Encoding;
use crate::random::{Random, Stream};
use crate::scenario::{
    AntiAlias, Cadence, Chatter, Clipping, Coupling, Dial, Hum, Line, Loop, OffNormal,
    OtherChannel, Probe, Quench, Recorder, Ringer, Scenario, Sound, SoundKind, Tap, Unevenness,
};

pub use crate::nothing::nothing;

/// What errors may be expected of a family.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Sharp steps.
    Sharp,
    /// Slow make, or only spikes left by a transformer.
    SlowOrTransformer,
    /// Nothing is dialled.
    Nothing,
}

/// Which measures of the truth a detector can be held to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measures {
    /// Pulses of each digit.
    pub count: bool,
    /// Pulsing speed.
    pub speed: bool,
    /// Percent break.
    pub percent_break: bool,
    /// Chatter.
    pub chatter: bool,
    /// The count may be called sure. False where the dial sends what no dial should: a careful detector
    /// may count it and still doubt. In a family in which nothing is dialled: true where no digit at all may
    /// be reported, false where one may be reported that is not sure.
    pub sure: bool,
}

/// A family of recordings that share one impairment.
pub struct Family {
    /// Name in the trade's words.
    pub name: &'static str,
    /// What errors may be expected.
    pub kind: Kind,
    /// Measures that the truth holds for.
    pub measures: Measures,
    pub(crate) impair: fn(&mut Scenario, &mut Random),
}

const ALL: Measures = Measures {
    count: true,
    speed: true,
    percent_break: true,
    chatter: false,
    sure: true,
};
const WITH_CHATTER: Measures = Measures {
    chatter: true,
    ..ALL
};
const DOUBTFUL: Measures = Measures { sure: false, ..ALL };

const fn sharp(name: &'static str, impair: fn(&mut Scenario, &mut Random)) -> Family {
    Family {
        name,
        kind: Kind::Sharp,
        measures: ALL,
        impair,
    }
}

const fn slow(name: &'static str, impair: fn(&mut Scenario, &mut Random)) -> Family {
    Family {
        name,
        kind: Kind::SlowOrTransformer,
        measures: ALL,
        impair,
    }
}

static SINGLES: [Family; 40] = [
    sharp("clean", clean),
    sharp("coupling 0.5-2 Hz", |s, r| couple(s, r, 0.5, 2.0)),
    sharp("coupling 2-8 Hz", |s, r| couple(s, r, 2.0, 8.0)),
    sharp("coupling 8-25 Hz", |s, r| couple(s, r, 8.0, 25.0)),
    sharp("coupling 25-80 Hz", |s, r| couple(s, r, 25.0, 80.0)),
    slow("transformer 100-300 Hz", |s, r| {
        transform(s, r, 100.0, 300.0)
    }),
    sharp("white noise 30 dB", |s, _| noise(s, 30.0)),
    sharp("white noise 20 dB", |s, _| noise(s, 20.0)),
    sharp("white noise 12 dB", |s, _| noise(s, 12.0)),
    sharp("white noise 6 dB", |s, _| noise(s, 6.0)),
    sharp("hum", |s, r| hum(s, r, 0.5)),
    sharp("dial tone", |s, r| dial_tone(s, r, 0.3)),
    Family {
        name: "chatter 0.5-4 ms",
        kind: Kind::Sharp,
        measures: WITH_CHATTER,
        impair: |s, r| chatter(s, r, 0.004),
    },
    sharp("clipping to half the step", |s, r| clip(s, r, 0.5)),
    sharp("8 kHz mu-law", |s, _| file(s, 8_000.0, Encoding::MuLaw)),
    sharp("8 kHz A-law", |s, _| file(s, 8_000.0, Encoding::ALaw)),
    sharp("11 kHz 8-bit", |s, _| file(s, 11_025.0, Encoding::U8)),
    sharp("16 kHz", |s, _| file(s, 16_000.0, Encoding::S16)),
    sharp("22 kHz", |s, _| file(s, 22_050.0, Encoding::S16)),
    sharp("96 kHz", |s, _| file(s, 96_000.0, Encoding::S24)),
    sharp("192 kHz", |s, _| file(s, 192_000.0, Encoding::S24)),
    sharp("gentle anti-alias filter", |s, _| {
        s.recorder.anti_alias = AntiAlias::Gentle
    }),
    sharp("other channel", other_channel),
    sharp("wander", |s, r| wander(s, r, 1.0)),
    sharp("speech", |s, r| speech(s, r, 0.4)),
    sharp("clicks", |s, r| clicks(s, r, 0.8)),
    sharp("level -20 to -50 dB", low_level),
    sharp("speed 5-22 pps", |s, r| {
        s.dial.speed_pps = r.log_between(5.0, 22.0)
    }),
    sharp("percent break 35-85", |s, r| {
        s.dial.percent_break = r.between(35.0, 85.0)
    }),
    sharp("long numbers", long_number),
    sharp("off-normal steps", off_normal),
    slow("loop, direct", |s, r| {
        solved_loop(s, r, |_| Coupling::Direct)
    }),
    slow("loop through a capacitor", |s, r| {
        solved_loop(s, r, |r| capacitor(r, 1.0, 20.0))
    }),
    slow("loop through a good transformer", |s, r| {
        solved_loop(s, r, |r| transformer(r, 20.0, 80.0))
    }),
    slow("loop through a poor transformer", |s, r| {
        solved_loop(s, r, |r| transformer(r, 100.0, 300.0))
    }),
    sharp("bench supply without relays", bench_supply),
    Family {
        name: "missing pulse",
        kind: Kind::Sharp,
        measures: DOUBTFUL,
        impair: missing_pulse,
    },
    sharp("extra pulse", |s, _| s.dial.extra_pulse = true),
    sharp("uneven pulses", uneven),
    sharp("slowing down", |s, r| {
        s.dial.slow_down_percent = r.between(5.0, 20.0)
    }),
];

/// Families with one impairment each.
pub fn singles() -> &'static [Family] {
    &SINGLES
}

/// Draws a scenario of a family; family and index decide it.
pub fn draw(family: &Family, index: u64) -> Scenario {
    let mut random = Random::new(name_seed(family.name), Stream::Draw, index);
    let mut scenario = if family.kind == Kind::Nothing {
        Scenario::default()
    } else {
        ordinary(&mut random)
    };
    (family.impair)(&mut scenario, &mut random);
    scenario
}

/// Draws a scenario with two to five impairments at once.
pub fn mixed(index: u64) -> Scenario {
    let mut random = Random::new(name_seed("mixed"), Stream::Draw, index);
    let mut scenario = ordinary(&mut random);
    let mut kinds: Vec<_> = MIXED.to_vec();
    for _ in 0..random.whole(2, 5) {
        let chosen = random.whole(0, kinds.len() - 1);
        (kinds.swap_remove(chosen))(&mut scenario, &mut random);
    }
    scenario
}

/// What errors may be expected of a scenario.
pub fn kind_of(scenario: &Scenario) -> Kind {
    let relays = matches!(&scenario.line, Line::Loop(circuit) if circuit.feed_henry > 0.0);
    let spikes = match scenario.probe.coupling {
        Coupling::Direct | Coupling::Capacitor { .. } => false,
        Coupling::Transformer { .. } | Coupling::TwoCorners { .. } => true,
    };
    if scenario.numbers.is_empty() {
        Kind::Nothing
    } else if relays || spikes {
        Kind::SlowOrTransformer
    } else {
        Kind::Sharp
    }
}

type Impairment = fn(&mut Scenario, &mut Random);

/// What `mixed` chooses from; milder than alone where several of them together would leave nothing.
static MIXED: [Impairment; 16] = [
    |s, r| couple(s, r, 0.5, 80.0),
    |s, r| transform(s, r, 100.0, 300.0),
    |s, r| noise(s, r.between(14.0, 35.0)),
    |s, r| hum(s, r, 0.3),
    |s, r| dial_tone(s, r, 0.2),
    |s, r| chatter(s, r, 0.003),
    |s, r| clip(s, r, 0.6),
    |s, r| file_of_a_phone(s, r),
    other_channel,
    |s, r| wander(s, r, 0.5),
    |s, r| speech(s, r, 0.2),
    |s, r| clicks(s, r, 0.4),
    low_level,
    off_normal,
    |s, r| solved_loop_as_coupled(s, r),
    uneven,
];

/// FNV-1a, so that the draw depends on the name and not on the family's place in a list.
fn name_seed(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// A dial from healthy to in need of care, on an ordinary recorder.
fn ordinary(random: &mut Random) -> Scenario {
    Scenario {
        seed: random.seed(),
        dial: ordinary_dial(random),
        numbers: number(random, 2, 4),
        pauses_s: (0..4).map(|_| random.between(0.45, 1.1)).collect(),
        probe: Probe {
            coupling: capacitor_or_direct(random),
            inverted: random.chance(0.5),
        },
        recorder: Recorder {
            sample_rate_hz: random.pick(&[44_100.0, 48_000.0]),
            level: random.between(0.15, 0.6),
            noise_db: Some(random.between(50.0, 65.0)),
            encoding: random.pick(&[Encoding::S16, Encoding::S24, Encoding::F32]),
            ..Recorder::default()
        },
        lead_in_s: random.between(0.6, 1.2),
        tail_s: random.between(0.6, 0.9),
        ..Scenario::default()
    }
}

fn ordinary_dial(random: &mut Random) -> Dial {
    Dial {
        speed_pps: random.between(7.5, 13.0),
        percent_break: random.between(52.0, 72.0),
        slow_down_percent: random.between(-1.0, 6.0),
        jitter_percent: random.between(0.0, 0.4),
        ..Dial::default()
    }
}

/// Digits of mostly four pulses and more, so that most have every measure.
fn number(random: &mut Random, fewest: usize, most: usize) -> Vec<u8> {
    let digits = random.whole(fewest, most);
    let mut pulses = || {
        if random.chance(0.2) {
            random.whole(1, 3)
        } else {
            random.whole(4, 10)
        }
    };
    (0..digits).map(|_| pulses() as u8).collect()
}

fn capacitor_or_direct(random: &mut Random) -> Coupling {
    if random.chance(0.3) {
        Coupling::Direct
    } else {
        capacitor(random, 0.5, 20.0)
    }
}

fn capacitor(random: &mut Random, from_hz: f64, to_hz: f64) -> Coupling {
    Coupling::Capacitor {
        corner_hz: random.log_between(from_hz, to_hz),
    }
}

/// Critically to slightly underdamped, or two real poles of which the higher lies in the range.
fn transformer(random: &mut Random, from_hz: f64, to_hz: f64) -> Coupling {
    let corner_hz = random.log_between(from_hz, to_hz);
    if random.chance(0.3) {
        return Coupling::TwoCorners {
            first_hz: corner_hz,
            second_hz: corner_hz * random.between(0.1, 0.7),
        };
    }
    Coupling::Transformer {
        corner_hz,
        quality: random.between(0.5, 0.8),
    }
}

fn clean(scenario: &mut Scenario, _: &mut Random) {
    scenario.probe.coupling = Coupling::Direct;
    scenario.recorder.noise_db = None;
    scenario.recorder.encoding = Encoding::F32;
}

fn couple(scenario: &mut Scenario, random: &mut Random, from_hz: f64, to_hz: f64) {
    scenario.probe.coupling = capacitor(random, from_hz, to_hz);
}

fn transform(scenario: &mut Scenario, random: &mut Random, from_hz: f64, to_hz: f64) {
    scenario.probe.coupling = transformer(random, from_hz, to_hz);
}

fn noise(scenario: &mut Scenario, noise_db: f64) {
    scenario.recorder.noise_db = Some(noise_db);
}

fn hum(scenario: &mut Scenario, random: &mut Random, most: f64) {
    let mains_hz = random.pick(&[50.0, 60.0]) * (1.0 + random.between(-1e-3, 1e-3));
    let fundamental = most * random.between(0.2, 1.0);
    // Odd harmonics are the stronger ones in what leaks from the mains.
    let harmonic = |k: usize, random: &mut Random| {
        let usual = if k % 2 == 1 { 0.4 } else { 0.15 };
        fundamental * usual * random.between(0.0, 1.0) / (k as f64).sqrt()
    };
    let last = random.whole(1, 11);
    let mut amplitudes = vec![fundamental];
    amplitudes.extend((2..=last).map(|k| harmonic(k, random)));
    scenario.recorder.hum = Some(Hum {
        mains_hz,
        amplitudes,
    });
}

/// Dial tones of different countries.
pub(crate) fn any_dial_tone(random: &mut Random) -> SoundKind {
    let frequencies_hz = match random.whole(0, 3) {
        0 => vec![350.0, 440.0],
        1 => vec![425.0],
        2 => vec![33.0, 66.0, 133.0],
        _ => {
            return SoundKind::ModulatedTone {
                frequency_hz: 400.0,
                modulation_hz: 33.0,
            };
        }
    };
    SoundKind::Tones {
        frequencies_hz,
        cadence: None,
    }
}

fn dial_tone(scenario: &mut Scenario, random: &mut Random, most: f64) {
    let kind = any_dial_tone(random);
    let level = random.between(0.05, most);
    scenario.sounds.push(Sound {
        kind,
        level,
        start_s: None,
        end_s: None,
        until_first_break: true,
        while_closed: false,
    });
}

fn chatter(scenario: &mut Scenario, random: &mut Random, most_s: f64) {
    // At most a third of the make, so that a fast dial keeps its makes.
    let make_s = (1.0 - scenario.dial.percent_break / 100.0) / scenario.dial.speed_pps;
    let total_s = random.log_between(0.0005, most_s).min(make_s / 3.0);
    scenario.dial.chatter = Some(Chatter {
        total_s,
        reopenings: random.whole(1, 4),
    });
}

fn clip(scenario: &mut Scenario, random: &mut Random, least: f64) {
    scenario.recorder.clipping = Some(Clipping {
        at: random.between(least, 0.95),
    });
}

fn file(scenario: &mut Scenario, sample_rate_hz: f64, encoding: Encoding) {
    scenario.recorder.sample_rate_hz = sample_rate_hz;
    scenario.recorder.encoding = encoding;
}

fn file_of_a_phone(scenario: &mut Scenario, random: &mut Random) {
    let encodings = [Encoding::MuLaw, Encoding::ALaw, Encoding::S16];
    file(scenario, 8_000.0, random.pick(&encodings));
}

fn other_channel(scenario: &mut Scenario, random: &mut Random) {
    scenario.recorder.channels = 2;
    scenario.recorder.wanted_channel = random.whole(1, 2);
    scenario.recorder.other_channel = match random.whole(0, 3) {
        0 => OtherChannel::Silent,
        1 => OtherChannel::Speech(random.between(0.1, 0.9)),
        2 => OtherChannel::Hum(random.between(0.05, 0.7)),
        _ => OtherChannel::Noise(random.log_between(0.001, 0.2)),
    };
}

fn wander(scenario: &mut Scenario, random: &mut Random, most: f64) {
    scenario.recorder.wander = most * random.between(0.3, 1.0);
}

fn always(kind: SoundKind, level: f64) -> Sound {
    Sound {
        kind,
        level,
        start_s: None,
        end_s: None,
        until_first_break: false,
        while_closed: false,
    }
}

fn speech(scenario: &mut Scenario, random: &mut Random, most: f64) {
    scenario
        .sounds
        .push(always(SoundKind::Speech, most * random.between(0.25, 1.0)));
}

fn clicks(scenario: &mut Scenario, random: &mut Random, most: f64) {
    let kind = SoundKind::Clicks {
        per_second: random.between(1.0, 4.0),
    };
    scenario
        .sounds
        .push(always(kind, most * random.between(0.25, 1.0)));
}

fn low_level(scenario: &mut Scenario, random: &mut Random) {
    scenario.recorder.level = random.log_between(0.00316, 0.1);
    scenario.recorder.encoding = match scenario.recorder.encoding {
        Encoding::U8 => Encoding::S16,
        other => other,
    };
}

fn long_number(scenario: &mut Scenario, random: &mut Random) {
    scenario.numbers = number(random, 10, 15);
    scenario.pauses_s = (0..15).map(|_| random.between(0.2, 0.7)).collect();
    // A pause is told from a make by its length: 180 ms or 1.7 periods. The makes of slow dials come near.
    scenario.dial.speed_pps = random.between(9.0, 13.0);
}

fn off_normal(scenario: &mut Scenario, random: &mut Random) {
    let sign = if random.chance(0.8) { 1.0 } else { -1.0 };
    scenario.dial.off_normal = Some(OffNormal {
        level_change: sign * random.between(0.1, 0.2),
        winding_s: random.between(0.3, 0.8),
        lost_motion_s: random.between(0.05, 0.3),
    });
    scenario.lead_in_s = scenario.lead_in_s.max(1.0);
}

/// A loop with feed relays, as found on exchange lines.
fn any_loop(random: &mut Random) -> Loop {
    let quench = random.chance(0.6).then(|| Quench {
        ohm: 100.0,
        farad: random.log_between(0.1e-6, 2e-6),
    });
    let ringer = random.chance(0.6).then(|| Ringer {
        ohm: random.between(1_000.0, 4_000.0),
        henry: random.between(8.0, 40.0),
        farad: random.between(0.5e-6, 2e-6),
    });
    Loop {
        supply_v: 48.0,
        feed_ohm: 400.0,
        feed_henry: random.between(1.0, 2.0),
        core_loss_ohm: Some(random.log_between(8_000.0, 40_000.0)),
        line_ohm: random.between(0.0, 1_000.0),
        line_farad: random.between(0.0, 0.2e-6),
        set_ohm: random.between(50.0, 300.0),
        // Without a quench nothing but arcing, which is not modelled, would hold the voltage down.
        tap: if quench.is_some() && random.chance(0.35) {
            Tap::Line
        } else {
            Tap::Series
        },
        quench,
        ringer,
    }
}

fn solved_loop(
    scenario: &mut Scenario,
    random: &mut Random,
    coupling: impl Fn(&mut Random) -> Coupling,
) {
    scenario.line = Line::Loop(any_loop(random));
    scenario.probe.coupling = coupling(random);
}

fn solved_loop_as_coupled(scenario: &mut Scenario, random: &mut Random) {
    scenario.line = Line::Loop(any_loop(random));
}

/// A few volts through resistors, no relays and no line: what is best on the bench.
fn bench_supply(scenario: &mut Scenario, random: &mut Random) {
    scenario.line = Line::Loop(Loop {
        supply_v: random.between(4.5, 12.0),
        feed_ohm: random.between(200.0, 1_000.0),
        feed_henry: 0.0,
        line_ohm: 0.0,
        line_farad: 1e-9,
        core_loss_ohm: None,
        set_ohm: random.between(50.0, 300.0),
        ..Loop::default()
    });
}

fn missing_pulse(scenario: &mut Scenario, random: &mut Random) {
    scenario.numbers = (0..3).map(|_| random.whole(6, 10) as u8).collect();
    scenario.dial.missing_pulse = Some(random.whole(2, 3));
    scenario.dial.speed_pps = random.between(9.0, 13.0);
}

fn uneven(scenario: &mut Scenario, random: &mut Random) {
    let percent = random.between(1.5, 5.0) * if random.chance(0.5) { 1.0 } else { -1.0 };
    scenario.dial.unevenness = match random.whole(0, 3) {
        0 => Unevenness::Alternate { percent },
        1 => Unevenness::BadTooth {
            from_last: random.whole(0, 4),
            percent,
        },
        2 => Unevenness::Ripple {
            percent: percent.abs(),
            pulses: random.between(2.5, 8.0),
        },
        _ => Unevenness::FirstLong {
            percent: 2.0 * percent.abs(),
        },
    };
    scenario.dial.jitter_percent = random.between(0.0, 1.0);
}

/// On and off, as call-progress tones and ringing are.
pub(crate) fn cadence(sound_s: f64, silence_s: f64) -> Option<Cadence> {
    Some(Cadence { sound_s, silence_s })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render;

    fn is_finite_and_audible(scenario: &Scenario, name: &str) {
        let rendered = render(scenario);
        let samples = rendered.channels.iter().flatten();
        assert!(
            samples.clone().all(|x| x.is_finite() && x.abs() <= 1.0),
            "{name}"
        );
        let wanted = &rendered.channels[rendered.truth.channel - 1];
        assert!(wanted.len() > 1_000, "{name}");
        for digit in &rendered.truth.digits {
            let ordered = digit
                .breaks
                .windows(2)
                .all(|w| w[0].make_start_s + w[0].chatter_s() < w[1].break_start_s);
            assert!(
                ordered && digit.breaks.iter().all(|b| b.break_s() > 0.0),
                "{name}"
            );
        }
    }

    #[test]
    fn twenty_draws_of_every_family_render() {
        for family in singles() {
            for index in 0..20 {
                let scenario = draw(family, index);
                is_finite_and_audible(&scenario, family.name);
                assert!(!scenario.numbers.is_empty(), "{}", family.name);
            }
        }
        for index in 0..60 {
            is_finite_and_audible(&mixed(index), "mixed");
        }
    }

    #[test]
    fn a_draw_is_decided_by_family_and_index() {
        for family in singles().iter().step_by(7) {
            assert_eq!(draw(family, 3), draw(family, 3));
            assert_ne!(draw(family, 3), draw(family, 4));
            assert_eq!(render(&draw(family, 3)), render(&draw(family, 3)));
        }
    }

    #[test]
    fn names_are_unique_and_kinds_agree_with_what_is_drawn() {
        let mut names: Vec<_> = singles().iter().map(|f| f.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), singles().len());
        for family in singles() {
            for index in 0..20 {
                assert_eq!(
                    kind_of(&draw(family, index)),
                    family.kind,
                    "{} {index}",
                    family.name
                );
            }
        }
    }
}
