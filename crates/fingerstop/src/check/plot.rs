//! The file of the timing plot.

use report::{Measured, Theme};
use score::Settings;

use super::args::{CheckArgs, ThemeName};
use crate::output::Output;
use crate::stop::{Exit, Stop};

/// A plot that is to be drawn, its file open.
pub(crate) struct PlotFile {
    output: Output,
    theme: Theme,
}

impl PlotFile {
    /// Opens the file of `--plot`, if there is one.
    pub(crate) fn open(args: &CheckArgs) -> Result<Option<PlotFile>, Stop> {
        let Some(path) = &args.plot else {
            return Ok(None);
        };
        let theme = match args.plot_theme {
            ThemeName::Auto => Theme::Auto,
            ThemeName::Light => Theme::Light,
            ThemeName::Dark => Theme::Dark,
        };
        Ok(Some(PlotFile {
            output: Output::open(Some(path), args.force)?,
            theme,
        }))
    }

    /// Draws the plot and finishes the file.
    pub(crate) fn write(
        mut self,
        input: &str,
        measured: &Measured,
        settings: &Settings,
    ) -> Result<(), Stop> {
        let svg = report::timing_plot(input, measured, settings, self.theme)
            .map_err(|error| Stop::Failed(error.to_string()))?;
        self.output.write(&svg, Exit::Good)?;
        self.output.commit()
    }
}
