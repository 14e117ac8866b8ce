#!/usr/bin/env python3
"""Recordings of known truth that share no line of code with `fingerstop synth`, and what `fingerstop check` makes of
them. Steps are sums of a Kaiser-windowed sinc's integral, couplings are analogue responses applied in the spectrum.

    python3 drawn_elsewhere.py FOLDER COUNT FINGERSTOP [SEED]

Draws COUNT recordings into FOLDER with up to four impairments each, measures them, and prints every one that is not
right. "digit lost": all that was found is sure, and something dialled is missing; "declined": not read, and not given as
sure. Then how many were what, and how often the 95 % intervals held the truth. Ends with 1 when any digit was wrong and
sure.
"""
import collections
import json
import pathlib
import subprocess
import sys
import wave

import numpy as np

RATES_HZ = [8000, 11025, 16000, 22050, 44100, 44100, 48000, 48000, 48000, 96000]
IMPAIRMENTS = [
    "coupling", "transformer", "noise", "hum", "tone", "chatter", "clipping", "other channel", "wander", "clicks",
    "low level", "voice",
]
HALF = 48  # samples to either side in which a step settles
SAME_START_S = 0.02
COVERED_FROM = 3  # pulses


def step_response(cut, beta):
    """Integral of a windowed sinc, and the places, in samples, at which it is known."""
    places = np.arange(-HALF * 256, HALF * 256 + 1) / 256
    impulse = cut * np.sinc(places * cut) * np.kaiser(len(places), beta)
    rise = np.concatenate([[0], np.cumsum((impulse[1:] + impulse[:-1]) / 2)])
    return places, rise / rise[-1]


def dialled(random, chatters):
    """Digits as lists of breaks (opening, closing), all steps (instant, size) with chatter, and the end, in seconds."""
    speed, share, slowing = random.uniform(7.5, 14), random.uniform(52, 72), random.uniform(-0.004, 0.008)
    at, digits, steps = random.uniform(0.7, 1.2), [], []
    for _ in range(random.integers(2, 5)):
        breaks = []
        for number in range(int(random.integers(1, 11))):
            period = (1 + slowing * number) * (1 + 0.003 * random.standard_normal()) / speed
            closing = at + period * (share + 0.4 * random.standard_normal()) / 100
            breaks.append((at, closing))
            steps += [(at, -1.0), (closing, 1.0)]
            if chatters and random.random() < 0.6:
                gap, opened = random.uniform(0.0004, 0.002), random.uniform(0.0003, 0.0015)
                steps += [(closing + gap, -1.0), (closing + gap + opened, 1.0)]
            at += period
        digits.append(breaks)
        at = breaks[-1][1] + random.uniform(0.5, 1.1)
    return digits, steps, at + 0.3


def line(steps, length, rate_hz, random):
    trace, (places, rise) = np.ones(length), step_response(random.uniform(0.86, 0.96), random.uniform(5, 10))
    for instant, size in steps:
        at = instant * rate_hz
        first, last = max(0, int(at) - HALF + 1), min(length, int(at) + HALF + 1)
        trace[first:last] += size * np.interp(np.arange(first, last) - at, places, rise)
        trace[last:] += size
    return trace


def filtered(trace, rate_hz, response):
    size = 1 << int(np.ceil(np.log2(2 * len(trace))))
    s = 2j * np.pi * np.arange(size // 2 + 1) * rate_hz / size
    return np.fft.irfft(np.fft.rfft(trace - trace[0], size) * response(s), size)[: len(trace)]


def coupled(trace, rate_hz, has, random):
    if "transformer" in has:
        corner, quality = 2 * np.pi * random.uniform(100, 300), random.uniform(0.5, 0.9)
        return filtered(trace, rate_hz, lambda s: s * s / (s * s + s * corner / quality + corner * corner))
    if "coupling" in has or random.random() < 0.6:
        corner = 2 * np.pi * np.exp(random.uniform(np.log(0.5), np.log(80)))
        return filtered(trace, rate_hz, lambda s: s / (s + corner))
    return trace


def sounds(length, rate_hz, first_break_s, has, random):
    at, out = np.arange(length) / rate_hz, np.zeros(length)
    phase = lambda: random.uniform(0, 2 * np.pi)
    quiet = 10 ** (-random.uniform(*((14, 35) if "noise" in has else (48, 65))) / 20)
    out += quiet * random.standard_normal(length)
    if "hum" in has:
        mains, size = random.choice([50, 60]) * (1 + random.uniform(-0.001, 0.001)), random.uniform(0.05, 0.4)
        for k in (1, 2, 3, 5, 7):
            own = size * (1 if k == 1 else random.uniform(0, 0.4) / k)
            out += own * np.sin(2 * np.pi * k * mains * at + phase())
    if "tone" in has:
        pair = np.sin(2 * np.pi * 350 * at) + np.sin(2 * np.pi * 440 * at)
        out += (at < first_break_s) * random.uniform(0.05, 0.3) * pair / 1.4
    if "wander" in has:
        out += random.uniform(0.1, 0.5) * np.sin(2 * np.pi * random.uniform(0.1, 0.5) * at + phase())
    if "clicks" in has:
        for _ in range(random.integers(1, 6)):
            start, decay = random.integers(0, length - 50), np.exp(-np.arange(40) / (1 + rate_hz * 1e-4))
            out[start : start + 40] += random.uniform(0.1, 0.4) * random.choice([-1, 1]) * decay
    if "voice" in has:
        pitch, voice = random.uniform(90, 200), np.zeros(length)
        for k in range(1, 16):
            wobble = 2 * np.sin(2 * np.pi * 3 * at)
            voice += np.sin(2 * np.pi * k * pitch * at + wobble + phase()) / (1 + abs(k * pitch - 600) / 250)
        swell = np.maximum(0, np.sin(2 * np.pi * 2.3 * at + phase()))
        swell *= np.maximum(0, np.sin(2 * np.pi * 0.31 * at + phase()))
        out += random.uniform(0.02, 0.12) * swell * voice
    return out


def mu_law(trace):
    """Through the continuous companding curve in 127 steps (ITU-T G.711 approximates it by segments)."""
    companded = np.log1p(255 * np.abs(np.clip(trace, -1, 1))) / np.log(256)
    return np.sign(trace) * np.expm1(np.round(companded * 127) / 127 * np.log(256)) / 255


def draw(path, seed):
    random = np.random.default_rng(seed)
    rate_hz = int(random.choice(RATES_HZ))
    has = set(random.choice(IMPAIRMENTS, size=random.integers(0, 5), replace=False))
    digits, steps, length_s = dialled(random, "chatter" in has)
    length = int(length_s * rate_hz)
    trace = coupled(line(steps, length, rate_hz, random), rate_hz, has, random)
    trace *= random.choice([-1, 1])
    trace += sounds(length, rate_hz, digits[0][0][0], has, random)
    level = random.uniform(0.15, 0.5) * (10 ** (-random.uniform(10, 30) / 20) if "low level" in has else 1)
    trace *= level / np.percentile(np.abs(trace), 99.9)
    if "clipping" in has:
        cut = level * random.uniform(0.55, 0.95)
        trace = np.clip(trace, -cut, cut)
    if rate_hz == 8000 and random.random() < 0.7:
        trace, has = mu_law(trace), has | {"mu-law"}
    elif rate_hz == 11025:
        trace, has = np.round(trace * 127) / 127, has | {"8-bit"}
    channels = [trace]
    if "other channel" in has:
        channels.insert(random.integers(0, 2), 0.02 * level * random.standard_normal(length))
    samples = (np.clip(np.stack(channels, 1), -1, 1) * 32767).round().astype("<i2")
    with wave.open(str(path), "wb") as out:
        out.setnchannels(len(channels))
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        out.writeframes(samples.tobytes())
    return digits, has | {f"{rate_hz} Hz"}


def truth(breaks):
    span = breaks[-1][0] - breaks[0][0]
    if len(breaks) < COVERED_FROM:
        return None
    return (len(breaks) - 1) / span, 100 * sum(c - o for o, c in breaks[:-1]) / span


def same(breaks, digit):
    return digit["sure"] and digit["pulses"] == len(breaks) and abs(digit["start_s"] - breaks[0][0]) < SAME_START_S


def main(folder, count, program, seed=1):
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{index:05}.wav" for index in range(int(count))]
    drawn = [draw(path, [int(seed), index]) for index, path in enumerate(paths)]
    run = subprocess.run([program, "check", "--format", "json", *paths], stdout=subprocess.PIPE)
    recordings = json.loads(run.stdout)["recordings"]
    outcomes, held, digits_of, kinds = collections.Counter(), np.zeros(2, int), 0, collections.defaultdict(collections.Counter)
    # No off-normal contacts are drawn, so that every time of theirs is invented.
    invented = 0
    for path, (digits, has), found in zip(paths, drawn, recordings):
        got = found["digits"]
        strange = [g for g in got if g["sure"] and not any(same(breaks, g) for breaks in digits)]
        counts = [len(breaks) for breaks in digits]
        equal = [g["pulses"] for g in got] == counts
        if strange:
            outcome = "wrong and sure"
        elif not equal and got and all(g["sure"] for g in got):
            outcome = "digit lost"
        elif not equal:
            outcome = "declined"
        else:
            outcome = "right" if all(g["sure"] for g in got) else "unsure"
        outcomes[outcome] += 1
        for kind in has:
            kinds[kind][outcome] += 1
        if outcome != "right":
            print(f"{path.name}: {outcome}: dialled {counts}, found {[(g['pulses'], g['sure']) for g in got]}; {sorted(map(str, has))}")
        invented += sum(g[time] is not None for g in got for time in ("winding_ms", "return_ms"))
        for breaks in digits:
            for g in got:
                if same(breaks, g) and truth(breaks):
                    values = [g["speed_pps"], g["percent_break"]]
                    held += [abs(v["value"] - t) <= v["u95"] for v, t in zip(values, truth(breaks))]
                    digits_of += 1
    for kind, outcome in sorted(kinds.items()):
        print(f"{kind:14} {outcome.total():5} recordings, {outcome['right']:5} right")
    print(dict(outcomes))
    share = 100 * held / max(digits_of, 1)
    print(f"{digits_of} sure digits of {COVERED_FROM} pulses or more: speed held {share[0]:.1f} %, percent break {share[1]:.1f} %")
    print(f"{invented} times of off-normal contacts, which no recording has")
    return outcomes["wrong and sure"] > 0


if __name__ == "__main__":
    if not 4 <= len(sys.argv) <= 5:
        sys.exit(__doc__)
    sys.exit(main(*sys.argv[1:]))
