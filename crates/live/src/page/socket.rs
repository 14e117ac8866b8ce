//! The WebSocket of a live page (RFC 6455): handshake, limits, and the two kinds of messages.

use std::io::Write;
use std::net::TcpStream;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tungstenite::handshake::derive_accept_key;
use tungstenite::protocol::{Role, WebSocket, WebSocketConfig};
use tungstenite::{Error, Message};

use super::gate::PROTOCOL;
use super::http::{Refused, Request, Status, is_timeout};
use super::server::Shared;
use super::talk::{Talk, Turn};

/// Bytes of one message: far more than a block of the page has.
const MESSAGE_BYTES: usize = 256 * 1024;
/// How often the end of the server, and silence, are looked for.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// What a client does not read is kept up to here; then it is cut off.
const UNREAD_BYTES: usize = 4 * 1024 * 1024;

/// How long the end of the program waits for what is on its way: a page that captures sends without end.
const LAST_WORDS: Duration = Duration::from_millis(500);
/// A page says something every few seconds; one that is silent for so long has gone.
const SILENCE: Duration = Duration::from_secs(40);

/// Changes to the WebSocket and serves it until it ends. The gate has been passed.
pub(crate) fn serve(
    mut request: Request,
    stream: &mut TcpStream,
    shared: &Arc<Shared>,
) -> Result<(), Refused> {
    let mut socket = accept(&mut request, stream)?;
    let mut talk = shared.desk.open(&shared.bench).map_err(|_| Refused::Gone)?;
    talk.hello();
    let mut heard_at = Instant::now();
    let mut end_by = None;
    while send(&mut socket, &mut talk) {
        if shared.is_stopping() {
            // What is on its way is taken in, as long as it comes without a pause.
            let by = *end_by.get_or_insert_with(|| Instant::now() + LAST_WORDS);
            if Instant::now() > by {
                return end(&mut socket, &mut talk);
            }
        }
        match socket.read() {
            Ok(Message::Binary(bytes)) => talk.block(&bytes),
            Ok(Message::Text(text)) => {
                if let Turn::Resume(page) = talk.text(&text) {
                    talk = resume(talk, &page, shared);
                }
            }
            Ok(Message::Close(_)) => break,
            Ok(Message::Ping(_) | Message::Pong(_) | Message::Frame(_)) => {}
            Err(Error::Io(error)) if is_timeout(&error) => {
                if end_by.is_some() {
                    return end(&mut socket, &mut talk);
                }
                if heard_at.elapsed() > SILENCE {
                    break;
                }
                continue;
            }
            Err(_) => break,
        }
        heard_at = Instant::now();
    }
    // Said to nobody, and said again when the page is back.
    talk.take_out();
    let _ = socket.close(None);
    let _ = socket.flush();
    shared.desk.leave(talk);
    Ok(())
}

/// The program ends: the capture is finished, and the page hears of it.
fn end(socket: &mut WebSocket<TcpStream>, talk: &mut Talk) -> Result<(), Refused> {
    talk.closing();
    send(socket, talk);
    let _ = socket.close(None);
    let _ = socket.flush();
    Ok(())
}

/// Sends what is to be said; false when nobody is there.
fn send(socket: &mut WebSocket<TcpStream>, talk: &mut Talk) -> bool {
    for say in talk.take_out() {
        let Ok(text) = serde_json::to_string(&say) else {
            continue;
        };
        if socket.send(Message::text(text)).is_err() {
            return false;
        }
    }
    true
}

fn resume(blank: Talk, page: &str, shared: &Shared) -> Talk {
    match shared.desk.back(page) {
        Some(mut talk) => {
            talk.resumed();
            talk
        }
        None => {
            let mut blank = blank;
            blank.unknown();
            blank
        }
    }
}

fn accept(request: &mut Request, stream: &TcpStream) -> Result<WebSocket<TcpStream>, Refused> {
    let says = |name: &str, word: &str| {
        request.header(name).is_some_and(|value| {
            value
                .split(',')
                .any(|part| part.trim().eq_ignore_ascii_case(word))
        })
    };
    let asked = says("upgrade", "websocket")
        && says("connection", "upgrade")
        && request.header("sec-websocket-version") == Some("13");
    let key = request.header("sec-websocket-key").filter(|_| asked);
    let key = key.ok_or(Refused::With(
        Status::BadRequest,
        "a WebSocket is expected here",
    ))?;
    let head = format!(
        "HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
         Sec-WebSocket-Accept: {}\r\nSec-WebSocket-Protocol: {PROTOCOL}\r\n\r\n",
        derive_accept_key(key.as_bytes())
    );
    let mut own = stream.try_clone().map_err(|_| Refused::Gone)?;
    own.set_write_timeout(Some(Duration::from_secs(5)))
        .and_then(|()| own.write_all(head.as_bytes()))
        .and_then(|()| own.set_read_timeout(Some(LOOK_EVERY)))
        .map_err(|_| Refused::Gone)?;
    let limits = WebSocketConfig::default()
        .read_buffer_size(64 * 1024)
        .write_buffer_size(0)
        .max_write_buffer_size(UNREAD_BYTES)
        .max_message_size(Some(MESSAGE_BYTES))
        .max_frame_size(Some(MESSAGE_BYTES));
    Ok(WebSocket::from_partially_read(
        own,
        request.take_rest(),
        Role::Server,
        Some(limits),
    ))
}
