//! Plain samples, one frame after the other.

use crate::sample::{Order, SampleFormat};
use crate::source::ByteSource;
use crate::stream::{Notes, Opened, Stream};
use crate::{Error, Facts};

/// Bytes read at a time: large enough that the cost of a call vanishes, small enough for the second
/// cache.
const BLOCK_BYTES: usize = 256 * 1024;

/// Samples of a fixed size up to a length or to the end of the file.
pub(crate) struct PcmStream {
    source: ByteSource,
    format: SampleFormat,
    frame_bytes: usize,
    length: Length,
    read_bytes: u64,
    /// Bytes of a block.
    block_bytes: usize,
    /// Where a block is read to that is decoded.
    buffer: Vec<u8>,
    ended: bool,
}

/// How far the samples reach.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Length {
    /// To the end of the file.
    ToEnd,
    /// This many bytes, as a header declares them.
    Declared(u64),
    /// At most this many bytes; the header holds a placeholder, so the end may come earlier.
    AtMost(u64),
}

impl Length {
    fn bytes(self) -> u64 {
        match self {
            Length::ToEnd => u64::MAX,
            Length::Declared(bytes) | Length::AtMost(bytes) => bytes,
        }
    }
}

impl PcmStream {
    pub(crate) fn new(
        source: ByteSource,
        format: SampleFormat,
        channels: u16,
        length: Length,
    ) -> PcmStream {
        let frame_bytes = format.coding.bytes() * usize::from(channels);
        let block = (BLOCK_BYTES / frame_bytes).max(1) * frame_bytes;
        // A short recording needs no whole block; a length that is not true is found out by reading.
        let bytes = length.bytes().min(block as u64) as usize;
        PcmStream {
            source,
            format,
            frame_bytes,
            length,
            read_bytes: 0,
            block_bytes: bytes.next_multiple_of(frame_bytes).max(frame_bytes),
            buffer: Vec::new(),
            ended: false,
        }
    }

    /// Whether there is at least one whole frame.
    pub(crate) fn has_samples(&mut self) -> Result<bool, Error> {
        let frame = self.frame_bytes;
        let there = self.source.peek(frame).map_err(Error::io)?.len();
        Ok(there == frame && self.length.bytes() >= frame as u64)
    }

    /// Says what the end of the samples shows about the file.
    fn note_end(&self, notes: &mut Notes) {
        if let Length::Declared(declared) = self.length
            && self.read_bytes < declared
        {
            let frame = self.frame_bytes as u64;
            let (there, all) = (self.read_bytes / frame, declared / frame);
            notes.warn(
                "truncated",
                format!("the file is cut off: its header declares {all} frames, {there} are there"),
            );
        }
        let over = self.read_bytes % self.frame_bytes as u64;
        if over > 0 {
            notes.warn(
                "partial-frame",
                format!("the samples end in mid-frame: the last {over} bytes were left out"),
            );
        }
    }
}

impl PcmStream {
    /// Reads the next bytes into a buffer of a whole block; gives how many make whole frames.
    fn read(&mut self, buffer: &mut [u8], notes: &mut Notes) -> Result<usize, Error> {
        if self.ended {
            return Ok(0);
        }
        let left = self.length.bytes() - self.read_bytes;
        let want = left.min(buffer.len() as u64) as usize;
        let got = self.source.fill(&mut buffer[..want]).map_err(Error::io)?;
        self.read_bytes += got as u64;
        if got < buffer.len() {
            self.ended = true;
            self.note_end(notes);
        }
        Ok(got - got % self.frame_bytes)
    }
}

impl Stream for PcmStream {
    fn next(&mut self, frames: &mut Vec<f32>, notes: &mut Notes) -> Result<(), Error> {
        let mut buffer = std::mem::take(&mut self.buffer);
        buffer.resize(self.block_bytes, 0);
        let whole = self.read(&mut buffer, notes)?;
        self.format.coding.decode(&buffer[..whole], frames);
        self.buffer = buffer;
        Ok(())
    }

    fn has_words(&self) -> bool {
        self.format.coding.order_of_words().is_some()
    }

    fn next_words(&mut self, frames: &mut Vec<i16>, notes: &mut Notes) -> Result<(), Error> {
        let Some(order) = self.format.coding.order_of_words() else {
            frames.clear();
            return Ok(());
        };
        // Read in place: nothing is copied, and only room that is new is filled beforehand.
        frames.resize(self.block_bytes / 2, 0);
        let whole = self.read(bytemuck::cast_slice_mut(frames), notes)?;
        frames.truncate(whole / 2);
        match order {
            Order::Little => frames
                .iter_mut()
                .for_each(|word| *word = i16::from_le(*word)),
            Order::Big => frames
                .iter_mut()
                .for_each(|word| *word = i16::from_be(*word)),
        }
        Ok(())
    }
}

/// What a header says of plain samples.
pub(crate) struct Plain {
    /// Name of the container.
    pub(crate) name: &'static str,
    pub(crate) format: SampleFormat,
    pub(crate) channels: u16,
    pub(crate) sample_rate_hz: f64,
    pub(crate) length: Length,
}

impl Plain {
    /// Opens `source`, which stands at the first sample.
    pub(crate) fn open(self, source: ByteSource, mut notes: Notes) -> Result<Opened, Error> {
        let Plain {
            name,
            format,
            channels,
            sample_rate_hz,
            length,
        } = self;
        let facts = Facts {
            sample_rate_hz,
            channels,
            encoding: format!("{name}, {}", format.describe()),
            frames: self.declared_frames(),
        };
        check_facts(&facts)?;
        if !matches!(length, Length::Declared(_)) {
            notes.warn(
                "streamed-length",
                "the header gives no length (written to a pipe or never finished): read to the end",
            );
        }
        let mut stream = PcmStream::new(source, format, channels, length);
        if !stream.has_samples()? {
            return Err(no_samples());
        }
        Ok(Opened {
            facts,
            extremes: format.extremes(),
            stream: Box::new(stream),
            notes,
        })
    }

    fn declared_frames(&self) -> Option<u64> {
        let frame_bytes = self.format.coding.bytes() as u64 * u64::from(self.channels);
        match self.length {
            Length::Declared(bytes) => bytes.checked_div(frame_bytes),
            Length::ToEnd | Length::AtMost(_) => None,
        }
    }
}

/// Refuses what no figure can be made of.
pub(crate) fn check_facts(facts: &Facts) -> Result<(), Error> {
    if facts.channels == 0 {
        return Err(Error::new(
            "zero-channels",
            "its header declares 0 channels, so it is damaged; record or export it again",
        ));
    }
    if !(facts.sample_rate_hz.is_finite() && facts.sample_rate_hz > 0.0) {
        return Err(Error::new(
            "zero-rate",
            "its header declares a sampling rate of 0, so it is damaged; record or export it again",
        ));
    }
    Ok(())
}

/// The refusal of a file that has a header and nothing behind it.
pub(crate) fn no_samples() -> Error {
    Error::new(
        "no-samples",
        "it has a header but not one sample; record or export it again",
    )
}
