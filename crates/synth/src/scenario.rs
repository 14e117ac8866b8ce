//! Everything that decides one recording. All of it can be written to and read from JSON; a field left
//! out takes the value of a good dial recorded directly and cleanly.

use serde::{Deserialize, Serialize};

use crate::encoding::Encoding;

/// One recording to be made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Scenario {
    /// Seed of everything random; the same scenario always gives the same samples.
    pub seed: u64,
    /// The dial.
    pub dial: Dial,
    /// Pulses of each digit in the order dialled, 1 to 10 (10 pulses are the digit 0). Empty: nothing is
    /// dialled.
    pub numbers: Vec<u8>,
    /// Pause before the second and each later digit, in seconds: end of the last break of a digit to the
    /// start of the first break of the next. Used again from its start when there are more digits.
    pub pauses_s: Vec<f64>,
    /// Openings that are no dialling, such as flashes of the hook switch, as `[start, end]` in seconds
    /// from the start of the recording. Left out where they touch a digit.
    pub other_openings_s: Vec<[f64; 2]>,
    /// The line.
    pub line: Line,
    /// What lies between the line and the recorder.
    pub probe: Probe,
    /// The recorder.
    pub recorder: Recorder,
    /// What is to be heard beside the dial.
    pub sounds: Vec<Sound>,
    /// Start of the recording to the first break, in seconds.
    pub lead_in_s: f64,
    /// Last make to the end of the recording, in seconds.
    pub tail_s: f64,
}

impl Default for Scenario {
    fn default() -> Self {
        Self {
            seed: 1,
            dial: Dial::default(),
            numbers: vec![10],
            pauses_s: vec![0.8],
            other_openings_s: Vec::new(),
            line: Line::default(),
            probe: Probe::default(),
            recorder: Recorder::default(),
            sounds: Vec::new(),
            lead_in_s: 1.0,
            tail_s: 0.7,
        }
    }
}

/// A dial and what is wrong with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Dial {
    /// Mean pulsing speed, in pulses per second, 5 to 22.
    pub speed_pps: f64,
    /// Percent break, 35 to 85.
    pub percent_break: f64,
    /// How much longer the last period of a train is than the first, in percent of the mean period.
    pub slow_down_percent: f64,
    /// Random displacement of every contact instant, root mean square, in percent of the period.
    pub jitter_percent: f64,
    /// Regular unevenness of the pulses.
    pub unevenness: Unevenness,
    /// This pulse is left out of each train that is long enough to keep pulses on both sides of it.
    /// Counted from 0.
    pub missing_pulse: Option<usize>,
    /// Each train has one pulse too many.
    pub extra_pulse: bool,
    /// Pulses of the idle run that reach the line after each train, since the contact that bridges them does not.
    pub idle_pulses: usize,
    /// The first pulse of each train is lost, of a single pulse all of it but that one.
    pub first_pulse_lost: bool,
    /// Openings sent while the wheel is wound, before each train.
    pub winding_pulses: usize,
    /// How far the make level has fallen at the last make of a train, as a fraction of itself: the resistance of the
    /// contact rises while it carries current.
    pub make_level_sag: f64,
    /// One break of each train is split by a short closure.
    pub split_break: Option<SplitBreak>,
    /// Of one digit, pulses at its start are not sent.
    pub cut_short: Option<CutShort>,
    /// One make of each train opens again, too late for chatter and too soon for a pulse.
    pub late_reopening: Option<LateReopening>,
    /// Chatter after every closing.
    pub chatter: Option<Chatter>,
    /// Short closures just after every opening.
    pub opening_bounce: Option<OpeningBounce>,
    /// The off-normal contacts; `None`: they do nothing that reaches the line.
    pub off_normal: Option<OffNormal>,
}

impl Default for Dial {
    fn default() -> Self {
        Self {
            speed_pps: 10.0,
            percent_break: 62.0,
            slow_down_percent: 0.0,
            jitter_percent: 0.0,
            unevenness: Unevenness::Even,
            missing_pulse: None,
            extra_pulse: false,
            idle_pulses: 0,
            first_pulse_lost: false,
            winding_pulses: 0,
            make_level_sag: 0.0,
            split_break: None,
            cut_short: None,
            late_reopening: None,
            chatter: None,
            opening_bounce: None,
            off_normal: None,
        }
    }
}

/// Regular unevenness of a dial's pulses.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Unevenness {
    /// All pulses alike.
    Even,
    /// Every second break comes late (or early, negative) by this share of the period.
    Alternate {
        /// Percent of the period.
        percent: f64,
    },
    /// One tooth of the pulse wheel is bent: its break comes late. The wheel always ends its run in the
    /// same place, so the tooth is counted back from the last pulse.
    BadTooth {
        /// 0 is the last pulse.
        from_last: usize,
        /// Percent of the period.
        percent: f64,
    },
    /// A part that turns out of true makes the instants swing.
    Ripple {
        /// Peak displacement in percent of the period.
        percent: f64,
        /// Length of one swing, in pulses.
        pulses: f64,
    },
    /// The dial starts sluggishly: its first period is longer.
    FirstLong {
        /// Percent of the period.
        percent: f64,
    },
}

/// A short closure inside a break, followed by a longer opening.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SplitBreak {
    /// The pulse, counted from 0.
    pub pulse: usize,
    /// Length of the closure, in seconds, under 0.015.
    pub closure_s: f64,
}

/// A digit that lacks its first pulses: the cam slipped once, or the finger came out before the stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutShort {
    /// The digit, counted from 0.
    pub digit: usize,
    /// Pulses not sent; one is always left.
    pub pulses: usize,
}

/// An opening in a make.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LateReopening {
    /// The pulse whose make it is in, counted from 0.
    pub pulse: usize,
    /// Last closure before it to the opening, in seconds, under 0.015.
    pub after_s: f64,
    /// Length of the opening, in seconds, not longer than the closure before it.
    pub opening_s: f64,
}

/// Reopenings after a closing.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chatter {
    /// First to last closure, in seconds. Each closing draws its own value between half of this and all of
    /// it.
    pub total_s: f64,
    /// Reopenings at most; each closing draws its own number, at least one.
    pub reopenings: usize,
}

/// A short reclosure just after an opening.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OpeningBounce {
    /// Opening to the start of the reclosure, in seconds, under 0.005.
    pub after_s: f64,
    /// Length of the reclosure, in seconds, under 0.002.
    pub closure_s: f64,
}

/// The off-normal contacts, which short the speech network while the finger wheel is away from rest.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OffNormal {
    /// By how much the closed level grows when winding starts, as a fraction of the resting level.
    pub level_change: f64,
    /// Start of winding to the first break, in seconds.
    pub winding_s: f64,
    /// Last make to the contacts' restoring, in seconds.
    pub lost_motion_s: f64,
}

/// The line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Line {
    /// Two-valued current, switched at once.
    #[default]
    Ideal,
    /// A loop solved as a circuit.
    Loop(Loop),
}

/// A loop: battery, feed relays, line, and a set with its dial contact.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Loop {
    /// Battery or bench supply, in volts.
    pub supply_v: f64,
    /// Resistance of both feed relays together, in ohms.
    pub feed_ohm: f64,
    /// Inductance of the feed relays, in henries; 0: a bench supply without relays.
    pub feed_henry: f64,
    /// Eddy-current loss of the relays as a resistance in parallel with their inductance, in ohms.
    pub core_loss_ohm: Option<f64>,
    /// Resistance of the line, in ohms.
    pub line_ohm: f64,
    /// Capacitance of the line, in farads, taken to lie at the set. At least the stray 200 pF.
    pub line_farad: f64,
    /// The set's resistance at rest, in ohms.
    pub set_ohm: f64,
    /// Spark quench across the dial contact.
    pub quench: Option<Quench>,
    /// Ringer across the line at the set.
    pub ringer: Option<Ringer>,
    /// What is recorded.
    pub tap: Tap,
}

impl Default for Loop {
    fn default() -> Self {
        Self {
            supply_v: 48.0,
            feed_ohm: 400.0,
            feed_henry: 1.5,
            core_loss_ohm: Some(20_000.0),
            line_ohm: 200.0,
            line_farad: 20e-9,
            set_ohm: 150.0,
            quench: None,
            ringer: None,
            tap: Tap::Series,
        }
    }
}

/// Resistor and capacitor in series.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Quench {
    /// Resistance, in ohms.
    pub ohm: f64,
    /// Capacitance, in farads.
    pub farad: f64,
}

/// Ringer coil and its capacitor in series.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ringer {
    /// Resistance of the coil, in ohms.
    pub ohm: f64,
    /// Inductance of the coil, in henries.
    pub henry: f64,
    /// Capacitance, in farads.
    pub farad: f64,
}

/// Where the probe sits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tap {
    /// In series with the set: the current through contact, quench and ringer.
    Series,
    /// Across the line at the set: the voltage, which rises when the contact opens.
    Line,
}

/// What lies between the line and the recorder's converter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Probe {
    /// The coupling.
    pub coupling: Coupling,
    /// Leads changed over.
    pub inverted: bool,
}

/// How the signal is coupled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Coupling {
    /// Direct current passes.
    #[default]
    Direct,
    /// A series capacitor: first-order high-pass.
    Capacitor {
        /// Corner, in hertz.
        corner_hz: f64,
    },
    /// An isolating transformer: second-order high-pass.
    Transformer {
        /// Corner, in hertz.
        corner_hz: f64,
        /// Quality factor, 0.5 (critically damped) to 0.8.
        quality: f64,
    },
    /// An isolating transformer beside a coupling capacitor: two real poles.
    TwoCorners {
        /// The one corner, in hertz.
        first_hz: f64,
        /// The other corner, in hertz.
        second_hz: f64,
    },
}

/// The recorder.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Recorder {
    /// Nominal sample rate, in hertz.
    pub sample_rate_hz: f64,
    /// Clock error, in parts per million; positive: the recorder takes more samples a second than it says.
    pub clock_ppm: f64,
    /// Anti-alias filter.
    pub anti_alias: AntiAlias,
    /// Size of the dial's step in the recording, as a fraction of full scale. The whole is turned down
    /// where it would not fit.
    pub level: f64,
    /// White noise: step over its root mean square, in decibels.
    pub noise_db: Option<f64>,
    /// Mains hum.
    pub hum: Option<Hum>,
    /// Wandering of the base line below 2 Hz, peak, as a fraction of the step.
    pub wander: f64,
    /// Overload.
    pub clipping: Option<Clipping>,
    /// Encoding of the samples.
    pub encoding: Encoding,
    /// Channels, 1 or 2.
    pub channels: usize,
    /// The channel that carries the dialling, counted from 1.
    pub wanted_channel: usize,
    /// What the other channel carries.
    pub other_channel: OtherChannel,
}

impl Default for Recorder {
    fn default() -> Self {
        Self {
            sample_rate_hz: 48_000.0,
            clock_ppm: 0.0,
            anti_alias: AntiAlias::LinearPhase,
            level: 0.4,
            noise_db: None,
            hum: None,
            wander: 0.0,
            clipping: None,
            encoding: Encoding::F32,
            channels: 1,
            wanted_channel: 1,
            other_channel: OtherChannel::Silent,
        }
    }
}

/// The recorder's anti-alias filter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AntiAlias {
    /// Kaiser-windowed sinc, half amplitude at 0.45 of the sample rate, its delay taken out.
    #[default]
    LinearPhase,
    /// Sixth-order Butterworth low-pass at 0.42 of the sample rate, its delay at low frequency taken out:
    /// gentle, and it lets some of the spectrum fold over.
    Gentle,
}

/// Mains hum.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hum {
    /// Frequency of the mains, in hertz.
    pub mains_hz: f64,
    /// Amplitude of the fundamental and of each harmonic after it, as a fraction of the step.
    pub amplitudes: Vec<f64>,
}

/// Overload: everything beyond a level is cut off flat.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clipping {
    /// What lies further than this from the resting level is cut off, as a fraction of the step.
    pub at: f64,
}

/// What the channel without the dialling carries.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OtherChannel {
    /// Nothing.
    Silent,
    /// Speech, with this peak as a fraction of full scale.
    Speech(f64),
    /// Mains hum, with this peak as a fraction of full scale.
    Hum(f64),
    /// White noise, with this root mean square as a fraction of full scale.
    Noise(f64),
}

/// Something to be heard beside the dial.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sound {
    /// What it is.
    pub kind: SoundKind,
    /// Peak, as a fraction of the step.
    pub level: f64,
    /// Start, in seconds; `None`: from the beginning.
    #[serde(default)]
    pub start_s: Option<f64>,
    /// End, in seconds; `None`: to the end.
    #[serde(default)]
    pub end_s: Option<f64>,
    /// Stops at the first break at the latest, as dial tone does.
    #[serde(default)]
    pub until_first_break: bool,
    /// Comes through the pulsing contacts: silent while they are open.
    #[serde(default)]
    pub while_closed: bool,
}

/// Kinds of sound.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SoundKind {
    /// Steady tones together, such as 350 and 440 Hz, or 425 Hz.
    Tones {
        /// Frequencies, in hertz.
        frequencies_hz: Vec<f64>,
        /// Interruption; `None`: steady.
        cadence: Option<Cadence>,
    },
    /// A tone whose amplitude a second, lower tone varies fully, such as 400 Hz by 33 Hz.
    ModulatedTone {
        /// Tone, in hertz.
        frequency_hz: f64,
        /// Modulating tone, in hertz.
        modulation_hz: f64,
    },
    /// Speech-like: voiced and unvoiced syllables with formants.
    Speech,
    /// Isolated clicks.
    Clicks {
        /// Mean rate, clicks per second.
        per_second: f64,
    },
    /// Ringing current.
    Ringing {
        /// Frequency, in hertz.
        frequency_hz: f64,
        /// Interruption; `None`: steady.
        cadence: Option<Cadence>,
        /// Cut off flat at a third of its peak.
        clipped: bool,
    },
    /// Dual-tone signals, one after the other, 80 ms each and 80 ms apart.
    DualTone {
        /// Keys: 0-9, A-D, * and #.
        keys: String,
    },
    /// Music-like: decaying chords with a beat.
    Music,
    /// White noise.
    Noise,
}

/// Regular interruption of a sound.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cadence {
    /// Length of the sound, in seconds.
    pub sound_s: f64,
    /// Length of the silence after it, in seconds.
    pub silence_s: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_object_is_a_good_dial_and_a_wrong_name_is_refused() {
        assert_eq!(
            serde_json::from_str::<Scenario>("{}").unwrap(),
            Scenario::default()
        );
        let text = r#"{"dial": {"speed_pps": 9.0, "chatter": {"total_s": 0.002, "reopenings": 2}}, "numbers": [3]}"#;
        let read: Scenario = serde_json::from_str(text).unwrap();
        assert_eq!(
            (read.dial.speed_pps, read.dial.percent_break, read.numbers),
            (9.0, 62.0, vec![3])
        );
        let error = serde_json::from_str::<Scenario>(r#"{"dial": {"sped_pps": 9.0}}"#).unwrap_err();
        assert!(error.to_string().contains("sped_pps"), "{error}");
    }

    #[test]
    fn every_drawn_scenario_survives_json() {
        let drawn = crate::families::singles()
            .iter()
            .chain(crate::families::nothing());
        for scenario in drawn
            .map(|f| crate::families::draw(f, 1))
            .chain((0..20).map(crate::families::mixed))
        {
            let text = serde_json::to_string(&scenario).unwrap();
            assert_eq!(serde_json::from_str::<Scenario>(&text).unwrap(), scenario);
        }
    }
}
