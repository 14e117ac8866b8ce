//! A sitting against `check` on its capture, and its capture against accidents.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use drive::{Channel, Options};
use live::{Arrival, Encoding, Error, Event, Format, Heard, LostHow, Setup, Sitting};
use report::{Measured, Record};
use score::{Digit, Settings, Verdict};
use tempfile::TempDir;

const RATE: u32 = 48_000;

/// A demo recording as 16-bit bytes, with quiet before and after.
fn demo(name: &str) -> (Format, Vec<u8>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-recordings");
    let mut reader = hound::WavReader::open(path.join(name)).unwrap();
    let spec = reader.spec();
    assert_eq!(spec.bits_per_sample, 16);
    let bytes = reader
        .samples::<i16>()
        .flat_map(|x| x.unwrap().to_le_bytes())
        .collect();
    let format = Format {
        sample_rate_hz: spec.sample_rate,
        channels: spec.channels,
        encoding: Encoding::I16,
    };
    (format, bytes)
}

struct Bench {
    folder: TempDir,
    settings: Settings,
}

impl Bench {
    fn new() -> Bench {
        let settings = Settings {
            limits: Some(score::limits::find("us-1956-later").unwrap().clone()),
            ..Settings::default()
        };
        let folder = tempfile::tempdir().unwrap();
        Bench { folder, settings }
    }

    fn capture(&self) -> PathBuf {
        self.folder.path().join("capture.wav")
    }

    fn begin(&self, format: Format) -> Sitting {
        Sitting::begin(Setup {
            format,
            channel: Channel::Auto,
            settings: self.settings.clone(),
            capture: self.capture(),
        })
        .unwrap()
    }

    /// What `check` says of the capture.
    fn check(&self) -> Record {
        drive::record(
            &self.capture(),
            &Options::default(),
            &self.settings,
            &mut |_, _| {},
        )
    }
}

fn measured(record: &Record) -> &Measured {
    record.outcome.as_ref().unwrap()
}

/// The digits as they stood at the end, told, revised and withdrawn.
fn standing(events: &[Event]) -> Vec<Heard> {
    let mut heard: Vec<Option<Heard>> = Vec::new();
    for event in events {
        match event {
            Event::Digit(digit) | Event::Doubtful(digit) => {
                assert_eq!(digit.index, heard.len(), "numbers go up one by one");
                heard.push(Some(*digit.clone()));
            }
            Event::Revised(digit) => heard[digit.index] = Some(*digit.clone()),
            Event::Withdrawn(index) => heard[*index] = None,
            _ => {}
        }
    }
    heard.into_iter().flatten().collect()
}

/// Pushes all in blocks of `frames`, and gives events and record.
fn held(bench: &Bench, format: Format, bytes: &[u8], frames: usize) -> (Vec<Event>, Record) {
    let mut sitting = bench.begin(format);
    let mut events = Vec::new();
    for block in bytes.chunks(frames * format.frame_bytes()) {
        events.extend(sitting.push(block, Arrival::default()).unwrap());
    }
    let (record, error) = sitting.finish();
    assert!(error.is_none(), "{error:?}");
    (events, record)
}

/// What may differ between a digit told live and the same in the report: lost motion and the pause after are
/// not over yet.
fn same_figures(live: &Digit, file: &Digit) {
    assert_eq!(live.digit, file.digit);
    assert_eq!(live.pulses_detail, file.pulses_detail);
    assert_eq!(live.speed_pps, file.speed_pps);
    assert_eq!(live.percent_break, file.percent_break);
    assert_eq!(live.break_ms, file.break_ms);
    assert_eq!(live.pause_before_ms, file.pause_before_ms);
    assert_eq!((live.sure, live.verdict), (file.sure, file.verdict));
}

#[test]
fn live_and_check_agree_to_the_last_bit() {
    for name in [
        "number-1234567.wav",
        "dial-b-before.wav",
        "dial-e-chatter.wav",
    ] {
        for block in [97, 480, 100_000] {
            let bench = Bench::new();
            let (format, bytes) = demo(name);
            let (events, record) = held(&bench, format, &bytes, block);
            assert_eq!(record, bench.check(), "{name}");
            let (told, report) = (standing(&events), &measured(&record).scored.digits);
            assert!(!report.is_empty(), "{name}");
            // A digit at the very end of the recording is told by the report only.
            assert!(
                told.len() + 1 >= report.len(),
                "{name}: {} of {}",
                told.len(),
                report.len()
            );
            for (live, file) in told.iter().zip(report) {
                same_figures(&live.digit, file);
            }
        }
    }
}

/// What a transition is that no pulse explains shows in the trace beside it, live as in a file.
#[test]
fn a_late_reopening_is_told_alike_live_and_in_the_report() {
    let mut scenario = synth::Scenario {
        numbers: vec![9, 6],
        ..synth::Scenario::default()
    };
    scenario.dial.late_reopening = Some(synth::LateReopening {
        pulse: 3,
        after_s: 0.009,
        opening_s: 0.006,
    });
    let rendered = synth::render(&scenario);
    let bytes: Vec<u8> = rendered.channels[0]
        .iter()
        .flat_map(|x| x.to_le_bytes())
        .collect();
    let format = Format {
        sample_rate_hz: rendered.sample_rate_hz as u32,
        channels: 1,
        encoding: Encoding::F32,
    };
    let bench = Bench::new();
    let (events, record) = held(&bench, format, &bytes, 480);
    let (told, report) = (standing(&events), &measured(&record).scored.digits);
    assert!(!told.is_empty());
    let doubt = report[0].doubt.as_deref().unwrap_or_default();
    assert!(doubt.contains("open"), "{doubt}");
    for (live, file) in told.iter().zip(report) {
        same_figures(&live.digit, file);
        assert_eq!(live.digit.doubt, file.doubt);
    }
}

#[test]
fn the_capture_is_the_source_bit_for_bit() {
    let bench = Bench::new();
    let (format, bytes) = demo("number-1234567.wav");
    held(&bench, format, &bytes, 480);
    let kept: Vec<u8> = hound::WavReader::open(bench.capture())
        .unwrap()
        .samples::<i16>()
        .flat_map(|x| x.unwrap().to_le_bytes())
        .collect();
    assert!(kept == bytes);
}

#[test]
fn every_encoding_is_kept_as_it_came() {
    let (from, bytes) = demo("dial-a-good.wav");
    let samples: Vec<i16> = bytes
        .as_chunks::<2>()
        .0
        .iter()
        .map(|b| i16::from_le_bytes(*b))
        .collect();
    let convert = |encoding, sample: i16| -> Vec<u8> {
        match encoding {
            Encoding::I16 => sample.to_le_bytes().to_vec(),
            Encoding::I24 => (i32::from(sample) << 8).to_le_bytes()[..3].to_vec(),
            Encoding::I32 => (i32::from(sample) << 16).to_le_bytes().to_vec(),
            Encoding::F32 => (f32::from(sample) / 32768.0).to_le_bytes().to_vec(),
        }
    };
    let mut speeds = Vec::new();
    for encoding in [Encoding::I16, Encoding::I24, Encoding::I32, Encoding::F32] {
        let bench = Bench::new();
        let format = Format { encoding, ..from };
        let bytes: Vec<u8> = samples.iter().flat_map(|x| convert(encoding, *x)).collect();
        let (_, record) = held(&bench, format, &bytes, 480);
        assert_eq!(record, bench.check());
        speeds.push(measured(&record).scored.digits[0].speed_pps.unwrap());
    }
    assert!(speeds.iter().all(|speed| *speed == speeds[0]), "{speeds:?}");
}

#[test]
fn a_change_is_told_against_the_digit_before() {
    let bench = Bench::new();
    let (format, before) = demo("dial-b-before.wav");
    let (_, after) = demo("dial-b-after.wav");
    let (events, record) = held(&bench, format, &[before, after].concat(), 480);
    let told = standing(&events);
    let report = &measured(&record).scored.digits;
    let changed: Vec<_> = told.iter().filter_map(|heard| heard.change).collect();
    assert!(!changed.is_empty());
    for heard in &told {
        let Some(change) = heard.change else { continue };
        let (earlier, later) = (&report[change.against], &report[heard.index]);
        let difference = change.speed_pps.unwrap();
        let (a, b) = (earlier.speed_pps.unwrap(), later.speed_pps.unwrap());
        assert_eq!(difference.value, b.value - a.value);
        assert_eq!(difference.u95, a.u95.hypot(b.u95));
    }
}

#[test]
fn a_digit_across_a_gap_is_never_sure_in_neither_live_nor_file() {
    let (format, bytes) = demo("number-1234567.wav");
    let bench = Bench::new();
    let (_, whole) = held(&bench, format, &bytes, 480);
    let digit = measured(&whole).scored.digits[5].clone();
    assert!(digit.sure);
    let frame = |s: f64| (s * f64::from(format.sample_rate_hz)) as usize * format.frame_bytes();
    let cut = frame((digit.start_s + digit.end_s) / 2.0);
    let lost = frame(0.010);
    for frames in [None, Some((lost / format.frame_bytes()) as u64)] {
        let bench = Bench::new();
        let mut sitting = bench.begin(format);
        let mut events = sitting.push(&bytes[..cut], Arrival::default()).unwrap();
        events.extend(sitting.gap(frames, LostHow::Counted).unwrap());
        events.extend(
            sitting
                .push(&bytes[cut + lost..], Arrival::default())
                .unwrap(),
        );
        let (record, _) = sitting.finish();
        assert_eq!(record, bench.check());
        let file = &measured(&record).scored.digits[5];
        assert!(!file.sure && file.verdict == Verdict::NotJudged, "{file:?}");
        assert!(
            file.doubt.as_ref().unwrap().contains("samples are missing"),
            "{:?}",
            file.doubt
        );
        let told = standing(&events);
        for (live, file) in told.iter().zip(&measured(&record).scored.digits) {
            same_figures(&live.digit, file);
        }
        assert!(told.iter().filter(|heard| heard.digit.sure).count() >= 5);
        // A gap of known length keeps the time: what follows lies where it lay.
        let last = measured(&record).scored.digits.last().unwrap().end_s;
        let expected = measured(&whole).scored.digits.last().unwrap().end_s;
        let shift = expected - last;
        let shortened = if frames.is_some() { 0.0 } else { 0.010 };
        // Ten microseconds are half a sample of the cut's own rounding.
        assert!((shift - shortened).abs() < 1e-4, "{shift}");
    }
}

#[test]
fn a_count_that_leaps_and_a_clock_that_runs_ahead_are_gaps() {
    let (format, bytes) = demo("number-1234567.wav");
    let ten_ms = format.sample_rate_hz as usize / 100;
    let block = ten_ms * format.frame_bytes();
    for by_clock in [false, true] {
        let bench = Bench::new();
        let mut sitting = bench.begin(format);
        let mut events = Vec::new();
        for (index, bytes) in bytes.chunks(block).enumerate() {
            // Blocks 250 to 254 never come.
            if (250..255).contains(&index) {
                continue;
            }
            let seconds = 0.010 * (index + 1) as f64;
            let arrival = Arrival {
                at: by_clock.then(|| Duration::from_secs_f64(seconds)),
                first_frame: (!by_clock).then_some((ten_ms * index) as u64),
            };
            events.extend(sitting.push(bytes, arrival).unwrap());
        }
        let (record, _) = sitting.finish();
        assert_eq!(record, bench.check());
        let lost: Vec<_> = events
            .iter()
            .filter_map(|event| match event {
                Event::Lost(lost) => Some(*lost),
                _ => None,
            })
            .collect();
        assert_eq!(lost.len(), 1, "{lost:?}");
        // Five blocks; the clock's count is rounded down from seconds.
        assert!(
            lost[0].frames.unwrap().abs_diff(5 * ten_ms as u64) <= 1,
            "{lost:?}"
        );
        let how = if by_clock {
            LostHow::Clock
        } else {
            LostHow::Counted
        };
        assert_eq!(lost[0].how, how);
        assert!((lost[0].at_s - 2.5).abs() < 1e-9, "{lost:?}");
    }
}

#[test]
fn silence_put_in_amid_noise_makes_its_digit_unsure() {
    let (format, mut bytes) = demo("number-1234567.wav");
    let bench = Bench::new();
    let (_, whole) = held(&bench, format, &bytes, 480);
    let digit = measured(&whole).scored.digits[4].clone();
    let frame = |s: f64| (s * f64::from(format.sample_rate_hz)) as usize * format.frame_bytes();
    // In the middle of a make, so that no edge is touched.
    let pulse = &digit.pulses_detail[1];
    let from = frame(pulse.make_start_s + 0.012);
    let to = frame(pulse.make_start_s + 0.022);
    bytes[from..to].fill(0);
    let bench = Bench::new();
    let (events, record) = held(&bench, format, &bytes, 480);
    assert_eq!(record, bench.check());
    let seams = events
        .iter()
        .filter(|event| matches!(event, Event::Lost(lost) if lost.how == LostHow::Seam));
    assert_eq!(seams.count(), 1);
    let file = &measured(&record).scored.digits[4];
    assert!(!file.sure, "{file:?}");
}

#[test]
fn a_mono_input_that_comes_as_two_channels_is_kept_once() {
    let (mono, bytes) = demo("dial-a-good.wav");
    let format = Format {
        channels: 2,
        ..mono
    };
    let twice: Vec<u8> = bytes
        .chunks_exact(2)
        .flat_map(|x| [x, x].concat())
        .collect();
    let bench = Bench::new();
    let (events, record) = held(&bench, format, &twice, 480);
    assert!(events.contains(&Event::OneSignal));
    assert_eq!(record, bench.check());
    let (reader, kept) = (
        hound::WavReader::open(bench.capture()).unwrap(),
        fs::read(bench.capture()).unwrap(),
    );
    assert_eq!(
        (reader.spec().channels, reader.duration() as usize),
        (1, bytes.len() / 2)
    );
    assert!(kept.ends_with(&bytes));
    // The figures are those of one channel alone.
    let alone = Bench::new();
    let (_, wanted) = held(&alone, mono, &bytes, 480);
    assert_eq!(
        measured(&record).scored.digits,
        measured(&wanted).scored.digits
    );
    assert_eq!(
        standing(&events).len(),
        measured(&record).scored.digits.len()
    );
    // Channels that part later end the capture, and what came before is kept.
    let bench = Bench::new();
    let mut sitting = bench.begin(format);
    let half = twice.len() / 8 * 4;
    sitting.push(&twice[..half], Arrival::default()).unwrap();
    let parted = sitting.push(&[1, 0, 2, 0], Arrival::default());
    assert!(matches!(parted, Err(Error::Parted)), "{parted:?}");
    drop(sitting);
    assert_eq!(
        hound::WavReader::open(bench.capture()).unwrap().duration() as usize,
        half / 4
    );
    // A channel that was chosen is kept among the others.
    let bench = Bench::new();
    let mut chosen = Sitting::begin(Setup {
        format,
        channel: Channel::Number(2),
        settings: bench.settings.clone(),
        capture: bench.capture(),
    })
    .unwrap();
    chosen.push(&twice, Arrival::default()).unwrap();
    let (record, _) = chosen.finish();
    assert_eq!(measured(&record).facts.channels, 2);
}

#[test]
fn a_capture_never_overwrites() {
    let bench = Bench::new();
    fs::write(bench.capture(), "mine").unwrap();
    let format = Format {
        sample_rate_hz: RATE,
        channels: 1,
        encoding: Encoding::I16,
    };
    let setup = Setup {
        format,
        channel: Channel::Auto,
        settings: Settings::default(),
        capture: bench.capture(),
    };
    let refused = Sitting::begin(setup).map(|_| ()).unwrap_err();
    assert!(matches!(refused, Error::Exists(_)), "{refused}");
    assert_eq!(fs::read_to_string(bench.capture()).unwrap(), "mine");
}

#[test]
fn a_capture_that_is_cut_off_at_any_time_can_be_read() {
    let (format, bytes) = demo("number-1234567.wav");
    let bench = Bench::new();
    let mut sitting = bench.begin(format);
    let copy = bench.folder.path().join("copy.wav");
    for (index, block) in bytes.chunks(4801 * format.frame_bytes()).enumerate() {
        if index == 20 {
            sitting.gap(Some(100), LostHow::Counted).unwrap();
        }
        sitting.push(block, Arrival::default()).unwrap();
        // What kill -9 leaves: the file as it stands, without an ending.
        fs::copy(bench.capture(), &copy).unwrap();
        let record = drive::record(&copy, &Options::default(), &bench.settings, &mut |_, _| {});
        let Ok(kept) = record.outcome else {
            assert!(sitting.captured_s() < 0.25, "{:?}", record.outcome);
            continue;
        };
        let lost = sitting.captured_s() - kept.duration_s();
        assert!((0.0..=0.25).contains(&lost), "{lost} s are lost");
        let codes: Vec<_> = kept.warnings.iter().map(|w| w.code).collect();
        let expected: &[&str] = if index < 20 { &[] } else { &["marked-gap"] };
        assert_eq!(codes, expected);
    }
}
