//! Hand-made recordings for the tests of this crate.

use edges::{Direction, Doubt, Edge, Envelope, Polarity, Snippet, Trace, Train};
use recording::Facts;
use score::Settings;

use crate::record::{Measured, Record};

/// Standard uncertainty of every edge, in seconds.
pub(crate) const EDGE_S: f64 = 20e-6;

/// A train whose breaks begin at `starts_s` and last `break_s`.
pub(crate) fn train(starts_s: &[f64], break_s: f64) -> Train {
    let edge = |direction, instant_s| Edge {
        direction,
        instant_s,
        half_step_s: instant_s,
        variance_s2: EDGE_S * EDGE_S,
        level_before: 0.2,
        level_after: -0.2,
        residual: 0.01,
        snr: 80.0,
    };
    let edges = starts_s.iter().flat_map(|start_s| {
        [
            edge(Direction::Opening, *start_s),
            edge(Direction::Closing, start_s + break_s),
        ]
    });
    Train {
        edges: edges.collect(),
        reversals: Vec::new(),
        level_steps: Vec::new(),
        opening_common_s2: 0.0,
        closing_common_s2: 0.0,
        polarity: Polarity::Normal,
        step: 0.4,
        noise_rms: 0.004,
        coupling_hz: None,
        spikes_only: false,
        hum: None,
        chatter_floor_s: 1e-4,
        count_risk: 1e-9,
        doubts: Vec::new(),
        envelope: Envelope {
            start_s: starts_s[0] - 0.1,
            spacing_s: 1e-3,
            low: vec![-0.2; 1500],
            high: vec![0.2; 1500],
        },
        snippet: Snippet::default(),
    }
}

/// A train of `pulses` pulses of 100 ms, 62 ms of each open, from `start_s` on.
pub(crate) fn digit(start_s: f64, pulses: usize) -> Train {
    let starts: Vec<f64> = (0..pulses)
        .map(|pulse| start_s + 0.1 * pulse as f64)
        .collect();
    train(&starts, 0.062)
}

/// The same with a doubt about its count.
pub(crate) fn doubtful(mut train: Train) -> Train {
    train.doubts.push(Doubt::StartsInside);
    train
}

/// A record of these trains, scored by `settings`.
pub(crate) fn record(trains: Vec<Train>, heard_not_wired: bool, settings: &Settings) -> Record {
    let trace = Trace {
        sample_rate_hz: 8000.0,
        samples: 80_000,
        trains,
        clipped: 0,
        rms: 0.05,
        peak: 0.3,
        heard_not_wired,
        overview: Envelope {
            start_s: 0.0,
            spacing_s: 0.01,
            low: vec![-0.2; 1000],
            high: vec![0.2; 1000],
        },
    };
    let scored = score::score(&trace, settings);
    let facts = Facts {
        sample_rate_hz: 8000.0,
        channels: 1,
        encoding: "WAV, 16-bit PCM".into(),
        frames: Some(80_000),
    };
    let measured = Measured {
        facts,
        frames: 80_000,
        warnings: Vec::new(),
        channel: 1,
        clipped: 0,
        trace,
        scored,
    };
    Record {
        input: "bench.wav".into(),
        outcome: Ok(Box::new(measured)),
    }
}

/// Settings that judge by the set of this name.
pub(crate) fn by(name: &str) -> Settings {
    Settings {
        limits: score::limits::find(name).cloned(),
        ..Settings::default()
    }
}
