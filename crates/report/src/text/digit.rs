//! The figures of one digit, one a line.

use score::apart::duration_as_read;
use score::{Check, Digit, Scored, Settings, Summary, Value, Verdict};

use super::page::Page;
use crate::figure::{clock_joined, limits, to_its_place, with_uncertainty};
use crate::words::{no_chatter, quantity, verdict_words};

/// Writes what was measured of `digit`, beside the limits that it was compared with.
pub(super) fn figures(page: &mut Page, digit: &Digit, scored: &Scored, settings: &Settings) {
    page.blank();
    let clock = settings.clock_ppm;
    let mut rows = Rows {
        page,
        checks: &scored.checks,
    };
    rows.value("speed_pps", digit.speed_pps, |value| {
        clock_joined(value, clock)
    });
    if digit.speed_pps.is_none() {
        rows.plain("pulsing speed", "a single pulse has none");
    }
    rows.value(
        "percent_break",
        digit.percent_break_as_read(settings),
        |value| value.u95,
    );
    rows.half_step(digit.percent_break_half_step);
    rows.optional_check("period_ms");
    rows.optional_check("break_make_ratio");
    rows.spread("break_ms", Some(&digit.break_ms), settings);
    rows.spread("make_ms", digit.make_ms.as_ref(), settings);
    rows.chatter(digit);
    rows.drift(digit);
    rows.motion(digit);
}

struct Rows<'a> {
    page: &'a mut Page,
    checks: &'a [Check],
}

impl Rows<'_> {
    fn plain(&mut self, name: &str, figure: &str) {
        self.page.line(2, &format!("{name:<16} {figure}"));
    }

    fn row(&mut self, name: &str, figure: &str, check: Option<&Check>) {
        let Some(check) = check else {
            return self.plain(name, figure);
        };
        let limits = quoted(check);
        let row = format!("  {name:<16} {figure:<24} {limits:<22} ");
        self.page
            .verdict_row(&row, check.verdict, &verdict_of(check));
    }

    /// A mean of the digit that limits may hold for.
    fn value(&mut self, key: &str, value: Option<Value>, uncertainty: impl Fn(Value) -> f64) {
        let Some(value) = value else { return };
        let (name, unit) = quantity(key);
        let figure = format!(
            "{} {unit}",
            with_uncertainty(value.value, uncertainty(value))
        );
        let check = self.checks.iter().find(|check| check.quantity == key);
        self.row(name, &figure, check);
    }

    /// A quantity that is shown only when it was compared with a limit.
    fn optional_check(&mut self, key: &str) {
        let Some(check) = self.checks.iter().find(|check| check.quantity == key) else {
            return;
        };
        let (name, unit) = quantity(key);
        let figure = format!("{} {unit}", with_uncertainty(check.value, check.guard_band));
        self.row(name, figure.trim_end(), Some(check));
    }

    fn half_step(&mut self, value: Option<Value>) {
        if let Some(value) = value {
            let figure = with_uncertainty(value.value, value.u95);
            self.plain("  at half step", &format!("{figure} %, as a relay sees it"));
        }
    }

    /// Mean and range of a duration, then its worst pulse where every pulse has a limit.
    fn spread(&mut self, key: &str, summary: Option<&Summary>, settings: &Settings) {
        let Some(summary) = summary else { return };
        let (name, unit) = quantity(key);
        let joined = duration_as_read(summary.mean, settings).u95;
        let (min, max) = (
            to_its_place(summary.min, joined),
            to_its_place(summary.max, joined),
        );
        let figure = with_uncertainty(summary.mean.value, joined);
        self.plain(name, &format!("{figure} {unit}, from {min} to {max}"));
        if let Some(check) = self.checks.iter().find(|check| check.quantity == key) {
            let pulse = check
                .pulse_index
                .map(|index| format!("  worst, no. {}", index + 1))
                .unwrap_or_default();
            let figure = format!("{} {unit}", with_uncertainty(check.value, check.guard_band));
            self.row(&pulse, &figure, Some(check));
        }
    }

    fn chatter(&mut self, digit: &Digit) {
        let figure = if digit.chatter_ms_max > 0.0 {
            format!("up to {:.1} ms after closing", digit.chatter_ms_max)
        } else {
            no_chatter(digit.chatter_floor_ms)
        };
        let check = self
            .checks
            .iter()
            .find(|check| check.quantity == "bounce_ms");
        self.row("chatter", &figure, check);
    }

    fn drift(&mut self, digit: &Digit) {
        if let Some(value) = digit.slow_down_percent {
            self.plain(
                "slow-down",
                &format!(
                    "{} % over the digit",
                    with_uncertainty(value.value, value.u95)
                ),
            );
        }
        if let Some(value) = digit.unevenness_percent {
            self.plain(
                "unevenness",
                &format!("{} %", with_uncertainty(value.value, value.u95)),
            );
        }
    }

    /// Times of the off-normal contacts.
    fn motion(&mut self, digit: &Digit) {
        let parts = [
            ("winding", digit.winding_ms),
            ("return", digit.return_ms),
            ("lost motion", digit.idle_after_ms),
        ];
        let shown: Vec<String> = parts
            .iter()
            .filter_map(|(name, ms)| ms.map(|ms| format!("{name} {ms:.0} ms")))
            .collect();
        if !shown.is_empty() {
            self.plain("off-normal", &shown.join(", "));
        }
    }
}

/// The limits of a check, as its source words them.
pub(super) fn quoted(check: &Check) -> String {
    match &check.as_quoted {
        Some(quoted) => quoted.clone(),
        None => limits(check.lower, check.upper),
    }
}

/// The verdict of a check, with a mark where the recording cannot decide.
fn verdict_of(check: &Check) -> String {
    match check.verdict {
        Verdict::NotJudged => "not judged".to_owned(),
        verdict => verdict_words(verdict).to_owned(),
    }
}
