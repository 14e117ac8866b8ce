//! What a timing plot shows, before it is drawn.

use edges::Envelope;

use super::ink::Ink;

/// A timing plot without its drawing.
#[derive(Clone, Debug)]
pub(crate) struct Sheet<'a> {
    /// What was measured: file, channel.
    pub title: String,
    /// Verdict on the whole.
    pub badge: Badge,
    /// The figures in one line.
    pub headline: String,
    /// Lines below the headline: limit set, caveats.
    pub notes: Vec<String>,
    /// The whole channel, drawn where no digit is.
    pub overview: &'a Envelope,
    /// Length of the recording, in seconds.
    pub duration_s: f64,
    /// Digits in time order.
    pub strips: Vec<Strip<'a>>,
    /// Figures drawn below the trace.
    pub figures: Vec<Figure>,
}

/// A verdict in words and in the way it is drawn.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Badge {
    pub word: String,
    pub tone: Tone,
}

/// How a verdict is drawn. Outline or filled tells sure words from conditional ones without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Tone {
    Pass,
    ConditionalPass,
    ConditionalFail,
    Fail,
    Undecided,
}

impl Tone {
    /// The verdict in words.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Tone::Pass => "pass",
            Tone::ConditionalPass => "conditional pass",
            Tone::ConditionalFail => "conditional fail",
            Tone::Fail => "fail",
            Tone::Undecided => "not judged",
        }
    }

    pub(super) fn ink(self) -> Ink {
        match self {
            Tone::Pass | Tone::ConditionalPass => Ink::Pass,
            Tone::Fail | Tone::ConditionalFail => Ink::Fail,
            Tone::Undecided => Ink::Undecided,
        }
    }

    pub(super) fn filled(self) -> bool {
        matches!(self, Tone::Pass | Tone::Fail)
    }
}

/// One digit: its trace, its label and its verdict.
#[derive(Clone, Debug)]
pub(crate) struct Strip<'a> {
    /// Opening and closing of each break, in seconds; never empty.
    pub breaks: Vec<(f64, f64)>,
    /// Instants of chatter and opening bounce, in seconds.
    pub chatter: Vec<f64>,
    /// Instants of off-normal steps, in seconds.
    pub steps: Vec<f64>,
    /// The trace around the digit.
    pub envelopes: Vec<&'a Envelope>,
    pub label: String,
    /// Verdict on the digit; `None` where nothing was judged.
    pub tone: Option<Tone>,
}

/// Shape of the points of a figure, so that grey prints tell them apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Marker {
    Disc,
    Square,
    Triangle,
    Diamond,
    Cross,
}

/// One measured quantity, pulse by pulse.
#[derive(Clone, Debug)]
pub(crate) struct Figure {
    pub name: &'static str,
    pub unit: &'static str,
    pub series: Vec<Series>,
    /// Smallest span of the scale, in `unit`: keeps ordinary scatter from looking like a fault.
    pub least_span: f64,
}

/// Points of one kind in a figure, with their limits.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    pub name: &'static str,
    pub marker: Marker,
    pub ink: SeriesInk,
    /// Points of each digit, in the order of [`Sheet::strips`].
    pub points: Vec<Vec<Point>>,
    /// Mean of each digit with its label, in the order of [`Sheet::strips`].
    pub means: Vec<Option<Mean>>,
    /// Lower and upper limit, in the unit of the figure.
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Colour of a series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum SeriesInk {
    Speed,
    Share,
}

/// A value with its 95 % uncertainty at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    pub time_s: f64,
    pub value: f64,
    pub u95: Option<f64>,
}

/// The mean of a digit, drawn as a bar across it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Mean {
    pub value: f64,
    pub label: String,
}

impl Strip<'_> {
    /// First opening and last closing, in seconds.
    pub(super) fn span(&self) -> Option<(f64, f64)> {
        Some((self.breaks.first()?.0, self.breaks.last()?.1))
    }
}

impl Figure {
    /// True when no digit has a point to show.
    pub(super) fn is_empty(&self) -> bool {
        self.series
            .iter()
            .all(|series| series.points.iter().all(Vec::is_empty))
    }
}

impl Series {
    /// Smallest and largest value to be drawn, limits and uncertainty bars included.
    pub(super) fn extremes(&self) -> Option<(f64, f64)> {
        let points = self.points.iter().flatten().flat_map(|p| {
            let bar = p.u95.unwrap_or(0.0);
            [p.value - bar, p.value + bar]
        });
        let means = self.means.iter().flatten().map(|m| m.value);
        let limits = [self.lower, self.upper].into_iter().flatten();
        points
            .chain(means)
            .chain(limits)
            .fold(None, |range, value| match range {
                None => Some((value, value)),
                Some((low, upper)) => Some((f64::min(low, value), f64::max(upper, value))),
            })
    }
}
