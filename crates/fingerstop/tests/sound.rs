//! `listen` with a sound server and a driver, but without a sound card: a null sink of a server of its own, and the
//! `file` plugin of ALSA.
//!
//! Needs pulseaudio, pacat and libasound2, which `cargo xtask test` installs; fails without them.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[allow(dead_code, reason = "one test needs a part of it")]
#[path = "../../live/tests/support/browser.rs"]
mod browser;
#[path = "support/sound_server.rs"]
mod sound_server;

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use browser::Serving;
use serde_json::Value;
use sound_server::{RATE, SoundServer};
use tempfile::TempDir;

const LIMITS: &str = "us-1956-later";
/// What is played.
const PLAYED: &str = "play.raw";

/// A folder of its own, with what is played in it. What comes first is dropped first.
struct Bench {
    server: SoundServer,
    folder: TempDir,
}

impl Bench {
    fn new() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let bench = Bench {
            server: SoundServer::new(folder.path()),
            folder,
        };
        let digits = bench.command(&[
            "synth",
            "-o",
            "source.wav",
            "--digits",
            "2507",
            "--rate",
            "48000",
            "--encoding",
            "s16",
            "--noise",
            "45",
        ]);
        run(digits);
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        self.server
            .program(env!("CARGO_BIN_EXE_fingerstop"), arguments)
    }

    /// Plays the source into the null sink, until it has been played.
    fn play(&self) {
        self.write_raw();
        run(self.server.player(PLAYED));
    }

    fn write_raw(&self) {
        let bytes: Vec<u8> = samples(&self.path("source.wav"))
            .iter()
            .flat_map(|x| x.to_le_bytes())
            .collect();
        fs::write(self.path(PLAYED), bytes).unwrap();
    }

    /// Plays with room before and after: a client can lose the start.
    fn play_whole(&self) {
        sleep(Duration::from_secs(2));
        self.play();
        sleep(Duration::from_secs(1));
    }

    /// Begins to listen, and waits for the first block.
    fn listen(&self, arguments: &[&str]) -> Listening {
        let mut all = vec!["listen", "--format", "ndjson", "--limits", LIMITS, "-q"];
        all.extend(arguments);
        let mut child = self
            .command(&all)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap());
        let mut listening = Listening {
            child,
            lines,
            seen: Vec::new(),
        };
        listening.until("level");
        listening
    }

    /// What `check` says of a file, as a line.
    fn check(&self, name: &str) -> Value {
        let command = self.command(&["check", name, "--limits", LIMITS, "--format", "ndjson"]);
        let mut command = command;
        let done = command.output().unwrap();
        serde_json::from_slice(&done.stdout).unwrap()
    }
}

/// A command that listens.
struct Listening {
    child: Child,
    lines: BufReader<ChildStdout>,
    seen: Vec<Value>,
}

impl Listening {
    /// Reads up to an event of that kind and gives it.
    fn until(&mut self, event: &str) -> Value {
        loop {
            let line = self
                .line()
                .unwrap_or_else(|| panic!("no {event}: {:?}", self.errors()));
            if line["event"] == event {
                return line;
            }
        }
    }

    fn line(&mut self) -> Option<Value> {
        let mut text = String::new();
        if self.lines.read_line(&mut text).unwrap() == 0 {
            return None;
        }
        let line: Value = serde_json::from_str(&text).unwrap();
        self.seen.push(line.clone());
        Some(line)
    }

    fn errors(&mut self) -> String {
        let mut text = String::new();
        let mut errors = self.child.stderr.take().unwrap();
        std::io::Read::read_to_string(&mut errors, &mut text).unwrap();
        text
    }

    fn interrupt(&self) {
        let kill = Command::new("kill")
            .args(["-INT", &self.child.id().to_string()])
            .status();
        assert!(kill.unwrap().success());
    }

    /// Reads to the end: all lines, standard error and exit code.
    fn end(mut self) -> (Vec<Value>, String, Option<i32>) {
        while self.line().is_some() {}
        let errors = self.errors();
        let code = self.child.wait().unwrap().code();
        (self.seen, errors, code)
    }
}

fn run(mut command: Command) {
    let done = command.output().unwrap_or_else(|error| {
        panic!("{command:?}: {error}; `cargo xtask test` installs what is needed")
    });
    assert!(done.status.success(), "{command:?}: {done:?}");
}

fn samples(path: &Path) -> Vec<i16> {
    let mut reader = hound::WavReader::open(path).unwrap();
    assert_eq!(
        (reader.spec().sample_rate as usize, reader.spec().channels),
        (RATE, 1)
    );
    reader.samples::<i16>().map(Result::unwrap).collect()
}

/// Samples of a mono WAV file of floats that were 16 bits before.
fn floats(path: &Path) -> Vec<i16> {
    let reader = hound::WavReader::open(path).unwrap();
    assert_eq!(reader.spec().channels, 1, "a mono input comes out twice");
    let of = |x: f32| {
        // In Chromium full scale is 32767 upwards.
        let code = x * if x > 0.0 { 32_767.0 } else { 32_768.0 };
        assert!(
            (code - code.round()).abs() < 0.01,
            "{x} was resampled or scaled"
        );
        code.round() as i16
    };
    reader
        .into_samples::<f32>()
        .map(|x| of(x.unwrap()))
        .collect()
}

/// The digits as told, revised ones in their last state, without what only the lines have.
fn told(lines: &[Value]) -> Vec<Value> {
    let mut digits: Vec<Value> = Vec::new();
    for line in lines {
        let index = line["index"].as_u64().unwrap_or(0) as usize;
        match line["event"].as_str() {
            Some("digit" | "doubtful") => {
                assert_eq!(index, digits.len());
                digits.push(line.clone());
            }
            Some("revised") => digits[index] = line.clone(),
            Some("withdrawn") => panic!("{line}"),
            _ => {}
        }
    }
    digits
}

/// The last line is what `check` says of the capture, and what was told of each digit is what the report has.
fn assert_agrees(bench: &Bench, lines: &[Value], capture: &str) -> Value {
    let report = lines.last().unwrap();
    assert_eq!(*report, bench.check(capture));
    let digits = report["digits"].as_array().unwrap();
    let told = told(lines);
    assert!(!told.is_empty());
    for (told, digit) in told.iter().zip(digits) {
        for field in [
            "digit",
            "pulses",
            "speed_pps",
            "percent_break",
            "break_ms",
            "make_ms",
            "verdict",
            "sure",
            "doubt",
            "pulses_detail",
            "start_s",
            "end_s",
        ] {
            assert_eq!(told[field], digit[field], "{field}");
        }
    }
    report.clone()
}

/// That a line of the program says so.
fn assert_says(line: &Value, text: &str) {
    assert!(line["text"].as_str().unwrap().contains(text), "{line}");
}

/// One text of each entry of a list.
fn texts<'a>(list: &'a Value, key: &str) -> Vec<&'a str> {
    let entries = list.as_array().unwrap().iter();
    entries.map(|entry| entry[key].as_str().unwrap()).collect()
}

#[test]
fn a_sound_server_gives_the_samples_that_were_played() {
    let mut bench = Bench::new();
    bench.server.start();
    let listening = bench.listen(&["--device", "bench.monitor", "-o", "cap.wav"]);
    bench.play_whole();
    listening.interrupt();
    let (lines, errors, code) = listening.end();
    let report = assert_agrees(&bench, &lines, "cap.wav");
    // Every sample that was played is in the capture, in a row; but a player may fade its first moments in.
    let (played, captured) = (
        samples(&bench.path("source.wav")),
        samples(&bench.path("cap.wav")),
    );
    let played = &played[RATE / 4..];
    let from = captured
        .windows(64)
        .position(|window| window == &played[..64])
        .unwrap_or_else(|| panic!("the source is not in the capture: {errors}"));
    assert!(
        captured[from..from + played.len()] == *played,
        "samples were lost or changed"
    );
    let source = bench.check("source.wav");
    let digits = report["digits"].as_array().unwrap();
    assert_eq!(digits.len(), 4);
    for (captured, source) in digits.iter().zip(source["digits"].as_array().unwrap()) {
        assert_eq!(captured["digit"], source["digit"]);
        assert_eq!(captured["sure"], true, "{captured}");
        assert_eq!(captured["verdict"], source["verdict"]);
        for quantity in ["speed_pps", "percent_break"] {
            let part = |of: &Value, part: &str| of[quantity][part].as_f64().unwrap();
            let off = (part(captured, "value") - part(source, "value")).abs();
            assert!(off <= part(source, "u95"), "{quantity} off by {off}");
        }
    }
    assert_eq!(
        code,
        Some(i32::from(source["verdict"] == "fail")),
        "{errors}"
    );
}

#[test]
fn the_bench_page_has_every_sample_of_a_sound_server() {
    browser::patiently(|| {
        let mut bench = Bench::new();
        let mut scenario = synth::Scenario {
            numbers: vec![2, 5, 10, 7],
            // A browser takes its time.
            lead_in_s: 6.0,
            ..synth::Scenario::default()
        };
        scenario.recorder.noise_db = Some(45.0);
        let source = synth::render(&scenario);
        synth::write_wav(&source, synth::Encoding::S16, bench.path("source.wav")).unwrap();
        bench.server.start();
        bench.server.add_microphone();
        let serving = Serving::start(bench.command(&["serve", "--limits", LIMITS, "-q"]));
        let driver = bench.server.program(browser::DRIVER, &[]);
        let mut shown = Vec::new();
        browser::with_system(driver, &[], async |browser| {
            browser.open(&serving.url).await;
            browser.wait_for("#state", "Ready").await;
            bench.write_raw();
            // It plays first: two channels of zeros do not tell that they are one.
            let mut player = bench.server.player(PLAYED).spawn().unwrap();
            browser.press(" ").await;
            browser.wait_for("#state", "Capturing").await;
            for digit in ["2", "5", "0", "7"] {
                browser.wait_for("#digit", digit).await;
                shown.push(browser.text("#speed-u95").await);
            }
            browser.press(" ").await;
            browser.wait_for("#kept", "Captured 2 5 0 7").await;
            player.wait().unwrap();
        });
        let (played, captured) = (
            samples(&bench.path("source.wav")),
            floats(&bench.path("bench-001.wav")),
        );
        // A place in noise before the first digit, and from there on all of it, up to where the capture ended.
        let (needle, place) = (&captured[..64], "the capture is no part of what was played");
        let from = played.windows(64).position(|w| w == needle).expect(place);
        let both = captured.len().min(played.len() - from);
        assert!(
            captured[..both] == played[from..from + both],
            "samples were lost or changed"
        );
        assert!(both > 5 * RATE, "only {both} samples");
        let report = bench.check("bench-001.wav");
        let digits = report["digits"].as_array().unwrap();
        assert_eq!(texts(&report["digits"], "digit"), ["2", "5", "0", "7"]);
        for (digit, shown) in digits.iter().zip(&shown) {
            assert_eq!(digit["sure"], true, "{digit}");
            let value = digit["speed_pps"]["value"].as_f64().unwrap();
            assert!(
                shown.starts_with(&format!("{value:.3}")[..5]),
                "{shown} is not {value}"
            );
        }
    });
}

#[test]
fn a_server_that_goes_away_is_told_and_capturing_goes_on_when_it_is_back() {
    let mut bench = Bench::new();
    bench.server.start();
    let mut listening = bench.listen(&["--device", "bench.monitor", "-o", "cap.wav"]);
    bench.play_whole();
    bench.server.stop();
    let gone = listening.until("note");
    assert_says(&gone, "the sound server is gone");
    bench.server.start();
    let back = listening.until("note");
    assert_says(&back, "is back");
    let lost = listening.until("lost");
    assert_eq!(lost["how"], "away");
    listening.until("level");
    bench.play_whole();
    listening.interrupt();
    let (lines, errors, _) = listening.end();
    let report = assert_agrees(&bench, &lines, "cap.wav");
    let sent = texts(&report["digits"], "digit");
    assert_eq!(sent, ["2", "5", "0", "7", "2", "5", "0", "7"], "{errors}");
    let codes = texts(&report["trace"]["warnings"], "code");
    assert!(codes.contains(&"marked-gap"), "{codes:?}");
}

#[test]
fn a_device_that_comes_back_with_another_rate_ends_the_capture_with_its_report() {
    let mut bench = Bench::new();
    bench.server.start();
    let mut listening = bench.listen(&["--device", "bench.monitor", "-o", "cap.wav"]);
    bench.play_whole();
    bench.server.stop();
    listening.until("note");
    bench.server.start_at(44_100);
    // It ends by itself.
    let (lines, errors, _) = listening.end();
    assert!(errors.contains("44100 Hz"), "{errors}");
    let report = assert_agrees(&bench, &lines, "cap.wav");
    assert_eq!(texts(&report["digits"], "digit"), ["2", "5", "0", "7"]);
}

#[test]
fn the_inputs_of_a_server_are_listed() {
    let mut bench = Bench::new();
    bench.server.start();
    let listed = bench.command(&["listen", "--devices"]).output().unwrap();
    assert_eq!(listed.status.code(), Some(0));
    let text = String::from_utf8(listed.stdout).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("* bench.monitor"), "{text}");
    let facts = lines.next().unwrap();
    assert!(
        facts.contains("48000 Hz, 1 channel, 16 bit")
            && facts.contains("hears what the computer plays"),
        "{text}"
    );
}

#[test]
fn an_input_that_the_server_suspends_is_told_and_leaves_a_gap() {
    let mut bench = Bench::new();
    bench.server.start();
    let mut listening = bench.listen(&["--device", "bench.monitor", "-o", "cap.wav"]);
    let suspend = |on: &str| {
        run(bench
            .server
            .program("pactl", &["suspend-sink", "bench", on]))
    };
    sleep(Duration::from_secs(1));
    suspend("1");
    let note = listening.until("note");
    assert_says(&note, "suspended the input");
    sleep(Duration::from_secs(1));
    suspend("0");
    listening.until("lost");
    listening.until("level");
    bench.play_whole();
    listening.interrupt();
    let (lines, errors, _) = listening.end();
    let report = assert_agrees(&bench, &lines, "cap.wav");
    let digits = report["digits"].as_array().unwrap();
    let sure = digits.iter().filter(|digit| digit["sure"] == true).count();
    assert_eq!((digits.len(), sure), (4, 4), "{errors}");
}

#[test]
fn a_program_that_does_not_get_to_read_for_a_while_loses_nothing() {
    let mut bench = Bench::new();
    bench.server.start();
    let listening = bench.listen(&["--device", "bench.monitor", "-o", "cap.wav"]);
    let signal = |which: &str| {
        let id = listening.child.id().to_string();
        run(bench.server.program("kill", &[which, &id]));
    };
    sleep(Duration::from_secs(2));
    std::thread::scope(|scope| {
        scope.spawn(|| bench.play());
        sleep(Duration::from_secs(3));
        signal("-STOP");
        sleep(Duration::from_millis(1500));
        signal("-CONT");
    });
    sleep(Duration::from_secs(1));
    listening.interrupt();
    let (lines, errors, _) = listening.end();
    assert_agrees(&bench, &lines, "cap.wav");
    let (played, captured) = (
        samples(&bench.path("source.wav")),
        samples(&bench.path("cap.wav")),
    );
    let played = &played[RATE / 4..];
    let from = captured
        .windows(64)
        .position(|window| window == &played[..64]);
    let from = from.unwrap_or_else(|| panic!("the source is not in the capture: {errors}"));
    assert!(captured[from..from + played.len()] == *played, "{errors}");
}

/// ALSA's `file` plugin reads the source from `source.raw` as fast as it is asked.
fn with_driver(bench: &Bench, command: &mut Command) {
    with_driver_of(bench, &samples(&bench.path("source.wav")), command);
}

fn with_driver_of(bench: &Bench, samples: &[i16], command: &mut Command) {
    let source = bench.path("source.raw");
    let bytes: Vec<u8> = samples
        .iter()
        .flat_map(|x| {
            let wide = (i32::from(*x) << 16).to_le_bytes();
            [wide, wide].concat()
        })
        .collect();
    fs::write(&source, bytes).unwrap();
    let configuration = format!(
        "pcm.bench {{ type file slave.pcm {{ type null }} file \"/dev/null\" infile \"{}\" format raw }}\n\
         pcm.default {{ type plug slave.pcm \"bench\" }}\n",
        source.display()
    );
    fs::write(bench.path("asound.conf"), configuration).unwrap();
    command.env("ALSA_CONFIG_PATH", bench.path("asound.conf"));
}

#[test]
fn a_driver_gives_the_same_figures_as_the_source_to_the_last_bit() {
    let bench = Bench::new();
    let frames = samples(&bench.path("source.wav")).len();
    let seconds = format!("{:.6}", frames as f64 / RATE as f64);
    let mut command = bench.command(&[
        "listen",
        "--device",
        "alsa:bench",
        "--stop-after",
        &seconds,
        "-o",
        "cap.wav",
        "--format",
        "ndjson",
        "--limits",
        LIMITS,
        "-q",
    ]);
    with_driver(&bench, &mut command);
    let done = command.output().unwrap();
    let lines: Vec<Value> = String::from_utf8(done.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let errors = String::from_utf8(done.stderr).unwrap();
    assert!(!lines.is_empty(), "{errors}");
    let report = assert_agrees(&bench, &lines, "cap.wav");
    let source = bench.check("source.wav");
    assert_eq!(report["digits"], source["digits"]);
    assert_eq!(report["checks"], source["checks"]);
    assert_eq!(lines[0]["way"], "alsa");
    assert!(
        !lines.iter().any(|line| line["event"] == "lost"),
        "{lines:?}"
    );
}

#[test]
fn without_a_server_the_driver_is_taken_by_itself() {
    let bench = Bench::new();
    let arguments = [
        "listen",
        "--stop-after",
        "6",
        "-o",
        "cap.wav",
        "--format",
        "ndjson",
        "-q",
    ];
    let mut command = bench.command(&arguments);
    with_driver(&bench, &mut command);
    let done = command.output().unwrap();
    let errors = String::from_utf8(done.stderr).unwrap();
    let text = String::from_utf8(done.stdout).unwrap();
    let first: Value = serde_json::from_str(text.lines().next().expect(&errors)).unwrap();
    assert_eq!(first["way"], "alsa", "{first}");
    let last: Value = serde_json::from_str(text.lines().last().unwrap()).unwrap();
    assert!(last["digits"].as_array().unwrap().len() >= 3, "{last}");
}

#[test]
fn kill_9_leaves_a_capture_that_can_be_read() {
    let mut bench = Bench::new();
    bench.server.start();
    let mut listening = bench.listen(&["--device", "bench.monitor", "-o", "cap.wav"]);
    sleep(Duration::from_secs(2));
    bench.play();
    listening.child.kill().unwrap();
    listening.child.wait().unwrap();
    let kept = bench.check("cap.wav");
    assert_eq!(kept["error"], Value::Null);
    assert!(kept["digits"].as_array().unwrap().len() >= 3, "{kept}");
}

#[test]
fn a_full_disk_is_told_at_once_and_what_was_captured_is_kept() {
    let bench = Bench::new();
    // Blocks of 512 or 1024 bytes: some 3 or 6 s of 192 kB each, one of two like channels; less than the source.
    let script = format!(
        "trap '' XFSZ; ulimit -f 1100; exec '{}' listen --device alsa:bench --stop-after 60 -o cap.wav --limits {LIMITS} -q",
        env!("CARGO_BIN_EXE_fingerstop")
    );
    let mut command = bench.server.program("sh", &["-c", &script]);
    with_driver(&bench, &mut command);
    let done = command.output().unwrap();
    let errors = String::from_utf8(done.stderr).unwrap();
    assert_eq!(done.status.code(), Some(3), "{errors}");
    assert!(
        errors.contains("the disk is full; what was captured up to here is kept"),
        "{errors}"
    );
    let kept = bench.check("cap.wav");
    assert_eq!(kept["error"], Value::Null, "{kept}");
    let length = kept["trace"]["duration_s"].as_f64().unwrap();
    assert!((2.0..7.0).contains(&length), "{length} s are kept");
    assert!(String::from_utf8(done.stdout).unwrap().contains("cap.wav"));
}

#[test]
fn what_cannot_be_had_is_told_in_one_line() {
    let bench = Bench::new();
    let told = |arguments: &[&str]| {
        let done = bench.command(arguments).output().unwrap();
        assert_eq!(done.status.code(), Some(3));
        String::from_utf8(done.stderr).unwrap()
    };
    let missing = told(&["listen", "--device", "nowhere"]);
    assert!(
        missing.contains("cannot open the input nowhere"),
        "{missing}"
    );
    assert_eq!(missing.lines().count(), 1, "{missing}");
    fs::File::create(bench.path("mine.wav"))
        .unwrap()
        .write_all(b"mine")
        .unwrap();
    let there = told(&["listen", "-o", "mine.wav"]);
    assert!(
        there.contains("mine.wav exists, and a capture never overwrites a file"),
        "{there}"
    );
    assert_eq!(fs::read(bench.path("mine.wav")).unwrap(), b"mine");
}

#[test]
fn a_probe_check_says_what_is_fit_and_how_to_mend_the_rest() {
    let bench = Bench::new();
    let checked = |scale: i16| {
        let mut command = bench.command(&[
            "listen",
            "--device",
            "alsa:bench",
            "--probe-check",
            "--stop-after",
            "6",
            "-q",
        ]);
        let source: Vec<i16> = samples(&bench.path("source.wav"))
            .iter()
            .map(|x| x.saturating_mul(scale))
            .collect();
        with_driver_of(&bench, &source, &mut command);
        let done = command.output().unwrap();
        let text = String::from_utf8(done.stdout).unwrap();
        (text, done.status.code())
    };
    let (fit, code) = checked(1);
    assert_eq!(code, Some(0), "{fit}");
    assert!(fit.contains("FIT: this set-up can judge dials"), "{fit}");
    assert!(!fit.contains("level     unfit"), "{fit}");
    let (unfit, code) = checked(9);
    assert_eq!(code, Some(1), "{unfit}");
    assert!(unfit.contains("NOT FIT"), "{unfit}");
    assert!(unfit.contains("clipping  unfit"), "{unfit}");
    assert!(unfit.contains("to mend: turn the input down"), "{unfit}");
}

#[test]
fn a_calibrated_input_is_known_from_then_on() {
    let bench = Bench::new();
    let listen = |more: &[&str], source: &[i16]| {
        let all = [&["listen", "--device", "alsa:bench", "-q"], more].concat();
        let mut command = bench.command(&all);
        with_driver_of(&bench, source, &mut command);
        let done = command.output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{done:?}");
        String::from_utf8(done.stdout).unwrap()
    };
    // A recorder 40 ppm slow hears 1000 Hz as 1000.04 Hz.
    let tone: Vec<i16> = (0..10 * RATE)
        .map(|n| {
            let turns = 1000.04 * n as f64 / RATE as f64;
            (9000.0 * (std::f64::consts::TAU * turns.fract()).sin()) as i16
        })
        .collect();
    let said = listen(
        &["--calibrate-clock", "1000:1", "--stop-after", "9.9"],
        &tone,
    );
    assert!(said.contains("runs 40.0 ± 1.0 ppm slow"), "{said}");
    let source = samples(&bench.path("source.wav"));
    let said = listen(&["--calibrate-level", "40", "--stop-after", "6"], &source);
    assert!(said.contains("is 40 mA"), "{said}");
    let report = listen(&["--format", "ndjson", "--stop-after", "6"], &source);
    let report: Value = serde_json::from_str(report.lines().last().unwrap()).unwrap();
    let clock = report["trace"]["clock_ppm"].as_f64().unwrap();
    assert!((40.9..41.2).contains(&clock), "{clock}");
    let fit = listen(&["--probe-check", "--stop-after", "6"], &source);
    assert!(fit.contains("(40.0 mA as calibrated)"), "{fit}");
    let config = fs::read_to_string(bench.path("config/fingerstop/config.json")).unwrap();
    let config: Value = serde_json::from_str(&config).unwrap();
    let known = &config["inputs"]["alsa:bench"];
    assert!(
        (known["clock_offset_ppm"].as_f64().unwrap() + 40.0).abs() < 0.1,
        "{known}"
    );
    assert!(known["full_scale_ma"].as_f64().unwrap() > 40.0, "{known}");
}
