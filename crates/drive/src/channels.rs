//! One detector a channel, in one pass; the channel with the dialling is taken.

use edges::{Detector, Trace, Train};
use recording::{Facts, Warning};
use report::Unreadable;

/// Which channel to measure.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Channel {
    /// The one with the dialling.
    #[default]
    Auto,
    /// This one, from 1.
    Number(u16),
}

/// Channels measured side by side at most: each keeps its own running state.
const CHANNELS_AT_MOST: u16 = 16;

/// Detectors of the channels to be looked at.
#[derive(Debug)]
pub struct Channels {
    stride: usize,
    detectors: Vec<(u16, Detector)>,
}

/// A sample in a form that detectors take.
pub trait Sample: Copy {
    /// Hands samples of one channel on.
    fn hand_on(samples: &[Self], detector: &mut Detector);
}

/// In full-scale units.
impl Sample for f32 {
    fn hand_on(samples: &[f32], detector: &mut Detector) {
        detector.push(samples);
    }
}

/// Of which 32 768 make full scale.
impl Sample for i16 {
    fn hand_on(samples: &[i16], detector: &mut Detector) {
        detector.push_words(samples);
    }
}

/// The channel that was taken.
#[derive(Debug)]
pub struct Taken {
    /// Its number, from 1.
    pub channel: u16,
    /// What was found in it.
    pub trace: Trace,
    /// What is to be said of the choice.
    pub notes: Vec<Warning>,
}

impl Channels {
    /// Detectors for the chosen channel of a recording, or for all.
    ///
    /// # Errors
    /// A channel that is not there, or too many of them to choose from.
    pub fn new(facts: &Facts, chosen: Channel) -> Result<Self, Unreadable> {
        Channels::of(facts, chosen, Detector::new)
    }

    /// The same where nothing will be drawn.
    ///
    /// # Errors
    /// As [`Channels::new`].
    pub fn not_drawn(facts: &Facts, chosen: Channel) -> Result<Self, Unreadable> {
        Channels::of(facts, chosen, |rate_hz| {
            Detector::new(rate_hz).without_drawings()
        })
    }

    /// The same for an input that may go on for hours: no trace around any train is kept.
    ///
    /// # Errors
    /// As [`Channels::new`].
    pub fn live(facts: &Facts, chosen: Channel) -> Result<Self, Unreadable> {
        Channels::of(facts, chosen, |rate_hz| {
            Detector::new(rate_hz).without_pictures()
        })
    }

    fn of(
        facts: &Facts,
        chosen: Channel,
        detector: impl Fn(f64) -> Detector,
    ) -> Result<Self, Unreadable> {
        let numbers = match chosen {
            Channel::Number(number) if number <= facts.channels => number..=number,
            Channel::Number(number) => return Err(no_such_channel(number, facts.channels)),
            Channel::Auto if facts.channels <= CHANNELS_AT_MOST => 1..=facts.channels,
            Channel::Auto => return Err(too_many(facts.channels)),
        };
        let detectors = numbers
            .map(|number| (number, detector(facts.sample_rate_hz)))
            .collect();
        Ok(Channels {
            stride: usize::from(facts.channels),
            detectors,
        })
    }

    /// Samples of a frame.
    pub fn stride(&self) -> usize {
        self.stride
    }

    /// Hands whole interleaved frames on, channel by channel.
    pub fn push<S: Sample>(&mut self, frames: &[S]) {
        let mut samples: Vec<S> = Vec::new();
        for (number, detector) in &mut self.detectors {
            if self.stride == 1 {
                S::hand_on(frames, detector);
                continue;
            }
            let first = usize::from(*number) - 1;
            samples.clear();
            samples.extend(frames.iter().skip(first).step_by(self.stride));
            S::hand_on(&samples, detector);
        }
    }

    /// Samples are missing before the next frames.
    pub fn gap(&mut self) {
        self.detectors
            .iter_mut()
            .for_each(|(_, detector)| detector.gap());
    }

    /// Trains found up to now, in all channels together: when it grows, [`Channels::so_far`] has news.
    #[must_use]
    pub fn trains_so_far(&self) -> usize {
        self.detectors
            .iter()
            .map(|(_, detector)| detector.trains().count())
            .sum()
    }

    /// What is known before the recording ends. Of equals, `prefer` is taken.
    #[must_use]
    pub fn so_far(&self, prefer: Option<u16>) -> Taken {
        let mut traces: Vec<(u16, Trace)> = self
            .detectors
            .iter()
            .map(|(number, detector)| (*number, detector.so_far()))
            .collect();
        let sure = |trace: &Trace| merit(trace).0;
        let most = traces.iter().map(|(_, trace)| sure(trace)).max();
        let kept = traces.iter().position(|(number, trace)| {
            Some(*number) == prefer && Some(sure(trace)) == most && !trace.trains.is_empty()
        });
        match kept {
            Some(index) => {
                let (channel, trace) = traces.swap_remove(index);
                let notes = Vec::new();
                Taken {
                    channel,
                    trace,
                    notes,
                }
            }
            None => take_best(traces),
        }
    }

    /// Ends the recording and takes the channel with the dialling.
    pub fn finish(self) -> Taken {
        let traces: Vec<(u16, Trace)> = self
            .detectors
            .into_iter()
            .map(|(number, detector)| (number, detector.finish()))
            .collect();
        take_best(traces)
    }
}

fn no_such_channel(number: u16, channels: u16) -> Unreadable {
    let has = if channels == 1 {
        "1 channel".to_owned()
    } else {
        format!("{channels} channels")
    };
    Unreadable {
        code: "no-such-channel".to_owned(),
        message: format!("it has {has}, so there is no channel {number}"),
    }
}

fn too_many(channels: u16) -> Unreadable {
    let message =
        format!("it has {channels} channels; name the one with the dialling by --channel N");
    Unreadable {
        code: "too-many-channels".to_owned(),
        message,
    }
}

/// How good the dialling in a trace is: most sure trains, then any sign of a dial, then the largest sum of
/// edge signal-to-noise.
fn merit(trace: &Trace) -> (usize, bool, f64) {
    let is_sure = |train: &&Train| train.doubts.is_empty();
    let sure = trace.trains.iter().filter(is_sure).count();
    let snr = trace
        .trains
        .iter()
        .flat_map(|train| &train.edges)
        .map(|edge| edge.snr)
        .sum();
    (sure, trace.heard_not_wired, snr)
}

/// The best channel; of equals, the first.
fn take_best(mut traces: Vec<(u16, Trace)>) -> Taken {
    let merits: Vec<_> = traces.iter().map(|(_, trace)| merit(trace)).collect();
    let better = |a: &(usize, bool, f64), b: &(usize, bool, f64)| {
        a.0.cmp(&b.0)
            .then(a.2.total_cmp(&b.2))
            .then(a.1.cmp(&b.1))
            .is_gt()
    };
    let best = (1..merits.len()).fold(0, |best, index| {
        if better(&merits[index], &merits[best]) {
            index
        } else {
            best
        }
    });
    let (channel, trace) = traces.swap_remove(best);
    let mut others: Vec<(u16, usize)> = traces
        .iter()
        .filter(|(_, other)| !is_copy(other, &trace))
        .map(|(number, trace)| (*number, merit(trace).0))
        .collect();
    others.sort_unstable();
    let notes = if trace.trains.is_empty() {
        Vec::new()
    } else {
        notes(channel, &others)
    };
    Taken {
        channel,
        trace,
        notes,
    }
}

/// True when both channels hold the same dialling at the same instants, to a sample: one input written to both.
/// Whichever is taken, the figures are the same, and there is nothing to say.
fn is_copy(one: &Trace, other: &Trace) -> bool {
    let edges = |trace: &Trace| -> Vec<(edges::Direction, f64)> {
        let edges = trace.trains.iter().flat_map(|train| &train.edges);
        edges.map(|edge| (edge.direction, edge.instant_s)).collect()
    };
    let (one_edges, other_edges) = (edges(one), edges(other));
    let sample_s = 1.0 / other.sample_rate_hz;
    one.trains.len() == other.trains.len()
        && one_edges.len() == other_edges.len()
        && one_edges
            .iter()
            .zip(&other_edges)
            .all(|(a, b)| a.0 == b.0 && (a.1 - b.1).abs() < sample_s)
}

/// Says which channel was taken and how many sure trains the others hold.
fn notes(channel: u16, others: &[(u16, usize)]) -> Vec<Warning> {
    let silent: Vec<String> = others
        .iter()
        .filter(|(_, trains)| *trains == 0)
        .map(|(number, _)| number.to_string())
        .collect();
    let mut notes = Vec::new();
    if !silent.is_empty() {
        let message = format!(
            "channel {channel} was taken; no sure dialling in channel {}",
            silent.join(", ")
        );
        notes.push(Warning {
            code: "channel-taken",
            message,
        });
    }
    for (number, _) in others.iter().filter(|(_, trains)| *trains > 0) {
        let message = format!(
            "channel {channel} was taken; channel {number} holds dialling too: --channel {number} measures it"
        );
        notes.push(Warning {
            code: "channel-also",
            message,
        });
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trace(trains: usize) -> Trace {
        let mut trace = Detector::new(8000.0).finish();
        let train = Train {
            edges: Vec::new(),
            reversals: Vec::new(),
            level_steps: Vec::new(),
            opening_common_s2: 0.0,
            closing_common_s2: 0.0,
            polarity: edges::Polarity::Normal,
            step: 1.0,
            noise_rms: 0.0,
            coupling_hz: None,
            spikes_only: false,
            hum: None,
            chatter_floor_s: 0.0,
            count_risk: 0.0,
            doubts: Vec::new(),
            envelope: edges::Envelope::default(),
            snippet: edges::Snippet::default(),
        };
        trace.trains = vec![train; trains];
        trace
    }

    #[test]
    fn the_channel_with_more_sure_trains_is_taken_and_the_other_named() {
        let taken = take_best(vec![(1, trace(0)), (2, trace(3)), (3, trace(1))]);
        assert_eq!((taken.channel, taken.trace.trains.len()), (2, 3));
        let codes: Vec<_> = taken.notes.iter().map(|note| note.code).collect();
        assert_eq!(codes, ["channel-taken", "channel-also"]);
    }

    #[test]
    fn only_edges_at_the_same_instants_make_a_copy() {
        let at = |instant_s: f64| {
            let mut trace = trace(1);
            trace.trains[0].edges.push(edges::Edge {
                direction: edges::Direction::Opening,
                instant_s,
                half_step_s: instant_s,
                variance_s2: 0.0,
                level_before: 1.0,
                level_after: 0.0,
                residual: 0.0,
                snr: 10.0,
            });
            trace
        };
        // A sample at 8 kHz is 0.125 ms.
        assert!(is_copy(&at(1.0), &at(1.0001)));
        assert!(!is_copy(&at(1.0), &at(1.0002)));
        assert!(!is_copy(&at(1.0), &trace(1)));
    }

    #[test]
    fn without_any_dialling_the_first_is_taken_in_silence() {
        let taken = take_best(vec![(1, trace(0)), (2, trace(0))]);
        assert_eq!((taken.channel, taken.notes.len()), (1, 0));
    }

    #[test]
    fn a_channel_that_is_not_there_is_refused() {
        let facts = Facts {
            sample_rate_hz: 8000.0,
            channels: 1,
            encoding: String::new(),
            frames: None,
        };
        let refused = Channels::new(&facts, Channel::Number(2))
            .map(|_| ())
            .map_err(|error| error.message);
        assert_eq!(
            refused,
            Err("it has 1 channel, so there is no channel 2".to_owned())
        );
    }
}
