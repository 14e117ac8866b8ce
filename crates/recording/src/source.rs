//! Bytes in order, with a look ahead: all that a pipe can offer.

use std::io::{self, Read};

/// A reader that can be looked into before it is read.
pub(crate) struct ByteSource {
    inner: Box<dyn Read + Send>,
    ahead: Vec<u8>,
    taken: usize,
    position: u64,
}

impl ByteSource {
    pub(crate) fn new(inner: Box<dyn Read + Send>) -> ByteSource {
        ByteSource {
            inner,
            ahead: Vec::new(),
            taken: 0,
            position: 0,
        }
    }

    /// Bytes consumed so far.
    pub(crate) fn position(&self) -> u64 {
        self.position
    }

    /// The next `count` bytes without consuming them; fewer only at the end.
    pub(crate) fn peek(&mut self, count: usize) -> io::Result<&[u8]> {
        let held = self.ahead.len() - self.taken;
        if held < count {
            self.ahead.drain(..self.taken);
            self.taken = 0;
            let missing = (count - held) as u64;
            // `read_to_end` grows with what is there: a huge `count` alone allocates nothing.
            self.inner
                .by_ref()
                .take(missing)
                .read_to_end(&mut self.ahead)?;
        }
        let held = &self.ahead[self.taken..];
        Ok(&held[..held.len().min(count)])
    }

    /// Fills `buffer` and returns the count of bytes; fewer than its length only at the end.
    pub(crate) fn fill(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        fill(self, buffer)
    }

    /// The next `N` bytes, or `None` if the end comes first.
    pub(crate) fn array<const N: usize>(&mut self) -> io::Result<Option<[u8; N]>> {
        let mut bytes = [0; N];
        Ok((self.fill(&mut bytes)? == N).then_some(bytes))
    }

    /// Passes over `count` bytes; fewer at the end.
    pub(crate) fn skip(&mut self, count: u64) -> io::Result<()> {
        let mut left = count;
        let mut scrap = [0; 4096];
        while left > 0 {
            let step = left.min(scrap.len() as u64) as usize;
            if self.fill(&mut scrap[..step])? < step {
                break;
            }
            left -= step as u64;
        }
        Ok(())
    }
}

impl Read for ByteSource {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let held = &self.ahead[self.taken..];
        let count = if held.is_empty() {
            self.inner.read(buffer)?
        } else {
            let count = held.len().min(buffer.len());
            buffer[..count].copy_from_slice(&held[..count]);
            self.taken += count;
            count
        };
        self.position += count as u64;
        Ok(count)
    }
}

/// Fills `buffer` from `reader`, however small the pieces are that come; returns the count of bytes,
/// fewer than its length only at the end.
pub(crate) fn fill(reader: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < buffer.len() {
        match reader.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(count) => filled += count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}
