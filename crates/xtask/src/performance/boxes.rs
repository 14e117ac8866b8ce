//! A box of dials: what `batch` costs beside a well-known sound tool and the usual way on the same files, what its
//! contact sheet weighs, and what `compare` costs beside measuring both.

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use anyhow::{Context, ensure};
use clap::Args;

use super::child::{Cost, Measured};
use super::page::{significant, with_section};

/// The section of the page that is written here.
const HEADING: &str = "## A box of dials";

/// Recordings that differ; the others are further names of them.
const DIFFERENT: usize = 40;
/// Each recording is so long, in seconds, at this rate, in hertz.
const LENGTH_S: f64 = 3.0;
const RATE_HZ: f64 = 16_000.0;
/// Files that the sound tool is given in one go: it opens all of them before it begins, and many systems let a program
/// have no more than 1 024 files open.
const IN_ONE_GO: usize = 500;
/// Dials on the contact sheet.
const DIALS: usize = 500;
/// Runs of which the cheapest counts.
const RUNS: usize = 3;
const LIMITS: [&str; 2] = ["--limits", "us-1956-later"];

#[derive(Args)]
pub(crate) struct BoxOptions {
    /// Quiet recordings; a tenth as many with a digit
    #[arg(long, default_value_t = 10_000)]
    recordings: usize,

    /// Folder for the recordings, which are removed again
    #[arg(long)]
    folder: Option<PathBuf>,

    /// Page whose section is written
    #[arg(short, long, default_value = "docs/performance.md")]
    output: PathBuf,
}

/// What the same recordings cost each program.
struct Row {
    content: &'static str,
    recordings: usize,
    batch: Cost,
    sox: Cost,
    usual_way: Cost,
}

/// A contact sheet: what it adds, and what a browser makes of it.
struct Sheet {
    without: Cost,
    with: Cost,
    kilobytes: f64,
    opened_ms: f64,
}

/// A comparison with its page, and measuring both recordings.
struct Compared {
    compare: Cost,
    check: Cost,
}

/// Measures and writes the section.
pub(crate) fn run(options: &BoxOptions) -> anyhow::Result<ExitCode> {
    ensure!(
        cfg!(target_os = "linux"),
        "peak memory is read from /proc, which only Linux has"
    );
    ensure!(
        options.recordings >= 10 * DIFFERENT,
        "at least {} recordings: fewer say little",
        10 * DIFFERENT
    );
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folder = super::folder(options.folder.as_deref())?;
    let bench = Bench {
        tool: super::built(&root)?,
        usual_way: root.join(super::USUAL_WAY).display().to_string(),
        folder: folder.path().to_owned(),
    };
    let rows = [
        bench.row("quiet, 30 dB under the step", options.recordings, false)?,
        bench.row("one digit of ten pulses", options.recordings / 10, true)?,
    ];
    let section = section(options, &rows, &bench.sheet()?, &bench.compared()?);
    let page = std::fs::read_to_string(&options.output).unwrap_or_default();
    std::fs::write(&options.output, with_section(&page, HEADING, &section))
        .with_context(|| format!("cannot write {}", options.output.display()))?;
    print!("{section}");
    Ok(ExitCode::SUCCESS)
}

struct Bench {
    tool: String,
    usual_way: String,
    folder: PathBuf,
}

impl Bench {
    fn row(&self, content: &'static str, recordings: usize, dialled: bool) -> anyhow::Result<Row> {
        super::progress(&format!("{recordings} recordings: {content}"));
        let folder = self.folder.join(if dialled { "dialled" } else { "quiet" });
        let files = filled(&folder, recordings, dialled)?;
        let all = shown(&folder);
        let batch = [&["batch", all.as_str()], &LIMITS[..]].concat();
        Ok(Row {
            content,
            recordings,
            batch: self.ours(&batch, RUNS)?,
            sox: in_goes("sox", &files, &["-n", "stat"])
                .context("the comparison needs sox (Debian package sox)")?,
            usual_way: in_one_go(
                "python3",
                std::slice::from_ref(&self.usual_way),
                &files,
                &[],
            )
            .context("the comparison needs python3 with numpy")?,
        })
    }

    /// A recording without dialling is not judged, which is no failure here.
    fn ours(&self, arguments: &[&str], runs: usize) -> anyhow::Result<Cost> {
        let measured = Measured {
            program: &self.tool,
            arguments,
            good: &[0, 1, 3],
        };
        measured.least_of(runs)
    }

    fn sheet(&self) -> anyhow::Result<Sheet> {
        super::progress(&format!("a contact sheet of {DIALS} dials"));
        let folder = self.folder.join("dials");
        filled(&folder, DIALS, true)?;
        let page = self.folder.join("sheet.html");
        let (dials, sheet) = (shown(&folder), shown(&page));
        let batch = [&["batch", &dials, "--name", "{dial}-{take}"], &LIMITS[..]].concat();
        let with = [&batch[..], &["--html", &sheet, "--force"]].concat();
        Ok(Sheet {
            without: self.ours(&batch, RUNS)?,
            with: self.ours(&with, RUNS)?,
            kilobytes: 1e-3 * std::fs::metadata(&page)?.len() as f64,
            opened_ms: opened_ms(&page, &self.folder)?,
        })
    }

    fn compared(&self) -> anyhow::Result<Compared> {
        let file = |index| shown(&self.folder.join("dialled").join(name(index)));
        let (before, after) = (file(0), file(1));
        let page = shown(&self.folder.join("compare.html"));
        let check = [
            "check", &before, &after, "--limits", "none", "--format", "json",
        ];
        Ok(Compared {
            compare: self.ours(
                &["compare", &before, &after, "--html", &page, "--force"],
                RUNS,
            )?,
            check: self.ours(&check, RUNS)?,
        })
    }
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

fn name(index: usize) -> String {
    format!("{index:05}-1.wav")
}

/// A folder of so many recordings: those that differ, and further names of them. Their paths.
fn filled(folder: &Path, recordings: usize, dialled: bool) -> anyhow::Result<Vec<String>> {
    std::fs::create_dir(folder).with_context(|| format!("cannot make {}", shown(folder)))?;
    let mut files = Vec::new();
    for index in 0..recordings {
        let path = folder.join(name(index));
        if index < DIFFERENT {
            write(&path, index as u64, dialled)?;
        } else {
            std::fs::hard_link(folder.join(name(index % DIFFERENT)), &path)
                .with_context(|| format!("cannot give a recording the name {}", shown(&path)))?;
        }
        files.push(shown(&path));
    }
    Ok(files)
}

fn write(path: &Path, seed: u64, dialled: bool) -> anyhow::Result<()> {
    let mut scenario = synth::Scenario {
        seed,
        ..synth::Scenario::default()
    };
    scenario.recorder.sample_rate_hz = RATE_HZ;
    scenario.recorder.noise_db = Some(30.0);
    if dialled {
        // Ten periods but for the last make, whose end nothing marks.
        let digit_s = (9.0 + 0.01 * scenario.dial.percent_break) / scenario.dial.speed_pps;
        scenario.tail_s = LENGTH_S - scenario.lead_in_s - digit_s;
    } else {
        scenario.numbers.clear();
        scenario.lead_in_s = LENGTH_S;
        scenario.tail_s = 0.0;
    }
    let rendered = synth::render(&scenario);
    Ok(synth::write_wav(&rendered, synth::Encoding::S16, path)?)
}

const NOTHING: Cost = Cost {
    cpu_s: 0.0,
    wall_s: 0.0,
    peak_mb: 0.0,
};

/// One after the other.
fn together(a: Cost, b: Cost) -> Cost {
    Cost {
        cpu_s: a.cpu_s + b.cpu_s,
        wall_s: a.wall_s + b.wall_s,
        peak_mb: a.peak_mb.max(b.peak_mb),
    }
}

/// What a program takes for all of `files`, given to it so many at a time.
fn in_goes(program: &str, files: &[String], after: &[&str]) -> anyhow::Result<Cost> {
    let mut sum = NOTHING;
    for some in files.chunks(IN_ONE_GO) {
        sum = together(sum, in_one_go(program, &[], some, after)?);
    }
    Ok(sum)
}

fn in_one_go(
    program: &str,
    before: &[String],
    files: &[String],
    after: &[&str],
) -> anyhow::Result<Cost> {
    let arguments = before.iter().chain(files).map(String::as_str);
    let arguments: Vec<&str> = arguments.chain(after.iter().copied()).collect();
    let measured = Measured {
        program,
        arguments: &arguments,
        good: &[0],
    };
    measured.least_of(1)
}

/// What a page says of itself once it is loaded and laid out, in milliseconds since the browser began to open it.
const STAMP: &str = "<script>addEventListener('load', () => { document.body.offsetHeight; \
    document.body.dataset.opened = performance.now(); })</script>";

/// From opening a page to its being laid out, the median of five browsers without a window.
fn opened_ms(page: &Path, folder: &Path) -> anyhow::Result<f64> {
    let stamped = folder.join("stamped.html");
    let text = std::fs::read_to_string(page)?.replace("</body>", &format!("{STAMP}</body>"));
    std::fs::write(&stamped, text)?;
    let mut times: Vec<f64> = (0..5)
        .map(|index| opened_once_ms(&stamped, &folder.join(format!("profile-{index}"))))
        .collect::<Result<_, _>>()?;
    times.sort_by(f64::total_cmp);
    Ok(times[2])
}

fn opened_once_ms(page: &Path, profile: &Path) -> anyhow::Result<f64> {
    let output = Command::new("chromium")
        .args([
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
        ])
        .args([
            "--disable-background-networking",
            "--disable-component-update",
        ])
        .arg(format!("--user-data-dir={}", shown(profile)))
        .args(["--dump-dom".to_owned(), format!("file://{}", shown(page))])
        .output()
        .context("opening the contact sheet needs Chromium (Debian package chromium)")?;
    stamp(&String::from_utf8_lossy(&output.stdout)).context("the browser did not open the page")
}

fn stamp(dumped: &str) -> Option<f64> {
    let (_, from) = dumped.split_once("data-opened=\"")?;
    from.split_once('"')?.0.parse().ok()
}

fn section(options: &BoxOptions, rows: &[Row], sheet: &Sheet, compared: &Compared) -> String {
    let table: String = rows.iter().map(line).collect();
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    format!(
        "{HEADING}\n\n\
         Made by `cargo run --release -p xtask -- box --recordings {}`; needs Linux, sox, python3 with numpy, and Chromium. \
         Recordings of {LENGTH_S} s, 16 kHz mono 16-bit, {DIFFERENT} of them different and the rest further names of those \
         (hard links), so that they are read from memory and not from a disk. One run of each program on the same files, on \
         a machine of {cores} cores:\n\n\
         - `fingerstop batch FOLDER --limits us-1956-later`, the least of {RUNS} runs; it alone uses all cores;\n\
         - `sox FILES -n stat`, {IN_ONE_GO} files in one go;\n\
         - the usual way, `tests/outside/usual_way.py FILES`, all files in one go.\n\n\
         The last two columns say how many times longer the other takes, in processor time. To reach: 5 000 recordings a \
         second on two cores, which is 0.4 ms of processor time each.\n\n\
         | content | recordings | a second | processor time each, ms | peak memory, MB | against sox stat | against the usual \
         way |\n|---|---|---|---|---|---|---|\n{table}\n\
         {}\n{}",
        options.recordings,
        of_sheet(sheet),
        of_comparison(compared),
    )
}

fn line(row: &Row) -> String {
    let ratio = |other: Cost| significant(other.cpu_s / row.batch.cpu_s);
    format!(
        "| {} | {} | {:.0} | {:.3} | {:.1} | {} | {} |\n",
        row.content,
        row.recordings,
        row.recordings as f64 / row.batch.wall_s,
        1e3 * row.batch.cpu_s / row.recordings as f64,
        row.batch.peak_mb,
        ratio(row.sox),
        ratio(row.usual_way),
    )
}

fn of_sheet(sheet: &Sheet) -> String {
    format!(
        "A contact sheet of {DIALS} dials of one digit: {:.0} kB; measuring them takes {:.2} s of processor time with it and \
         {:.2} s without it; peak memory {:.1} MB. Chromium without a window has it laid out {:.0} ms after it began to open \
         it, the median of five.\n",
        sheet.kilobytes, sheet.with.cpu_s, sheet.without.cpu_s, sheet.with.peak_mb, sheet.opened_ms,
    )
}

fn of_comparison(compared: &Compared) -> String {
    format!(
        "`compare` of two recordings of one digit, its page with plots written: {:.1} ms of processor time, {} times that of \
         `check` of both; {:.1} MB.\n",
        1e3 * compared.compare.cpu_s,
        significant(compared.compare.cpu_s / compared.check.cpu_s),
        compared.compare.peak_mb,
    )
}

#[cfg(test)]
mod of_boxes {
    use super::*;

    #[test]
    fn a_row_holds_rates_and_ratios() {
        let cost = |cpu_s: f64, wall_s: f64| Cost {
            cpu_s,
            wall_s,
            peak_mb: 12.0,
        };
        let row = Row {
            content: "quiet",
            recordings: 1_000,
            batch: cost(0.4, 0.2),
            sox: cost(0.8, 0.8),
            usual_way: cost(4.0, 4.0),
        };
        let expected = "| quiet | 1000 | 5000 | 0.400 | 12.0 | 2.0 | 10 |\n";
        assert_eq!(line(&row), expected);
    }

    #[test]
    fn goes_one_after_the_other_add_their_times_and_not_their_memory() {
        let cost = |cpu_s: f64, peak_mb: f64| Cost {
            cpu_s,
            wall_s: 2.0 * cpu_s,
            peak_mb,
        };
        let sum = together(cost(1.0, 30.0), cost(2.5, 20.0));
        assert_eq!((sum.cpu_s, sum.wall_s, sum.peak_mb), (3.5, 7.0, 30.0));
    }

    /// Three seconds, whether something is dialled or not, and as many as asked for.
    #[test]
    fn recordings_are_three_seconds_long() {
        let folder = tempfile::tempdir().unwrap();
        for dialled in [false, true] {
            let files = filled(&folder.path().join(format!("{dialled}")), 41, dialled).unwrap();
            assert_eq!(files.len(), 41);
            for file in files {
                let samples = hound::WavReader::open(&file).unwrap().duration();
                assert!(samples.abs_diff(48_000) <= 16, "{samples}");
            }
        }
    }

    #[test]
    fn the_time_is_what_the_page_says() {
        assert_eq!(stamp("<body data-opened=\"123.5\">"), Some(123.5));
        assert_eq!(stamp("<body>"), None);
    }
}
