//! As much of HTTP/1.1 (RFC 9112) as a page on this machine needs: one request a connection, every size and
//! every wait bounded.
//!
//! The small server libraries read a header of any length, start a thread for every connection and wait for a
//! silent client for ever; what is read here is bounded before it is read.

use std::io::{self, ErrorKind, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Bytes of request line and headers together.
const HEAD_BYTES: usize = 16 * 1024;
const HEADERS: usize = 64;
/// A client that has not said what it wants by then is sent away.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// Longest silence inside a body, and longest wait for a client that does not read.
const BODY_SILENCE: Duration = Duration::from_secs(10);

/// What a client asks for.
#[derive(Debug)]
pub(crate) struct Request {
    /// `GET`, `POST` and so on.
    pub(crate) method: String,
    /// The target as sent: never more than looked up in a list, never a path of the file system.
    pub(crate) target: String,
    headers: Vec<(String, String)>,
    /// What came after the head: the beginning of the body.
    rest: Vec<u8>,
}

/// Why a request was not understood.
#[derive(Debug)]
pub(crate) enum Refused {
    /// Answer with this status and these words.
    With(Status, &'static str),
    /// The client has gone or said nothing: no answer helps.
    Gone,
}

/// Statuses that are used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Status {
    Ok,
    BadRequest,
    Forbidden,
    NotFound,
    MethodNotAllowed,
    RequestTimeout,
    LengthRequired,
    ContentTooLarge,
    HeadersTooLarge,
    Unavailable,
}

impl Status {
    fn line(self) -> &'static str {
        match self {
            Status::Ok => "200 OK",
            Status::BadRequest => "400 Bad Request",
            Status::Forbidden => "403 Forbidden",
            Status::NotFound => "404 Not Found",
            Status::MethodNotAllowed => "405 Method Not Allowed",
            Status::RequestTimeout => "408 Request Timeout",
            Status::LengthRequired => "411 Length Required",
            Status::ContentTooLarge => "413 Content Too Large",
            Status::HeadersTooLarge => "431 Request Header Fields Too Large",
            Status::Unavailable => "503 Service Unavailable",
        }
    }
}

impl Request {
    /// Reads the head of a request.
    pub(crate) fn read(stream: &mut TcpStream) -> Result<Request, Refused> {
        let until = Instant::now() + HEAD_WITHIN;
        let mut bytes = Vec::new();
        let mut piece = [0; 2048];
        loop {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(Refused::With(
                    Status::RequestTimeout,
                    "the request took too long",
                ));
            }
            stream
                .set_read_timeout(Some(left))
                .map_err(|_| Refused::Gone)?;
            let read = match stream.read(&mut piece) {
                Ok(0) => return Err(Refused::Gone),
                Ok(read) => read,
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) if is_timeout(&error) => continue,
                Err(_) => return Err(Refused::Gone),
            };
            bytes.extend_from_slice(&piece[..read]);
            if let Some(request) = parse(&bytes)? {
                return Ok(request);
            }
            if bytes.len() > HEAD_BYTES {
                return Err(Refused::With(
                    Status::HeadersTooLarge,
                    "the headers are too long",
                ));
            }
        }
    }

    /// The value of a header that was sent exactly once.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let mut values = self
            .headers
            .iter()
            .filter(|(sent, _)| sent.eq_ignore_ascii_case(name));
        let (_, value) = values.next()?;
        values.next().is_none().then_some(value.as_str())
    }

    /// True if a header was sent at all, however often.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.headers
            .iter()
            .any(|(sent, _)| sent.eq_ignore_ascii_case(name))
    }

    /// What was read beyond the head.
    pub(crate) fn take_rest(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.rest)
    }

    /// Copies the body to `sink`. Its length must be known before and is at most `most` bytes.
    pub(crate) fn copy_body(
        &mut self,
        stream: &mut TcpStream,
        most: u64,
        sink: &mut impl Write,
    ) -> Result<u64, Refused> {
        let length = self.body_length(most)?;
        stream
            .set_read_timeout(Some(BODY_SILENCE))
            .map_err(|_| Refused::Gone)?;
        let rest = self.take_rest();
        if rest.len() as u64 > length {
            return Err(Refused::With(
                Status::BadRequest,
                "more was sent than announced",
            ));
        }
        let unwritable = |_| {
            Refused::With(
                Status::Unavailable,
                "there is no room to keep the recording",
            )
        };
        sink.write_all(&rest).map_err(unwritable)?;
        let mut missing = length - rest.len() as u64;
        let mut piece = vec![0; 64 * 1024];
        while missing > 0 {
            let want = missing.min(piece.len() as u64) as usize;
            let read = match stream.read(&mut piece[..want]) {
                Ok(0) => return Err(Refused::Gone),
                Ok(read) => read,
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) if is_timeout(&error) => {
                    return Err(Refused::With(
                        Status::RequestTimeout,
                        "the recording stopped coming",
                    ));
                }
                Err(_) => return Err(Refused::Gone),
            };
            sink.write_all(&piece[..read]).map_err(unwritable)?;
            missing -= read as u64;
        }
        Ok(length)
    }

    fn body_length(&self, most: u64) -> Result<u64, Refused> {
        if self.has("transfer-encoding") {
            return Err(Refused::With(
                Status::LengthRequired,
                "say the length beforehand",
            ));
        }
        let length = self.header("content-length").ok_or(Refused::With(
            Status::LengthRequired,
            "say the length beforehand",
        ))?;
        // RFC 9112 allows digits only; a plus sign is none.
        let digits = length.bytes().all(|byte| byte.is_ascii_digit());
        let length = length
            .parse::<u64>()
            .ok()
            .filter(|_| digits)
            .ok_or(Refused::With(Status::BadRequest, "the length is no number"))?;
        if length > most {
            return Err(Refused::With(
                Status::ContentTooLarge,
                "the recording is too large for this page; use `fingerstop check`",
            ));
        }
        Ok(length)
    }
}

pub(crate) fn is_timeout(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut)
}

fn parse(bytes: &[u8]) -> Result<Option<Request>, Refused> {
    let mut headers = [httparse::EMPTY_HEADER; HEADERS];
    let mut parsed = httparse::Request::new(&mut headers);
    let bad = Refused::With(Status::BadRequest, "the request is not HTTP/1.1");
    let length = match parsed.parse(bytes) {
        Ok(httparse::Status::Partial) => return Ok(None),
        Ok(httparse::Status::Complete(length)) if length <= HEAD_BYTES => length,
        Ok(httparse::Status::Complete(_)) | Err(httparse::Error::TooManyHeaders) => {
            return Err(Refused::With(
                Status::HeadersTooLarge,
                "the headers are too long",
            ));
        }
        Err(_) => return Err(bad),
    };
    let (Some(method), Some(target), Some(1)) = (parsed.method, parsed.path, parsed.version) else {
        return Err(bad);
    };
    let headers = parsed
        .headers
        .iter()
        .map(|header| {
            let value = std::str::from_utf8(header.value).ok()?;
            Some((header.name.to_owned(), value.to_owned()))
        })
        .collect::<Option<Vec<_>>>()
        .ok_or(bad)?;
    Ok(Some(Request {
        method: method.to_owned(),
        target: target.to_owned(),
        headers,
        rest: bytes[length..].to_vec(),
    }))
}

/// An answer with its kind and its policy.
pub(crate) struct Answer<'a> {
    pub(crate) status: Status,
    pub(crate) content_type: &'a str,
    pub(crate) policy: &'a str,
    pub(crate) body: &'a [u8],
}

/// What nothing but plain text needs.
pub(crate) const NOTHING_ALLOWED: &str =
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

impl<'a> Answer<'a> {
    /// A few words.
    pub(crate) fn text(status: Status, words: &'a str) -> Self {
        Answer {
            status,
            content_type: "text/plain; charset=utf-8",
            policy: NOTHING_ALLOWED,
            body: words.as_bytes(),
        }
    }

    /// Sends the answer and ends the connection.
    pub(crate) fn send(&self, stream: &mut TcpStream) {
        // A sandboxed page is a stranger by itself, and browsers refuse one that also asks for an opener of its own kind.
        let opener = if self.policy.contains("sandbox") {
            "unsafe-none"
        } else {
            "same-origin"
        };
        let head = format!(
            "HTTP/1.1 {}\r\nContent-Type: {}\r\nContent-Length: {}\r\nContent-Security-Policy: {}\r\n\
             X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nCache-Control: no-store\r\n\
             Cross-Origin-Opener-Policy: {opener}\r\nCross-Origin-Resource-Policy: same-origin\r\n\
             Permissions-Policy: microphone=(self), camera=(), geolocation=()\r\nConnection: close\r\n\r\n",
            self.status.line(),
            self.content_type,
            self.body.len(),
            self.policy,
        );
        // A client that went away loses nothing by an answer that fails.
        let _ = stream
            .set_write_timeout(Some(BODY_SILENCE))
            .and_then(|()| stream.write_all(head.as_bytes()))
            .and_then(|()| stream.write_all(self.body))
            .and_then(|()| stream.flush());
        hang_up(stream);
    }
}

/// Closes so that the answer arrives: a socket closed with unread bytes takes back what was sent.
fn hang_up(stream: &mut TcpStream) {
    let _ = stream.shutdown(std::net::Shutdown::Write);
    let _ = stream.set_read_timeout(Some(Duration::from_millis(200)));
    let until = Instant::now() + Duration::from_secs(1);
    let mut piece = [0; 4096];
    while Instant::now() < until && stream.read(&mut piece).is_ok_and(|read| read > 0) {}
}
