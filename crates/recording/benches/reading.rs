//! How fast recordings are read once their bytes are in memory. `cargo bench -p recording`.

use std::io::Cursor;

use divan::{Bencher, counter::BytesCount};
use recording::{OpenOptions, Recording};

/// Samples of one recording: 20 s at 48 kHz.
const SAMPLES: u32 = 960_000;

fn main() {
    divan::main();
}

/// A header of 44 bytes and whatever follows it.
fn wav(format: u16, bits: u16, data: &[u8]) -> Vec<u8> {
    let bytes = u32::from(bits / 8);
    let mut wav = b"RIFF".to_vec();
    wav.extend((36 + data.len() as u32).to_le_bytes());
    wav.extend(b"WAVEfmt ");
    wav.extend(16u32.to_le_bytes());
    wav.extend(format.to_le_bytes());
    wav.extend(1u16.to_le_bytes());
    wav.extend(48_000u32.to_le_bytes());
    wav.extend((48_000 * bytes).to_le_bytes());
    wav.extend((bits / 8).to_le_bytes());
    wav.extend(bits.to_le_bytes());
    wav.extend(b"data");
    wav.extend((data.len() as u32).to_le_bytes());
    wav.extend(data);
    wav
}

/// Bytes that change from sample to sample, none of them a float that is no number.
fn data(bytes: u32) -> Vec<u8> {
    let at = |n: u32| (n.wrapping_mul(2_654_435_761) >> 24) as u8 & 0x3f;
    (0..SAMPLES * bytes).map(at).collect()
}

fn read(bencher: Bencher, file: &[u8]) {
    bencher.counter(BytesCount::of_slice(file)).bench(|| {
        let reader = Box::new(Cursor::new(file.to_vec()));
        let options = OpenOptions::default();
        let mut recording = Recording::from_reader(reader, "", &options).expect("it is a WAV");
        let mut block = Vec::new();
        while recording.next_block(&mut block).expect("it is whole") {
            divan::black_box(&block);
        }
        recording.frames_read()
    });
}

#[divan::bench]
fn wav_16_bit(bencher: Bencher) {
    read(bencher, &wav(1, 16, &data(2)));
}

#[divan::bench]
fn wav_24_bit(bencher: Bencher) {
    read(bencher, &wav(1, 24, &data(3)));
}

#[divan::bench]
fn wav_float(bencher: Bencher) {
    read(bencher, &wav(3, 32, &data(4)));
}

#[divan::bench]
fn wav_mu_law(bencher: Bencher) {
    read(bencher, &wav(7, 8, &data(1)));
}

#[divan::bench]
fn table_of_currents(bencher: Bencher) {
    let row = |n: u32| {
        format!(
            "{:.6},{:.3}\n",
            f64::from(n) / 8_000.0,
            f64::from(n % 41) / 2.0
        )
    };
    let table: String = (0..80_000).map(row).collect();
    read(bencher, format!("time_s,current_ma\n{table}").as_bytes());
}
