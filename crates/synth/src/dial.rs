//! The dial as a mechanism: from its adjustment to the instants at which its contacts move.

use crate::random::{Random, Stream};
use crate::scenario::{Dial, OffNormal, Scenario, Unevenness};
use crate::truth::{BreakTruth, DigitTruth, Interval};

/// Least time that a contact stays in a position, in seconds: keeps instants in order whatever is asked.
const LEAST_STAY_S: f64 = 0.0005;
/// Least time between the off-normal contacts' restoring and their operating again, in seconds.
const LEAST_REST_S: f64 = 0.02;

/// Everything that the dial and the hand do in one recording.
pub(crate) struct Dialling {
    pub(crate) digits: Vec<DigitTruth>,
    pub(crate) other_openings_s: Vec<[f64; 2]>,
    pub(crate) duration_s: f64,
    /// The make level falls through each train.
    pub(crate) sags: bool,
}

/// Dials the scenario's number.
pub(crate) fn dialled(scenario: &Scenario) -> Dialling {
    let mut random = Random::new(scenario.seed, Stream::Dial, 0);
    let mut digits: Vec<DigitTruth> = Vec::new();
    for (index, &pulses) in scenario.numbers.iter().enumerate() {
        let pause = index.checked_sub(1).map(|before| pause_s(scenario, before));
        let start = digits
            .last()
            .zip(pause)
            .map_or(scenario.lead_in_s, |(last, pause)| {
                last.last_make_s() + pause
            });
        let meant = pulses.max(1).into();
        let sent = sent(&scenario.dial, index, meant);
        let mut digit = train(&scenario.dial, sent, start, &mut random);
        digit.pulses_meant = meant;
        digit.pause_before_s = pause;
        digits.push(digit);
    }
    if let Some(off_normal) = scenario.dial.off_normal {
        set_off_normal(&mut digits, off_normal);
    }
    let end = digits
        .last()
        .map_or(scenario.lead_in_s, DigitTruth::last_make_s);
    let duration_s = end + scenario.tail_s;
    let mut openings = scenario.other_openings_s.clone();
    openings.extend(while_winding(scenario, &digits));
    Dialling {
        sags: scenario.dial.make_level_sag > 0.0,
        other_openings_s: other_openings(&openings, &digits, duration_s),
        digits,
        duration_s,
    }
}

fn pause_s(scenario: &Scenario, index: usize) -> f64 {
    let pauses = &scenario.pauses_s;
    if pauses.is_empty() {
        0.8
    } else {
        pauses[index % pauses.len()].max(0.05)
    }
}

/// Pulses of a digit before other faults: fewer where it is cut short.
fn sent(dial: &Dial, digit: usize, meant: usize) -> usize {
    let lost = dial.cut_short.filter(|cut| cut.digit == digit);
    meant
        .saturating_sub(lost.map_or(0, |cut| cut.pulses))
        .max(1)
}

/// One train of pulses whose first break starts at `start_s`.
fn train(dial: &Dial, pulses_meant: usize, start_s: f64, random: &mut Random) -> DigitTruth {
    let pulses = pulses_meant + usize::from(dial.extra_pulse) + dial.idle_pulses;
    let starts = even_starts(dial, pulses, start_s);
    let mut breaks: Vec<BreakTruth> = Vec::with_capacity(pulses);
    for k in 0..pulses {
        let [start, make] = displaced(dial, k, pulses, [starts[k], starts[k + 1]], random);
        let earliest = breaks
            .last()
            .map_or(f64::NEG_INFINITY, |b| b.last_closure_s() + LEAST_STAY_S);
        let start = start.max(earliest);
        breaks.push(one_break(
            dial,
            k,
            [start, make.max(start + LEAST_STAY_S), starts[k + 1]],
            random,
        ));
    }
    let missing = dial.missing_pulse.filter(|&k| k > 0 && k + 1 < pulses);
    if let Some(k) = missing {
        breaks.remove(k);
    }
    if dial.first_pulse_lost && breaks.len() > 1 {
        breaks.remove(0);
    }
    let mut digit = DigitTruth::measured(breaks, pulses_meant);
    digit.missing_after = missing.map(|k| k - 1).into_iter().collect();
    digit
}

/// Starts of the breaks of a dial that only slows down, and of the break that would follow the last.
fn even_starts(dial: &Dial, pulses: usize, start_s: f64) -> Vec<f64> {
    let period =
        |k| (1.0 + slowing(dial, k, pulses) + first_longer(&dial.unevenness, k)) / dial.speed_pps;
    let advance = |at: &mut f64, k| {
        let start = *at;
        *at += period(k);
        Some(start)
    };
    (0..=pulses).scan(start_s, advance).collect()
}

/// Start and end of a break, from its even start and the next: what is regular moves both alike, jitter
/// moves each by itself. The first start is where the train is.
fn displaced(
    dial: &Dial,
    k: usize,
    pulses: usize,
    [start, next]: [f64; 2],
    random: &mut Random,
) -> [f64; 2] {
    let regular = if k == 0 {
        0.0
    } else {
        uneven(&dial.unevenness, k, pulses)
    };
    let make = start + (next - start) * dial.percent_break / 100.0;
    let mut moved = |instant: f64, movable: bool| {
        let percent = regular + random.normal() * dial.jitter_percent;
        if movable {
            instant + percent / 100.0 / dial.speed_pps
        } else {
            instant
        }
    };
    [moved(start, k > 0), moved(make, true)]
}

/// Change of period `k` of a train against the mean, as a fraction.
fn slowing(dial: &Dial, k: usize, pulses: usize) -> f64 {
    if pulses < 3 {
        return 0.0;
    }
    dial.slow_down_percent / 100.0 * (k as f64 / (pulses - 2) as f64 - 0.5)
}

fn first_longer(unevenness: &Unevenness, k: usize) -> f64 {
    match unevenness {
        Unevenness::FirstLong { percent } if k == 0 => percent / 100.0,
        _ => 0.0,
    }
}

/// Displacement of a break in percent of the period.
fn uneven(unevenness: &Unevenness, k: usize, pulses: usize) -> f64 {
    match *unevenness {
        Unevenness::Even | Unevenness::FirstLong { .. } => 0.0,
        Unevenness::Alternate { percent } => percent * (k % 2) as f64,
        Unevenness::BadTooth { from_last, percent } if k + 1 + from_last == pulses => percent,
        Unevenness::BadTooth { .. } => 0.0,
        Unevenness::Ripple { percent, pulses } => {
            percent * (std::f64::consts::TAU * k as f64 / pulses).sin()
        }
    }
}

fn one_break(
    dial: &Dial,
    index: usize,
    [start, make, next]: [f64; 3],
    random: &mut Random,
) -> BreakTruth {
    let chatter = chatter(dial, make, next, random);
    let closed = chatter.last().map_or(make, |last| last.end_s);
    BreakTruth {
        break_start_s: start,
        make_start_s: make,
        reopening: reopening(dial, index, [closed, next]),
        chatter,
        opening_bounce: opening_bounce(dial, start, make - start),
        split: split(dial, index, start, make - start),
    }
}

/// Reopenings after a closing: the time from first to last closure cut at random into closed and open
/// pieces, none shorter than a twentieth of it.
fn chatter(dial: &Dial, make: f64, next_start: f64, random: &mut Random) -> Vec<Interval> {
    let Some(chatter) = dial.chatter else {
        return Vec::new();
    };
    let reopenings = random.whole(1, chatter.reopenings.clamp(1, 8));
    let room = (0.5 * (next_start - make)).max(LEAST_STAY_S);
    let total = (chatter.total_s * random.between(0.5, 1.0)).min(room);
    let shares: Vec<f64> = (0..2 * reopenings)
        .map(|_| random.between(0.1, 1.0))
        .collect();
    let sum: f64 = shares.iter().sum();
    let mut at = make;
    let mut take = |share: f64| {
        at += total * share / sum;
        at
    };
    shares
        .chunks_exact(2)
        .map(|pair| Interval {
            start_s: take(pair[0]),
            end_s: take(pair[1]),
        })
        .collect()
}

fn opening_bounce(dial: &Dial, start: f64, length: f64) -> Vec<Interval> {
    let bounce = dial
        .opening_bounce
        .filter(|b| b.after_s + b.closure_s < 0.5 * length);
    let interval = |b: crate::scenario::OpeningBounce| Interval {
        start_s: start + b.after_s,
        end_s: start + b.after_s + b.closure_s,
    };
    bounce.map(interval).into_iter().collect()
}

/// The closure lies at a third of the break, so that the opening after it is the longer one.
fn split(dial: &Dial, index: usize, start: f64, length: f64) -> Option<Interval> {
    let split = dial.split_break.filter(|s| s.pulse == index)?;
    let at = start + (length - split.closure_s) / 3.0;
    (split.closure_s < 0.5 * length).then_some(Interval {
        start_s: at,
        end_s: at + split.closure_s,
    })
}

/// Within the make from its last closure to the next opening, if it fits.
fn reopening(dial: &Dial, index: usize, [closed, next]: [f64; 2]) -> Option<Interval> {
    let late = dial.late_reopening.filter(|late| late.pulse == index)?;
    let start_s = closed + late.after_s;
    let end_s = start_s + late.opening_s;
    (end_s + LEAST_STAY_S < next).then_some(Interval { start_s, end_s })
}

/// The hand winds after the contacts have restored from the digit before, however short the pause.
fn set_off_normal(digits: &mut [DigitTruth], off_normal: OffNormal) {
    let mut free_from = LEAST_REST_S;
    for index in 0..digits.len() {
        let room = digits.get(index + 1).and_then(|next| next.pause_before_s);
        let digit = &mut digits[index];
        let first_break = digit.breaks.first().map_or(0.0, |b| b.break_start_s);
        digit.winding_start_s = Some((first_break - off_normal.winding_s).max(free_from));
        let lost = room.map_or(off_normal.lost_motion_s, |pause| {
            off_normal.lost_motion_s.min(0.4 * pause)
        });
        let restored = digit.last_make_s() + lost;
        digit.off_normal_restored_s = Some(restored);
        free_from = restored + LEAST_REST_S;
    }
}

/// Openings at the pace of a hand, before each train: the last ends a fifth of a second before it.
fn while_winding(scenario: &Scenario, digits: &[DigitTruth]) -> Vec<[f64; 2]> {
    const REST_S: f64 = 0.2;
    let mut random = Random::new(scenario.seed, Stream::Winding, 0);
    let mut openings = Vec::new();
    for digit in digits {
        let mut end = digit.breaks.first().map_or(0.0, |b| b.break_start_s) - REST_S;
        for _ in 0..scenario.dial.winding_pulses {
            let start = end - random.between(0.03, 0.06);
            openings.push([start, end]);
            end = start - random.between(0.03, 0.09);
        }
    }
    openings
}

/// Openings that are no dialling, without those that would touch a digit or the ends.
fn other_openings(openings: &[[f64; 2]], digits: &[DigitTruth], duration_s: f64) -> Vec<[f64; 2]> {
    let free = |opening: &[f64; 2]| {
        digits.iter().all(|digit| {
            let start = digit.breaks.first().map_or(0.0, |b| b.break_start_s);
            opening[1] < start - 0.02 || opening[0] > digit.last_make_s() + 0.02
        })
    };
    let mut kept: Vec<[f64; 2]> = openings
        .iter()
        .filter(|o| o[0] > 0.0 && o[0] < o[1] && o[1] < duration_s && free(o))
        .copied()
        .collect();
    kept.sort_by(|a, b| a[0].total_cmp(&b[0]));
    kept.dedup_by(|later, earlier| later[0] <= earlier[1]);
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{Chatter, CutShort, LateReopening, OpeningBounce, SplitBreak};
    use approx::assert_relative_eq;

    fn first_digit(dial: Dial, pulses: u8) -> DigitTruth {
        dialled(&Scenario {
            dial,
            numbers: vec![pulses],
            ..Scenario::default()
        })
        .digits
        .remove(0)
    }

    #[test]
    fn an_even_dial_sends_what_it_is_set_to() {
        let digit = first_digit(
            Dial {
                speed_pps: 9.3,
                percent_break: 66.0,
                ..Dial::default()
            },
            8,
        );
        assert_relative_eq!(digit.speed_pps.unwrap(), 9.3, max_relative = 1e-12);
        assert_relative_eq!(digit.percent_break.unwrap(), 66.0, max_relative = 1e-12);
        assert_relative_eq!(digit.breaks[0].break_start_s, 1.0);
    }

    #[test]
    fn slowing_is_by_the_percent_asked() {
        let digit = first_digit(
            Dial {
                slow_down_percent: 12.0,
                ..Dial::default()
            },
            10,
        );
        assert_relative_eq!(digit.slow_down_percent.unwrap(), 12.0, max_relative = 1e-9);
        assert_relative_eq!(digit.speed_pps.unwrap(), 10.0, max_relative = 1e-9);
        assert!(digit.unevenness_percent.unwrap() < 1e-9);
    }

    #[test]
    fn a_missing_pulse_leaves_a_hole_of_two_periods() {
        let digit = first_digit(
            Dial {
                missing_pulse: Some(3),
                ..Dial::default()
            },
            8,
        );
        assert_eq!(
            (digit.pulses, digit.pulses_meant, digit.digit),
            (7, 8, Some(7))
        );
        assert_eq!(digit.missing_after, vec![2]);
        assert_relative_eq!(
            digit.breaks[3].break_start_s - digit.breaks[2].break_start_s,
            0.2,
            max_relative = 1e-9
        );
    }

    #[test]
    fn idle_pulses_and_a_lost_first_pulse_change_the_count_only() {
        let idle = first_digit(
            Dial {
                idle_pulses: 2,
                ..Dial::default()
            },
            5,
        );
        assert_eq!((idle.pulses, idle.pulses_meant), (7, 5));
        let lost = first_digit(
            Dial {
                first_pulse_lost: true,
                ..Dial::default()
            },
            5,
        );
        assert_eq!((lost.pulses, lost.pulses_meant), (4, 5));
        assert_relative_eq!(lost.breaks[0].break_start_s, 1.1, max_relative = 1e-9);
    }

    #[test]
    fn pulses_while_winding_lie_before_their_train() {
        let scenario = Scenario {
            dial: Dial {
                winding_pulses: 3,
                ..Dial::default()
            },
            numbers: vec![3, 4],
            pauses_s: vec![1.5],
            ..Scenario::default()
        };
        let dialling = dialled(&scenario);
        assert_eq!(dialling.other_openings_s.len(), 6);
        let first = dialling.digits[0].breaks[0].break_start_s;
        assert_relative_eq!(
            dialling.other_openings_s[2][1],
            first - 0.2,
            max_relative = 1e-9
        );
    }

    #[test]
    fn chatter_lies_after_the_first_closure_and_within_its_total() {
        let chatter = Some(Chatter {
            total_s: 0.003,
            reopenings: 3,
        });
        let digit = first_digit(
            Dial {
                chatter,
                ..Dial::default()
            },
            10,
        );
        for b in &digit.breaks {
            assert!(!b.chatter.is_empty() && b.chatter[0].start_s > b.make_start_s);
            assert!(
                (0.0015 - 1e-12..=0.003 + 1e-12).contains(&b.chatter_s()),
                "{}",
                b.chatter_s()
            );
        }
    }

    #[test]
    fn pauses_run_from_last_make_to_first_break_and_winding_fits_in() {
        let off_normal = Some(OffNormal {
            level_change: 0.15,
            winding_s: 0.6,
            lost_motion_s: 0.2,
        });
        let scenario = Scenario {
            numbers: vec![3, 4, 5],
            pauses_s: vec![0.2, 0.9],
            dial: Dial {
                off_normal,
                ..Dial::default()
            },
            ..Scenario::default()
        };
        let digits = dialled(&scenario).digits;
        for (i, pause) in [(1, 0.2), (2, 0.9)] {
            let measured = digits[i].breaks[0].break_start_s - digits[i - 1].last_make_s();
            assert_relative_eq!(measured, pause, max_relative = 1e-9);
            assert!(digits[i].winding_start_s > digits[i - 1].off_normal_restored_s);
        }
    }

    #[test]
    fn a_split_break_is_one_pulse_with_a_short_closure_and_a_longer_opening_in_it() {
        let split_break = Some(SplitBreak {
            pulse: 2,
            closure_s: 0.009,
        });
        let digit = first_digit(
            Dial {
                split_break,
                ..Dial::default()
            },
            5,
        );
        assert_eq!(digit.pulses, 5);
        let broken = &digit.breaks[2];
        let closure = broken.split.unwrap();
        assert_relative_eq!(closure.end_s - closure.start_s, 0.009, max_relative = 1e-9);
        assert!(closure.start_s > broken.break_start_s);
        assert!(broken.make_start_s - closure.end_s > closure.start_s - broken.break_start_s);
        assert!(digit.breaks.iter().filter(|b| b.split.is_some()).count() == 1);
    }

    #[test]
    fn a_digit_cut_short_lacks_pulses_and_the_others_do_not() {
        let scenario = Scenario {
            dial: Dial {
                cut_short: Some(CutShort {
                    digit: 1,
                    pulses: 2,
                }),
                ..Dial::default()
            },
            numbers: vec![7, 8, 9],
            ..Scenario::default()
        };
        let digits = dialled(&scenario).digits;
        let counts: Vec<_> = digits.iter().map(|d| (d.pulses, d.pulses_meant)).collect();
        assert_eq!(counts, [(7, 7), (6, 8), (9, 9)]);
    }

    /// The opening lies within the make, moves no break and no closing, and is in no other make.
    #[test]
    fn a_late_reopening_lies_in_one_make() {
        let late_reopening = Some(LateReopening {
            pulse: 1,
            after_s: 0.010,
            opening_s: 0.004,
        });
        let digit = first_digit(
            Dial {
                late_reopening,
                ..Dial::default()
            },
            4,
        );
        let whole = first_digit(Dial::default(), 4);
        assert_eq!(digit.pulses, 4);
        for (index, (b, even)) in digit.breaks.iter().zip(&whole.breaks).enumerate() {
            assert_eq!(b.reopening.is_some(), index == 1);
            assert_eq!(b.break_start_s, even.break_start_s);
            assert_eq!(b.make_start_s, even.make_start_s);
        }
        let late = digit.breaks[1].reopening.unwrap();
        assert_relative_eq!(
            late.start_s - digit.breaks[1].make_start_s,
            0.010,
            max_relative = 1e-9
        );
        assert_relative_eq!(late.end_s - late.start_s, 0.004, max_relative = 1e-9);
        assert!(late.end_s < digit.breaks[2].break_start_s);
    }

    #[test]
    fn opening_bounce_does_not_move_the_break() {
        let opening_bounce = Some(OpeningBounce {
            after_s: 0.001,
            closure_s: 0.0007,
        });
        let bouncing = first_digit(
            Dial {
                opening_bounce,
                ..Dial::default()
            },
            6,
        );
        let clean = first_digit(Dial::default(), 6);
        assert_eq!(bouncing.percent_break, clean.percent_break);
        for b in &bouncing.breaks {
            assert_relative_eq!(
                b.opening_bounce[0].start_s,
                b.break_start_s + 0.001,
                max_relative = 1e-12
            );
        }
    }

    #[test]
    fn a_bad_tooth_is_counted_from_the_last_pulse() {
        let unevenness = Unevenness::BadTooth {
            from_last: 1,
            percent: 5.0,
        };
        for pulses in [4, 7] {
            let digit = first_digit(
                Dial {
                    unevenness,
                    ..Dial::default()
                },
                pulses,
            );
            let start = |k: usize| digit.breaks[k].break_start_s;
            let late = usize::from(pulses) - 2;
            assert_relative_eq!(start(late) - start(late - 1), 0.105, max_relative = 1e-9);
            assert_relative_eq!(start(late + 1) - start(late), 0.095, max_relative = 1e-9);
        }
    }

    #[test]
    fn a_first_period_that_is_longer_is_the_only_one() {
        let digit = first_digit(
            Dial {
                unevenness: Unevenness::FirstLong { percent: 8.0 },
                ..Dial::default()
            },
            4,
        );
        let periods: Vec<f64> = digit
            .breaks
            .windows(2)
            .map(|w| w[1].break_start_s - w[0].break_start_s)
            .collect();
        for (got, want) in periods.iter().zip([0.108, 0.1, 0.1]) {
            assert_relative_eq!(*got, want, max_relative = 1e-9);
        }
    }

    #[test]
    fn jitter_has_the_root_mean_square_asked_for() {
        let dial = Dial {
            jitter_percent: 1.0,
            ..Dial::default()
        };
        let scenario = Scenario {
            dial,
            numbers: vec![10; 200],
            ..Scenario::default()
        };
        let digits = dialled(&scenario).digits;
        let breaks = digits.iter().flat_map(|d| &d.breaks[1..]);
        let errors: Vec<f64> = breaks.map(|b| b.break_s() * 1000.0 - 62.0).collect();
        let rms = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
        // Start and end move by 1 ms each. Standard error of an rms of 1800: 1.7 %; four of them.
        assert_relative_eq!(rms, 2f64.sqrt(), max_relative = 0.07);
    }
}
