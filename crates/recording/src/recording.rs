//! A recording that is being read.

use std::fmt;
use std::fs::File;
use std::io::{Read, Seek};
use std::path::Path;

use crate::clip::ClipCounter;
use crate::sniff::{self, Kind};
use crate::source::{self, ByteSource};
use crate::stream::{Notes, Opened, Stream};
use crate::{Error, Facts, Gap, OpenOptions, Warning};
use crate::{aiff, caf, csv, packets, raw, wav};

/// A recording, read from its start to its end in blocks.
pub struct Recording {
    facts: Facts,
    stream: Box<dyn Stream>,
    notes: Notes,
    clips: ClipCounter,
    /// Only floats can be other than numbers.
    may_be_non_finite: bool,
    frames_read: u64,
    ended: bool,
}

impl Recording {
    /// Opens a file. Its content decides what it is; its name is only a hint for better messages.
    ///
    /// # Errors
    /// What cannot be read or holds no samples; see [`Error::code`].
    pub fn open(path: &Path, options: &OpenOptions) -> Result<Recording, Error> {
        if path.is_dir() {
            return Err(Error::new("folder", "it is a folder; name the files in it"));
        }
        let file = File::open(path).map_err(Error::io)?;
        let name = path.to_string_lossy();
        let on_disk = file.metadata().is_ok_and(|metadata| metadata.is_file());
        match on_disk && options.raw.is_none() {
            true => Recording::from_file(file, &name, options),
            false => Recording::from_reader(Box::new(file), &name, options),
        }
    }

    /// A file on disk can be looked into twice, and some containers need that.
    fn from_file(mut file: File, name: &str, options: &OpenOptions) -> Result<Recording, Error> {
        let mut head = Vec::new();
        source::read_up_to(&mut file, sniff::HEAD_BYTES, &mut head).map_err(Error::io)?;
        if let Ok(Kind::Packets(container)) = sniff::kind(&head) {
            file.rewind().map_err(Error::io)?;
            return Ok(Recording::new(packets::open_file(file, container)?));
        }
        let source = ByteSource::after(head, Box::new(file));
        Recording::from_source(source, name, options)
    }

    /// Reads from a reader that need not be able to seek, such as standard input. `name` is only a
    /// hint, like a file's name.
    ///
    /// # Errors
    /// What cannot be read or holds no samples; see [`Error::code`].
    pub fn from_reader(
        reader: Box<dyn Read + Send>,
        name: &str,
        options: &OpenOptions,
    ) -> Result<Recording, Error> {
        Recording::from_source(ByteSource::new(reader), name, options)
    }

    fn from_source(
        mut source: ByteSource,
        name: &str,
        options: &OpenOptions,
    ) -> Result<Recording, Error> {
        let head = source.peek(sniff::HEAD_BYTES).map_err(Error::io)?;
        if head.is_empty() {
            return Err(Error::new(
                "empty-file",
                "it is empty; record or copy it again",
            ));
        }
        let opened = match &options.raw {
            Some(format) => raw::open(source, format)?,
            None => match sniff::kind(head)? {
                Kind::Wav => wav::open(source)?,
                Kind::Aiff => aiff::open(source)?,
                Kind::PlainCaf => caf::open(source)?,
                Kind::Packets(container) => packets::open_piped(source, container)?,
                Kind::Text => csv::open(source, name, options)?,
            },
        };
        Ok(Recording::new(opened))
    }

    fn new(opened: Opened) -> Recording {
        let clips = ClipCounter::new(opened.facts.channels, opened.extremes);
        Recording {
            facts: opened.facts,
            stream: opened.stream,
            notes: opened.notes,
            clips,
            may_be_non_finite: opened.extremes.is_none(),
            frames_read: 0,
            ended: false,
        }
    }

    /// What the file says of itself.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Replaces the contents of `frames` by the next interleaved block: whole frames, full scale ±1
    /// (CSV: the column's own unit), every sample finite, never empty. `Ok(false)` at the end, then
    /// `frames` is empty.
    ///
    /// # Errors
    /// A failure of the reader beneath; damage inside the file is a warning instead.
    pub fn next_block(&mut self, frames: &mut Vec<f32>) -> Result<bool, Error> {
        frames.clear();
        if self.ended {
            return Ok(false);
        }
        self.stream.next(frames, &mut self.notes)?;
        if self.may_be_non_finite {
            self.replace_non_finite(frames);
        }
        self.clips.count(frames);
        Ok(self.took(frames.len()))
    }

    /// Whether the samples are 16-bit integers in the file, so that [`Recording::next_words`] gives them as such.
    pub fn has_words(&self) -> bool {
        self.stream.has_words()
    }

    /// The same as [`Recording::next_block`] in 16-bit integers, of which 32 768 make full scale: half the room, and
    /// nothing to convert. Only where [`Recording::has_words`]; elsewhere there are none.
    ///
    /// # Errors
    /// As [`Recording::next_block`].
    pub fn next_words(&mut self, frames: &mut Vec<i16>) -> Result<bool, Error> {
        if self.ended {
            frames.clear();
            return Ok(false);
        }
        self.stream.next_words(frames, &mut self.notes)?;
        self.clips.count_words(frames);
        Ok(self.took(frames.len()))
    }

    /// Counts the samples of a block; none are the end. Gives whether there were any.
    fn took(&mut self, samples: usize) -> bool {
        self.ended = samples == 0;
        self.frames_read += (samples / usize::from(self.facts.channels)) as u64;
        self.notes.settle();
        !self.ended
    }

    /// What is wrong with the file; complete once the end was reached.
    pub fn warnings(&self) -> &[Warning] {
        &self.notes.warnings
    }

    /// Per channel, samples so far that sit at the format's lowest or highest code in runs of at
    /// least two of the same; always 0 for floats, lossy codecs and CSV, which have no such code.
    pub fn clipped(&self) -> &[u64] {
        self.clips.counts()
    }

    /// Frames given so far; at the end, the real length of the recording.
    pub fn frames_read(&self) -> u64 {
        self.frames_read
    }

    /// Stretches so far whose samples are missing and were filled by holding the last value, in
    /// order of time; at most 10 000 are kept.
    pub fn gaps(&self) -> &[Gap] {
        &self.notes.gaps
    }

    fn replace_non_finite(&mut self, frames: &mut [f32]) {
        // One pass without branches finds out whether there is anything to do.
        if frames.iter().fold(true, |all, x| all & x.is_finite()) {
            return;
        }
        for sample in frames.iter_mut().filter(|sample| !sample.is_finite()) {
            *sample = 0.0;
            self.notes.count(
                "non-finite",
                1,
                "samples that are not finite numbers ({}): replaced by 0",
            );
        }
    }
}

impl fmt::Debug for Recording {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Recording")
            .field("facts", &self.facts)
            .field("frames_read", &self.frames_read)
            .field("warnings", &self.notes.warnings)
            .finish_non_exhaustive()
    }
}
