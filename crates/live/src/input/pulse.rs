//! PulseAudio, or PipeWire in its stead, by their own protocol over a local socket.
//!
//! The stream is asked for in the device's own format and rate, so that nothing is converted on the way, with
//! short blocks (`adjust_latency`), and bound to its device (`no_move`).

use std::ffi::{CStr, CString};
use std::io::{BufReader, Cursor, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::time::Duration;

use pulseaudio::protocol::stream::{BufferAttr, StreamFlags};
use pulseaudio::protocol::{
    self, AuthParams, AuthReply, ChannelVolume, Command, CommandReply, CreateRecordStreamReply,
    GetSourceInfo, Prop, Props, ProtocolError, PulseError, RecordStreamParams, SampleFormat,
    SampleSpec, ServerInfo, SetClientNameReply, SourceInfo, TagStructRead, TagStructReader,
};

use super::{BLOCK_S, Device, Input, InputError, Line, Next};
use crate::format::{Encoding, Format};

/// A server that does not answer for so long is not there.
const PATIENCE: Duration = Duration::from_secs(3);
/// No message of a server is larger; what claims to be is none.
const MOST_BYTES: u32 = 16 << 20;
/// 100 % of a volume (PA_VOLUME_NORM).
const FULL_VOLUME: u32 = 0x10000;

/// Inputs that the server offers.
pub(super) fn devices() -> Result<Vec<Device>, InputError> {
    let mut server = Server::connect()?;
    let info: ServerInfo = server.ask(&Command::GetServerInfo)?;
    let sources: Vec<SourceInfo> = server.ask(&Command::GetSourceInfoList)?;
    let default = info.default_source_name;
    Ok(sources
        .iter()
        .map(|source| device(source, default.as_deref() == Some(source.name.as_c_str())))
        .collect())
}

/// Opens a source by its name or number, or the default one.
pub(super) fn open(id: Option<&str>) -> Result<Input, InputError> {
    let mut server = Server::connect()?;
    let name = id.map_or_else(|| Ok(protocol::DEFAULT_SOURCE.to_owned()), named)?;
    let source: SourceInfo = server.ask(&Command::GetSourceInfo(GetSourceInfo {
        name: Some(name),
        ..Default::default()
    }))?;
    let spec = SampleSpec {
        format: plain(source.sample_spec.format),
        ..source.sample_spec
    };
    let wished = format_of(&spec)?;
    let fragment = (BLOCK_S * f64::from(wished.sample_rate_hz)) as u32;
    let reply: CreateRecordStreamReply =
        server.ask(&Command::CreateRecordStream(RecordStreamParams {
            sample_spec: spec,
            channel_map: source.channel_map,
            source_index: Some(source.index),
            buffer_attr: BufferAttr {
                fragment_size: fragment * wished.frame_bytes() as u32,
                ..Default::default()
            },
            flags: StreamFlags {
                adjust_latency: true,
                no_move: true,
                no_remix_channels: true,
                no_remap_channels: true,
                ..Default::default()
            },
            cvolume: Some(ChannelVolume::norm(spec.channels)),
            ..Default::default()
        }))?;
    let format = format_of(&reply.sample_spec)?;
    let (input, line) = Input::new(device(&source, id.is_none()), format);
    // Anything that the user should know before the first block.
    if source.muted {
        line.send(Next::Note(
            "the input is muted in the sound settings".to_owned(),
        ));
    }
    let volume = source.cvolume.channels().iter().map(|v| v.as_u32()).max();
    if let Some(volume) = volume.filter(|volume| *volume != FULL_VOLUME) {
        line.send(Next::Note(format!(
            "the input's volume is set to {} % in the sound settings",
            (u64::from(volume) * 100 + u64::from(FULL_VOLUME) / 2) / u64::from(FULL_VOLUME)
        )));
    }
    let reader = Reader {
        server,
        line,
        channel: reply.channel,
        stream: reply.stream_index,
        frame_bytes: format.frame_bytes(),
        rest: Vec::new(),
    };
    std::thread::Builder::new()
        .name("pulse-input".to_owned())
        .spawn(|| reader.run())
        .map_err(|error| InputError(error.to_string()))?;
    Ok(input)
}

/// A socket that has introduced itself.
struct Server {
    socket: BufReader<UnixStream>,
    version: u16,
    sequence: u32,
}

impl Server {
    fn connect() -> Result<Server, InputError> {
        let path = socket_path().ok_or_else(|| InputError("no sound server runs".to_owned()))?;
        let socket = UnixStream::connect(&path)
            .map_err(|error| InputError(format!("no sound server answers: {error}")))?;
        let timed = socket
            .set_read_timeout(Some(PATIENCE))
            .and_then(|()| socket.set_write_timeout(Some(PATIENCE)));
        timed.map_err(|error| InputError(error.to_string()))?;
        let mut server = Server {
            socket: BufReader::with_capacity(1 << 16, socket),
            version: protocol::MAX_VERSION,
            sequence: 0,
        };
        let cookie = cookie();
        let auth: AuthReply = server.ask(&Command::Auth(AuthParams {
            version: protocol::MAX_VERSION,
            supports_shm: false,
            supports_memfd: false,
            cookie,
        }))?;
        server.version = auth.version.min(protocol::MAX_VERSION);
        let mut props = Props::new();
        props.set(Prop::ApplicationName, c"fingerstop");
        let _: SetClientNameReply = server.ask(&Command::SetClientName(props))?;
        Ok(server)
    }

    /// Asks and waits for the answer; what else comes meanwhile is passed over.
    fn ask<Reply: CommandReply + TagStructRead>(
        &mut self,
        command: &Command,
    ) -> Result<Reply, InputError> {
        self.sequence += 1;
        let asked = self.sequence;
        let mut message = Vec::new();
        protocol::write_command_message(&mut message, asked, command, self.version)
            .map_err(said)?;
        self.socket
            .get_mut()
            .write_all(&message)
            .map_err(|error| said(error.into()))?;
        loop {
            let (channel, payload) = self.message().map_err(said)?;
            if channel != u32::MAX {
                continue;
            }
            let mut cursor = Cursor::new(payload.as_slice());
            match Command::read_tag_prefixed(&mut cursor, self.version) {
                Ok((sequence, Command::Reply)) if sequence == asked => {
                    return TagStructReader::new(&mut cursor, self.version)
                        .read()
                        .map_err(said);
                }
                Ok((sequence, Command::Error(error))) if sequence == asked => {
                    return Err(said(ProtocolError::ServerError(error)));
                }
                // Events, some of which this version of the protocol crate may not know.
                Ok(_) | Err(_) => {}
            }
        }
    }

    /// The next message: its channel and what it holds.
    fn message(&mut self) -> Result<(u32, Vec<u8>), ProtocolError> {
        let head = protocol::read_descriptor(&mut self.socket)?;
        if head.length > MOST_BYTES {
            return Err(ProtocolError::Invalid("a message without end".to_owned()));
        }
        let mut payload = vec![0; head.length as usize];
        self.socket.read_exact(&mut payload)?;
        Ok((head.channel, payload))
    }
}

/// Reads the stream in a thread of its own.
struct Reader {
    server: Server,
    line: Line,
    channel: u32,
    stream: u32,
    frame_bytes: usize,
    /// A part of a frame at the end of the last block.
    rest: Vec<u8>,
}

impl Reader {
    fn run(mut self) {
        // A quiet stream is no dead one: a suspended source sends nothing for as long as it likes.
        let _ = self.server.socket.get_ref().set_read_timeout(None);
        let why = loop {
            let next = match self.server.message() {
                Ok((u32::MAX, payload)) => self.event(&payload),
                Ok((channel, payload)) if channel == self.channel => {
                    if self.block(payload) {
                        continue;
                    }
                    return;
                }
                Ok(_) => continue,
                Err(error) => break format!("the sound server is gone ({})", said(error)),
            };
            let heard = match next {
                Some(Next::Gone(why)) => break why,
                Some(next) => self.line.send(next),
                None => self.line.is_wanted(),
            };
            if !heard {
                return;
            }
        };
        self.line.send(Next::Gone(why));
    }

    fn block(&mut self, payload: Vec<u8>) -> bool {
        let mut bytes = std::mem::take(&mut self.rest);
        bytes.extend_from_slice(&payload);
        self.rest = bytes.split_off(bytes.len() - bytes.len() % self.frame_bytes);
        bytes.is_empty() || self.line.block(bytes)
    }

    fn event(&self, payload: &[u8]) -> Option<Next> {
        let mut cursor = Cursor::new(payload);
        let command = Command::read_tag_prefixed(&mut cursor, self.server.version);
        match command.ok()?.1 {
            Command::Overflow(channel) if channel == self.channel => Some(Next::Lost(None)),
            Command::RecordStreamKilled(channel) if channel == self.channel => {
                Some(Next::Gone("the device was taken away".to_owned()))
            }
            Command::RecordStreamSuspended(state)
                if state.stream_index == self.channel || state.stream_index == self.stream =>
            {
                if state.suspended {
                    let note = "the sound server suspended the input: another program may have taken the device";
                    Some(Next::Note(note.to_owned()))
                } else {
                    Some(Next::Lost(None))
                }
            }
            Command::RecordStreamMoved(moved) if moved.stream_index == self.channel => Some(
                Next::Gone("the stream was moved to another input".to_owned()),
            ),
            _ => None,
        }
    }
}

fn device(source: &SourceInfo, is_default: bool) -> Device {
    let text = |name: &CStr| name.to_string_lossy().into_owned();
    let spec = SampleSpec {
        format: plain(source.sample_spec.format),
        ..source.sample_spec
    };
    Device {
        id: text(&source.name),
        name: text(source.description.as_deref().unwrap_or(&source.name)),
        way: "pulse",
        format: format_of(&spec).ok(),
        is_default,
        is_monitor: source.monitor_of_sink_index.is_some(),
    }
}

fn named(id: &str) -> Result<CString, InputError> {
    CString::new(id).map_err(|_| InputError("a name has no zero in it".to_owned()))
}

/// The format to ask for: the device's own if a WAV file can hold it, or the next larger one.
fn plain(format: SampleFormat) -> SampleFormat {
    match format {
        SampleFormat::S24Le
        | SampleFormat::S24Be
        | SampleFormat::S24In32Le
        | SampleFormat::S24In32Be => SampleFormat::S24Le,
        SampleFormat::S32Le | SampleFormat::S32Be => SampleFormat::S32Le,
        SampleFormat::Float32Le | SampleFormat::Float32Be => SampleFormat::Float32Le,
        _ => SampleFormat::S16Le,
    }
}

fn format_of(spec: &SampleSpec) -> Result<Format, InputError> {
    let encoding = match spec.format {
        SampleFormat::S16Le => Encoding::I16,
        SampleFormat::S24Le => Encoding::I24,
        SampleFormat::S32Le => Encoding::I32,
        SampleFormat::Float32Le => Encoding::F32,
        other => {
            return Err(InputError(format!(
                "the sound server gives samples as {other:?}, which cannot be captured"
            )));
        }
    };
    Ok(Format {
        sample_rate_hz: spec.sample_rate,
        channels: u16::from(spec.channels),
        encoding,
    })
}

/// The key that the server made for its owner. The crate does not look where XDG_CONFIG_HOME points.
fn cookie() -> Vec<u8> {
    let named = std::env::var_os("PULSE_COOKIE").is_some();
    let configured = std::env::var_os("XDG_CONFIG_HOME")
        .map(|folder| PathBuf::from(folder).join("pulse/cookie"))
        .filter(|path| !named && path.exists());
    configured
        .or_else(pulseaudio::cookie_path_from_env)
        .and_then(|path| std::fs::read(path).ok())
        .unwrap_or_default()
}

fn socket_path() -> Option<PathBuf> {
    pulseaudio::socket_path_from_env().or_else(|| {
        // The crate stops at the first place that is named but empty.
        let below =
            |name: &str, rest: &str| Some(PathBuf::from(std::env::var_os(name)?).join(rest));
        [
            below("XDG_RUNTIME_DIR", "pulse/native"),
            Some(PathBuf::from("/run/pulse/native")),
        ]
        .into_iter()
        .flatten()
        .find(|path| path.exists())
    })
}

/// What the server says, in words that help.
fn said(error: ProtocolError) -> InputError {
    InputError(match error {
        ProtocolError::ServerError(PulseError::NoEntity) => "it has no such input".to_owned(),
        ProtocolError::ServerError(PulseError::AccessDenied) => {
            "it refuses this program: it belongs to another user, or its privacy settings forbid recording"
                .to_owned()
        }
        ProtocolError::ServerError(PulseError::Busy) => {
            "another program holds the device".to_owned()
        }
        ProtocolError::Io(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => {
            "it closed the connection".to_owned()
        }
        ProtocolError::Io(error) => error.to_string(),
        other => other.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::Input;

    const CHANNEL: u32 = 7;

    /// A reader whose server says nothing but what a test says.
    fn reader() -> (UnixStream, Input, Reader) {
        let (server, client) = UnixStream::pair().unwrap();
        let device = Device {
            id: "probe".to_owned(),
            name: "A probe".to_owned(),
            way: "pulse",
            format: None,
            is_default: true,
            is_monitor: false,
        };
        let format = Format {
            sample_rate_hz: 48_000,
            channels: 1,
            encoding: Encoding::I16,
        };
        let (input, line) = Input::new(device, format);
        let reader = Reader {
            server: Server {
                socket: BufReader::new(client),
                version: protocol::MAX_VERSION,
                sequence: 0,
            },
            line,
            channel: CHANNEL,
            stream: 3,
            frame_bytes: 2,
            rest: Vec::new(),
        };
        (server, input, reader)
    }

    fn say(server: &mut UnixStream, command: &Command) {
        protocol::write_command_message(server, u32::MAX, command, protocol::MAX_VERSION).unwrap();
    }

    /// A block of the stream: length, channel, offset and flags before it.
    fn send(server: &mut UnixStream, channel: u32, bytes: &[u8]) {
        let head = [bytes.len() as u32, channel, 0, 0, 0];
        head.iter()
            .for_each(|word| server.write_all(&word.to_be_bytes()).unwrap());
        server.write_all(bytes).unwrap();
    }

    fn texts(mut input: Input) -> Vec<String> {
        let mut texts = Vec::new();
        loop {
            texts.push(match input.next(PATIENCE) {
                Next::Block { bytes, .. } => format!("{bytes:?}"),
                Next::Lost(frames) => format!("lost {frames:?}"),
                Next::Note(note) => note,
                Next::Gone(why) => {
                    texts.push(why);
                    return texts;
                }
                Next::Nothing => panic!("{texts:?}"),
            });
        }
    }

    #[test]
    fn an_overflow_is_a_loss_where_it_came_and_other_streams_do_not_count() {
        let (mut server, input, reader) = reader();
        // Half a frame waits for its other half.
        send(&mut server, CHANNEL, &[1, 2, 3]);
        send(&mut server, CHANNEL + 1, &[9, 9]);
        say(&mut server, &Command::Overflow(CHANNEL + 1));
        say(&mut server, &Command::Overflow(CHANNEL));
        send(&mut server, CHANNEL, &[4]);
        say(&mut server, &Command::RecordStreamKilled(CHANNEL));
        reader.run();
        let told = texts(input);
        assert_eq!(
            told,
            ["[1, 2]", "lost None", "[3, 4]", "the device was taken away"]
        );
    }

    #[test]
    fn a_suspended_stream_is_told_and_leaves_a_loss_when_it_goes_on() {
        let (mut server, input, reader) = reader();
        for suspended in [true, false] {
            say(
                &mut server,
                &Command::RecordStreamSuspended(protocol::StreamSuspendedParams {
                    stream_index: CHANNEL,
                    suspended,
                }),
            );
        }
        drop(server);
        reader.run();
        let told = texts(input);
        assert!(told[0].contains("suspended the input"), "{told:?}");
        assert_eq!(told[1], "lost None");
        assert!(told[2].contains("the sound server is gone"), "{told:?}");
    }
}
