//! The server: a bounded number of connections, each through the gate, to what it asks for.

use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use super::assets::{self, Asset};
use super::desk::Desk;
use super::gate::{Gate, Token, bearer, socket_token};
use super::http::{Answer, Refused, Request, Status};
use super::{Bench, dropped, socket};

/// Connections at once; a browser opens six or so.
const CONNECTIONS: usize = 24;
/// Live pages at once.
const SOCKETS: usize = 4;
/// How long the end waits for what is being finished.
const FINISH_WITHIN: Duration = Duration::from_secs(10);

/// A bound page that is not served yet.
#[derive(Debug)]
pub struct Page {
    listener: TcpListener,
    local: SocketAddr,
    shared: Arc<Shared>,
}

/// What all connections share.
#[derive(Debug)]
pub(crate) struct Shared {
    token: Token,
    pub(crate) desk: Desk,
    pub(crate) bench: Bench,
    connections: AtomicUsize,
    sockets: AtomicUsize,
    stopping: AtomicBool,
}

/// Ends a served page from elsewhere, such as from the handler of an interrupt.
#[derive(Clone, Debug)]
pub struct Stopper {
    shared: Arc<Shared>,
    local: SocketAddr,
}

impl Stopper {
    /// Asks the page to end. What is being captured is finished first.
    pub fn stop(&self) {
        self.shared.stopping.store(true, Ordering::SeqCst);
        // The server waits for a connection, so it gets one.
        let _ = TcpStream::connect_timeout(&reachable(self.local), Duration::from_millis(500));
    }
}

/// The address under which this computer reaches what listens at `local`: who listens at all addresses has none of
/// his own.
fn reachable(local: SocketAddr) -> SocketAddr {
    let ip = match local.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    SocketAddr::new(ip, local.port())
}

impl Page {
    /// Binds `address`; port 0 takes any that is free.
    ///
    /// # Errors
    /// When the address cannot be bound or the system has no randomness for a token.
    pub fn bind(address: SocketAddr, bench: Bench) -> io::Result<Page> {
        let listener = TcpListener::bind(address)?;
        let local = listener.local_addr()?;
        let shared = Arc::new(Shared {
            token: Token::new()?,
            desk: Desk::default(),
            bench,
            connections: AtomicUsize::new(0),
            sockets: AtomicUsize::new(0),
            stopping: AtomicBool::new(false),
        });
        Ok(Page {
            listener,
            local,
            shared,
        })
    }

    /// Where it listens.
    #[must_use]
    pub fn local(&self) -> SocketAddr {
        self.local
    }

    /// The address to open in a browser, with the token. The token stands behind the `#`, so no browser sends it
    /// anywhere by itself.
    #[must_use]
    pub fn url(&self) -> String {
        format!(
            "http://{}/#{}",
            reachable(self.local),
            self.shared.token.as_str()
        )
    }

    /// What ends it.
    #[must_use]
    pub fn stopper(&self) -> Stopper {
        Stopper {
            shared: Arc::clone(&self.shared),
            local: self.local,
        }
    }

    /// Serves until it is stopped; then finishes what is being captured.
    pub fn serve(self) {
        for stream in self.listener.incoming() {
            if self.shared.is_stopping() {
                break;
            }
            let Ok(stream) = stream else {
                // Out of descriptors, most likely: waiting lets some connections end.
                thread::sleep(Duration::from_millis(50));
                continue;
            };
            let shared = Arc::clone(&self.shared);
            match Slot::take(&self.shared, |shared| &shared.connections, CONNECTIONS) {
                Some(slot) => {
                    // A thread that cannot be started drops the connection, which is all that can be done.
                    let _ = thread::Builder::new()
                        .name("page connection".to_owned())
                        .spawn(move || {
                            let _slot = slot;
                            attend(stream, &shared);
                        });
                }
                None => turn_away(stream),
            }
        }
        let until = Instant::now() + FINISH_WITHIN;
        while self.shared.connections.load(Ordering::SeqCst) > 0 && Instant::now() < until {
            thread::sleep(Duration::from_millis(10));
        }
        self.shared.desk.finish_all();
    }
}

impl Shared {
    pub(crate) fn is_stopping(&self) -> bool {
        self.stopping.load(Ordering::SeqCst)
    }
}

/// One of a bounded number, given back when dropped.
pub(crate) struct Slot {
    shared: Arc<Shared>,
    counter: fn(&Shared) -> &AtomicUsize,
}

impl Slot {
    fn take(
        shared: &Arc<Shared>,
        counter: fn(&Shared) -> &AtomicUsize,
        most: usize,
    ) -> Option<Slot> {
        let slot = Slot {
            shared: Arc::clone(shared),
            counter,
        };
        // One too many is given back at once, by the drop.
        (counter(shared).fetch_add(1, Ordering::SeqCst) < most).then_some(slot)
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        (self.counter)(&self.shared).fetch_sub(1, Ordering::SeqCst);
    }
}

fn turn_away(mut stream: TcpStream) {
    use std::io::Write;
    // Without waiting for anything: whoever floods us must not hold up the others.
    let _ = stream.set_write_timeout(Some(Duration::from_millis(20)));
    let _ = stream.write_all(
        b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\nConnection: close\r\n\r\n",
    );
}

fn attend(mut stream: TcpStream, shared: &Arc<Shared>) {
    let _ = stream.set_nodelay(true);
    let Ok(local) = stream.local_addr() else {
        return;
    };
    let outcome = Request::read(&mut stream)
        .and_then(|request| route(request, &Gate::at(local), &mut stream, shared));
    if let Err(Refused::With(status, words)) = outcome {
        Answer::text(status, words).send(&mut stream);
    }
}

fn forbidden(words: &'static str) -> Refused {
    Refused::With(Status::Forbidden, words)
}

fn route(
    request: Request,
    gate: &Gate,
    stream: &mut TcpStream,
    shared: &Arc<Shared>,
) -> Result<(), Refused> {
    if !gate.knows_host(&request) {
        return Err(forbidden(
            "this page answers only under the address that `fingerstop serve` printed",
        ));
    }
    let changes = request.method != "GET" || request.has("upgrade");
    if !gate.knows_origin(&request, changes) {
        return Err(forbidden("another page may not use this one"));
    }
    match (request.method.as_str(), request.target.as_str()) {
        ("GET", "/live") => live(request, stream, shared),
        ("POST", "/recordings") => {
            authorised(bearer(&request), shared)?;
            dropped::take(request, stream, shared)
        }
        ("GET", target) => {
            if let Some(ticket) = target.strip_prefix("/reports/") {
                return shared.desk.reports.send(ticket, stream);
            }
            let host = request.header("host").unwrap_or_default();
            let asset = assets::find(target).ok_or(Refused::With(
                Status::NotFound,
                "there is nothing of that name here",
            ))?;
            send_asset(asset, host, stream);
            Ok(())
        }
        ("POST", _) => Err(Refused::With(
            Status::NotFound,
            "there is nothing of that name here",
        )),
        _ => Err(Refused::With(
            Status::MethodNotAllowed,
            "only GET and POST are understood",
        )),
    }
}

fn authorised(given: Option<&str>, shared: &Shared) -> Result<(), Refused> {
    match given {
        Some(given) if shared.token.is(given) => Ok(()),
        _ => Err(forbidden(
            "the token is missing or wrong: open the address that `fingerstop serve` printed",
        )),
    }
}

fn live(request: Request, stream: &mut TcpStream, shared: &Arc<Shared>) -> Result<(), Refused> {
    authorised(socket_token(&request), shared)?;
    let slot = Slot::take(shared, |shared| &shared.sockets, SOCKETS).ok_or(Refused::With(
        Status::Unavailable,
        "too many pages are open: close one",
    ))?;
    let outcome = socket::serve(request, stream, shared);
    drop(slot);
    outcome
}

/// The page's own policy: its own scripts and styles, its own socket, reports in a frame; nothing from elsewhere.
fn send_asset(asset: &Asset, host: &str, stream: &mut TcpStream) {
    // `host` has passed the gate, so it is an address and a port.
    let policy = format!(
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; worker-src 'self'; \
         connect-src 'self' ws://{host}; frame-src 'self'; base-uri 'none'; form-action 'none'; \
         frame-ancestors 'none'; require-trusted-types-for 'script'"
    );
    let answer = Answer {
        status: Status::Ok,
        content_type: asset.content_type,
        policy: &policy,
        body: asset.body,
    };
    answer.send(stream);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_listens_at_all_addresses_is_reached_at_this_computers_own() {
        let cases = [
            ("0.0.0.0:80", "127.0.0.1:80"),
            ("[::]:81", "[::1]:81"),
            ("127.0.0.1:82", "127.0.0.1:82"),
            ("192.0.2.7:83", "192.0.2.7:83"),
        ];
        for (local, expected) in cases {
            assert_eq!(reachable(local.parse().unwrap()).to_string(), expected);
        }
    }
}
