//! The off-normal contacts: small lasting steps of the closed level before and after a train.

use crate::bank::{self, Candidate, Energies, Entry, Field};
use crate::types::LevelStep;

/// Winding lasts no longer.
const WINDING_S: f64 = 2.5;
/// A step so close to an edge may be part of it.
const BEFORE_EDGE_S: f64 = 0.03;
const AFTER_EDGE_S: f64 = 0.02;
/// The window of a match keeps this far from an edge.
const EDGE_S: f64 = 0.002;
/// Off-normal contacts restore within this time after the last make.
const RESTORED_S: f64 = 0.4;
/// Sizes of such steps over the dial's own.
const RELATIVE: std::ops::Range<f64> = 0.05..0.4;
const LEAST_T: f64 = 7.0;
const LEAST_SHARE: f64 = 0.4;

/// What is known of the train, times in seconds from the first tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Around<'a> {
    pub(crate) entry: &'a Entry,
    /// Sign of an opening.
    pub(crate) sign: f64,
    /// Size of a dial step as the entry matches it.
    pub(crate) amplitude: f64,
    pub(crate) first_s: f64,
    pub(crate) last_s: f64,
}

/// The strongest small step towards more current before the train, and the strongest towards less after it.
/// `means` are ticks, hum taken out; times count from `start_s`.
pub(crate) fn find(
    means: &[f32],
    tick_rate_hz: f64,
    start_s: f64,
    around: Around<'_>,
) -> Vec<LevelStep> {
    let wide: Vec<f64> = means.iter().map(|&x| f64::from(x)).collect();
    let energies = Energies::new(&wide);
    // As the dial's own steps are, then in longer windows: the shortest in which a step shows tells its place best.
    let mut entries = vec![around.entry.at_rate(tick_rate_hz)];
    entries.extend(around.entry.longer(tick_rate_hz));
    let tick = |s: f64| ((s.max(0.0) * tick_rate_hz) as usize).min(means.len());
    let of_entry = |entry: &Entry, from_s: f64, to_s: f64, sign: f64| {
        let spot = tick(from_s)..tick(to_s).max(tick(from_s));
        let field = Field {
            trace: means,
            energies: &energies,
            rate_hz: tick_rate_hz,
            spots: std::slice::from_ref(&spot),
            least: RELATIVE.start * around.amplitude.abs(),
        };
        bank::candidates(entry, &field, LEAST_T)
            .into_iter()
            .filter(|c| c.amplitude * sign > 0.0 && c.share > LEAST_SHARE)
            .filter(|c| RELATIVE.contains(&(c.amplitude / around.amplitude).abs()))
            .max_by(|a, b| a.t.abs().total_cmp(&b.t.abs()))
    };
    let strongest = |span: &dyn Fn(f64) -> [f64; 2], sign: f64| {
        entries.iter().find_map(|entry| {
            let [from_s, to_s] = span(entry.half_s(tick_rate_hz) + EDGE_S);
            of_entry(entry, from_s, to_s, sign)
        })
    };
    let (first_s, last_s) = (around.first_s, around.last_s);
    let before = |clear_s: f64| [first_s - WINDING_S, first_s - BEFORE_EDGE_S.max(clear_s)];
    let after = |clear_s: f64| [last_s + AFTER_EDGE_S.max(clear_s), last_s + RESTORED_S];
    let winding = strongest(&before, -around.sign);
    let restored = strongest(&after, around.sign);
    let step = |c: Candidate| LevelStep {
        instant_s: start_s + c.at as f64 / tick_rate_hz,
        relative: -c.amplitude * around.sign / around.amplitude,
        snr: c.t.abs(),
    };
    [winding, restored]
        .into_iter()
        .flatten()
        .map(step)
        .collect()
}
