"""Waves: seconds of CPU to read and to measure a capture of a million samples, and to read ten million changes of a dump.

``python -m benchmarks waves [--seed N] [--samples N] [--changes N] [--runs N]``. CPU seconds (process_time) of each run after one thrown away, medians.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected, Thresholds
from coppermend.formats.waves import read_waves
from coppermend.services.suspects import CRYSTAL_PPM

TTL = Thresholds("TTL", 0.8, 2.0)


def run(words: list[str]) -> dict[str, Any]:
    """The figures as plain JSON values."""
    parser = argparse.ArgumentParser(prog="waves")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--samples", type=int, default=1_000_000)
    parser.add_argument("--changes", type=int, default=10_000_000)
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args(words)
    table, dump = _table(asked.samples, asked.seed), _dump(asked.changes // 2)
    capture = read_waves(table, "table")
    wave = capture.channels[0]
    trace = read_waves(dump, "dump").channels[0]
    expected = Expected(4e6, CRYSTAL_PPM)
    return {
        "seed": asked.seed,
        "samples": asked.samples,
        "table_mb": round(len(table) / 1e6, 1),
        "read_table_s": _median(lambda: read_waves(table, "table"), asked.runs),
        "measure_wave_s": _median(lambda: measure(wave, expected, TTL), asked.runs),
        "verdict": measure(wave, expected, TTL).words,
        "changes": 2 * (asked.changes // 2),
        "dump_mb": round(len(dump) / 1e6, 1),
        "read_dump_s": _median(lambda: read_waves(dump, "dump"), max(1, asked.runs // 2)),
        "measure_trace_s": _median(lambda: measure(trace, Expected(1e8, 100.0)), asked.runs),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3),
    }


def _median(work: Callable[[], Any], runs: int) -> float:
    found = []
    for _ in range(runs + 1):
        begin = time.process_time()
        work()
        found.append(time.process_time() - begin)
    return round(statistics.median(found[1:]), 4)


def _table(samples: int, seed: int) -> bytes:
    """A clock of 4 MHz at 1 GS/s with 30 mV of noise, as an oscilloscope saves it."""
    k = np.arange(samples)
    volts = np.where(k // 125 % 2, 3.6, 0.2) + np.random.default_rng(seed).normal(0, 0.03, samples)
    rows = "\n".join(f"{t:.9e},{v:.4f}" for t, v in zip(k * 1e-9, volts, strict=True))
    return f"Time (s),CH1 (V)\n{rows}\n".encode()


def _dump(steps: int) -> bytes:
    """Two wires, two changes written at each of that many times, 5 ns apart."""
    table = np.tile(np.frombuffer(b'#0000000000\n0!\n0"\n', np.uint8), (steps, 1))
    k = np.arange(steps)
    for place in range(10):
        table[:, 10 - place] = 48 + (k * 5 // 10**place) % 10
    table[:, 12], table[:, 15] = 48 + (k & 1), 48 + ((k >> 1) & 1)
    return b'$timescale 1ns $end $var wire 1 ! a $end $var wire 1 " b $end $enddefinitions $end\n' + table.tobytes()
