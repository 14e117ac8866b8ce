//! Chatter of a make: reopenings just after the first closure.

use edges::Train;

/// A reopening belongs to the chatter if it begins within this time of the first closure, in seconds.
const BEGINS_WITHIN_S: f64 = 0.005;
/// A reopening belongs to the chatter if it is shorter than this, in seconds.
const SHORTER_THAN_S: f64 = 0.005;

/// Chatter of one make; both zero when none longer than the detection floor was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Chatter {
    /// First to last closure, in milliseconds.
    pub(crate) total_ms: f64,
    /// Longest reopening, in milliseconds.
    pub(crate) longest_ms: f64,
}

/// Chatter after the closing with index `edge` of a train.
pub(crate) fn of_closing(train: &Train, edge: usize) -> Chatter {
    let closure_s = train.edges[edge].instant_s;
    train
        .reversals
        .iter()
        .filter(|reversal| reversal.edge == edge)
        .filter(|reversal| reversal.start_s - closure_s <= BEGINS_WITHIN_S)
        .filter(|reversal| reversal.end_s - reversal.start_s < SHORTER_THAN_S)
        .fold(Chatter::default(), |chatter, reversal| Chatter {
            total_ms: chatter.total_ms.max(1000.0 * (reversal.end_s - closure_s)),
            longest_ms: chatter
                .longest_ms
                .max(1000.0 * (reversal.end_s - reversal.start_s)),
        })
}
