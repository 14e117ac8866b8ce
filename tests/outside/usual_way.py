#!/usr/bin/env python3
"""Dial pulses the usual way: state levels from the histogram, mid-reference crossings, numpy. The yardstick of
docs/performance.md for speed alone; it finds no edges that a coupling capacitor has bent.

    python3 usual_way.py FILE.wav...    16-bit WAV; one line each: pulses and pulsing speed in pps
"""
import sys
import wave

import numpy as np

BINS = 1000
PAUSE_S = 0.180  # a make of at least this length separates digits


def read(path):
    with wave.open(path) as recording:
        rate_hz, channels = recording.getframerate(), recording.getnchannels()
        frames = recording.readframes(recording.getnframes())
    return np.frombuffer(frames, dtype="<i2").reshape(-1, channels)[:, 0].astype(np.float32), rate_hz


def state_levels(samples):
    """Modes of the lower and the upper half of the histogram between the extremes."""
    counts, edges = np.histogram(samples, bins=BINS)
    centres, half = (edges[:-1] + edges[1:]) / 2, BINS // 2
    return centres[:half][np.argmax(counts[:half])], centres[half:][np.argmax(counts[half:])]


def crossings(samples, level, rate_hz):
    """Instants, in seconds, at which a straight line between two samples passes the level, and their direction."""
    above = samples > level
    k = np.flatnonzero(above[1:] != above[:-1])
    return (k + (level - samples[k]) / (samples[k + 1] - samples[k])) / rate_hz, above[k + 1]


def digits(instants, rising):
    """Starts of the breaks, cut into digits at long makes."""
    starts, ends = instants[~rising], instants[rising]
    count = min(len(starts), len(ends))
    if count == 0:
        return []
    starts, ends = starts[:count], ends[-count:]
    return np.split(starts, 1 + np.flatnonzero(starts[1:] - ends[:-1] > PAUSE_S))


for path in sys.argv[1:]:
    trace, rate = read(path)
    found = digits(*crossings(trace, sum(state_levels(trace)) / 2, rate))
    speeds = [(len(d) - 1) / (d[-1] - d[0]) for d in found if len(d) > 1]
    print(path, [len(d) for d in found][:20], [round(float(s), 3) for s in speeds][:20])
