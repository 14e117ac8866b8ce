//! A recording that was dropped on the page: measured as `check` measures a file.

use std::net::TcpStream;
use std::sync::Arc;

use drive::Options;
use report::{Record, verdict_words};
use score::{Settings, Verdict};
use serde::Serialize;

use super::http::{Answer, Refused, Request, Status};
use super::protocol::{Choice, shown};
use super::server::Shared;
use super::talk::chosen;

/// Bytes of a recording at most: three quarters of an hour of 48 kHz mono in 16 bits.
const MOST_BYTES: u64 = 256 * 1024 * 1024;

/// What the page is told.
#[derive(Serialize)]
struct Found {
    /// One line.
    words: String,
    /// It could not be read.
    failed: bool,
    /// The report.
    ticket: Option<String>,
    /// A name for the report, if it is to be kept.
    name: String,
}

/// Takes the recording in, measures it and makes its report. The gate has been passed.
pub(crate) fn take(
    mut request: Request,
    stream: &mut TcpStream,
    shared: &Arc<Shared>,
) -> Result<(), Refused> {
    // The name is shown and nothing else: the bytes go to a file whose name we make.
    let name = request.header("x-recording-name").and_then(percent_decoded);
    let name = shown(name.as_deref().unwrap_or("recording"));
    let (settings, dial_id) = settings(&request, shared)?;
    let no_room = |_| {
        Refused::With(
            Status::Unavailable,
            "there is no room to keep the recording while it is measured",
        )
    };
    // Some containers are looked into twice, so the bytes must lie somewhere; they are gone at the end.
    let mut file = tempfile::NamedTempFile::new().map_err(no_room)?;
    request.copy_body(stream, MOST_BYTES, &mut file)?;
    let options = Options {
        channel: shared.bench.channel,
        ..Options::default()
    };
    let record = drive::record(file.path(), &options, &settings, &mut |_, _| {});
    let record = Record {
        input: name.clone(),
        ..record
    };
    let found = found(&record, &name, &settings, dial_id.as_deref(), shared);
    let body = serde_json::to_vec(&found).unwrap_or_default();
    let answer = Answer {
        status: Status::Ok,
        content_type: "application/json",
        policy: super::http::NOTHING_ALLOWED,
        body: &body,
    };
    answer.send(stream);
    Ok(())
}

/// By what the page judges, sent with the recording.
fn settings(request: &Request, shared: &Shared) -> Result<(Settings, Option<String>), Refused> {
    let bench = &shared.bench;
    let Some(header) = request.header("x-measure") else {
        return Ok((bench.settings.clone(), bench.dial_id.clone()));
    };
    let bad = Refused::With(Status::BadRequest, "limits and plan are not understood");
    let choice: Option<Choice> =
        percent_decoded(header).and_then(|text| serde_json::from_str(&text).ok());
    let Some(choice) = choice else {
        return Err(bad);
    };
    let settings = chosen(bench, &bench.settings, &choice).map_err(|_| bad)?;
    let dial = shown(choice.dial_id.trim());
    Ok((settings, (!dial.is_empty()).then_some(dial)))
}

fn found(
    record: &Record,
    name: &str,
    settings: &Settings,
    dial_id: Option<&str>,
    shared: &Shared,
) -> Found {
    let page = report::html_report(record, settings, dial_id, &shared.bench.version);
    let ticket = page
        .ok()
        .and_then(|page| shared.desk.reports.keep(page).ok());
    let words = match &record.outcome {
        Err(unreadable) => format!("cannot read {name}: {}", unreadable.message),
        Ok(measured) if measured.scored.digits.is_empty() => {
            format!("{name}: no dialling was found")
        }
        Ok(measured) if measured.scored.verdict == Verdict::NotJudged => {
            format!("{name}: measured")
        }
        Ok(measured) => format!("{name}: {}", verdict_words(measured.scored.verdict)),
    };
    Found {
        words,
        failed: record.outcome.is_err(),
        ticket,
        name: format!("{}.html", stem(name)),
    }
}

/// The name without its ending, of letters that any file system takes.
fn stem(name: &str) -> String {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    stem.chars()
        .map(|c| {
            if c.is_alphanumeric() || "-_ ".contains(c) {
                c
            } else {
                '_'
            }
        })
        .collect()
}

/// Percent-encoded UTF-8 (RFC 3986), as JavaScript's `encodeURIComponent` writes it.
fn percent_decoded(text: &str) -> Option<String> {
    let mut bytes = text.bytes();
    let mut decoded = Vec::new();
    while let Some(byte) = bytes.next() {
        if byte != b'%' {
            decoded.push(byte);
            continue;
        }
        let digit = |byte: u8| char::from(byte).to_digit(16);
        let (high, low) = (digit(bytes.next()?)?, digit(bytes.next()?)?);
        decoded.push((16 * high + low) as u8);
    }
    String::from_utf8(decoded).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_decoded_as_the_page_encodes_them() {
        assert_eq!(
            percent_decoded("dial%20b.wav").as_deref(),
            Some("dial b.wav")
        );
        assert_eq!(percent_decoded("%C3%A9").as_deref(), Some("é"));
        for wrong in ["%", "%2", "%zz", "%ff"] {
            assert_eq!(percent_decoded(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_report_gets_a_harmless_name() {
        assert_eq!(stem("../../etc/passwd.wav"), "______etc_passwd");
        assert_eq!(stem("dial b-1.take.wav"), "dial b-1_take");
    }
}
