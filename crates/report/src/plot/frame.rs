//! A panel with a straight scale each way.

use super::PlotError;
use super::ink::Ink;
use super::paper::{Align, Lettering, Paper};
use super::scale::{Scale, round_step, tick_label, ticks};

/// Where a panel lies on the page and what its edges stand for.
pub(super) struct Frame {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub x: Scale,
    pub y: Scale,
}

impl Frame {
    /// A panel from `left` to `right` and `top` to `bottom` for values from `xs.0` to `xs.1` and `ys.0` to `ys.1`.
    pub(super) fn new(
        (left, right): (f64, f64),
        (top, bottom): (f64, f64),
        xs: (f64, f64),
        ys: (f64, f64),
    ) -> Self {
        Frame {
            left,
            right,
            top,
            bottom,
            x: Scale::new(xs.0, xs.1, left, right),
            y: Scale::new(ys.0, ys.1, bottom, top),
        }
    }

    /// Where a value lies on the page.
    pub(super) fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x.place(x), self.y.place(y))
    }

    /// Horizontal lines at round values, labelled on the left.
    pub(super) fn levels(&self, paper: &Paper<'_>, count: f64) -> Result<(), PlotError> {
        levels(paper, &self.y, &[(self.left, self.right)], count)
    }

    /// The left edge.
    pub(super) fn up(&self, paper: &Paper<'_>) -> Result<(), PlotError> {
        let (foot, head) = ((self.left, self.bottom), (self.left, self.top));
        paper.line(foot, head, 0.8, Ink::Quiet)
    }

    /// The lower edge with ticks at multiples of `step` and the name of the scale.
    pub(super) fn across(&self, paper: &Paper<'_>, step: f64, name: &str) -> Result<(), PlotError> {
        paper.line(
            (self.left, self.bottom),
            (self.right, self.bottom),
            1.0,
            Ink::Quiet,
        )?;
        for value in ticks(self.x.low, self.x.upper, step) {
            let x = self.x.place(value);
            paper.line((x, self.bottom), (x, self.bottom + 4.0), 1.0, Ink::Quiet)?;
            let look = Lettering::new(11.0, Ink::Quiet).align(Align::Middle);
            paper.text(&tick_label(value, step), x, self.bottom + 16.0, look)?;
        }
        let look = Lettering::new(12.0, Ink::Text).align(Align::Middle);
        paper.text(
            name,
            (self.left + self.right) / 2.0,
            self.bottom + 31.0,
            look,
        )
    }

    /// The name above the panel.
    pub(super) fn name(&self, paper: &Paper<'_>, name: &str) -> Result<(), PlotError> {
        paper.text(
            name,
            self.left,
            self.top - 7.0,
            Lettering::new(12.0, Ink::Text).bold(),
        )
    }

    /// The allowed range between two limits, drawn behind the values.
    pub(super) fn band(
        &self,
        paper: &Paper<'_>,
        lower: Option<f64>,
        upper: Option<f64>,
    ) -> Result<(), PlotError> {
        if lower.or(upper).is_none() {
            return Ok(());
        }
        let top = upper
            .map_or(self.top, |limit| self.y.place(limit))
            .max(self.top);
        let bottom = lower
            .map_or(self.bottom, |limit| self.y.place(limit))
            .min(self.bottom);
        paper.block(self.left, top, self.right, bottom, Ink::Band)
    }

    /// The limits themselves, named on the right.
    pub(super) fn limits(
        &self,
        paper: &Paper<'_>,
        lower: Option<f64>,
        upper: Option<f64>,
    ) -> Result<(), PlotError> {
        for (word, limit) in [("max", upper), ("min", lower)] {
            let Some(limit) = limit else { continue };
            let y = self.y.place(limit);
            paper.dashes((self.left, y), (self.right, y), 1.4, Ink::Limit)?;
            let words = format!("{word} {}", crate::figure::plain(limit));
            let look = Lettering::new(11.0, Ink::Limit).bold();
            paper.text(&words, self.right + 6.0, y + 4.0, look)?;
        }
        Ok(())
    }
}

/// Horizontal lines at round values across `spans`, labelled on the left of the first.
pub(super) fn levels(
    paper: &Paper<'_>,
    scale: &Scale,
    spans: &[(f64, f64)],
    count: f64,
) -> Result<(), PlotError> {
    let step = round_step(scale.upper - scale.low, count);
    let left = spans.first().map_or(0.0, |span| span.0);
    for value in ticks(scale.low, scale.upper, step) {
        let y = scale.place(value);
        for &(from, to) in spans {
            paper.line((from, y), (to, y), 0.8, Ink::Grid)?;
        }
        let look = Lettering::new(11.0, Ink::Quiet).align(Align::Right);
        paper.text(&tick_label(value, step), left - 7.0, y + 4.0, look)?;
    }
    Ok(())
}
