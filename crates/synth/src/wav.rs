//! Writing recordings and their truth to disk.

use std::fs;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::encoding::{Encoding, a_law, mu_law, pcm};
use crate::recorder::Rendered;

/// Why a recording could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WavError {
    /// The file system refused.
    #[error("cannot write {path}: {source}; check that the folder exists and has room")]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The WAV writer refused.
    #[error("cannot write {path}: {source}; check that the folder exists and has room")]
    Wav {
        /// The file.
        path: PathBuf,
        /// Why.
        source: hound::Error,
    },
    /// The truth could not be put into JSON.
    #[error("cannot write {path}: {source}; a value in the scenario is not a finite number")]
    Json {
        /// The file.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
    /// The sample rate does not fit a WAV header.
    #[error(
        "cannot write {path}: sample rate {rate_hz} Hz is not a whole number; choose one that is"
    )]
    Rate {
        /// The file.
        path: PathBuf,
        /// The rate, in hertz.
        rate_hz: f64,
    },
}

/// Writes a recording as a WAV file. PCM and float by hound; mu-law and A-law with a header of 46 bytes.
pub fn write_wav(
    rendered: &Rendered,
    encoding: Encoding,
    path: impl AsRef<Path>,
) -> Result<(), WavError> {
    let path = path.as_ref();
    let rate = whole_rate(rendered, path)?;
    match encoding {
        Encoding::MuLaw => write_companded(rendered, rate, 7, mu_law, path),
        Encoding::ALaw => write_companded(rendered, rate, 6, a_law, path),
        Encoding::U8 => write_pcm(rendered, rate, 8, path),
        Encoding::S16 => write_pcm(rendered, rate, 16, path),
        Encoding::S24 => write_pcm(rendered, rate, 24, path),
        Encoding::F32 => write_float(rendered, rate, path),
    }
}

/// Writes the truth as JSON beside the WAV file: `name.wav` gets `name.truth.json`.
pub fn write_truth(rendered: &Rendered, wav_path: impl AsRef<Path>) -> Result<PathBuf, WavError> {
    let path = wav_path.as_ref().with_extension("truth.json");
    let mut text =
        serde_json::to_string_pretty(&rendered.truth).map_err(|source| WavError::Json {
            path: path.clone(),
            source,
        })?;
    text.push('\n');
    fs::write(&path, text).map_err(|source| WavError::Io {
        path: path.clone(),
        source,
    })?;
    Ok(path)
}

fn whole_rate(rendered: &Rendered, path: &Path) -> Result<u32, WavError> {
    let rate_hz = rendered.sample_rate_hz;
    let whole = rate_hz.fract() == 0.0 && (1.0..=f64::from(u32::MAX)).contains(&rate_hz);
    if whole {
        Ok(rate_hz as u32)
    } else {
        Err(WavError::Rate {
            path: path.into(),
            rate_hz,
        })
    }
}

/// All samples in file order, channels taking turns.
fn interleaved(rendered: &Rendered) -> impl Iterator<Item = f32> + '_ {
    let length = rendered.channels.iter().map(Vec::len).min().unwrap_or(0);
    (0..length).flat_map(move |n| rendered.channels.iter().map(move |channel| channel[n]))
}

fn spec(
    rendered: &Rendered,
    rate: u32,
    bits: u16,
    sample_format: hound::SampleFormat,
) -> hound::WavSpec {
    hound::WavSpec {
        channels: rendered.channels.len() as u16,
        sample_rate: rate,
        bits_per_sample: bits,
        sample_format,
    }
}

fn write_pcm(rendered: &Rendered, rate: u32, bits: u16, path: &Path) -> Result<(), WavError> {
    let write = || {
        let mut writer =
            hound::WavWriter::create(path, spec(rendered, rate, bits, hound::SampleFormat::Int))?;
        for value in interleaved(rendered) {
            writer.write_sample(pcm(value.into(), bits.into()))?;
        }
        writer.finalize()
    };
    write().map_err(|source| WavError::Wav {
        path: path.into(),
        source,
    })
}

fn write_float(rendered: &Rendered, rate: u32, path: &Path) -> Result<(), WavError> {
    let write = || {
        let mut writer =
            hound::WavWriter::create(path, spec(rendered, rate, 32, hound::SampleFormat::Float))?;
        for value in interleaved(rendered) {
            writer.write_sample(value)?;
        }
        writer.finalize()
    };
    write().map_err(|source| WavError::Wav {
        path: path.into(),
        source,
    })
}

fn write_companded(
    rendered: &Rendered,
    rate: u32,
    format: u16,
    code: fn(f64) -> u8,
    path: &Path,
) -> Result<(), WavError> {
    let data: Vec<u8> = interleaved(rendered).map(|x| code(x.into())).collect();
    let write = || -> std::io::Result<()> {
        let mut file = BufWriter::new(fs::File::create(path)?);
        file.write_all(&companded_header(
            rendered.channels.len() as u16,
            rate,
            format,
            data.len() as u32,
        ))?;
        file.write_all(&data)?;
        // RIFF chunks are padded to an even length.
        if data.len() % 2 == 1 {
            file.write_all(&[0])?;
        }
        file.flush()
    };
    write().map_err(|source| WavError::Io {
        path: path.into(),
        source,
    })
}

/// RIFF header, 18-byte format chunk (with the extension size that non-PCM formats have), data header.
fn companded_header(channels: u16, rate: u32, format: u16, data_bytes: u32) -> Vec<u8> {
    let mut header = Vec::with_capacity(46);
    header.extend(b"RIFF");
    header.extend((38 + data_bytes + data_bytes % 2).to_le_bytes());
    header.extend(b"WAVEfmt ");
    header.extend(18u32.to_le_bytes());
    header.extend(format.to_le_bytes());
    header.extend(channels.to_le_bytes());
    header.extend(rate.to_le_bytes());
    header.extend((rate * u32::from(channels)).to_le_bytes());
    header.extend(channels.to_le_bytes());
    header.extend(8u16.to_le_bytes());
    header.extend(0u16.to_le_bytes());
    header.extend(b"data");
    header.extend(data_bytes.to_le_bytes());
    header
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encoding::mu_law_decoded;
    use crate::{Recorder, Scenario, render};

    fn rendered(encoding: Encoding, channels: usize) -> Rendered {
        let recorder = Recorder {
            encoding,
            channels,
            sample_rate_hz: 8_000.0,
            ..Recorder::default()
        };
        render(&Scenario {
            recorder,
            ..Scenario::default()
        })
    }

    #[test]
    fn pcm_and_float_read_back_as_rendered() {
        let folder = tempfile::tempdir().unwrap();
        for (encoding, full) in [
            (Encoding::U8, 128.0),
            (Encoding::S16, 32_768.0),
            (Encoding::S24, 8_388_608.0),
        ] {
            let made = rendered(encoding, 2);
            let path = folder.path().join("a.wav");
            write_wav(&made, encoding, &path).unwrap();
            let read: Vec<i32> = hound::WavReader::open(&path)
                .unwrap()
                .samples()
                .map(Result::unwrap)
                .collect();
            let back: Vec<f32> = read.iter().step_by(2).map(|x| *x as f32 / full).collect();
            assert_eq!(back, made.channels[0], "{encoding:?}");
        }
        let made = rendered(Encoding::F32, 1);
        let path = folder.path().join("f.wav");
        write_wav(&made, Encoding::F32, &path).unwrap();
        let read: Vec<f32> = hound::WavReader::open(&path)
            .unwrap()
            .samples()
            .map(Result::unwrap)
            .collect();
        assert_eq!(read, made.channels[0]);
    }

    #[test]
    fn mu_law_has_46_bytes_of_header_and_reads_back_as_rendered() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("m.wav");
        let made = rendered(Encoding::MuLaw, 1);
        write_wav(&made, Encoding::MuLaw, &path).unwrap();
        let bytes = fs::read(&path).unwrap();
        let count = made.channels[0].len();
        assert_eq!(&bytes[38..42], b"data");
        assert_eq!(bytes.len(), 46 + count + count % 2);
        let back: Vec<f32> = bytes[46..46 + count]
            .iter()
            .map(|b| f32::from(mu_law_decoded(*b)) / 32_768.0)
            .collect();
        assert_eq!(back, made.channels[0]);
    }

    #[test]
    fn the_truth_lies_beside_the_recording_and_reads_back() {
        let folder = tempfile::tempdir().unwrap();
        let made = rendered(Encoding::S16, 1);
        let path = write_truth(&made, folder.path().join("good dial.wav")).unwrap();
        assert_eq!(path.file_name().unwrap(), "good dial.truth.json");
        let back: crate::Truth = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
        assert_eq!(back, made.truth);
    }

    #[test]
    fn a_folder_that_is_not_there_is_named() {
        let error =
            write_wav(&rendered(Encoding::S16, 1), Encoding::S16, "/nowhere/a.wav").unwrap_err();
        assert!(
            error
                .to_string()
                .starts_with("cannot write /nowhere/a.wav: "),
            "{error}"
        );
    }
}
