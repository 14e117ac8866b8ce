//! Who gets in to the page, and how much they may send: asked over real sockets, as a hostile client would.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::io::{Read, Write};
use std::net::TcpStream;
use std::thread;
use std::time::{Duration, Instant};

use support::Served;

/// Opens a connection as any program on this machine can.
fn connect(served: &Served) -> TcpStream {
    let stream = TcpStream::connect(served.local).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    stream
}

/// Sends `request` with `HOST` and `TOKEN` filled in, and gives the whole answer.
fn ask(served: &Served, request: &str) -> String {
    let mut stream = connect(served);
    let request = request
        .replace("HOST", &served.local.to_string())
        .replace("TOKEN", &served.token);
    stream.write_all(request.as_bytes()).unwrap();
    answer(&mut stream)
}

fn answer(stream: &mut TcpStream) -> String {
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn status(answer: &str) -> u16 {
    answer
        .split_whitespace()
        .nth(1)
        .and_then(|code| code.parse().ok())
        .unwrap_or(0)
}

fn header<'a>(answer: &'a str, name: &str) -> Option<&'a str> {
    let (head, _) = answer.split_once("\r\n\r\n")?;
    head.lines().find_map(|line| {
        let (key, value) = line.split_once(": ")?;
        key.eq_ignore_ascii_case(name).then_some(value)
    })
}

const SOCKET: &str = "GET /live HTTP/1.1\r\nHost: HOST\r\nOrigin: http://HOST\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
    Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Protocol: fingerstop.bench.1, TOKEN\r\n\r\n";

const UPLOAD: &str = "POST /recordings HTTP/1.1\r\nHost: HOST\r\nOrigin: http://HOST\r\nAuthorization: Bearer TOKEN\r\nContent-Length: 0\r\n\r\n";

#[test]
fn the_page_and_its_parts_are_served_with_a_strict_policy() {
    let served = Served::new();
    let parts = [
        ("/", "text/html"),
        ("/bench.js", "text/javascript"),
        ("/page.js", "text/javascript"),
        ("/input.js", "text/javascript"),
        ("/figures.js", "text/javascript"),
        ("/reports.js", "text/javascript"),
        ("/drawing.js", "text/javascript"),
        ("/source.js", "text/javascript"),
        ("/capture.js", "text/javascript"),
        ("/bench.css", "text/css"),
        ("/icon.svg", "image/svg+xml"),
    ];
    for (target, kind) in parts {
        let answer = ask(
            &served,
            &format!("GET {target} HTTP/1.1\r\nHost: HOST\r\n\r\n"),
        );
        assert_eq!(status(&answer), 200, "{target}");
        assert!(
            header(&answer, "content-type").unwrap().starts_with(kind),
            "{target}"
        );
        let policy = header(&answer, "content-security-policy").unwrap();
        assert!(
            policy.starts_with("default-src 'none'; script-src 'self'; style-src 'self';"),
            "{policy}"
        );
        assert!(policy.contains("frame-ancestors 'none'"), "{policy}");
        assert!(
            !policy.contains("unsafe") && !policy.contains('*') && !policy.contains("https:"),
            "{policy}"
        );
        assert_eq!(header(&answer, "x-content-type-options"), Some("nosniff"));
        assert_eq!(header(&answer, "referrer-policy"), Some("no-referrer"));
        assert_eq!(header(&answer, "cache-control"), Some("no-store"));
    }
}

#[test]
fn nothing_of_the_page_comes_from_elsewhere_and_nothing_stands_inline() {
    let served = Served::new();
    for target in [
        "/",
        "/bench.js",
        "/page.js",
        "/input.js",
        "/figures.js",
        "/reports.js",
        "/drawing.js",
        "/source.js",
        "/capture.js",
        "/bench.css",
        "/icon.svg",
    ] {
        let answer = ask(
            &served,
            &format!("GET {target} HTTP/1.1\r\nHost: HOST\r\n\r\n"),
        );
        let (_, body) = answer.split_once("\r\n\r\n").unwrap();
        let body = body.replace("http://www.w3.org/2000/svg", "");
        assert!(
            !body.contains("http://") && !body.contains("https://") && !body.contains("//cdn"),
            "{target}"
        );
        assert!(
            !body.contains("innerHTML") && !body.contains("eval("),
            "{target}"
        );
        assert!(
            !body.contains(" onclick=") && !body.contains(" style=\""),
            "{target}"
        );
    }
}

#[test]
fn the_token_is_in_no_part_of_the_page() {
    let served = Served::new();
    let answer = ask(&served, "GET / HTTP/1.1\r\nHost: HOST\r\n\r\n");
    assert!(answer.len() > 1000 && !answer.contains(&served.token));
}

#[test]
fn a_name_that_others_made_point_here_is_refused() {
    let served = Served::new();
    let port = served.local.port();
    for host in [
        "dial.example".to_owned(),
        format!("dial.example:{port}"),
        format!("127.0.0.1.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("127.0.0.1:{}", port ^ 1),
        format!("0.0.0.0:{port}"),
        String::new(),
    ] {
        for request in ["GET / HTTP/1.1\r\nHost: X\r\n\r\n", SOCKET, UPLOAD] {
            let request = request
                .replace("Host: HOST", &format!("Host: {host}"))
                .replace("Host: X", &format!("Host: {host}"));
            assert_eq!(status(&ask(&served, &request)), 403, "{host}: {request}");
        }
    }
    assert_eq!(status(&ask(&served, "GET / HTTP/1.1\r\n\r\n")), 403);
    let twice = "GET / HTTP/1.1\r\nHost: HOST\r\nHost: HOST\r\n\r\n";
    assert_eq!(status(&ask(&served, twice)), 403);
    let local = format!("GET / HTTP/1.1\r\nHost: localhost:{port}\r\n\r\n");
    assert_eq!(status(&ask(&served, &local)), 200);
}

#[test]
fn only_the_address_that_was_called_is_a_name_of_ours() {
    let served = Served::at("127.0.0.2:0");
    let port = served.local.port();
    let get = |host: &str| {
        let request = format!("GET / HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n");
        status(&ask(&served, &request))
    };
    assert_eq!((get("127.0.0.2"), get("localhost")), (200, 200));
    assert_eq!(
        (get("127.0.0.1"), get("0.0.0.0"), get("dial.example")),
        (403, 403, 403)
    );
}

#[test]
fn another_page_in_the_same_browser_is_refused() {
    let served = Served::new();
    let port = served.local.port();
    for origin in [
        "http://dial.example".to_owned(),
        format!("https://127.0.0.1:{port}"),
        format!("http://127.0.0.1:{}", port ^ 1),
        // The same machine under another name is another page.
        format!("http://localhost:{port}"),
        "null".to_owned(),
        "http://".to_owned(),
    ] {
        for request in [SOCKET, UPLOAD] {
            let request = request.replace("Origin: http://HOST", &format!("Origin: {origin}"));
            assert_eq!(status(&ask(&served, &request)), 403, "{origin}");
        }
        let get = format!("GET / HTTP/1.1\r\nHost: HOST\r\nOrigin: {origin}\r\n\r\n");
        assert_eq!(status(&ask(&served, &get)), 403, "{origin}");
    }
    for request in [SOCKET, UPLOAD] {
        let without = request.replace("Origin: http://HOST\r\n", "");
        assert_eq!(status(&ask(&served, &without)), 403);
        let twice = request.replace(
            "Origin: http://HOST\r\n",
            "Origin: http://HOST\r\nOrigin: http://dial.example\r\n",
        );
        assert_eq!(status(&ask(&served, &twice)), 403);
    }
}

#[test]
fn without_the_token_nobody_captures_or_hands_anything_over() {
    let served = Served::new();
    let wrong = "0".repeat(32);
    let longer = format!("{}0", served.token);
    for given in ["", "0", &wrong, &longer, &served.token[..31]] {
        for request in [SOCKET, UPLOAD] {
            let answer = ask(&served, &request.replace("TOKEN", given));
            assert_eq!(status(&answer), 403, "{given}");
            assert!(answer.contains("token"), "{answer}");
        }
    }
    let alone = SOCKET.replace("fingerstop.bench.1, TOKEN", "TOKEN");
    assert_eq!(status(&ask(&served, &alone)), 403);
    let other = SOCKET.replace("fingerstop.bench.1", "something.else");
    assert_eq!(status(&ask(&served, &other)), 403);
    let query = SOCKET
        .replace("/live", "/live?token=TOKEN")
        .replace("fingerstop.bench.1, TOKEN", "");
    assert_eq!(status(&ask(&served, &query)), 404);
}

#[test]
fn two_pages_never_share_a_token() {
    let (one, other) = (Served::new(), Served::new());
    assert_ne!(one.token, other.token);
    assert_eq!(one.token.len(), 32);
    assert!(one.token.bytes().all(|byte| byte.is_ascii_hexdigit()));
}

#[test]
fn no_name_that_is_sent_is_a_path() {
    let served = Served::new();
    for target in [
        "/../Cargo.toml",
        "/..%2fCargo.toml",
        "/%2e%2e/%2e%2e/etc/passwd",
        "//etc/passwd",
        "/etc/passwd",
        "/reports/../../etc/passwd",
        "/reports/%2e%2e%2f%2e%2e%2fetc%2fpasswd",
        "/reports//etc/passwd",
        "/reports/",
        "/bench.js/../../Cargo.toml",
        "/./bench.js",
        "/bench.html",
        "C:\\Windows\\win.ini",
        "file:///etc/passwd",
        "*",
    ] {
        let answer = ask(
            &served,
            &format!("GET {target} HTTP/1.1\r\nHost: HOST\r\n\r\n"),
        );
        assert!(matches!(status(&answer), 400 | 404), "{target}: {answer}");
        assert!(
            !answer.contains("root:") && !answer.contains("[package]"),
            "{target}"
        );
    }
}

#[test]
fn only_what_the_page_needs_is_understood() {
    let served = Served::new();
    for method in ["PUT", "DELETE", "HEAD", "OPTIONS", "TRACE", "PATCH"] {
        let request = format!("{method} / HTTP/1.1\r\nHost: HOST\r\nOrigin: http://HOST\r\n\r\n");
        assert_eq!(status(&ask(&served, &request)), 405, "{method}");
    }
    assert_eq!(
        status(&ask(&served, "GET / HTTP/1.0\r\nHost: HOST\r\n\r\n")),
        400
    );
    assert_eq!(status(&ask(&served, "hello\r\n\r\n")), 400);
    assert_eq!(status(&ask(&served, "\u{0}\u{1}\u{2}\r\n\r\n")), 400);
    let post = UPLOAD.replace("/recordings", "/elsewhere");
    assert_eq!(status(&ask(&served, &post)), 404);
    let plain = SOCKET.replace("Upgrade: websocket\r\n", "");
    assert_eq!(status(&ask(&served, &plain)), 400);
}

#[test]
fn headers_and_bodies_are_bounded() {
    let served = Served::new();
    let long = format!(
        "GET / HTTP/1.1\r\nHost: HOST\r\nX: {}\r\n\r\n",
        "a".repeat(20_000)
    );
    assert_eq!(status(&ask(&served, &long)), 431);
    let many = format!(
        "GET / HTTP/1.1\r\nHost: HOST\r\n{}\r\n",
        "X: a\r\n".repeat(100)
    );
    assert_eq!(status(&ask(&served, &many)), 431);
    // A body that is too large is refused by its announced length, before a byte of it is taken.
    let cases = [
        ("Content-Length: 268435457", 413),
        ("Content-Length: 99999999999999999999999999", 400),
        ("Content-Length: -1", 400),
        ("Content-Length: +1", 400),
        ("Content-Length: 1\r\nContent-Length: 1", 411),
        ("Transfer-Encoding: chunked", 411),
        ("X-Nothing: 1", 411),
    ];
    for (length, expected) in cases {
        let request = UPLOAD.replace("Content-Length: 0", length);
        assert_eq!(status(&ask(&served, &request)), expected, "{length}");
    }
    let more = format!("{}more than was announced", UPLOAD);
    assert_eq!(status(&ask(&served, &more)), 400);
}

#[test]
fn silent_clients_do_not_keep_others_out_for_long() {
    let served = Served::new();
    let silent: Vec<TcpStream> = (0..40).map(|_| connect(&served)).collect();
    // The places are taken for as long as a head may take, then free again.
    let until = Instant::now() + Duration::from_secs(9);
    loop {
        let answer = ask(&served, "GET / HTTP/1.1\r\nHost: HOST\r\n\r\n");
        if status(&answer) == 200 {
            break;
        }
        assert!(Instant::now() < until, "{answer}");
        thread::sleep(Duration::from_millis(100));
    }
    drop(silent);
}

#[test]
fn the_page_ends_when_it_is_told() {
    let mut served = Served::new();
    let local = served.local;
    let waiting = TcpStream::connect(local).unwrap();
    served.stop();
    drop(waiting);
    assert!(TcpStream::connect(local).is_err());
}
