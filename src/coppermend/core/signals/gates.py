"""Whether a chip of the device book obeys its logic over a capture, and which pin disagrees.

Levels are compared where nothing at the inputs has changed for a settling time: a gate needs some, and samples are late by up to a step. Three-valued: what an
unknown input leaves open is not judged. A pin that disagrees is explained, where one explanation fits all of it: the output stands still, or the chip acts as if
one input always had one level (an open leg of a TTL chip reads high; common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from coppermend.core.circuit.logic import Tree, names_in, tree_of
from coppermend.core.circuit.model import ChipFacts
from coppermend.core.findings import Place, refuse
from coppermend.core.signals.edges import Flags
from coppermend.core.signals.wave import HIGH, LOW, Floats, Trace

SETTLE_S = 100e-9
"""Longer than a gate of the TTL, LS, HC and HCT families takes to answer (data books: 10 to 25 ns, 4000 series at 5 V up to 250 ns); from memory."""
WRONG_SHARE = 0.01
"""A pin disagrees from this share of the judged time on (an assumption: skew between channels of an analyser is far less)."""

Both = tuple[Flags, Flags]
"""(certainly low, certainly high) per stretch of time."""


@dataclass(frozen=True, slots=True)
class PinJudged:
    """One driven pin: seconds that could be ``judged``, of these ``wrong``, and whether it ``obeys`` (None: nothing could be judged)."""

    pin: str
    name: str
    logic: str
    judged_s: float
    wrong_s: float
    obeys: bool | None
    words: str
    rows: tuple[tuple[str, str], ...]
    """Input levels seen while wrong with the level that was seen, e.g. ("1A=1 1B=1", "1"), at most eight."""


@dataclass(frozen=True, slots=True)
class GateReport:
    """The chip's driven pins that were recorded. ``disagree`` their ids."""

    pins: tuple[PinJudged, ...]

    @property
    def disagree(self) -> tuple[str, ...]:
        """Numbers of the pins that do not obey."""
        return tuple(one.pin for one in self.pins if one.obeys is False)


def check_gate(chip: ChipFacts, traces: Mapping[str, Trace], settle_s: float = SETTLE_S) -> GateReport:
    """Compare a chip's recorded pins with its logic. ``traces``: pin number ("3") to its trace; pins that are missing count as not known.

    Refusal SIG-020 when no driven pin of simple logic was recorded, SIG-021 when the channels do not overlap in time.

    >>> from coppermend.core.circuit.toychip import Toy
    >>> inverter = Toy("INV", "1 A input|2 Y output", {"Y": "!A"})
    >>> a = Trace("A", np.array([0.0, 1.0]), np.array([0, 1], np.int8), 2.0, 1e-3)
    >>> y = Trace("Y", np.array([0.0]), np.array([1], np.int8), 2.0, 1e-3)
    >>> report = check_gate(inverter, {"1": a, "2": y})
    >>> report.disagree, report.pins[0].words
    (('2',), 'stands at 1 where it must change')
    """
    number = {one.name: str(one.number) for one in chip.pins}
    named = {name: traces[n] for name, n in number.items() if n in traces}
    mine = [name for name in chip.logic if name in named]
    if not mine:
        some = ", ".join(f"{number[name]} ({name})" for name in list(chip.logic)[:8])
        raise refuse(
            "SIG-020",
            f"No recorded pin of {chip.type} has simple logic in the device book.",
            f"Record one of the pins {some} with its inputs."
            if some
            else "Gates, decoders and multiplexers have it; what holds state does not.",
            Place(thing=chip.type),
        )
    return GateReport(tuple(_judge(chip, number, named, name, settle_s) for name in mine))


def _judge(
    chip: ChipFacts, number: Mapping[str, str], named: Mapping[str, Trace], name: str, settle_s: float
) -> PinJudged:
    logic, drive = chip.logic[name], chip.drive.get(name, "")
    wanted = dict.fromkeys((*names_in(logic), *(names_in(drive) if drive else ())))
    inputs = {one: named[one] for one in wanted if one in named and one != name}
    output = named[name]
    grid, length = _stretches([*inputs.values(), output])
    levels = {one: _both(trace, grid) for one, trace in inputs.items()}
    seen = output.at(grid)
    wait = settle_s + 2.0 * max(one.grid_s for one in (*inputs.values(), output))
    quiet = _quiet(inputs, grid, length, wait)
    low, high = _value(tree_of(logic), levels, grid.size)
    driven = _value(tree_of(drive), levels, grid.size)[1] if drive else np.ones(grid.size, np.bool_)
    fair = driven & (low | high) & ((seen == LOW) | (seen == HIGH))
    judged = float(quiet[fair].sum())
    off = fair & np.where(high, seen != HIGH, seen != LOW)
    wrong = float(quiet[off].sum())
    if judged <= 0:
        return PinJudged(
            number[name], name, logic, 0.0, 0.0, None, "nothing to judge: its inputs are not known or never rest", ()
        )
    if wrong <= WRONG_SHARE * judged:
        return PinJudged(number[name], name, logic, judged, wrong, True, "obeys its logic", ())
    words = _why(logic, levels, seen, quiet * fair, high, number)
    return PinJudged(number[name], name, logic, judged, wrong, False, words, _rows(levels, seen, quiet, off))


def _stretches(traces: list[Trace]) -> tuple[Floats, Floats]:
    """Times at which anything changes while all channels are recorded, and how long each state lasts."""
    begin, end = max(one.start_s for one in traces), min(one.end_s for one in traces)
    if end <= begin:
        raise refuse(
            "SIG-021",
            "The channels do not overlap in time.",
            "Take all pins from one record.",
            Place(thing=traces[0].name),
        )
    times = np.unique(np.concatenate([[begin], *(one.times_s for one in traces)]))
    times = times[(times >= begin) & (times < end)]
    return times, np.diff(np.append(times, end))


def _both(trace: Trace, grid: Floats) -> Both:
    level = trace.at(grid)
    return level == LOW, level == HIGH


def _quiet(inputs: Mapping[str, Trace], grid: Floats, length: Floats, wait: float) -> Floats:
    """How much of each stretch lies at least ``wait`` after the last change of an input."""
    changes = np.unique(np.concatenate([[grid[0]], *(one.times_s for one in inputs.values())]))
    last = changes[np.maximum(np.searchsorted(changes, grid, side="right") - 1, 0)]
    begin = np.maximum(grid, last + wait)
    return np.asarray(np.maximum(grid + length - begin, 0.0))


def _value(tree: Tree | str, levels: Mapping[str, Both], size: int) -> Both:
    """An expression over all stretches, three-valued."""
    if isinstance(tree, str):
        return levels.get(tree, (np.zeros(size, np.bool_), np.zeros(size, np.bool_)))
    sign, one, two = tree
    low, high = _value(one, levels, size)
    if sign == "!":
        return high, low
    low2, high2 = _value(two, levels, size)
    if sign == "&":
        return low | low2, high & high2
    if sign == "|":
        return low & low2, high | high2
    return (low & low2) | (high & high2), (low & high2) | (high & low2)


def _why(
    logic: str, levels: Mapping[str, Both], seen: np.ndarray, weight: Floats, high: Flags, number: Mapping[str, str]
) -> str:
    """One explanation for all that is wrong, in words."""
    shown = seen[weight > 0]
    if np.all(shown == shown[0]) and np.ptp(high[weight > 0].astype(np.int8)) > 0:
        return f"stands at {int(shown[0])} where it must change"
    total = float(weight.sum())
    fits = []
    for name in levels:
        for level in (HIGH, LOW):
            forced = np.full(seen.size, level == HIGH)
            low2, high2 = _value(tree_of(logic), {**levels, name: (~forced, forced)}, seen.size)
            off = np.where(high2, seen != HIGH, np.where(low2, seen != LOW, True))
            if float(weight[off].sum()) <= WRONG_SHARE * total:
                fits.append(f"as if pin {number[name]} ({name}) were always {'high' if level == HIGH else 'low'}")
    if fits:
        return f"acts {' or '.join(fits[:3])}: that pin's leg, its contact, or the chip's input"
    return "does not follow its inputs"


def _rows(levels: Mapping[str, Both], seen: np.ndarray, quiet: Floats, off: Flags) -> tuple[tuple[str, str], ...]:
    found: dict[tuple[str, str], None] = {}
    for k in np.flatnonzero(off & (quiet > 0))[:4000]:
        row = " ".join(f"{n}={1 if high[k] else 0 if low[k] else '?'}" for n, (low, high) in levels.items())
        found[(row, str(int(seen[k])))] = None
        if len(found) == 8:
            break
    return tuple(found)
