//! `listen --probe-check`: whether the set-up is fit, step by step, and how to mend what is not.

use live::{Calibration, ClockReading, Finding, Fit, Noticed};
use report::Record;
use serde::Serialize;

use super::args::LiveFormat;
use super::lines;
use crate::stop::{Exit, Stop};

/// Digits that are asked for.
pub(super) const DIGITS: usize = 3;

/// What to do, told before it begins; the cautions were told before that.
pub(super) const STEPS: &str = "\
Probe check, three steps:
  1. Connect the probe, the loop closed, the dial at rest. Touch nothing for five seconds.
  2. Dial 0 three times (or any digit of four pulses or more), a second apart.
  3. Read what is said; mend it, and run the check again.
";

#[derive(Serialize)]
struct FindingJson<'a> {
    code: &'a str,
    fit: &'a str,
    figure: &'a str,
    mend: &'a str,
}

/// The findings in the chosen format, and how the command ends.
pub(super) fn result(
    noticed: &Noticed,
    record: &Record,
    clock: Option<&ClockReading>,
    known: &Calibration,
    format: LiveFormat,
) -> Result<(String, Exit), Stop> {
    let Ok(measured) = &record.outcome else {
        return Ok((String::new(), Exit::Undone));
    };
    let findings = live::fitness(noticed, measured, clock, known);
    let (worst, verdict) = live::overall(&findings);
    let text = match format {
        LiveFormat::Text => in_text(&findings, verdict),
        LiveFormat::Ndjson => findings
            .iter()
            .map(|finding| {
                lines::line(
                    "fitness",
                    FindingJson {
                        code: finding.code,
                        fit: finding.fit.word(),
                        figure: &finding.figure,
                        mend: finding.mend,
                    },
                )
            })
            .collect::<Result<_, _>>()?,
    };
    let exit = match worst {
        Fit::Unfit => Exit::Bad,
        Fit::Unknown => Exit::Undone,
        Fit::Good | Fit::Usable => Exit::Good,
    };
    Ok((text, exit))
}

fn in_text(findings: &[Finding], verdict: &str) -> String {
    let mut text = format!("\n{verdict}\n\n");
    for finding in findings {
        text.push_str(&format!(
            "  {:<9} {:<8} {}\n",
            finding.code,
            finding.fit.word(),
            finding.figure
        ));
        if !finding.mend.is_empty() {
            text.push_str(&format!("  {:18} to mend: {}\n", "", finding.mend));
        }
    }
    text.push('\n');
    text
}
