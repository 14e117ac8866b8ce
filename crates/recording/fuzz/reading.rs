//! What must hold for every recording, whatever its bytes are.

use std::io::{self, Cursor, Read};

use recording::{OpenOptions, Recording};

/// Reading stops here: holes are filled up to a bound, and a few bytes can claim many samples.
const MOST_SAMPLES: usize = 2_000_000;

/// Samples by their bits, or the code of the refusal.
pub type Outcome = Result<Vec<u32>, &'static str>;

/// Hands out its bytes a few at a time.
struct Dribble {
    bytes: Cursor<Vec<u8>>,
    most: usize,
}

impl Read for Dribble {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let length = buffer.len().min(self.most);
        self.bytes.read(&mut buffer[..length])
    }
}

/// Reads bytes from a pipe that gives at most `most` of them at a time.
pub fn piped(bytes: &[u8], most: usize, options: &OpenOptions) -> Outcome {
    let bytes = Cursor::new(bytes.to_vec());
    read(Recording::from_reader(
        Box::new(Dribble { bytes, most }),
        "",
        options,
    ))
}

/// Reads to the end, and holds every block to its promise.
pub fn read(opened: Result<Recording, recording::Error>) -> Outcome {
    let mut recording = opened.map_err(|error| refusal(&error))?;
    let channels = usize::from(recording.facts().channels);
    assert!(channels > 0 && recording.facts().sample_rate_hz.is_finite());
    let (mut all, mut block) = (Vec::new(), Vec::new());
    while recording.next_block(&mut block).map_err(|e| refusal(&e))? {
        assert!(!block.is_empty() && block.len() % channels == 0);
        assert!(block.iter().all(|sample| sample.is_finite()));
        all.extend(block.iter().map(|sample| sample.to_bits()));
        if all.len() > MOST_SAMPLES {
            return Ok(all);
        }
    }
    assert!(block.is_empty());
    assert_eq!(recording.frames_read() as usize * channels, all.len());
    assert_eq!(recording.clipped().len(), channels);
    Ok(all)
}

/// A refusal is one line that says something.
fn refusal(error: &recording::Error) -> &'static str {
    let text = error.to_string();
    assert!(!text.is_empty() && !text.contains('\n'));
    error.code()
}
