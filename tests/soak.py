"""Long jobs that go on where they were stopped: a small state file per job, counted trials, bounded processor time and memory."""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SAVE_EVERY = 100
SECONDS = 30.0
"""No trial may use more processor time; typical is a millisecond. Processor time, so that a busy machine fails nothing."""
MEMORY_MIB = 1536
"""The process may not grow beyond this peak; asked where the system tells it."""


def state_folder() -> Path:
    """Where states are kept: COPPERMEND_SOAK, else ``.soak`` in the checkout."""
    return Path(os.environ.get("COPPERMEND_SOAK", "") or ROOT / ".soak")


def code_mark(*packages: str) -> str:
    """A digest of the sources named (folders under src/coppermend): a state of other code is not continued."""
    digest = hashlib.sha256()
    for package in packages:
        for file in sorted((ROOT / "src" / "coppermend" / package).rglob("*.py")):
            digest.update(file.relative_to(ROOT).as_posix().encode() + file.read_bytes())
    return digest.hexdigest()[:16]


def peak_mib() -> float | None:
    """The process's peak resident size in MiB; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 2**20 if sys.platform == "darwin" else peak / 1024


def soak(job: str, count: int, mark: str, trial: Callable[[int], object], seconds: float | None = None) -> int:
    """Runs ``trial(n)`` for every n below ``count`` that this job has not done yet with this code; the number of trials done in all.

    The state is written every SAVE_EVERY trials and when stopped, also by an interrupt; a failing trial is not counted as done.
    ``seconds``: stop after so long (what is left is done next time); COPPERMEND_SOAK_SECONDS sets it for all jobs.
    """
    limit = seconds if seconds is not None else float(os.environ.get("COPPERMEND_SOAK_SECONDS", "inf"))
    file = state_folder() / f"{job.replace(' ', '-')}.json"
    done = _done(file, mark)
    begun = time.monotonic()
    peak_before = peak_mib() or 0.0
    try:
        while done < count and time.monotonic() - begun < limit:
            before = time.process_time()
            trial(done)
            used = time.process_time() - before
            assert used < SECONDS, f"{job} trial {done} used {used:.1f} s of processor time"
            done += 1
            if done % SAVE_EVERY == 0:
                _save(file, mark, done)
    finally:
        _save(file, mark, done)
    peak = peak_mib()
    grown = (peak or 0.0) - peak_before
    assert grown < MEMORY_MIB, f"{job}: peak memory grew by {grown:.0f} MiB"
    return done


def _done(file: Path, mark: str) -> int:
    try:
        state = json.loads(file.read_text())
        return int(state["done"]) if state["mark"] == mark else 0
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def _save(file: Path, mark: str, done: int) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    part = file.with_suffix(".part")
    part.write_text(json.dumps({"mark": mark, "done": done}))
    part.replace(file)
