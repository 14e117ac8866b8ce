//! Reports that were made, each under a name that cannot be guessed.

use std::collections::VecDeque;
use std::io;
use std::net::TcpStream;
use std::sync::{Arc, Mutex};

use super::desk::lock;
use super::gate::Token;
use super::http::{Answer, Refused, Status};

/// Reports kept for looking at; an older one is made anew from the page.
const KEPT: usize = 8;

/// What a report may do: run the script it brought, and nothing else. It stands in a sandbox, as a stranger to the
/// page around it: whatever a recording's name could smuggle in reaches neither token nor socket.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; \
     base-uri 'none'; form-action 'none'; frame-ancestors 'self'; sandbox allow-scripts allow-modals";

/// The latest reports.
#[derive(Debug, Default)]
pub(crate) struct Reports(Mutex<VecDeque<(String, Arc<str>)>>);

impl Reports {
    /// Keeps a report, and gives the name under which it is found.
    pub(crate) fn keep(&self, page: String) -> io::Result<String> {
        let ticket = Token::new()?.as_str().to_owned();
        let mut reports = lock(&self.0);
        if reports.len() == KEPT {
            reports.pop_front();
        }
        reports.push_back((ticket.clone(), page.into()));
        Ok(ticket)
    }

    fn find(&self, ticket: &str) -> Option<Arc<str>> {
        let reports = lock(&self.0);
        let found = reports.iter().find(|(name, _)| name == ticket);
        found.map(|(_, page)| Arc::clone(page))
    }

    /// Sends the report of a ticket.
    pub(crate) fn send(&self, ticket: &str, stream: &mut TcpStream) -> Result<(), Refused> {
        let report = self.find(ticket).ok_or(Refused::With(
            Status::NotFound,
            "this report is no longer kept: make it again from the page",
        ))?;
        let answer = Answer {
            status: Status::Ok,
            content_type: "text/html; charset=utf-8",
            policy: POLICY,
            body: report.as_bytes(),
        };
        answer.send(stream);
        Ok(())
    }
}
