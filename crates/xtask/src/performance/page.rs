//! The page as text.

use super::Row;
use super::child::Cost;

const HEAD: &str = "\
| recording, 48 kHz mono 16-bit | length | processor time, s | times real time | peak memory, MB | against sox stat | \
against the usual way | the usual way's memory, MB |\n|---|---|---|---|---|---|---|---|\n";

pub(crate) fn page(arguments: &str, rows: &[Row], start: Cost) -> String {
    let table: String = rows.iter().map(row).collect();
    format!(
        "{}{HEAD}{table}\n{}{}",
        introduction(arguments),
        first_result(start),
        growth(rows)
    )
}

fn introduction(arguments: &str) -> String {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    format!(
        "# Performance\n\n\
         Made by `cargo run --release -p xtask -- performance{arguments}`; needs Linux, sox, and python3 with numpy. It builds \
         the command, writes the recordings, and runs three programs on each of them, one after the other, on a \
         machine of {cores} cores:\n\n\
         - `fingerstop check FILE --limits none --format json`;\n\
         - `sox FILE -n stat`: statistics of all samples, nothing else;\n\
         - the usual way, `tests/outside/usual_way.py`: state levels from a histogram and mid-reference crossings, in \
         numpy, the whole recording in memory. A dash: too long for it.\n\n\
         Processor time is user and system time of the whole command, start and reading included, the least of three \
         runs up to ten minutes. Times real time is length over processor time. A ratio above 1 says how many times \
         longer the other takes. How each content is made is in `crates/xtask/src/performance/content.rs`. Figures to \
         reach: 20 000 times real time when quiet, 2 000 times on the worst, 32 MB.\n\n"
    )
}

fn row(row: &Row) -> String {
    let seconds = 60.0 * row.minutes as f64;
    let ratio = |other: Cost| significant(other.cpu_s / row.ours.cpu_s);
    let dash = || "–".to_owned();
    format!(
        "| {} | {} | {:.3} | {:.0} | {:.1} | {} | {} | {} |\n",
        row.content.words(),
        length(row.minutes),
        row.ours.cpu_s,
        seconds / row.ours.cpu_s,
        row.ours.peak_mb,
        ratio(row.sox),
        row.usual_way.map_or_else(dash, ratio),
        row.usual_way
            .map_or_else(dash, |c| format!("{:.0}", c.peak_mb)),
    )
}

/// Two figures that say something, however small.
pub(crate) fn significant(ratio: f64) -> String {
    let places = (1.0 - ratio.log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{ratio:.places$}")
}

/// The sections of a page, each of which a command of its own measures, with the line end before them.
pub(crate) fn sections(page: &str) -> &str {
    page.find("\n## ").map_or("", |at| &page[at..])
}

/// A page with one of its sections, which begin with `## `, made anew; one that it lacks comes last.
pub(crate) fn with_section(page: &str, heading: &str, section: &str) -> String {
    let at = page.find(heading).unwrap_or(page.len());
    let (before, old) = page.split_at(at);
    let after = sections(old).trim_start();
    let between = if after.is_empty() { "" } else { "\n" };
    format!("{}\n\n{section}{between}{after}", before.trim_end())
}

fn length(minutes: usize) -> String {
    if minutes.is_multiple_of(60) {
        format!("{} h", minutes / 60)
    } else {
        format!("{minutes} min")
    }
}

fn first_result(start: Cost) -> String {
    format!(
        "Command start to the result of a recording of one digit (2.7 s): {:.1} ms on the clock, {:.1} ms of processor \
         time, the least of 20 runs; to reach: 10 ms.\n",
        1_000.0 * start.wall_s,
        1_000.0 * start.cpu_s
    )
}

/// Cost of a sample in the shortest and the longest quiet recording.
fn growth(rows: &[Row]) -> String {
    let quiet: Vec<&Row> = rows
        .iter()
        .filter(|r| r.content == super::Content::Quiet)
        .collect();
    let [first, .., last] = quiet.as_slice() else {
        return String::new();
    };
    let nanoseconds = |r: &Row| {
        1e9 * r.ours.cpu_s / (60.0 * r.minutes as f64 * f64::from(super::content::RATE_HZ))
    };
    format!(
        "\nProcessor time for each sample of a quiet recording: {:.2} ns in {} (start-up and dialling \
         weigh more in a short one), {:.2} ns in {}.\n",
        nanoseconds(first),
        length(first.minutes),
        nanoseconds(last),
        length(last.minutes)
    )
}

#[cfg(test)]
mod of_page {
    use super::*;

    fn cost(cpu_s: f64) -> Cost {
        Cost {
            cpu_s,
            wall_s: 0.009,
            peak_mb: 12.0,
        }
    }

    #[test]
    fn a_section_is_replaced_where_it_stands_or_added_at_the_end() {
        let page = "# P\n\nx\n\n## One\n\n1\n\n## Two\n\n2\n";
        assert_eq!(
            with_section(page, "## One", "## One\n\nnew\n"),
            "# P\n\nx\n\n## One\n\nnew\n\n## Two\n\n2\n"
        );
        assert_eq!(
            with_section(page, "## Two", "## Two\n\nnew\n"),
            "# P\n\nx\n\n## One\n\n1\n\n## Two\n\nnew\n"
        );
        assert_eq!(
            with_section("# P\n", "## One", "## One\n"),
            "# P\n\n## One\n"
        );
    }

    fn hour() -> Row {
        Row {
            content: super::super::Content::Quiet,
            minutes: 60,
            ours: cost(0.5),
            sox: cost(1.0),
            usual_way: None,
        }
    }

    #[test]
    fn the_sections_are_kept_when_the_page_is_made_anew() {
        let made = page("", &[hour()], cost(0.01));
        assert_eq!(sections(&made), "");
        let whole = with_section(&made, "## One", "## One\n\n1\n");
        let whole = with_section(&whole, "## Two", "## Two\n\n2\n");
        assert_eq!(made.clone() + sections(&whole), whole);
        assert!(whole.ends_with(".\n\n## One\n\n1\n\n## Two\n\n2\n"));
    }

    #[test]
    fn a_ratio_has_two_figures() {
        let shown = [0.0123, 0.5, 3.25, 218.0].map(significant);
        assert_eq!(shown, ["0.012", "0.50", "3.2", "218"]);
    }

    #[test]
    fn ratios_say_how_many_times_longer_the_other_takes() {
        let text = row(&hour());
        assert!(
            text.contains("| 1 h | 0.500 | 7200 | 12.0 | 2.0 | – | – |"),
            "{text}"
        );
    }
}
