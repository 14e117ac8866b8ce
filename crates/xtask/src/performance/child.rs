//! What a command costs: time in the processor, time on the clock, peak memory.

use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context, ensure};
use nix::sys::resource::{UsageWho, getrusage};
use nix::sys::time::TimeValLike;

/// How often a running command is asked for its peak memory.
const ASKED_EVERY: Duration = Duration::from_millis(2);

/// What one run cost.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cost {
    /// Processor time, user and system, in seconds.
    pub(crate) cpu_s: f64,
    /// Time on the clock, in seconds.
    pub(crate) wall_s: f64,
    /// Largest resident size seen, in MB (10^6 bytes); what a command takes in its last 2 ms is not seen.
    pub(crate) peak_mb: f64,
}

impl Cost {
    /// The cheaper by processor time; memory is the larger.
    fn cheaper(self, other: Cost) -> Cost {
        Cost {
            cpu_s: self.cpu_s.min(other.cpu_s),
            wall_s: self.wall_s.min(other.wall_s),
            peak_mb: self.peak_mb.max(other.peak_mb),
        }
    }
}

/// A command to be measured.
pub(crate) struct Measured<'a> {
    pub(crate) program: &'a str,
    pub(crate) arguments: &'a [&'a str],
    /// Exit codes that mean that the work was done.
    pub(crate) good: &'a [i32],
}

impl Measured<'_> {
    /// The least of several runs: what disturbs a run only ever adds to it.
    pub(crate) fn least_of(&self, runs: usize) -> anyhow::Result<Cost> {
        let mut least = self.run()?;
        for _ in 1..runs {
            least = least.cheaper(self.run()?);
        }
        Ok(least)
    }

    fn run(&self) -> anyhow::Result<Cost> {
        let before = children_s()?;
        let start = Instant::now();
        let mut child = Command::new(self.program)
            .args(self.arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .with_context(|| format!("cannot start {}: is it installed?", self.program))?;
        let (status, peak_mb) = watched(&mut child)?;
        let wall_s = start.elapsed().as_secs_f64();
        let code = status.code().unwrap_or(-1);
        ensure!(
            self.good.contains(&code),
            "{} {} ended with {code}",
            self.program,
            self.arguments.join(" ")
        );
        Ok(Cost {
            cpu_s: children_s()? - before,
            wall_s,
            peak_mb,
        })
    }
}

/// Processor time of all children that have ended, in seconds.
fn children_s() -> anyhow::Result<f64> {
    let usage = getrusage(UsageWho::RUSAGE_CHILDREN).context("cannot ask for processor time")?;
    let micros = usage.user_time().num_microseconds() + usage.system_time().num_microseconds();
    Ok(micros as f64 * 1e-6)
}

fn watched(child: &mut Child) -> anyhow::Result<(std::process::ExitStatus, f64)> {
    let status_file = format!("/proc/{}/status", child.id());
    let mut peak = 0.0;
    loop {
        if let Some(text) = std::fs::read_to_string(&status_file).ok().as_deref() {
            peak = peak_mb(text).unwrap_or(peak);
        }
        if let Some(status) = child.try_wait().context("cannot wait for a command")? {
            return Ok((status, peak));
        }
        std::thread::sleep(ASKED_EVERY);
    }
}

/// Peak resident size from the text of /proc/PID/status, where kB are 1024 bytes.
fn peak_mb(status: &str) -> Option<f64> {
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.trim().strip_suffix(" kB")?.parse().ok()?;
    Some(kib * 1024e-6)
}

#[cfg(test)]
mod of_child {
    use super::*;

    #[test]
    fn peak_memory_is_read_from_what_the_kernel_writes() {
        let text = "Name:\tx\nVmPeak:\t  999999 kB\nVmHWM:\t    2500 kB\nVmRSS:\t 1 kB\n";
        assert_eq!(peak_mb(text), Some(2.56));
        assert_eq!(peak_mb("Name:\tx\n"), None);
    }

    #[test]
    fn a_command_that_fails_is_not_measured() {
        let shell = |line| Measured {
            program: "sh",
            arguments: line,
            good: &[0],
        };
        assert!(shell(&["-c", "exit 3"]).least_of(1).is_err());
        let cost = shell(&["-c", "sleep 0.05"]).least_of(2).unwrap();
        assert!(cost.wall_s >= 0.05 && cost.peak_mb > 0.1);
    }
}
