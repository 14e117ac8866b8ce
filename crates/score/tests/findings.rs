//! Findings appear where the evidence is, and nowhere else.

mod common;

use common::{even, finding_codes, reopening, scored, train, with_variance};
use edges::Train;
use score::{Finding, Settings};

fn found(train: Train) -> Vec<&'static str> {
    finding_codes(&scored(vec![train], &Settings::default()))
}

/// Pulses whose periods are given in milliseconds, 61 ms broken; a last pulse closes the last period.
fn by_periods(periods_ms: &[f64]) -> Train {
    let mut pulses: Vec<(f64, f64)> = periods_ms
        .iter()
        .map(|period| (61.0, period - 61.0))
        .collect();
    pulses.push((61.0, 0.0));
    train(1.0, &pulses)
}

#[test]
fn a_dial_in_order_has_no_findings() {
    assert_eq!(found(even(1.0, 10, 61.0, 39.0)), [""; 0]);
    // Half a percent of scatter and drift is a dial in order.
    assert_eq!(
        found(by_periods(&[
            99.6, 100.3, 99.9, 100.1, 100.4, 99.8, 100.5, 100.0, 100.4
        ])),
        [""; 0]
    );
}

/// Nine periods from 98 to 102 ms in equal steps: 100 x 4 / 100 = 4 % slower.
#[test]
fn a_dial_that_slows_or_quickens() {
    let slowing: Vec<f64> = (0..9).map(|k| 98.0 + 0.5 * f64::from(k)).collect();
    let quickening: Vec<f64> = slowing.iter().rev().copied().collect();
    assert_eq!(found(by_periods(&slowing)), ["slow-down"]);
    assert_eq!(found(by_periods(&quickening)), ["speed-up"]);
    // The same within 2 %: not worth a word.
    let little: Vec<f64> = (0..9).map(|k| 99.2 + 0.2 * f64::from(k)).collect();
    assert_eq!(found(by_periods(&little)), [""; 0]);
}

/// The same 4 %, with edges so uncertain that it may be noise: 3 ms each. With nine periods the slope's
/// weights are (k − 4) / 60, so the openings' are 4/60 at the ends and 1/60 between: u95 = 1.96 × 8 × 3 ×
/// sqrt(2 × 16 + 8) / 60 = 4.96 %.
#[test]
fn a_change_within_its_uncertainty_is_no_finding() {
    let slowing: Vec<f64> = (0..9).map(|k| 98.0 + 0.5 * f64::from(k)).collect();
    assert_eq!(found(with_variance(by_periods(&slowing), 9e-6)), [""; 0]);
}

/// A line through scattered periods slopes by chance: with three periods and one degree of freedom the
/// quantile of t is 12.7, and 100, 97, 104 ms is no proof of slowing.
#[test]
fn scatter_is_not_mistaken_for_slowing() {
    assert_eq!(found(by_periods(&[100.0, 97.0, 104.0])), ["unevenness"]);
}

/// 100, 101, 104 ms: slower by 3.9 %, scatter 0.8 %, standard error of the slow-down by scatter 1.1 %. Two
/// standard errors would call it proof; with one degree of freedom it takes 12.7.
#[test]
fn three_periods_are_little_proof() {
    assert_eq!(found(by_periods(&[100.0, 101.0, 104.0])), [""; 0]);
}

/// Alternately 97 and 103 ms: scatter 3 % and a little more.
#[test]
fn uneven_pulses() {
    let uneven: Vec<f64> = (0..9)
        .map(|k| if k % 2 == 0 { 97.0 } else { 103.0 })
        .collect();
    assert_eq!(found(by_periods(&uneven)), ["unevenness"]);
    assert_eq!(found(with_variance(by_periods(&uneven), 1e-6)), [""; 0]);
}

/// A hole explains what would otherwise look like uneven periods.
#[test]
fn a_hole_is_named_once() {
    assert_eq!(
        found(by_periods(&[100.0, 100.0, 200.0, 100.0, 100.0])),
        ["hole"]
    );
}

#[test]
fn chatter_names_the_worst_pulse_and_the_floor() {
    let mut train = even(1.0, 3, 61.0, 39.0);
    train.reversals = vec![
        reopening(&train, 0, 0.3, 0.3),
        reopening(&train, 1, 0.4, 0.8),
    ];
    let finding = scored(vec![train], &Settings::default()).findings.remove(0);
    assert_eq!((finding.code, finding.pulse_index), ("chatter", Some(1)));
    assert_eq!(
        finding.evidence,
        "2 of 3 makes reopen; worst in pulse 2: 1.2 ms from first to last closure, longest reopening 0.80 ms \
         (reopenings under 0.10 ms cannot be told from noise)"
    );
}

#[test]
fn more_than_ten_pulses_are_too_many() {
    assert_eq!(found(even(1.0, 12, 61.0, 39.0)), ["extra-pulses"]);
}

/// 3, 5 and 7 pulses where 1, 3 and 5 were dialled: two idle pulses of every digit reach the line.
#[test]
fn the_same_surplus_in_every_digit_points_to_the_idle_run() {
    let trains = vec![
        even(1.0, 3, 61.0, 39.0),
        even(3.0, 5, 61.0, 39.0),
        even(5.0, 7, 61.0, 39.0),
    ];
    let settings = |dialled: &str| Settings {
        dialled: Some(dialled.into()),
        ..Settings::default()
    };
    let scored_same = scored(trains.clone(), &settings("135"));
    let expected = [
        "idle-run-not-bridged",
        "extra-pulses",
        "extra-pulses",
        "extra-pulses",
    ];
    assert_eq!(finding_codes(&scored_same), expected);
    assert_eq!(
        scored_same.findings[0].title,
        "Every digit has 2 extra pulses"
    );
    assert_eq!(
        finding_codes(&scored(trains, &settings("136"))),
        ["extra-pulses", "extra-pulses", "extra-pulses"]
    );
}

/// No finding tells which way to bend a spring, and each says where it comes from.
#[test]
fn findings_name_their_basis_and_never_a_bending_direction() {
    let mut chattering = even(1.0, 12, 61.0, 39.0);
    chattering.reversals = vec![reopening(&chattering, 0, 0.3, 0.3)];
    let slowing: Vec<f64> = (0..9).map(|k| 98.0 + 0.5 * f64::from(k)).collect();
    let quickening: Vec<f64> = slowing.iter().rev().copied().collect();
    let trains = vec![
        chattering,
        by_periods(&slowing),
        by_periods(&quickening),
        by_periods(&[97.0, 103.0, 97.0, 103.0]),
        by_periods(&[100.0, 200.0, 100.0]),
        train(1.0, &[(61.0, 39.0), (25.0, 5.0), (31.0, 39.0), (61.0, 0.0)]),
        train(1.0, &[(61.0, 39.0), (61.0, 10.0), (6.0, 23.0), (61.0, 0.0)]),
    ];
    let dialled = |pulses: [u8; 2], dialled: &str| {
        let digit = |(index, pulses): (usize, u8)| {
            even(1.0 + 2.0 * index as f64, usize::from(pulses), 61.0, 39.0)
        };
        let settings = Settings {
            dialled: Some(dialled.into()),
            ..Settings::default()
        };
        let trains = pulses.into_iter().enumerate().map(digit).collect();
        scored(trains, &settings).findings
    };
    let findings: Vec<Finding> = trains
        .into_iter()
        .flat_map(|train| scored(vec![train], &Settings::default()).findings)
        .chain(dialled([4, 6], "35"))
        .chain(dialled([4, 6], "47"))
        .collect();
    let mut codes: Vec<_> = findings.iter().map(|finding| finding.code).collect();
    codes.sort_unstable();
    codes.dedup();
    assert_eq!(codes, score::FINDING_CODES);
    for finding in findings {
        let text = format!(
            "{} {} {}",
            finding.title, finding.likely_cause, finding.advice
        );
        assert!(!text.contains("bend"), "{text}");
        assert!(
            !finding.basis.is_empty() && !finding.evidence.is_empty(),
            "{}",
            finding.code
        );
    }
}
