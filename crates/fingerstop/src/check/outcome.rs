//! From a record to how the command ends.

use report::Record;
use score::{Settings, Verdict};

use crate::stop::Exit;

/// How a run with this record alone would end.
pub(crate) fn of(record: &Record, settings: &Settings) -> Exit {
    let Ok(measured) = &record.outcome else {
        return Exit::Undone;
    };
    let asked = settings.limits.is_some() || settings.dialled.is_some();
    let scored = &measured.scored;
    if scored.count.verdict == Verdict::Fail {
        return Exit::Bad;
    }
    match scored.verdict {
        Verdict::Fail | Verdict::ConditionalFail => Exit::Bad,
        Verdict::NotJudged if asked => Exit::Undone,
        Verdict::NotJudged | Verdict::Pass | Verdict::ConditionalPass => Exit::Good,
    }
}
