//! Chatter of contacts in a loop with relays. The current rises slowly after a closing, so the samples are no
//! two-valued signal and no sequence of states can be read from them. But whatever discharges into the contact at its
//! first closure does so again at each further one: a spike, or the sharp fall of the line's voltage.

use crate::linear;
use std::ops::Range;

/// A sharp change is the mean of so long after a place less that of so long before it, in seconds and at least in
/// samples.
const SIDE_S: f64 = 0.000_12;
const SIDE_SAMPLES: usize = 2;
/// Closures nearer than this, and two sides, are one.
const ONE_S: f64 = 0.000_4;
/// Looked at from so long before a closing, which may be the last of several closures, to so long after it.
const BEFORE_S: f64 = 0.007;
const AFTER_S: f64 = 0.010_5;
/// But not so soon after an opening, nor so shortly before the next.
const AFTER_OPENING_S: f64 = 0.012;
const BEFORE_OPENING_S: f64 = 0.002;
/// Nothing moves sharply from so long after a closing, after an opening, to so long before the next transition.
const QUIET_MAKE_S: [f64; 2] = [0.015, 0.003];
const QUIET_BREAK_S: [f64; 2] = [0.02, 0.008];
/// A closure is at least this share of the usual largest one, so many times the noise, and stands out of the largest
/// change in the quiet. Of 80 simulated loops whose contacts chatter for less than 1.8 ms or not at all, none shows
/// anything of the kind 2 ms after a closing; of 32 whose contacts chatter for 5-8 ms, all but one do.
const LEAST_SHARE: f64 = 0.2;
const LEAST_NOISES: f64 = 8.0;
const LEAST_QUIETS: f64 = 1.5;
/// What the recorder's anti-alias filter makes of a larger one nearby is smaller than this share of it.
const RINGS_S: f64 = 0.000_9;
const RINGS: f64 = 0.35;
/// A change is sharp when this share of it, or more, is gone two sides away. A slow rise goes on.
const STAYS: f64 = 0.5;

/// A closing lies this near to its first closure, in seconds, as the others do, or it was misplaced: at a later closure,
/// or between two.
const NEAR_S: f64 = 0.000_25;
const ASTRAY_S: f64 = 0.000_15;
/// Standard uncertainty of a first closure by its sharpest change, and of how far the contact's own instant usually lies
/// from that where no closing of the train says so, in seconds. Beside that, a share of how far it was astray.
const PLACE_S: f64 = 0.000_03;
const OFFSET_S: f64 = 0.000_1;
const ASTRAY_SHARE: f64 = 0.1;

/// A closure looks like the usual one, from so long before it to so long after it and at least in samples: correlated by
/// this much. Clicks do not.
const LOOKS_S: [f64; 2] = [0.000_15, 0.000_3];
const LOOKS_SAMPLES: usize = 2;
const ALIKE: f64 = 0.6;

/// What was told of the closings of a train.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Told {
    /// Openings after the first closure of each closing: start and end, in samples.
    pub(crate) reopenings: Vec<Vec<(f64, f64)>>,
    /// Closings that do not lie at their first closure.
    pub(crate) moved: Vec<Moved>,
    /// Shorter reopenings cannot be told, in samples.
    pub(crate) floor: f64,
}

/// Where a closing belongs, and the variance of that, in samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Moved {
    pub(crate) pulse: usize,
    pub(crate) at: f64,
    pub(crate) variance: f64,
}

/// Looks for the further closures of every closing. `samples` hold no hum, `sign` is that of an opening, and `pulses`
/// are places of openings and closings in them.
pub(crate) fn tell(samples: &[f64], rate_hz: f64, sign: f64, pulses: &[(f64, f64)]) -> Told {
    let side = ((SIDE_S * rate_hz).round() as usize).max(SIDE_SAMPLES);
    let changes = Changes::new(samples, side, sign);
    let one = (ONE_S * rate_hz) as usize + 2 * side;
    let spans: Vec<Range<usize>> = spans(pulses, rate_hz, samples.len());
    let sharpest = spans.iter().map(|span| changes.sharpest(span.clone()));
    let usual = linear::median(&sharpest.collect::<Vec<f64>>()).unwrap_or(0.0);
    let quiet = changes.quiet(pulses, rate_hz);
    let least = quiet.map(|(noise, largest)| (LEAST_NOISES * noise).max(LEAST_QUIETS * largest));
    let Some(least) = least.filter(|least| *least < usual) else {
        return Told {
            reopenings: vec![Vec::new(); pulses.len()],
            moved: Vec::new(),
            floor: AFTER_S * rate_hz,
        };
    };
    let looks = Looks::new(samples, &changes, &spans, sign, rate_hz);
    let rings = (RINGS_S * rate_hz) as usize;
    let of_span = |span: Range<usize>| {
        let mut closures = changes.closures(span, least.max(LEAST_SHARE * usual), one, rings);
        closures.retain(|at| looks.are_those_at(*at));
        closures
    };
    let closures: Vec<Vec<usize>> = spans.iter().cloned().map(of_span).collect();
    let reopening = |pair: &[usize]| {
        // From the closure's own spike on, the sharpest change of the other sign.
        let start = changes.most_opening(pair[0] + one / 2..pair[1].saturating_sub(side));
        Some((start? as f64, pair[1] as f64))
    };
    let firsts = closures.iter().map(|own| own.first().copied());
    Told {
        moved: moved(
            &changes,
            &firsts.collect::<Vec<_>>(),
            pulses,
            least,
            rate_hz,
        ),
        reopenings: closures
            .iter()
            .map(|own| own.windows(2).filter_map(reopening).collect())
            .collect(),
        floor: one as f64,
    }
}

/// The closings that do not lie at their first closure. One with a sharp change of its own before that is right: the
/// first closure of two is hidden by a larger one beside it, or small.
fn moved(
    changes: &Changes,
    firsts: &[Option<usize>],
    pulses: &[(f64, f64)],
    least: f64,
    rate_hz: f64,
) -> Vec<Moved> {
    let shifts = firsts.iter().zip(pulses);
    let shifts: Vec<Option<f64>> = shifts
        .map(|(first, pulse)| Some(pulse.1 - (*first)? as f64))
        .collect();
    let near = shifts.iter().flatten().copied();
    let near: Vec<f64> = near.filter(|s| s.abs() < NEAR_S * rate_hz).collect();
    // Where the contact closed, and where the change is sharpest, is not quite the same.
    let offset = linear::median(&near);
    let common = offset.map_or(OFFSET_S * rate_hz, |_| 0.0);
    let offset = offset.unwrap_or(0.0);
    let of_pulse = |pulse: usize| {
        let (first, astray) = (firsts[pulse]? as f64, shifts[pulse]? - offset);
        let own = pulses[pulse].1 - offset;
        let reach = ASTRAY_S * rate_hz;
        let around = stretch(own - reach, own + reach + 1.0, changes.values.len());
        let closes_there = astray < 0.0 && changes.sharpest(around) >= least;
        (astray.abs() > reach && !closes_there).then(|| Moved {
            pulse,
            at: first + offset,
            variance: (PLACE_S * rate_hz).powi(2)
                + common.powi(2)
                + (ASTRAY_SHARE * astray).powi(2),
        })
    };
    (0..pulses.len()).filter_map(of_pulse).collect()
}

/// How the samples look around the usual closure.
struct Looks<'a> {
    samples: &'a [f64],
    sign: f64,
    before: usize,
    usual: Vec<f64>,
}

impl<'a> Looks<'a> {
    fn new(
        samples: &'a [f64],
        changes: &Changes,
        spans: &[Range<usize>],
        sign: f64,
        rate_hz: f64,
    ) -> Self {
        let [before, after] = LOOKS_S.map(|s| ((s * rate_hz).round() as usize).max(LOOKS_SAMPLES));
        let mut looks = Looks {
            samples,
            sign,
            before,
            usual: vec![0.0; before + after],
        };
        let strongest = spans.iter().filter_map(|span| {
            let sharp = span.clone().filter(|&at| changes.is_sharp(at));
            sharp.max_by(|a, b| changes.at(*a).total_cmp(&changes.at(*b)))
        });
        let all: Vec<Vec<f64>> = strongest.filter_map(|at| looks.at(at)).collect();
        looks.usual = (0..before + after)
            .map(|i| linear::median(&all.iter().map(|x| x[i]).collect::<Vec<_>>()))
            .map(|middle| middle.unwrap_or(0.0))
            .collect();
        looks
    }

    /// The samples around a place without their mean and of unit energy.
    fn at(&self, place: usize) -> Option<Vec<f64>> {
        let from = place.checked_sub(self.before)?;
        let stretch = self.samples.get(from..from + self.usual.len())?;
        let mean = stretch.iter().sum::<f64>() / stretch.len() as f64;
        let rest: Vec<f64> = stretch.iter().map(|x| -self.sign * (x - mean)).collect();
        let size = linear::dot(&rest, &rest).sqrt();
        (size > 0.0).then(|| rest.iter().map(|x| x / size).collect())
    }

    /// The sharpest change may lie a sample to either side of where the usual one does.
    fn are_those_at(&self, place: usize) -> bool {
        let size = linear::dot(&self.usual, &self.usual).sqrt();
        let alike = |place: usize| {
            self.at(place)
                .is_some_and(|own| linear::dot(&own, &self.usual) > ALIKE * size)
        };
        (place.saturating_sub(1)..=place + 1).any(alike)
    }
}

/// Where the closures of each closing may lie.
fn spans(pulses: &[(f64, f64)], rate_hz: f64, length: usize) -> Vec<Range<usize>> {
    let next = |index: usize| pulses.get(index + 1).map_or(f64::INFINITY, |next| next.0);
    let span = |(index, &(opening, closing)): (usize, &(f64, f64))| {
        let from = (closing - BEFORE_S * rate_hz).max(opening + AFTER_OPENING_S * rate_hz);
        let to = (closing + AFTER_S * rate_hz).min(next(index) - BEFORE_OPENING_S * rate_hz);
        stretch(from, to, length)
    };
    pulses.iter().enumerate().map(span).collect()
}

fn stretch(from: f64, to: f64, length: usize) -> Range<usize> {
    let last = (to.max(0.0) as usize).min(length);
    (from.max(0.0) as usize).min(last)..last
}

/// How sharply the trace moves at each place, closing positive.
struct Changes {
    values: Vec<f64>,
    side: usize,
}

impl Changes {
    fn new(samples: &[f64], side: usize, sign: f64) -> Self {
        let mut sums = Vec::with_capacity(samples.len() + 1);
        sums.push(0.0);
        let mut sum = 0.0;
        sums.extend(samples.iter().map(|x| {
            sum += x;
            sum
        }));
        let change = |at: usize| {
            let inside = at >= side && at + side < sums.len();
            if inside {
                -sign * (sums[at + side] - 2.0 * sums[at] + sums[at - side]) / side as f64
            } else {
                0.0
            }
        };
        Changes {
            values: (0..samples.len()).map(change).collect(),
            side,
        }
    }

    fn at(&self, place: usize) -> f64 {
        self.values.get(place).copied().unwrap_or(0.0)
    }

    /// Whether a change is over two sides before and after a place.
    fn is_sharp(&self, at: usize) -> bool {
        let most = STAYS * self.at(at);
        self.at(at.saturating_sub(2 * self.side)) < most && self.at(at + 2 * self.side) < most
    }

    /// Largest sharp change of a stretch; zero where there is none.
    fn sharpest(&self, span: Range<usize>) -> f64 {
        let sharp = span.filter(|&at| self.is_sharp(at));
        sharp.map(|at| self.at(at)).fold(0.0, f64::max)
    }

    /// Standard deviation, by the median, and largest size of the changes where nothing happens; `None` where that is
    /// nowhere.
    fn quiet(&self, pulses: &[(f64, f64)], rate_hz: f64) -> Option<(f64, f64)> {
        let within = |from: f64, to: f64, [after_s, before_s]: [f64; 2]| {
            let (from, to) = (from + after_s * rate_hz, to - before_s * rate_hz);
            stretch(from, to, self.values.len())
        };
        let breaks = pulses.iter().map(|p| within(p.0, p.1, QUIET_BREAK_S));
        let makes = pulses
            .windows(2)
            .map(|pair| within(pair[0].1, pair[1].0, QUIET_MAKE_S));
        let sizes: Vec<f64> = breaks
            .chain(makes)
            .flatten()
            .map(|at| self.at(at).abs())
            .collect();
        // Of a normal distribution, 1.4826 times the median size is the standard deviation.
        let noise = 1.4826 * linear::median(&sizes)?;
        Some((noise, sizes.into_iter().fold(0.0, f64::max)))
    }

    /// Places of sharp changes in time order, the larger one of two that are too close.
    fn closures(&self, span: Range<usize>, least: f64, one: usize, rings: usize) -> Vec<usize> {
        let mut places: Vec<usize> = span
            .clone()
            .filter(|&at| self.at(at) >= least && self.is_sharp(at))
            .collect();
        places.sort_by(|a, b| self.at(*b).total_cmp(&self.at(*a)));
        let mut taken: Vec<usize> = Vec::new();
        for at in places {
            let apart = |other: &usize| at.abs_diff(*other);
            let is_ringing =
                |other: &usize| apart(other) < rings && self.at(at) < RINGS * self.at(*other);
            if !taken
                .iter()
                .any(|other| apart(other) < one || is_ringing(other))
            {
                taken.push(at);
            }
        }
        taken.sort_unstable();
        taken
    }

    fn most_opening(&self, span: Range<usize>) -> Option<usize> {
        span.min_by(|a, b| self.at(*a).total_cmp(&self.at(*b)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// A loop's current at 48 kHz: it stops at an opening, and rises with 1.8 ms at a closing, which begins with a spike
    /// of 0.1 ms of the given size. Four pulses from 0.1 s, of which each closing is followed by openings at the given
    /// times after it, in milliseconds.
    fn looped(spike: f64, reopenings_ms: &[(f64, f64)]) -> (Vec<f64>, Vec<(f64, f64)>) {
        let pulses: Vec<(f64, f64)> = (0..4)
            .map(|k| 0.1 + 0.1 * f64::from(k))
            .map(|open| (open, open + 0.062))
            .collect();
        let mut moves: Vec<(f64, bool)> = Vec::new();
        for (open, close) in &pulses {
            moves.extend([(*open, false), (*close, true)]);
            for (from, to) in reopenings_ms {
                moves.extend([(close + from / 1e3, false), (close + to / 1e3, true)]);
            }
        }
        let mut state = 5u32;
        let samples = (0..24_000)
            .map(|i| {
                let t = f64::from(i) / RATE_HZ;
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = 0.002 * (f64::from(state >> 8) / f64::from(1u32 << 24) - 0.5);
                let last = moves.iter().rfind(|(at, _)| *at <= t);
                noise
                    + match last {
                        None => 1.0,
                        Some((_, false)) => 0.0,
                        Some((at, true)) => {
                            let since = t - at;
                            1.0 - (-since / 0.0018).exp() + spike * (-since / 0.0001).exp()
                        }
                    }
            })
            .collect();
        let places = pulses.iter().map(|(o, c)| (o * RATE_HZ, c * RATE_HZ));
        (samples, places.collect())
    }

    #[test]
    fn each_further_closure_shows_by_its_spike() {
        let (samples, pulses) = looped(0.6, &[(1.0, 2.5), (3.0, 5.5)]);
        let told = tell(&samples, RATE_HZ, -1.0, &pulses);
        assert!(told.floor < 0.001 * RATE_HZ, "{}", told.floor);
        for (reopenings, (_, closing)) in told.reopenings.iter().zip(&pulses) {
            let found: Vec<f64> = reopenings
                .iter()
                .flat_map(|(from, to)| [from - closing, to - closing])
                .map(|samples| 1e3 * samples / RATE_HZ)
                .collect();
            assert_eq!(found.len(), 4, "{found:?}");
            for (found, drawn) in found.iter().zip([1.0, 2.5, 3.0, 5.5]) {
                assert!((found - drawn).abs() < 0.05, "{found} for {drawn} ms");
            }
        }
    }

    /// The closings were placed at the last closure: the first is found before it.
    #[test]
    fn closures_before_the_place_of_a_closing_count() {
        let (samples, mut pulses) = looped(0.6, &[(1.0, 4.0)]);
        pulses.iter_mut().for_each(|p| p.1 += 0.004 * RATE_HZ);
        let told = tell(&samples, RATE_HZ, -1.0, &pulses);
        assert!(told.reopenings.iter().all(|r| r.len() == 1));
        assert_eq!(told.moved.len(), 4);
        for moved in &told.moved {
            let shift_s = (moved.at - pulses[moved.pulse].1) / RATE_HZ;
            assert!((shift_s + 0.004).abs() < 0.000_1, "{shift_s}");
        }
        // One of four at its later closure: the others say how the sharpest change lies to the contact's instant.
        pulses.iter_mut().for_each(|p| p.1 -= 0.003_95 * RATE_HZ);
        pulses[2].1 += 0.004 * RATE_HZ;
        let told = tell(&samples, RATE_HZ, -1.0, &pulses);
        assert_eq!(told.moved.len(), 1);
        assert_eq!(told.moved[0].pulse, 2);
        let shift_s = (told.moved[0].at - pulses[2].1) / RATE_HZ;
        assert!((shift_s + 0.004).abs() < 0.000_05, "{shift_s}");
    }

    /// A click is as sharp, but another thing: it rings.
    #[test]
    fn a_click_before_a_closing_is_no_closure() {
        let (mut samples, pulses) = looped(0.6, &[]);
        let click = (pulses[1].1 - 0.005 * RATE_HZ) as usize;
        for (k, x) in samples[click..click + 60].iter_mut().enumerate() {
            let t = k as f64 / RATE_HZ;
            *x += 0.8 * (-t / 0.0003).exp() * (std::f64::consts::TAU * 4000.0 * t).sin();
        }
        let told = tell(&samples, RATE_HZ, -1.0, &pulses);
        assert_eq!(told.moved, []);
        assert!(told.reopenings.iter().all(Vec::is_empty));
    }

    /// The second closure, 0.5 ms after the first, hides it: the closing stays where it is.
    #[test]
    fn a_first_closure_beside_a_larger_one_keeps_its_place() {
        let (mut samples, mut pulses) = looped(0.6, &[]);
        let second = (pulses[1].1 + 0.000_5 * RATE_HZ) as usize;
        for (k, x) in samples[second..second + 200].iter_mut().enumerate() {
            *x += (-(k as f64) / RATE_HZ / 0.0001).exp();
        }
        assert_eq!(tell(&samples, RATE_HZ, -1.0, &pulses).moved, []);
        // One that lies where nothing closes is put where something does.
        pulses[3].1 -= 0.003 * RATE_HZ;
        let moved = tell(&samples, RATE_HZ, -1.0, &pulses).moved;
        assert_eq!(moved.len(), 1);
        assert_eq!(moved[0].pulse, 3);
    }

    #[test]
    fn a_closing_without_chatter_has_none_and_without_a_spike_nothing_is_claimed() {
        let (samples, pulses) = looped(0.6, &[]);
        let told = tell(&samples, RATE_HZ, -1.0, &pulses);
        assert!(told.reopenings.iter().all(Vec::is_empty));
        assert!(told.floor < 0.001 * RATE_HZ);
        // A slow rise alone goes on and on: no closure can be told by it.
        let (samples, pulses) = looped(0.0, &[(1.0, 2.5)]);
        let told = tell(&samples, RATE_HZ, -1.0, &pulses);
        assert!(told.reopenings.iter().all(Vec::is_empty));
        assert_eq!(told.floor, AFTER_S * RATE_HZ);
    }
}
