//! Samples as the bytes have them: any 32-bit float, not-a-number and infinity too.
#![no_main]

use edges_fuzz::{check, rate_hz};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let [rate, block, gap, repeat, rest @ ..] = bytes else {
        return;
    };
    let pattern = rest
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    // A pattern said many times over makes a trace long enough to be looked at.
    let samples: Vec<f32> = pattern
        .flat_map(|x| std::iter::repeat_n(x, 1 + 4 * usize::from(*repeat)))
        .take(16_000)
        .collect();
    let gaps: Vec<usize> = (*gap > 0)
        .then_some(usize::from(*gap) * 60)
        .into_iter()
        .collect();
    check(rate_hz(*rate), &samples, &gaps, &[1 + usize::from(*block)]);
});
