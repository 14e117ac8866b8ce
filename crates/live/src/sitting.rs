//! One sitting at the bench: from the first sample to the report.

use std::path::{Path, PathBuf};
use std::time::Duration;

use drive::{Channel, Channels, Options};
use recording::Facts;
use report::Record;
use score::Settings;

use crate::alike::{Alike, Parted};
use crate::capture_file::CaptureFile;
use crate::clock::{ClockReading, ClockWatch, Say};
use crate::digits::Digits;
use crate::error::Error;
use crate::event::{Event, Lost, LostHow};
use crate::format::Format;
use crate::meter::Meter;
use crate::seam::{Part, SeamFinder};

/// What is missing for longer than this is not filled: the time of the capture then stands still meanwhile.
const LONGEST_FILL_S: f64 = 10.0;

/// How a sitting is held.
#[derive(Clone, Debug)]
pub struct Setup {
    /// What the input delivers.
    pub format: Format,
    /// Which channel to measure.
    pub channel: Channel,
    /// Limits, plan, tap and the rest of how it is scored.
    pub settings: Settings,
    /// Where the capture goes; the file must not exist.
    pub capture: PathBuf,
}

/// What is known of a block's arrival. All of it may be unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Arrival {
    /// When it arrived, by a clock that never leaps (from any origin): lost samples are noticed by it. `None`
    /// where samples come faster or slower than they were taken.
    pub at: Option<Duration>,
    /// The number of its first frame, where the source counts all frames, lost ones too.
    pub first_frame: Option<u64>,
}

/// A sitting: samples go in, events come out, the capture grows.
pub struct Sitting {
    setup: Setup,
    file: CaptureFile,
    channels: Channels,
    meter: Meter,
    seams: SeamFinder,
    clock: ClockWatch,
    digits: Digits,
    alike: Alike,
    /// Blocks kept back until the clock tells whether samples are missing before them.
    late: Vec<u8>,
    /// Frames kept back until it is known whether they stand still: bytes and samples.
    still: Vec<u8>,
    still_samples: Vec<f32>,
    /// The number that the source should give the next frame.
    next_frame: Option<u64>,
    last_frame: Vec<u8>,
    /// The mark and the first frame of a stretch that stands still.
    seam: Option<(usize, u64)>,
}

impl Sitting {
    /// Begins a sitting and its capture file. Where two channels turn out to be one signal, alike to the last bit, and
    /// neither was chosen, the capture keeps one of them.
    ///
    /// # Errors
    /// A file that exists or cannot be written; a format that cannot be measured; a channel that is not there.
    pub fn begin(setup: Setup) -> Result<Sitting, Error> {
        let format = setup.format;
        format.verify()?;
        let channels = channels(&setup)?;
        let rate_hz = f64::from(format.sample_rate_hz);
        let file = CaptureFile::create(&setup.capture, format)?;
        Ok(Sitting {
            file,
            channels,
            meter: Meter::new(format),
            seams: SeamFinder::new(rate_hz, format.channels),
            clock: ClockWatch::new(rate_hz),
            digits: Digits::default(),
            alike: Alike::new(format, setup.channel == Channel::Auto),
            late: Vec::new(),
            still: Vec::new(),
            still_samples: Vec::new(),
            next_frame: None,
            last_frame: vec![0; format.frame_bytes()],
            seam: None,
            setup,
        })
    }

    /// Takes the next frames: interleaved, little-endian, in the encoding of the setup. Blocks of any size give
    /// the same figures. A part of a frame at the end is left out and counts as a gap.
    ///
    /// # Errors
    /// The capture cannot be written any more, or the input loses samples without end. What was captured is kept:
    /// call [`Sitting::finish`].
    pub fn push(&mut self, bytes: &[u8], arrival: Arrival) -> Result<Vec<Event>, Error> {
        let mut events = Vec::new();
        let blocks = self.alike.take(bytes.to_vec(), arrival);
        let blocks = blocks.map_err(|Parted| Error::Parted)?;
        self.take_blocks(blocks, &mut events)?;
        self.digits
            .news(&self.channels, &self.setup.settings, &mut events);
        Ok(events)
    }

    fn take_blocks(
        &mut self,
        blocks: Vec<(Vec<u8>, Arrival)>,
        events: &mut Vec<Event>,
    ) -> Result<(), Error> {
        if self.alike.is_one() && self.setup.format.channels != 1 {
            self.keep_one_channel()?;
            events.push(Event::OneSignal);
        }
        blocks
            .iter()
            .try_for_each(|(block, arrival)| self.take_block(block, *arrival, events))
    }

    /// Nothing was taken yet: the capture begins again, with one channel.
    fn keep_one_channel(&mut self) -> Result<(), Error> {
        self.setup.format.channels = 1;
        let format = self.setup.format;
        self.file.begin_again(format)?;
        self.channels = channels(&self.setup)?;
        self.meter = Meter::new(format);
        self.seams = SeamFinder::new(f64::from(format.sample_rate_hz), format.channels);
        self.last_frame = vec![0; format.frame_bytes()];
        Ok(())
    }

    fn take_block(
        &mut self,
        bytes: &[u8],
        arrival: Arrival,
        events: &mut Vec<Event>,
    ) -> Result<(), Error> {
        let frame_bytes = self.setup.format.frame_bytes();
        let whole = bytes.len() - bytes.len() % frame_bytes;
        let frames = (whole / frame_bytes) as u64;
        self.count(frames, arrival.first_frame, events)?;
        self.late.extend_from_slice(&bytes[..whole]);
        let say = match arrival.at {
            Some(at) => self.clock.block(frames, at),
            None => Say::Take,
        };
        match say {
            Say::Keep => return Ok(()),
            Say::Missing(frames) => self.lose(Some(frames), LostHow::Clock, events)?,
            Say::Take => {}
        }
        self.take_late(events)?;
        if whole < bytes.len() {
            self.lose(None, LostHow::Counted, events)?;
        }
        Ok(())
    }

    /// The same for 32-bit floats, where the encoding of the setup is [`crate::Encoding::F32`].
    ///
    /// # Errors
    /// As [`Sitting::push`].
    pub fn push_f32(&mut self, samples: &[f32], arrival: Arrival) -> Result<Vec<Event>, Error> {
        let bytes: Vec<u8> = samples.iter().flat_map(|x| x.to_le_bytes()).collect();
        self.push(&bytes, arrival)
    }

    /// Says that frames are missing before the next block: how many, if somebody counted them.
    ///
    /// # Errors
    /// As [`Sitting::push`].
    pub fn gap(&mut self, frames: Option<u64>, how: LostHow) -> Result<Vec<Event>, Error> {
        let mut events = Vec::new();
        let blocks = self.alike.decide();
        self.take_blocks(blocks, &mut events)?;
        // What was kept back came before this gap, whether or not something is missing before it too.
        self.take_late(&mut events)?;
        self.lose(frames, how, &mut events)?;
        self.clock.restart();
        self.next_frame = None;
        Ok(events)
    }

    /// Judges by other settings from here on. What was told before is not told again.
    pub fn judge_by(&mut self, settings: Settings) {
        self.setup.settings = settings;
    }

    /// Writes what is still to be written, so that a reader of the file finds all that was taken.
    ///
    /// # Errors
    /// The capture cannot be written.
    pub fn flush(&mut self) -> Result<(), Error> {
        self.file.flush()
    }

    /// Length of the capture, in seconds.
    #[must_use]
    pub fn captured_s(&self) -> f64 {
        self.file.frames() as f64 / f64::from(self.setup.format.sample_rate_hz)
    }

    /// Frames taken up to now, those that are still kept back too.
    #[must_use]
    pub fn taken_frames(&self) -> u64 {
        let kept_back = (self.late.len() + self.still.len()) / self.setup.format.frame_bytes();
        self.file.frames() + (kept_back + self.alike.held_frames()) as u64
    }

    /// The clock of the samples against the computer's, since the input was last opened; `None` where times of
    /// arrival were not told, or for too short.
    #[must_use]
    pub fn clock(&self) -> Option<ClockReading> {
        self.clock.reading()
    }

    /// The capture file.
    #[must_use]
    pub fn capture(&self) -> &Path {
        self.file.path()
    }

    /// How the sitting is held.
    #[must_use]
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Closes the capture and reads it: the same record as `check` gives for that file. Beside it, what went
    /// wrong when the file was closed.
    #[must_use]
    pub fn finish(mut self) -> (Record, Option<Error>) {
        let mut events = Vec::new();
        let blocks = self.alike.decide();
        let kept = self
            .take_blocks(blocks, &mut events)
            .and_then(|()| self.take_late(&mut events))
            .and_then(|()| self.take_still(&mut events));
        let (path, ended) = self.file.finish();
        let options = Options {
            channel: self.setup.channel,
            ..Options::default()
        };
        let record = drive::record(&path, &options, &self.setup.settings, &mut |_, _| {});
        (record, kept.and(ended).err())
    }

    /// Holds the source's own count against what came.
    fn count(
        &mut self,
        frames: u64,
        first: Option<u64>,
        events: &mut Vec<Event>,
    ) -> Result<(), Error> {
        let Some(first) = first else { return Ok(()) };
        let expected = self.next_frame.replace(first + frames);
        let missing = match expected {
            Some(expected) if first > expected => Some(first - expected),
            Some(expected) if first < expected => None,
            _ => return Ok(()),
        };
        self.take_late(events)?;
        self.clock.missing(missing.unwrap_or(0));
        self.lose(missing, LostHow::Counted, events)
    }

    fn take_late(&mut self, events: &mut Vec<Event>) -> Result<(), Error> {
        let mut late = std::mem::take(&mut self.late);
        let taken = self.screen(&late, events);
        late.clear();
        self.late = late;
        taken
    }

    /// Parts what stands still from what is the input's, and takes both.
    fn screen(&mut self, bytes: &[u8], events: &mut Vec<Event>) -> Result<(), Error> {
        let frame_bytes = self.setup.format.frame_bytes();
        let known = self.still.len() / frame_bytes;
        let mut waiting = std::mem::take(&mut self.still);
        let mut samples = std::mem::take(&mut self.still_samples);
        waiting.extend_from_slice(bytes);
        self.setup.format.encoding.decode(bytes, &mut samples);
        let stride = usize::from(self.setup.format.channels);
        let mut at = 0;
        for part in self.seams.parts(&samples, known) {
            let (Part::Input(frames) | Part::Begins(frames) | Part::GoesOn(frames)) = part;
            let piece = at..at + frames;
            at += frames;
            match part {
                Part::Input(_) => self.end_seam()?,
                Part::Begins(_) => self.begin_seam(events)?,
                Part::GoesOn(_) => {}
            }
            let bytes = &waiting[piece.start * frame_bytes..piece.end * frame_bytes];
            let samples = &samples[piece.start * stride..piece.end * stride];
            self.take(bytes, samples, events)?;
        }
        waiting.drain(..at * frame_bytes);
        samples.drain(..at * stride);
        self.still = waiting;
        self.still_samples = samples;
        Ok(())
    }

    fn take_still(&mut self, events: &mut Vec<Event>) -> Result<(), Error> {
        let bytes = std::mem::take(&mut self.still);
        let samples = std::mem::take(&mut self.still_samples);
        self.take(&bytes, &samples, events)
    }

    fn begin_seam(&mut self, events: &mut Vec<Event>) -> Result<(), Error> {
        let start = self.file.frames();
        let mark = self.file.mark(start, 0)?;
        self.channels.gap();
        self.seam = Some((mark, start));
        events.push(self.lost(None, LostHow::Seam));
        Ok(())
    }

    fn end_seam(&mut self) -> Result<(), Error> {
        let Some((mark, start)) = self.seam.take() else {
            return Ok(());
        };
        self.file.lengthen(mark, self.file.frames() - start)?;
        self.channels.gap();
        Ok(())
    }

    /// Keeps frames and measures them.
    fn take(
        &mut self,
        bytes: &[u8],
        samples: &[f32],
        events: &mut Vec<Event>,
    ) -> Result<(), Error> {
        if bytes.is_empty() {
            return Ok(());
        }
        self.file.write(bytes)?;
        let frame_bytes = self.setup.format.frame_bytes();
        self.last_frame
            .copy_from_slice(&bytes[bytes.len() - frame_bytes..]);
        self.meter.push(samples, events);
        self.channels.push(samples);
        Ok(())
    }

    /// Marks missing frames at the end of what was taken, and fills their time by holding the last frame.
    fn lose(
        &mut self,
        frames: Option<u64>,
        how: LostHow,
        events: &mut Vec<Event>,
    ) -> Result<(), Error> {
        self.take_still(events)?;
        self.end_seam()?;
        events.push(self.lost(frames, how));
        let longest = (LONGEST_FILL_S * f64::from(self.setup.format.sample_rate_hz)) as u64;
        let filled = frames.filter(|frames| *frames <= longest).unwrap_or(0);
        self.file.mark(self.file.frames(), filled)?;
        self.channels.gap();
        if filled > 0 {
            let bytes = self.last_frame.repeat(filled as usize);
            let mut samples = Vec::new();
            self.setup.format.encoding.decode(&bytes, &mut samples);
            self.file.write(&bytes)?;
            self.channels.push(&samples);
            self.channels.gap();
        }
        Ok(())
    }

    fn lost(&self, frames: Option<u64>, how: LostHow) -> Event {
        Event::Lost(Lost {
            at_s: self.captured_s(),
            frames,
            how,
        })
    }
}

/// Detectors for what is chosen of the input.
fn channels(setup: &Setup) -> Result<Channels, Error> {
    let facts = Facts {
        sample_rate_hz: f64::from(setup.format.sample_rate_hz),
        channels: setup.format.channels,
        encoding: String::new(),
        frames: None,
    };
    Channels::live(&facts, setup.channel).map_err(|error| Error::Format(error.message))
}
