//! The part of a recording that `--from` and `--to` name.

use edges::{Doubt, Edge, Trace, Train};
use recording::Facts;
use report::Unreadable;

/// Counts frames and lets those of the section through.
pub(crate) struct Section {
    channels: usize,
    rate_hz: f64,
    first: u64,
    end: Option<u64>,
    seen: u64,
    taken: u64,
}

impl Section {
    /// From `from_s` up to `to_s`, in seconds.
    pub(crate) fn new(from_s: Option<f64>, to_s: Option<f64>, facts: &Facts) -> Self {
        let frame = |time_s: f64| (time_s * facts.sample_rate_hz).round() as u64;
        Section {
            channels: usize::from(facts.channels),
            rate_hz: facts.sample_rate_hz,
            first: from_s.map_or(0, frame),
            end: to_s.map(frame),
            seen: 0,
            taken: 0,
        }
    }

    /// The frames of `block` that lie in the section.
    pub(crate) fn cut<'a, S>(&mut self, block: &'a [S]) -> &'a [S] {
        let frames = (block.len() / self.channels) as u64;
        let before = self.first.saturating_sub(self.seen).min(frames);
        let last = self
            .end
            .map_or(frames, |end| end.saturating_sub(self.seen).min(frames))
            .max(before);
        self.seen += frames;
        self.taken += last - before;
        &block[before as usize * self.channels..last as usize * self.channels]
    }

    /// True when nothing more lies in the section.
    pub(crate) fn is_over(&self) -> bool {
        self.end.is_some_and(|end| self.seen >= end)
    }

    /// Frames read so far.
    pub(crate) fn frames_seen(&self) -> u64 {
        self.seen
    }

    /// The frame of the file that [`Section::cut`] lets through next, if it lets any of the next block through.
    pub(crate) fn next_frame(&self) -> u64 {
        self.seen.max(self.first)
    }

    /// Frames let through.
    pub(crate) fn frames_taken(&self) -> u64 {
        self.taken
    }

    /// Time of the section's first frame, in seconds.
    pub(crate) fn start_s(&self) -> f64 {
        self.first as f64 / self.rate_hz
    }

    /// Refuses a section that lies behind the end of the recording.
    pub(crate) fn verify(&self) -> Result<(), Unreadable> {
        if self.taken > 0 {
            return Ok(());
        }
        let message = format!(
            "it ends at {:.2} s, before --from {:.2} s",
            self.seen as f64 / self.rate_hz,
            self.start_s()
        );
        Err(Unreadable {
            code: "empty-section".to_owned(),
            message,
        })
    }
}

/// `trace` with all its instants later by `start_s`, so that they count from the first sample of the file.
pub(crate) fn shifted(mut trace: Trace, start_s: f64) -> Trace {
    if start_s == 0.0 {
        return trace;
    }
    trace.overview.start_s += start_s;
    trace
        .trains
        .iter_mut()
        .for_each(|train| shift_train(train, start_s));
    trace
}

fn shift_train(train: &mut Train, start_s: f64) {
    for Edge {
        instant_s,
        half_step_s,
        ..
    } in &mut train.edges
    {
        *instant_s += start_s;
        *half_step_s += start_s;
    }
    for reversal in &mut train.reversals {
        reversal.start_s += start_s;
        reversal.end_s += start_s;
    }
    for step in &mut train.level_steps {
        step.instant_s += start_s;
    }
    for doubt in &mut train.doubts {
        match doubt {
            Doubt::Gap(at_s)
            | Doubt::WeakEdge(at_s)
            | Doubt::UnexplainedEdge(at_s)
            | Doubt::CutOff(at_s) => *at_s += start_s,
            Doubt::StartsInside
            | Doubt::EndsInside
            | Doubt::OtherCount(_)
            | Doubt::Irregular
            | Doubt::EdgeKind
            | Doubt::MayBeFlash => {}
        }
    }
    train.envelope.start_s += start_s;
    train.snippet.start_s += start_s;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn section(from_s: Option<f64>, to_s: Option<f64>) -> Section {
        let facts = Facts {
            sample_rate_hz: 10.0,
            channels: 2,
            encoding: String::new(),
            frames: None,
        };
        Section::new(from_s, to_s, &facts)
    }

    #[test]
    fn cuts_whole_frames_across_blocks() {
        let mut section = section(Some(0.2), Some(0.5));
        assert_eq!(section.next_frame(), 2);
        let block: Vec<f32> = (0..8).map(|sample| sample as f32).collect();
        assert_eq!(section.cut(&block), [4.0, 5.0, 6.0, 7.0]);
        assert!(!section.is_over());
        assert_eq!(section.next_frame(), 4);
        assert_eq!(section.cut(&block), [0.0, 1.0]);
        assert!(section.is_over());
        assert_eq!((section.frames_taken(), section.start_s()), (3, 0.2));
    }

    #[test]
    fn a_section_behind_the_end_is_refused() {
        let mut section = section(Some(9.0), None);
        assert!(section.cut(&[0.0; 8]).is_empty());
        assert_eq!(
            section.verify().map_err(|error| error.code),
            Err("empty-section".to_owned())
        );
    }
}
