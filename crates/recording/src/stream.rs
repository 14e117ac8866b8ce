//! What every kind of file looks like from inside: facts, then blocks.

use crate::{Error, Facts, Gap, Warning};

/// Most gaps kept; a file with more is beyond use and its count is in the warning.
const MOST_GAPS: usize = 10_000;

/// Most samples that one gap is filled with, in all channels together: 16 MiB, or 87 s of 48 kHz
/// mono. A damaged time stamp must not make hours of silence.
pub(crate) const MOST_FILLED_SAMPLES: u64 = 4 << 20;

/// A file opened: what it says of itself and where its samples come from.
pub(crate) struct Opened {
    pub(crate) facts: Facts,
    pub(crate) extremes: Option<(f32, f32)>,
    pub(crate) stream: Box<dyn Stream>,
    pub(crate) notes: Notes,
}

/// A source of interleaved blocks.
pub(crate) trait Stream: Send {
    /// Appends the next whole frames to the empty `frames`; leaves it empty only at the end.
    fn next(&mut self, frames: &mut Vec<f32>, notes: &mut Notes) -> Result<(), Error>;

    /// Whether its samples are 16-bit integers, so that [`Stream::next_words`] gives them as such.
    fn has_words(&self) -> bool {
        false
    }

    /// Replaces the contents of `frames` by the next whole frames as 16-bit integers; by nothing where there are none.
    fn next_words(&mut self, frames: &mut Vec<i16>, _notes: &mut Notes) -> Result<(), Error> {
        frames.clear();
        Ok(())
    }
}

/// What goes wrong on the way.
#[derive(Debug, Default)]
pub(crate) struct Notes {
    pub(crate) warnings: Vec<Warning>,
    pub(crate) gaps: Vec<Gap>,
    tallies: Vec<Tally>,
}

/// A warning that counts.
#[derive(Debug)]
struct Tally {
    code: &'static str,
    /// The message, with `{}` for the count.
    template: &'static str,
    count: u64,
}

impl Notes {
    /// Adds a warning, or replaces the message of the one with the same code.
    pub(crate) fn warn(&mut self, code: &'static str, message: impl Into<String>) {
        let message = crate::error::one_line(&message.into());
        match self
            .warnings
            .iter_mut()
            .find(|warning| warning.code == code)
        {
            Some(warning) => warning.message = message,
            None => self.warnings.push(Warning { code, message }),
        }
    }

    /// Counts something that may happen often; `template` holds `{}` for the count.
    pub(crate) fn count(&mut self, code: &'static str, count: u64, template: &'static str) {
        match self
            .tallies
            .iter_mut()
            .find(|tally| tally.template == template)
        {
            Some(tally) => tally.count += count,
            None => self.tallies.push(Tally {
                code,
                template,
                count,
            }),
        }
    }

    /// Turns the counts so far into warnings.
    pub(crate) fn settle(&mut self) {
        for Tally {
            code,
            template,
            count,
        } in std::mem::take(&mut self.tallies)
        {
            self.warn(code, template.replacen("{}", &count.to_string(), 1));
            self.tallies.push(Tally {
                code,
                template,
                count,
            });
        }
    }

    /// Keeps the gaps that a file marks in itself.
    pub(crate) fn mark_gaps(&mut self, mut gaps: Vec<Gap>) {
        gaps.truncate(MOST_GAPS);
        if let Some(first) = gaps.first() {
            let places = match gaps.len() {
                1 => "1 place".to_owned(),
                more => format!("{more} places, the first"),
            };
            let message = format!(
                "samples are missing at {places} at frame {}, as the file itself marks",
                first.start_frame
            );
            self.warn("marked-gap", message);
        }
        self.gaps = gaps;
    }

    /// Keeps a gap, up to a bound; one that follows on the last is joined to it.
    pub(crate) fn gap(&mut self, gap: Gap) {
        if let Some(last) = self.gaps.last_mut()
            && last.frames > 0
            && (last.start_frame..=last.start_frame + last.frames).contains(&gap.start_frame)
        {
            let end = (last.start_frame + last.frames).max(gap.start_frame + gap.frames);
            last.frames = end - last.start_frame;
            return;
        }
        if self.gaps.len() < MOST_GAPS {
            self.gaps.push(gap);
        }
    }
}
