//! The confusion study: how often each finding is made where its fault is, and where it is not.
//!
//! Every recording is drawn: a dial with one fault (or none), through the impairments of the accuracy families in
//! turn, rendered to samples, detected and scored like any recording.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use anyhow::Context;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use score::{IdleRun, Plan, Settings};
use synth::families::{self, Family};
use synth::{
    Chatter, Coupling, CutShort, Dial, LateReopening, OffNormal, Scenario, Sound, SoundKind,
    SplitBreak, Unevenness,
};

/// How many recordings.
#[derive(clap::Args)]
pub(crate) struct Options {
    /// Recordings of each fault
    #[arg(long, default_value_t = 100)]
    faults: u64,
    /// Recordings of dials in order
    #[arg(long, default_value_t = 500)]
    healthy: u64,
    /// First index (another start draws other recordings)
    #[arg(long, default_value_t = 0)]
    from: u64,
    /// Only faults whose code contains this
    #[arg(long)]
    fault: Option<String>,
    /// Say which recordings were missed or brought a false alarm
    #[arg(long)]
    verbose: bool,
    /// Write the recordings that were missed or brought a false alarm into this folder, with scenario and truth
    #[arg(long, value_name = "FOLDER")]
    keep: Option<std::path::PathBuf>,
    /// Write the page to this file
    #[arg(short)]
    output: Option<std::path::PathBuf>,
}

/// A fault at the severity drawn, and what the user says when recording it.
struct Fault {
    /// The finding that names it.
    code: &'static str,
    severity: &'static str,
    set: fn(&mut Draw),
    /// Impairments under which the recording can hold any evidence of it.
    can_show: fn(&Scenario) -> bool,
}

/// A recording being drawn.
struct Draw {
    scenario: Scenario,
    settings: Settings,
    random: ChaCha8Rng,
}

impl Draw {
    fn between(&mut self, least: f64, most: f64) -> f64 {
        self.random.random_range(least..most)
    }

    /// Between two sizes, to either side.
    fn either_side(&mut self, least: f64, most: f64) -> f64 {
        let size = self.between(least, most);
        if self.random.random_bool(0.5) {
            size
        } else {
            -size
        }
    }

    fn whole(&mut self, least: usize, most: usize) -> usize {
        self.random.random_range(least..=most)
    }

    /// The user says what was dialled: the digits that a good dial would have sent.
    fn say_number(&mut self) {
        let numbers = &self.scenario.numbers;
        let label = |pulses: &u8| char::from(b'0' + pulses % 10);
        self.settings.dialled = Some(numbers.iter().map(label).collect());
    }

    /// Between two sizes, of one range or the other.
    fn one_of(&mut self, ranges: [(f64, f64); 2]) -> f64 {
        let (least, most) = ranges[usize::from(self.random.random_bool(0.5))];
        self.between(least, most)
    }

    /// The user says what was dialled by the finger plate, and leaves the plan at standard.
    fn say_labels(&mut self, plan: Plan) {
        let numbers = self.scenario.numbers.iter();
        self.settings.dialled = numbers
            .map(|pulses| plan.label(usize::from(*pulses)))
            .collect();
    }

    /// Breaks and makes of these lengths in milliseconds, and limits that are in milliseconds.
    fn lengths(&mut self, break_ms: f64, make_ms: f64) {
        let period_ms = break_ms + make_ms;
        self.scenario.dial.speed_pps = 1000.0 / period_ms;
        self.scenario.dial.percent_break = 100.0 * break_ms / period_ms;
        self.settings.limits = score::limits::find("au-s002").cloned();
    }

    fn say_limits(&mut self) {
        self.settings.limits = score::limits::find("us-1956-earlier").cloned();
    }

    fn off_normal(&mut self) {
        self.scenario.dial.off_normal = Some(OffNormal {
            level_change: 0.15,
            winding_s: 0.9,
            lost_motion_s: 0.25,
        });
        self.scenario.pauses_s = vec![1.6];
        self.scenario.lead_in_s = 1.8;
    }
}

fn any(_: &Scenario) -> bool {
    true
}

/// The step of the off-normal contacts is lost where spikes alone are left, or under noise of its own size.
fn shows_off_normal(scenario: &Scenario) -> bool {
    let corner = match scenario.probe.coupling {
        Coupling::Direct => 0.0,
        Coupling::Capacitor { corner_hz } => corner_hz,
        Coupling::Transformer { .. } | Coupling::TwoCorners { .. } => f64::INFINITY,
    };
    corner < 25.0 && scenario.recorder.noise_db.is_none_or(|db| db > 15.0)
}

fn shows_level(scenario: &Scenario) -> bool {
    scenario.recorder.clipping.is_none() && shows_off_normal(scenario)
}

/// Sound is told from noise and hum only where those are weaker.
fn shows_sound(scenario: &Scenario) -> bool {
    let recorder = &scenario.recorder;
    shows_level(scenario) && recorder.hum.is_none() && recorder.noise_db.is_none_or(|db| db > 25.0)
}

/// A closure of a few milliseconds drowns in heavy noise.
fn shows_short(scenario: &Scenario) -> bool {
    scenario.recorder.noise_db.is_none_or(|db| db > 15.0)
}

/// Chatter is seen down to the recording's floor, which is a few samples and rises with noise.
fn shows_chatter(scenario: &Scenario) -> bool {
    scenario.recorder.sample_rate_hz >= 16_000.0
        && scenario.recorder.noise_db.is_none_or(|db| db > 15.0)
}

const FAULTS: [Fault; 26] = [
    Fault {
        code: "slow",
        severity: "7.0-8.2 pps against 8.5-10.5",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.speed_pps = draw.between(7.0, 8.2);
            draw.say_limits();
        },
    },
    Fault {
        code: "fast",
        severity: "10.8-12.5 pps against 8.5-10.5",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.speed_pps = draw.between(10.8, 12.5);
            draw.say_limits();
        },
    },
    Fault {
        code: "percent-break-high",
        severity: "69-75 % against 59.5-67.5 %",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.percent_break = draw.between(69.0, 75.0);
            draw.say_limits();
        },
    },
    Fault {
        code: "percent-break-low",
        severity: "50-58 % against 59.5-67.5 %",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.percent_break = draw.between(50.0, 58.0);
            draw.say_limits();
        },
    },
    Fault {
        code: "slow-down",
        severity: "last period 5-15 % longer than the first",
        can_show: any,
        set: |draw| draw.scenario.dial.slow_down_percent = draw.between(5.0, 15.0),
    },
    Fault {
        code: "speed-up",
        severity: "last period 5-15 % shorter than the first",
        can_show: any,
        set: |draw| draw.scenario.dial.slow_down_percent = -draw.between(5.0, 15.0),
    },
    Fault {
        code: "first-period-long",
        severity: "first period 6-15 % longer",
        can_show: any,
        set: |draw| {
            let percent = draw.between(6.0, 15.0);
            draw.scenario.dial.unevenness = Unevenness::FirstLong { percent };
        },
    },
    Fault {
        code: "two-pulse-pattern",
        severity: "every second break 4-8 % of the period late",
        can_show: any,
        set: |draw| {
            let percent = draw.either_side(4.0, 8.0);
            draw.scenario.dial.unevenness = Unevenness::Alternate { percent };
        },
    },
    Fault {
        code: "bad-tooth",
        severity: "one break 4-10 % of the period early or late",
        can_show: any,
        set: |draw| {
            let (from_last, percent) = (draw.whole(0, 4), draw.either_side(4.0, 10.0));
            draw.scenario.dial.unevenness = Unevenness::BadTooth { from_last, percent };
        },
    },
    Fault {
        code: "governor-ripple",
        severity: "swing of 4-8 % of the period, once in 2.6-4.5 pulses",
        can_show: any,
        set: |draw| {
            let (percent, pulses) = (draw.between(4.0, 8.0), draw.between(2.6, 4.5));
            draw.scenario.dial.unevenness = Unevenness::Ripple { percent, pulses };
        },
    },
    Fault {
        code: "unevenness",
        severity: "jitter of 2.5-5 % of the period, root mean square",
        can_show: any,
        set: |draw| draw.scenario.dial.jitter_percent = draw.between(2.5, 5.0),
    },
    Fault {
        code: "chatter",
        severity: "up to 5-8 ms from first to last closure",
        can_show: shows_chatter,
        set: |draw| {
            draw.scenario.dial.chatter = Some(Chatter {
                total_s: draw.between(0.005, 0.008),
                reopenings: 2,
            });
        },
    },
    Fault {
        code: "split-break",
        severity: "a closure of 6-12 ms in one break",
        can_show: shows_short,
        set: |draw| {
            draw.scenario.dial.split_break = Some(SplitBreak {
                pulse: draw.whole(1, 3),
                closure_s: draw.between(0.006, 0.012),
            });
        },
    },
    Fault {
        code: "late-reopening",
        severity: "an opening of 3-6 ms, 7-12 ms into one make",
        can_show: shows_short,
        set: |draw| {
            draw.scenario.dial.late_reopening = Some(LateReopening {
                pulse: draw.whole(0, 3),
                after_s: draw.between(0.007, 0.012),
                opening_s: draw.between(0.003, 0.006),
            });
        },
    },
    Fault {
        code: "hole",
        severity: "one pulse missing inside every digit",
        can_show: any,
        set: |draw| draw.scenario.dial.missing_pulse = Some(draw.whole(1, 3)),
    },
    Fault {
        code: "idle-run-not-bridged",
        severity: "two or three extra pulses in every digit",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.idle_pulses = draw.whole(2, 3);
            draw.say_number();
        },
    },
    Fault {
        code: "extra-pulses",
        severity: "one extra pulse in every digit",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.extra_pulse = true;
            // With ten pulses meant, eleven are no plan's; without one, all fit the plan zero-first.
            draw.scenario.numbers.push(10);
            draw.say_number();
        },
    },
    Fault {
        code: "first-pulse-lost",
        severity: "first pulse missing in every digit",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.first_pulse_lost = true;
            draw.say_number();
        },
    },
    Fault {
        code: "missing-pulses",
        severity: "one or two pulses missing at the start of one digit",
        can_show: any,
        set: |draw| {
            draw.scenario.dial.cut_short = Some(CutShort {
                digit: draw.whole(0, draw.scenario.numbers.len() - 1),
                pulses: draw.whole(1, 2),
            });
            draw.say_number();
        },
    },
    Fault {
        code: "other-plan",
        severity: "a number dialled on a dial of the plan zero-first or reversed",
        can_show: any,
        set: |draw| {
            let plan = if draw.random.random_bool(0.5) {
                Plan::ZeroFirst
            } else {
                Plan::Reversed
            };
            // Five and ten pulses are the same digits on both; a number of nothing else fits two plans.
            draw.scenario.numbers[0] = draw.whole(6, 9) as u8;
            if draw.scenario.numbers[1] == draw.scenario.numbers[0] {
                draw.scenario.numbers[1] = 10;
            }
            draw.say_labels(plan);
        },
    },
    Fault {
        code: "break-length",
        severity: "breaks of 72-80 or 50-58 ms against 60-70, makes of 32-38 ms",
        can_show: any,
        set: |draw| {
            let break_ms = draw.one_of([(72.0, 80.0), (50.0, 58.0)]);
            let make_ms = draw.between(32.0, 38.0);
            draw.lengths(break_ms, make_ms);
        },
    },
    Fault {
        code: "make-length",
        severity: "makes of 42-50 or 22-28 ms against 30-40, breaks of 62-68 ms",
        can_show: any,
        set: |draw| {
            let break_ms = draw.between(62.0, 68.0);
            let make_ms = draw.one_of([(42.0, 50.0), (22.0, 28.0)]);
            draw.lengths(break_ms, make_ms);
        },
    },
    Fault {
        code: "pulses-while-winding",
        severity: "two or three openings while winding, off-normal step 15 %",
        can_show: shows_off_normal,
        set: |draw| {
            draw.off_normal();
            draw.scenario.dial.winding_pulses = draw.whole(2, 3);
        },
    },
    Fault {
        code: "lost-motion-short",
        severity: "60-150 ms, off-normal step 15 %, idle run said to be at the end",
        can_show: shows_off_normal,
        set: |draw| {
            draw.off_normal();
            let lost_motion_s = draw.between(0.06, 0.15);
            draw.scenario.dial.off_normal =
                draw.scenario.dial.off_normal.map(|off_normal| OffNormal {
                    lost_motion_s,
                    ..off_normal
                });
            draw.settings.idle_run = Some(IdleRun::End);
        },
    },
    Fault {
        code: "make-level-sags",
        severity: "make level 12-35 % lower at the last make",
        can_show: shows_level,
        set: |draw| draw.scenario.dial.make_level_sag = draw.between(0.12, 0.35),
    },
    Fault {
        code: "off-normal-not-shorting",
        severity: "sound through the contacts, peak 20-50 % of the step",
        can_show: shows_sound,
        set: |draw| {
            let level = draw.between(0.2, 0.5);
            draw.scenario.sounds.push(Sound {
                kind: SoundKind::Speech,
                level,
                start_s: None,
                end_s: None,
                until_first_break: false,
                while_closed: true,
            });
        },
    },
];

/// What became of one recording.
struct Outcome {
    index: u64,
    impairment: &'static str,
    /// Codes found, each once.
    codes: Vec<&'static str>,
    /// Digits, and how many of them are sure.
    digits: usize,
    sure: usize,
}

/// Measures and writes the page.
pub(crate) fn run(options: &Options) -> anyhow::Result<()> {
    let mut page = introduction(options);
    println!("healthy: {} recordings", options.healthy);
    let healthy = drawn(None, options.healthy, options);
    let alarms = alarms(&healthy);
    say_alarms(&healthy, options);
    keep(None, &healthy, options)?;
    page.push_str(&healthy_part(&healthy));
    page.push_str(HEAD);
    for fault in FAULTS.iter().filter(|fault| {
        options
            .fault
            .as_ref()
            .is_none_or(|part| fault.code.contains(part))
    }) {
        let outcomes = drawn(Some(fault), options.faults, options);
        let row = row(fault, &outcomes, &alarms, healthy.len());
        print!("{row}");
        say_misses(fault, &outcomes, options);
        keep(Some(fault), &outcomes, options)?;
        page.push_str(&row);
    }
    page.push_str(TAIL);
    if let Some(path) = &options.output {
        std::fs::write(path, &page).with_context(|| format!("cannot write {}", path.display()))?;
    }
    Ok(())
}

/// Draws, renders, detects and scores. Recordings that cannot hold evidence of the fault are passed over.
fn drawn(fault: Option<&Fault>, count: u64, options: &Options) -> Vec<Outcome> {
    let wanted = (options.from..).filter_map(|index| {
        let (draw, impairment) = draw(fault, index);
        fault
            .is_none_or(|fault| (fault.can_show)(&draw.scenario))
            .then_some((index, draw, impairment))
    });
    let chosen: Vec<(u64, Draw, &'static str)> = wanted.take(count as usize).collect();
    chosen
        .into_par_iter()
        .map(|(index, draw, impairment)| outcome(index, &draw, impairment))
        .collect()
}

/// The families of impairments in turn; those that change the dial itself, and speeds no bench would see, are left out.
fn impairments() -> Vec<&'static Family> {
    families::singles()
        .iter()
        .filter(|family| family.measures.sure && family.measures.count)
        .filter(|family| !DIAL_FAMILIES.iter().any(|part| family.name.contains(part)))
        .collect()
}

/// Parts of names of families that change the dial, not the recording.
const DIAL_FAMILIES: [&str; 8] = [
    "chatter",
    "speed 5",
    "percent break 35",
    "long numbers",
    "missing",
    "extra",
    "uneven",
    "slowing",
];

fn draw(fault: Option<&Fault>, index: u64) -> (Draw, &'static str) {
    let impairments = impairments();
    let family = impairments[index as usize % impairments.len()];
    let seed = index
        ^ fault.map_or(0, |fault| {
            fault.code.bytes().map(u64::from).sum::<u64>() << 32
        });
    let mut draw = Draw {
        scenario: families::draw(family, index),
        settings: Settings::default(),
        random: ChaCha8Rng::seed_from_u64(seed),
    };
    draw.scenario.dial = dial_in_order(&mut draw);
    draw.scenario.numbers = numbers(&mut draw);
    draw.scenario.pauses_s = vec![draw.between(0.6, 1.2)];
    draw.scenario.other_openings_s.clear();
    if let Some(fault) = fault {
        (fault.set)(&mut draw);
    } else if index % 2 == 1 {
        // Half of the dials in order are looked at as a user with limits and a number would.
        draw.say_number();
        draw.say_limits();
    }
    if fault.is_none() && index % 4 >= 2 {
        // Half have off-normal contacts that show, and a user who says where the dial idles.
        draw.off_normal();
        draw.settings.idle_run = Some(IdleRun::End);
    }
    (draw, family.name)
}

/// Within every limit used here, with a little jitter and slow-down, and often with chatter as usual contacts have it.
fn dial_in_order(draw: &mut Draw) -> Dial {
    let chatter = draw.random.random_bool(0.4).then(|| Chatter {
        total_s: draw.between(0.0003, 0.0018),
        reopenings: 2,
    });
    Dial {
        speed_pps: draw.between(9.0, 10.2),
        percent_break: draw.between(61.0, 66.5),
        slow_down_percent: draw.between(-0.8, 1.2),
        jitter_percent: draw.between(0.0, 0.35),
        chatter,
        off_normal: draw.scenario.dial.off_normal,
        ..Dial::default()
    }
}

/// Two to four digits of five pulses and more, the first two different, as somebody would dial who tests a dial.
fn numbers(draw: &mut Draw) -> Vec<u8> {
    let mut numbers: Vec<u8> = (0..draw.whole(2, 4))
        .map(|_| draw.whole(6, 10) as u8)
        .collect();
    if numbers[0] == numbers[1] {
        numbers[1] = 5;
    }
    numbers
}

fn outcome(index: u64, draw: &Draw, impairment: &'static str) -> Outcome {
    let rendered = synth::render(&draw.scenario);
    let mut detector = edges::Detector::new(rendered.sample_rate_hz);
    detector.push(&rendered.channels[rendered.truth.channel - 1]);
    let scored = score::score(&detector.finish(), &draw.settings);
    let mut codes: Vec<&'static str> = scored.findings.iter().map(|finding| finding.code).collect();
    codes.sort_unstable();
    codes.dedup();
    Outcome {
        index,
        impairment,
        codes,
        digits: scored.digits.len(),
        sure: scored.digits.iter().filter(|digit| digit.sure).count(),
    }
}

/// How often each code was found.
fn alarms(outcomes: &[Outcome]) -> BTreeMap<&'static str, usize> {
    let mut alarms = BTreeMap::new();
    for code in outcomes.iter().flat_map(|outcome| &outcome.codes) {
        *alarms.entry(*code).or_insert(0) += 1;
    }
    alarms
}

fn introduction(options: &Options) -> String {
    format!(
        "# How often findings are right\n\n\
         Made by `cargo run --release -p xtask -- findings --faults {} --healthy {} --from {} -o docs/findings.md`. \
         Every recording is drawn, rendered to samples, detected and scored like any other: a dial with one fault \
         or none, two to four digits, through {} kinds of impairment in turn (coupling, noise, hum, clipping, low \
         rates and coarse encodings, loops with relays, other channels, speech). All of it is simulated; another \
         `--from` draws other recordings.\n\n\
         Dials in order here have up to 0.35 % jitter, 1.2 % slow-down and 1.8 ms of chatter; half have off-normal \
         contacts that show, half are judged by limits and a dialled number.\n\n",
        options.faults,
        options.healthy,
        options.from,
        impairments().len(),
    )
}

const HEAD: &str = "\n## Dials with a fault\n\n\
| finding | severity drawn | recordings | found | found, of those with a sure digit | most often found instead or beside | \
false alarms on dials in order |\n|---|---|---|---|---|---|---|\n";

const TAIL: &str = "\n- **found**: the finding that names the fault is among the findings. Where no digit is beyond doubt, \
findings that need sure digits are withheld: the next column leaves those recordings out.\n\
- **instead or beside**: other findings on the same recordings, and on how many. Some follow from the fault itself: \
surplus or missing pulses of single digits beside a finding about all of them, or a late opening beside a long period.\n\
- Chatter, off-normal contacts and the make level leave no trace in some kinds of recording (spikes only, heavy noise, \
samples cut off flat, low rates): those are not drawn for these findings.\n\
- The aim is 95 % found and under 1 % false alarms. `--verbose` names every miss with its kind of recording, \
`--keep FOLDER` writes them.\n\
- `split-break` and `late-reopening` are never sure by design: the digit's count is in doubt, so only the first column \
tells.\n\
- Every finding has a row: a test of this page's program compares it with the list.\n";

fn healthy_part(healthy: &[Outcome]) -> String {
    let with_any = healthy
        .iter()
        .filter(|outcome| !outcome.codes.is_empty())
        .count();
    let sure = healthy.iter().filter(|outcome| outcome.sure > 0).count();
    let mut part = format!(
        "## Dials in order\n\n{} recordings, {sure} with a digit beyond doubt; {with_any} with any finding ({:.1} %).\n",
        healthy.len(),
        percent(with_any, healthy.len())
    );
    for (code, count) in alarms(healthy) {
        let _ = writeln!(part, "- `{code}`: {count}");
    }
    part
}

fn row(
    fault: &Fault,
    outcomes: &[Outcome],
    alarms: &BTreeMap<&'static str, usize>,
    healthy: usize,
) -> String {
    let found = |outcome: &&Outcome| outcome.codes.contains(&fault.code);
    let hits = outcomes.iter().filter(found).count();
    let sure: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.sure > 0).collect();
    let sure_hits = sure.iter().filter(|outcome| found(outcome)).count();
    let mut others: Vec<(&str, usize)> = self::alarms(outcomes)
        .into_iter()
        .filter(|(code, _)| *code != fault.code)
        .collect();
    others.sort_by_key(|(code, count)| (std::cmp::Reverse(*count), *code));
    let others: Vec<String> = others
        .iter()
        .take(3)
        .map(|(code, count)| format!("`{code}` {count}"))
        .collect();
    format!(
        "| `{}` | {} | {} | {hits} ({:.0} %) | {sure_hits} of {} ({:.1} %) | {} | {:.1} % |\n",
        fault.code,
        fault.severity,
        outcomes.len(),
        percent(hits, outcomes.len()),
        sure.len(),
        percent(sure_hits, sure.len()),
        others.join(", "),
        percent(alarms.get(fault.code).copied().unwrap_or(0), healthy),
    )
}

fn percent(part: usize, whole: usize) -> f64 {
    100.0 * part as f64 / whole.max(1) as f64
}

fn say_alarms(healthy: &[Outcome], options: &Options) {
    if options.verbose {
        for outcome in healthy.iter().filter(|outcome| !outcome.codes.is_empty()) {
            println!(
                "    healthy {} ({}): {:?}",
                outcome.index, outcome.impairment, outcome.codes
            );
        }
    }
}

/// Writes the recordings of which the findings are not what they should be, for the eyes and for `check`.
fn keep(fault: Option<&Fault>, outcomes: &[Outcome], options: &Options) -> anyhow::Result<()> {
    let Some(folder) = &options.keep else {
        return Ok(());
    };
    std::fs::create_dir_all(folder)
        .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    let is_odd = |outcome: &&Outcome| match fault {
        Some(fault) => !outcome.codes.contains(&fault.code),
        None => !outcome.codes.is_empty(),
    };
    let name = fault.map_or("healthy", |fault| fault.code);
    for outcome in outcomes.iter().filter(is_odd) {
        let (draw, _) = draw(fault, outcome.index);
        let mut rendered = synth::render(&draw.scenario);
        // The channel with the dial alone, as it was detected.
        let own = rendered.channels.swap_remove(rendered.truth.channel - 1);
        rendered.channels = vec![own];
        let path = folder.join(format!("{name}-{}.wav", outcome.index));
        synth::write_wav(&rendered, synth::Encoding::F32, &path)?;
        synth::write_truth(&rendered, &path)?;
        let scenario = serde_json::to_string_pretty(&draw.scenario)? + "\n";
        let path = path.with_extension("scenario.json");
        std::fs::write(&path, scenario)
            .with_context(|| format!("cannot write {}", path.display()))?;
    }
    Ok(())
}

fn say_misses(fault: &Fault, outcomes: &[Outcome], options: &Options) {
    if options.verbose {
        for outcome in outcomes
            .iter()
            .filter(|outcome| !outcome.codes.contains(&fault.code))
        {
            println!(
                "    {} {} ({}): {:?}, {} digits, {} sure",
                fault.code,
                outcome.index,
                outcome.impairment,
                outcome.codes,
                outcome.digits,
                outcome.sure
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::FAULTS;

    #[test]
    fn every_finding_has_a_fault_in_the_study() {
        let mut studied: Vec<&str> = FAULTS.iter().map(|fault| fault.code).collect();
        studied.sort_unstable();
        assert_eq!(studied, score::FINDING_CODES);
    }
}
