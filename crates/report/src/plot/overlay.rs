//! All pulses of a digit laid over one another: unevenness, chatter and slow makes are seen at a glance.

use super::frame::Frame;
use super::ink::{Ink, Theme};
use super::paper::{self, Lettering, Paper, fit, text_width};
use super::thin::thin;
use super::{PlotError, WIDTH};

const LEFT: f64 = 58.0;
const RIGHT: f64 = WIDTH - 30.0;
const WHOLE_TOP: f64 = 84.0;
const WHOLE_HEIGHT: f64 = 250.0;
const NEAR_HEIGHT: f64 = 200.0;
const SPACE: f64 = 74.0;

/// Time shown around a transition that is enlarged, in milliseconds: opening bounce and chatter end within 5 ms.
const NEAR_MS: (f64, f64) = (-2.5, 7.5);

/// One pulse of a digit.
#[derive(Clone, Debug)]
pub(crate) struct Lay {
    /// Level of the trace over time, in milliseconds from the first opening of this pulse.
    pub trace: Vec<(f64, f64)>,
    /// Length of the break, in milliseconds.
    pub break_ms: f64,
}

/// A digit whose pulses are laid over one another.
#[derive(Clone, Debug)]
pub(crate) struct OverlaySheet {
    pub title: String,
    /// What the digit is: its name and number of pulses.
    pub headline: String,
    /// Corner of the coupling that was put back into the levels, in hertz.
    pub undone_hz: Option<f64>,
    /// In time order; never empty.
    pub pulses: Vec<Lay>,
}

/// Draws `sheet` as an SVG document.
pub(crate) fn draw(sheet: &OverlaySheet, theme: Theme) -> Result<String, PlotError> {
    let near_top = WHOLE_TOP + WHOLE_HEIGHT + SPACE;
    let height = near_top + NEAR_HEIGHT + 44.0;
    let title = format!("{}: {}", sheet.title, sheet.headline);
    paper::sheet(WIDTH, height, theme, &title, |paper| {
        heading(paper, sheet)?;
        let levels = levels(sheet);
        let last = sheet
            .pulses
            .iter()
            .map(|pulse| pulse.break_ms)
            .fold(0.0, f64::max);
        let end = sheet
            .pulses
            .iter()
            .filter_map(|p| p.trace.last())
            .map(|at| at.0)
            .fold(last, f64::max);
        let whole = Frame::new(
            (LEFT, RIGHT),
            (WHOLE_TOP, WHOLE_TOP + WHOLE_HEIGHT),
            (-6.0, end),
            levels,
        );
        let undone = sheet
            .undone_hz
            .map(|hz| format!("; levels as before the coupling of {hz:.1} Hz"));
        let name = "Every pulse from the middle of its opening, full scale = 1";
        whole.name(paper, &format!("{name}{}", undone.unwrap_or_default()))?;
        panel(paper, sheet, &whole, |_| 0.0)?;
        whole.across(paper, 10.0, "time from the opening, ms")?;
        let middle = (LEFT + RIGHT) / 2.0;
        let span = (near_top, near_top + NEAR_HEIGHT);
        let opening = Frame::new((LEFT, middle - 30.0), span, NEAR_MS, levels);
        opening.name(paper, "The openings enlarged")?;
        panel(paper, sheet, &opening, |_| 0.0)?;
        opening.across(paper, 1.0, "time from the opening, ms")?;
        let closing = Frame::new((middle + 30.0, RIGHT), span, NEAR_MS, levels);
        closing.name(paper, "The closings enlarged, each from its own")?;
        panel(paper, sheet, &closing, |pulse| pulse.break_ms)?;
        closing.across(paper, 1.0, "time from the first closing, ms")
    })
}

fn heading(paper: &Paper<'_>, sheet: &OverlaySheet) -> Result<(), PlotError> {
    let room = WIDTH - 40.0;
    paper.text(
        &fit(&sheet.title, 13.0, room),
        20.0,
        22.0,
        Lettering::new(13.0, Ink::Quiet),
    )?;
    paper.text(
        &sheet.headline,
        20.0,
        46.0,
        Lettering::new(16.0, Ink::Text).bold(),
    )?;
    let mut x = WIDTH - 420.0;
    for (words, kind) in [
        ("first pulse", Kind::First),
        ("last pulse", Kind::Last),
        ("the others", Kind::Between),
    ] {
        kind.stroke(paper, &[(x, 42.0), (x + 34.0, 42.0)], kind.width() + 0.6)?;
        paper.text(words, x + 40.0, 46.0, Lettering::new(12.0, Ink::Text))?;
        x += 54.0 + text_width(words, 12.0);
    }
    Ok(())
}

/// First and last pulse stand out: a dial that slows, or changes, does so between them.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    First,
    Last,
    Between,
}

impl Kind {
    fn ink(self) -> Ink {
        match self {
            Kind::First => Ink::Speed,
            Kind::Last => Ink::Share,
            Kind::Between => Ink::Undecided,
        }
    }

    /// The last pulse is dashed: in grey its ink is that of the first.
    fn stroke(self, paper: &Paper<'_>, points: &[(f64, f64)], width: f64) -> Result<(), PlotError> {
        if self == Kind::Last {
            paper.dashed(points, width, self.ink())
        } else {
            paper.path(points, width, self.ink())
        }
    }

    fn width(self) -> f64 {
        if self == Kind::Between { 0.7 } else { 1.5 }
    }

    /// Page units that hold two points of the line at most.
    fn fineness(self) -> f64 {
        if self == Kind::Between { 3.0 } else { 1.5 }
    }
}

/// Smallest and largest level of all pulses, with a little room.
fn levels(sheet: &OverlaySheet) -> (f64, f64) {
    let all = sheet.pulses.iter().flat_map(|pulse| &pulse.trace);
    let (least, greatest) = all.fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, greatest), (_, level)| (least.min(*level), greatest.max(*level)),
    );
    if least >= greatest {
        return (-1.0, 1.0);
    }
    let room = 0.06 * (greatest - least);
    (least - room, greatest + room)
}

fn panel(
    paper: &Paper<'_>,
    sheet: &OverlaySheet,
    frame: &Frame,
    zero: impl Fn(&Lay) -> f64,
) -> Result<(), PlotError> {
    frame.levels(paper, 5.0)?;
    paper.dashes(
        (frame.x.place(0.0), frame.top),
        (frame.x.place(0.0), frame.bottom),
        1.0,
        Ink::Break,
    )?;
    let last = sheet.pulses.len() - 1;
    let kind = |index| match index {
        0 => Kind::First,
        index if index == last => Kind::Last,
        _ => Kind::Between,
    };
    // The two that stand out are drawn over the others.
    let mut order: Vec<usize> = (0..sheet.pulses.len()).collect();
    order.sort_by_key(|index| kind(*index) != Kind::Between);
    for index in order {
        let pulse = &sheet.pulses[index];
        trace(paper, pulse, frame, zero(pulse), kind(index))?;
        closing_tick(paper, pulse, frame, zero(pulse), kind(index))?;
    }
    Ok(())
}

fn trace(
    paper: &Paper<'_>,
    pulse: &Lay,
    frame: &Frame,
    zero: f64,
    kind: Kind,
) -> Result<(), PlotError> {
    let shown = pulse.trace.iter().map(|(ms, level)| (ms - zero, *level));
    let points: Vec<_> = shown
        .filter(|(ms, _)| (frame.x.low..=frame.x.upper).contains(ms))
        .map(|(ms, level)| frame.at(ms, level))
        .collect();
    if points.len() < 2 {
        return Ok(());
    }
    kind.stroke(paper, &thin(&points, kind.fineness()), kind.width())
}

/// A tick below the panel where the contact closed: the spread of the ticks is the unevenness of the breaks.
fn closing_tick(
    paper: &Paper<'_>,
    pulse: &Lay,
    frame: &Frame,
    zero: f64,
    kind: Kind,
) -> Result<(), PlotError> {
    let ms = pulse.break_ms - zero;
    if ms <= frame.x.low || ms >= frame.x.upper {
        return Ok(());
    }
    let x = frame.x.place(ms);
    paper.line(
        (x, frame.bottom - 12.0),
        (x, frame.bottom),
        kind.width() + 0.3,
        kind.ink(),
    )
}
