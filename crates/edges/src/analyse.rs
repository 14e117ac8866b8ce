//! One window of a recording, from samples to trains: hum, candidates, chain, instants, doubts.

use crate::bank::{self, Candidate, Energies, Entry};
use crate::chain::{self, Chain, Pulse, Scale};
use crate::coarse::Coarse;
use crate::doubt;
use crate::hum::{self, HumModel};
use crate::linear;
use crate::refine::{Fitted, Refined, Refiner};
use crate::types::{Direction, Edge, Hum, LevelStep, Polarity, Reversal, Train};
use crate::view;

/// Candidates weaker than this are noise in any recording.
const LEAST_T: f64 = 3.2;
/// A make that ends a digit: as long as this, or this many periods.
const LEAST_PAUSE_S: f64 = 0.180;
const PAUSE_PERIODS: f64 = 1.7;

/// A window of one channel and where it lies.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Window<'a> {
    pub(crate) samples: &'a [f32],
    /// Samples of the recording before the window.
    pub(crate) start: u64,
    pub(crate) rate_hz: f64,
    /// The recording begins with this window.
    pub(crate) first: bool,
    /// The recording ends with this window.
    pub(crate) last: bool,
}

/// What the search settled on.
struct Found {
    chain: Chain,
    entry: Entry,
    candidates: Vec<Candidate>,
}

/// Trains in the window, in time order.
pub(crate) fn trains(window: Window<'_>) -> Vec<Train> {
    let mut coarse = Coarse::new(window.samples, window.rate_hz);
    let hum = hum::estimate(&coarse.means, coarse.rate_hz);
    let mut samples: Vec<f64> = window.samples.iter().map(|&x| f64::from(x)).collect();
    if let Some(hum) = &hum {
        let first_middle = coarse.middle(0) / window.rate_hz;
        hum.subtract(&mut coarse.means, 0.0, coarse.rate_hz);
        hum.subtract(&mut samples, -first_middle, window.rate_hz);
    }
    let found = search(&coarse);
    if std::env::var_os("DBG").is_some() {
        eprintln!(
            "found {:?}",
            found.as_ref().map(|f| (
                f.chain.pulses.len(),
                f.chain.score,
                &f.entry.probe,
                f.entry.slow,
                f.chain.amplitude
            ))
        );
    }
    let Some(found) = found else {
        return Vec::new();
    };
    split(&found.chain, coarse.rate_hz)
        .into_iter()
        .filter_map(|pulses| build(&window, &coarse, &samples, &found, pulses, hum.as_ref()))
        .collect()
}

/// Tries every entry of the bank.
fn search(coarse: &Coarse) -> Option<Found> {
    let trace: Vec<f32> = coarse.means.iter().map(|&x| x as f32).collect();
    let energies = Energies::new(&coarse.means);
    let mut best: Option<(f64, Found)> = None;
    for entry in bank::entries(coarse.rate_hz) {
        let candidates = bank::candidates(&entry, &trace, &energies, coarse.rate_hz, LEAST_T);
        let scale = Scale {
            rate_hz: coarse.rate_hz,
            length: trace.len(),
            lobe_s: entry.half_s(coarse.rate_hz),
        };
        let mut places = candidates.clone();
        if let Some(wide) = entry.widened(coarse.rate_hz) {
            places.extend(bank::candidates(
                &wide,
                &trace,
                &energies,
                coarse.rate_hz,
                LEAST_T,
            ));
            places.sort_by_key(|c| c.at);
        }
        let Some(chain) = chain::best(&places, &candidates, &scale) else {
            continue;
        };
        if std::env::var_os("DBG").is_some() {
            eprintln!(
                "  {:?} {} {} {:.1} {:.1}",
                entry.probe,
                entry.slow,
                chain.pulses.len(),
                chain.score,
                evidence(&chain)
            );
        }
        let merit = chain.score + evidence(&chain);
        if best.as_ref().is_none_or(|(most, _)| merit > *most) {
            best = Some((
                merit,
                Found {
                    chain,
                    entry,
                    candidates,
                },
            ));
        }
    }
    best.map(|(_, found)| found)
}

/// How well the entry's shape fits the openings: log-likelihood of the explained share, bounded for each
/// so that one perfect edge does not outweigh a missed pulse.
fn evidence(chain: &Chain) -> f64 {
    chain
        .pulses
        .iter()
        .map(|p| (-2.0 * (1.0 - p.opening.share.min(0.999_99)).ln()).min(12.0))
        .sum()
}

/// Cuts a chain where a make is long enough to separate digits.
fn split(chain: &Chain, rate_hz: f64) -> Vec<Vec<Pulse>> {
    let starts: Vec<f64> = chain
        .pulses
        .iter()
        .map(|p| p.opening.at as f64 / rate_hz)
        .collect();
    let periods: Vec<f64> = starts
        .windows(2)
        .map(|w| w[1] - w[0])
        .filter(|p| *p < 0.3)
        .collect();
    let usual = linear::median(&periods).unwrap_or(0.1);
    let longest = LEAST_PAUSE_S.max(PAUSE_PERIODS * usual);
    let mut out: Vec<Vec<Pulse>> = Vec::new();
    for pulse in &chain.pulses {
        let goes_on = out
            .last()
            .and_then(|train| train.last())
            .is_some_and(|last: &Pulse| {
                ((pulse.opening.at - last.closing.at) as f64) < longest * rate_hz
            });
        match out.last_mut() {
            Some(train) if goes_on => train.push(*pulse),
            _ => out.push(vec![*pulse]),
        }
    }
    out
}

fn build(
    window: &Window<'_>,
    coarse: &Coarse,
    samples: &[f64],
    found: &Found,
    pulses: Vec<Pulse>,
    hum: Option<&HumModel>,
) -> Option<Train> {
    let sign = found.chain.sign;
    let refiner = Refiner {
        samples,
        rate_hz: window.rate_hz,
        sign,
    };
    let refined = refiner.run(&pulses, coarse, &found.entry.probe, found.chain.amplitude);
    let seconds = |at: f64| (window.start as f64 + at) / window.rate_hz;
    let matched = (found.entry.energy * coarse.factor as f64).sqrt();
    let (edges, reversals) = list_edges(&refined, matched, window.rate_hz, &seconds);
    let residuals: Vec<f64> = edges.iter().map(|e| e.residual).collect();
    let noise_rms = linear::median(&residuals)? * refined.step;
    let doubts = doubt::doubts(&doubt::Evidence {
        pulses: &pulses,
        edges: &edges,
        candidates: &found.candidates,
        amplitude: found.chain.amplitude,
        rate_hz: coarse.rate_hz,
        length: coarse.means.len(),
        first: window.first,
        last: window.last,
        start_s: window.start as f64 / window.rate_hz,
        sign,
        lobe_s: found.entry.half_s(coarse.rate_hz),
    });
    let (first, last) = (edges.first()?.instant_s, edges.last()?.instant_s);
    let (envelope, snippet) = view::around(window, first, last);
    Some(Train {
        level_steps: level_steps(coarse, found, &pulses, refined.step, &seconds),
        opening_common_s2: refined.common.0 / window.rate_hz.powi(2),
        closing_common_s2: refined.common.1 / window.rate_hz.powi(2),
        polarity: if sign < 0.0 {
            Polarity::Normal
        } else {
            Polarity::Inverted
        },
        step: refined.step,
        noise_rms,
        coupling_hz: coupling(&refined),
        spikes_only: refined.poles.len() > 1,
        hum: hum.map(|h| Hum {
            frequency_hz: h.frequency_hz,
            relative_amplitude: h.amplitude() / refined.step,
        }),
        chatter_floor_s: chatter_floor(noise_rms / refined.step, window.rate_hz),
        count_risk: doubt::count_risk(&edges),
        doubts,
        envelope,
        snippet,
        edges,
        reversals,
    })
}

fn coupling(refined: &Refined) -> Option<f64> {
    let corner = refined.poles.first()?.norm() / std::f64::consts::TAU;
    (corner > 0.4).then_some(corner)
}

/// A reversal of w samples stands out when its energy w (A/sigma)^2 pays for two changes of state.
fn chatter_floor(noise: f64, rate_hz: f64) -> f64 {
    let noise = noise.max(0.11);
    (4.0 * 9.0 * noise * noise).max(1.5) / rate_hz
}

fn list_edges(
    refined: &Refined,
    matched: f64,
    rate_hz: f64,
    seconds: &dyn Fn(f64) -> f64,
) -> (Vec<Edge>, Vec<Reversal>) {
    let mut edges = Vec::new();
    let mut reversals = Vec::new();
    for (opening, closing) in &refined.pulses {
        for (fitted, direction) in [(opening, Direction::Opening), (closing, Direction::Closing)] {
            for &(start, end) in &fitted.reversals {
                reversals.push(Reversal {
                    edge: edges.len(),
                    start_s: seconds(start),
                    end_s: seconds(end),
                });
            }
            edges.push(edge(
                fitted,
                direction,
                matched / fitted.residual,
                rate_hz,
                seconds,
            ));
        }
    }
    (edges, reversals)
}

fn edge(
    fitted: &Fitted,
    direction: Direction,
    snr: f64,
    rate_hz: f64,
    seconds: &dyn Fn(f64) -> f64,
) -> Edge {
    Edge {
        direction,
        instant_s: seconds(fitted.at),
        half_step_s: seconds(fitted.half_step),
        variance_s2: fitted.variance / (rate_hz * rate_hz),
        level_before: fitted.before,
        level_after: fitted.after,
        residual: fitted.residual,
        snr,
    }
}

/// The off-normal contacts: the strongest small step towards more current before the train, and the
/// strongest towards less after it.
fn level_steps(
    coarse: &Coarse,
    found: &Found,
    pulses: &[Pulse],
    step: f64,
    seconds: &dyn Fn(f64) -> f64,
) -> Vec<LevelStep> {
    let (Some(first), Some(last)) = (pulses.first(), pulses.last()) else {
        return Vec::new();
    };
    let blocks = |s: f64| (s * coarse.rate_hz) as usize;
    let small = |c: &&Candidate| {
        let relative = (c.amplitude / found.chain.amplitude).abs();
        (0.05..0.4).contains(&relative) && c.t.abs() > 7.0 && c.share > 0.4
    };
    let strongest = |from: usize, to: usize, sign: f64| {
        found
            .candidates
            .iter()
            .filter(|c| (from..to).contains(&c.at) && c.amplitude * sign > 0.0)
            .filter(small)
            .max_by(|a, b| a.t.abs().total_cmp(&b.t.abs()))
    };
    let before = first.opening.at;
    let after = last.closing.at;
    let winding = strongest(
        before.saturating_sub(blocks(2.5)),
        before.saturating_sub(blocks(0.03)),
        -found.chain.sign,
    );
    let rest = strongest(after + blocks(0.02), after + blocks(0.4), found.chain.sign);
    [winding, rest]
        .into_iter()
        .flatten()
        .map(|c| LevelStep {
            instant_s: seconds(c.at as f64 * coarse.factor as f64 - 0.5),
            relative: -c.amplitude * found.chain.sign / step,
            snr: c.t.abs(),
        })
        .collect()
}
