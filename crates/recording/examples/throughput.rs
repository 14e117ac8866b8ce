//! Reads a WAV from memory-cached disk with this crate and with hound, in turn, and prints the ratio
//! of their speeds: `cargo run --release --example throughput -p recording -- FILE.wav`.
#![expect(clippy::print_stdout, reason = "an example shows its result")]

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use recording::{OpenOptions, Recording};

/// Turns of each reader; the fastest counts, since all else is the machine's other work.
const TURNS: usize = 7;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("name a 16-bit WAV")?;
    let path = Path::new(&path);
    let (mut ours, mut hounds) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..TURNS {
        ours = ours.min(seconds(|| by_us(path))?);
        hounds = hounds.min(seconds(|| by_hound(path))?);
    }
    let megabytes = path.metadata()?.len() as f64 / 1e6;
    println!(
        "{:.0} MB/s, hound {:.0} MB/s, ratio {:.1}",
        megabytes / ours,
        megabytes / hounds,
        hounds / ours
    );
    Ok(())
}

fn seconds(read: impl Fn() -> Result<f32, Box<dyn Error>>) -> Result<f64, Box<dyn Error>> {
    let start = Instant::now();
    // The sum is what keeps a compiler from leaving the reading out.
    std::hint::black_box(read()?);
    Ok(start.elapsed().as_secs_f64())
}

fn by_us(path: &Path) -> Result<f32, Box<dyn Error>> {
    let mut recording = Recording::open(path, &OpenOptions::default())?;
    let (mut sum, mut block) = (0.0, Vec::new());
    while recording.next_block(&mut block)? {
        sum += block[0];
    }
    Ok(sum)
}

fn by_hound(path: &Path) -> Result<f32, Box<dyn Error>> {
    let mut reader = hound::WavReader::open(path)?;
    let mut sum = 0.0;
    for sample in reader.samples::<i16>() {
        sum += f32::from(sample?) / 32_768.0;
    }
    Ok(sum)
}
