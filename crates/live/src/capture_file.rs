//! The capture: a WAV file that is valid at any moment, with the places where samples are missing marked in it.
//!
//! The marks are cue points with a labelled length (`cue ` and `LIST adtl ltxt`, purpose `lost`), in room that is
//! kept for them before the samples. An audio editor shows them; the reader of recordings knows them as gaps.

use std::fs::{File, OpenOptions};
use std::io::{BufWriter, Cursor, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use hound::WavWriter;

use crate::error::Error;
use crate::format::{Encoding, Format};

/// Room kept for marks, in bytes: each takes 52.
const ROOM: usize = 32 * 1024;
/// Marks at most.
const MARKS_AT_MOST: usize = 600;
/// The header is brought up to date so often: what a crash can lose.
const FLUSH_S: f64 = 0.25;
/// Bytes of samples at most, a little under what the length fields hold.
const BYTES_AT_MOST: u64 = u32::MAX as u64 - 1024 * 1024;

/// A capture that is being written.
pub(crate) struct CaptureFile {
    path: PathBuf,
    format: Format,
    writer: WavWriter<BufWriter<File>>,
    marks_file: File,
    marks_at: u64,
    marks: Vec<(u32, u32)>,
    frames: u64,
    unflushed: u64,
}

impl CaptureFile {
    /// Begins a file that must not exist yet.
    pub(crate) fn create(path: &Path, format: Format) -> Result<CaptureFile, Error> {
        CaptureFile::open(path, format, OpenOptions::new().create_new(true))
    }

    /// Begins the same file again with another format, before anything is in it.
    pub(crate) fn begin_again(&mut self, format: Format) -> Result<(), Error> {
        debug_assert_eq!(self.frames, 0, "what was captured is never lost");
        // What writes the old header does so once more when it ends, and the new one is written again after that.
        let again = CaptureFile::open(&self.path, format, OpenOptions::new().truncate(true))?;
        drop(std::mem::replace(self, again));
        self.writer
            .flush()
            .map_err(|error| Error::hound(&self.path, error))
    }

    fn open(path: &Path, format: Format, how: &mut OpenOptions) -> Result<CaptureFile, Error> {
        let failed = |error: std::io::Error| Error::storage(path, &error);
        let (before, after) = header(path, format)?;
        let mut marks_file = how.write(true).open(path).map_err(failed)?;
        let marks_at = before.len() as u64;
        marks_file.write_all(&before).map_err(failed)?;
        marks_file.write_all(&room(&[])).map_err(failed)?;
        marks_file.write_all(&after).map_err(failed)?;
        marks_file.flush().map_err(failed)?;
        let mut writer = WavWriter::append(path).map_err(|error| Error::hound(path, error))?;
        writer.flush().map_err(|error| Error::hound(path, error))?;
        Ok(CaptureFile {
            path: path.to_owned(),
            format,
            writer,
            marks_file,
            marks_at,
            marks: Vec::new(),
            frames: 0,
            unflushed: 0,
        })
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Frames written.
    pub(crate) fn frames(&self) -> u64 {
        self.frames
    }

    /// Appends whole frames, as they came.
    pub(crate) fn write(&mut self, bytes: &[u8]) -> Result<(), Error> {
        let frame_bytes = self.format.frame_bytes() as u64;
        if self.frames * frame_bytes + bytes.len() as u64 > BYTES_AT_MOST {
            return Err(Error::FileFull(self.path.clone()));
        }
        self.write_samples(bytes)
            .map_err(|error| Error::hound(&self.path, error))?;
        let frames = bytes.len() as u64 / frame_bytes;
        self.frames += frames;
        self.unflushed += frames;
        if self.unflushed as f64 >= FLUSH_S * f64::from(self.format.sample_rate_hz) {
            self.flush()?;
        }
        Ok(())
    }

    fn write_samples(&mut self, bytes: &[u8]) -> hound::Result<()> {
        let writer = &mut self.writer;
        match self.format.encoding {
            Encoding::I16 => {
                let (samples, _) = bytes.as_chunks::<2>();
                let mut fast = writer.get_i16_writer(samples.len() as u32);
                samples
                    .iter()
                    .for_each(|sample| fast.write_sample(i16::from_le_bytes(*sample)));
                fast.flush()
            }
            Encoding::I24 => {
                let (samples, _) = bytes.as_chunks::<3>();
                samples.iter().try_for_each(|[a, b, c]| {
                    writer.write_sample(i32::from_le_bytes([0, *a, *b, *c]) >> 8)
                })
            }
            Encoding::I32 => {
                let (samples, _) = bytes.as_chunks::<4>();
                samples
                    .iter()
                    .try_for_each(|sample| writer.write_sample(i32::from_le_bytes(*sample)))
            }
            Encoding::F32 => {
                let (samples, _) = bytes.as_chunks::<4>();
                samples
                    .iter()
                    .try_for_each(|sample| writer.write_sample(f32::from_le_bytes(*sample)))
            }
        }
    }

    /// Brings the file up to date.
    pub(crate) fn flush(&mut self) -> Result<(), Error> {
        self.unflushed = 0;
        self.writer
            .flush()
            .map_err(|error| Error::hound(&self.path, error))
    }

    /// Marks that samples are missing from frame `start` on, or that the next `frames` were put in for them.
    /// Gives the number of the mark.
    pub(crate) fn mark(&mut self, start: u64, frames: u64) -> Result<usize, Error> {
        if self.marks.len() == MARKS_AT_MOST {
            return Err(Error::TooManyGaps(self.marks.len()));
        }
        self.marks.push((start as u32, frames as u32));
        self.write_marks()?;
        Ok(self.marks.len() - 1)
    }

    /// Says how long a marked stretch has become.
    pub(crate) fn lengthen(&mut self, mark: usize, frames: u64) -> Result<(), Error> {
        if let Some(mark) = self.marks.get_mut(mark) {
            mark.1 = frames as u32;
        }
        self.write_marks()
    }

    fn write_marks(&mut self) -> Result<(), Error> {
        let failed = |error: std::io::Error| Error::storage(&self.path, &error);
        self.marks_file
            .seek(SeekFrom::Start(self.marks_at))
            .map_err(failed)?;
        self.marks_file
            .write_all(&room(&self.marks))
            .map_err(failed)
    }

    /// Ends the file and gives its path.
    pub(crate) fn finish(self) -> (PathBuf, Result<(), Error>) {
        let ended = self
            .writer
            .finalize()
            .map_err(|error| Error::hound(&self.path, error));
        (self.path, ended)
    }
}

/// The header up to the room for marks, and what follows that room.
fn header(path: &Path, format: Format) -> Result<(Vec<u8>, Vec<u8>), Error> {
    let mut bytes = Cursor::new(Vec::new());
    WavWriter::new(&mut bytes, format.spec())
        .and_then(WavWriter::finalize)
        .map_err(|error| Error::hound(path, error))?;
    let mut before = bytes.into_inner();
    // The last eight bytes are the head of the data chunk: its name and the length 0.
    let after = before.split_off(before.len() - 8);
    Ok((before, after))
}

/// The chunks that hold the marks, always of the same size together.
fn room(marks: &[(u32, u32)]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(ROOM);
    let mut put = |part: &[u8]| bytes.extend_from_slice(part);
    let count = marks.len() as u32;
    if count > 0 {
        put(b"cue ");
        put(&(4 + 24 * count).to_le_bytes());
        put(&count.to_le_bytes());
        for (name, (start, _)) in (1u32..).zip(marks) {
            put(&name.to_le_bytes());
            put(&start.to_le_bytes());
            put(b"data");
            put(&[0; 8]);
            put(&start.to_le_bytes());
        }
        put(b"LIST");
        put(&(4 + 28 * count).to_le_bytes());
        put(b"adtl");
        for (name, (_, frames)) in (1u32..).zip(marks) {
            put(b"ltxt");
            put(&20u32.to_le_bytes());
            put(&name.to_le_bytes());
            put(&frames.to_le_bytes());
            put(b"lost");
            put(&[0; 8]);
        }
    }
    put(b"JUNK");
    let left = ROOM - bytes.len() - 4;
    bytes.extend_from_slice(&(left as u32).to_le_bytes());
    bytes.resize(ROOM, 0);
    bytes
}
