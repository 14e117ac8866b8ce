//! What must hold for every trace, whatever its samples are.

use edges::{Detector, Edge, Envelope, Trace, Train};

/// Sample rates, in hertz: of recorders, and of loggers and broken headers.
const RATES_HZ: [f64; 8] = [
    8_000.0, 4_000.0, 11_025.0, 8_000.0, 1_000.0, 48_000.0, 50.0, 1.0,
];

/// One of the sample rates.
pub fn rate_hz(choice: u8) -> f64 {
    RATES_HZ[usize::from(choice) % RATES_HZ.len()]
}

/// Detects in one block and in blocks of the given lengths (used over and over), holds both to the same result
/// and that to its promises. `gaps` are sample numbers before which samples are missing.
pub fn check(rate_hz: f64, samples: &[f32], gaps: &[usize], cuts: &[usize]) {
    let whole = detected(rate_hz, samples, gaps, &[usize::MAX]);
    all_finite(&whole);
    in_order(&whole);
    let cut = detected(rate_hz, samples, gaps, cuts);
    assert!(whole == cut, "the result depends on how samples were cut");
}

fn detected(rate_hz: f64, samples: &[f32], gaps: &[usize], cuts: &[usize]) -> Trace {
    let mut detector = Detector::new(rate_hz);
    let mut at = 0;
    for &cut in cuts.iter().cycle() {
        let gap = gaps.iter().copied().filter(|g| *g > at).min();
        let end = at
            .saturating_add(cut.max(1))
            .min(gap.unwrap_or(usize::MAX))
            .min(samples.len());
        detector.push(&samples[at..end]);
        if Some(end) == gap {
            detector.gap();
        }
        at = end;
        if at == samples.len() {
            break;
        }
    }
    detector.finish()
}

fn all_finite(trace: &Trace) {
    assert!(
        trace.rms.is_finite() && trace.peak.is_finite(),
        "rms or peak"
    );
    envelope(&trace.overview);
    trace.trains.iter().for_each(train);
}

fn train(train: &Train) {
    assert!(train.edges.iter().all(edge), "an edge: {:?}", train.edges);
    let values = [
        train.opening_common_s2,
        train.closing_common_s2,
        train.step,
        train.noise_rms,
        train.chatter_floor_s,
        train.count_risk,
        train.coupling_hz.unwrap_or(0.0),
        train.snippet.start_s,
        train.snippet.rate_hz,
    ];
    assert!(values.iter().all(|v| v.is_finite()), "a train: {values:?}");
    assert!(train.snippet.samples.iter().all(|x| x.is_finite()));
    assert!((0.0..=1.0).contains(&train.count_risk));
    envelope(&train.envelope);
}

fn edge(edge: &Edge) -> bool {
    let values = [
        edge.instant_s,
        edge.half_step_s,
        edge.variance_s2,
        edge.level_before,
        edge.level_after,
        edge.residual,
        edge.snr,
    ];
    values.iter().all(|v| v.is_finite()) && edge.variance_s2 > 0.0
}

fn envelope(envelope: &Envelope) {
    let values = envelope.low.iter().chain(&envelope.high);
    assert!(values.into_iter().all(|x| x.is_finite()), "an envelope");
    assert!(envelope.start_s.is_finite() && envelope.spacing_s.is_finite());
    assert_eq!(envelope.low.len(), envelope.high.len());
}

/// Openings and closings take turns, and time goes forward.
fn in_order(trace: &Trace) {
    for train in &trace.trains {
        assert!(train.edges.len() >= 2 && train.edges.len() % 2 == 0);
        assert_eq!(train.edges[0].direction, edges::Direction::Opening);
        for pair in train.edges.windows(2) {
            assert_ne!(pair[0].direction, pair[1].direction);
            assert!(pair[0].instant_s < pair[1].instant_s);
        }
        let known = |edge: usize| edge < train.edges.len();
        assert!(
            train
                .reversals
                .iter()
                .all(|r| known(r.edge) && r.start_s <= r.end_s)
        );
    }
}
