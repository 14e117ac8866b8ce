//! A trace drawn by a list of strokes, so that something like a dial, and everything near it, comes about.
//!
//! First byte: sample rate. Second: length of the blocks. Then strokes of three bytes: what, how long, how much.
#![no_main]

use edges_fuzz::{check, rate_hz};
use libfuzzer_sys::fuzz_target;

/// Samples at most, so that one run stays short.
const MOST: usize = 24_000;

fuzz_target!(|bytes: &[u8]| {
    let [rate, block, strokes @ ..] = bytes else {
        return;
    };
    let rate_hz = rate_hz(*rate);
    let mut trace = Trace::default();
    for stroke in strokes.chunks_exact(3) {
        trace.draw(rate_hz, [stroke[0], stroke[1], stroke[2]]);
        if trace.samples.len() >= MOST {
            break;
        }
    }
    let cuts = [1 + 37 * usize::from(*block), 1 + usize::from(*block), 4_096];
    check(rate_hz, &trace.samples, &trace.gaps, &cuts);
});

#[derive(Default)]
struct Trace {
    samples: Vec<f32>,
    gaps: Vec<usize>,
    level: f32,
    noise: u32,
}

impl Trace {
    fn draw(&mut self, rate_hz: f64, [what, how_long, how_much]: [u8; 3]) {
        let size = (f32::from(how_much) - 128.0) / 128.0;
        // 1 to 256 ms.
        let length = ((f64::from(how_long) + 1.0) / 1_000.0 * rate_hz).ceil() as usize;
        match what % 8 {
            0 => self.hold(length, size),
            1 => self.hold(length, -self.level),
            2 => self.ramp(length, size),
            3 => self.hiss(length, size),
            4 => self.gaps.push(self.samples.len()),
            5 => self.decay(length, size),
            6 => (1..=usize::from(how_much % 11)).for_each(|k| {
                let closed = if k % 2 == 0 { 0.5 } else { -0.5 };
                self.hold(length, closed);
            }),
            _ => self.odd(how_long, size),
        }
    }

    fn hold(&mut self, length: usize, level: f32) {
        self.level = level;
        self.samples.extend(std::iter::repeat_n(level, length));
    }

    fn ramp(&mut self, length: usize, to: f32) {
        let from = self.level;
        let at = |n: usize| from + (to - from) * n as f32 / length as f32;
        self.samples.extend((1..=length).map(at));
        self.level = to;
    }

    fn hiss(&mut self, length: usize, size: f32) {
        for _ in 0..length {
            self.noise = self
                .noise
                .wrapping_mul(1_664_525)
                .wrapping_add(1_013_904_223);
            let even = (self.noise >> 8) as f32 / (1 << 23) as f32 - 1.0;
            self.samples.push(self.level + size * even);
        }
    }

    fn decay(&mut self, length: usize, size: f32) {
        let left = |n: usize| size * (-(n as f32) / 40.0).exp();
        self.samples.extend((0..length).map(left));
    }

    /// A sample far larger or far smaller than any recorder gives. Other values are left to `samples`.
    fn odd(&mut self, choice: u8, size: f32) {
        let value = match choice % 3 {
            0 => f32::MAX * size,
            1 => f32::MIN_POSITIVE * size,
            _ => 1e10 * size,
        };
        self.samples.push(value);
    }
}
