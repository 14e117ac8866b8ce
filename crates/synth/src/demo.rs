//! The demo recordings: one evening at the workbench of a museum that does not exist.

use std::fs;
use std::path::{Path, PathBuf};

use crate::encoding::Encoding;
use crate::recorder::{Rendered, render};
use crate::scenario::{
    Chatter, Coupling, Dial, Hum, Line, Loop, OffNormal, Probe, Quench, Recorder, Ringer, Scenario,
    Sound, SoundKind,
};
use crate::wav::{WavError, write_truth, write_wav};

/// One demo recording.
pub struct Demo {
    /// File name without its ending.
    pub name: &'static str,
    /// What it is, in one line.
    pub title: &'static str,
    /// What it shows.
    pub shows: &'static str,
    /// Command to try in the folder above.
    pub command: &'static str,
    scenario: fn() -> Scenario,
}

impl Demo {
    /// The recording with its truth.
    pub fn render(&self) -> Rendered {
        render(&(self.scenario)())
    }
}

static DEMOS: [Demo; 9] = [
    Demo {
        name: "dial-a-good",
        title: "Dial A, from the ticket office set: a good dial",
        shows: "The digit 0 at 10.0 pps and 62 % break. It passes 9.5 to 10.5 pps and 60 to 64 %, and fails limits that \
                want 63 % or more: which limits are chosen decides.",
        command: "fingerstop check demo-recordings/dial-a-good.wav --limits us-1956-later",
        scenario: || bench(1, dial(10.0, 62.0)),
    },
    Demo {
        name: "dial-b-before",
        title: "Dial B, from the signal cabin, before adjustment: slow",
        shows: "The digit 0 at 8.2 pps and 62 % break: too slow for every set of limits around 10 pps.",
        command: "fingerstop check demo-recordings/dial-b-before.wav --limits us-1956-later",
        scenario: || bench(2, dial(8.2, 62.0)),
    },
    Demo {
        name: "dial-b-after",
        title: "Dial B, after its governor was cleaned and set",
        shows: "The same dial at 9.9 pps and 61.8 % break: the speed has changed, the percent break has hardly moved.",
        command: "fingerstop check demo-recordings/dial-b-before.wav demo-recordings/dial-b-after.wav --limits us-1956-later",
        scenario: || bench(3, dial(9.9, 61.8)),
    },
    Demo {
        name: "dial-c-high-break",
        title: "Dial C, from the waiting room: percent break too large",
        shows: "The digit 0 at 10.1 pps and 72 % break: the speed passes, the percent break fails.",
        command: "fingerstop check demo-recordings/dial-c-high-break.wav --limits us-1956-later",
        scenario: || bench(4, dial(10.1, 72.0)),
    },
    Demo {
        name: "dial-d-sluggish",
        title: "Dial D, from the goods shed: sluggish",
        shows: "The digit 0 at 9.9 pps in the mean, but the last period is 12 % longer than the first: the mean passes, \
                the finding says why the dial needs care.",
        command: "fingerstop check demo-recordings/dial-d-sluggish.wav --limits us-1956-later",
        scenario: || {
            bench(
                5,
                Dial {
                    slow_down_percent: 12.0,
                    ..dial(9.9, 62.0)
                },
            )
        },
    },
    Demo {
        name: "dial-e-chatter",
        title: "Dial E, found in a drawer: the pulsing contact chatters",
        shows: "The digit 0 at 10.0 pps and 62 % break, with the contact opening again once to three times in the 1.5 to \
                3 ms after each closing.",
        command: "fingerstop check demo-recordings/dial-e-chatter.wav --limits us-1956-later",
        scenario: || {
            bench(
                6,
                Dial {
                    chatter: Some(Chatter {
                        total_s: 0.003,
                        reopenings: 3,
                    }),
                    ..dial(10.0, 62.0)
                },
            )
        },
    },
    Demo {
        name: "number-1234567",
        title: "Dial A again, seven digits on the museum's own exchange",
        shows: "1234567 through feed relays, with the set's ringer and quench across the line: current that rises \
                slowly, a contact that does not.",
        command: "fingerstop check demo-recordings/number-1234567.wav --limits us-1956-later --dialled 1234567",
        scenario: whole_number,
    },
    Demo {
        name: "phone-quality-50",
        title: "Dial A over a poor recording: 8 kHz mu-law, noise, hum and dial tone",
        shows: "The digits 5 and 0 under noise 22 dB below the step, hum of an eighth of it, and dial tone until the \
                first break.",
        command: "fingerstop check demo-recordings/phone-quality-50.wav --limits us-1956-later --dialled 50",
        scenario: phone_quality,
    },
    Demo {
        name: "nothing-dialled",
        title: "The line while nobody dials",
        shows: "Dial tone, talk and a few clicks. Nothing is dialled, and nothing may be found.",
        command: "fingerstop check demo-recordings/nothing-dialled.wav",
        scenario: nothing_dialled,
    },
];

/// The demo recordings.
pub fn demos() -> &'static [Demo] {
    &DEMOS
}

/// Writes every demo recording with its truth beside it, and a README. Returns what was written.
pub fn write_all(folder: impl AsRef<Path>) -> Result<Vec<PathBuf>, WavError> {
    let folder = folder.as_ref();
    let mut written = Vec::new();
    for demo in demos() {
        let rendered = demo.render();
        let path = folder.join(demo.name).with_extension("wav");
        write_wav(&rendered, rendered.encoding, &path)?;
        written.push(write_truth(&rendered, &path)?);
        written.push(path);
    }
    let path = folder.join("README.md");
    fs::write(&path, readme()).map_err(|source| WavError::Io {
        path: path.clone(),
        source,
    })?;
    written.push(path);
    Ok(written)
}

fn readme() -> String {
    let sections = demos().iter().map(|demo| {
        format!(
            "## {}.wav\n\n**{}.** {}\n\n    {}\n",
            demo.name, demo.title, demo.shows, demo.command
        )
    });
    std::iter::once(README_HEAD.to_string())
        .chain(sections)
        .collect::<Vec<_>>()
        .join("\n")
}

const README_HEAD: &str = "# Demo recordings

One Thursday evening at the workbench of the Quillmoor Halt museum: the volunteers measure the dials of the
old station's telephones through the line input of a computer.

**All of it is invented.** There is no such museum, no such evening and no such dial, and nobody recorded
anything: every file here was generated by this project's own models, which know what was dialled. The truth
lies beside each recording as `NAME.truth.json`: the instant of every break and make, and the measures that
follow from them. `synth::demo::write_all` makes the whole folder again.
";

pub(crate) fn dial(speed_pps: f64, percent_break: f64) -> Dial {
    Dial {
        speed_pps,
        percent_break,
        jitter_percent: 0.15,
        off_normal: Some(OffNormal {
            level_change: 0.14,
            winding_s: 0.55,
            lost_motion_s: 0.12,
        }),
        ..Dial::default()
    }
}

/// One digit 0 on the bench: a few volts through a resistor, line input, a little hum and noise.
pub(crate) fn bench(seed: u64, dial: Dial) -> Scenario {
    Scenario {
        seed,
        dial,
        numbers: vec![10],
        probe: Probe {
            coupling: Coupling::Capacitor { corner_hz: 3.0 },
            inverted: false,
        },
        recorder: Recorder {
            sample_rate_hz: 22_050.0,
            encoding: Encoding::S16,
            level: 0.35,
            noise_db: Some(46.0),
            hum: Some(hum(0.01)),
            ..Recorder::default()
        },
        lead_in_s: 0.9,
        tail_s: 0.6,
        ..Scenario::default()
    }
}

fn hum(amplitude: f64) -> Hum {
    Hum {
        mains_hz: 50.02,
        amplitudes: vec![amplitude, 0.1 * amplitude, 0.35 * amplitude],
    }
}

fn whole_number() -> Scenario {
    let mut scenario = bench(7, dial(10.1, 62.0));
    scenario.numbers = (1..=7).collect();
    scenario.pauses_s = vec![0.72, 0.66, 0.81, 0.7];
    scenario.line = Line::Loop(Loop {
        set_ohm: 220.0,
        quench: Some(Quench {
            ohm: 100.0,
            farad: 0.1e-6,
        }),
        ringer: Some(Ringer {
            ohm: 2_000.0,
            henry: 25.0,
            farad: 1e-6,
        }),
        ..Loop::default()
    });
    scenario.recorder.sample_rate_hz = 8_000.0;
    scenario.recorder.level = 0.3;
    scenario
}

fn phone_quality() -> Scenario {
    let mut scenario = bench(8, dial(10.0, 62.0));
    scenario.numbers = vec![5, 10];
    scenario.recorder.sample_rate_hz = 8_000.0;
    scenario.recorder.encoding = Encoding::MuLaw;
    scenario.recorder.noise_db = Some(22.0);
    scenario.recorder.hum = Some(hum(0.12));
    scenario.sounds = vec![dial_tone(0.1)];
    scenario
}

fn nothing_dialled() -> Scenario {
    let mut scenario = bench(9, dial(10.0, 62.0));
    scenario.numbers.clear();
    scenario.recorder.sample_rate_hz = 16_000.0;
    (scenario.lead_in_s, scenario.tail_s) = (5.0, 0.0);
    let sound = |kind, level, start_s| Sound {
        kind,
        level,
        start_s: Some(start_s),
        ..dial_tone(0.1)
    };
    scenario.sounds = vec![
        Sound {
            end_s: Some(1.8),
            ..dial_tone(0.2)
        },
        sound(SoundKind::Speech, 0.8, 2.0),
        sound(SoundKind::Clicks { per_second: 1.5 }, 0.6, 0.0),
    ];
    scenario
}

fn dial_tone(level: f64) -> Sound {
    let kind = SoundKind::Tones {
        frequencies_hz: vec![350.0, 440.0],
        cadence: None,
    };
    Sound {
        kind,
        level,
        start_s: None,
        end_s: None,
        until_first_break: true,
        while_closed: false,
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::Truth;
    use approx::assert_abs_diff_eq;

    const MOST_BYTES: u64 = 200_000;

    #[test]
    fn everything_is_written_small_and_twice_alike() {
        let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let written = write_all(one.path()).unwrap();
        write_all(two.path()).unwrap();
        assert_eq!(written.len(), 2 * demos().len() + 1);
        for path in written {
            let bytes = fs::read(&path).unwrap();
            assert!(
                (100..MOST_BYTES).contains(&(bytes.len() as u64)),
                "{} {}",
                path.display(),
                bytes.len()
            );
            assert_eq!(
                bytes,
                fs::read(two.path().join(path.file_name().unwrap())).unwrap()
            );
        }
    }

    fn truth(name: &str) -> Truth {
        demos()
            .iter()
            .find(|d| d.name == name)
            .unwrap()
            .render()
            .truth
    }

    #[test]
    fn the_dials_are_what_the_readme_says() {
        // Jitter of 0.15 % of a period moves the mean of nine periods by some 0.02 % and the percent break
        // by some 0.15 / sqrt(4.5) = 0.07 points; four times that.
        for (name, speed, percent_break) in [
            ("dial-a-good", 10.0, 62.0),
            ("dial-b-before", 8.2, 62.0),
            ("dial-b-after", 9.9, 61.8),
            ("dial-c-high-break", 10.1, 72.0),
            ("dial-d-sluggish", 9.9, 62.0),
            ("dial-e-chatter", 10.0, 62.0),
        ] {
            let digit = &truth(name).digits[0];
            assert_eq!(digit.digit, Some(0), "{name}");
            assert_abs_diff_eq!(digit.speed_pps.unwrap(), speed, epsilon = 0.01);
            assert_abs_diff_eq!(digit.percent_break.unwrap(), percent_break, epsilon = 0.3);
        }
        assert_abs_diff_eq!(
            truth("dial-d-sluggish").digits[0]
                .slow_down_percent
                .unwrap(),
            12.0,
            epsilon = 0.6
        );
        assert!(
            truth("dial-e-chatter").digits[0]
                .breaks
                .iter()
                .all(|b| b.chatter_s() >= 0.0015 - 1e-9)
        );
    }

    #[test]
    fn the_numbers_are_what_the_file_names_say() {
        let digits = |name| {
            truth(name)
                .digits
                .iter()
                .filter_map(|d| d.digit)
                .collect::<Vec<_>>()
        };
        assert_eq!(digits("number-1234567"), vec![1, 2, 3, 4, 5, 6, 7]);
        assert_eq!(digits("phone-quality-50"), vec![5, 0]);
        assert!(truth("nothing-dialled").digits.is_empty());
    }

    /// Mathematical functions differ in their last digit from one machine to another, which turns a sample
    /// over to its neighbouring code now and then.
    pub(crate) fn differ(name: &str, one: &[u8], two: &[u8]) -> bool {
        let differing = one.iter().zip(two).filter(|(a, b)| a != b).count();
        let allowed = if name.ends_with(".md") {
            0
        } else {
            one.len() / 200
        };
        one.len().abs_diff(two.len()) > allowed || differing > allowed && !name.ends_with(".json")
    }

    #[test]
    fn the_folder_in_the_project_is_what_this_crate_makes() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-recordings");
        let made = tempfile::tempdir().unwrap();
        for path in write_all(made.path()).unwrap() {
            let name = path.file_name().unwrap().to_str().unwrap();
            let (new, kept) = (
                fs::read(&path).unwrap(),
                fs::read(folder.join(name)).unwrap(),
            );
            assert!(!differ(name, &new, &kept), "{name} is out of date");
            if name.ends_with(".json") {
                let truth = |bytes: &[u8]| serde_json::from_slice::<Truth>(bytes).unwrap();
                let instants = |t: Truth| {
                    t.digits
                        .into_iter()
                        .flat_map(|d| d.breaks)
                        .map(|b| b.make_start_s)
                };
                let pairs = instants(truth(&new)).zip(instants(truth(&kept)));
                pairs.for_each(|(a, b)| assert_abs_diff_eq!(a, b, epsilon = 1e-9));
            }
        }
    }
}
