//! The published sets. Each row says where its figures come from and how that was read.

use std::borrow::Cow;
use std::sync::LazyLock;

use super::{CurrentDefinition, Grade, LimitSet, PercentLimit, Range, Scope};

/// A set without limits and without a source.
pub(super) const BLANK: LimitSet = LimitSet {
    name: Cow::Borrowed(""),
    title: Cow::Borrowed("the user's own limits"),
    scopes: Cow::Borrowed(&[]),
    document: Cow::Borrowed("own limits"),
    clause: Cow::Borrowed(""),
    year: Cow::Borrowed(""),
    grade: Grade::Own,
    evidence: Cow::Borrowed("given by the user; no published evidence is claimed"),
    set_to_only: false,
    note: Cow::Borrowed(""),
    line_current: None,
    pps: None,
    percent: None,
    break_make_ratio: None,
    period_ms: None,
    break_ms: None,
    make_ms: None,
    bounce_ms: None,
    pause_ms: None,
};

/// 10 ± 1.0 pps, percent make 30-42 %, pause at least 600 ms.
fn jp_10() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("jp-10"),
        title: Cow::Borrowed("Japan, 10 pps class"),
        scopes: Cow::Borrowed(&[Scope::Receive, Scope::Send]),
        document: Cow::Borrowed(
            "Ordinance on Telecommunications Facilities for Business (MPT Ordinance 30)",
        ),
        clause: Cow::Borrowed("Art. 30(2)(ii), Annexed Table 1"),
        year: Cow::Borrowed("1985"),
        grade: Grade::A,
        evidence: Cow::Borrowed(
            "the ordinance's table was read for what an exchange must receive (grade A); the same figures for \
             what a terminal must send stand in the Terminal Facilities Regulations, read at second hand (A-)",
        ),
        note: Cow::Borrowed("the source states percent make; percent break is its complement"),
        pps: Some(Range::between(9.0, 11.0)),
        percent: Some(PercentLimit::Make(Range::between(30.0, 42.0))),
        pause_ms: Some(Range::at_least(600.0)),
        ..BLANK
    }
}

/// Break 60-70 ms, make 30-40 ms, bounce at most 0.5 ms, pause 750 ms to 3 s.
fn au_s002() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("au-s002"),
        title: Cow::Borrowed("Australia, decadic signalling of a terminal"),
        scopes: Cow::Borrowed(&[Scope::Send]),
        document: Cow::Borrowed("AS/CA S002:2010"),
        clause: Cow::Borrowed("cl. 5.5.1.8"),
        year: Cow::Borrowed("2010"),
        grade: Grade::A,
        evidence: Cow::Borrowed(
            "the clause was read in a page-by-page copy; its front matter carries the wording of a draft for comment",
        ),
        note: Cow::Borrowed(
            "limits in milliseconds only, no speed and no percent break, for a circuit of 48 V and 1900 ohm; of the \
             pause 800 ms is recommended, and a programmed pause is excepted; the text no longer recommends decadic \
             signalling for new equipment",
        ),
        line_current: Some(CurrentDefinition {
            break_below_ma: 2.8,
            make_above_ma: 12.0,
        }),
        break_ms: Some(Range::between(60.0, 70.0).in_clause("cl. 5.5.1.8(a)(i)")),
        make_ms: Some(Range::between(30.0, 40.0).in_clause("cl. 5.5.1.8(a)(ii)")),
        bounce_ms: Some(Range::at_most(0.5).in_clause("cl. 5.5.1.8(a)(iii)")),
        pause_ms: Some(Range::between(750.0, 3000.0).in_clause("cl. 5.5.1.8(c)")),
        ..BLANK
    }
}

/// 9.5-10.5 pps, 60-64 % break.
fn us_1956_later() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("us-1956-later"),
        title: Cow::Borrowed("USA, customer dial of the later type, readjust limits"),
        scopes: Cow::Borrowed(&[Scope::Bench]),
        document: Cow::Borrowed("Notes on Distance Dialing (AT&T)"),
        clause: Cow::Borrowed("Sect. IV Table 1, §§3.21-3.24"),
        year: Cow::Borrowed("1956"),
        grade: Grade::AMinus,
        evidence: Cow::Borrowed(
            "the row was read in a transcription that gives section and paragraph",
        ),
        set_to_only: true,
        note: Cow::Borrowed("readjust limits: what a dial is set to, not where it is rejected"),
        pps: Some(Range::between(9.5, 10.5)),
        percent: Some(PercentLimit::Break(Range::between(60.0, 64.0))),
        ..BLANK
    }
}

/// 8.5-10.5 pps, 59.5-67.5 % break.
fn us_1956_earlier() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("us-1956-earlier"),
        title: Cow::Borrowed("USA, customer dial of the earlier type, readjust limits"),
        pps: Some(Range::between(8.5, 10.5)),
        percent: Some(PercentLimit::Break(Range::between(59.5, 67.5))),
        ..us_1956_later()
    }
}

/// 9-11 pps, 63-70 % break.
fn uk_gpo_dial() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("uk-gpo-dial"),
        title: Cow::Borrowed("UK, step-by-step practice, maintenance limits for a dial in service"),
        scopes: Cow::Borrowed(&[Scope::Bench]),
        document: Cow::Borrowed("Teaching notes \"Pulsing\""),
        clause: Cow::Borrowed("paragraph \"Dial Limits\""),
        year: Cow::Borrowed("year not stated"),
        grade: Grade::BPlus,
        evidence: Cow::Borrowed(
            "the notes' own words were read; author, administration and year are not on the part read, terms and \
             the nominal 2/3 break are British",
        ),
        note: Cow::Borrowed("nominal 10 pps and two thirds break"),
        pps: Some(Range::between(9.0, 11.0)),
        percent: Some(PercentLimit::Break(Range::between(63.0, 70.0))),
        ..BLANK
    }
}

/// Period 90-110 ms, break to make 1.3-1.9.
fn de_1_6() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("de-1.6"),
        title: Cow::Borrowed("Germany, break-to-make ratio 1.6 family"),
        scopes: Cow::Borrowed(&[Scope::Send, Scope::Bench]),
        document: Cow::Borrowed(
            "German postal training text and dictionary entry on the impulse contact",
        ),
        clause: Cow::Borrowed("pulse ratio and pulse time"),
        year: Cow::Borrowed("year not stated"),
        grade: Grade::BPlus,
        evidence: Cow::Borrowed(
            "two German texts agree on every figure and may share one postal source, which neither names; a Dutch \
             text agrees on the ratio",
        ),
        note: Cow::Borrowed(
            "nominal 62 ms break and 38 ms make; a private exchange may have been stricter",
        ),
        break_make_ratio: Some(Range::between(1.3, 1.9)),
        period_ms: Some(Range::between(90.0, 110.0)),
        ..BLANK
    }
}

/// 20 ± 1.6 pps, percent make 30-36 %, pause at least 450 ms.
fn jp_20() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("jp-20"),
        title: Cow::Borrowed("Japan, 20 pps class"),
        evidence: Cow::Borrowed(
            "the ordinance's table was read for what an exchange must receive (grade A), in a copy that leaves out the \
             unit of the speed; the same figures for what a terminal must send, per second, stand in the Terminal \
             Facilities Regulations, read at second hand (A-)",
        ),
        pps: Some(Range::between(18.4, 21.6)),
        percent: Some(PercentLimit::Make(Range::between(30.0, 36.0))),
        pause_ms: Some(Range::at_least(450.0)),
        ..jp_10()
    }
}

/// Pause at least 600 ms: what step-by-step selectors need.
fn us_interdigit_step() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("us-interdigit-step"),
        title: Cow::Borrowed("USA, automatic sender into step-by-step selectors"),
        scopes: Cow::Borrowed(&[Scope::Send]),
        document: Cow::Borrowed("Notes on Distance Dialing (AT&T)"),
        clause: Cow::Borrowed("Sect. IV §§3.26-3.28"),
        year: Cow::Borrowed("1956"),
        grade: Grade::AMinus,
        evidence: Cow::Borrowed(
            "definition and figures were read in a transcription that gives section and paragraph",
        ),
        note: Cow::Borrowed(
            "about a sender, not a finger: from the end of a digit's last break to the start of the next digit's \
             first; the source calls 5 % timing accuracy satisfactory",
        ),
        pause_ms: Some(Range::at_least(600.0)),
        ..BLANK
    }
}

/// Pause at least 300 ms: what the registers of a common-control exchange need.
fn us_interdigit_common() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("us-interdigit-common"),
        title: Cow::Borrowed("USA, automatic sender into common-control registers"),
        pause_ms: Some(Range::at_least(300.0)),
        ..us_interdigit_step()
    }
}

/// 7-12 pps, 63-70 % break.
fn uk_gpo_exchange() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("uk-gpo-exchange"),
        title: Cow::Borrowed("UK, step-by-step exchange, what it accepts"),
        scopes: Cow::Borrowed(&[Scope::Receive]),
        grade: Grade::B,
        evidence: Cow::Borrowed(
            "the notes' own words were read; author, administration and year are not on the part read",
        ),
        note: Cow::Borrowed(
            "a textbook (Telephony, vol. 1, 1948, p. 142) is quoted elsewhere with 63-72 % break; the narrower range \
             is used here",
        ),
        pps: Some(Range::between(7.0, 12.0)),
        percent: Some(PercentLimit::Break(Range::between(63.0, 70.0))),
        ..uk_gpo_dial()
    }
}

/// Break to make 1.3-1.9; no limit on speed.
fn nl_1_6() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("nl-1.6"),
        title: Cow::Borrowed("Netherlands, break-to-make ratio 1.6 family"),
        scopes: Cow::Borrowed(&[Scope::Send, Scope::Bench]),
        document: Cow::Borrowed("Dutch service text for a PTT telephone set"),
        clause: Cow::Borrowed("pulse ratio"),
        year: Cow::Borrowed("year not stated"),
        grade: Grade::BMinus,
        evidence: Cow::Borrowed("one text at second hand; two German texts give the same ratio"),
        note: Cow::Borrowed("nominal 62 ms break and 38 ms make; no limit on speed was found"),
        break_make_ratio: Some(Range::between(1.3, 1.9)),
        ..BLANK
    }
}

/// 8-12 pps.
fn us_switch_1924() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("us-switch-1924"),
        title: Cow::Borrowed("USA, step-by-step switches, what they work with"),
        scopes: Cow::Borrowed(&[Scope::Receive]),
        document: Cow::Borrowed("Principles of Automatic Telephony"),
        clause: Cow::Borrowed("page not known"),
        year: Cow::Borrowed("1924"),
        grade: Grade::B,
        evidence: Cow::Borrowed(
            "a transcription in somebody's research notes was read (their §5), which say that they were taken from \
             the book's scan",
        ),
        note: Cow::Borrowed("no limit on the share of break is in the book"),
        pps: Some(Range::between(8.0, 12.0)),
        ..BLANK
    }
}

/// 8-11 pps.
fn us_switch() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("us-switch"),
        title: Cow::Borrowed("USA, switching equipment, what it generally tolerates"),
        document: Cow::Borrowed("AT&T Specification 4566"),
        clause: Cow::Borrowed("p. 113"),
        year: Cow::Borrowed("1926"),
        grade: Grade::BMinus,
        evidence: Cow::Borrowed("one encyclopaedia article that quotes the page"),
        note: Cow::Borrowed("no limit on the share of break was found"),
        pps: Some(Range::between(8.0, 11.0)),
        ..us_switch_1924()
    }
}

/// Break 47-80 ms, make 30-55 ms, pause at least 250 ms.
fn fi_rx() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("fi-rx"),
        title: Cow::Borrowed("Finland, what an exchange must receive"),
        scopes: Cow::Borrowed(&[Scope::Receive]),
        document: Cow::Borrowed("country table in the guide of an access multiplexer"),
        clause: Cow::Borrowed("row for Finland"),
        year: Cow::Borrowed("year not stated"),
        grade: Grade::CPlus,
        evidence: Cow::Borrowed("one maker's table; the national document behind it was not found"),
        note: Cow::Borrowed(
            "the same table takes an opening of 90-500 ms for a hook flash: a slow dial may be taken for one",
        ),
        break_ms: Some(Range::between(47.0, 80.0)),
        make_ms: Some(Range::between(30.0, 55.0)),
        pause_ms: Some(Range::at_least(250.0)),
        ..BLANK
    }
}

/// Break 39-75 ms, make 30-50 ms, pause at least 200 ms.
fn ussr_gost() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("ussr-gost"),
        title: Cow::Borrowed("former USSR, pulses of a set"),
        scopes: Cow::Borrowed(&[Scope::Send]),
        document: Cow::Borrowed("GOST 23595-79"),
        clause: Cow::Borrowed("clause not seen"),
        year: Cow::Borrowed("1979"),
        grade: Grade::C,
        evidence: Cow::Borrowed(
            "encyclopaedia articles in two languages agree; the standard was not read",
        ),
        break_ms: Some(Range::between(39.0, 75.0)),
        make_ms: Some(Range::between(30.0, 50.0)),
        pause_ms: Some(Range::at_least(200.0)),
        ..BLANK
    }
}

/// Break 53-70 ms, make 34-46 ms, break to make 1.4-1.7.
fn cis_training() -> LimitSet {
    LimitSet {
        name: Cow::Borrowed("cis-training"),
        title: Cow::Borrowed("former USSR, training text, ratio 1.5 family"),
        scopes: Cow::Borrowed(&[Scope::Send]),
        document: Cow::Borrowed("student text \"Telephone sets\""),
        clause: Cow::Borrowed("table of dialling"),
        year: Cow::Borrowed("year not stated"),
        grade: Grade::C,
        evidence: Cow::Borrowed("one student text, its table cut off at the edge"),
        note: Cow::Borrowed("nominal 60 % break and ratio 1.5"),
        break_make_ratio: Some(Range::between(1.4, 1.7)),
        break_ms: Some(Range::between(53.0, 70.0)),
        make_ms: Some(Range::between(34.0, 46.0)),
        ..BLANK
    }
}

/// Every published set: for dials, for senders, for receivers, for information; best evidence first in each.
///
/// Nominal figures without a tolerance (France 10 pps and 66.7 %, for one) are no set: nothing can be outside
/// them.
#[must_use]
pub fn all() -> &'static [LimitSet] {
    static ALL: LazyLock<[LimitSet; 16]> = LazyLock::new(|| {
        [
            jp_10(),
            jp_20(),
            au_s002(),
            us_1956_later(),
            us_1956_earlier(),
            uk_gpo_dial(),
            de_1_6(),
            nl_1_6(),
            us_interdigit_step(),
            us_interdigit_common(),
            uk_gpo_exchange(),
            us_switch_1924(),
            us_switch(),
            fi_rx(),
            ussr_gost(),
            cis_training(),
        ]
    });
    ALL.as_slice()
}

/// The published set of that name.
#[must_use]
pub fn find(name: &str) -> Option<&'static LimitSet> {
    all().iter().find(|set| set.name == name)
}
