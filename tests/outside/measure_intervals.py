#!/usr/bin/env python3
"""Measures the recordings of fixtures/intervals by the general method of IEEE Std 181-2011: state levels
from a bimodal histogram, mid-reference level, instants by straight-line interpolation. A second opinion
that shares nothing with the project's detector.

    python3 measure_intervals.py    needs numpy and scipy; writes ieee181.json there

Dial formulas: speed = (N - 1) / (s_N - s_1); percent break = 100 x sum of the first N - 1 breaks /
(s_N - s_1), with s_i the start of break i.
"""
import json
import pathlib

import numpy as np
import scipy
from scipy.io import wavfile

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "intervals"
BINS = 1000
BOUNDARY = 0.02  # of the amplitude: state boundaries about each level
PAUSE_S = 0.180  # a make of at least this length separates digits
CHATTER_S = 0.005  # a reopening that begins so soon after the first closure, and is shorter, is chatter


def state_levels(samples):
    """Modes of the lower and the upper half of the histogram between the extremes."""
    counts, edges = np.histogram(samples, bins=BINS)
    centres, half = (edges[:-1] + edges[1:]) / 2, BINS // 2
    return centres[:half][np.argmax(counts[:half])], centres[half:][np.argmax(counts[half:])]


def transitions(samples, rate_hz):
    """Mid-reference instants of each passage from one state's boundary to the other's, with +1 for a rise."""
    s1, s2 = state_levels(samples)
    amplitude, mid = s2 - s1, (s1 + s2) / 2
    state = np.zeros(len(samples), dtype=int)
    state[samples <= s1 + BOUNDARY * amplitude] = -1
    state[samples >= s2 - BOUNDARY * amplitude] = 1
    inside = np.flatnonzero(state)
    turns = np.flatnonzero(np.diff(state[inside]))
    out = []
    for a, b in zip(inside[turns], inside[turns + 1]):
        sign = state[b]
        k = a + np.flatnonzero((sign * (samples[a:b] - mid) < 0) & (sign * (samples[a + 1:b + 1] - mid) >= 0))[0]
        out.append(((k + (mid - samples[k]) / (samples[k + 1] - samples[k])) / rate_hz, sign))
    return out


def breaks(found):
    """(opening, first closure) pairs with chatter put aside; the first transition is an opening."""
    opening_sign = found[0][1]
    pairs = [[a, b] for (a, sign), (b, _) in zip(found[0::2], found[1::2]) if sign == opening_sign]
    kept = [pairs[0]]
    for a, b in pairs[1:]:
        chatter = a - kept[-1][1] < CHATTER_S and b - a < CHATTER_S
        if not chatter:
            kept.append([a, b])
    return kept


def digits(pairs):
    groups = [[pairs[0]]]
    for pair in pairs[1:]:
        if pair[0] - groups[-1][-1][1] >= PAUSE_S:
            groups.append([])
        groups[-1].append(pair)
    return groups


def measure(group):
    starts = np.array([a for a, _ in group])
    lengths = np.array([b - a for a, b in group])
    makes = starts[1:] - (starts + lengths)[:-1]
    span = starts[-1] - starts[0]
    return {"pulses": len(group), "speed_pps": (len(group) - 1) / span, "percent_break": 100 * lengths[:-1].sum() / span,
            "break_ms": list(1e3 * lengths), "make_ms": list(1e3 * makes)}


def main():
    facts = []
    for path in sorted(FOLDER.glob("*.wav")):
        rate_hz, samples = wavfile.read(path)
        found = transitions(samples.astype(float) / 32768, rate_hz)
        facts.append({"file": path.name, "rate_hz": rate_hz, "digits": [measure(g) for g in digits(breaks(found))]})
    out = {"made_with": f"numpy {np.__version__}, scipy {scipy.__version__}", "recordings": facts}
    (FOLDER / "ieee181.json").write_text(json.dumps(out, indent=1) + "\n")


if __name__ == "__main__":
    main()
