//! Text for a person: the verdict first, then why, then the figures with their uncertainty and limits.

pub(crate) mod advice;
mod digit;
mod limits;
mod number;
pub(crate) mod page;
pub(crate) mod takes;
#[cfg(test)]
mod tests;

use score::{Scored, Settings, Verdict};

use crate::record::{Measured, Record, Unreadable};
use crate::words::{self, verdict_words};
use page::Page;

pub use advice::CAUTION;
pub use limits::{limit_list, limit_sheet};
pub use page::Paint;
pub use takes::text_takes;

/// Reasons shown at most: an hour of talk may hold hundreds of doubtful clicks.
const REASONS_SHOWN: usize = 10;

/// One record as text, with a newline at its end.
///
/// `measure_only` is true when the user asked for no judgement: then nothing is said of what the
/// published sets would say.
#[must_use]
pub fn text(record: &Record, settings: &Settings, measure_only: bool, paint: Paint) -> String {
    let mut page = Page::new(paint);
    match &record.outcome {
        Ok(measured) => measured_text(&mut page, &record.input, measured, settings, measure_only),
        Err(unreadable) => unreadable_text(&mut page, &record.input, unreadable),
    }
    page.finish()
}

fn unreadable_text(page: &mut Page, input: &str, unreadable: &Unreadable) {
    page.verdict("cannot be read", Verdict::NotJudged, input);
    page.paragraph(2, &unreadable.message);
}

fn measured_text(
    page: &mut Page,
    input: &str,
    measured: &Measured,
    settings: &Settings,
    measure_only: bool,
) {
    let scored = &measured.scored;
    page.verdict(&verdict_line(measured, settings), scored.verdict, input);
    if measured.trace.heard_not_wired && scored.digits.is_empty() {
        return advice::heard_not_wired(page, measured);
    }
    if scored.digits.is_empty() {
        return advice::no_dialling(page, measured);
    }
    what_was_dialled(page, scored);
    why(page, scored, settings);
    match scored.digits.as_slice() {
        [digit] => digit::figures(page, digit, scored, settings),
        digits => number::table(page, digits, settings),
    }
    page.paragraph(2, &uncertainty_line(settings));
    limit_lines(page, settings);
    findings(page, scored);
    if let Some(takes) = &scored.takes {
        takes::write_takes(page, takes, "of this recording");
    }
    takes::write_receivers(page, &scored.receivers);
    if !measure_only {
        would_say(page, scored);
    }
    recording_lines(page, measured);
    advice::next(page, measured, settings, measure_only);
}

/// The word at the top. Without limits nothing was judged, and that is no reproach.
fn verdict_line(measured: &Measured, settings: &Settings) -> String {
    let verdict = measured.scored.verdict;
    if measured.scored.digits.is_empty() {
        let what = if measured.trace.heard_not_wired {
            "heard, not wired"
        } else {
            "no dialling found"
        };
        return format!("not judged: {what}");
    }
    let none_sure = !measured.scored.digits.iter().any(|digit| digit.sure);
    match (verdict, &settings.limits) {
        (Verdict::NotJudged, _) if none_sure => "not judged: no digit is beyond doubt".to_owned(),
        (Verdict::NotJudged, None) => "measured, not judged".to_owned(),
        (verdict, _) => verdict_words(verdict).to_owned(),
    }
}

fn what_was_dialled(page: &mut Page, scored: &Scored) {
    let digits: Vec<String> = scored.digits.iter().map(words::name).collect();
    let plan = match scored.plan {
        score::Plan::Standard => String::new(),
        plan => format!(" (plan {})", plan.name()),
    };
    let line = match scored.digits.as_slice() {
        [only] => format!("digit {}, {}{plan}", digits[0], words::pulses(only.pulses)),
        _ => format!("{} digits: {}{plan}", digits.len(), digits.join(" ")),
    };
    page.paragraph(2, &line);
    if let Some(dialled) = &scored.count.dialled {
        let word = match scored.count.verdict {
            Verdict::Pass => "the count is right",
            Verdict::Fail => "the count is wrong",
            _ => "the count cannot be told",
        };
        let reason = scored
            .count
            .reason
            .as_ref()
            .map(|reason| format!(": {reason}"))
            .unwrap_or_default();
        page.paragraph(2, &format!("dialled {dialled}: {word}{reason}"));
    }
}

/// Reasons and cautions, one line each, without those that have their own place on the page.
fn why(page: &mut Page, scored: &Scored, settings: &Settings) {
    let said_elsewhere = |code: &str| match code {
        "no-limits" => settings.limits.is_none(),
        "wrong-count" | "count-not-judged" | "set-to-only" => true,
        _ => false,
    };
    let said = scored
        .reasons
        .iter()
        .chain(&scored.warnings)
        .filter(|reason| !said_elsewhere(reason.code));
    let said: Vec<&str> = said.map(|reason| reason.text.as_str()).collect();
    let alone = lone_digit(scored);
    for text in said.iter().take(REASONS_SHOWN) {
        page.item(&shortened(text.strip_prefix(&alone).unwrap_or(text)));
    }
    if said.len() > REASONS_SHOWN {
        page.item(&format!(
            "and {} more; --format json has them all",
            said.len() - REASONS_SHOWN
        ));
    }
}

/// How a line about the only digit begins: with one digit, its place says nothing. Empty with several.
fn lone_digit(scored: &Scored) -> String {
    match scored.digits.as_slice() {
        [digit] => format!("{}: ", score::nth_digit(0, digit.digit.as_deref())),
        _ => String::new(),
    }
}

/// A list of doubts cut to its first three: a recording full of clicks has hundreds.
fn shortened(text: &str) -> String {
    const SHOWN: usize = 3;
    let parts: Vec<&str> = text.split("; ").collect();
    if parts.len() <= SHOWN + 1 {
        return text.to_owned();
    }
    format!(
        "{}; and {} more like these",
        parts[..SHOWN].join("; "),
        parts.len() - SHOWN
    )
}

fn uncertainty_line(settings: &Settings) -> String {
    let verified = if crate::UNCERTAINTY_VERIFIED {
        ""
    } else {
        "; uncertainty not yet verified"
    };
    format!(
        "± is the 95 % uncertainty, a recorder clock good to {} ppm included{verified}",
        settings.clock_ppm
    )
}

/// The set judged by, with grade and source, whatever the verdict.
fn limit_lines(page: &mut Page, settings: &Settings) {
    let Some(set) = &settings.limits else { return };
    page.heading("Limits");
    page.paragraph(
        2,
        &format!("{} (grade {}): {}", set.name, limits::grade(set), set.title),
    );
    page.paragraph(2, &format!("source: {}", words::source(set)));
    if set.set_to_only {
        page.paragraph(2, "these limits tell what to set a dial to; being outside is not by itself a reason to reject it");
    }
}

fn findings(page: &mut Page, scored: &Scored) {
    if scored.findings.is_empty() {
        return;
    }
    page.heading("Findings");
    for finding in &scored.findings {
        let sure = finding.how_sure.words();
        page.item(&format!("{} ({}; {sure})", finding.title, finding.code));
        page.paragraph(4, &finding.evidence);
        page.paragraph(4, &format!("likely cause: {}", finding.likely_cause));
        page.paragraph(4, &format!("advice: {}", finding.advice));
        page.paragraph(4, &format!("basis: {}", finding.basis));
    }
}

fn would_say(page: &mut Page, scored: &Scored) {
    if scored.would_say.is_empty() {
        return;
    }
    page.heading("What the published sets would say");
    for set in &scored.would_say {
        let lead = format!("  {:<16} {:<3} ", set.name, set.grade.name());
        // The line names set and grade again for readers who see it alone.
        let said = set
            .line
            .split_once("would say ")
            .map_or(set.line.as_str(), |(_, said)| said);
        page.paragraph_after(&lead, &said.replacen(&lone_digit(scored), "", 1));
    }
}

fn recording_lines(page: &mut Page, measured: &Measured) {
    page.heading("Recording");
    let facts = &measured.scored.facts;
    let mut parts = vec![
        measured.facts.encoding.clone(),
        format!("{} Hz", measured.facts.sample_rate_hz),
        format!(
            "channel {} of {}",
            measured.channel, measured.facts.channels
        ),
        format!("{:.2} s", measured.duration_s()),
    ];
    parts.extend(
        facts
            .snr_db
            .map(|db| format!("step {db:.0} dB above noise")),
    );
    parts.extend(facts.coupling_hz.map(|hz| format!("coupling {hz:.1} Hz")));
    parts.extend(facts.hum.map(|hum| {
        format!(
            "hum {:.0} Hz, {:.1} % of the step",
            hum.frequency_hz,
            100.0 * hum.relative_amplitude
        )
    }));
    if facts.polarity == Some(edges::Polarity::Inverted) {
        parts.push("polarity inverted".to_owned());
    }
    if measured.clipped() > 0 {
        parts.push(format!("{} samples clipped", measured.clipped()));
    }
    page.paragraph(2, &parts.join(", "));
    for warning in &measured.warnings {
        page.item(&format!("note: {}", warning.message));
    }
}

/// One line that counts the verdicts of several records, with a newline at its end.
#[must_use]
pub fn text_summary(verdicts: &[Result<Verdict, ()>]) -> String {
    let words = [
        Verdict::Pass,
        Verdict::ConditionalPass,
        Verdict::ConditionalFail,
        Verdict::Fail,
        Verdict::NotJudged,
    ];
    let count = |wanted: Result<Verdict, ()>| {
        verdicts
            .iter()
            .filter(|verdict| **verdict == wanted)
            .count()
    };
    let named = words
        .iter()
        .map(|word| (count(Ok(*word)), verdict_words(*word)));
    let unreadable = (count(Err(())), "cannot be read");
    let parts: Vec<String> = named
        .chain([unreadable])
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    format!("{} recordings: {}\n", verdicts.len(), parts.join(", "))
}

/// A code with what it means and what to do, with a newline at the end.
pub(crate) fn explained(code: &str, means: &str, remedy: &str) -> String {
    let mut page = Page::new(Paint::Plain);
    page.line(0, code);
    for words in [means, remedy]
        .into_iter()
        .filter(|words| !words.is_empty())
    {
        page.paragraph(2, words);
    }
    page.finish()
}

/// A finding's code with named parts, with a newline at the end.
pub(crate) fn explained_finding(code: &str, parts: &[(&str, &str)]) -> String {
    let mut page = Page::new(Paint::Plain);
    page.line(0, code);
    for (name, words) in parts {
        page.paragraph_after(&format!("  {name:<12} "), words);
    }
    page.finish()
}
