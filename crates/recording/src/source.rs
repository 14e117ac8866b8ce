//! Bytes in order, with a look ahead: all that a pipe can offer.

use std::io::{self, Read};

/// Most bytes that room is made for before they are seen to be there.
const ROOM: usize = 4096;

/// A reader that can be looked into before it is read.
pub(crate) struct ByteSource {
    inner: Box<dyn Read + Send>,
    ahead: Vec<u8>,
    taken: usize,
    position: u64,
}

impl ByteSource {
    pub(crate) fn new(inner: Box<dyn Read + Send>) -> ByteSource {
        ByteSource::after(Vec::new(), inner)
    }

    /// A source of which `head` was read already.
    pub(crate) fn after(head: Vec<u8>, inner: Box<dyn Read + Send>) -> ByteSource {
        ByteSource {
            inner,
            ahead: head,
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
            read_up_to(&mut self.inner, count - held, &mut self.ahead)?;
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

/// Appends the next `count` bytes of `reader` to `bytes`; fewer only at the end.
pub(crate) fn read_up_to(
    reader: &mut impl Read,
    count: usize,
    bytes: &mut Vec<u8>,
) -> io::Result<()> {
    // With room for them a few bytes come in one read; more grow with what is there, so that a huge `count` alone
    // allocates nothing.
    bytes.reserve(count.min(ROOM));
    reader.take(count as u64).read_to_end(bytes).map(drop)
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// Gives zeros, and counts how often it is asked.
    struct Counted {
        left: usize,
        reads: Arc<AtomicUsize>,
    }

    impl Read for Counted {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            self.reads.fetch_add(1, Ordering::Relaxed);
            let count = buffer.len().min(self.left);
            self.left -= count;
            Ok(count)
        }
    }

    fn peeked(there: usize, count: usize) -> (usize, usize) {
        let reads = Arc::new(AtomicUsize::new(0));
        let left = there;
        let reader = Counted {
            left,
            reads: reads.clone(),
        };
        let mut source = ByteSource::new(Box::new(reader));
        let seen = source.peek(count).unwrap().len();
        (seen, reads.load(Ordering::Relaxed))
    }

    /// Each read is a call into the system, and a box of dials holds many small files.
    #[test]
    fn a_look_ahead_takes_one_read() {
        assert_eq!(peeked(10_000, ROOM), (ROOM, 1));
        let (seen, reads) = peeked(100, ROOM);
        assert!(seen == 100 && reads <= 2, "{seen} bytes in {reads} reads");
    }

    #[test]
    fn what_was_read_already_comes_first() {
        let rest = &[3u8, 4, 5][..];
        let mut source = ByteSource::after(vec![1, 2], Box::new(rest));
        assert_eq!(source.peek(3).unwrap(), [1, 2, 3]);
        let mut bytes = [0; 8];
        assert_eq!(
            (source.fill(&mut bytes).unwrap(), source.position()),
            (5, 5)
        );
        assert_eq!(bytes[..5], [1, 2, 3, 4, 5]);
    }
}
