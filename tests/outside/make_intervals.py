#!/usr/bin/env python3
"""Makes the recordings of fixtures/intervals: direct-coupled trains whose contact instants are exact.

    python3 make_intervals.py       needs numpy and scipy; writes *.wav and truth.json

Each change of state is a band-limited step, the integral of the impulse response of a linear-phase
low-pass, so its half-step instant is the contact's instant wherever that lies between samples. Shares no
code with the project's own models.
"""
import json
import pathlib
import wave

import numpy as np
import scipy
from scipy import signal

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "intervals"
LEAD_S, TAIL_S = 0.31, 0.36
OVER = 64  # points of the step's table in one sample
HALF = 48  # samples of the table on either side

# file, rate Hz, closed level, open level, [(pulses, pps, percent break)], pauses s, chatter as
# {(digit, pulse): [(reopening starts, ends) in ms after the first closure]}
TRAINS = [
    ("10p-10pps-61.5break-48kHz", 48_000, 0.62, 0.02, [(10, 10.0, 61.5)], [], {}),
    ("10p-9.3pps-66break-44.1kHz", 44_100, 0.50, -0.10, [(10, 9.3, 66.0)], [], {}),
    ("7p-10.8pps-59break-8kHz", 8_000, 0.55, 0.05, [(7, 10.8, 59.0)], [], {}),
    ("4p-8.5pps-67break-48kHz", 48_000, 0.30, 0.00, [(4, 8.5, 67.0)], [], {}),
    ("5p-11.9pps-63break-44.1kHz-inverted", 44_100, -0.45, 0.15, [(5, 11.9, 63.0)], [], {}),
    ("10p-9.7pps-64break-8kHz", 8_000, 0.70, 0.10, [(10, 9.7, 64.0)], [], {}),
    ("6p-10pps-61.5break-48kHz-chatter", 48_000, 0.58, 0.01, [(6, 10.0, 61.5)], [],
     {(0, 1): [(0.8, 1.4), (2.3, 3.0)], (0, 3): [(1.5, 3.0)], (0, 4): [(0.7, 3.0)]}),
    ("number-352-10.2pps-62break-8kHz", 8_000, 0.60, 0.00,
     [(3, 10.2, 62.0), (5, 10.1, 62.3), (2, 10.3, 61.8)], [0.74, 0.91], {}),
]


def step_table(rate_hz):
    """The band-limited unit step at OVER points a sample, from -HALF to HALF samples."""
    taps = 2 * HALF * OVER + 1
    fir = signal.firwin(taps, 0.45 * rate_hz, window=("kaiser", 8.0), fs=rate_hz * OVER)
    # The running sum up to the middle of each tap, so that the step is exactly one half at its instant.
    return np.cumsum(fir) - fir / 2


def add_step(samples, table, at_samples, height):
    """Adds a step of `height` at `at_samples`, by straight lines between the points of the table."""
    first = int(np.ceil(at_samples - HALF))
    k = np.arange(first, first + 2 * HALF)
    where = (k - at_samples + HALF) * OVER
    samples[k] += height * np.interp(where, np.arange(len(table)), table)
    samples[first + 2 * HALF:] += height


def instants(digits, pauses, chatter, rng):
    """Openings, first closures and reopenings of each digit, in seconds; every instant with a departure
    of some 0.1 ms, as a real dial has."""
    out, start = [], LEAD_S + 0.000_012_9
    for d, (pulses, pps, percent) in enumerate(digits):
        opened = [start + i / pps + rng.normal(0, 1e-4) for i in range(pulses)]
        closed = [start + i / pps + percent / 100 / pps + rng.normal(0, 1e-4) for i in range(pulses)]
        reopened = [[(closed[i] + a / 1e3, closed[i] + b / 1e3) for a, b in chatter.get((d, i), [])]
                    for i in range(pulses)]
        out.append({"break_start_s": opened, "make_start_s": closed, "reopenings_s": reopened})
        start = closed[-1] + (pauses[d] if d < len(pauses) else 0.0)
    return out


def measures(digit):
    span = digit["break_start_s"][-1] - digit["break_start_s"][0]
    breaks = [c - o for o, c in zip(digit["break_start_s"], digit["make_start_s"])]
    return {"pulses": len(breaks), "speed_pps": (len(breaks) - 1) / span, "percent_break": 100 * sum(breaks[:-1]) / span}


def render(digits, rate_hz, closed, opened, rng):
    last = digits[-1]["make_start_s"][-1]
    samples = np.full(int((last + TAIL_S) * rate_hz), closed)
    table = step_table(rate_hz)
    for digit in digits:
        pairs = list(zip(digit["break_start_s"], digit["make_start_s"]))
        pairs += [pair for pulse in digit["reopenings_s"] for pair in pulse]
        for a, b in pairs:
            add_step(samples, table, a * rate_hz, opened - closed)
            add_step(samples, table, b * rate_hz, closed - opened)
    return samples + 10 ** (-70 / 20) * rng.standard_normal(len(samples))


def write_wav(path, samples, rate_hz):
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        out.writeframes(np.round(samples * 32768).astype("<i2").tobytes())


def main():
    FOLDER.mkdir(parents=True, exist_ok=True)
    facts = []
    for seed, (name, rate_hz, closed, opened, numbers, pauses, chatter) in enumerate(TRAINS):
        rng = np.random.default_rng(1000 + seed)
        digits = instants(numbers, pauses, chatter, rng)
        write_wav(FOLDER / f"{name}.wav", render(digits, rate_hz, closed, opened, rng), rate_hz)
        facts.append({"file": f"{name}.wav", "rate_hz": rate_hz, "digits": [digit | measures(digit) for digit in digits]})
    truth = {"made_with": f"numpy {np.__version__}, scipy {scipy.__version__}", "recordings": facts}
    (FOLDER / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


if __name__ == "__main__":
    main()
