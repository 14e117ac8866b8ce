#!/usr/bin/env python3
"""Measures a folder of recordings on a Spark cluster of two workers, merges the parts, and compares with one machine.

Usage: spark_batch.py FINGERSTOP FOLDER [PARTS]     (pip install pyspark; Java)
Every worker runs the ordinary command on its share and keeps one NDJSON; `batch --merge` makes the table.
"""
import pathlib, subprocess, sys, tempfile, time

from pyspark.sql import SparkSession

program, folder = str(pathlib.Path(sys.argv[1]).resolve()), pathlib.Path(sys.argv[2]).resolve()
parts = int(sys.argv[3]) if len(sys.argv) > 3 else 4
options = ["--limits", "us-1956-later", "--name", "{dial}-{take}"]


def measure(part, paths):
    """Runs in a worker: a list on standard input, one line of JSON a recording out."""
    text = "\n".join(paths)
    if text:
        run = subprocess.run([program, "batch", "-", "--format", "ndjson", "--jobs", "1", "--quiet", *options],
                             input=text, capture_output=True, text=True)
        if run.returncode not in (0, 1, 3):
            raise RuntimeError(run.stderr)
        yield part, run.stdout


def table(*arguments):
    run = subprocess.run([program, "batch", *arguments, "--format", "csv"], capture_output=True, text=True)
    return run.stdout, run.returncode


def timed(work):
    started = time.monotonic()
    return work(), time.monotonic() - started


with tempfile.TemporaryDirectory() as shared:
    # A local cluster: two executors of one core each, in processes of their own.
    session, began = timed(lambda: SparkSession.builder.master("local-cluster[2,1,1024]").appName("dials")
                           .config("spark.ui.enabled", "false").getOrCreate())
    session.sparkContext.setLogLevel("ERROR")
    paths = [str(path) for path in sorted(folder.rglob("*.wav"))]
    spread = session.sparkContext.parallelize(paths, parts)
    results, spent = timed(lambda: spread.mapPartitionsWithIndex(measure).collect())
    session.stop()
    files = []
    for part, text in results:
        files.append(pathlib.Path(shared) / f"part-{part:05}.ndjson")
        files[-1].write_text(text)
    merged, merging = timed(lambda: table("--merge", *map(str, files)))
    alone, single = timed(lambda: table(str(folder), *options))
    print(f"{len(paths)} recordings in {len(files)} parts: cluster up {began:.1f} s, measured {spent:.1f} s, "
          f"merged {merging:.2f} s; one machine {single:.1f} s; same table: {merged == alone}")
    sys.exit(merged != alone)
