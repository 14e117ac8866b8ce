#!/usr/bin/env python3
"""How well the instant of a step in white noise can be known when all else about it is.

    tests/outside/known_step.py [TRIALS]

Needs numpy and SciPy. Draws a step behind a flat filter that cuts off at 0.45 of the sample rate (its course is a sine integral) in
white normal noise, and looks for its instant with level, size and course known: the most likely one, on a grid of 0.02 samples, and
the mean of all by their probability, than which no estimate errs less in mean square. Prints the root mean squares of their errors
beside the Cramer-Rao bound. In much noise a sample near the step is as like the one level as the other, and the instant may be some
samples off; of that the bound, which looks at the slope alone, knows nothing. The table is in docs/bounds.md.
"""

import sys

import numpy as np
from scipy.special import sici

CUT_OFF = 0.45
HALF = 60
GRID = np.arange(-25, 25, 0.02)
NOISE_OVER_STEP = [0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50]


def step(t):
    return 0.5 + sici(2 * np.pi * CUT_OFF * t)[0] / np.pi


def main(trials=20_000):
    random = np.random.default_rng(1)
    samples = np.arange(-HALF, HALF + 1)
    steps = step(samples[None, :] - GRID[:, None])
    energies = (steps**2).sum(axis=1)
    slope = (step(samples + 1e-3) - step(samples - 1e-3)) / 2e-3
    print("| noise over step, r | bound, sample periods | most likely | mean of all | mean over bound |\n|---|---|---|---|---|")
    for noise in NOISE_OVER_STEP:
        bound = noise / np.sqrt((slope**2).sum())
        errors = np.empty((int(trials), 2))
        for k in range(int(trials)):
            at = random.uniform(-0.5, 0.5)
            trace = step(samples - at) + noise * random.standard_normal(samples.size)
            likelihood = (2 * steps @ trace - energies) / (2 * noise**2)
            weights = np.exp(likelihood - likelihood.max())
            errors[k] = GRID[np.argmax(likelihood)] - at, weights @ GRID / weights.sum() - at
        likely, mean = np.sqrt((errors**2).mean(axis=0))
        print(f"| {noise:.2f} | {bound:.3f} | {likely:.3f} | {mean:.3f} | {mean / bound:.2f} |")


if __name__ == "__main__":
    main(*sys.argv[1:2])
