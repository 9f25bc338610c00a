"""Error words weighed: which one chip, line or buffer explains them, what speaks for and against each, and what tells the first ones apart.

Every unit's ways of failing (``faults``) give a likelihood of all that was visited; its prior and theirs are assumptions. Units that make the same of every
word are named together: no error word can part them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.memory.errors import ErrorLog
from coppermend.core.memory.faults import SLIPS, Rows
from coppermend.core.memory.fits import fitting
from coppermend.core.memory.model import MemoryMap, range_words, ranges_of
from coppermend.core.memory.teams import teams_of
from coppermend.core.memory.told import MemoryExplained, MemorySuspect, looks_of, reasons_of, then_of
from coppermend.core.memory.units import Mode, Unit, units_of
from coppermend.core.memory.visits import Visits
from coppermend.core.memory.worlds import worlds_of

__all__ = ["MemoryExplained", "MemorySuspect", "explain"]

ALIKE = 0.35
"""Units whose likelihoods differ by less (natural logarithm) make the same of the words."""
ALIKE_PRIOR = 0.1
"""A unit that was so much less likely before is not named beside another that the words cannot part from it."""
SPEAKS_FROM = 1e-4


def explain(log: ErrorLog, board: MemoryMap, most: int = 8) -> MemoryExplained:
    """Which unit explains the error words of a log. Refusals: MEM-005 when none of them is an error, MEM-006 when none lies in a memory of the map or
    most words are none of this board's (too wide, beyond its addresses); a few such are said and left out."""
    log = fitting(log, board)
    errors = log.errors
    if not errors:
        raise refuse(
            "MEM-005",
            f"None of the {len(log.words)} words differs from what was written.",
            "Nothing failed here: give the words that read wrong, or look elsewhere.",
        )
    address = np.array([one.address for one in errors], np.int64)
    held = np.logical_or.reduce([one.covers(address) for one in board.rams])
    if not held.any():
        said = "; ".join(f"{one.ref} {range_words(ranges_of(one, board.space), board.space)}" for one in board.rams[:8])
        raise refuse(
            "MEM-006",
            f"No writable memory of this board answers at {', '.join(f'{int(a):04X}' for a in address[:3])}: {said}.",
            "See whether the addresses are the processor's and the board is the right one, or give the map: --map FILE.",
        )
    notes = list(log.findings)
    if not held.all():
        lost = [f"{int(a):04X}" for a in address[~held]]
        words = f"{len(lost)} error words lie in no writable memory of the map: {', '.join(lost[:4])}."
        notes.append(Finding("MEM-006", Severity.WARNING, Place(), words, "They count for none of its chips."))
    worlds = tuple(worlds_of(log, board))
    units = tuple(units_of(board, address, timed(log)))
    rows = [row for unit in units if (row := _weighed(unit, worlds, board)) is not None]
    for team, log_like in teams_of([one for one in units if one.kind == "chip"], log, board, worlds):
        rows.append(_Row(team, log_like, team.modes[0], log_like))
    rows = [_slipped(row, log, board) for row in rows]
    return _answer(rows, log, board, notes, most)


def timed(log: ErrorLog) -> bool:
    return any(one.after_s is not None for one in log.words)


@dataclass(frozen=True, slots=True)
class _Row:
    unit: Unit
    log_like: float
    mode: Mode
    mode_log: float


def _weighed(unit: Unit, worlds: tuple[tuple[float, Visits], ...], board: MemoryMap) -> _Row | None:
    """A unit's likelihood over all its ways of failing and all the ways the test may have gone."""
    table = [
        Rows(seen, unit.mask(seen.address, board.drawn(seen.address, seen.picture)), board.width) for _, seen in worlds
    ]
    if not any(rows.mask[rows.seen.wrong].any() for rows in table):
        return None
    best, best_log, total = unit.modes[0], -math.inf, -math.inf
    share = sum(one[1] for one in unit.modes)
    for mode in unit.modes:
        logs = [math.log(chance) + mode[2](rows) for (chance, _), rows in zip(worlds, table, strict=True)]
        here = float(np.logaddexp.reduce(logs)) + math.log(mode[1] / share)
        total = float(np.logaddexp(total, here))
        if here > best_log:
            best, best_log = mode, here
    return _Row(unit, total, best, best_log) if total > -math.inf else None


def _slipped(row: _Row, log: ErrorLog, board: MemoryMap) -> _Row:
    """A unit that several error words do not come from at all: one may be a slip, several hardly are."""
    errors = log.errors
    address = np.array([one.address for one in errors], np.int64)
    drawn = board.drawn(address, np.array([one.picture for one in errors]))
    bits = np.array([one.bits for one in errors], np.int64)
    more = int(((bits & ~row.unit.mask(address, drawn)) != 0).sum()) - 1
    if more < 1:
        return row
    return replace(row, log_like=row.log_like + more * math.log(SLIPS), mode_log=row.mode_log + more * math.log(SLIPS))


def _answer(rows: list[_Row], log: ErrorLog, board: MemoryMap, notes: list[Finding], most: int) -> MemoryExplained:
    logs = np.array([row.log_like + math.log(row.unit.prior) for row in rows])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable")
    found: list[MemorySuspect] = []
    for k in order[:most].tolist():
        if weights[k] < SPEAKS_FROM and found:
            break
        found.append(_suspect(rows[k], float(weights[k]), rows, log, board))
    bits = tuple((bit, n) for bit in range(board.width) if (n := sum(one.bits >> bit & 1 for one in log.errors)))
    looks = tuple(looks_of(log, board))
    return MemoryExplained(
        tuple(found),
        len(log.words),
        len(log.errors),
        bits,
        looks,
        tuple(then_of(found, board)),
        tuple(notes),
    )


def _suspect(row: _Row, p: float, rows: list[_Row], log: ErrorLog, board: MemoryMap) -> MemorySuspect:
    unit = row.unit
    pins = tuple(row.mode[3].split()) or unit.pins
    alike = tuple(
        other.unit.name
        for other in rows
        if other is not row
        and other.unit.kind not in ("several", "refresh", "chips")
        and abs(_plain(other) - _plain(row)) < ALIKE
        and other.unit.prior >= ALIKE_PRIOR * unit.prior
    )
    pro, con = reasons_of(unit, log, board)
    return MemorySuspect(
        unit.name, unit.kind, p, row.mode[0], pins, unit.nets, unit.parts, pro, con, alike, row.log_like, unit.program
    )


def _plain(row: _Row) -> float:
    """The likelihood of a unit's best way of failing without that way's share."""
    share = row.mode[1] / sum(one[1] for one in row.unit.modes)
    return row.mode_log - math.log(share)
