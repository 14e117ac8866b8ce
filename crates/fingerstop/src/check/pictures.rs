//! The files that show one recording: plot, report and tag.

use std::path::Path;

use report::{Measured, Record, Theme};

use super::args::{CheckArgs, PlotKind, ThemeName};
use super::settings::Chosen;
use crate::output::Output;
use crate::stop::{Exit, Stop};

const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Pictures that are to be made, their files open.
pub(crate) struct Pictures<'a> {
    args: &'a CheckArgs,
    plot: Option<Output>,
    html: Option<Output>,
    tag: Option<Output>,
}

impl<'a> Pictures<'a> {
    /// Opens every file that is asked for.
    pub(crate) fn open(args: &'a CheckArgs) -> Result<Self, Stop> {
        let open = |path: &Option<std::path::PathBuf>| {
            let path = path.as_deref();
            path.map(|path| Output::open(Some(path), args.force))
                .transpose()
        };
        Ok(Pictures {
            args,
            plot: open(&args.plot)?,
            html: open(&args.html)?,
            tag: open(&args.tag)?,
        })
    }

    /// Whether any is to be made.
    pub(crate) fn are_asked_for(&self) -> bool {
        self.plot.is_some() || self.html.is_some() || self.tag.is_some()
    }

    /// Makes the pictures of the only recording and finishes their files.
    pub(crate) fn draw(&mut self, record: &Record, chosen: &Chosen) -> Result<(), Stop> {
        let (args, settings) = (self.args, &chosen.settings);
        let dial = args.dial_id.as_deref();
        if let (Some(output), Ok(measured)) = (self.plot.take(), &record.outcome) {
            let svg = self.plotted(&record.input, measured, chosen)?;
            finish(output, args.plot.as_deref(), svg)?;
        }
        if let Some(output) = self.html.take() {
            let page = report::html_report(record, settings, dial, VERSION).map_err(failed)?;
            finish(output, None, page)?;
        }
        if let Some(output) = self.tag.take() {
            let svg = report::tag(record, settings, dial, args.tag_date.as_deref(), VERSION)
                .map_err(failed)?;
            finish(output, args.tag.as_deref(), svg)?;
        }
        Ok(())
    }

    fn plotted(&self, input: &str, measured: &Measured, chosen: &Chosen) -> Result<String, Stop> {
        let theme = match self.args.plot_theme {
            ThemeName::Auto => Theme::Auto,
            ThemeName::Light => Theme::Light,
            ThemeName::Dark => Theme::Dark,
        };
        let settings = &chosen.settings;
        match self.args.plot_kind {
            PlotKind::Timing => report::timing_plot(input, measured, settings, theme).map_err(failed),
            PlotKind::Overview => report::overview_plot(input, measured, settings, theme).map_err(failed),
            PlotKind::Overlay => report::overlay_plot(input, measured, theme).map_err(failed)?.ok_or_else(|| {
                Stop::Failed("cannot draw the plot: the recording holds no digit of two pulses or more to lay over one another".to_owned())
            }),
        }
    }
}

fn failed(error: report::PlotError) -> Stop {
    Stop::Failed(error.to_string())
}

/// Writes a document as it is, or in pixels where the file's name ends with png.
fn finish(mut output: Output, path: Option<&Path>, document: String) -> Result<(), Stop> {
    if path.is_some_and(is_png) {
        output.write_bytes(&report::png(&document).map_err(failed)?, Exit::Good)?;
    } else {
        output.write(&document, Exit::Good)?;
    }
    output.commit()
}

/// True where a file's name ends with png.
pub(crate) fn is_png(path: &Path) -> bool {
    path.extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("png"))
}
