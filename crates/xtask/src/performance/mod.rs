//! The performance page: our command beside a well-known sound tool and beside the usual way in numpy, in one
//! run on the same files.

pub(crate) mod boxes;
mod child;
mod content;
pub(crate) mod live;
mod page;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use anyhow::{Context, ensure};

use child::{Cost, Measured};
use content::Content;

/// The script of the usual way, from the root of the workspace.
const USUAL_WAY: &str = "tests/outside/usual_way.py";
/// Longest recording for the usual way, which holds all of it in memory several times over.
const USUAL_WAY_MINUTES: usize = 60;
/// Runs of which the cheapest counts, for recordings up to this length.
const RUNS: usize = 3;
const RUNS_UP_TO_MINUTES: usize = 10;

/// How much to measure.
#[derive(clap::Args)]
pub(crate) struct Options {
    /// Lengths of the quiet recordings, in minutes
    #[arg(long, value_delimiter = ',', default_values_t = [1, 60, 600])]
    minutes: Vec<usize>,
    /// Lengths of the recordings of other content, in minutes: memory must not grow with what is heard
    #[arg(long, value_delimiter = ',', default_values_t = [2, 60])]
    worst_minutes: Vec<usize>,
    /// Folder for the recordings, which are removed again; ten hours are 3.5 GB
    #[arg(long)]
    folder: Option<PathBuf>,
    /// Write the page to this file
    #[arg(short, default_value = "docs/performance.md")]
    output: PathBuf,
}

impl Options {
    /// The arguments that decide what is measured, as they are typed.
    fn arguments(&self) -> String {
        let listed = |minutes: &[usize]| {
            let minutes: Vec<String> = minutes.iter().map(usize::to_string).collect();
            minutes.join(",")
        };
        format!(
            " --minutes {} --worst-minutes {}",
            listed(&self.minutes),
            listed(&self.worst_minutes)
        )
    }
}

/// One recording and what each of the three cost on it.
pub(crate) struct Row {
    pub(crate) content: Content,
    pub(crate) minutes: usize,
    pub(crate) ours: Cost,
    pub(crate) sox: Cost,
    /// `None`: too long for it.
    pub(crate) usual_way: Option<Cost>,
}

/// Measures everything and writes the page.
pub(crate) fn run(options: &Options) -> anyhow::Result<ExitCode> {
    ensure!(
        cfg!(target_os = "linux"),
        "peak memory is read from /proc, which only Linux has"
    );
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let tool = built(&root)?;
    let bench = Bench {
        tool,
        usual_way: root.join(USUAL_WAY).display().to_string(),
        folder: folder(options.folder.as_deref())?,
    };
    let quiet = options.minutes.iter().map(|m| (Content::Quiet, *m));
    let worst = Content::WORST.into_iter();
    let worst = worst.flat_map(|c| options.worst_minutes.iter().map(move |m| (c, *m)));
    let rows: Vec<Row> = quiet
        .chain(worst)
        .map(|(content, minutes)| bench.row(content, minutes))
        .collect::<Result<_, _>>()?;
    let start = bench.start()?;
    let page = page::page(&options.arguments(), &rows, start);
    let old = std::fs::read_to_string(&options.output).unwrap_or_default();
    let page = page + page::sections(&old);
    std::fs::write(&options.output, &page)
        .with_context(|| format!("cannot write {}", options.output.display()))?;
    print!("{page}");
    Ok(ExitCode::SUCCESS)
}

fn folder(wanted: Option<&Path>) -> anyhow::Result<tempfile::TempDir> {
    let folder = match wanted {
        Some(folder) => tempfile::tempdir_in(folder),
        None => tempfile::tempdir(),
    };
    folder.context("cannot make a folder for the recordings")
}

/// The command in its release form, built now, so that its figures are those of this state of the code.
fn built(root: &Path) -> anyhow::Result<String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["build", "--release", "--locked", "-p", "fingerstop"])
        .args(["--message-format", "json"])
        .current_dir(root)
        .stderr(std::process::Stdio::inherit())
        .output()
        .context("cannot start cargo: is the Rust toolchain on the PATH?")?;
    ensure!(output.status.success(), "fingerstop does not build");
    executable(&String::from_utf8_lossy(&output.stdout))
        .context("cargo does not say where it put fingerstop")
}

/// The path of the last program that cargo names.
fn executable(messages: &str) -> Option<String> {
    let of_line = |line: &str| {
        let message: serde_json::Value = serde_json::from_str(line).ok()?;
        Some(message.get("executable")?.as_str()?.to_owned())
    };
    messages.lines().rev().find_map(of_line)
}

struct Bench {
    tool: String,
    usual_way: String,
    folder: tempfile::TempDir,
}

impl Bench {
    fn row(&self, content: Content, minutes: usize) -> anyhow::Result<Row> {
        let path = self.folder.path().join("recording.wav");
        content.write(minutes, &path)?;
        let file = path.display().to_string();
        let runs = if minutes <= RUNS_UP_TO_MINUTES {
            RUNS
        } else {
            1
        };
        progress(&format!("{}, {minutes} min", content.words()));
        let row = Row {
            content,
            minutes,
            ours: self.check(&file, runs)?,
            sox: sox(&file, runs)?,
            usual_way: (minutes <= USUAL_WAY_MINUTES)
                .then(|| self.usual_way(&file, runs))
                .transpose()?,
        };
        std::fs::remove_file(&path).with_context(|| format!("cannot remove {file}"))?;
        Ok(row)
    }

    /// Measures without judging. A recording without dialling is no failure here: code 3 is left for what
    /// cannot be read.
    fn check(&self, file: &str, runs: usize) -> anyhow::Result<Cost> {
        let arguments = ["check", file, "--limits", "none", "--format", "json"];
        let measured = Measured {
            program: &self.tool,
            arguments: &arguments,
            good: &[0],
        };
        measured.least_of(runs)
    }

    fn usual_way(&self, file: &str, runs: usize) -> anyhow::Result<Cost> {
        let measured = Measured {
            program: "python3",
            arguments: &[&self.usual_way, file],
            good: &[0],
        };
        measured.least_of(runs)
    }

    /// From the start of the command to the result of one three-second recording of a digit.
    fn start(&self) -> anyhow::Result<Cost> {
        let path = self.folder.path().join("digit.wav");
        let rendered = synth::render(&synth::Scenario::default());
        synth::write_wav(&rendered, synth::Encoding::S16, &path)?;
        self.check(&path.display().to_string(), 20)
    }
}

/// The running statistics of a well-known sound tool: a pass over all samples and nothing else.
fn sox(file: &str, runs: usize) -> anyhow::Result<Cost> {
    let measured = Measured {
        program: "sox",
        arguments: &[file, "-n", "stat"],
        good: &[0],
    };
    measured
        .least_of(runs)
        .context("the comparison needs sox (Debian package sox)")
}

/// How far the work is, on standard error; that nobody listens is no reason to stop.
fn progress(text: &str) {
    use std::io::Write as _;
    let _ = writeln!(std::io::stderr(), "{text}");
}

#[cfg(test)]
mod of_performance {
    use super::*;

    #[test]
    fn the_program_is_where_cargo_says() {
        let messages = "{\"reason\":\"compiler-artifact\",\"executable\":null}\n\
            {\"reason\":\"compiler-artifact\",\"executable\":\"/a/fingerstop\"}\n\
            {\"reason\":\"build-finished\",\"success\":true}\n";
        assert_eq!(executable(messages).as_deref(), Some("/a/fingerstop"));
        assert_eq!(executable("nothing"), None);
    }
}
