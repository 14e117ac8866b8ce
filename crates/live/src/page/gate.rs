//! Who may talk to the page: the right host name, the right origin, the right token.
//!
//! A page of any site that is open in the same browser can send requests to this machine. It cannot choose the
//! `Origin` that the browser writes, it can reach us under a name of its own (which then stands in `Host`), and
//! it cannot know the token.

use std::fmt;
use std::net::SocketAddr;

use super::http::Request;

/// 128 random bits, in hexadecimal.
#[derive(Clone)]
pub(crate) struct Token(String);

impl fmt::Debug for Token {
    /// A token is printed once, where it belongs, and never by accident.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token")
    }
}

impl Token {
    /// A new one from the system's source of randomness.
    pub(crate) fn new() -> std::io::Result<Token> {
        let mut bytes = [0_u8; 16];
        getrandom::fill(&mut bytes).map_err(|error| std::io::Error::other(error.to_string()))?;
        Ok(Token(
            bytes.iter().map(|byte| format!("{byte:02x}")).collect(),
        ))
    }

    /// Compares in a time that does not tell how much was right.
    pub(crate) fn is(&self, given: &str) -> bool {
        let (own, given) = (self.0.as_bytes(), given.as_bytes());
        own.len() == given.len()
            && own
                .iter()
                .zip(given)
                .fold(0, |differs, (a, b)| differs | (a ^ b))
                == 0
    }

    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
}

/// The rules of one connection.
pub(crate) struct Gate {
    hosts: Vec<String>,
}

impl Gate {
    /// For a connection that came in at `local`: the address itself may be named, and `localhost` where that is meant.
    pub(crate) fn at(local: SocketAddr) -> Gate {
        let mut hosts = vec![local.to_string()];
        if local.ip().to_canonical().is_loopback() {
            hosts.push(format!("localhost:{}", local.port()));
        }
        if local.port() == 80 {
            let bare: Vec<String> = hosts
                .iter()
                .filter_map(|host| host.strip_suffix(":80"))
                .map(str::to_owned)
                .collect();
            hosts.extend(bare);
        }
        Gate { hosts }
    }

    /// The name under which we were reached is our own: no name that somebody else made point here.
    pub(crate) fn knows_host(&self, request: &Request) -> bool {
        request.header("host").is_some_and(|host| {
            self.hosts
                .iter()
                .any(|known| known.eq_ignore_ascii_case(host))
        })
    }

    /// The page that asks is ours. Browsers leave the origin out where a page is opened or its parts are fetched;
    /// where it `must` be sent, none is a refusal.
    pub(crate) fn knows_origin(&self, request: &Request, must: bool) -> bool {
        if !request.has("origin") {
            return !must;
        }
        let Some(origin) = request.header("origin") else {
            return false;
        };
        let host = request.header("host").unwrap_or_default();
        origin
            .strip_prefix("http://")
            .is_some_and(|from| from.eq_ignore_ascii_case(host))
            && self.knows_host(request)
    }
}

/// The token of a request other than a WebSocket's: `Authorization: Bearer TOKEN`.
pub(crate) fn bearer(request: &Request) -> Option<&str> {
    request.header("authorization")?.strip_prefix("Bearer ")
}

/// The sub-protocol of our WebSocket.
pub(crate) const PROTOCOL: &str = "fingerstop.bench.1";

/// The token of a WebSocket: a page cannot set headers for one, but may name sub-protocols. Ours comes first, the
/// token second.
pub(crate) fn socket_token(request: &Request) -> Option<&str> {
    let (protocol, token) = request.header("sec-websocket-protocol")?.split_once(',')?;
    (protocol.trim() == PROTOCOL).then_some(token.trim())
}
