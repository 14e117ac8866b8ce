#!/usr/bin/env python3
"""Shares of processor time by crate: what of a batch is the detector, and what is all else.

Usage: perf record -F 2000 -g --call-graph dwarf,4096 fingerstop batch FOLDER --no-progress > /dev/null
       perf script --no-inline | shares.py     (perf, a release build)
A sample counts for `edges` if any function of it is on the stack, else for the innermost crate that is.
"""
import collections, re, sys

CRATES = re.compile(r"\b(recording|score|report|drive|fingerstop|serde_json|walkdir|indicatif)::")
shares, places = collections.Counter(), collections.Counter()


def count(stack):
    """Takes in one sample, innermost function first."""
    ours = next((name for name in stack if CRATES.search(name)), None)
    if any("edges::" in name for name in stack):
        shares["edges"] += 1
    elif ours:
        shares[CRATES.search(ours).group(1)] += 1
        places[ours] += 1
    else:
        shares["(none of these)"] += 1


stack = []
for line in sys.stdin:
    if line[:1].isspace() and line.strip():
        name = line.strip().split(" ", 1)[-1]
        stack.append(re.sub(r"\+0x[0-9a-f]+ .*$", "", name))
    elif stack:
        count(stack)
        stack = []
if stack:
    count(stack)
total = sum(shares.values())
for title, counter, most in (("by crate", shares, 12), ("outside the detector", places, 15)):
    print(f"{title}, of {total} samples")
    for name, number in counter.most_common(most):
        print(f"  {100 * number / total:5.1f} %  {name}")
sys.exit(total == 0)
