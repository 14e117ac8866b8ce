//! Lines of bounded length, whatever ends them.

use std::io::{self, Read};

use crate::source::ByteSource;

/// Longest line; a longer one is broken, so that a file without line ends needs no more memory.
const MOST_LINE_BYTES: usize = 64 * 1024;

const CHUNK_BYTES: usize = 64 * 1024;

/// Splits a source at line feeds and carriage returns. A pair of both makes an empty line between,
/// which means nothing here.
pub(crate) struct Lines {
    source: ByteSource,
    chunk: Vec<u8>,
    used: usize,
}

impl Lines {
    pub(crate) fn new(source: ByteSource) -> Lines {
        Lines {
            source,
            chunk: Vec::new(),
            used: 0,
        }
    }

    /// Replaces `line` by the next line without its end; `false` at the end of the file.
    pub(crate) fn next(&mut self, line: &mut Vec<u8>) -> io::Result<bool> {
        line.clear();
        loop {
            if self.used == self.chunk.len() && !self.refill()? {
                return Ok(!line.is_empty());
            }
            let rest = &self.chunk[self.used..];
            let room = (MOST_LINE_BYTES - line.len()).min(rest.len());
            let end = rest[..room].iter().position(|&byte| is_end(byte));
            line.extend_from_slice(&rest[..end.unwrap_or(room)]);
            self.used += end.map_or(room, |end| end + 1);
            if end.is_some() || line.len() == MOST_LINE_BYTES {
                return Ok(true);
            }
        }
    }

    fn refill(&mut self) -> io::Result<bool> {
        self.chunk.resize(CHUNK_BYTES, 0);
        self.used = 0;
        let count = loop {
            match self.source.read(&mut self.chunk) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                other => break other?,
            }
        };
        self.chunk.truncate(count);
        Ok(count > 0)
    }
}

/// The lines of a sample as [`Lines`] would give them; the last one is left out if the sample was
/// cut.
pub(crate) fn complete(sample: &[u8], cut: bool) -> Vec<&[u8]> {
    let mut lines: Vec<&[u8]> = sample
        .split(|&byte| is_end(byte))
        .flat_map(|line| {
            let whole_if_empty = std::iter::once(line).filter(|line| line.is_empty());
            whole_if_empty.chain(line.chunks(MOST_LINE_BYTES))
        })
        .collect();
    if cut || sample.last().is_some_and(|&byte| is_end(byte)) {
        lines.pop();
    }
    lines
}

fn is_end(byte: u8) -> bool {
    byte == b'\n' || byte == b'\r'
}
