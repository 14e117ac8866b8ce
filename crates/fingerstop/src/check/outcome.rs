//! From a record to how the command ends.

use report::Record;
use score::{Scored, Settings, Takes, Understood, Verdict};

use crate::stop::Exit;

/// How a run with this record alone would end.
pub(crate) fn of(record: &Record, settings: &Settings) -> Exit {
    let Ok(measured) = &record.outcome else {
        return Exit::Undone;
    };
    let asked = settings.limits.is_some() || settings.dialled.is_some();
    let scored = &measured.scored;
    of_scored(scored, asked).max(of_receivers(scored))
}

/// The mean of several takes, judged as one.
pub(crate) fn of_takes(takes: &Takes) -> Exit {
    let outside = |taken: &score::Taken| {
        let verdict = taken.check.as_ref().map(|check| check.verdict);
        matches!(verdict, Some(Verdict::Fail | Verdict::ConditionalFail))
    };
    if takes.quantities.iter().any(outside) {
        Exit::Bad
    } else {
        Exit::Good
    }
}

fn of_receivers(scored: &Scored) -> Exit {
    of_answers(scored.receivers.iter().map(|answer| answer.understood))
}

/// To ask whether a receiver understands the dial is to ask for an answer.
pub(crate) fn of_answers(answers: impl Iterator<Item = Understood>) -> Exit {
    let endings = answers.map(|answer| match answer {
        Understood::Yes | Understood::Perhaps => Exit::Good,
        Understood::No => Exit::Bad,
        Understood::CannotTell => Exit::Undone,
    });
    endings.max().unwrap_or_default()
}

fn of_scored(scored: &Scored, asked: bool) -> Exit {
    if scored.count.verdict == Verdict::Fail {
        return Exit::Bad;
    }
    match scored.verdict {
        Verdict::Fail | Verdict::ConditionalFail => Exit::Bad,
        Verdict::NotJudged if asked => Exit::Undone,
        Verdict::NotJudged | Verdict::Pass | Verdict::ConditionalPass => Exit::Good,
    }
}
