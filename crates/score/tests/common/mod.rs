//! Trains drawn by hand, for the tests of this crate.
#![allow(dead_code, reason = "each test file uses its part")]
#![allow(unreachable_pub, reason = "shared between test files")]

use edges::{Direction, Edge, Envelope, Polarity, Reversal, Snippet, Trace, Train};
use score::{Digit, LimitSet, Scored, Settings, Verdict, score};

/// A sharp edge without noise.
pub fn edge(direction: Direction, instant_s: f64) -> Edge {
    Edge {
        direction,
        instant_s,
        half_step_s: instant_s,
        variance_s2: 0.0,
        level_before: 0.5,
        level_after: -0.5,
        residual: 0.0,
        snr: 1000.0,
    }
}

/// A clean train from its breaks and makes in milliseconds; the last make is not used.
pub fn train(start_s: f64, pulses_ms: &[(f64, f64)]) -> Train {
    let mut edges = Vec::new();
    let mut now_s = start_s;
    for (break_ms, make_ms) in pulses_ms {
        edges.push(edge(Direction::Opening, now_s));
        edges.push(edge(Direction::Closing, now_s + break_ms / 1000.0));
        now_s += (break_ms + make_ms) / 1000.0;
    }
    Train {
        edges,
        reversals: Vec::new(),
        level_steps: Vec::new(),
        opening_common_s2: 0.0,
        closing_common_s2: 0.0,
        polarity: Polarity::Normal,
        step: 1.0,
        noise_rms: 0.001,
        coupling_hz: None,
        spikes_only: false,
        hum: None,
        chatter_floor_s: 0.0001,
        count_risk: 0.0,
        doubts: Vec::new(),
        envelope: Envelope::default(),
        snippet: Snippet::default(),
    }
}

/// A clean train of equal pulses.
pub fn even(start_s: f64, pulses: usize, break_ms: f64, make_ms: f64) -> Train {
    train(start_s, &vec![(break_ms, make_ms); pulses])
}

/// A clean train of equal pulses at a speed and a percent break.
pub fn dial(pulses: usize, pps: f64, percent_break: f64) -> Train {
    let period_ms = 1000.0 / pps;
    let break_ms = period_ms * percent_break / 100.0;
    even(1.0, pulses, break_ms, period_ms - break_ms)
}

/// Gives every edge of a train a variance of its own, in s².
pub fn with_variance(mut train: Train, variance_s2: f64) -> Train {
    train
        .edges
        .iter_mut()
        .for_each(|edge| edge.variance_s2 = variance_s2);
    train
}

/// Chatter of one make: a reopening from `after_ms` after the closure, `length_ms` long.
pub fn reopening(train: &Train, pulse: usize, after_ms: f64, length_ms: f64) -> Reversal {
    let start_s = train.edges[2 * pulse + 1].instant_s + after_ms / 1000.0;
    Reversal {
        edge: 2 * pulse + 1,
        start_s,
        end_s: start_s + length_ms / 1000.0,
    }
}

pub fn trace(trains: Vec<Train>) -> Trace {
    Trace {
        sample_rate_hz: 48_000.0,
        samples: 480_000,
        trains,
        clipped: 0,
        rms: 0.2,
        peak: 0.6,
        heard_not_wired: false,
        overview: Envelope::default(),
    }
}

/// A perfect recorder and a set.
pub fn judged_by(set: &LimitSet) -> Settings {
    Settings {
        limits: Some(set.clone()),
        clock_ppm: 0.0,
        opening_delay_ms: 0.0,
        ..Settings::default()
    }
}

/// A perfect recorder and a published set.
pub fn by(name: &str) -> Settings {
    judged_by(score::limits::find(name).expect("a published set"))
}

pub fn measured(train: Train) -> Digit {
    scored(vec![train], &Settings::default()).digits.remove(0)
}

pub fn scored(trains: Vec<Train>, settings: &Settings) -> Scored {
    score(&trace(trains), settings)
}

pub fn verdict(train: Train, settings: &Settings) -> Verdict {
    scored(vec![train], settings).verdict
}

/// Codes of the reasons of a scored recording.
pub fn reason_codes(scored: &Scored) -> Vec<&'static str> {
    scored.reasons.iter().map(|reason| reason.code).collect()
}

pub fn finding_codes(scored: &Scored) -> Vec<&'static str> {
    scored.findings.iter().map(|finding| finding.code).collect()
}
