//! Figures and edges that only a deliberately wrong line of code once showed to be untested.
//!
//! Each test stands for one or several changes that the other tests did not notice (mutation testing; how to
//! run it is in DEVELOPERS.md).
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop at what it does not expect"
)]

mod common;

use approx::assert_relative_eq;
use common::{even, measured, reopening, scored, train, with_variance};
use score::limits::{Grade, Scope};
use score::{LimitSet, Settings};

#[test]
fn every_grade_is_found_by_its_name_and_by_no_other() {
    use Grade::{A, AMinus, B, BMinus, BPlus, C, CPlus, Own, Practice};
    for grade in [A, AMinus, BPlus, B, BMinus, CPlus, C, Practice, Own] {
        assert_eq!(Grade::find(grade.name()), Some(grade));
    }
    assert_eq!(Grade::find("a grade that is none"), None);
}

#[test]
fn scopes_say_who_must_keep_to_a_limit() {
    assert!(Scope::Send.words().contains("send"));
    assert!(Scope::Receive.words().contains("receive"));
    assert!(Scope::Bench.words().contains("service"));
}

#[test]
fn a_set_of_ones_own_keeps_its_name() {
    assert_eq!(LimitSet::own("the museum's").name, "the museum's");
}

/// A reopening of 5 ms is too long, one a millionth shorter is not. The closure lies at zero, so that nothing
/// is rounded.
#[test]
fn chatter_is_shorter_than_five_milliseconds() {
    let chatter_ms = |length_s: f64| {
        let mut train = train(-0.0625, &[(62.5, 37.5); 3]);
        assert_eq!(train.edges[1].instant_s, 0.0);
        train.reversals = vec![edges::Reversal {
            edge: 1,
            start_s: 0.0,
            end_s: length_s,
        }];
        measured(train).pulses_detail[0].chatter_ms
    };
    assert_relative_eq!(chatter_ms(0.004_999_99), 4.999_99, max_relative = 1e-9);
    assert_eq!(chatter_ms(0.005), 0.0);
}

/// Two trains of one digit, each with a risk of 0.050 01 %: together 1 − (1 − 0.0005001)² = 0.099 995 %, just
/// less than 1 in 1000, while their sum is more. With 0.08 % each it is more either way.
#[test]
fn the_risks_of_both_trains_of_a_digit_add_up() {
    let sure = |risk: f64| {
        let whole = even(1.0, 6, 60.0, 40.0);
        let (mut first, mut second) = (whole.clone(), whole);
        second.edges = first.edges.split_off(6);
        first.count_risk = risk;
        second.count_risk = risk;
        let digits = scored(vec![first, second], &Settings::default()).digits;
        assert_eq!((digits.len(), digits[0].pulses), (1, 6));
        digits[0].sure
    };
    assert!(sure(0.000_500_1));
    assert!(!sure(0.0008));
}

/// Six pulses: five periods with variance 2 v each and covariance −v between neighbours, openings having v. The
/// matrix P that leaves the distances from the line has trace 3 and −1/5 − k k′/10 beside its diagonal, k = −2…2,
/// in all −1.2. The mean square of the distances' length is tr(P C) = 2 v × 3 + 2 v × 1.2 = 8.4 v, and three
/// degrees of freedom are left.
#[test]
fn the_bound_of_unevenness_by_hand() {
    let v = 1e-10f64;
    let digit = measured(with_variance(even(1.0, 6, 60.0, 40.0), v));
    let expected = 100.0 * 1.96 * (8.4 * v / 3.0).sqrt() / 0.1;
    assert_relative_eq!(
        digit.unevenness_percent.unwrap().u95,
        expected,
        max_relative = 1e-3
    );
}

/// Periods 100, 104, 96, 104, 96 ms: mean 100, slope (−4 + 4 − 8) / 10 = −0.8, distances −1.6, 3.2, −4, 4.8,
/// −2.4, squares 57.6 in all, over three degrees of freedom.
#[test]
fn unevenness_divides_by_its_degrees_of_freedom() {
    let pulses = [100.0, 104.0, 96.0, 104.0, 96.0, 100.0].map(|period| (60.0, period - 60.0));
    assert_relative_eq!(
        measured(train(1.0, &pulses))
            .unevenness_percent
            .unwrap()
            .value,
        (57.6f64 / 3.0).sqrt(),
        max_relative = 1e-9
    );
}

/// A reopening longer than the floor counts from the first closure to the last.
#[test]
fn chatter_ends_with_the_last_closure() {
    let mut train = even(1.0, 3, 60.0, 40.0);
    train.reversals = vec![
        reopening(&train, 0, 0.5, 1.0),
        reopening(&train, 0, 2.0, 0.5),
    ];
    let pulse = &measured(train).pulses_detail[0];
    assert_relative_eq!(pulse.chatter_ms, 2.5, max_relative = 1e-9);
    assert_relative_eq!(pulse.chatter_longest_ms, 1.0, max_relative = 1e-9);
}

/// Four pulses of 62.5 and 37.5 ms, D = 0.3 s, B = 0.1875 s, M = D − B; every edge has the variance v, and all openings share
/// another v, all closings 2 v. What is shared counts by the sum of a value's derivatives to the openings, to the closings, what
/// is not by the sum of their squares; so how much more all of it is than v alone shows the sign of each derivative.
#[test]
fn what_openings_and_closings_share_counts_by_hand() {
    let v = 1e-8;
    let digit = |shared: f64| {
        let mut train = with_variance(even(0.0, 4, 62.5, 37.5), v);
        (train.opening_common_s2, train.closing_common_s2) = (shared * v, 2.0 * shared * v);
        measured(train)
    };
    let (own, all) = (digit(0.0), digit(1.0));
    let more = |u95: fn(&score::Digit) -> f64| (u95(&all) / u95(&own)).powi(2);
    // From opening to opening what they share cancels.
    assert_relative_eq!(more(|d| d.speed_pps.unwrap().u95), 1.0, max_relative = 1e-9);
    assert_relative_eq!(more(|d| d.period_ms.unwrap().u95), 1.0, max_relative = 1e-9);
    // Openings −37.5, −100, −100, −62.5 over D, closings three times 100 over D: squares 55 312.5, sums −300 and 300.
    let share = (55_312.5 + 90_000.0 * 3.0) / 55_312.5;
    assert_relative_eq!(
        more(|d| d.percent_break.unwrap().u95),
        share,
        max_relative = 1e-9
    );
    // Openings −1/M, −D/M², −D/M², −B/M², closings three times D/M²: with M² taken out M² + 5 D² + B², sums −3 D and 3 D.
    let [d, b, m] = [0.3f64, 0.1875, 0.1125];
    let squares = m * m + 5.0 * d * d + b * b;
    let ratio = (squares + 9.0 * d * d * 3.0) / squares;
    assert_relative_eq!(
        more(|d| d.break_make_ratio.unwrap().u95),
        ratio,
        max_relative = 1e-9
    );
    // The mean of four breaks: v/2 and 3 v; of three makes 2/3 v and 3 v; one break by itself 2 v and 3 v.
    assert_relative_eq!(more(|d| d.break_ms.mean.u95), 7.0, max_relative = 1e-9);
    assert_relative_eq!(
        more(|d| d.make_ms.unwrap().mean.u95),
        5.5,
        max_relative = 1e-9
    );
    assert_relative_eq!(
        more(|d| d.pulses_detail[1].break_u95_ms),
        2.5,
        max_relative = 1e-9
    );
    // And in milliseconds: 1.96 times the root of v/2.
    let expected = 1000.0 * 1.96 * (0.5 * v).sqrt();
    assert_relative_eq!(own.break_ms.mean.u95, expected, max_relative = 1e-6);
}

#[test]
fn what_a_receiver_understands_is_read_as_it_is_written() {
    use score::Understood::{self, CannotTell, No, Perhaps, Yes};
    for answer in [Yes, Perhaps, No, CannotTell] {
        assert_eq!(Understood::of_code(answer.code()), Some(answer));
    }
    assert_eq!(Understood::of_code("maybe"), None);
}
