//! Laws that hold for every recording, whatever is in it.

mod support;

use edges::{Detector, Direction, Doubt, Polarity, Trace, Train};
use proptest::prelude::*;
use support::{clean_digits, fixed, measured};
use synth::families::{self, Family};
use synth::{
    Coupling, Dial, DigitTruth, Encoding, Hum, Probe, Recorder, Rendered, Scenario, Sound,
    SoundKind, SplitBreak,
};

/// Instants of every train, in samples.
fn instants(trace: &Trace) -> Vec<Vec<f64>> {
    let of_train = |train: &Train| {
        let edges = train.edges.iter();
        edges.map(|e| e.instant_s * trace.sample_rate_hz).collect()
    };
    trace.trains.iter().map(of_train).collect()
}

/// Standard uncertainty of an edge, in seconds: its own and what its kind shares.
fn deviation_s(train: &Train, edge: usize) -> f64 {
    let edge = &train.edges[edge];
    let common_s2 = match edge.direction {
        Direction::Opening => train.opening_common_s2,
        Direction::Closing => train.closing_common_s2,
    };
    (edge.variance_s2 + common_s2).sqrt()
}

fn family(name: &str) -> &'static Family {
    let found = families::singles().iter().find(|f| f.name == name);
    found.unwrap_or_else(|| panic!("no family {name}"))
}

/// Two short digits of an ordinary dial with some noise, through a capacitor or none, at a low rate.
fn ordinary_numbers() -> impl Strategy<Value = Scenario> {
    (
        7.0..14.0f64,
        45.0..75.0f64,
        prop::collection::vec(3u8..=6, 2),
        prop::option::of(0.5..20.0f64),
        25.0..60.0f64,
        any::<u64>(),
    )
        .prop_map(
            |(speed_pps, percent_break, numbers, corner_hz, noise_db, seed)| Scenario {
                seed,
                dial: Dial {
                    speed_pps,
                    percent_break,
                    jitter_percent: 0.3,
                    ..Dial::default()
                },
                numbers,
                probe: Probe {
                    coupling: corner_hz.map_or(Coupling::Direct, |corner_hz| Coupling::Capacitor {
                        corner_hz,
                    }),
                    inverted: seed % 2 == 1,
                },
                recorder: Recorder {
                    sample_rate_hz: 16_000.0,
                    noise_db: Some(noise_db),
                    ..Recorder::default()
                },
                lead_in_s: 1.5,
                ..Scenario::default()
            },
        )
}

proptest! {
    #![proptest_config(fixed(1, 8))]

    /// A volume control does not move a contact. By a power of two it does not even round a sample: every
    /// step of the arithmetic is the same but for its exponent, so the instants are the same to the bit.
    #[test]
    fn gain_of_a_power_of_two_changes_no_bit_of_an_instant(scenario in ordinary_numbers(), halvings in 1i32..6) {
        let rendered = synth::render(&scenario);
        let samples = &rendered.channels[0];
        let quieter: Vec<f32> = samples.iter().map(|x| x * 2f32.powi(-halvings)).collect();
        let before = measured(samples, rendered.sample_rate_hz);
        let after = measured(&quieter, rendered.sample_rate_hz);
        prop_assert!(!before.trains.is_empty());
        prop_assert_eq!(instants(&before), instants(&after));
        for (before, after) in before.trains.iter().zip(&after.trains) {
            prop_assert_eq!(after.polarity, before.polarity);
            prop_assert_eq!(&after.doubts, &before.doubts);
        }
    }

    /// Neither volume nor a direct voltage under the signal moves a contact. What is left is the rounding of
    /// samples to 24 bits, at most 2^-25 of full scale each. An instant moves by about 1.1 r samples for
    /// noise of r of the step (Cramer-Rao); fits that end when they gain little may stop elsewhere, which a
    /// thousandth of a sample, a tenth of the stated uncertainty of the sharpest step, leaves room for.
    #[test]
    fn gain_and_offset_change_no_timing(
        scenario in ordinary_numbers(),
        gain in 0.1..1.2f32,
        offset in -0.4..0.4f32,
    ) {
        let rendered = synth::render(&scenario);
        let samples = &rendered.channels[0];
        let moved: Vec<f32> = samples.iter().map(|x| x * gain + offset).collect();
        let before = measured(samples, rendered.sample_rate_hz);
        let after = measured(&moved, rendered.sample_rate_hz);
        let rounding = 2f64.powi(-25) / (rendered.truth.step * f64::from(gain));
        let tolerance = 0.001 + 5.0 * 1.1 * rounding;
        let (before, after) = (instants(&before), instants(&after));
        prop_assert_eq!(before.len(), rendered.truth.digits.len());
        prop_assert_eq!(before.len(), after.len());
        for (before, after) in before.iter().zip(&after) {
            prop_assert_eq!(before.len(), after.len());
            for (before, after) in before.iter().zip(after) {
                let apart = after - before;
                prop_assert!(apart.abs() < tolerance, "{apart} of {tolerance} samples apart at {before}");
            }
        }
    }

    /// Changing the leads over turns the signal round and nothing else. Negation is exact, so all but
    /// polarity and levels stays to the bit.
    #[test]
    fn inversion_swaps_only_the_polarity(scenario in ordinary_numbers()) {
        let rendered = synth::render(&scenario);
        let samples = &rendered.channels[0];
        let turned: Vec<f32> = samples.iter().map(|x| -x).collect();
        let before = measured(samples, rendered.sample_rate_hz);
        let after = measured(&turned, rendered.sample_rate_hz);
        prop_assert_eq!(instants(&before), instants(&after));
        prop_assert!(!before.trains.is_empty());
        for (before, after) in before.trains.iter().zip(&after.trains) {
            let swapped = match before.polarity {
                Polarity::Normal => Polarity::Inverted,
                Polarity::Inverted => Polarity::Normal,
            };
            prop_assert_eq!(after.polarity, swapped);
            prop_assert_eq!(&after.doubts, &before.doubts);
            prop_assert_eq!(&after.reversals, &before.reversals);
            prop_assert_eq!(after.step, before.step);
            for (before, after) in before.edges.iter().zip(&after.edges) {
                prop_assert_eq!(after.direction, before.direction);
                prop_assert_eq!(after.variance_s2, before.variance_s2);
                prop_assert_eq!(after.level_before, -before.level_before);
                prop_assert_eq!(after.level_after, -before.level_after);
            }
        }
    }

    /// A recorder started some samples later sees the same samples under other numbers. The coarse stage
    /// may cut its blocks elsewhere and so move the window of a fit by a block, which exchanges a few samples
    /// of noise at its ends, far from the step: an instant stays within its own standard deviation.
    #[test]
    fn a_later_start_shifts_all_instants_alike(scenario in ordinary_numbers(), later in 1usize..12_000) {
        let rendered = synth::render(&scenario);
        let (samples, rate) = (&rendered.channels[0], rendered.sample_rate_hz);
        let whole = measured(samples, rate);
        let shorter = measured(&samples[later..], rate);
        prop_assert_eq!(whole.trains.len(), rendered.truth.digits.len());
        prop_assert_eq!(whole.trains.len(), shorter.trains.len());
        for (train, moved) in whole.trains.iter().zip(&shorter.trains) {
            prop_assert_eq!(train.edges.len(), moved.edges.len());
            for (i, (edge, shifted)) in train.edges.iter().zip(&moved.edges).enumerate() {
                let apart_s = shifted.instant_s + later as f64 / rate - edge.instant_s;
                let deviation_s = deviation_s(train, i);
                prop_assert!(apart_s.abs() < deviation_s, "{apart_s} s apart, deviation {deviation_s} s");
            }
        }
    }
}

/// Pushes the samples in blocks of these sizes, over and over.
fn in_blocks(samples: &[f32], rate_hz: f64, sizes: &[usize]) -> Trace {
    let mut detector = Detector::new(rate_hz);
    let mut rest = samples;
    for &size in sizes.iter().cycle() {
        if rest.is_empty() {
            break;
        }
        let (block, after) = rest.split_at(size.min(rest.len()));
        detector.push(block);
        rest = after;
    }
    detector.finish()
}

/// Two numbers far apart: several windows of 12 s follow one another, one of them without dialling.
fn two_numbers_far_apart() -> Rendered {
    synth::render(&Scenario {
        numbers: vec![3, 7, 10, 2, 9],
        pauses_s: vec![0.7, 0.9, 26.0, 0.8],
        recorder: Recorder {
            sample_rate_hz: 8_000.0,
            noise_db: Some(40.0),
            ..Recorder::default()
        },
        // The first window ends inside the second digit.
        lead_in_s: 10.4,
        ..Scenario::default()
    })
}

/// A damaged file may hold anything. What is no number counts as silence, and spoils nothing else.
#[test]
fn samples_that_are_no_numbers_count_as_silence() {
    let rendered = two_numbers_far_apart();
    let rate = rendered.sample_rate_hz;
    let mut samples = rendered.channels[0].clone();
    let clean = measured(&samples, rate);
    let wild = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX];
    for (sample, &value) in samples[2000..].iter_mut().zip(&wild) {
        *sample = value;
    }
    samples.push(f32::NAN);
    let trace = measured(&samples, rate);
    assert!(trace.rms.is_finite() && trace.peak < 10.0);
    let bounded = |v: &Vec<f32>| v.iter().all(|x| x.abs() < 10.0);
    assert!(bounded(&trace.overview.low) && bounded(&trace.overview.high));
    assert_eq!(instants(&trace), instants(&clean));
}

/// A pulse that is missing leaves a hole, and no pause: what comes after it is part of the same digit, for all but the slowest dials
/// and whatever its percent break, though a digit is not waited for longer than it needs.
#[test]
fn a_missing_pulse_ends_no_digit() {
    for speed_pps in [6.6, 7.0, 8.5, 10.0, 13.0, 17.0, 22.0] {
        for percent_break in [36.0, 50.0, 62.0, 75.0, 84.0] {
            let mut scenario = Scenario {
                numbers: vec![7, 9],
                pauses_s: vec![1.2],
                ..Scenario::default()
            };
            scenario.dial.speed_pps = speed_pps;
            scenario.dial.percent_break = percent_break;
            scenario.dial.missing_pulse = Some(4);
            scenario.recorder.sample_rate_hz = 8_000.0;
            scenario.recorder.noise_db = Some(35.0);
            let rendered = synth::render(&scenario);
            let trace = measured(&rendered.channels[0], rendered.sample_rate_hz);
            let pulses: Vec<usize> = trace.trains.iter().map(|t| t.edges.len() / 2).collect();
            assert_eq!(pulses, [6, 8], "{speed_pps} pps, {percent_break} %");
        }
    }
}

/// Half a second that is held in the middle of a break leaves half a pulse before the rest of the digit, which may then be read
/// either way. What the line has shown before decides: the rest is told, and not sure.
#[test]
fn what_a_loss_leaves_of_a_digit_is_told() {
    let rendered = synth::render(&Scenario {
        numbers: vec![5, 10],
        pauses_s: vec![1.6],
        recorder: Recorder {
            noise_db: Some(45.0),
            ..Recorder::default()
        },
        ..Scenario::default()
    });
    let rate = rendered.sample_rate_hz;
    let second = &rendered.truth.digits[1].breaks[1];
    let at = (0.5 * rate * (second.break_start_s + second.make_start_s)) as usize;
    let (before, after) = rendered.channels[0].split_at(at);
    let mut detector = Detector::new(rate);
    detector.push(before);
    detector.gap();
    detector.push(&vec![before[at - 1]; (0.5 * rate) as usize]);
    detector.push(after);
    let trace = detector.finish();
    let told = trace
        .trains
        .iter()
        .map(|t| (t.edges.len() / 2, t.doubts.is_empty()));
    let told: Vec<(usize, bool)> = told.collect();
    assert_eq!(told.first(), Some(&(5, true)), "{told:?}");
    assert_eq!(told.last(), Some(&(8, false)), "{told:?}");
    assert!(told[1..].iter().all(|(_, sure)| !sure), "{told:?}");
}

/// At 10 pps a pause of 180 ms ends a digit; 200 ms later its figures are there, and they stay.
#[test]
fn trains_come_out_soon_after_their_pause() {
    let rendered = two_numbers_far_apart();
    let rate = rendered.sample_rate_hz;
    let mut detector = Detector::new(rate);
    let mut out_s: Vec<f64> = Vec::new();
    let mut early: Vec<Vec<f64>> = Vec::new();
    for (block, samples) in rendered.channels[0].chunks(80).enumerate() {
        detector.push(samples);
        let now_s = (80 * block + samples.len()) as f64 / rate;
        for train in detector.trains().skip(out_s.len()) {
            out_s.push(now_s);
            early.push(train.edges.iter().map(|e| e.instant_s).collect());
        }
    }
    let trace = detector.finish();
    assert!(out_s.len() + 1 >= trace.trains.len(), "{out_s:?}");
    for ((now_s, early), train) in out_s.iter().zip(&early).zip(&trace.trains) {
        let last = train.edges[train.edges.len() - 1].instant_s;
        assert!(
            now_s - last < 0.38,
            "{} s after its last make",
            now_s - last
        );
        let instants: Vec<f64> = train.edges.iter().map(|e| e.instant_s).collect();
        assert_eq!(&instants, early);
    }
}

proptest! {
    #![proptest_config(fixed(2, 6))]

    /// How a driver cuts the stream is no property of the recording: live and file agree to the last bit.
    #[test]
    fn blocks_of_any_sizes_give_the_same_trace(
        scenario in ordinary_numbers(),
        sizes in prop::collection::vec(1usize..100_000, 1..6),
    ) {
        let rendered = synth::render(&scenario);
        let (samples, rate) = (&rendered.channels[0], rendered.sample_rate_hz);
        prop_assert_eq!(in_blocks(samples, rate, &sizes), measured(samples, rate));
    }
}

proptest! {
    #![proptest_config(fixed(6, 6))]

    /// In what form samples come is none either: 16-bit integers give what their values give.
    #[test]
    fn integers_give_what_their_values_give(
        scenario in ordinary_numbers(),
        size in 1usize..100_000,
        floats_from in 0usize..12,
    ) {
        let rendered = synth::render(&scenario);
        let rate = rendered.sample_rate_hz;
        let words: Vec<i16> =
            rendered.channels[0].iter().map(|x| (32_768.0 * x) as i16).collect();
        let values: Vec<f32> = words.iter().map(|&x| f32::from(x) / 32_768.0).collect();
        let mut detector = Detector::new(rate);
        for (index, block) in words.chunks(size).enumerate() {
            if index < floats_from {
                detector.push_words(block);
            } else {
                detector.push(&values[index * size..][..block.len()]);
            }
        }
        prop_assert_eq!(detector.finish(), measured(&values, rate));
    }
}

/// The same where windows of 12 s follow one another: their ends lie at fixed samples, not at ends of blocks.
#[test]
fn windows_do_not_depend_on_blocks() {
    let rendered = two_numbers_far_apart();
    let (samples, rate) = (&rendered.channels[0], rendered.sample_rate_hz);
    assert!(samples.len() as f64 > 40.0 * rate);
    let whole = measured(samples, rate);
    assert_drawn(&rendered, &whole, "two numbers far apart");
    for sizes in [
        &[1][..],
        &[4_095, 4_097],
        &[96_000],
        &[95_999, 1, 96_001],
        &[100_000],
    ] {
        assert!(
            in_blocks(samples, rate, sizes) == whole,
            "blocks of {sizes:?} give another trace"
        );
    }
}

proptest! {
    #![proptest_config(fixed(3, 10))]

    /// A contact that has opened can only close: with edges that alternate from an opening to a closing in
    /// rising order, every period is the sum of one break and one make, both longer than nothing. True of
    /// whatever comes out, right or wrong, so the recordings are those with several impairments at once.
    #[test]
    fn every_period_is_a_break_and_a_make(index in 0u64..1_000_000) {
        let rendered = synth::render(&families::mixed(index));
        let samples = &rendered.channels[rendered.truth.channel - 1];
        let trace = measured(samples, rendered.sample_rate_hz);
        let mut now_s = 0.0;
        for train in &trace.trains {
            prop_assert!(!train.edges.is_empty() && train.edges.len() % 2 == 0);
            for (i, edge) in train.edges.iter().enumerate() {
                let due = if i % 2 == 0 { Direction::Opening } else { Direction::Closing };
                prop_assert_eq!(edge.direction, due);
                prop_assert!(edge.instant_s > now_s, "{} after {now_s}", edge.instant_s);
                prop_assert!(edge.variance_s2 > 0.0 && edge.variance_s2.is_finite());
                now_s = edge.instant_s;
            }
        }
    }
}

/// Every instant must lie within five standard deviations, as stated, of the one drawn (one in two million
/// by chance, were the deviations right).
fn assert_drawn(rendered: &Rendered, trace: &Trace, name: &str) {
    let digits = &rendered.truth.digits;
    assert_eq!(trace.trains.len(), digits.len(), "{name}: digits");
    for (train, digit) in trace.trains.iter().zip(digits) {
        let breaks = digit.breaks.iter();
        let drawn: Vec<f64> = breaks
            .flat_map(|b| [b.break_start_s, b.make_start_s])
            .collect();
        assert_eq!(train.edges.len(), drawn.len(), "{name}: pulses");
        for (i, (edge, drawn)) in train.edges.iter().zip(drawn).enumerate() {
            let deviations = (edge.instant_s - drawn) / deviation_s(train, i);
            assert!(
                deviations.abs() < 5.0,
                "{name}: edge {i} at {drawn} s is {deviations} deviations off"
            );
        }
    }
}

/// Measures recordings of a family against what was drawn.
fn instants_are_those_drawn(name: &str, indices: std::ops::Range<u64>) {
    for index in indices {
        let rendered = synth::render(&families::draw(family(name), index));
        let samples = &rendered.channels[rendered.truth.channel - 1];
        let trace = measured(samples, rendered.sample_rate_hz);
        assert_drawn(&rendered, &trace, &format!("{name} {index}"));
    }
}

/// A clean recording leaves only what the detector cannot know of the recorder.
#[test]
fn clean_instants_are_those_drawn() {
    instants_are_those_drawn("clean", 0..4);
}

/// Where lines ring behind a transformer, sharp steps fit one swing of one closing and another of the next; what
/// discharges into the contact tells where each of them is.
#[test]
fn ringing_closings_are_where_they_were_drawn() {
    for index in [161, 381] {
        instants_are_those_drawn("loop through a good transformer", index..index + 1);
    }
}

/// How far transitions of one kind stray from one another, the others of their train taken for right, in seconds.
fn straying_s(train: &Train, digit: &DigitTruth, direction: Direction) -> f64 {
    let drawn = digit.breaks.iter().map(|b| match direction {
        Direction::Opening => b.break_start_s,
        Direction::Closing => b.make_start_s,
    });
    let found = train.edges.iter().filter(|e| e.direction == direction);
    let off: Vec<f64> = found
        .zip(drawn)
        .map(|(e, drawn)| e.instant_s - drawn)
        .collect();
    let mean = off.iter().sum::<f64>() / off.len() as f64;
    let squares = off.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
    (squares / off.len() as f64).sqrt()
}

/// A slow rise or fall in noise places no transition by itself, nor does one such transition place another; their mean does.
#[test]
fn slow_transitions_in_noise_are_placed_by_the_shape_they_share() {
    const NOISE_DB: f64 = 25.0;
    let mut strayings = Vec::new();
    for index in 0..12 {
        let mut scenario = families::draw(family("loop, direct"), index);
        scenario.recorder.noise_db = Some(NOISE_DB);
        let rendered = synth::render(&scenario);
        let samples = &rendered.channels[rendered.truth.channel - 1];
        let trace = measured(samples, rendered.sample_rate_hz);
        for digit in rendered.truth.digits.iter().filter(|d| d.pulses >= 4) {
            let train = trace.trains.iter().find(|train| {
                let first_s = train.edges[0].instant_s;
                train.edges.len() == 2 * digit.pulses
                    && (first_s - digit.breaks[0].break_start_s).abs() < 0.01
            });
            let train = train.unwrap_or_else(|| panic!("{index}: {} pulses", digit.pulses));
            let kinds = [Direction::Opening, Direction::Closing];
            strayings.extend(kinds.map(|kind| straying_s(train, digit, kind)));
        }
    }
    strayings.sort_by(f64::total_cmp);
    // A fall of two milliseconds is 90 samples, each a ninetieth of the step below the one before. Noise of 0.056 of the step
    // places it to 0.056 times the root of 90, half a sample, 0.011 ms; lesser slopes to some times that, sharp closings better.
    let at = |share: f64| strayings[(share * strayings.len() as f64) as usize];
    assert!(at(0.5) < 0.000_01, "usually {} s", at(0.5));
    assert!(at(0.9) < 0.000_04, "nine in ten {} s", at(0.9));
}

/// Pulses of the digits that a recording of a family gives, and whether each is sure.
fn counts(scenario: &Scenario) -> Vec<(usize, bool)> {
    let rendered = synth::render(scenario);
    let samples = &rendered.channels[rendered.truth.channel - 1];
    given(&measured(samples, rendered.sample_rate_hz))
}

/// Pulses of each train, and whether they are beyond doubt.
fn given(trace: &Trace) -> Vec<(usize, bool)> {
    let count = |train: &Train| (train.edges.len() / 2, train.doubts.is_empty());
    trace.trains.iter().map(count).collect()
}

/// A tone until the first break, 33 times a second louder and softer, looks as if it repeated with the mains: the hum is
/// known only when the digit is over, and must hide none of its pulses.
#[test]
fn hum_below_a_tone_hides_no_pulse() {
    let scenario = families::mixed(12);
    let hum = scenario.recorder.hum.as_ref().expect("hum");
    assert!(hum.amplitudes[0] > 0.25 && scenario.sounds[0].until_first_break);
    let drawn: Vec<_> = [10, 1, 5, 4].map(|pulses| (pulses, true)).into();
    assert_eq!(counts(&scenario), drawn);
}

/// Hum of half a step under noise that changes more from tick to tick than it does: whole digits were lost in silence.
#[test]
fn hum_below_noise_hides_no_digit() {
    for seed in 201..207 {
        let scenario = Scenario {
            seed,
            numbers: vec![10, 8, 5],
            dial: Dial {
                speed_pps: 9.9,
                percent_break: 62.5,
                ..Dial::default()
            },
            recorder: Recorder {
                noise_db: Some(9.0),
                hum: Some(Hum {
                    mains_hz: 60.0,
                    amplitudes: vec![0.5],
                }),
                ..Recorder::default()
            },
            ..Scenario::default()
        };
        let drawn = [10, 8, 5].map(|pulses| (pulses, true));
        assert_eq!(counts(&scenario), drawn, "{seed}");
    }
}

/// Four digits alike, in noise: what proves three of them speaks for the fourth, which was once left out in silence.
#[test]
fn a_digit_like_those_beside_it_is_given() {
    let drawn: Vec<_> = [6, 6, 6, 5].map(|pulses| (pulses, true)).into();
    assert_eq!(counts(&families::mixed(1364)), drawn);
}

/// Speech goes on after a digit of three as if it were two pulses more: other digits of the line do not speak for those.
#[test]
fn digits_beside_it_do_not_speak_for_pulses_unlike_the_others() {
    let counts = counts(&families::draw(family("speech"), 169));
    assert_eq!(counts[..3], [5, 8, 1].map(|pulses| (pulses, true)));
    assert!(counts[3..].iter().all(|last| *last == (3, true) || !last.1));
}

/// Openings and closings behind a transformer may look alike; between digits of the same line they are no clicks.
#[test]
fn a_digit_whose_transitions_sound_alike_is_given() {
    let counts = counts(&families::draw(
        family("loop through a good transformer"),
        6,
    ));
    assert_eq!(counts, [(7, true), (3, true)]);
}

/// Where an opening rings as far as it steps, swings make a chain too, of twice the pulses; it leaves doubts, and the dial's
/// own does not.
#[test]
fn swings_are_not_taken_for_pulses() {
    let loops = family("loop through a good transformer");
    for (index, drawn) in [(264, vec![6, 2]), (379, vec![6, 8, 10]), (385, vec![9, 8])] {
        let drawn: Vec<_> = drawn.into_iter().map(|pulses| (pulses, true)).collect();
        assert_eq!(counts(&families::draw(loops, index)), drawn, "{index}");
    }
}

/// Upside down, a digit with a split break has a pulse less and no uneven one; but the first and the last of its steps
/// are left, and what leaves steps is no better reading.
#[test]
fn a_split_break_is_not_read_upside_down() {
    let scenario = Scenario {
        seed: 742_839_935_481_866_199,
        dial: Dial {
            speed_pps: 9.494_174_996_740_046,
            percent_break: 61.407_477_502_365_36,
            slow_down_percent: -0.134_450_501_634_807_94,
            jitter_percent: 0.140_022_196_598_583_92,
            split_break: Some(SplitBreak {
                pulse: 3,
                closure_s: 0.009_616_645_241_292_944,
            }),
            ..Dial::default()
        },
        numbers: vec![6, 8],
        pauses_s: vec![0.713_454_171_033_821_6],
        probe: Probe {
            coupling: Coupling::Capacitor {
                corner_hz: 19.500_464_752_060_505,
            },
            inverted: true,
        },
        recorder: Recorder {
            level: 0.496_477_443_397_465_36,
            noise_db: Some(55.858_233_500_365_28),
            encoding: Encoding::S24,
            ..Recorder::default()
        },
        lead_in_s: 1.026_543_962_872_340_5,
        tail_s: 0.856_185_206_305_630_8,
        ..Scenario::default()
    };
    let counts = counts(&scenario);
    assert!(counts.iter().all(|(_, sure)| !sure), "{counts:?}");
}

/// The one pulse of a digit was matched upside down, but it looks as those of the other digits do.
#[test]
fn a_short_digit_that_looks_like_the_others_is_given() {
    let loops = family("loop through a good transformer");
    let drawn = [5, 1, 7, 6].map(|pulses| (pulses, true));
    assert_eq!(counts(&families::draw(loops, 106)), drawn);
}

/// A digit of which only a piece was read, in polarity the other way round, was left out in silence: its number was wrong,
/// and every digit of it sure.
#[test]
fn what_moves_the_line_as_far_as_sure_digits_is_given_with_its_doubts() {
    let counts = counts(&families::mixed(4059));
    assert_eq!(counts[0], (5, true));
    assert!(counts.len() == 2 && !counts[1].1, "{counts:?}");
}

/// Openings that swing so slowly that their second swing was read as one, closings that no step is like, sounds beside a digit: what
/// the line's own transitions look like is known from its other digits.
#[test]
fn what_left_doubts_is_read_by_the_lines_own_transitions() {
    for (name, index, drawn) in [
        ("loop through a capacitor", 81, [4, 7, 1].to_vec()),
        (
            "loop through a poor transformer",
            39,
            [2, 10, 4, 9].to_vec(),
        ),
        ("speech", 49, [5, 6].to_vec()),
    ] {
        let drawn: Vec<_> = drawn.into_iter().map(|pulses| (pulses, true)).collect();
        assert_eq!(
            counts(&families::draw(family(name), index)),
            drawn,
            "{name} {index}"
        );
    }
    // Speech that no digit of this line has: smaller than its steps.
    let drawn = [10, 6, 1].map(|pulses| (pulses, true));
    assert_eq!(counts(&families::mixed(401)), drawn);
}

/// The one pulse that was read of two has a break of nearly their length, and nothing else of theirs: the others do not explain it.
#[test]
fn a_digit_that_looks_like_no_other_is_explained_by_none() {
    let counts = counts(&families::mixed(13_899));
    assert_eq!(counts[1..], [4, 5, 9].map(|pulses| (pulses, true)));
    assert!(counts[0] == (2, true) || !counts[0].1, "{counts:?}");
}

/// Two clicks made a sure digit beside those of a line that keeps its level in breaks; alone they made one that was not sure,
/// though what they said of the line contradicted itself.
#[test]
fn clicks_are_no_digit() {
    let drawn = counts(&families::draw(family("clicks"), 436));
    assert_eq!(drawn, [(8, true), (4, true)]);
    let alone = families::nothing()
        .iter()
        .find(|f| f.name == "clicks alone");
    for index in [39, 53, 226] {
        let counts = counts(&families::draw(alone.expect("a family"), index));
        assert!(counts.is_empty(), "{index}: {counts:?}");
    }
}

/// Only openings left steps that stand out, all the same way: no pairs, and two digits were left out in silence.
#[test]
fn digits_whose_closings_leave_next_to_nothing_are_given() {
    let loops = family("loop through a good transformer");
    let drawn = [5, 4, 4].map(|pulses| (pulses, true));
    assert_eq!(counts(&families::draw(loops, 567)), drawn);
}

/// Openings that ring by far the most were told by the openings' own ringing, every second of them as a closing; no entry that
/// knows closings was on the list.
#[test]
fn digits_are_read_by_all_entries_where_those_listed_leave_doubts() {
    let loops = family("loop through a poor transformer");
    for (index, drawn) in [
        (60, vec![2, 7, 6, 7]),
        (175, vec![6, 9, 1, 2]),
        (172, vec![6, 3]),
    ] {
        let drawn: Vec<_> = drawn.into_iter().map(|pulses| (pulses, true)).collect();
        assert_eq!(counts(&families::draw(loops, index)), drawn, "{index}");
    }
}

/// Behind a transformer one or two pulses may be any sound. Three that have one break, one period and one look are a dial's.
#[test]
fn short_digits_that_agree_prove_one_another() {
    let spikes = family("transformer 100-300 Hz");
    for (index, drawn) in [(12, vec![1, 1, 1]), (13, vec![2, 2])] {
        let drawn: Vec<_> = drawn.into_iter().map(|pulses| (pulses, true)).collect();
        assert_eq!(counts(&families::draw(spikes, index)), drawn, "{index}");
    }
}

/// Three even swings of a ringing current, which no steps describe, proved a single one beside them. Flicker of coarse values
/// in slow wander had a reading that left nothing, where a mean may be of anything.
#[test]
fn what_is_no_dialling_proves_nothing() {
    for (name, index) in [("ringing", 155), ("wander alone", 42)] {
        let nothing = families::nothing().iter().find(|f| f.name == name);
        let counts = counts(&families::draw(nothing.expect("a family"), index));
        assert!(counts.iter().all(|(_, sure)| !sure), "{name}: {counts:?}");
    }
}

/// A capacitor lets the levels droop, and moves no edge.
#[test]
fn coupled_instants_are_those_drawn() {
    instants_are_those_drawn("coupling 2-8 Hz", 0..4);
}

/// Noise moves instants by no more than stated.
#[test]
fn noisy_instants_are_those_drawn() {
    instants_are_those_drawn("white noise 20 dB", 0..4);
}

/// Chatter follows the first closure, which alone ends the break.
#[test]
fn chattering_instants_are_those_drawn() {
    instants_are_those_drawn("chatter 0.5-4 ms", 0..4);
}

/// A first closure of under a sample, a reopening, then the closure that the detector takes for the first.
#[test]
fn chatter_after_a_closure_shorter_than_a_sample() {
    instants_are_those_drawn("chatter 0.5-4 ms", 7..8);
}

/// No dial moved: there must be no train.
fn no_train(samples: &[f32], rate_hz: f64) -> Result<(), TestCaseError> {
    let trace = measured(samples, rate_hz);
    prop_assert_eq!(trace.samples, samples.len() as u64);
    prop_assert!(trace.rms.is_finite() && trace.peak.is_finite());
    prop_assert!(trace.trains.is_empty(), "{} trains", trace.trains.len());
    Ok(())
}

/// White noise of even distribution within ±`peak`: the upper bits of a linear congruential generator with
/// Knuth's constants (The Art of Computer Programming, volume 2, 3.3.4, table 1, line 26).
fn white_noise(seed: u64, length: usize, peak: f32) -> Vec<f32> {
    let mut state = seed;
    let mut next = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u32 << 23) as f32 - 1.0
    };
    (0..length).map(|_| peak * next()).collect()
}

/// Usual rates of recordings.
fn rates() -> impl Strategy<Value = f64> {
    prop::sample::select(vec![8_000.0, 11_025.0, 16_000.0, 22_050.0])
}

proptest! {
    #![proptest_config(fixed(4, 12))]

    /// An unplugged input, or one with nothing but a direct voltage, holds no transition.
    #[test]
    fn silence_has_no_train(rate_hz in rates(), level in -0.9..0.9f32, seconds in 0.0..5.0f64) {
        let length = (seconds * rate_hz) as usize;
        no_train(&vec![0.0; length], rate_hz)?;
        no_train(&vec![level; length], rate_hz)?;
    }

    /// Noise has steps of every size, and no rhythm.
    #[test]
    fn noise_has_no_train(rate_hz in rates(), level in 0.001..0.9f32, seed in any::<u64>()) {
        no_train(&white_noise(seed, 20_000, level), rate_hz)?;
    }

    /// Mains hum has the rhythm of a very fast dial, and no steps.
    #[test]
    fn a_sine_of_50_hz_has_no_train(
        rate_hz in rates(),
        level in 0.01..1.0f64,
        phase in 0.0..std::f64::consts::TAU,
    ) {
        let angle = std::f64::consts::TAU * 50.0 / rate_hz;
        let hum: Vec<f32> = (0..(4.0 * rate_hz) as usize)
            .map(|i| (level * (angle * i as f64 + phase).sin()) as f32)
            .collect();
        no_train(&hum, rate_hz)?;
    }

    /// A loop that opens and stays open, or closes and stays closed, has sent no pulse.
    #[test]
    fn a_single_step_has_no_train(
        rate_hz in rates(),
        from in -0.9..0.9f32,
        to in -0.9..0.9f32,
        at in 0.02..0.98f64,
    ) {
        let length = (4.0 * rate_hz) as usize;
        let step = (at * length as f64) as usize;
        let samples: Vec<f32> = (0..length).map(|i| if i < step { from } else { to }).collect();
        no_train(&samples, rate_hz)?;
    }
}

/// Where the resting line is cut off, little noise is left of it, and that at every moment: no digit may be lost in it.
#[test]
fn digits_are_found_between_stretches_that_are_cut_off() {
    let scenario = Scenario {
        numbers: vec![5, 1, 4],
        probe: Probe {
            coupling: Coupling::Direct,
            ..Probe::default()
        },
        recorder: Recorder {
            sample_rate_hz: 22_050.0,
            noise_db: None,
            ..Recorder::default()
        },
        ..Scenario::default()
    };
    let mut line = synth::render(&scenario).channels.swap_remove(0);
    let (rest, least) = (line[0], line.iter().copied().fold(f32::MAX, f32::min));
    let step = rest - least;
    assert!(step > 0.0, "the line rests above");
    let noise = white_noise(7, line.len(), 0.12 * step);
    for (x, noise) in line.iter_mut().zip(noise) {
        *x = (*x + noise).min(rest - 0.115 * step);
    }
    let trace = measured(&line, 22_050.0);
    let counts: Vec<usize> = trace.trains.iter().map(|t| t.edges.len() / 2).collect();
    assert_eq!(counts, [5, 1, 4]);
}

/// Seed, number, and what the first line of `overloaded` names.
type Overloaded = (u64, [u8; 4], [f64; 7]);

/// Pulses dialled in hum and wander in which a recorder cuts off at a share of the step to either side of the mean, and those of
/// each train with whether they are beyond doubt.
fn overloaded((seed, numbers, drawn): Overloaded) -> (Vec<usize>, Vec<(usize, bool)>) {
    let [
        speed_pps,
        percent_break,
        noise_db,
        mains_hz,
        hum,
        wander,
        cut,
    ] = drawn;
    let scenario = Scenario {
        seed,
        numbers: numbers.to_vec(),
        dial: Dial {
            speed_pps,
            percent_break,
            ..Dial::default()
        },
        recorder: Recorder {
            sample_rate_hz: 16_000.0,
            noise_db: Some(noise_db),
            hum: Some(Hum {
                mains_hz,
                amplitudes: vec![hum],
            }),
            wander,
            ..Recorder::default()
        },
        ..Scenario::default()
    };
    let Rendered {
        mut channels,
        truth,
        ..
    } = synth::render(&scenario);
    let line = &mut channels[0];
    let mean = line.iter().sum::<f32>() / line.len() as f32;
    let most = (cut * truth.step) as f32;
    line.iter_mut()
        .for_each(|x| *x = x.clamp(mean - most, mean + most));
    let trace = measured(line, 16_000.0);
    let dialled = truth.digits.iter().map(|digit| digit.pulses).collect();
    (dialled, given(&trace))
}

/// Where the closed line was carried to the limit at which the open one lies, a pulse left nothing, and the rest was an even
/// digit of one pulse fewer.
#[test]
fn what_is_cut_off_whole_is_not_certain() {
    let recordings: Vec<Overloaded> = vec![
        (
            135,
            [6, 9, 2, 9],
            [11.6, 51.0, 49.0, 50.0, 0.280, 0.399, 0.460],
        ),
        (
            354,
            [2, 4, 9, 0],
            [10.9, 61.9, 40.0, 50.0, 0.436, 0.425, 0.548],
        ),
        (
            1398,
            [7, 1, 8, 3],
            [8.3, 71.8, 61.0, 60.0, 0.396, 0.532, 0.535],
        ),
        (
            382,
            [7, 0, 9, 8],
            [12.2, 61.2, 60.0, 60.0, 0.281, 0.550, 0.572],
        ),
    ];
    for recording in recordings {
        let (drawn, counts) = overloaded(recording);
        let sure = counts.iter().filter(|(_, sure)| *sure);
        let wrong: Vec<_> = sure.filter(|(pulses, _)| !drawn.contains(pulses)).collect();
        assert!(wrong.is_empty(), "{}: {counts:?}", recording.0);
        assert!(counts.iter().any(|(_, sure)| !sure), "{}", recording.0);
    }
}

/// What is cut off holds no hum: taken out there all the same, it drew ripples over the digit, whose many small steps then made
/// a longer train than the digit. And a digit that is cut off moves the trace less than one that is not.
#[test]
fn digits_in_hum_that_is_cut_off_are_all_given() {
    let recordings: Vec<Overloaded> = vec![
        (
            105,
            [1, 3, 5, 1],
            [9.8, 61.0, 58.0, 50.0, 0.328, 0.368, 0.572],
        ),
        (
            283,
            [1, 5, 8, 1],
            [11.4, 58.7, 53.0, 60.0, 0.332, 0.401, 0.490],
        ),
        (
            140,
            [3, 1, 6, 4],
            [12.8, 51.3, 61.0, 60.0, 0.321, 0.231, 0.506],
        ),
        (
            205,
            [1, 6, 1, 5],
            [8.5, 55.7, 58.0, 60.0, 0.384, 0.216, 0.525],
        ),
        (
            280,
            [7, 4, 2, 2],
            [11.4, 57.0, 57.0, 60.0, 0.294, 0.599, 0.763],
        ),
        (
            40,
            [1, 8, 9, 8],
            [10.4, 53.1, 41.0, 50.0, 0.295, 0.374, 0.645],
        ),
        (
            247,
            [3, 7, 6, 4],
            [12.6, 66.0, 61.0, 50.0, 0.346, 0.526, 0.791],
        ),
    ];
    for recording in recordings {
        let (drawn, counts) = overloaded(recording);
        let pulses: Vec<usize> = counts.iter().map(|(pulses, _)| *pulses).collect();
        assert_eq!(pulses, drawn, "{}: {counts:?}", recording.0);
    }
}

/// Where a pulse is missing nothing of it may be left: hum and a recorder that cuts off can hide most of one.
#[test]
fn a_missing_pulse_that_left_something_is_not_certain() {
    let scenario = Scenario {
        numbers: vec![8],
        dial: Dial {
            missing_pulse: Some(3),
            ..Dial::default()
        },
        ..Scenario::default()
    };
    let rendered = synth::render(&scenario);
    let breaks = &rendered.truth.digits[0].breaks;
    let after = rendered.truth.digits[0].missing_after[0];
    let (before, next) = (&breaks[after], &breaks[after + 1]);
    let opening_s = (before.break_start_s + next.break_start_s) / 2.0;
    let closing_s = opening_s + before.make_start_s - before.break_start_s;
    let at = |seconds: f64| (seconds * rendered.sample_rate_hz) as usize;
    let mut line = rendered.channels[0].clone();
    let doubts = |line: &[f32]| {
        let trace = measured(line, rendered.sample_rate_hz);
        assert_eq!(trace.trains.len(), 1);
        assert_eq!(trace.trains[0].edges.len(), 2 * breaks.len());
        (
            trace.trains[0].doubts.clone(),
            trace.trains[0].step,
            trace.trains[0].polarity,
        )
    };
    let (none, step, polarity) = doubts(&line);
    assert!(none.is_empty(), "{none:?}");
    let left = 0.3
        * step as f32
        * if polarity == Polarity::Normal {
            -1.0
        } else {
            1.0
        };
    line[at(opening_s)..at(closing_s)]
        .iter_mut()
        .for_each(|x| *x += left);
    let (some, ..) = doubts(&line);
    assert!(matches!(some[..], [Doubt::UnexplainedEdge(_)]), "{some:?}");
}

/// A broken header may say any rate: found by fuzzing, one of 1 Hz never ended.
#[test]
fn noise_at_the_rate_of_a_broken_header_has_no_train_and_an_end() -> Result<(), TestCaseError> {
    for rate_hz in [0.01, 0.5, 1.0, 2.0, 7.0, 20.0, 1e6, 4e9] {
        no_train(&white_noise(3, 3_000, 0.5), rate_hz)?;
    }
    Ok(())
}

/// A stream that ends before it began is a recording all the same: of nothing.
#[test]
fn an_empty_stream_has_no_train() {
    let trace = Detector::new(48_000.0).finish();
    assert!(trace.trains.is_empty());
    assert_eq!((trace.samples, trace.rms, trace.peak), (0, 0.0, 0.0));
    assert_eq!(measured(&[], 8_000.0), measured(&[], 8_000.0));
}

/// Place between the first and the last instant of a digit, as a share of the way.
fn inside(rendered: &Rendered, share: f64) -> usize {
    let breaks = &rendered.truth.digits[0].breaks;
    let (first, last) = (
        breaks[0].break_start_s,
        breaks[breaks.len() - 1].make_start_s,
    );
    ((first + share * (last - first)) * rendered.sample_rate_hz) as usize
}

/// Four pairs of chance steps, spaced like the pulses of a dial.
#[test]
fn this_noise_has_no_train_either() {
    no_train(&white_noise(84, 20_000, 0.1), 8_000.0).expect("no train");
}

proptest! {
    #![proptest_config(fixed(5, 24))]

    /// Where samples are missing, a pulse may be: whoever loses them says so, and the train is in doubt at
    /// that instant. The other digit, far away, is not.
    #[test]
    fn missing_samples_inside_a_train_are_a_doubt(scenario in ordinary_numbers(), share in 0.02..0.98f64) {
        let rendered = synth::render(&Scenario { pauses_s: vec![2.0], ..scenario });
        let (samples, rate) = (&rendered.channels[0], rendered.sample_rate_hz);
        let place = inside(&rendered, share);
        let mut detector = Detector::new(rate);
        detector.push(&samples[..place]);
        detector.gap();
        detector.push(&samples[place..]);
        let trace = detector.finish();
        prop_assert_eq!(trace.trains.len(), 2);
        let gap = Doubt::Gap(place as f64 / rate);
        prop_assert!(trace.trains[0].doubts.contains(&gap), "{:?}", trace.trains[0].doubts);
        prop_assert!(!trace.trains[1].doubts.contains(&gap), "{:?}", trace.trains[1].doubts);
    }

    /// What happened before the recording began nobody knows: a train that may have begun before it is in
    /// doubt, wherever in the train the recording begins and whatever the dial.
    #[test]
    fn a_start_inside_a_train_is_a_doubt(scenario in clean_digits(), pulses in 3u8..=10, share in 0.0..1.0f64) {
        let rendered = synth::render(&Scenario { numbers: vec![pulses], ..scenario });
        // From the first opening to just before the last, so that a pulse is left to be found.
        let breaks = &rendered.truth.digits[0].breaks;
        let (first, last) = (breaks[0].break_start_s, breaks[breaks.len() - 1].break_start_s - 0.003);
        let rate = rendered.sample_rate_hz;
        let start = ((first + share * (last - first)) * rate) as usize;
        let trace = measured(&rendered.channels[0][start..], rate);
        prop_assert_eq!(trace.trains.len(), 1);
        let train = &trace.trains[0];
        let pulses = train.edges.len() / 2;
        let lead_s = train.edges[0].instant_s;
        prop_assert!(!train.doubts.is_empty(), "{pulses} pulses, the first after {lead_s} s");
    }
}

/// Behind a transformer dial tone is as large as the steps: the first opening ends it. Read as dialled, however blocks are cut.
#[test]
fn the_first_break_ends_dial_tone() {
    for seed in 0..6 {
        let tone = Sound {
            kind: SoundKind::ModulatedTone {
                frequency_hz: 400.0,
                modulation_hz: 33.0,
            },
            level: 0.2,
            start_s: None,
            end_s: None,
            until_first_break: true,
            while_closed: false,
        };
        let scenario = Scenario {
            seed,
            numbers: vec![2 + seed as u8, 5],
            probe: Probe {
                coupling: Coupling::Transformer {
                    corner_hz: 250.0,
                    quality: 0.6,
                },
                inverted: seed % 2 == 1,
            },
            recorder: Recorder {
                noise_db: Some(45.0),
                ..Recorder::default()
            },
            sounds: vec![tone],
            lead_in_s: 0.9,
            ..Scenario::default()
        };
        let rendered = synth::render(&scenario);
        let (samples, rate) = (&rendered.channels[0], rendered.sample_rate_hz);
        let trace = measured(samples, rate);
        let told = trace.trains.iter();
        let told: Vec<(usize, bool)> = told
            .map(|t| (t.edges.len() / 2, t.doubts.is_empty()))
            .collect();
        assert_eq!(told, [(2 + seed as usize, true), (5, true)], "seed {seed}");
        let opened_s = rendered.truth.digits[0].breaks[0].break_start_s;
        let apart_s = trace.trains[0].edges[0].instant_s - opened_s;
        assert!(
            apart_s.abs() < 4.0 * deviation_s(&trace.trains[0], 0),
            "{apart_s}"
        );
        assert_eq!(in_blocks(samples, rate, &[4801, 77]), trace);
    }
}
