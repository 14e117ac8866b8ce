use edges::Envelope;

use super::sheet::{Badge, Figure, Marker, Mean, Point, Series, SeriesInk, Sheet, Strip, Tone};
use super::{Theme, draw};

/// Breaks of `pulses` pulses at 10 pps and 62 % break from `start_s` on, a little uneven.
fn breaks(start_s: f64, pulses: usize) -> Vec<(f64, f64)> {
    (0..pulses)
        .map(|pulse| start_s + 0.1 * pulse as f64 + 0.0004 * ((pulse * 7) % 5) as f64)
        .map(|open| (open, open + 0.062))
        .collect()
}

/// Levels 0.3 (closed) and -0.2 (open) behind a 2 Hz high-pass, with a deterministic ripple.
fn envelope(breaks: &[(f64, f64)], start_s: f64, end_s: f64) -> Envelope {
    let spacing_s = 1.0 / 2000.0;
    let columns = ((end_s - start_s) / spacing_s) as usize;
    let (mut low, mut high) = (Vec::new(), Vec::new());
    let (mut output, mut previous) = (0.0f64, 0.3f64);
    for column in 0..columns {
        let at = start_s + column as f64 * spacing_s;
        let open = breaks
            .iter()
            .any(|(open, close)| (*open..*close).contains(&at));
        let level = if open { -0.2 } else { 0.3 };
        output = (output + level - previous) * (1.0 - 2.0 * std::f64::consts::PI * 2.0 * spacing_s);
        previous = level;
        let ripple = 0.01 + 0.006 * (column as f64 * 1.7).sin();
        low.push((output - ripple) as f32);
        high.push((output + ripple) as f32);
    }
    Envelope {
        start_s,
        spacing_s,
        low,
        high,
    }
}

/// Figures of the digits, by hand from their breaks.
fn figures(digits: &[Vec<(f64, f64)>]) -> Vec<Figure> {
    let points = |value: fn(f64, f64) -> f64, u95: f64| -> Vec<Vec<Point>> {
        let of = |pair: &[(f64, f64)]| {
            let period = pair[1].0 - pair[0].0;
            Point {
                time_s: pair[0].0 + period / 2.0,
                value: value(pair[0].1 - pair[0].0, period),
                u95: Some(u95),
            }
        };
        digits
            .iter()
            .map(|breaks| breaks.windows(2).map(of).collect())
            .collect()
    };
    let means = |label: &str, points: &[Vec<Point>]| -> Vec<Option<Mean>> {
        let mean = |p: &Vec<Point>| p.iter().map(|q| q.value).sum::<f64>() / p.len() as f64;
        points
            .iter()
            .map(|p| {
                (!p.is_empty()).then(|| Mean {
                    value: mean(p),
                    label: label.into(),
                })
            })
            .collect()
    };
    let (speed, share) = (
        points(|_, period| 1.0 / period, 0.05),
        points(|open, period| 100.0 * open / period, 0.4),
    );
    let panel = |name,
                 unit,
                 marker,
                 ink,
                 least_span,
                 label: &str,
                 points: Vec<Vec<Point>>,
                 limits: (f64, f64)| Figure {
        name,
        unit,
        least_span,
        series: vec![Series {
            name: "",
            marker,
            ink,
            means: means(label, &points),
            points,
            lower: Some(limits.0),
            upper: Some(limits.1),
        }],
    };
    vec![
        panel(
            "Pulsing speed of each period",
            "pps",
            Marker::Disc,
            SeriesInk::Speed,
            0.4,
            "9.99 ± 0.01 pps",
            speed,
            (9.5, 10.5),
        ),
        panel(
            "Percent break of each pulse",
            "%",
            Marker::Square,
            SeriesInk::Share,
            3.0,
            "61.9 ± 0.2 %",
            share,
            (60.0, 64.0),
        ),
    ]
}

const TONES: [Tone; 5] = [
    Tone::Pass,
    Tone::ConditionalPass,
    Tone::ConditionalFail,
    Tone::Fail,
    Tone::Undecided,
];

/// A plot of digits with these numbers of pulses, drawn.
fn drawn(pulses: &[usize], theme: Theme) -> String {
    let mut at = 1.0;
    let digits: Vec<_> = pulses
        .iter()
        .map(|&count| {
            let breaks = breaks(at, count);
            at += 0.1 * count as f64 + 1.3;
            breaks
        })
        .collect();
    let envelopes: Vec<_> = digits
        .iter()
        .map(|b| envelope(b, b[0].0 - 0.08, b[b.len() - 1].1 + 0.2))
        .collect();
    let overview = Envelope {
        start_s: 0.0,
        spacing_s: 0.01,
        low: vec![-0.01; 600],
        high: vec![0.01; 600],
    };
    let strip = |(index, breaks): (usize, &Vec<(f64, f64)>)| Strip {
        breaks: breaks.clone(),
        chatter: vec![breaks[0].1 + 0.001],
        steps: vec![breaks[0].0 - 0.9, breaks[breaks.len() - 1].1 + 0.15],
        envelopes: vec![&envelopes[index]],
        label: (breaks.len() % 10).to_string(),
        tone: Some(TONES[index % 5]),
    };
    let sheet = Sheet {
        title: "bench/dial <a> & b.wav, channel 1 of 2, 48000 Hz".into(),
        badge: Badge {
            word: "pass".into(),
            tone: Tone::Pass,
        },
        headline: "digit 0  ·  9.99 ± 0.01 pps  ·  61.9 ± 0.2 % break".into(),
        notes: vec![
            "limits us-1956-later, grade A-".into(),
            "uncertainty not yet verified".into(),
        ],
        overview: &overview,
        duration_s: 6.0,
        strips: digits.iter().enumerate().map(strip).collect(),
        figures: if digits.is_empty() {
            Vec::new()
        } else {
            figures(&digits)
        },
    };
    draw(&sheet, theme).unwrap()
}

fn count(svg: &str, part: &str) -> usize {
    svg.matches(part).count()
}

/// Texts of the document in the order drawn.
fn texts(svg: &str) -> Vec<String> {
    svg.split("<text")
        .skip(1)
        .map(|t| {
            t.split_once('>')
                .unwrap()
                .1
                .split('<')
                .next()
                .unwrap()
                .trim()
                .to_owned()
        })
        .collect()
}

#[test]
fn one_digit_shows_every_break_and_make_with_number_and_length() {
    let texts = texts(&drawn(&[10], Theme::Light));
    for number in 1..=10 {
        assert!(texts.contains(&number.to_string()), "pulse {number}");
    }
    assert_eq!(texts.iter().filter(|t| *t == "62.0").count(), 10);
    let makes = texts
        .iter()
        .filter(|t| ["38.8", "36.8", "36.4"].contains(&t.as_str()))
        .count();
    assert_eq!(makes, 9);
    for word in [
        "PASS",
        "max 10.5",
        "min 9.5",
        "max 64",
        "min 60",
        "Pulsing speed of each period, pps",
        "Percent break of each pulse, %",
        "time from the first break, ms",
    ] {
        assert!(texts.iter().any(|t| t == word), "{word}");
    }
}

/// A face wider than the estimate must not push it over the last mark or the edge.
#[test]
fn the_mean_of_the_only_digit_stands_above_the_panel() {
    let svg = drawn(&[10], Theme::Light);
    let lines: Vec<&str> = svg.lines().collect();
    let means: Vec<usize> = (1..lines.len())
        .filter(|line| lines[*line].trim_start().starts_with("mean ") && lines[*line].contains('±'))
        .collect();
    assert_eq!(means.len(), 2, "{svg}");
    assert!(
        means
            .iter()
            .all(|line| lines[line - 1].contains("text-anchor=\"end\"")),
        "{svg}"
    );
}

#[test]
fn a_number_shows_its_digits_pauses_and_verdict_marks() {
    let texts = texts(&drawn(&[5, 5, 5, 10, 1, 9, 3], Theme::Light));
    for (digit, times) in [("5", 3), ("0", 1), ("9", 1), ("3", 1)] {
        assert!(
            texts.iter().filter(|t| *t == digit).count() >= times,
            "{digit}"
        );
    }
    assert_eq!(
        texts
            .iter()
            .filter(|t| t.ends_with(" ms") && t.starts_with("13"))
            .count(),
        6,
        "{texts:?}"
    );
    for word in [
        "conditional pass",
        "fail",
        "not judged",
        "time in the recording, s",
    ] {
        assert!(texts.iter().any(|t| t == word), "{word}");
    }
}

#[test]
fn a_single_pulse_says_that_it_has_no_speed() {
    let texts = texts(&drawn(&[1], Theme::Light));
    assert_eq!(
        texts
            .iter()
            .filter(|t| *t == "not defined for a single pulse")
            .count(),
        2
    );
}

#[test]
fn without_digits_the_recording_is_drawn_alone() {
    let svg = drawn(&[], Theme::Light);
    assert!(svg.contains("time in the recording, s"));
    assert!(
        !texts(&svg)
            .iter()
            .any(|t| t.contains("break") && t.contains("pulse"))
    );
}

#[test]
fn what_is_not_drawn_is_counted() {
    let texts = texts(&drawn(&[3; 100], Theme::Light));
    let left_out = texts
        .iter()
        .find_map(|t| t.strip_suffix(" more digits are not drawn"))
        .unwrap();
    let labels = texts.iter().filter(|t| *t == "3").count();
    assert_eq!(labels + left_out.parse::<usize>().unwrap(), 100);
}

#[test]
fn the_document_is_well_formed_and_names_from_files_are_escaped() {
    for theme in [Theme::Auto, Theme::Light, Theme::Dark] {
        let svg = drawn(&[10, 1], theme);
        assert!(svg.contains("<title>bench/dial &lt;a&gt; &amp; b.wav"));
        for tag in ["text", "title", "svg"] {
            assert_eq!(
                count(&svg, &format!("<{tag}")),
                count(&svg, &format!("</{tag}>")),
                "{tag}"
            );
        }
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }
}

#[test]
fn every_mark_lies_within_the_sheet() {
    let svg = drawn(
        &[5, 5, 5, 10, 1, 9, 3, 10, 10, 10, 4, 2, 8, 7],
        Theme::Light,
    );
    let size: Vec<f64> = svg
        .split("viewBox=\"0 0 ")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .split(' ')
        .map(|v| v.parse().unwrap())
        .collect();
    for points in svg.split("points=\"").skip(1) {
        for pair in points.split('"').next().unwrap().split_whitespace() {
            let (x, y) = pair.split_once(',').unwrap();
            let (x, y): (f64, f64) = (x.parse().unwrap(), y.parse().unwrap());
            assert!(
                (0.0..=size[0]).contains(&x) && (0.0..=size[1]).contains(&y),
                "{x},{y}"
            );
        }
    }
}

#[test]
fn only_the_auto_theme_follows_the_viewer() {
    assert!(drawn(&[2], Theme::Auto).contains("prefers-color-scheme: dark"));
    assert!(!drawn(&[2], Theme::Light).contains("prefers-color-scheme"));
    assert!(drawn(&[2], Theme::Dark).contains("fill=\"#15191E\""));
}
