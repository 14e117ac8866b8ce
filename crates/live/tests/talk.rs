//! What page and program say to each other, asked by a client that is no browser: a known recording is streamed as a
//! page would, and the figures are held against `check` on the capture that was kept.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::io::ErrorKind;
use std::net::TcpStream;
use std::path::Path;
use std::time::{Duration, Instant};

use drive::Options;
use report::Measured;
use score::Settings;
use serde_json::{Value, json};
use support::Served;
use synth::{Dial, Recorder, Scenario};
use tungstenite::client::IntoClientRequest;
use tungstenite::http::HeaderValue;
use tungstenite::{Error, Message, WebSocket};

const RATE_HZ: u32 = 48_000;
/// Frames of a block, as the page sends them.
const FRAMES: usize = 1024;
const LIMITS: &str = "us-1956-later";

/// A page that talks by hand.
struct Hand {
    socket: WebSocket<TcpStream>,
    heard: Vec<Value>,
}

impl Hand {
    fn open(served: &Served) -> Hand {
        let mut request = format!("ws://{}/live", served.local)
            .into_client_request()
            .unwrap();
        let headers = request.headers_mut();
        let origin = format!("http://{}", served.local);
        headers.insert("origin", HeaderValue::from_str(&origin).unwrap());
        let protocol = format!("fingerstop.bench.1, {}", served.token);
        headers.insert(
            "sec-websocket-protocol",
            HeaderValue::from_str(&protocol).unwrap(),
        );
        let stream = TcpStream::connect(served.local).unwrap();
        let (socket, answer) = tungstenite::client(request, stream).unwrap();
        assert_eq!(
            answer.headers().get("sec-websocket-protocol").unwrap(),
            "fingerstop.bench.1"
        );
        socket
            .get_ref()
            .set_read_timeout(Some(Duration::from_millis(5)))
            .unwrap();
        Hand {
            socket,
            heard: Vec::new(),
        }
    }

    fn say(&mut self, message: &Value) {
        self.socket
            .send(Message::text(message.to_string()))
            .unwrap();
    }

    /// Takes in what has come; false when the other side has closed.
    fn listen(&mut self) -> bool {
        loop {
            match self.socket.read() {
                Ok(Message::Text(text)) => self.heard.push(serde_json::from_str(&text).unwrap()),
                Ok(Message::Close(_)) | Err(Error::ConnectionClosed | Error::AlreadyClosed) => {
                    return false;
                }
                Ok(_) => {}
                Err(Error::Io(error))
                    if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) =>
                {
                    return true;
                }
                Err(_) => return false,
            }
        }
    }

    /// Waits for a message of that kind that has not been waited for yet.
    fn wait(&mut self, kind: &str) -> Value {
        let until = Instant::now() + Duration::from_secs(20);
        let mut open = true;
        loop {
            if let Some(place) = self.heard.iter().position(|said| said["say"] == kind) {
                return self.heard.remove(place);
            }
            assert!(
                open && Instant::now() < until,
                "no {kind}; the last were {:?}",
                self.heard.iter().rev().take(3).collect::<Vec<_>>()
            );
            open = self.listen();
        }
    }

    fn all(&self, kind: &str) -> Vec<&Value> {
        self.heard
            .iter()
            .filter(|said| said["say"] == kind)
            .collect()
    }

    fn begin(&mut self, channels: u16) {
        self.say(&begin(channels));
        self.wait("begun");
    }

    /// Streams `samples` of one channel from block `from` on, leaving `left_out` out, by a clock that keeps pace.
    fn stream(&mut self, samples: &[f32], from: usize, left_out: std::ops::Range<usize>) {
        for (number, block) in samples.chunks(FRAMES).enumerate().skip(from) {
            if left_out.contains(&number) {
                continue;
            }
            self.socket
                .send(Message::binary(packed(number, block)))
                .unwrap();
            if number % 16 == 0 {
                self.listen();
            }
        }
    }
}

fn begin(channels: u16) -> Value {
    json!({ "say": "begin", "sample_rate_hz": RATE_HZ, "channels": channels, "device": "test",
        "processing": { "echoCancellation": false, "noiseSuppression": false, "autoGainControl": false } })
}

fn packed(number: usize, samples: &[f32]) -> Vec<u8> {
    let frame = (number * FRAMES) as f64;
    let mut bytes = Vec::new();
    bytes.extend((number as u32).to_le_bytes());
    bytes.extend([1, 0, 0, 0]);
    bytes.extend(frame.to_le_bytes());
    bytes.extend((1000.0 * frame / f64::from(RATE_HZ)).to_le_bytes());
    bytes.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
    bytes
}

fn samples(numbers: &[u8]) -> Vec<f32> {
    let scenario = Scenario {
        dial: Dial {
            speed_pps: 8.2,
            percent_break: 62.0,
            ..Dial::default()
        },
        numbers: numbers.to_vec(),
        pauses_s: vec![1.2],
        recorder: Recorder {
            noise_db: Some(50.0),
            sample_rate_hz: f64::from(RATE_HZ),
            ..Recorder::default()
        },
        lead_in_s: 2.0,
        tail_s: 2.0,
        ..Scenario::default()
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sound.wav");
    let rendered = synth::render(&scenario);
    synth::write_wav(&rendered, synth::Encoding::S16, &path).unwrap();
    let mut reader = hound::WavReader::open(&path).unwrap();
    reader
        .samples::<i16>()
        .map(|sample| f32::from(sample.unwrap()) / 32_768.0)
        .collect()
}

fn checked(path: &Path) -> Measured {
    let settings = Settings {
        limits: Some(score::limits::find(LIMITS).unwrap().clone()),
        ..Settings::default()
    };
    let record = drive::record(path, &Options::default(), &settings, &mut |_, _| {});
    *record.outcome.unwrap()
}

#[test]
fn figures_are_those_of_check_to_the_last_bit() {
    let served = Served::judging(LIMITS);
    let mut hand = Hand::open(&served);
    let hello = hand.wait("hello");
    assert_eq!(hello["chosen"]["limits"], LIMITS);
    hand.begin(1);
    hand.stream(&samples(&[10, 5, 1]), 0, 0..0);
    let told: Vec<Value> = (0..3).map(|_| hand.wait("digit")).collect();
    hand.say(&json!({ "say": "end" }));
    let ended = hand.wait("ended");
    assert_eq!(ended["failed"], json!(false));
    let kept = checked(&served.kept("wav")[0]);
    assert_eq!(kept.scored.digits.len(), 3);
    for (told, digit) in told.iter().zip(&kept.scored.digits) {
        assert_eq!(told["digit"].as_str(), digit.digit.as_deref());
        assert_eq!(told["sure"], json!(digit.sure));
        assert_eq!(told["verdict"], report::verdict_code(digit.verdict));
        assert_eq!(
            told["speed"]["value"].as_f64(),
            digit.speed_pps.map(|value| value.value)
        );
        assert_eq!(
            told["percent"]["value"].as_f64(),
            digit.percent_break.map(|value| value.value)
        );
        for (told, pulse) in told["pulses_detail"]
            .as_array()
            .unwrap()
            .iter()
            .zip(&digit.pulses_detail)
        {
            assert_eq!(told["break_ms"].as_f64(), Some(pulse.break_ms));
        }
    }
    // The end of a capture has nothing to add to digits that were over long before.
    assert!(hand.all("attempts").is_empty());
}

#[test]
fn an_input_with_voice_processing_leaves_no_file() {
    let served = Served::new();
    let mut hand = Hand::open(&served);
    for name in ["echoCancellation", "noiseSuppression", "autoGainControl"] {
        let mut begin = begin(1);
        begin["processing"][name] = json!(true);
        hand.say(&begin);
        let refused = hand.wait("refused");
        assert!(
            refused["words"]
                .as_str()
                .unwrap()
                .contains("nothing is measured")
        );
    }
    assert!(served.kept("wav").is_empty());
    // A browser that says nothing of it gets the benefit of the doubt, and the user a warning.
    let mut begin = begin(1);
    begin["processing"]["autoGainControl"] = Value::Null;
    hand.say(&begin);
    hand.wait("begun");
    let caution = hand.wait("caution");
    assert!(
        caution["words"]
            .as_str()
            .unwrap()
            .contains("does not say whether automatic gain control is off")
    );
}

#[test]
fn rates_and_channels_that_cannot_be_measured_are_refused() {
    let served = Served::new();
    let mut hand = Hand::open(&served);
    for (field, value) in [
        ("sample_rate_hz", json!(44_100.5)),
        ("sample_rate_hz", json!(1000)),
        ("sample_rate_hz", json!(1e12)),
        ("channels", json!(0)),
        ("channels", json!(200)),
    ] {
        let mut begin = begin(1);
        begin[field] = value;
        hand.say(&begin);
        hand.wait("refused");
    }
    assert!(served.kept("wav").is_empty());
}

#[test]
fn blocks_that_never_come_are_a_gap_and_the_digit_is_not_sure() {
    let served = Served::judging(LIMITS);
    let samples = samples(&[10, 10]);
    let mut hand = Hand::open(&served);
    hand.begin(1);
    // Ten blocks of 21 ms in the middle of the first digit, which begins at 2 s.
    hand.stream(&samples, 0, 120..130);
    hand.say(&json!({ "say": "end" }));
    hand.wait("ended");
    let gap = hand.wait("caution");
    assert_eq!(gap["code"], "gap");
    assert!(
        gap["words"]
            .as_str()
            .unwrap()
            .contains("of 213 ms: samples are missing"),
        "{gap}"
    );
    let kept = checked(&served.kept("wav")[0]);
    let last = kept.scored.digits.last().unwrap();
    assert_eq!((last.pulses, last.sure), (10, true));
    assert!(
        kept.scored.digits[..kept.scored.digits.len() - 1]
            .iter()
            .all(|digit| !digit.sure)
    );
    assert!(
        hand.all("digit")
            .iter()
            .filter(|told| told["sure"] == true)
            .count()
            <= 1
    );
}

#[test]
fn a_page_that_comes_back_goes_on_where_it_was() {
    let served = Served::judging(LIMITS);
    let samples = samples(&[10, 7]);
    let mut hand = Hand::open(&served);
    let page = hand.wait("hello")["page"].clone();
    hand.begin(1);
    // Cut in the middle of the first digit, without a word.
    hand.stream(&samples[..130 * FRAMES], 0, 0..0);
    drop(hand);
    let mut hand = Hand::open(&served);
    assert_ne!(hand.wait("hello")["page"], page);
    hand.say(&json!({ "say": "resume", "page": page }));
    let resumed = hand.wait("resumed");
    let next = resumed["next_block"].as_u64().unwrap() as usize;
    assert_eq!(resumed["page"], page);
    assert!((1..=130).contains(&next), "{next}");
    // What had come already may come again.
    hand.stream(&samples, next - 1, 0..0);
    let told: Vec<Value> = (0..2).map(|_| hand.wait("digit")).collect();
    assert_eq!(
        (&told[0]["digit"], &told[1]["digit"]),
        (&json!("0"), &json!("7"))
    );
    assert!(told.iter().all(|told| told["sure"] == true));
    assert!(hand.all("caution").is_empty());
    hand.say(&json!({ "say": "end" }));
    hand.wait("ended");
    let kept = served.kept("wav");
    assert_eq!(kept.len(), 1);
    let mut reader = hound::WavReader::open(&kept[0]).unwrap();
    let written: Vec<f32> = reader.samples::<f32>().map(Result::unwrap).collect();
    assert_eq!(written, samples, "not a sample more or less");
}

#[test]
fn a_page_that_nobody_knows_begins_anew() {
    let served = Served::new();
    let mut hand = Hand::open(&served);
    hand.say(&json!({ "say": "resume", "page": "../../etc/passwd" }));
    hand.wait("unknown-page");
    hand.begin(1);
}

#[test]
fn limits_that_are_chosen_later_judge_what_was_dialled_before() {
    let served = Served::new();
    let mut hand = Hand::open(&served);
    hand.begin(1);
    hand.stream(&samples(&[10]), 0, 0..0);
    let told = hand.wait("digit");
    assert_eq!(
        (&told["verdict"], &told["word"]),
        (&json!("not-judged"), &json!("measured"))
    );
    hand.say(&json!({ "say": "choose", "limits": LIMITS, "plan": "standard", "dial_id": "A" }));
    let all = hand.wait("attempts");
    assert_eq!(all["attempts"][0]["verdict"], "fail");
    assert_eq!(all["attempts"][0]["limits"]["speed"]["lower"], json!(9.5));
    hand.say(&json!({ "say": "choose", "limits": LIMITS, "plan": "zero-first", "dial_id": "A" }));
    assert_eq!(hand.wait("attempts")["attempts"][0]["digit"], "9");
    for wrong in ["/etc/passwd", "../limits.toml", "no-such-set"] {
        hand.say(&json!({ "say": "choose", "limits": wrong, "plan": "standard", "dial_id": "" }));
        let words = hand.wait("caution")["words"].as_str().unwrap().to_owned();
        assert!(words.contains("there is no limit set"), "{words}");
    }
}

#[test]
fn figures_are_saved_beside_the_sound_and_reports_are_shown() {
    let served = Served::judging(LIMITS);
    let mut hand = Hand::open(&served);
    hand.begin(1);
    hand.say(&json!({ "say": "choose", "limits": LIMITS, "plan": "standard", "dial_id": "Dial <b>7</b>" }));
    hand.stream(&samples(&[10, 10]), 0, 0..0);
    (0..2).for_each(|_| drop(hand.wait("digit")));
    // While the capture is still open.
    hand.say(&json!({ "say": "save" }));
    let saved = hand.wait("caution");
    assert_eq!(saved["code"], "saved", "{saved}");
    let json: Value =
        serde_json::from_str(&std::fs::read_to_string(&served.kept("json")[0]).unwrap()).unwrap();
    assert_eq!(json["schema"], "fingerstop.measurement/1");
    assert_eq!(json["recordings"][0]["digits"].as_array().unwrap().len(), 2);
    assert_eq!(json["recordings"][0]["dial_id"], "Dial <b>7</b>");
    for (ask, title) in [("report", "Report"), ("compare", "First take and latest")] {
        hand.say(&json!({ "say": ask }));
        let report = hand.wait("report");
        assert_eq!(report["title"], title);
        let page = fetched(
            &served,
            &format!("/reports/{}", report["ticket"].as_str().unwrap()),
        );
        assert!(
            page.contains("sandbox allow-scripts"),
            "a report stands in a sandbox"
        );
        assert!(page.contains("pulsing speed"), "{page}");
        assert!(!page.contains("<b>7</b>"), "a name is text, never markup");
    }
    assert_eq!(served.kept("partial").len(), 0);
}

fn fetched(served: &Served, target: &str) -> String {
    use std::io::{Read, Write};
    let mut stream = TcpStream::connect(served.local).unwrap();
    write!(
        stream,
        "GET {target} HTTP/1.1\r\nHost: {}\r\n\r\n",
        served.local
    )
    .unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    String::from_utf8_lossy(&answer).into_owned()
}

#[test]
fn the_probe_check_says_whether_the_set_up_is_fit() {
    let served = Served::judging(LIMITS);
    let mut hand = Hand::open(&served);
    hand.begin(1);
    let samples = samples(&[10, 10, 10]);
    let quiet = 90;
    hand.stream(&samples[..quiet * FRAMES], 0, 0..0);
    hand.say(&json!({ "say": "probe", "on": true }));
    let before = hand.wait("probe");
    assert_eq!(before["fit"], "unknown", "{before}");
    assert!(
        before["caution"]
            .as_str()
            .unwrap()
            .contains("isolate and divide")
    );
    hand.stream(&samples, quiet, 0..0);
    (0..3).for_each(|_| drop(hand.wait("digit")));
    hand.say(&json!({ "say": "probe", "on": true }));
    hand.say(&json!({ "say": "probe", "on": false }));
    while hand.wait("probe")["on"] == true {}
    hand.say(&json!({ "say": "probe", "on": true }));
    let after = hand.wait("probe");
    let property = |name: &str| {
        let all = after["properties"].as_array().unwrap();
        let found = all.iter().find(|property| property["name"] == name);
        found
            .unwrap_or_else(|| panic!("no {name}: {after}"))
            .clone()
    };
    for name in ["level", "clipping", "noise", "hum", "coupling", "dropped"] {
        assert_eq!(property(name)["fit"], "good", "{}", property(name));
    }
}

#[test]
fn an_input_that_was_calibrated_is_known_from_then_on() {
    let served = Served::judging(LIMITS);
    let mut hand = Hand::open(&served);
    hand.begin(1);
    let known = hand.wait("known")["words"].to_string();
    assert!(
        known.contains("clock is not calibrated") && known.contains("good to 100 ppm"),
        "{known}"
    );
    // A recorder 40 ppm slow hears 1000 Hz as 1000.04 Hz.
    let tone: Vec<f32> = (0..61 * RATE_HZ)
        .map(|n| {
            let turns = 1000.04 * f64::from(n) / f64::from(RATE_HZ);
            (0.3 * (std::f64::consts::TAU * turns.fract()).sin()) as f32
        })
        .collect();
    hand.say(&json!({ "say": "calibrate-clock", "hz": 1000, "tolerance_ppm": 1 }));
    hand.wait("caution");
    hand.stream(&tone, 0, 0..0);
    let said = hand.wait("caution");
    let words = said["words"].as_str().unwrap();
    assert!(
        said["note"] == true && words.contains("runs 40.0 ± 1.0 ppm slow"),
        "{said}"
    );
    hand.say(&json!({ "say": "end" }));
    hand.wait("ended");

    // The next capture of that input counts it; what was wrong with the current is said.
    hand.begin(1);
    let known = hand.wait("known")["words"].to_string();
    while hand.heard.iter().any(|said| said["say"] == "known") {
        hand.wait("known");
    }
    assert!(known.contains("good to 41.0 ppm"), "{known}");
    hand.say(&json!({ "say": "calibrate-level", "current_ma": 40 }));
    let early = hand.wait("caution");
    assert!(
        early["words"].as_str().unwrap().contains("No sure digit"),
        "{early}"
    );
    hand.stream(&samples(&[10]), 0, 0..0);
    hand.wait("digit");
    hand.say(&json!({ "say": "calibrate-level", "current_ma": -1 }));
    let wrong = hand.wait("caution");
    assert!(
        wrong["words"].as_str().unwrap().contains("up to 1000 mA"),
        "{wrong}"
    );
    hand.say(&json!({ "say": "calibrate-level", "current_ma": 40 }));
    let said = hand.wait("caution");
    assert!(
        said["words"]
            .as_str()
            .unwrap()
            .contains("is 40 mA (1 digits"),
        "{said}"
    );
    hand.say(&json!({ "say": "probe", "on": true }));
    let level = hand.wait("probe")["properties"][0]["figure"].to_string();
    assert!(level.contains("(40.0 mA as calibrated)"), "{level}");
    let kept = std::fs::read_to_string(served.folder.path().join("inputs.json")).unwrap();
    let kept: Value = serde_json::from_str(&kept).unwrap();
    let clock = kept["browser: test"]["clock_ppm"].as_f64().unwrap();
    assert!((40.9..41.2).contains(&clock), "{kept}");
    // The figures of that capture count it too.
    hand.say(&json!({ "say": "save" }));
    hand.wait("caution");
    let saved = served.folder.path().join("bench-002.json");
    let saved: Value = serde_json::from_slice(&std::fs::read(saved).unwrap()).unwrap();
    assert_eq!(saved["recordings"][0]["trace"]["clock_ppm"], clock);
}

#[test]
fn a_tone_that_is_not_there_calibrates_nothing() {
    let served = Served::new();
    let mut hand = Hand::open(&served);
    hand.begin(1);
    hand.say(&json!({ "say": "calibrate-clock", "hz": 1000, "tolerance_ppm": 1 }));
    hand.wait("caution");
    hand.stream(&vec![0.01; 61 * RATE_HZ as usize], 0, 0..0);
    let said = hand.wait("caution");
    assert!(
        said["words"]
            .as_str()
            .unwrap()
            .contains("no tone of 1000 Hz"),
        "{said}"
    );
    // A phase that leaps says nothing of a clock either.
    hand.say(&json!({ "say": "calibrate-clock", "hz": 1000, "tolerance_ppm": 1 }));
    hand.wait("caution");
    hand.say(&json!({ "say": "happened", "what": "muted" }));
    hand.wait("caution");
    let said = hand.wait("caution");
    assert!(
        said["words"].as_str().unwrap().contains("lost meanwhile"),
        "{said}"
    );
    assert!(!served.folder.path().join("inputs.json").exists());
}

#[test]
fn what_is_too_large_or_no_message_ends_or_is_left_out() {
    let served = Served::new();
    let mut hand = Hand::open(&served);
    hand.begin(1);
    for nonsense in [
        "",
        "{}",
        "[1,2]",
        r#"{"say":"open","path":"/etc/passwd"}"#,
        "\u{0}",
    ] {
        hand.socket.send(Message::text(nonsense)).unwrap();
        assert_eq!(hand.wait("caution")["code"], "message");
    }
    for bytes in [vec![], vec![0; 5], vec![0; 24], vec![0xff; 100]] {
        hand.socket.send(Message::binary(bytes)).unwrap();
        assert_eq!(hand.wait("caution")["code"], "message");
    }
    // What is larger than any block ends the connection; the capture is kept.
    let _ = hand.socket.send(Message::binary(vec![0; 300 * 1024]));
    let until = Instant::now() + Duration::from_secs(10);
    while hand.listen() {
        assert!(Instant::now() < until, "the connection should have ended");
    }
    assert_eq!(served.kept("wav").len(), 1);
    let mut again = Hand::open(&served);
    again.begin(1);
}

#[test]
fn only_so_many_pages_are_live_at_once() {
    let served = Served::new();
    let mut hands: Vec<Hand> = (0..4).map(|_| Hand::open(&served)).collect();
    for hand in &mut hands {
        hand.wait("hello");
    }
    let fifth = format!(
        "GET /live HTTP/1.1\r\nHost: {0}\r\nOrigin: http://{0}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
         Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\
         Sec-WebSocket-Protocol: fingerstop.bench.1, {1}\r\n\r\n",
        served.local, served.token
    );
    let head = || {
        use std::io::{Read, Write};
        let mut stream = TcpStream::connect(served.local).unwrap();
        stream.write_all(fifth.as_bytes()).unwrap();
        let mut head = [0; 12];
        stream.read_exact(&mut head).unwrap();
        String::from_utf8_lossy(&head).into_owned()
    };
    assert_eq!(head(), "HTTP/1.1 503");
    hands.pop();
    // The place is free as soon as the end of the fourth is noticed.
    let until = Instant::now() + Duration::from_secs(5);
    while head() != "HTTP/1.1 101" {
        assert!(Instant::now() < until);
    }
}

#[test]
fn the_end_of_the_program_finishes_the_capture() {
    let mut served = Served::judging(LIMITS);
    let mut hand = Hand::open(&served);
    hand.begin(1);
    let samples = samples(&[10]);
    hand.stream(&samples, 0, 0..0);
    hand.wait("digit");
    served.stop();
    let closing = hand.wait("closing");
    assert!(
        closing["words"]
            .as_str()
            .unwrap()
            .contains("The program has ended."),
        "{closing}"
    );
    let kept = checked(&served.kept("wav")[0]);
    assert_eq!(
        (kept.scored.digits.len(), kept.frames),
        (1, samples.len() as u64)
    );
}
