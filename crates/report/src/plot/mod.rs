//! The timing plot: the trace with breaks and makes marked, and below it pulsing speed and percent break
//! pulse by pulse against their limits.

mod figure_panel;
mod fold;
mod frame;
mod heading;
mod ink;
mod key;
pub(crate) mod overlay;
mod overview;
mod paper;
pub(crate) mod pulses;
pub(crate) mod raster;
mod rows;
mod scale;
pub(crate) mod sheet;
pub(crate) mod tag;
mod thin;
mod trace_panel;

pub use ink::Theme;
pub(crate) use overview::draw as overview;

use paper::Paper;
use rows::Row;
use sheet::Sheet;

/// A plot could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlotError(pub(crate) String);

impl std::fmt::Display for PlotError {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "cannot draw the plot: {}", self.0)
    }
}

impl std::error::Error for PlotError {}

/// Width of a plot in page units (pixels at 100 %): fits a browser window and a landscape page.
const WIDTH: f64 = 1180.0;
const LEFT: f64 = 58.0;
const RIGHT: f64 = WIDTH - 92.0;
const ROW_SPACE: f64 = 14.0;

/// Draws `sheet` as an SVG document.
pub(crate) fn draw(sheet: &Sheet<'_>, theme: Theme) -> Result<String, PlotError> {
    let (rows, left_out) = rows::arrange(&sheet.strips, sheet.duration_s, LEFT, RIGHT);
    let measures = Measures::new(sheet, rows.len());
    let heading = heading::height(sheet);
    let row_height = measures.row_height(sheet);
    let key_height = key::height(sheet, RIGHT - LEFT, left_out);
    let height = heading + rows.len() as f64 * row_height + key_height;
    let title = format!("{}: {}, {}", sheet.title, sheet.badge.word, sheet.headline);
    paper::sheet(WIDTH, height, theme, &title, |paper| {
        heading::draw(paper, sheet, WIDTH)?;
        for (index, row) in rows.iter().enumerate() {
            draw_row(
                paper,
                sheet,
                row,
                heading + index as f64 * row_height,
                &measures,
            )?;
        }
        key::draw(paper, sheet, (LEFT, RIGHT), height - key_height, left_out)
    })
}

/// Heights of the parts of a row, in page units.
struct Measures {
    trace: f64,
    figure: f64,
    single: bool,
}

impl Measures {
    fn new(sheet: &Sheet<'_>, rows: usize) -> Self {
        let single = sheet.strips.len() <= 1;
        match (single, rows) {
            (true, _) => Measures {
                trace: 210.0,
                figure: 128.0,
                single,
            },
            (false, 1) => Measures {
                trace: 170.0,
                figure: 128.0,
                single,
            },
            _ => Measures {
                trace: 110.0,
                figure: 84.0,
                single,
            },
        }
    }

    fn row_height(&self, sheet: &Sheet<'_>) -> f64 {
        let box_height = if self.single {
            0.0
        } else {
            trace_panel::LABEL_HEIGHT
        };
        box_height
            + trace_panel::TITLE_HEIGHT
            + self.trace
            + trace_panel::RIBBON_HEIGHT
            + sheet
                .figures
                .iter()
                .map(|f| figure_panel::height(f, self.figure, self.single))
                .sum::<f64>()
            + rows::TIME_HEIGHT
            + ROW_SPACE
    }
}

fn draw_row(
    paper: &Paper<'_>,
    sheet: &Sheet<'_>,
    row: &Row,
    top: f64,
    measures: &Measures,
) -> Result<(), PlotError> {
    let bottom = trace_panel::draw(paper, sheet, row, top, measures.trace, measures.single)?;
    let mut top = bottom;
    for figure in &sheet.figures {
        top = figure_panel::draw(
            paper,
            figure,
            row,
            top,
            measures.figure,
            RIGHT,
            measures.single,
        )?;
    }
    rows::draw_time_axis(paper, row, top, sheet.strips.len() == 1)
}

#[cfg(test)]
mod tests;
