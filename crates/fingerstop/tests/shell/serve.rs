//! `serve`: its address, its refusals and its end. What the page does is tested beside it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Command, Stdio};

use crate::session::Session;

#[test]
fn it_prints_its_address_serves_the_page_and_ends_with_an_interrupt() {
    let session = Session::new();
    let mut serving = session
        .command(&["serve", "--limits", "us-1956-later"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut printed = String::new();
    let mut stdout = BufReader::new(serving.stdout.take().unwrap());
    stdout.read_line(&mut printed).unwrap();
    let address = printed.trim().strip_prefix("http://").unwrap();
    let (host, token) = address.split_once("/#").unwrap();
    assert!(host.starts_with("127.0.0.1:"), "{host}");
    assert_eq!(token.len(), 32);

    let mut stream = TcpStream::connect(host).unwrap();
    write!(stream, "GET / HTTP/1.1\r\nHost: {host}\r\n\r\n").unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(
        answer.starts_with("HTTP/1.1 200 OK\r\n") && answer.contains("<title>Bench"),
        "{answer}"
    );

    let interrupted = Command::new("kill")
        .args(["-INT", &serving.id().to_string()])
        .status()
        .unwrap();
    assert!(interrupted.success());
    let ended = serving.wait().unwrap();
    let (mut rest, mut said) = (String::new(), String::new());
    stdout.read_to_string(&mut rest).unwrap();
    serving
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut said)
        .unwrap();
    assert_eq!(ended.code(), Some(0), "{said}");
    assert_eq!(rest, "");
    assert_eq!(
        said,
        "fingerstop: open this address in a browser on this computer; Ctrl-C ends\n"
    );
    assert!(session.files().is_empty());
    assert!(TcpStream::connect(host).is_err());
}

#[test]
fn what_cannot_be_served_is_said_in_one_line() {
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let session = Session::new();
    let cases: [(&[&str], i32, &str); 4] = [
        (
            &["serve", "--keep", "nowhere"],
            2,
            "--keep nowhere is no folder",
        ),
        (
            &["serve", "--port", &port],
            3,
            "another program listens there",
        ),
        (
            &["serve", "--address", "203.0.113.7"],
            3,
            "this computer has no such address",
        ),
        (
            &["serve", "--limits", "no-such-set"],
            2,
            "there is no limit set `no-such-set`",
        ),
    ];
    for (arguments, code, words) in cases {
        let ran = session.run(arguments);
        assert_eq!(ran.code, Some(code), "{arguments:?}: {}", ran.stderr);
        assert!(ran.stderr.contains(words), "{}", ran.stderr);
        assert_eq!(ran.stdout, "");
    }
}
