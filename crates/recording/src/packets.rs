//! Containers and codecs that symphonia reads: FLAC, CAF, Ogg, MPEG audio, MP4, ADPCM in WAV.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex};

use symphonia::core::audio::AudioSpec;
use symphonia::core::codecs::audio::well_known as id;
use symphonia::core::codecs::audio::{
    AudioCodecId, AudioCodecParameters, AudioDecoder, AudioDecoderOptions,
};
use symphonia::core::errors::Error as Fault;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream, ReadOnlySource};
use symphonia::core::meta::MetadataOptions;
use symphonia::core::packet::Packet;
use symphonia::core::units::TimeBase;

use crate::mpeg::{Frames, Watch};
use crate::pcm::{check_facts, no_samples};
use crate::sample::integer_extremes;
use crate::sniff::{Container, not_decoded};
use crate::source::{ByteSource, fill};
use crate::stream::{MOST_FILLED_SAMPLES, Notes, Opened, Stream};
use crate::{Error, Facts, Gap};

/// Samples gathered into one block.
const BLOCK_SAMPLES: usize = 64 * 1024;

/// Failures in a row, of demuxer or decoder, after which the rest of a file counts as lost.
const MOST_FAILURES: u32 = 100;

const CUT_OFF: &str = "the end of the file is cut off or damaged: read as far as it goes";

const DAMAGED: &str = "packets that are missing or damaged ({}): the value before them was held";

/// Opens from a source that cannot seek.
pub(crate) fn open_piped(source: ByteSource, container: Container) -> Result<Opened, Error> {
    if container != Container::Mpeg {
        return open(unseekable(source), container, None);
    }
    let watch = SharedWatch::default();
    let frames = Frames::new(source, Arc::clone(&watch));
    open(unseekable(frames), container, Some(watch))
}

fn unseekable(reader: impl io::Read + Send + 'static) -> Box<dyn MediaSource> {
    Box::new(ReadOnlySource::new(Piped(Mutex::new(reader))))
}

/// Opens a file on disk.
///
/// A truncated one is read as a pipe would be, since the library looks for an index or a length at
/// its end; so is one without time stamps, whose bytes must pass in order to be watched.
pub(crate) fn open_file(file: File, container: Container) -> Result<Opened, Error> {
    let mut again = file.try_clone().map_err(Error::io)?;
    if container == Container::Mpeg {
        return open_piped(ByteSource::new(Box::new(file)), container);
    }
    let finished = container != Container::Ogg || ogg_is_finished(&mut again).map_err(Error::io)?;
    let opened = open(Box::new(file), container, None).map(|mut opened| {
        if !finished {
            opened.notes.warn("truncated", CUT_OFF);
        }
        opened
    });
    opened.or_else(|error| {
        again.rewind().map_err(Error::io)?;
        let mut opened =
            open_piped(ByteSource::new(Box::new(again)), container).map_err(|_| error)?;
        opened.notes.warn("truncated", CUT_OFF);
        Ok(opened)
    })
}

/// Whether the last page of an Ogg file carries the mark of the end (RFC 3533, section 6). Leaves
/// the file at its start.
fn ogg_is_finished(file: &mut File) -> io::Result<bool> {
    /// A page is at most this long.
    const PAGE_BYTES: u64 = 65_307;
    const LAST_PAGE: u8 = 4;
    let length = file.metadata()?.len();
    file.seek(SeekFrom::Start(length.saturating_sub(PAGE_BYTES)))?;
    let mut tail = Vec::new();
    file.by_ref().take(PAGE_BYTES).read_to_end(&mut tail)?;
    file.rewind()?;
    let page = tail.windows(6).rfind(|window| window.starts_with(b"OggS"));
    Ok(page.is_some_and(|page| page[5] & LAST_PAGE != 0))
}

/// Opens from any source. Arithmetic on damaged headers can make the library panic; that is damage
/// like any other, and must not stop the recordings after it.
fn open(
    source: Box<dyn MediaSource>,
    container: Container,
    watch: Option<SharedWatch>,
) -> Result<Opened, Error> {
    let attempt = AssertUnwindSafe(|| open_unguarded(source, container, watch));
    catch_unwind(attempt).unwrap_or_else(|_| Err(damaged_from_the_start(container)))
}

fn open_unguarded(
    source: Box<dyn MediaSource>,
    container: Container,
    watch: Option<SharedWatch>,
) -> Result<Opened, Error> {
    let seekable = source.is_seekable();
    let bytes = MediaSourceStream::new(source, Default::default());
    let reader = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            bytes,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .map_err(|fault| refusal(fault, container, seekable))?;
    let (track, decoder) = choose_track(reader.as_ref(), container)?;
    let stated_rate_hz = decoder.codec_params().sample_rate.unwrap_or(0);
    let mut stream = PacketStream {
        reader,
        decoder,
        track_id: track.id,
        time_base: track.time_base,
        declared: track.num_frames,
        slack: 0,
        sample_rate_hz: stated_rate_hz,
        channels: 0,
        pending: Vec::new(),
        last: Vec::new(),
        // Only FLAC is sure to count from the start; other streams may be cut from longer ones.
        expected_tick: (container == Container::Flac).then_some(0),
        leading_loss: 0,
        watch,
        packets: 0,
        frames: 0,
        damaged: 0,
        failures: 0,
        ended: false,
    };
    let mut notes = Notes::default();
    stream.read_ahead(&mut notes)?;
    let params = stream.decoder.codec_params().clone();
    let extremes = extremes(&params);
    stream.slack = slack(params.codec);
    let facts = Facts {
        sample_rate_hz: f64::from(stream.sample_rate_hz),
        channels: stream.channels,
        encoding: describe(container, &params),
        frames: stream.declared,
    };
    check_facts(&facts)?;
    Ok(Opened {
        facts,
        extremes,
        stream: Box::new(stream),
        notes,
    })
}

type SharedWatch = Arc<Mutex<Watch>>;

/// A reader that symphonia may share between threads, though it never does.
struct Piped<R>(Mutex<R>);

impl<R: io::Read> io::Read for Piped<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let reader = self
            .0
            .get_mut()
            .map_err(|_| io::Error::other("a reader failed before"))?;
        // The library looks for packets in what one call gave: pieces must not depend on the pipe.
        fill(reader, buffer)
    }
}

/// The audio track that is read, and what decodes it.
fn choose_track(
    reader: &dyn FormatReader,
    container: Container,
) -> Result<(Track, Box<dyn AudioDecoder>), Error> {
    let track = reader
        .default_track(TrackType::Audio)
        .ok_or_else(|| not_decoded(&format!("{} without a known audio codec", container.name())))?;
    let params = track
        .codec_params
        .as_ref()
        .and_then(|params| params.audio());
    let params = params.ok_or_else(no_samples)?;
    let decoder = make_decoder(params, container)?;
    Ok((track.clone(), decoder))
}

fn make_decoder(
    params: &AudioCodecParameters,
    container: Container,
) -> Result<Box<dyn AudioDecoder>, Error> {
    symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .map_err(|_| not_decoded(&describe(container, params)))
}

/// What a failure to open means for the person who has the file.
fn refusal(fault: Fault, container: Container, seekable: bool) -> Error {
    let name = container.name();
    match fault {
        _ if !seekable && matches!(container, Container::Mp4 | Container::Caf) => Error::new(
            "not-seekable",
            format!(
                "its {name} index stands behind its samples, which a pipe cannot give; save it as a file first"
            ),
        ),
        Fault::IoError(error) if error.kind() != io::ErrorKind::UnexpectedEof => Error::io(error),
        Fault::IoError(_) => Error::new(
            "bad-header",
            format!(
                "it ends before the first whole packet of its {name} data; copy or export it again"
            ),
        ),
        _ if container == Container::Mp4 => Error::new(
            "bad-header",
            "its M4A index is missing or damaged, so the recording was never finished; export it again",
        ),
        Fault::Unsupported(_) => not_decoded(&format!("this kind of {name}")),
        _ => damaged_from_the_start(container),
    }
}

fn damaged_from_the_start(container: Container) -> Error {
    let name = container.name();
    Error::new(
        "bad-header",
        format!("its {name} data are damaged from the start; copy or export it again"),
    )
}

/// The packets of one track, decoded one after the other.
struct PacketStream {
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track_id: u32,
    time_base: Option<TimeBase>,
    declared: Option<u64>,
    /// Frames by which the declared length may be missed.
    slack: u64,
    sample_rate_hz: u32,
    channels: u16,
    /// Samples decoded while opening.
    pending: Vec<f32>,
    /// The last frame given, held where packets are lost.
    last: Vec<f32>,
    /// Where the next packet should start, in the track's time base.
    expected_tick: Option<i64>,
    /// Frames lost before the first packet.
    leading_loss: u64,
    /// Notices losses in streams without time stamps.
    watch: Option<SharedWatch>,
    packets: u64,
    frames: u64,
    damaged: u64,
    failures: u32,
    ended: bool,
}

impl PacketStream {
    /// Decodes until the first samples come, since only they tell rate and channels for sure.
    fn read_ahead(&mut self, notes: &mut Notes) -> Result<(), Error> {
        let mut first = Vec::new();
        while first.is_empty() && !self.ended {
            self.step(&mut first, notes)?;
        }
        self.pending = first;
        if !self.pending.is_empty() {
            return Ok(());
        }
        Err(match self.damaged {
            0 => no_samples(),
            count => Error::new(
                "no-samples",
                format!(
                    "none of its packets can be decoded ({count} are damaged); copy or export it again"
                ),
            ),
        })
    }

    /// Reads one packet and appends what it holds.
    fn step(&mut self, out: &mut Vec<f32>, notes: &mut Notes) -> Result<(), Error> {
        match self.reader.next_packet() {
            Ok(None) => self.end(notes),
            Ok(Some(packet)) if packet.track_id == self.track_id => {
                self.fill_missing(&packet, out, notes);
                self.fill_losses(out, notes);
                self.decode(&packet, out, notes);
            }
            Ok(Some(_)) => {}
            Err(Fault::IoError(error)) if error.kind() == io::ErrorKind::UnexpectedEof => {
                self.end(notes)
            }
            Err(Fault::IoError(error)) => return Err(Error::io(error)),
            Err(Fault::ResetRequired) => self.restart(notes),
            Err(_) => self.fail(0, out, notes),
        }
        Ok(())
    }

    fn decode(&mut self, packet: &Packet, out: &mut Vec<f32>, notes: &mut Notes) {
        let Ok(buffer) = self.decoder.decode(packet) else {
            let frames = self.ticks_to_frames(packet.dur.get());
            self.fail(frames, out, notes);
            return;
        };
        let spec = buffer.spec().clone();
        let mut samples = Vec::new();
        buffer.copy_to_vec_interleaved::<f32>(&mut samples);
        if self.channels == 0 {
            self.adopt(&spec);
            if self.leading_loss > 0 {
                notes.count("damaged-packet", 1, DAMAGED);
                self.hold(self.leading_loss, out, notes);
            }
        }
        if spec.rate() != self.sample_rate_hz
            || spec.channels().count() != usize::from(self.channels)
        {
            notes.warn(
                "format-changed",
                "rate or channels change in mid-file: the recording ends there",
            );
            self.ended = true;
            return;
        }
        out.extend_from_slice(&samples);
        self.failures = 0;
        self.took(&samples);
    }

    fn adopt(&mut self, spec: &AudioSpec) {
        self.sample_rate_hz = spec.rate();
        self.channels = u16::try_from(spec.channels().count()).unwrap_or(u16::MAX);
        self.last = vec![0.0; usize::from(self.channels)];
    }

    /// Counts whole frames and keeps the last.
    fn took(&mut self, samples: &[f32]) {
        let channels = usize::from(self.channels).max(1);
        self.frames += (samples.len() / channels) as u64;
        if let Some(frame) = samples.chunks_exact(channels).next_back() {
            self.last.copy_from_slice(frame);
        }
    }

    /// A packet that starts later than the one before it ended: what lies between is lost.
    fn fill_missing(&mut self, packet: &Packet, out: &mut Vec<f32>, notes: &mut Notes) {
        let start = packet.pts.get();
        let late = self
            .expected_tick
            .map_or(0, |expected| start.saturating_sub(expected));
        let length = i64::try_from(packet.block_dur().get()).unwrap_or(0);
        self.expected_tick = Some(start.saturating_add(length));
        let frames = self.ticks_to_frames(u64::try_from(late).unwrap_or(0));
        // Time bases coarser than a frame round: a frame or two is not a lost packet.
        if frames > 2 && self.channels > 0 {
            // A failure just before has already been counted.
            notes.count("damaged-packet", u64::from(self.failures == 0), DAMAGED);
            self.hold(frames, out, notes);
        } else if frames > 2 {
            self.leading_loss = frames;
        }
    }

    /// What the watch noticed before the packet at hand. A leading frame without sound may be
    /// counted by one side only, so that the place is right to one packet.
    fn fill_losses(&mut self, out: &mut Vec<f32>, notes: &mut Notes) {
        self.packets += 1;
        for samples in self.losses_before(self.packets) {
            if self.channels > 0 {
                notes.count("damaged-packet", 1, DAMAGED);
                self.hold(samples, out, notes);
            }
        }
    }

    fn losses_before(&self, packet: u64) -> Vec<u64> {
        let Some(mut watch) = self.watch.as_ref().and_then(|watch| watch.lock().ok()) else {
            return Vec::new();
        };
        let count = watch
            .losses
            .iter()
            .take_while(|loss| loss.frames_before < packet)
            .count();
        watch
            .losses
            .drain(..count)
            .map(|loss| loss.samples)
            .collect()
    }

    fn ticks_to_frames(&self, ticks: u64) -> u64 {
        let Some(base) = self.time_base else {
            return ticks;
        };
        let numerator =
            u128::from(ticks) * u128::from(base.numer.get()) * u128::from(self.sample_rate_hz);
        let frames = (numerator + u128::from(base.denom.get()) / 2) / u128::from(base.denom.get());
        u64::try_from(frames).unwrap_or(u64::MAX)
    }

    /// A packet that cannot be used.
    fn fail(&mut self, frames: u64, out: &mut Vec<f32>, notes: &mut Notes) {
        self.damaged += 1;
        self.failures += 1;
        if self.channels > 0 {
            self.hold(frames, out, notes);
        }
        notes.count("damaged-packet", 1, DAMAGED);
        if self.failures >= MOST_FAILURES {
            self.end(notes);
        }
    }

    /// Holds the last frame over a gap.
    fn hold(&mut self, frames: u64, out: &mut Vec<f32>, notes: &mut Notes) {
        let frames = frames.min(MOST_FILLED_SAMPLES / u64::from(self.channels.max(1)));
        if frames == 0 {
            return;
        }
        notes.gap(Gap {
            start_frame: self.frames,
            frames,
        });
        notes.warn(
            "damaged-packet",
            "packets are missing: their time was filled by the value before them",
        );
        for _ in 0..frames {
            out.extend_from_slice(&self.last);
        }
        self.frames += frames;
    }

    /// A new logical stream follows in the same file.
    fn restart(&mut self, notes: &mut Notes) {
        self.failures += 1;
        let tracks = self.reader.default_track(TrackType::Audio);
        let params = tracks.and_then(|track| track.codec_params.as_ref()?.audio());
        let decoder = params.and_then(|params| make_decoder(params, Container::Ogg).ok());
        match (tracks, decoder) {
            (Some(track), Some(decoder)) if self.failures < MOST_FAILURES => {
                self.track_id = track.id;
                self.time_base = track.time_base;
                self.decoder = decoder;
                self.expected_tick = None;
                self.declared = None;
            }
            _ => {
                notes.warn(
                    "format-changed",
                    "the codec changes in mid-file: the recording ends there",
                );
                self.ended = true;
            }
        }
    }

    fn end(&mut self, notes: &mut Notes) {
        self.ended = true;
        if let Some(declared) = self.declared
            && self.frames + self.slack < declared
        {
            let there = self.frames;
            notes.warn(
                "truncated",
                format!(
                    "the file is cut off: its header declares {declared} frames, {there} are there"
                ),
            );
        }
    }
}

impl Stream for PacketStream {
    fn next(&mut self, frames: &mut Vec<f32>, notes: &mut Notes) -> Result<(), Error> {
        frames.append(&mut self.pending);
        while frames.len() < BLOCK_SAMPLES && !self.ended {
            let step = AssertUnwindSafe(|| self.step(frames, notes));
            // After a panic nothing inside the library can be relied on.
            catch_unwind(step).unwrap_or_else(|_| {
                self.fail(0, frames, notes);
                self.end(notes);
                notes.warn("truncated", CUT_OFF);
                Ok(())
            })?;
        }
        Ok(())
    }
}

/// Frames by which the declared length may miss the real one without anything being cut off: the
/// encoder's delay and a longest packet, where writers disagree about counting them.
fn slack(codec: AudioCodecId) -> u64 {
    match codec {
        id::CODEC_ID_FLAC => 0,
        id::CODEC_ID_MP1 | id::CODEC_ID_MP2 | id::CODEC_ID_MP3 => 2 * 1152,
        id::CODEC_ID_ALAC => 4096,
        _ => 2048,
    }
}

/// Bits of a codec that gives integers without loss.
fn integer_bits(params: &AudioCodecParameters) -> Option<u8> {
    let lossless = params.codec == id::CODEC_ID_FLAC
        || params.codec == id::CODEC_ID_ALAC
        || pcm_name(params).is_some_and(|name| name.ends_with("PCM"));
    let configured = params
        .extra_data
        .as_ref()
        .filter(|_| params.codec == id::CODEC_ID_ALAC);
    let configured = configured.and_then(|data| alac_bits(data)).map(u32::from);
    let bits = configured
        .or(params.bits_per_coded_sample)
        .or(params.bits_per_sample)?;
    u8::try_from(bits)
        .ok()
        .filter(|bits| lossless && (2..=64).contains(bits))
}

/// Bits in the configuration of ALAC, which MP4 and CAF do not repeat elsewhere. It is 24 bytes, the
/// sixth is the bits; MP4 puts a version of 4 bytes before it, old CAF a whole atom.
fn alac_bits(data: &[u8]) -> Option<u8> {
    let name = data.windows(4).rposition(|window| window == b"alac");
    let start = match (name, data.len()) {
        (Some(name), _) => name + 8,
        (None, 28 | 52) => 4,
        (None, _) => 0,
    };
    data.get(start + 5).copied()
}

fn extremes(params: &AudioCodecParameters) -> Option<(f32, f32)> {
    use crate::sample::{Coding, SampleFormat};
    match params.codec {
        id::CODEC_ID_PCM_ALAW => SampleFormat::full(Coding::ALaw).extremes(),
        id::CODEC_ID_PCM_MULAW => SampleFormat::full(Coding::MuLaw).extremes(),
        _ => integer_bits(params).map(integer_extremes),
    }
}

/// For a person: `AIFF, 16-bit PCM`; container and codec of the same name are said once.
fn describe(container: Container, params: &AudioCodecParameters) -> String {
    let codec = match params.codec {
        id::CODEC_ID_FLAC => "FLAC",
        id::CODEC_ID_ALAC => "ALAC",
        id::CODEC_ID_VORBIS => "Vorbis",
        id::CODEC_ID_AAC => "AAC",
        id::CODEC_ID_MP1 => "MPEG layer 1",
        id::CODEC_ID_MP2 => "MPEG layer 2",
        id::CODEC_ID_MP3 => "MP3",
        id::CODEC_ID_OPUS => "Opus",
        id::CODEC_ID_SPEEX => "Speex",
        id::CODEC_ID_AC3 => "AC-3",
        id::CODEC_ID_EAC3 => "E-AC-3",
        id::CODEC_ID_ADPCM_MS => "ADPCM",
        id::CODEC_ID_ADPCM_IMA_WAV | id::CODEC_ID_ADPCM_IMA_QT => "IMA ADPCM",
        _ => pcm_name(params).unwrap_or("an unknown codec"),
    };
    let bits = integer_bits(params);
    match (container.name(), bits) {
        ("MPEG audio", _) => codec.to_owned(),
        (name, Some(bits)) if name == codec => format!("{name}, {bits}-bit"),
        (name, Some(bits)) if codec == "PCM" => format!("{name}, {bits}-bit PCM"),
        (name, Some(bits)) => format!("{name}, {codec}, {bits}-bit"),
        (name, None) => format!("{name}, {codec}"),
    }
}

fn pcm_name(params: &AudioCodecParameters) -> Option<&'static str> {
    Some(match params.codec {
        id::CODEC_ID_PCM_ALAW => "A-law",
        id::CODEC_ID_PCM_MULAW => "mu-law",
        id::CODEC_ID_PCM_F32LE | id::CODEC_ID_PCM_F32BE => "32-bit float",
        id::CODEC_ID_PCM_F64LE | id::CODEC_ID_PCM_F64BE => "64-bit float",
        id::CODEC_ID_PCM_S8
        | id::CODEC_ID_PCM_U8
        | id::CODEC_ID_PCM_S16LE
        | id::CODEC_ID_PCM_S16BE
        | id::CODEC_ID_PCM_S24LE
        | id::CODEC_ID_PCM_S24BE
        | id::CODEC_ID_PCM_S32LE
        | id::CODEC_ID_PCM_S32BE => "PCM",
        _ => return None,
    })
}
