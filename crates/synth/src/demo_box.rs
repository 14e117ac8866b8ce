//! A box of dials from the same museum that does not exist: two takes of each, faults planted, two files that are
//! no recordings.

use std::fs;
use std::path::{Path, PathBuf};

use crate::demo::{bench, dial};
use crate::recorder::render;
use crate::scenario::{Chatter, Dial, Scenario, Unevenness};
use crate::wav::{WavError, write_wav};

/// A fault that is planted in a dial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// None: 9.5 to 10.5 pps and 60 to 64 % break.
    None,
    /// Below 9.5 pps.
    Slow,
    /// Above 10.5 pps.
    Fast,
    /// More than 64 % break.
    HighBreak,
    /// Less than 60 % break.
    LowBreak,
    /// The last period is longer than the first by this many percent.
    SlowDown(f64),
    /// The contact opens again for as long as this after closing, in seconds.
    Chatter(f64),
    /// One break comes late by this many percent of the period.
    BentTooth(f64),
}

impl Fault {
    fn words(self) -> String {
        match self {
            Fault::None => "good".to_owned(),
            Fault::Slow => "slow".to_owned(),
            Fault::Fast => "fast".to_owned(),
            Fault::HighBreak => "percent break too large".to_owned(),
            Fault::LowBreak => "percent break too small".to_owned(),
            Fault::SlowDown(percent) => format!("slows by {percent} % over the digit"),
            Fault::Chatter(seconds) => format!("chatters for up to {} ms", seconds * 1e3),
            Fault::BentTooth(percent) => {
                format!("one break comes late by {percent} % of the period")
            }
        }
    }

    fn plant(self, dial: Dial) -> Dial {
        match self {
            Fault::SlowDown(slow_down_percent) => Dial {
                slow_down_percent,
                ..dial
            },
            Fault::Chatter(total_s) => Dial {
                chatter: Some(Chatter {
                    total_s,
                    reopenings: 3,
                }),
                ..dial
            },
            Fault::BentTooth(percent) => Dial {
                unevenness: Unevenness::BadTooth {
                    from_last: 4,
                    percent,
                },
                ..dial
            },
            _ => dial,
        }
    }
}

/// A dial of the box.
#[derive(Clone, Copy, Debug)]
pub struct Boxed {
    /// Name in the file name, with where the dial was found.
    pub name: &'static str,
    /// Pulsing speed, in pulses per second.
    pub speed_pps: f64,
    /// Percent break.
    pub percent_break: f64,
    /// What is wrong with it.
    pub fault: Fault,
}

const fn boxed(name: &'static str, speed_pps: f64, percent_break: f64, fault: Fault) -> Boxed {
    Boxed {
        name,
        speed_pps,
        percent_break,
        fault,
    }
}

/// The dials of the box.
pub const BOX: [Boxed; 24] = [
    boxed("01-ticket-office", 10.0, 62.0, Fault::None),
    boxed("02-parcels", 9.8, 61.5, Fault::None),
    boxed("03-lamp-room", 8.1, 62.2, Fault::Slow),
    boxed("04-signal-cabin", 10.2, 62.6, Fault::None),
    boxed("05-goods-shed", 9.9, 61.9, Fault::SlowDown(9.0)),
    boxed("06-refreshments", 10.1, 67.2, Fault::HighBreak),
    boxed("07-waiting-room", 10.3, 61.2, Fault::None),
    boxed("08-porter", 11.2, 62.0, Fault::Fast),
    boxed("09-coal-yard", 10.0, 61.7, Fault::Chatter(0.003)),
    boxed("10-level-crossing", 9.7, 62.4, Fault::None),
    boxed("11-weighbridge", 8.9, 61.0, Fault::Slow),
    boxed("12-engine-shed", 10.05, 56.3, Fault::LowBreak),
    boxed("13-platform-two", 9.95, 63.1, Fault::None),
    boxed("14-telegraph-desk", 10.4, 62.0, Fault::None),
    boxed("15-drawer-left", 9.9, 62.0, Fault::SlowDown(14.0)),
    boxed("16-drawer-right", 10.1, 61.8, Fault::BentTooth(6.0)),
    boxed("17-attic", 12.4, 61.4, Fault::Fast),
    boxed("18-stationmaster", 10.0, 61.6, Fault::None),
    boxed("19-water-tower", 9.3, 62.0, Fault::Slow),
    boxed("20-crane", 10.15, 70.4, Fault::HighBreak),
    boxed("21-subway", 9.85, 60.9, Fault::None),
    boxed("22-carriage-siding", 10.0, 58.1, Fault::LowBreak),
    boxed("23-bookstall", 10.25, 62.1, Fault::Chatter(0.0045)),
    boxed("24-footbridge", 9.6, 62.9, Fault::None),
];

/// Files of the box that are no recordings, with what they hold.
pub const UNREADABLE: [(&str, &[u8]); 2] = [
    ("25-never-recorded-1.wav", b""),
    (
        "26-a-note-1.wav",
        b"Remember to record this one on Thursday.\n",
    ),
];

impl Boxed {
    /// Take 1 or 2 of the digit 0. A dial differs a little from one winding to the next.
    fn scenario(&self, number: u64, take: u64) -> Scenario {
        let winding = 1.0 + 0.002 * ((number * 7 + take * 3) % 5) as f64 - 0.004;
        let mut scenario = bench(
            100 * number + take,
            self.fault
                .plant(dial(self.speed_pps * winding, self.percent_break)),
        );
        scenario.recorder.sample_rate_hz = 16_000.0;
        (scenario.lead_in_s, scenario.tail_s) = (0.7, 0.5);
        scenario
    }
}

/// Writes the box, with a page that says what was planted. Returns what was written.
///
/// # Errors
/// When a file cannot be written.
pub fn write_box(folder: impl AsRef<Path>) -> Result<Vec<PathBuf>, WavError> {
    let folder = folder.as_ref();
    let mut written = Vec::new();
    for (number, boxed) in (1..).zip(&BOX) {
        for take in 1..=2 {
            let path = folder.join(format!("{}-{take}.wav", boxed.name));
            let rendered = render(&boxed.scenario(number, take));
            write_wav(&rendered, rendered.encoding, &path)?;
            written.push(path);
        }
    }
    let readme = readme();
    let texts = UNREADABLE
        .iter()
        .copied()
        .chain([("README.md", readme.as_bytes())]);
    for (name, bytes) in texts {
        let path = folder.join(name);
        fs::write(&path, bytes).map_err(|source| WavError::Io {
            path: path.clone(),
            source,
        })?;
        written.push(path);
    }
    Ok(written)
}

fn readme() -> String {
    let row = |boxed: &Boxed| {
        format!(
            "| {} | {} | {} | {} |\n",
            boxed.name,
            boxed.speed_pps,
            boxed.percent_break,
            boxed.fault.words()
        )
    };
    README_HEAD.to_owned() + &BOX.iter().map(row).collect::<String>()
}

const README_HEAD: &str = "# A box of dials

The spare dials of the Quillmoor Halt museum, two takes of the digit 0 from each, and two files that are no recordings.
**All of it is invented**, as in the folder above; `synth::demo_box::write_box` makes it again.

    fingerstop batch demo-recordings/box --name '{dial}-{take}' --limits us-1956-later --html box.html

What was planted, against 9.5 to 10.5 pps and 60 to 64 % break. Both takes of a dial differ by up to 0.8 % in speed, as
dials do from one winding to the next. A dial that slows, chatters or is uneven passes these limits, which hold for the
means; the findings tell it.

| dial | pps | % break | planted |
|---|---|---|---|
";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::tests::differ;

    #[test]
    fn the_box_in_the_project_is_what_this_crate_makes() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-recordings/box");
        let made = tempfile::tempdir().unwrap();
        let written = write_box(made.path()).unwrap();
        assert_eq!(written.len(), 2 * BOX.len() + UNREADABLE.len() + 1);
        let kept = fs::read_dir(&folder).unwrap().count();
        assert_eq!(kept, written.len());
        for path in written {
            let name = path.file_name().unwrap().to_str().unwrap();
            let (new, kept) = (
                fs::read(&path).unwrap(),
                fs::read(folder.join(name)).unwrap(),
            );
            assert!(!differ(name, &new, &kept), "{name} is out of date");
        }
    }

    #[test]
    fn faults_are_planted_where_the_page_says() {
        for boxed in &BOX {
            let (slow, fast) = (boxed.speed_pps < 9.5, boxed.speed_pps > 10.5);
            let (low, high) = (boxed.percent_break < 60.0, boxed.percent_break > 64.0);
            let planted = [slow, fast, low, high];
            let expected = [Fault::Slow, Fault::Fast, Fault::LowBreak, Fault::HighBreak]
                .map(|fault| boxed.fault == fault);
            assert_eq!(planted, expected, "{}", boxed.name);
        }
    }
}
