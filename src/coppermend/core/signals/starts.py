"""A start as a timed sequence: the rail comes up, the clock runs, the reset is released, and whether that was in order.

Rules come from data sheets: a processor wants its reset active for a number of clocks (Z80: 3, 6502: 2, 8086: 4) or a time (68000: 100 ms) once supply and clock
are there. How late is too late is the user's to say; a second is an assumption.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.findings import Place, refuse
from coppermend.core.signals.edges import to_trace, trace_edges
from coppermend.core.signals.model import Thresholds
from coppermend.core.signals.wave import HIGH, LOW, Channel, Trace, Wave

LATE_S = 1.0


@dataclass(frozen=True, slots=True)
class StartRules:
    """``active_low`` reset; at least ``clocks`` and ``least_s`` of it after supply and clock, at most ``most_s``. ``rail_v``: the supply counts from here on."""

    active_low: bool = True
    clocks: float = 0.0
    least_s: float = 0.0
    most_s: float = LATE_S
    rail_v: float = 4.75
    clock_hz: float | None = None


@dataclass(frozen=True, slots=True)
class StartSeen:
    """``ready_s`` when supply and clock were there, ``released_s`` None: never, ``wait_s`` from one to the other, ``clocks`` in between (None: not recorded)."""

    verdict: str
    words: str
    ready_s: float
    released_s: float | None
    wait_s: float | None
    clocks: float | None
    releases: int
    events: tuple[tuple[float, str], ...]


def read_start(
    reset: Channel,
    rail: Channel | None = None,
    clock: Channel | None = None,
    rules: StartRules | None = None,
    limits: Thresholds | None = None,
) -> StartSeen:
    """The sequence of one start. Refusal SIG-022 when the rail never gets there or the clock never runs: then the reset says nothing.

    >>> reset = Trace("/RESET", np.array([0.0, 0.02]), np.array([0, 1], np.int8), 0.1, 1e-6)
    >>> read_start(reset, rules=StartRules(least_s=0.01)).verdict, read_start(reset, rules=StartRules(least_s=0.03)).verdict
    ('right', 'released too early')
    """
    wanted = rules or StartRules()
    levels = limits or Thresholds("TTL", 0.8, 2.0, named=False)
    line = _logic(reset, levels)
    events: list[tuple[float, str]] = []
    ready = _rail(rail, line, wanted, events)
    beats = None if clock is None else _beats(clock, levels, ready, events)
    if beats is not None:
        ready = max(ready, float(beats[0]))
    active, free = (LOW, HIGH) if wanted.active_low else (HIGH, LOW)
    known = np.flatnonzero((line.levels == LOW) | (line.levels == HIGH))
    times, seen = line.times_s[known], line.levels[known]
    let_go = times[1:][(seen[1:] == free) & (seen[:-1] == active) & (times[1:] >= ready)]
    at_ready = seen[max(int(np.searchsorted(times, ready, side="right")) - 1, 0)] if seen.size else free
    events += [(float(t), "reset released") for t in let_go[:8]]
    if not let_go.size:
        return _never(line, ready, bool(at_ready == active), wanted, events)
    released = float(let_go[-1])
    return _judged(ready, released, beats, wanted, events, int(let_go.size))


def _logic(channel: Channel, limits: Thresholds) -> Trace:
    return to_trace(channel, limits.low_v, limits.high_v) if isinstance(channel, Wave) else channel


def _rail(rail: Channel | None, line: Trace, rules: StartRules, events: list[tuple[float, str]]) -> float:
    """When the supply is there to stay."""
    if rail is None:
        return line.start_s
    if isinstance(rail, Trace):
        below = rail.levels != HIGH
        last = int(np.flatnonzero(below)[-1]) if below.any() else -1
        there = rail.start_s if last < 0 else float(rail.times_s[last + 1]) if last + 1 < rail.levels.size else None
    else:
        under = np.flatnonzero(rail.values < rules.rail_v)
        k = int(under[-1]) + 1 if under.size else 0
        there = float(rail.seconds(np.array([float(k)]))[0]) if k < rail.values.size else None
    if there is None:
        raise refuse(
            "SIG-022", f"The rail {rail.name} is not above {rules.rail_v:g} V at the end of the record.", "See to the supply first; or record longer.", Place(thing=rail.name)
        )  # fmt: skip
    events.append((there, f"{rail.name} above {rules.rail_v:g} V"))
    return there


def _beats(clock: Channel, limits: Thresholds, ready: float, events: list[tuple[float, str]]) -> np.ndarray:
    edges = trace_edges(_logic(clock, limits))
    beats = edges.times_s[edges.rising & (edges.times_s >= ready)]
    if not beats.size:
        raise refuse(
            "SIG-022", f"The clock {clock.name} does not run after the supply is there.", "Find the clock first: without it the reset says nothing.", Place(thing=clock.name)
        )  # fmt: skip
    events.append((float(beats[0]), f"{clock.name} runs"))
    return beats


def _never(line: Trace, ready: float, held: bool, rules: StartRules, events: list[tuple[float, str]]) -> StartSeen:
    length = line.end_s - ready
    if held:
        late = length > rules.most_s
        words = f"reset is still active {length:.4g} s after supply and clock" + ("" if late else ": record longer")
        verdict = "released too late" if late else f"stuck {'low' if rules.active_low else 'high'}"
        return StartSeen(verdict, words, ready, None, None, None, 0, tuple(sorted(events)))
    words = "reset is not active once supply and clock are there"
    return StartSeen("released too early", words, ready, None, None, 0.0, 0, tuple(sorted(events)))


def _judged(
    ready: float,
    released: float,
    beats: np.ndarray | None,
    rules: StartRules,
    events: list[tuple[float, str]],
    releases: int,
) -> StartSeen:
    wait = released - ready
    clocks: float | None = None
    if beats is not None:
        clocks = float(np.sum((beats >= ready) & (beats < released)))
    elif rules.clock_hz:
        clocks = wait * rules.clock_hz
    early = wait < rules.least_s or (clocks is not None and clocks < rules.clocks)
    verdict = "released too early" if early else "released too late" if wait > rules.most_s else "right"
    count = "" if clocks is None else f", {clocks:.6g} clocks"
    again = f"; released {releases} times, the last counts" if releases > 1 else ""
    need = [f"{rules.clocks:g} clocks"] if rules.clocks else []
    need += [f"{rules.least_s:g} s"] if rules.least_s else []
    rule = (
        f" (needs {' and '.join(need)}, at most {rules.most_s:g} s)" if need or verdict == "released too late" else ""
    )
    words = f"reset released {wait:.6g} s after supply and clock{count}{rule}{again}"
    return StartSeen(verdict, words, ready, released, wait, clocks, releases, tuple(sorted(events)))


def repeated(starts: Sequence[StartSeen | str]) -> tuple[int, int, str]:
    """How many of the starts were right: (right, all, words).

    >>> repeated(["right", "right", "released too early"])
    (2, 3, 'reset seen right 2 of 3 times')
    """
    verdicts = [one if isinstance(one, str) else one.verdict for one in starts]
    right = sum(one == "right" for one in verdicts)
    return right, len(verdicts), f"reset seen right {right} of {len(verdicts)} times"
