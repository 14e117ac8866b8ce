//! A sheet to draw on: page units in, plotters' elements out.

use std::cell::RefCell;

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontStyle, FontTransform};

use super::PlotError;
use super::ink::{Ink, Theme, dark_style_sheet};

/// plotters' coordinates are whole numbers; ten of them to a page unit keep edges where they belong when
/// the plot is enlarged or printed.
const SUBUNITS: f64 = 10.0;

/// Family list for every text. Generic, since the viewer's machine decides.
const FONT: &str = "Helvetica, Arial, 'DejaVu Sans', sans-serif";

/// Which point of a text its position names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Align {
    Left,
    Middle,
    Right,
}

/// How a text looks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lettering {
    pub size: f64,
    pub bold: bool,
    pub ink: Ink,
    pub align: Align,
}

impl Lettering {
    pub(super) fn new(size: f64, ink: Ink) -> Self {
        Lettering {
            size,
            bold: false,
            ink,
            align: Align::Left,
        }
    }

    pub(super) fn bold(self) -> Self {
        Lettering { bold: true, ..self }
    }

    pub(super) fn align(self, align: Align) -> Self {
        Lettering { align, ..self }
    }
}

/// Width that `text` will take, in page units. An estimate for a sans-serif face, on the wide side: the
/// real face is not known until the plot is viewed.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    0.56 * size * text.chars().count() as f64
}

/// `text` cut to `width` page units, with an ellipsis where something was cut.
pub(super) fn fit(text: &str, size: f64, width: f64) -> String {
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let room = (width / (0.56 * size)).floor().max(1.0) as usize;
    text.chars().take(room - 1).chain(['…']).collect()
}

/// A sheet of `width` by `height` page units; a page unit is a pixel at 100 %.
pub(super) struct Paper<'a> {
    area: DrawingArea<SVGBackend<'a>, Shift>,
    theme: Theme,
    /// Places that say something when they are pointed at, as SVG.
    spots: RefCell<String>,
}

type Drawn = Result<(), PlotError>;

impl<'a> Paper<'a> {
    fn new(svg: &'a mut String, width: f64, height: f64, theme: Theme) -> Result<Self, PlotError> {
        let size = ((width * SUBUNITS) as u32, (height * SUBUNITS) as u32);
        let area = SVGBackend::with_string(svg, size).into_drawing_area();
        let paper = Paper {
            area,
            theme,
            spots: RefCell::default(),
        };
        paper.block(0.0, 0.0, width, height, Ink::Paper)?;
        Ok(paper)
    }

    /// Filled rectangle from corner to corner.
    pub(super) fn block(&self, left: f64, top: f64, right: f64, bottom: f64, ink: Ink) -> Drawn {
        let style = ink.colour(self.theme).filled();
        self.draw(&Rectangle::new([at(left, top), at(right, bottom)], style))
    }

    /// Outline of a rectangle.
    pub(super) fn frame(
        &self,
        left: f64,
        top: f64,
        right: f64,
        bottom: f64,
        width: f64,
        ink: Ink,
    ) -> Drawn {
        let corners = [
            (left, top),
            (right, top),
            (right, bottom),
            (left, bottom),
            (left, top),
        ];
        self.path(&corners, width, ink)
    }

    /// Straight line.
    pub(super) fn line(&self, from: (f64, f64), to: (f64, f64), width: f64, ink: Ink) -> Drawn {
        self.path(&[from, to], width, ink)
    }

    /// Line through all points.
    pub(super) fn path(&self, points: &[(f64, f64)], width: f64, ink: Ink) -> Drawn {
        let style = ink
            .colour(self.theme)
            .stroke_width((width * SUBUNITS) as u32);
        let points: Vec<_> = points.iter().map(|&(x, y)| at(x, y)).collect();
        self.draw(&PathElement::new(points, style))
    }

    /// Dashed straight line, horizontal or vertical.
    pub(super) fn dashes(&self, from: (f64, f64), to: (f64, f64), width: f64, ink: Ink) -> Drawn {
        let length = (to.0 - from.0).hypot(to.1 - from.1);
        let (dash, space) = (4.0, 3.0);
        let along = |s: f64| {
            let part = (s / length).min(1.0);
            (
                from.0 + part * (to.0 - from.0),
                from.1 + part * (to.1 - from.1),
            )
        };
        let count = (length / (dash + space)).ceil() as usize;
        (0..count).try_for_each(|index| {
            let start = index as f64 * (dash + space);
            self.line(along(start), along(start + dash), width, ink)
        })
    }

    /// Dashed line through all points. Steep strokes count for a quarter of their length: noise about a level would cut the
    /// dashes short.
    pub(super) fn dashed(&self, points: &[(f64, f64)], width: f64, ink: Ink) -> Drawn {
        let pieces = dashes_of(points);
        pieces
            .iter()
            .try_for_each(|piece| self.path(piece, width, ink))
    }

    /// Filled polygon.
    pub(super) fn shape(&self, points: &[(f64, f64)], ink: Ink) -> Drawn {
        let points: Vec<_> = points.iter().map(|&(x, y)| at(x, y)).collect();
        self.draw(&Polygon::new(points, ink.colour(self.theme).filled()))
    }

    /// Filled disc.
    pub(super) fn disc(&self, centre: (f64, f64), radius: f64, ink: Ink) -> Drawn {
        let style = ink.colour(self.theme).filled();
        self.draw(&Circle::new(
            at(centre.0, centre.1),
            (radius * SUBUNITS) as u32,
            style,
        ))
    }

    /// A place that shows `words` when it is pointed at. Not drawn: every figure stands elsewhere too.
    pub(super) fn spot(&self, left: f64, top: f64, right: f64, bottom: f64, words: &str) {
        let ((x, y), (x2, y2)) = (at(left, top), at(right, bottom));
        let spot = format!(
            "<rect class=\"spot\" x=\"{x}\" y=\"{y}\" width=\"{}\" height=\"{}\" fill=\"none\" \
             pointer-events=\"all\"><title>{}</title></rect>\n",
            (x2 - x).max(0),
            (y2 - y).max(0),
            escape(words)
        );
        self.spots.borrow_mut().push_str(&spot);
    }

    /// Text on the baseline `y`.
    pub(super) fn text(&self, text: &str, x: f64, y: f64, look: Lettering) -> Drawn {
        let anchor = match look.align {
            Align::Left => HPos::Left,
            Align::Middle => HPos::Center,
            Align::Right => HPos::Right,
        };
        // The backend puts `VPos::Bottom` half an x-height (about 0.26 em) above the position and
        // divides font sizes by 1.24.
        let y = y + 0.26 * look.size;
        let weight = if look.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        let colour = look.ink.colour(self.theme);
        let style = TextStyle::from((FONT, look.size * SUBUNITS * 1.24, weight).into_font())
            .color(&colour)
            .pos(Pos::new(anchor, VPos::Bottom))
            .transform(FontTransform::None);
        self.draw(&Text::new(text.to_owned(), at(x, y), style))
    }

    fn draw<E>(&self, element: &E) -> Drawn
    where
        for<'b> &'b E: plotters::element::PointCollection<'b, (i32, i32)>,
        E: plotters::element::Drawable<SVGBackend<'a>>,
    {
        self.area
            .draw(element)
            .map_err(|error| PlotError(error.to_string()))
    }
}

/// The dashes of a line through `points`.
fn dashes_of(points: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
    const DASH: f64 = 8.0;
    const CYCLE: f64 = 13.0;
    let mut pieces = Vec::new();
    let mut piece: Vec<(f64, f64)> = points.first().copied().into_iter().collect();
    let mut run = 0.0;
    for pair in points.windows(2) {
        let (across, down) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        let length = across.abs() + 0.25 * down.abs();
        let mut done = 0.0;
        while done < length {
            let inked = run < DASH;
            let (to_turn, to_end) = (if inked { DASH } else { CYCLE } - run, length - done);
            let turns = to_turn <= to_end;
            let step = to_turn.min(to_end);
            done = if turns { done + step } else { length };
            run = match (turns, inked) {
                (true, true) => DASH,
                (true, false) => 0.0,
                (false, _) => run + step,
            };
            let part = done / length;
            let here = (pair[0].0 + part * across, pair[0].1 + part * down);
            if inked || turns {
                piece.push(here);
            }
            if inked && turns {
                pieces.push(std::mem::take(&mut piece));
            }
        }
    }
    if piece.len() > 1 {
        pieces.push(piece);
    }
    pieces
}

fn at(x: f64, y: f64) -> (i32, i32) {
    ((x * SUBUNITS).round() as i32, (y * SUBUNITS).round() as i32)
}

/// A finished SVG document of `width` by `height` page units, drawn by `draw`.
pub(super) fn sheet(
    width: f64,
    height: f64,
    theme: Theme,
    title: &str,
    draw: impl FnOnce(&Paper<'_>) -> Drawn,
) -> Result<String, PlotError> {
    let mut svg = String::new();
    let spots = {
        let paper = Paper::new(&mut svg, width, height, theme)?;
        draw(&paper)?;
        paper
            .area
            .present()
            .map_err(|error| PlotError(error.to_string()))?;
        paper.spots.take()
    };
    Ok(finish(&svg, &spots, (width, height), theme, title))
}

/// Gives the document its size in page units, its title for screen readers, and the dark style sheet.
fn finish(
    svg: &str,
    spots: &str,
    (width, height): (f64, f64),
    theme: Theme,
    title: &str,
) -> String {
    let body = svg.split_once('>').map_or("", |(_, body)| body).trim();
    let body = body.strip_suffix("</svg>").unwrap_or(body);
    let (inner_width, inner_height) = (width * SUBUNITS, height * SUBUNITS);
    let style = if theme == Theme::Auto {
        dark_style_sheet()
    } else {
        String::new()
    };
    let title = escape(title);
    format!(
        "<svg width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {inner_width} {inner_height}\" \
         xmlns=\"http://www.w3.org/2000/svg\" role=\"img\">\n<title>{title}</title>\n{style}{body}{spots}</svg>\n"
    )
}

/// Text made safe for XML: reserved characters escaped, control characters (which XML 1.0 forbids)
/// replaced.
fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            control if control.is_control() => safe.push('\u{FFFD}'),
            other => safe.push(other),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 26 units across are two cycles of 8 inked and 5 blank; where the line is cut into strokes makes no difference, and 32
    /// down count as 8 across.
    #[test]
    fn dashes_follow_the_line_whatever_its_strokes() {
        let spans = |points: &[(f64, f64)]| -> Vec<((f64, f64), (f64, f64))> {
            let ends = |piece: Vec<(f64, f64)>| (piece[0], piece[piece.len() - 1]);
            dashes_of(points).into_iter().map(ends).collect()
        };
        let two = [((0.0, 1.0), (8.0, 1.0)), ((13.0, 1.0), (21.0, 1.0))];
        assert_eq!(spans(&[(0.0, 1.0), (26.0, 1.0)]), two);
        let strokes: Vec<(f64, f64)> = (0..=104)
            .map(|quarter| (f64::from(quarter) / 4.0, 1.0))
            .collect();
        assert_eq!(spans(&strokes), two);
        assert_eq!(
            spans(&[(0.0, 0.0), (0.0, 32.0), (9.0, 32.0)]),
            [((0.0, 0.0), (0.0, 32.0)), ((5.0, 32.0), (9.0, 32.0))]
        );
        assert_eq!(spans(&[(0.0, 0.0), (3.0, 0.0)]), [((0.0, 0.0), (3.0, 0.0))]);
        assert!(dashes_of(&[(1.0, 1.0)]).is_empty() && dashes_of(&[]).is_empty());
    }
}
