//! One quantity pulse by pulse, with its limits and uncertainty.

use super::PlotError;
use super::frame::Frame;
use super::ink::Ink;
use super::paper::{Align, Lettering, Paper, text_width};
use super::rows::Row;
use super::scale::roomy;
use super::sheet::{Figure, Marker, Point, Series, SeriesInk};

/// Height of the name above a panel, in page units.
const TITLE_HEIGHT: f64 = 26.0;

/// Height of the line of means above the panel when there are several digits.
const MEANS_HEIGHT: f64 = 16.0;

/// Height of a panel without points.
const EMPTY_HEIGHT: f64 = 20.0;

/// Height that `figure` takes with a panel of `panel` page units.
pub(super) fn height(figure: &Figure, panel: f64, single: bool) -> f64 {
    let means = if single { 0.0 } else { MEANS_HEIGHT };
    TITLE_HEIGHT
        + if figure.is_empty() {
            EMPTY_HEIGHT
        } else {
            means + panel
        }
}

/// Points closer together than this get smaller marks.
const ROOMY: f64 = 18.0;

/// Draws `figure` for the digits of `row` from `top` on; gives the bottom.
pub(super) fn draw(
    paper: &Paper<'_>,
    figure: &Figure,
    row: &Row,
    top: f64,
    height: f64,
    page_right: f64,
    single: bool,
) -> Result<f64, PlotError> {
    let lower = top + self::height(figure, height, single);
    let upper = lower - height;
    let left = row.axis.stretches.first().map_or(0.0, |s| s.left);
    let right = row.axis.right().min(page_right).max(left);
    draw_name(paper, figure, left, top + TITLE_HEIGHT - 7.0)?;
    let Some(values) = values(figure) else {
        let look = Lettering::new(12.0, Ink::Quiet);
        paper.text(
            "not defined for a single pulse",
            left + 8.0,
            lower - 6.0,
            look,
        )?;
        return Ok(lower);
    };
    if single {
        name_means(paper, figure, row, right, top + TITLE_HEIGHT - 7.0)?;
    }
    // Places across the page are the row's own, folded where nothing happens.
    let frame = Frame::new((left, right), (upper, lower), (0.0, 1.0), values);
    for series in &figure.series {
        frame.band(paper, series.lower, series.upper)?;
    }
    frame.levels(paper, 4.0)?;
    frame.up(paper)?;
    for series in &figure.series {
        frame.limits(paper, series.lower, series.upper)?;
        draw_means(paper, series, row, &frame, single)?;
        draw_points(paper, figure, series, row, &frame)?;
    }
    Ok(lower)
}

fn draw_name(paper: &Paper<'_>, figure: &Figure, left: f64, y: f64) -> Result<(), PlotError> {
    let name = format!("{}, {}", figure.name, figure.unit);
    paper.text(&name, left, y, Lettering::new(12.0, Ink::Text).bold())?;
    if figure.series.len() < 2 {
        return Ok(());
    }
    let mut x = left + text_width(&name, 12.0) * 1.1 + 20.0;
    for series in &figure.series {
        mark(paper, series.marker, (x, y - 4.0), 3.6, ink_of(series))?;
        paper.text(series.name, x + 9.0, y, Lettering::new(12.0, Ink::Text))?;
        x += text_width(series.name, 12.0) + 30.0;
    }
    Ok(())
}

fn ink_of(series: &Series) -> Ink {
    match series.ink {
        SeriesInk::Speed => Ink::Speed,
        SeriesInk::Share => Ink::Share,
    }
}

/// Range that holds points, bars and limits; `None` when there is nothing to show.
fn values(figure: &Figure) -> Option<(f64, f64)> {
    if figure.is_empty() {
        return None;
    }
    let ranges = figure.series.iter().filter_map(Series::extremes);
    roomy(
        ranges.flat_map(|(least, greatest)| [least, greatest]),
        figure.least_span,
    )
}

/// Draws the mean of each digit as a bar across it. With several digits its value stands above the panel,
/// where there is room; that of a single digit stands beside the panel's name.
fn draw_means(
    paper: &Paper<'_>,
    series: &Series,
    row: &Row,
    frame: &Frame,
    single: bool,
) -> Result<(), PlotError> {
    let ink = ink_of(series);
    let mut written_to = f64::NEG_INFINITY;
    for index in row.digits.clone() {
        let (Some(Some(mean)), Some(points)) = (series.means.get(index), series.points.get(index))
        else {
            continue;
        };
        let places: Vec<f64> = points
            .iter()
            .filter_map(|p| row.axis.place(p.time_s))
            .collect();
        let (Some(first), Some(last)) = (places.first(), places.last()) else {
            continue;
        };
        let y = frame.y.place(mean.value);
        paper.line((first - 10.0, y), (last + 10.0, y), 1.6, ink)?;
        if single {
            continue;
        }
        let (middle, half) = ((first + last) / 2.0, text_width(&mean.label, 11.0) / 2.0);
        if middle - half > written_to {
            let look = Lettering::new(11.0, ink).align(Align::Middle);
            paper.text(&mean.label, middle, frame.top - 5.0, look)?;
            written_to = middle + half + 4.0;
        }
    }
    Ok(())
}

/// Writes the means of the only digit above the panel, right-aligned: there they meet neither mark nor edge,
/// however wide the viewer's face is.
fn name_means(
    paper: &Paper<'_>,
    figure: &Figure,
    row: &Row,
    right: f64,
    y: f64,
) -> Result<(), PlotError> {
    let mut x = right;
    for series in figure.series.iter().rev() {
        let Some(Some(mean)) = series.means.get(row.digits.start) else {
            continue;
        };
        let label = format!("mean {}", mean.label);
        let look = Lettering::new(12.0, ink_of(series))
            .align(Align::Right)
            .bold();
        paper.text(&label, x, y, look)?;
        x -= text_width(&label, 12.0) * 1.2 + 20.0;
    }
    Ok(())
}

fn draw_points(
    paper: &Paper<'_>,
    figure: &Figure,
    series: &Series,
    row: &Row,
    frame: &Frame,
) -> Result<(), PlotError> {
    for index in row.digits.clone() {
        let Some(points) = series.points.get(index) else {
            continue;
        };
        let places: Vec<_> = points
            .iter()
            .filter_map(|p| row.axis.place(p.time_s).map(|x| (x, p)))
            .collect();
        let crowded = places.windows(2).any(|pair| pair[1].0 - pair[0].0 < ROOMY);
        let radius = if crowded { 2.4 } else { 3.6 };
        for (place, (x, point)) in places.into_iter().enumerate() {
            let words = spot_words(figure, series, place, point);
            let reach = frame.bottom;
            paper.spot(x - 7.0, frame.top, x + 7.0, reach, &words);
            let y = frame.y.place(point.value);
            let half = point
                .u95
                .map_or(0.0, |u95| y - frame.y.place(point.value + u95));
            // A bar that the mark hides would only blur the mark.
            if half > radius {
                bar(paper, x, y - half, y + half, ink_of(series))?;
            }
            mark(paper, series.marker, (x, y), radius, ink_of(series))?;
        }
    }
    Ok(())
}

/// What is said of a point when it is pointed at.
fn spot_words(figure: &Figure, series: &Series, place: usize, point: &Point) -> String {
    let value = match point.u95 {
        Some(u95) => crate::figure::with_uncertainty(point.value, u95),
        None => format!("{:.3}", point.value),
    };
    let words = format!(
        "pulse {}: {} {value} {}",
        place + 1,
        series.name,
        figure.unit
    );
    words.replace("  ", " ")
}

/// An uncertainty bar from `top` to `bottom`.
pub(super) fn bar(
    paper: &Paper<'_>,
    x: f64,
    top: f64,
    bottom: f64,
    ink: Ink,
) -> Result<(), PlotError> {
    paper.line((x, top), (x, bottom), 1.2, ink)?;
    for y in [top, bottom] {
        paper.line((x - 3.0, y), (x + 3.0, y), 1.2, ink)?;
    }
    Ok(())
}

/// A point of a series.
pub(super) fn mark(
    paper: &Paper<'_>,
    marker: Marker,
    (x, y): (f64, f64),
    radius: f64,
    ink: Ink,
) -> Result<(), PlotError> {
    let r = radius;
    match marker {
        Marker::Disc => paper.disc((x, y), r, ink),
        Marker::Square => paper.block(x - r, y - r, x + r, y + r, ink),
        Marker::Triangle => paper.shape(
            &[(x - 1.2 * r, y + r), (x + 1.2 * r, y + r), (x, y - 1.2 * r)],
            ink,
        ),
        Marker::Diamond => paper.shape(
            &[
                (x - 1.3 * r, y),
                (x, y - 1.3 * r),
                (x + 1.3 * r, y),
                (x, y + 1.3 * r),
            ],
            ink,
        ),
        Marker::Cross => {
            paper.line((x - r, y - r), (x + r, y + r), 2.0, ink)?;
            paper.line((x - r, y + r), (x + r, y - r), 2.0, ink)
        }
    }
}
