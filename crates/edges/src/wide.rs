//! The processor's wider vector registers, where it has them.
//!
//! Only the inner loops over samples are run this way. They keep the order of their sums, and nothing is fused, so
//! the result is the same to the last bit on every processor.

use pulp::Arch;

/// Lanes of single precision that sums run in, side by side.
pub(crate) const LANES: usize = 8;

/// Runs `work`, which should be `#[inline(always)]` down to its loops, compiled for the widest registers at hand.
#[inline(always)]
pub(crate) fn wide<R>(work: impl FnOnce() -> R) -> R {
    Arch::new().dispatch(work)
}

/// Joins lanes by `join`, half onto half.
#[inline(always)]
pub(crate) fn fold(mut lanes: [f32; LANES], join: impl Fn(f32, f32) -> f32) -> f32 {
    let mut half = LANES / 2;
    while half > 0 {
        for k in 0..half {
            lanes[k] = join(lanes[k], lanes[k + half]);
        }
        half /= 2;
    }
    lanes[0]
}

/// Sum of lanes, in a fixed order.
#[inline(always)]
pub(crate) fn add_up(lanes: [f32; LANES]) -> f32 {
    fold(lanes, |a, b| a + b)
}

/// All values and `first`, joined by `join`, whose result must not depend on the order.
#[inline(always)]
pub(crate) fn join_all(values: &[f32], first: f32, join: impl Fn(f32, f32) -> f32) -> f32 {
    let (chunks, rest) = values.as_chunks::<LANES>();
    let mut lanes = [first; LANES];
    for chunk in chunks {
        for k in 0..LANES {
            lanes[k] = join(lanes[k], chunk[k]);
        }
    }
    let rest = rest.iter().fold(first, |m, x| join(m, *x));
    join(fold(lanes, &join), rest)
}

/// Largest magnitude.
pub(crate) fn largest(values: &[f32]) -> f32 {
    wide(
        #[inline(always)]
        || join_all(values, 0.0, |m, x| greater(m, x.abs())),
    )
}

/// One machine instruction, unlike `f32::min`, which minds what is no number.
#[inline(always)]
pub(crate) fn lesser(a: f32, b: f32) -> f32 {
    if b < a { b } else { a }
}

/// As `lesser`.
#[inline(always)]
pub(crate) fn greater(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}
