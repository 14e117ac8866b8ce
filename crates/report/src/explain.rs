//! What the codes of a report mean, and what to do about them.

mod findings;

use crate::text::{explained, explained_finding};
use findings::FINDINGS;

/// One code.
struct Entry {
    code: &'static str,
    /// What it says.
    means: &'static str,
    /// What to do; empty where nothing is to be done.
    remedy: &'static str,
}

/// Codes that belong together.
struct Chapter {
    title: &'static str,
    entries: &'static [Entry],
}

const fn entry(code: &'static str, means: &'static str, remedy: &'static str) -> Entry {
    Entry {
        code,
        means,
        remedy,
    }
}

const CHAPTERS: [Chapter; 6] = [
    Chapter {
        title: "Verdicts",
        entries: &VERDICTS,
    },
    Chapter {
        title: "Digit plans",
        entries: &PLANS,
    },
    Chapter {
        title: "Reasons and cautions",
        entries: &REASONS,
    },
    Chapter {
        title: "Why a value is missing",
        entries: &MISSING,
    },
    Chapter {
        title: "Why a file cannot be read",
        entries: &ERRORS,
    },
    Chapter {
        title: "Notes on a file that was read",
        entries: &NOTES,
    },
];

const VERDICTS: [Entry; 5] = [
    entry(
        "pass",
        "The value lies inside the limit by at least its uncertainty.",
        "",
    ),
    entry(
        "conditional-pass",
        "The value lies inside the limit, but by less than its uncertainty: it may really be outside.",
        "Record again with less noise or a better clock, or set the dial nearer to the middle.",
    ),
    entry(
        "conditional-fail",
        "The value lies outside the limit, but by less than its uncertainty: it may really be inside.",
        "Record again with less noise or a better clock, or adjust the dial.",
    ),
    entry(
        "fail",
        "The value lies outside the limit by more than its uncertainty, or the count is wrong.",
        "Adjust the dial and measure again.",
    ),
    entry(
        "not-judged",
        "No limits were chosen, or the recording does not allow a judgement; the reasons say which.",
        "",
    ),
];

const PLANS: [Entry; 4] = [
    entry(
        "standard",
        "d pulses for 1-9, ten for 0: most countries (AS/CA S002:2010 cl. 5.5.1.7.1(c)). A recording cannot show the plan: \
         what is called a digit follows from the plan that you choose.",
        "",
    ),
    entry(
        "zero-first",
        "d + 1 pulses: 0 sends one, 9 sends ten (Sweden, by signalling guides; no official text was read).",
        "",
    ),
    entry(
        "reversed",
        "10 - d pulses for 1-9, ten for 0 (New Zealand, PTC 200 cl. 5.1(3); Oslo, at second hand).",
        "",
    ),
    entry(
        "eleventh",
        "As standard, with an eleventh position E that sends eleven pulses (early French networks, by a collector's page). \
         Eleven pulses are then no fault. Trigger dials send as standard dials do.",
        "",
    ),
];

const REASONS: [Entry; 16] = [
    entry(
        "no-limits",
        "No limit set was chosen, so nothing was judged: the families of limits exclude each other's healthy dials.",
        "--limits NAME, FINGERSTOP_LIMITS=NAME, or `fingerstop limits use NAME`.",
    ),
    entry(
        "no-dialling",
        "No dial pulses were found.",
        "Check probe, input and channel; switch off noise reduction and automatic gain.",
    ),
    entry(
        "heard-not-wired",
        "The clicks of a dial were heard, but no steps of a line: a microphone cannot show makes and breaks.",
        "Record the loop itself through a wired probe.",
    ),
    entry(
        "wrong-count",
        "The pulses counted are not those of the digits dialled.",
        "See the findings; dial again to tell the dial from the finger.",
    ),
    entry(
        "count-not-judged",
        "The count cannot be compared with what was dialled.",
        "Record again, with a second of quiet line before and after.",
    ),
    entry(
        "count-in-doubt",
        "Another pulse count is not less likely than 1 in 1000, so the digit is not judged.",
        "Record the digit again with more level and less noise.",
    ),
    entry(
        "nothing-to-judge",
        "The chosen set limits nothing that this digit has, as with a single pulse.",
        "Dial 0: it has the longest train.",
    ),
    entry(
        "cannot-decide",
        "The uncertainty exceeds a quarter of the tolerance's half-width.",
        "Record with more level, less noise and hum, straight from the contacts; calibrate the clock.",
    ),
    entry(
        "bounce-not-judged",
        "Chatter near the limit cannot be told from noise in this recording.",
        "Record at 48 kHz or more, with more level and less noise.",
    ),
    entry(
        "grade",
        "The evidence for the chosen limits is second-hand or weaker.",
        "`fingerstop limits show NAME` says what was read.",
    ),
    entry(
        "for-information",
        "The evidence for the chosen limits is grade C: where the values lie is said, but nothing is judged by them.",
        "Choose a set of grade B- or better: `fingerstop limits list`.",
    ),
    entry(
        "set-to-only",
        "The limits tell what to set a dial to; being outside is not by itself a reason to reject it.",
        "",
    ),
    entry(
        "other-definition",
        "The set defines make and break by line current; here they are the instants at which the contacts moved.",
        "",
    ),
    entry(
        "tap-scope",
        "The set is about another place than the one the probe sat at.",
        "Choose a set of that scope, or probe at the dial.",
    ),
    entry(
        "quench-in",
        "The spark-quench capacitor rounds the opening, so a relay sees a shorter break.",
        "Disconnect it to judge the dial alone.",
    ),
    entry("first-digit", "A first digit has no pause before it.", ""),
];

const MISSING: [Entry; 7] = [
    entry(
        "single-pulse",
        "One pulse has no period: no pulsing speed and no percent break.",
        "Dial a longer digit.",
    ),
    entry(
        "merges-into-pause",
        "The last make of a digit merges into the pause after it.",
        "",
    ),
    entry(
        "fewer-than-four-pulses",
        "Slow-down and unevenness need four pulses.",
        "Dial a longer digit.",
    ),
    entry(
        "more-pulses-than-plan",
        "The plan has no digit of so many pulses.",
        "Check --plan; see the findings.",
    ),
    entry(
        "no-off-normal-step",
        "The recording shows no step of the off-normal contacts.",
        "",
    ),
    entry(
        "sharp-edges",
        "On sharp edges the half-step instant is the contact's own: the figure would be the same.",
        "",
    ),
    entry("no-span", "The pulses span no time.", ""),
];

const ERRORS: [Entry; 19] = [
    entry("not-found", "There is no such file.", "Check the path."),
    entry(
        "no-permission",
        "The system does not permit reading.",
        "Check the file's permissions.",
    ),
    entry(
        "read-failed",
        "Reading failed on the way.",
        "Copy the file to a local disk and try again.",
    ),
    entry("folder", "The path is a folder.", "Name the files in it."),
    entry(
        "empty-file",
        "There is not one byte.",
        "Record or copy it again.",
    ),
    entry(
        "no-samples",
        "There is a header, but no samples.",
        "Record again.",
    ),
    entry(
        "text",
        "It is text, but no table of numbers.",
        "Export the trace as CSV.",
    ),
    entry(
        "unknown-format",
        "No format that is known here.",
        "Convert it to WAV, or name the format by --raw.",
    ),
    entry(
        "unknown-codec",
        "A codec that cannot be decoded here.",
        "Convert it to WAV.",
    ),
    entry(
        "bad-header",
        "The header contradicts itself or is cut off.",
        "Copy or record it again, or name the format by --raw.",
    ),
    entry(
        "zero-rate",
        "The header says a sample rate of 0.",
        "Name the format by --raw.",
    ),
    entry(
        "zero-channels",
        "The header says no channels.",
        "Name the format by --raw.",
    ),
    entry(
        "bad-raw-format",
        "The raw format cannot be understood.",
        "Write encoding:rate:channels, such as s16le:48000:1.",
    ),
    entry(
        "csv-no-rate",
        "A table without time column.",
        "Give its rate by --csv-rate.",
    ),
    entry(
        "csv-ambiguous",
        "The commas of the table can be read in two ways.",
        "Export it with semicolons or tabs.",
    ),
    entry(
        "not-seekable",
        "The format needs a file on disk.",
        "Save it to a file first.",
    ),
    entry(
        "no-such-channel",
        "--channel names a channel that the recording has not.",
        "Channels count from 1.",
    ),
    entry(
        "too-many-channels",
        "The recording has more channels than are searched.",
        "Name one by --channel.",
    ),
    entry(
        "empty-section",
        "The recording ends before --from.",
        "Check --from.",
    ),
];

const NOTES: [Entry; 14] = [
    entry(
        "channel-taken",
        "The channel with the dialling was taken; the others have none.",
        "",
    ),
    entry(
        "channel-also",
        "Another channel holds dialling too.",
        "Measure it by --channel.",
    ),
    entry(
        "streamed-length",
        "The header gives no length; the file was read to its end.",
        "",
    ),
    entry(
        "truncated",
        "The file ends before the length in its header; what is there was measured.",
        "Copy it again if there should be more.",
    ),
    entry(
        "partial-frame",
        "The samples end inside a frame, which was left out.",
        "",
    ),
    entry(
        "block-size",
        "The header's frame size contradicts channels and bits; the latter were used.",
        "",
    ),
    entry(
        "non-finite",
        "Samples that are no numbers were replaced by 0.",
        "Export or record again.",
    ),
    entry(
        "damaged-packet",
        "A compressed packet could not be decoded; its time is filled, and digits near it are not sure.",
        "Copy it again.",
    ),
    entry(
        "format-changed",
        "Rate or channels change inside the file; it was read up to there.",
        "",
    ),
    entry(
        "marked-gap",
        "The file marks where samples were lost when it was captured; no digit near such a place is sure.",
        "Dial those digits again; `fingerstop listen --probe-check` finds out why the input loses samples.",
    ),
    entry(
        "csv-cell",
        "Cells without a number; the value before them was held.",
        "",
    ),
    entry(
        "csv-resampled",
        "The times are not uniform; the trace was resampled.",
        "",
    ),
    entry(
        "csv-time",
        "Times that run backwards or jump.",
        "Export it again.",
    ),
    entry(
        "csv-rate",
        "The given rate and the time column disagree, or the rate is implausibly small.",
        "Check --csv-rate.",
    ),
];

/// What `code` means and what to do, with a newline at the end; `None` for a code that no report has.
#[must_use]
pub fn explain(code: &str) -> Option<String> {
    let finding = FINDINGS
        .iter()
        .find(|entry| entry.code == code)
        .map(|entry| {
            let parts = [
                ("what it is", entry.is),
                ("told apart", entry.apart),
                ("check first", entry.first),
                ("cautions", entry.caution),
            ];
            explained_finding(entry.code, &parts)
        });
    let mut entries = CHAPTERS.iter().flat_map(|chapter| chapter.entries);
    finding.or_else(|| {
        entries
            .find(|entry| entry.code == code)
            .map(|entry| explained(entry.code, entry.means, entry.remedy))
    })
}

/// Every code, by chapter, with a newline at the end.
#[must_use]
pub fn explained_codes() -> String {
    let chapter = |title: &str, codes: Vec<&str>| format!("{title}\n  {}\n", codes.join("\n  "));
    let findings = chapter(
        "Findings about the dial",
        FINDINGS.iter().map(|entry| entry.code).collect(),
    );
    let others = CHAPTERS.iter().map(|other| {
        chapter(
            other.title,
            other.entries.iter().map(|entry| entry.code).collect(),
        )
    });
    [findings]
        .into_iter()
        .chain(others)
        .collect::<Vec<_>>()
        .join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_code_is_explained_twice() {
        let mut codes: Vec<&str> = CHAPTERS
            .iter()
            .flat_map(|chapter| chapter.entries)
            .map(|entry| entry.code)
            .chain(FINDINGS.iter().map(|entry| entry.code))
            .collect();
        let count = codes.len();
        codes.sort_unstable();
        codes.dedup();
        assert_eq!(codes.len(), count);
    }

    #[test]
    fn every_finding_that_can_be_made_is_explained_and_no_other() {
        let mut explained: Vec<&str> = FINDINGS.iter().map(|entry| entry.code).collect();
        explained.sort_unstable();
        assert_eq!(explained, score::FINDING_CODES);
    }

    #[test]
    fn a_code_says_what_it_means_and_what_to_do() {
        let text = explain("empty-file").unwrap();
        assert_eq!(
            text,
            "empty-file\n  There is not one byte.\n  Record or copy it again.\n"
        );
        assert_eq!(explain("no-such-code"), None);
    }

    #[test]
    fn a_finding_has_all_its_parts() {
        for entry in &FINDINGS {
            let text = explain(entry.code).unwrap();
            for part in ["what it is", "told apart", "check first", "cautions"] {
                assert!(text.contains(&format!("\n  {part:<12} ")), "{text}");
            }
            assert!(text.lines().all(|line| line.chars().count() < 80), "{text}");
        }
    }
}
