#!/usr/bin/env python3
"""Kills a batch of many recordings again and again, resumes it, and counts: no recording lost, none twice.

Usage: kill_and_resume.py FINGERSTOP FOLDER_OF_RECORDINGS [COUNT]
The recordings are linked under COUNT names (10 000 unless given) in a folder of its own.
"""
import collections, json, os, pathlib, random, signal, subprocess, sys, tempfile, time

program, source = sys.argv[1], pathlib.Path(sys.argv[2])
count = int(sys.argv[3]) if len(sys.argv) > 3 else 10_000
recordings = sorted(source.glob("*.wav"))
random.seed(1)
with tempfile.TemporaryDirectory() as folder:
    work = pathlib.Path(folder)
    many = work / "many"
    many.mkdir()
    for number in range(count):
        # Links keep the disk small; every path is a recording of its own.
        (many / f"{number:05}-1.wav").symlink_to(recordings[number % len(recordings)].resolve())
    ndjson = work / "all.ndjson"
    command = [program, "batch", str(many), "--ndjson", str(ndjson), "--resume", "--limits", "us-1956-later",
               "--format", "csv", "-o", str(work / "table.csv"), "--force"]
    kills = 0
    started = time.monotonic()
    while True:
        run = subprocess.Popen(command)
        try:
            run.wait(timeout=random.uniform(1.0, 8.0) if kills < 12 else None)
            break
        except subprocess.TimeoutExpired:
            run.send_signal(signal.SIGKILL)
            run.wait()
            kills += 1
    seconds = time.monotonic() - started
    lines = ndjson.read_text().splitlines()
    times = collections.Counter(json.loads(line)["input"] for line in lines)
    lost = [path for path in map(str, many.iterdir()) if path not in times]
    twice = [path for path, number in times.items() if number > 1]
    rows = (work / "table.csv").read_text().count("\n") - 1
    print(f"{count} recordings, {kills} kills, {seconds:.1f} s: {len(lost)} lost, {len(twice)} twice, {rows} rows")
    sys.exit(bool(lost or twice or rows != count or kills == 0))
