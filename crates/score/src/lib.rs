//! Groups edges into pulses and digits, measures and judges them.
//!
//! This crate has never heard of a file or a format. It takes the [`edges::Trace`] of one channel and
//! gives a [`Scored`]: digits with their values and uncertainties, checks against a chosen [`LimitSet`],
//! and findings.

pub mod apart;
pub mod limits;

mod chatter;
mod count;
mod doubt;
mod evenness;
mod explain;
mod facts;
mod findings;
mod grouping;
mod judge;
mod measure;
mod off_normal;
mod plan;
pub mod receivers;
mod regression;
mod roll_up;
mod score;
mod settings;
mod tail;
mod takes;
mod types;
mod uncertainty;
mod unexplained;
mod wording;
mod would_say;

pub use explain::statement;
pub use findings::FINDING_CODES;
pub use limits::{Grade, LimitSet};
pub use plan::{DialledError, Plan};
pub use receivers::{Answer, Receiver, Understood};
pub use score::{digits, score};
pub use settings::{IdleRun, Quench, Settings, Tap};
pub use takes::{Taken, Takes, takes};
pub use types::{
    Check, CountCheck, Digit, Finding, HowMuch, HowSure, Pulse, Reason, Scored, Summary,
    TraceFacts, Value, Verdict, WouldSay,
};
pub use wording::nth_digit;

/// Coverage factor k of every `u95`: 95 % of a normal distribution (JCGM 100:2008 clause 6.3 and annex
/// G.1). ILAC-G8:09/2019 writes its guard band with k = 2, which is this figure rounded.
pub const COVERAGE_FACTOR: f64 = 1.96;
