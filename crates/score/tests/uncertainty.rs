//! The propagated uncertainty against a Monte Carlo: draw every edge with its own and its kind's common
//! error, score, and compare the scatter of the values with what was propagated.

#![expect(clippy::unwrap_used, reason = "a missing value fails the test")]

mod common;

use common::{even, judged_by, measured, scored, train};
use edges::{Direction, Train};
use score::{COVERAGE_FACTOR, Digit, LimitSet, Settings, Value};

const DRAWS: usize = 20_000;

/// One figure of a digit.
type Figure = fn(&Digit) -> Value;

/// A small congruential generator (modulus 2^64, multiplier and increment of the MMIX machine in The Art of
/// Computer Programming vol. 2, 3.3.4 table 1), of which the upper bits are taken.
struct Generator(u64);

impl Generator {
    /// Uniform in (0, 1].
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    /// Normal with mean 0 and variance 1, by the polar form of two uniforms.
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// A train whose edges differ in quality, with unlike common errors of openings and closings: 5-14 µs of its
/// own for each edge, 8 µs common to the openings, 20 µs to the closings.
fn uneven_train() -> Train {
    let mut train = train(
        1.0,
        &[
            (60.0, 40.0),
            (63.0, 38.0),
            (58.0, 41.0),
            (61.0, 42.0),
            (64.0, 37.0),
            (59.0, 0.0),
        ],
    );
    for (index, edge) in train.edges.iter_mut().enumerate() {
        edge.variance_s2 = ((5 + index % 10) as f64 * 1e-6).powi(2);
    }
    train.opening_common_s2 = 8e-6 * 8e-6;
    train.closing_common_s2 = 20e-6 * 20e-6;
    train
}

/// The train as another recording of the same dial would give it.
fn drawn(train: &Train, generator: &mut Generator) -> Train {
    let opening_s = train.opening_common_s2.sqrt() * generator.normal();
    let closing_s = train.closing_common_s2.sqrt() * generator.normal();
    let mut drawn = train.clone();
    for edge in &mut drawn.edges {
        let common_s = if edge.direction == Direction::Opening {
            opening_s
        } else {
            closing_s
        };
        let error_s = common_s + edge.variance_s2.sqrt() * generator.normal();
        edge.instant_s += error_s;
        edge.half_step_s += error_s;
    }
    drawn
}

/// Measures only, and says nothing of the published sets.
fn quiet() -> Settings {
    judged_by(&LimitSet::own("none"))
}

fn draws(trains: &[Train]) -> Vec<Vec<Digit>> {
    let mut generator = Generator(20_251_125);
    let settings = quiet();
    (0..DRAWS)
        .map(|_| {
            scored(
                trains
                    .iter()
                    .map(|train| drawn(train, &mut generator))
                    .collect(),
                &settings,
            )
            .digits
        })
        .collect()
}

/// The scatter of a value must be its u95 / k, and its interval must hold the truth 95 times in 100.
///
/// Tolerances: the standard deviation of n draws has a relative standard error of 1 / sqrt(2 n) = 0.5 %, the
/// fraction covered one of sqrt(0.95 × 0.05 / n) = 0.154 points; four of each are allowed. The instants move
/// by some 1e-4 of a period, so the curvature of the formulas adds nothing of that size.
fn agrees(name: &str, truth: &[Digit], draws: &[Vec<Digit>], value: impl Fn(&[Digit]) -> Value) {
    let n = DRAWS as f64;
    let expected = value(truth);
    let values: Vec<f64> = draws.iter().map(|digits| value(digits).value).collect();
    let mean = values.iter().sum::<f64>() / n;
    let deviation = (values
        .iter()
        .map(|value| (value - mean).powi(2))
        .sum::<f64>()
        / (n - 1.0))
        .sqrt();
    let ratio = deviation * COVERAGE_FACTOR / expected.u95;
    assert!(
        (ratio - 1.0).abs() < 4.0 / (2.0 * n).sqrt(),
        "{name}: scatter / propagated = {ratio}"
    );
    let covered = draws.iter().map(|digits| value(digits));
    let covered = covered
        .filter(|drawn| (drawn.value - expected.value).abs() <= drawn.u95)
        .count() as f64
        / n;
    assert!(
        (covered - 0.95).abs() < 4.0 * (0.95 * 0.05 / n).sqrt(),
        "{name}: covered {covered}"
    );
}

#[test]
fn propagation_agrees_with_a_monte_carlo() {
    let trains = [uneven_train()];
    let truth = scored(trains.to_vec(), &quiet()).digits;
    let draws = draws(&trains);
    let cases: [(&str, Figure); 9] = [
        ("speed", |digit| digit.speed_pps.unwrap()),
        ("period", |digit| digit.period_ms.unwrap()),
        ("percent break", |digit| digit.percent_break.unwrap()),
        ("ratio", |digit| digit.break_make_ratio.unwrap()),
        ("mean break", |digit| digit.break_ms.mean),
        ("mean make", |digit| digit.make_ms.unwrap().mean),
        ("slow-down", |digit| digit.slow_down_percent.unwrap()),
        ("one break", |digit| {
            let pulse = digit.pulses_detail[2];
            Value {
                value: pulse.break_ms,
                u95: pulse.break_u95_ms,
            }
        }),
        ("one make", |digit| {
            let pulse = digit.pulses_detail[3];
            Value {
                value: pulse.make_ms.unwrap(),
                u95: pulse.make_u95_ms.unwrap(),
            }
        }),
    ];
    for (name, value) in cases {
        agrees(name, &truth, &draws, |digits| value(&digits[0]));
    }
}

/// The parts that a nearly even dial hides: first and last opening, which alone enter the span, are the worst
/// edges here, and the dial slows by half.
#[test]
fn propagation_agrees_where_the_span_is_worst() {
    let mut steep = train(
        1.0,
        &[
            (50.0, 30.0),
            (57.0, 38.0),
            (66.0, 44.0),
            (75.0, 50.0),
            (84.0, 56.0),
            (60.0, 0.0),
        ],
    );
    steep
        .edges
        .iter_mut()
        .for_each(|edge| edge.variance_s2 = 2e-6 * 2e-6);
    steep.edges[0].variance_s2 = 40e-6 * 40e-6;
    steep.edges[10].variance_s2 = 30e-6 * 30e-6;
    let trains = [steep];
    let truth = scored(trains.to_vec(), &quiet()).digits;
    let draws = draws(&trains);
    agrees("percent break", &truth, &draws, |digits| {
        digits[0].percent_break.unwrap()
    });
    agrees("ratio", &truth, &draws, |digits| {
        digits[0].break_make_ratio.unwrap()
    });
    agrees("slow-down", &truth, &draws, |digits| {
        digits[0].slow_down_percent.unwrap()
    });
}

#[test]
fn a_pause_carries_the_common_errors_of_both_trains() {
    let mut second = uneven_train();
    second.edges.iter_mut().for_each(|edge| {
        edge.instant_s += 2.0;
        edge.half_step_s += 2.0;
    });
    let trains = [uneven_train(), second];
    let truth = scored(trains.to_vec(), &quiet()).digits;
    agrees("pause", &truth, &draws(&trains), |digits| {
        digits[1].pause_before_ms.unwrap()
    });
}

/// The interval of the unevenness is a bound, not an estimate: it must hold the truth at least as often as
/// stated, for an even dial (where noise alone makes the figure) as for an uneven one.
#[test]
fn the_interval_of_unevenness_holds_the_truth() {
    let mut even = even(1.0, 6, 61.0, 39.0);
    even.edges
        .iter_mut()
        .for_each(|edge| edge.variance_s2 = 1e-10);
    for train in [even, uneven_train()] {
        let truth = measured(train.clone()).unevenness_percent.unwrap().value;
        let unevenness = |digits: &Vec<Digit>| digits[0].unevenness_percent.unwrap();
        let holds = |value: &Value| (value.value - truth).abs() <= value.u95;
        let covered = draws(&[train]).iter().map(unevenness).filter(holds).count();
        assert!(
            covered as f64 >= 0.95 * DRAWS as f64,
            "covered {covered} of {DRAWS}"
        );
    }
}

/// Four pulses of an even dial leave one degree of freedom: the scatter is the magnitude of one normal figure,
/// and the bound is its 95 % interval exactly. Tolerance: four standard errors of the fraction.
#[test]
fn the_interval_of_unevenness_is_exact_with_one_degree_of_freedom() {
    let train = common::with_variance(even(1.0, 4, 61.0, 39.0), 1e-10);
    let unevenness = |digits: &Vec<Digit>| digits[0].unevenness_percent.unwrap();
    let covered = draws(&[train])
        .iter()
        .map(unevenness)
        .filter(|value| value.value <= value.u95)
        .count();
    let fraction = covered as f64 / DRAWS as f64;
    assert!(
        (fraction - 0.95).abs() < 4.0 * (0.95f64 * 0.05 / DRAWS as f64).sqrt(),
        "covered {fraction}"
    );
}

/// Common errors alone, by hand. Ten pulses, 61/39 ms; openings share 10 µs, closings 20 µs: a break errs by
/// sqrt(10² + 20²) = 22.36 µs, the percent break by 22.36 µs / 100 ms, speed and periods not at all.
#[test]
fn common_errors_cancel_in_speed_and_stay_in_percent_break() {
    let mut train = even(1.0, 10, 61.0, 39.0);
    train.opening_common_s2 = 1e-10;
    train.closing_common_s2 = 4e-10;
    let digit = measured(train);
    let shared_ms = COVERAGE_FACTOR * 5e-10f64.sqrt() * 1000.0;
    let near =
        |value: f64, expected: f64| assert!((value - expected).abs() < 1e-12, "{value} {expected}");
    near(digit.speed_pps.unwrap().u95, 0.0);
    near(digit.period_ms.unwrap().u95, 0.0);
    near(digit.slow_down_percent.unwrap().u95, 0.0);
    near(digit.break_ms.mean.u95, shared_ms);
    near(digit.make_ms.unwrap().mean.u95, shared_ms);
    near(digit.pulses_detail[4].break_u95_ms, shared_ms);
    near(digit.percent_break.unwrap().u95, shared_ms);
}

/// Independent errors alone, by hand, 0.1 ms each. Speed of ten pulses at 10 pps: pps² √2 u / ((N − 1) 1000)
/// = 0.00157 pps. Percent break of two pulses (one complete): 100/T u sqrt(1 + (tb² + tm²) / T²) at 61/39 of
/// 100 ms: 0.1 × sqrt(1 + 0.3721 + 0.1521) = 0.12346 points.
#[test]
fn independent_errors_by_hand() {
    let noisy = |pulses| common::with_variance(even(1.0, pulses, 61.0, 39.0), 1e-8);
    let standard = |value: Option<Value>| value.unwrap().u95 / COVERAGE_FACTOR;
    let speed = standard(measured(noisy(10)).speed_pps);
    assert!(
        (speed - 100.0 * 2f64.sqrt() * 0.1 / 9000.0).abs() < 1e-12,
        "{speed}"
    );
    let percent = standard(measured(noisy(2)).percent_break);
    assert!(
        (percent - 0.1 * 1.5242f64.sqrt()).abs() < 1e-12,
        "{percent}"
    );
}
