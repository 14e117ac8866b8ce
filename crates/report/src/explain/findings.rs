//! What each finding is, how it is told apart, what to check first, and what to beware of.

/// One finding at the bench.
pub(super) struct BenchEntry {
    pub(super) code: &'static str,
    /// What it is.
    pub(super) is: &'static str,
    /// How it is told from what looks like it.
    pub(super) apart: &'static str,
    /// What to check first.
    pub(super) first: &'static str,
    /// Cautions, and where cause and advice come from.
    pub(super) caution: &'static str,
}

/// Basis of most bench advice.
const PRACTICE: &str = "Cause and advice are common practice; no source was found.";

pub(super) const FINDINGS: [BenchEntry; 26] = [
    BenchEntry {
        code: "slow",
        is: "All periods are long by the same factor: the mean speed lies below the chosen limits.",
        apart: "The percent break is judged by itself; if it is right, the governor alone is off. A dial that only gets \
                slow through the digit is slow-down.",
        first: "Dirt and old oil; then the governor. The advice says how much to raise, and what range passes.",
        caution: "More tension of a friction governor's spring raises the speed (on record in a restorers' forum); other \
                  governors differ. Limits to set a dial to are no reason to reject it. The recorder's clock is in the \
                  uncertainty: 100 ppm is 0.001 pps.",
    },
    BenchEntry {
        code: "fast",
        is: "All periods are short by the same factor: the mean speed lies above the chosen limits.",
        apart: "The percent break is judged by itself; if it is right, the governor alone is off.",
        first: "Oil on the governor's brake surface; then its spring.",
        caution: "Governors differ in what raises the speed. The rest is common practice; no source was found.",
    },
    BenchEntry {
        code: "percent-break-high",
        is: "The share of break lies above the chosen limits.",
        apart: "Speed alone does not move it. A line, a relay or an adapter between dial and probe does: line resistance \
                lengthens the break, a quench capacitor in circuit shortens it.",
        first: "Contacts and springs for dirt and wear; then their working distance, in small steps, measuring again.",
        caution: "No bending direction is given: some cams make and others break, so that the same bend lengthens the \
                  break in one dial and shortens it in another. The families of limits exclude each other: see that the \
                  set fits the dial.",
    },
    BenchEntry {
        code: "percent-break-low",
        is: "The share of break lies below the chosen limits.",
        apart: "Speed alone does not move it. A quench capacitor in circuit shortens the break as a relay sees it: \
                disconnect or declare it (--quench).",
        first: "Pits on the contacts: pitted contacts close late and open late; then their working distance.",
        caution: "No bending direction is given: it differs between dials. The families of limits exclude each other: see \
                  that the set fits the dial.",
    },
    BenchEntry {
        code: "break-length",
        is: "The breaks lie outside limits that are stated in milliseconds.",
        apart: "A length has two causes, speed and percent break: see which of them is off.",
        first: "The speed; then the working distance of the contacts.",
        caution: PRACTICE,
    },
    BenchEntry {
        code: "make-length",
        is: "The makes lie outside limits that are stated in milliseconds.",
        apart: "A length has two causes, speed and percent break: see which of them is off.",
        first: "The speed; then the working distance of the contacts.",
        caution: PRACTICE,
    },
    BenchEntry {
        code: "slow-down",
        is: "The period grows steadily from the first to the last of a digit: 100 x slope x (N - 2) / mean period of a \
             straight line through the N - 1 periods.",
        apart: "A first period that alone is long, a single odd pulse and a swing are taken out first, if they explain \
                the periods better.",
        first: "Clean and oil the dial; then look at the main spring.",
        caution: "Congealed oil dragging the return is on record in maintenance minutes, worse in the cold; the rest is \
                  common practice, no source. No source limits slow-down.",
    },
    BenchEntry {
        code: "speed-up",
        is: "The period shrinks steadily from the first to the last of a digit.",
        apart: "If only the first period is long, it is first-period-long.",
        first: "The governor's brake surface: clean, and no oil on it.",
        caution: PRACTICE,
    },
    BenchEntry {
        code: "first-period-long",
        is: "The first period of every digit is longer than the others: the dial is still gathering speed.",
        apart: "The periods after it are even; where they go on shrinking it is speed-up.",
        first: "Whether the dial idles at the end of its run: then it is normal (--idle-run end). If it idles at the \
                start, clean and oil the pivots.",
        caution: "Derived: an idle run at the start is on record as there to let the governor reach speed.",
    },
    BenchEntry {
        code: "two-pulse-pattern",
        is: "Pulses differ turn about: every second opening is late, or every second break is longer.",
        apart: "The pattern has two pulses exactly; a swing of another length is governor-ripple.",
        first: "The two lobes of cam or pulse wheel, and its spindle.",
        caution: "Derived from the mechanism, no source.",
    },
    BenchEntry {
        code: "bad-tooth",
        is: "One pulse is out of place, and in every digit the same one. It is counted from the last pulse, since all \
             digits share the end of the return.",
        apart: "With several digits of different length a wheel keeps its place from the end; a contact or a hand does \
                not. From one digit it is a hint only: dial more.",
        first: "The pulse wheel at that place, counted back from rest.",
        caution: "Derived from the mechanism, no source.",
    },
    BenchEntry {
        code: "governor-ripple",
        is: "The openings swing to and fro with a length of 2.3 to 6 pulses, found by the spectrum of their places.",
        apart: "Two pulses exactly are two-pulse-pattern. It needs digits of seven pulses and more.",
        first: "The mesh of the governor's gear, then worm and pivots; a few turns by hand should run smoothly.",
        caution: "Vibration from too deep a mesh is on record in an engineering instruction (B5126 §3); the rest is derived.",
    },
    BenchEntry {
        code: "unevenness",
        is: "The openings scatter about a steady course without a pattern (jitter).",
        apart: "Patterns are taken out first, and what the recording's own noise gives is taken off.",
        first: "Dial with the finger clear of the wheel; then look at governor, pivots and the mesh of its gear.",
        caution: "Common practice, no source. No source limits jitter.",
    },
    BenchEntry {
        code: "chatter",
        is: "The pulse contacts reopen after closing, for more than 2 ms from first to last closure or beyond the chosen \
             limit. 0.2-2 ms is usual for contacts in order.",
        apart: "It begins within 5 ms of the closure; a later reopening is late-reopening.",
        first: "Clean the pulse contacts; then look at the tension of their springs.",
        caution: "Only AS/CA S002:2010 limits bounce (0.5 ms). What is shorter than the recording's floor cannot be seen; \
                  the report says the floor. In a loop with relays the current rises slowly after a closure: there chatter \
                  is told by what discharges into the contact at each closure, not under some 0.7 ms, and not at all \
                  where nothing does: no bounce limit is judged then. Usual range and advice are common practice, no source.",
    },
    BenchEntry {
        code: "split-break",
        is: "The loop closes for less than 15 ms inside a break. It is counted as one pulse, not beyond doubt.",
        apart: "A closure at the very start (opening bounce) or end (chatter) of a break is none.",
        first: "Clean the pulse contacts and look at the tension of their springs; dial again.",
        caution: "A receiver counts two if each part exceeds its least break (derived): ask by --for. Cause and advice are \
                  common practice, no source.",
    },
    BenchEntry {
        code: "late-reopening",
        is: "The loop opens again well after a make began, for longer than chatter lasts.",
        apart: "Within 5 ms of the closure it would be chatter.",
        first: "Clean the pulse contacts and look at the tension of their springs; dial again.",
        caution: PRACTICE,
    },
    BenchEntry {
        code: "hole",
        is: "A pulse is missing inside a digit: from one opening to the next are two periods. The digit is counted as the \
             loop opened.",
        apart: "A hole at the same place from the end points to the pulse wheel, one that moves to the contacts.",
        first: "Dial again; then inspect and clean before adjusting.",
        caution: PRACTICE,
    },
    BenchEntry {
        code: "extra-pulses",
        is: "More pulses than were dialled, or than the plan has.",
        apart: "The same surplus of two or three in every digit is idle-run-not-bridged; pulses before the digit are \
                pulses-while-winding; if another plan fits every digit it is other-plan.",
        first: "Dial other digits.",
        caution: "Missing or extra pulses at the ends cannot be seen without the dialled number (--dialled). No source \
                  gives limits.",
    },
    BenchEntry {
        code: "missing-pulses",
        is: "Fewer pulses than were dialled.",
        apart: "One pulse less in every digit is first-pulse-lost; a gap inside a digit is a hole.",
        first: "Dial again with the finger to the stop; then look at cam and trigger.",
        caution: "Slip of a lubricated or weak cam is on record in maintenance minutes; the rest is derived.",
    },
    BenchEntry {
        code: "idle-run-not-bridged",
        is: "Every digit has two (or three) pulses too many: the pulses of the idle run reach the line.",
        apart: "It needs two digits and the number that was dialled.",
        first: "The contact that bridges the idle pulses.",
        caution: "Derived from the design of dials with bridged idle pulses.",
    },
    BenchEntry {
        code: "first-pulse-lost",
        is: "Every digit has one pulse less than was dialled.",
        apart: "It needs two digits and the number that was dialled. If another plan fits every digit it is other-plan.",
        first: "Cam and trigger: excess oil, weak pressure; then the contact of the idle run.",
        caution: "Slip is on record in maintenance minutes and an engineering instruction (B5126 §5: a weak washer is \
                  replaced); that the first pulse is the lost one is derived.",
    },
    BenchEntry {
        code: "other-plan",
        is: "The count is wrong by the chosen plan, and every digit is right by another.",
        apart: "It needs two different digits: a single one fits some plan by chance.",
        first: "The finger plate, and where the dial comes from: --plan standard (0 = ten pulses), zero-first (0 = one), \
                reversed (9 = one), eleventh (E = eleven).",
        caution: "A recording cannot show the plan. A surplus of one in every digit may be a fault as well.",
    },
    BenchEntry {
        code: "pulses-while-winding",
        is: "Openings while the wheel is wound, before the pulses of the return.",
        apart: "The off-normal contacts do not restore between them and the digit, and restore after it. It needs a recording that \
                shows the step of those contacts.",
        first: "Wind slowly by hand and watch the pulse contacts; then slipping cam or trigger.",
        caution: "Derived: pulses belong to the return only (pamphlet Telephones 5/1).",
    },
    BenchEntry {
        code: "make-level-sags",
        is: "The current of the makes falls through a digit.",
        apart: "Not told from recordings that are cut off flat or keep only spikes of the steps.",
        first: "Clean the pulse contacts, tighten the terminals; measure the resistance of the closed contacts.",
        caution: "High-resistance pulse contacts are on record as a known fault (instruction C3 M0017); the rest is common \
                  practice, no source. A failing supply looks the same.",
    },
    BenchEntry {
        code: "off-normal-not-shorting",
        is: "Sound is in the makes and not in the breaks: it comes through the contacts, so the speech network is not \
             shorted while the dial pulses.",
        apart: "Noise of the recorder is in makes and breaks alike. What all makes have alike (slow rise, ringing) is taken \
                out.",
        first: "The off-normal contacts.",
        caution: "Noise that comes down the line looks the same: record once more from a bench supply. Some older dials \
                  open the receiver instead of shorting it.",
    },
    BenchEntry {
        code: "lost-motion-short",
        is: "From the last make to the off-normal contacts restoring is less than 200 ms.",
        apart: "Reported always; a finding only with --idle-run end, since other dials have none by design.",
        first: "That the wheel comes home to its stop; then where the off-normal contacts restore.",
        caution: "CCITT U.2 wants 500 ms between trains and gives a practised hand 300 ms to wind; the difference is \
                  derived. A French administration's dial made 200 ms, a textbook gives trigger dials about 230 ms, both \
                  at second hand.",
    },
];
