//! Slow transitions: where the contact moved when the step itself is rounded, spiked or rings.
//!
//! All openings of a train look alike, and so do all closings. They are aligned with their own mean,
//! which places them against one another far better than any of them places itself; what they share, the
//! onset, is then found by fitting, to all of them at once, a straight line that turns at the onset into
//! a sum of a step and exponentials, all seen through the recorder's band limit.

use crate::cluster;
use crate::linear::{self, RunningSums, Solver};
use crate::response::{Response, Term};
use crate::shape::{Shape, resample};
use crate::wide::wide;
use rustfft::num_complex::Complex64;
use std::ops::Range;

/// Places of alike transitions may differ by so much before they are lined up; of rough ones by more, where a place so
/// far away is so many times as like the others: a spike that a sharp step did not find.
const LINE_UP_S: f64 = 0.0025;
const LINE_UP_FAR_S: f64 = 0.009;
const FAR_LIKENESS: f64 = 2.0;
/// Mean waveform: from so long before the place to so long after it.
const MEAN_BEFORE_S: f64 = 0.009;
const MEAN_AFTER_S: f64 = 0.007;
/// Aligned on this part of it.
const ALIGN_BEFORE_S: f64 = 0.002;
/// Onset fit: straight before, exponentials after.
const FIT_BEFORE_S: f64 = 0.0015;
const FIT_AFTER_S: f64 = 0.001;
/// Shortest fit to either side, in samples.
const FIT_SAMPLES: f64 = 10.0;
/// The onset is looked for around the first departure.
const SEARCH_BEFORE_S: f64 = 0.000_2;
const SEARCH_AFTER_S: f64 = 0.000_6;
/// In noise the departure shows late: by so many times the stretch over which changes stand out, and no more than this.
const LATE_BLURS: f64 = 2.0;
const LATEST_S: f64 = 0.000_6;
/// The mean has noise too, and the first of a train starts from another state: so much more than the noise of one says.
const ALIGNED: f64 = 1.3;
/// A spike stands so many times farther out than what lasts.
const SPIKE: f64 = 2.0;
/// Changes are taken over as few samples as let them stand out of the noise so far, and over no longer a stretch than this.
const STANDS_OUT: f64 = 8.0;
const LONGEST_BLUR_S: f64 = 0.000_75;
/// So many transitions tell the noise.
const NOISE_OF: usize = 3;
/// Median of the squares of normal noise, over its variance.
const MEDIAN_SQUARE: f64 = 0.455;

/// An onset of one transition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Onset {
    /// Instant of the contact, in samples.
    pub(crate) at: f64,
    /// Half of the step has passed, in samples.
    pub(crate) half_step: f64,
    /// Variance of the instant against the others of its kind, in samples².
    pub(crate) variance: f64,
}

/// Onsets of all transitions of one kind.
#[derive(Clone, Debug)]
pub(crate) struct Onsets {
    pub(crate) each: Vec<Onset>,
    /// Variance that all share, in samples².
    pub(crate) common: f64,
    /// Noise per sample before the transitions, over the size of the transition.
    pub(crate) noise: f64,
    /// Root-mean-square residual of the onset fit, degrees of freedom counted.
    pub(crate) residual: f64,
    /// Share of the largest excursion that the first millisecond after the onset reaches.
    pub(crate) departs: f64,
    /// Of what that millisecond reaches, the share that the onset fit leaves.
    pub(crate) unexplained: f64,
}

/// Finds the onsets of alike transitions near `places` (samples). Rough ones may begin with a spike that is shorter than a
/// sample, and a sharp step fitted to a slow rise may lie far from it: `coarse` places do not. What is found at the rim
/// of a stretch is looked at again from there, and of what is found the best is taken.
pub(crate) fn find(
    samples: &[f64],
    rate_hz: f64,
    followers: &Followers,
    places: &[f64],
    coarse: Option<&[f64]>,
) -> Option<Onsets> {
    let group = Group {
        samples,
        rate_hz,
        followers,
        spiked: coarse.is_some(),
    };
    let mut tried: Vec<f64> = Vec::new();
    let mut look = |places: &[f64]| {
        let aligned = group.aligned(places)?;
        let departure = aligned.departure();
        if tried.iter().any(|other| (other - departure).abs() < SAME) {
            return None;
        }
        tried.push(departure);
        group.onsets(&aligned)
    };
    let near = look(places);
    let Some(coarse) = coarse else {
        return near;
    };
    let again = near.as_ref().and_then(|near| {
        let places: Vec<f64> = near.each.iter().map(|onset| onset.at).collect();
        look(&places)
    });
    [near, again, look(coarse)]
        .into_iter()
        .flatten()
        .min_by(|a, b| a.residual.total_cmp(&b.residual))
}

/// Where alike transitions lie against one another, by the shape they share, whatever that is: places of the same point of
/// each, in samples, and their variances. `None` where one of them could not be aligned.
pub(crate) fn alike(
    samples: &[f64],
    rate_hz: f64,
    followers: &Followers,
    places: &[f64],
) -> Option<Vec<(f64, f64)>> {
    let group = Group {
        samples,
        rate_hz,
        followers,
        spiked: true,
    };
    let (places, variances, _) = group.side_by_side(places)?;
    let placed = places.into_iter().zip(variances);
    placed
        .map(|(at, variance)| Some((at, variance.filter(|v| v.is_finite())?)))
        .collect()
}

/// Alike transitions whose first departures lie so close are the same, however they were come by: samples.
const SAME: f64 = 0.5;
/// The mean and the places found from it are turned over so often at most, or until no place moves by more samples.
const TURNS: usize = 4;
const STILL: f64 = 0.002;

/// Found on loops solved by an independent circuit simulator and by our own: an onset errs by some
/// hundredths of the time to the first tenth, and by a seventh of a sample where that is instant.
const MODEL_SHARE: f64 = 0.07;
const MODEL_SAMPLES: f64 = 0.155;

/// What the onsets of a kind share.
struct Shared {
    /// Onset in samples from the places of the transitions.
    offset: f64,
    variance: f64,
    residual: f64,
    /// Followers of the model.
    model: usize,
}

/// A transition's own onset is looked for so far from the shared one.
const OWN_SEARCH_S: f64 = 0.000_5;
/// Its own onset counts when it differs from the aligned one by so many standard deviations.
const DIFFERS: f64 = 5.0;

/// The aligned onset, unless the transition's own contradicts it.
fn choose(aligned: (f64, f64), own: Option<(f64, f64)>) -> (f64, f64) {
    match own {
        Some(own)
            if (own.0 - aligned.0).powi(2) > DIFFERS * DIFFERS * (own.1 + aligned.1 + 0.01) =>
        {
            own
        }
        _ => aligned,
    }
}

struct Group<'a> {
    samples: &'a [f64],
    rate_hz: f64,
    followers: &'a Followers,
    spiked: bool,
}

/// Onsets tried, equally spaced.
struct Sweep {
    from: f64,
    spacing: f64,
    count: usize,
}

impl Sweep {
    fn new(from: f64, to: f64, spacing: f64) -> Self {
        Sweep {
            from,
            spacing,
            count: ((to - from) / spacing).round() as usize,
        }
    }

    fn places(&self) -> impl Iterator<Item = f64> {
        (0..=self.count).map(|i| self.from + self.spacing * i as f64)
    }

    /// Place between the ends at which a model's misfit is least, that misfit, and its curvature per sample².
    fn least(&self, misfits: &[Vec<f64>], model: usize) -> Option<(f64, f64, f64)> {
        let own = misfits.iter().map(|m| m.get(model - 1).copied());
        let own: Vec<f64> = own.collect::<Option<_>>()?;
        let best = (0..own.len()).min_by(|&a, &b| own[a].total_cmp(&own[b]))?;
        if best == 0 || best == self.count {
            return None;
        }
        let (l, m, r) = (own[best - 1], own[best], own[best + 1]);
        let place = self.from + self.spacing * (best as f64 + linear::parabola_peak(l, m, r));
        Some((place, m, (l - 2.0 * m + r) / (self.spacing * self.spacing)))
    }
}

/// A mean waveform; its first value lies `start` samples from the place of each transition.
struct Mean {
    start: f64,
    values: Vec<f64>,
}

impl Mean {
    /// The same, each value the mean of so many around it.
    fn blurred(&self, blur: usize) -> Mean {
        let windows = self.values.windows(blur);
        Mean {
            start: self.start + (blur - 1) as f64 / 2.0,
            values: windows
                .map(|w| w.iter().sum::<f64>() / blur as f64)
                .collect(),
        }
    }
}

/// Variance that white noise gives to changes from sample to sample. What is smooth counts for nothing: a second difference of
/// changes has ten times the variance of one.
fn noise_of_changes<'a>(each: impl Iterator<Item = &'a [f64]>) -> f64 {
    let bends = each.flat_map(|changes| {
        changes
            .windows(3)
            .map(|c| (c[2] - 2.0 * c[1] + c[0]).powi(2))
    });
    let bends: Vec<f64> = bends.collect();
    linear::median(&bends).unwrap_or(0.0) / MEDIAN_SQUARE / 10.0
}

/// Alike transitions, placed against one another.
struct Aligned {
    places: Vec<f64>,
    /// Of each place against the others, in samples².
    variances: Vec<f64>,
    mean: Mean,
    /// First departure of the mean from its straight line, in samples from the places.
    first: f64,
    /// Samples over which changes are taken to stand out of the noise.
    blur: usize,
}

impl Aligned {
    /// Where one of them departs, in samples.
    fn departure(&self) -> f64 {
        self.places[self.places.len() / 2] + self.first
    }
}

impl Group<'_> {
    /// Places of the same point of each transition, their variances against the others, and over how many samples changes stand
    /// out of the noise.
    fn side_by_side(&self, places: &[f64]) -> Option<(Vec<f64>, Vec<Option<f64>>, usize)> {
        let (mut places, blur) = self.line_up(places);
        let mut variances = vec![None; places.len()];
        if let [place] = places[..] {
            // One is like itself.
            let within = self.aligned_part(place).is_some();
            return Some((places, vec![within.then_some(0.0)], blur));
        }
        for _ in 0..TURNS {
            let mean = self.mean(&places)?;
            let mut farthest: f64 = 0.0;
            for (place, variance) in places.iter_mut().zip(&mut variances) {
                if let Some((shift, own)) = self.align(&mean, *place, blur) {
                    *place += shift.clamp(-0.0015 * self.rate_hz, 0.0015 * self.rate_hz);
                    *variance = Some(own);
                    farthest = farthest.max(shift.abs());
                }
            }
            if farthest < STILL {
                break;
            }
        }
        Some((places, variances, blur))
    }

    fn aligned(&self, places: &[f64]) -> Option<Aligned> {
        let (places, variances, blur) = self.side_by_side(places)?;
        let mean = self.mean(&places)?;
        let first = self.first_departure(&mean, blur)?;
        Some(Aligned {
            places,
            variances: variances
                .into_iter()
                .map(Option::unwrap_or_default)
                .collect(),
            mean,
            first,
            blur,
        })
    }

    fn onsets(&self, aligned: &Aligned) -> Option<Onsets> {
        let Aligned { places, mean, .. } = aligned;
        let shared = self.onset(places, aligned)?;
        let offset = shared.offset;
        let common = shared.variance + self.model_error(mean, offset).powi(2);
        let half = self.half_step(mean, offset);
        let (noise, size) = self.noise_and_size(mean, offset);
        let [first, largest] = self.excursions(mean, offset);
        let spread = (places.len() as f64).sqrt();
        let each = places
            .iter()
            .zip(&aligned.variances)
            .enumerate()
            .map(|(i, (place, &variance))| {
                let own = (i == 0).then(|| self.own_onset(*place, &shared)).flatten();
                let (at, variance) = choose((offset, variance + 0.02f64.powi(2)), own);
                Onset {
                    at: place + at,
                    half_step: place + half + at - offset,
                    variance,
                }
            })
            .collect();
        Some(Onsets {
            each,
            common,
            noise: noise * spread / size.max(f64::MIN_POSITIVE),
            residual: shared.residual,
            departs: first / largest.max(f64::MIN_POSITIVE),
            unexplained: shared.residual / first.max(f64::MIN_POSITIVE),
        })
    }

    fn length(&self, seconds: f64) -> usize {
        (seconds * self.rate_hz).round() as usize
    }

    /// Moves the places by whole samples so that all transitions lie alike. Sharp fits to slow or spiked
    /// transitions may have taken the spike of one and the rise of another. With the places, over how many samples changes
    /// stand out of the noise.
    fn line_up(&self, places: &[f64]) -> (Vec<f64>, usize) {
        let near = self.length(LINE_UP_S) as i64;
        let reach = if self.spiked {
            self.length(LINE_UP_FAR_S) as i64
        } else {
            near
        };
        let around = self.length(MEAN_AFTER_S) as i64;
        let middle = reach as usize..(reach + 2 * around) as usize;
        let (each, blur) = self.standing_out(places, around + reach, middle.clone());
        if let [(at, _)] = each[..] {
            return (vec![at as f64], blur);
        }
        // The one with the most of the transition around it is the least astray.
        let Some(reference) = each
            .iter()
            .map(|(_, changes)| &changes[middle.clone()])
            .max_by(|a, b| linear::dot(a, a).total_cmp(&linear::dot(b, b)))
        else {
            return (places.to_vec(), blur);
        };
        let lined_up = each
            .iter()
            .map(|(at, changes)| {
                let likeness: Vec<f64> = changes
                    .windows(reference.len())
                    .map(|here| linear::dot(reference, here))
                    .collect();
                let best = |within: i64| {
                    let shifts = -within..=within;
                    let likeness = shifts.map(|shift| (shift, likeness[(shift + reach) as usize]));
                    likeness.max_by(|a, b| a.1.total_cmp(&b.1))
                };
                let shift = match (best(near), best(reach)) {
                    (Some(near), Some(far)) if far.1 > FAR_LIKENESS * near.1 => far.0,
                    (near, _) => near.map_or(0, |near| near.0),
                };
                (at + shift) as f64
            })
            .collect();
        (lined_up, blur)
    }

    /// Changes so far around the whole samples nearest to the places, over as few samples as let what lies in the `middle` of one
    /// stand out of the noise; and over how many.
    fn standing_out(
        &self,
        places: &[f64],
        around: i64,
        middle: Range<usize>,
    ) -> (Vec<(i64, Vec<f64>)>, usize) {
        let changes = |blur: usize| -> Vec<(i64, Vec<f64>)> {
            let places = places.iter().map(|place| place.round() as i64);
            places
                .map(|at| (at, self.changes(at - around, 2 * around, blur)))
                .collect()
        };
        let mut blur = 1;
        let mut each = changes(blur);
        let some = each.len().div_ceil(NOISE_OF).max(1);
        let noise = noise_of_changes(each.iter().step_by(some).map(|(_, changes)| &changes[..]));
        let count = middle.len() as f64;
        let stand_out = |each: &[(i64, Vec<f64>)], blur: usize| {
            let noise = noise / blur as f64;
            let middles = each.iter().map(|(_, changes)| &changes[middle.clone()]);
            let largest = middles.map(|m| linear::dot(m, m)).fold(0.0, f64::max);
            // Noise against noise is as large as this by chance.
            largest - count * noise >= STANDS_OUT * noise * (count * blur as f64).sqrt()
        };
        let longest = self.length(LONGEST_BLUR_S).max(1);
        while !stand_out(&each, blur) && 2 * blur <= longest {
            blur *= 2;
            each = changes(blur);
        }
        (each, blur)
    }

    /// Changes from each sample to the next from one on, or from the mean of so many to that of the next; none outside of the
    /// samples.
    fn changes(&self, from: i64, count: i64, blur: usize) -> Vec<f64> {
        let mean = |from: usize| {
            Some(self.samples.get(from..from + blur)?.iter().sum::<f64>() / blur as f64)
        };
        let change = |at: i64| -> Option<f64> {
            let next = usize::try_from(at).ok()? + 1;
            Some(mean(next)? - mean(next.checked_sub(blur)?)?)
        };
        (from..from + count)
            .map(|at| change(at).unwrap_or(0.0))
            .collect()
    }

    fn mean(&self, places: &[f64]) -> Option<Mean> {
        let before = self.length(MEAN_BEFORE_S);
        let count = before + self.length(MEAN_AFTER_S);
        let mut values = vec![0.0; count];
        let mut taken = 0.0;
        for &place in places {
            let start = place - before as f64;
            if start < 24.0 || start + count as f64 + 24.0 > self.samples.len() as f64 {
                continue;
            }
            // Levels differ by droop; only the shape is averaged.
            let here = resample(self.samples, start, count);
            let level = here[before / 2];
            for (value, x) in values.iter_mut().zip(here) {
                *value += x - level;
            }
            taken += 1.0;
        }
        values.iter_mut().for_each(|v| *v /= taken);
        (taken > 0.0).then_some(Mean {
            start: -(before as f64),
            values,
        })
    }

    /// The part of a transition that is aligned with others: its first sample and how many there are; `None` where samples are
    /// missing around it.
    fn aligned_part(&self, place: f64) -> Option<(f64, usize)> {
        let before = self.length(ALIGN_BEFORE_S);
        let (first, count) = (place - before as f64, before + self.length(MEAN_AFTER_S));
        (first >= 24.0 && first + count as f64 + 24.0 <= self.samples.len() as f64)
            .then_some((first, count))
    }

    /// Shift of the transition at `place` against the mean, in samples, and its variance.
    fn align(&self, mean: &Mean, place: f64, blur: usize) -> Option<(f64, f64)> {
        let (first, n) = self.aligned_part(place)?;
        let shape = &mean.values[mean.values.len() - n..];
        let slope: Vec<f64> = (0..n)
            .map(|i| {
                let (a, b) = (i.saturating_sub(blur), (i + blur).min(n - 1));
                (shape[b] - shape[a]) / (b - a) as f64
            })
            .collect();
        let here = resample(self.samples, first, n);
        let ramp = (0..n).map(|i| i as f64 / n as f64 - 0.5).collect();
        let basis = [vec![1.0; n], ramp, shape.to_vec(), slope];
        let solver = Solver::new(&basis)?;
        let (fit, residual) = solver.fit(&here);
        if fit[2] <= 0.0 {
            return None;
        }
        // here(t) = a mean(t - d): the coefficient of the slope is -a d.
        let variance =
            ALIGNED * residual * residual * solver.variance_factor(3) / (fit[2] * fit[2]);
        Some((-fit[3] / fit[2], variance))
    }

    /// First place where the mean leaves the straight line through the two milliseconds before, in
    /// samples from the place of the transitions.
    fn first_departure(&self, mean: &Mean, blur: usize) -> Option<f64> {
        let mean = &mean.blurred(blur);
        let quiet = self.length(0.002).max(12);
        let lasting = self.length(0.000_15).max(2);
        let sums = RunningSums::new(&mean.values);
        let starts = 0..(mean.values.len() + 1).saturating_sub(quiet);
        let residual = |start| (sums.without_line(start, quiet) / quiet as f64).sqrt();
        let residuals: Vec<f64> = starts.map(residual).collect();
        let noise = linear::quantile(&residuals, 0.25)?;
        let level = linear::median(&mean.values[..quiet])?;
        let size = mean
            .values
            .iter()
            .map(|v| (v - level).abs())
            .fold(0.0, f64::max);
        let threshold = (6.0 * noise).max(0.012 * size);
        let departs = |lasting: usize, threshold: f64| {
            (quiet..mean.values.len().saturating_sub(lasting)).find(|&i| {
                let [level, slope] = sums.line(i - quiet, quiet);
                (0..lasting)
                    .all(|k| (mean.values[i + k] - level - slope * k as f64).abs() > threshold)
            })
        };
        // In noise nothing may last beside a spike.
        departs(lasting, threshold)
            .or_else(|| self.spiked.then(|| departs(1, SPIKE * threshold)).flatten())
            .map(|i| mean.start + i as f64)
    }

    /// Onset common to all transitions, in samples from their places, its variance, and the residual.
    fn onset(&self, places: &[f64], aligned: &Aligned) -> Option<Shared> {
        let first = aligned.first;
        let windows: Vec<Fitting> = places
            .iter()
            .filter_map(|&place| self.fit_window(place, first))
            .collect();
        let total: usize = windows.iter().map(|w| w.samples.len()).sum();
        let late = (LATE_BLURS * (aligned.blur - 1) as f64).min(LATEST_S * self.rate_hz);
        let from = first - (SEARCH_BEFORE_S * self.rate_hz).max(2.0) - late;
        let to = first + (SEARCH_AFTER_S * self.rate_hz).max(2.5);
        let coarse = Sweep::new(from, to, 0.5);
        // The shortest spike, where there is none, takes up the noise beside the onset.
        let most = if self.spiked {
            FOLLOWERS
        } else {
            FOLLOWERS - 1
        };
        let misfits = self.misfits(&windows, &coarse, most);
        let mut best: Option<(f64, Shared)> = None;
        for model in LEAST_FOLLOWERS..=most {
            let Some(near) = coarse.least(&misfits, model) else {
                continue;
            };
            let Some((offset, misfit, curvature)) = self.settle(&windows, near.0, model) else {
                continue;
            };
            let terms = (windows.len() * (2 + model)) as f64 + 1.0;
            let merit = total as f64 * (misfit / total as f64).max(1e-30).ln()
                + terms * (total as f64).ln() * 0.5;
            let freedom = (total as f64 - terms).max(1.0);
            let variance = 2.0 * (misfit / freedom) / curvature.max(f64::MIN_POSITIVE);
            if best.as_ref().is_none_or(|(least, _)| merit < *least) {
                let residual = (misfit / freedom).sqrt();
                best = Some((
                    merit,
                    Shared {
                        offset,
                        variance,
                        residual,
                        model,
                    },
                ));
            }
        }
        best.map(|(_, shared)| shared)
    }

    /// Samples around the first departure of the transition at `place`.
    fn fit_window(&self, place: f64, first: f64) -> Option<Fitting> {
        let before = (FIT_BEFORE_S * self.rate_hz).max(FIT_SAMPLES);
        let after = (FIT_AFTER_S * self.rate_hz).max(FIT_SAMPLES);
        let start = (place + first - before).ceil();
        let end = start + (before + after).floor();
        (start >= 0.0 && end < self.samples.len() as f64)
            .then(|| Fitting::new(&self.samples[start as usize..end as usize], place - start))
    }

    /// Onset of the transition at `place` by itself, in samples from the place, and its variance. A
    /// transition that starts from another state than the others (the first of a train, after a long make)
    /// has another waveform, and being aligned with the mean is then wrong.
    fn own_onset(&self, place: f64, shared: &Shared) -> Option<(f64, f64)> {
        let window = [self.fit_window(place, shared.offset)?];
        let reach = (OWN_SEARCH_S * self.rate_hz).max(3.0);
        let coarse = Sweep::new(shared.offset - reach, shared.offset + reach, 0.5);
        let near = coarse.least(&self.misfits(&window, &coarse, shared.model), shared.model)?;
        let fine = self.settle(&window, near.0, shared.model)?;
        let variance = 2.0 * shared.residual.powi(2) / fine.2.max(f64::MIN_POSITIVE);
        Some((fine.0, variance))
    }

    /// Least misfit of a model close to an onset: place, misfit, curvature per sample².
    fn settle(&self, windows: &[Fitting], near: f64, model: usize) -> Option<(f64, f64, f64)> {
        let fine = Sweep::new(near - 1.0, near + 1.0, 0.125);
        fine.least(&self.misfits(windows, &fine, model), model)
    }

    /// Misfits of all models up to `most` followers, at each onset of a sweep. Onsets a whole number of samples apart share
    /// their columns.
    fn misfits(&self, windows: &[Fitting], sweep: &Sweep, most: usize) -> Vec<Vec<f64>> {
        let phases = (1.0 / sweep.spacing).round().max(1.0) as usize;
        let whole = sweep.count / phases;
        let shapes = &self.followers.shapes[..most];
        let mut sums = vec![vec![0.0; most]; sweep.count + 1];
        for window in windows {
            let length = window.samples.len();
            let of_phase = |offset: f64| -> Vec<Vec<f64>> {
                let at = window.place + offset + whole as f64;
                shapes
                    .iter()
                    .map(|s| s.column(at, length + whole))
                    .collect()
            };
            // The later the onset, the earlier the part of its columns.
            for (phase, offset) in sweep.places().take(phases).enumerate() {
                let columns = of_phase(offset);
                let mut part = Part::new(&columns, whole, length);
                for index in (phase..=sweep.count).step_by(phases) {
                    let start = whole - index / phases;
                    part.move_to(start);
                    let own = part.misfits(window);
                    let sums = &mut sums[index];
                    sums.truncate(own.len());
                    sums.iter_mut().zip(own).for_each(|(sum, own)| *sum += own);
                }
            }
        }
        sums
    }

    /// What the onset may be off for all transitions alike because the model is not the line's own: a
    /// share of the time that the transition takes to its first tenth, in samples.
    fn model_error(&self, mean: &Mean, offset: f64) -> f64 {
        let index = ((offset - mean.start).max(1.0) as usize).min(mean.values.len() - 1);
        let level = mean.values[index.saturating_sub(self.length(0.0003).max(2))];
        let size = mean.values[index..]
            .iter()
            .map(|v| (v - level).abs())
            .fold(0.0, f64::max);
        let tenth = mean.values[index..]
            .iter()
            .position(|v| (v - level).abs() > 0.1 * size);
        MODEL_SHARE * tenth.unwrap_or(0) as f64 + MODEL_SAMPLES
    }

    /// Where the mean passes half of what it settles to, in samples from the places.
    fn half_step(&self, mean: &Mean, offset: f64) -> f64 {
        let index = ((offset - mean.start).max(1.0) as usize).min(mean.values.len() - 1);
        let tail = &mean.values[mean.values.len() - self.length(0.001).max(3)..];
        let before = mean.values[index.saturating_sub(self.length(0.0003).max(2))];
        let settled = linear::median(tail).unwrap_or(before);
        let half = 0.5 * (before + settled);
        let rising = settled > before;
        (index..mean.values.len())
            .find(|&i| (mean.values[i] > half) == rising)
            .map_or(offset, |i| {
                let (a, b) = (mean.values[i - 1], mean.values[i]);
                let fraction = if (b - a).abs() > 0.0 {
                    ((half - a) / (b - a)).clamp(0.0, 1.0)
                } else {
                    0.0
                };
                (mean.start + (i - 1) as f64 + fraction).max(offset)
            })
    }

    /// Largest excursion of the first millisecond after the onset, which is fitted, and of all that follows.
    fn excursions(&self, mean: &Mean, offset: f64) -> [f64; 2] {
        let index = ((offset - mean.start).max(4.0) as usize).min(mean.values.len() - 1);
        let level = mean.values[index.saturating_sub(self.length(0.0003).max(2))];
        let largest = |values: &[f64]| values.iter().map(|v| (v - level).abs()).fold(0.0, f64::max);
        let after = &mean.values[index..];
        let first = self.length(FIT_AFTER_S).clamp(1, after.len());
        [largest(&after[..first]), largest(after)]
    }

    /// Noise of the mean before the onset, and the largest excursion after it.
    fn noise_and_size(&self, mean: &Mean, offset: f64) -> (f64, f64) {
        let index = ((offset - mean.start).max(4.0) as usize).min(mean.values.len() - 1);
        let quiet = &mean.values[..index.saturating_sub(self.length(0.0005)).max(4)];
        let n = quiet.len();
        let basis: Vec<Vec<f64>> = (0..3)
            .map(|power| {
                (0..n)
                    .map(|i| (i as f64 / n as f64 - 0.5).powi(power))
                    .collect()
            })
            .collect();
        let noise = Solver::new(&basis).map_or(0.0, |s| s.fit(quiet).1);
        let level = quiet.last().copied().unwrap_or(0.0);
        let size = mean.values[index..]
            .iter()
            .map(|v| (v - level).abs())
            .fold(0.0, f64::max);
        (noise, size)
    }
}

/// What may follow an onset: a bend, a faster one, a jump, a decay of 0.15 ms and spikes of 0.04 ms and of
/// 6 µs (line and quench capacitors that discharge into the contact). A model is the first so many of them.
#[derive(Debug)]
pub(crate) struct Followers {
    shapes: [Shape; FOLLOWERS],
}

const FOLLOWERS: usize = 6;
/// Models tried begin with so many.
const LEAST_FOLLOWERS: usize = 2;
/// A straight line and all that may follow.
const COLUMNS: usize = 2 + FOLLOWERS;
/// A column that others explain but for this share of its energy depends on them.
const DEPENDS: f64 = 1e-12;

impl Followers {
    pub(crate) fn new(rate_hz: f64) -> Self {
        let shape = |terms: &[(f64, f64)]| {
            let term = |&(weight, constant_s): &(f64, f64)| {
                let pole = if constant_s > 0.0 {
                    -1.0 / constant_s
                } else {
                    0.0
                };
                Term {
                    weight: Complex64::new(weight, 0.0),
                    pole: Complex64::new(pole, 0.0),
                }
            };
            let terms = terms.iter().map(term).collect();
            Shape::new(&Response { terms }, rate_hz)
        };
        Followers {
            shapes: [
                shape(&[(1.0, 0.0), (-1.0, 0.003)]),
                shape(&[(1.0, 0.0), (-1.0, 0.0006)]),
                shape(&[(1.0, 0.0)]),
                shape(&[(1.0, 0.000_15)]),
                shape(&[(1.0, 0.000_04)]),
                shape(&[(1.0, 0.000_006)]),
            ],
        }
    }
}

/// A part of the followers' columns, which moves along them, and sums over it.
struct Part<'a> {
    columns: &'a [Vec<f64>],
    start: usize,
    length: usize,
    /// Of each column, of each times its place, and of the products of each with those up to itself.
    values: [f64; FOLLOWERS],
    turned: [f64; FOLLOWERS],
    products: [[f64; FOLLOWERS]; FOLLOWERS],
}

impl<'a> Part<'a> {
    fn new(columns: &'a [Vec<f64>], start: usize, length: usize) -> Self {
        let mut part = Part {
            columns,
            start,
            length,
            values: [0.0; FOLLOWERS],
            turned: [0.0; FOLLOWERS],
            products: [[0.0; FOLLOWERS]; FOLLOWERS],
        };
        wide(
            #[inline(always)]
            || {
                for (k, column) in columns.iter().enumerate() {
                    let own = &column[start..start + length];
                    (part.values[k], part.turned[k]) = linear::sums_here(own, start as f64);
                    for (j, other) in columns[..=k].iter().enumerate() {
                        part.products[k][j] = linear::dot_here(own, &other[start..start + length]);
                    }
                }
            },
        );
        part
    }

    /// Moves it to an earlier start.
    fn move_to(&mut self, start: usize) {
        while self.start > start {
            self.start -= 1;
            self.add(self.start, 1.0);
            self.add(self.start + self.length, -1.0);
        }
    }

    fn add(&mut self, at: usize, sign: f64) {
        let mut here = [0.0; FOLLOWERS];
        for (here, column) in here.iter_mut().zip(self.columns) {
            *here = column[at];
        }
        for k in 0..FOLLOWERS {
            let own = sign * here[k];
            self.values[k] += own;
            self.turned[k] += own * at as f64;
            let products = self.products[k][..=k].iter_mut();
            products.zip(here).for_each(|(p, other)| *p += own * other);
        }
    }

    /// Squared residuals of a straight line and the first of the columns: of one follower, of two, and so on. Fewer, where one
    /// depends on those before it.
    fn misfits(&self, window: &Fitting) -> Vec<f64> {
        let (start, length) = (self.start, self.length);
        let n = length as f64;
        let middle = start as f64 + (n - 1.0) / 2.0;
        let mut factor = [[0.0; COLUMNS]; COLUMNS];
        let mut explained = 0.0;
        let mut products = [0.0; COLUMNS];
        let mut out = Vec::with_capacity(FOLLOWERS);
        // A Cholesky factor grows by one row with each column, and what is explained by one term.
        for (k, column) in self.columns.iter().enumerate() {
            let row = 2 + k;
            let energy = self.products[k][k];
            let mut left = energy;
            let mut product = linear::dot(&column[start..start + length], &window.samples);
            // The line's columns are orthonormal, and the samples hold nothing of them.
            let turned = self.turned[k] - middle * self.values[k];
            let mut own = [0.0; COLUMNS];
            own[0] = self.values[k] / n.sqrt();
            own[1] = turned / linear::spread(n).sqrt();
            left -= own[0] * own[0] + own[1] * own[1];
            for j in 2..row {
                let already: f64 = (0..j).map(|i| own[i] * factor[j][i]).sum();
                own[j] = (self.products[k][j - 2] - already) / factor[j][j];
                left -= own[j] * own[j];
                product -= own[j] * products[j];
            }
            if left <= DEPENDS * energy {
                break;
            }
            own[row] = left.sqrt();
            products[row] = product / own[row];
            factor[row] = own;
            explained += products[row] * products[row];
            out.push((window.energy - explained).max(0.0));
        }
        out
    }
}

/// A stretch around an onset without its straight line, and the place that the onset is counted from.
struct Fitting {
    samples: Vec<f64>,
    energy: f64,
    place: f64,
}

impl Fitting {
    fn new(samples: &[f64], place: f64) -> Self {
        let samples_without = cluster::without_line(samples);
        Fitting {
            energy: linear::dot(&samples_without, &samples_without),
            samples: samples_without,
            place,
        }
    }
}
