"""Two, three or four bad chips at once: each explains its own bits of the error words, what none of them reaches is a slip."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from coppermend.core.memory.errors import ErrorLog
from coppermend.core.memory.faults import SLIP, Rows
from coppermend.core.memory.model import MemoryMap
from coppermend.core.memory.units import MOST_TEAM, TEAM, Mode, Unit
from coppermend.core.memory.visits import Visits

MOST_TRIED = 12
"""Chips that are tried as members: those with the most error words."""

Worlds = tuple[tuple[float, Visits], ...]


def teams_of(singles: list[Unit], log: ErrorLog, board: MemoryMap, worlds: Worlds) -> Iterator[tuple[Unit, float]]:
    """Every team of chips whose members each have error words of their own, with the logarithm of its likelihood. ``singles``: the chips one by one."""
    errors = log.errors
    address = np.array([one.address for one in errors], np.int64)
    bits = np.array([one.bits for one in errors], np.int64)
    drawn = board.drawn(address, np.array([one.picture for one in errors]))
    masks = {unit.name: unit.mask(address, drawn) for unit in singles}
    own = {name: int(((bits & mask) != 0).sum()) for name, mask in masks.items()}
    tried = sorted((unit for unit in singles if own[unit.name]), key=lambda unit: -own[unit.name])[:MOST_TRIED]
    alone = {unit.name: _alone(unit, board, worlds) for unit in tried} if len(tried) > 1 else {}
    slip = math.log(SLIP * 0.5**board.width)
    for size in range(2, min(len(tried), MOST_TEAM) + 1):
        for members in combinations(tried, size):
            held = np.zeros(len(bits), np.int64)
            twice = np.zeros(len(bits), np.int64)
            for unit in members:
                twice |= held & masks[unit.name]
                held |= masks[unit.name]
            if twice.any():
                continue
            left = int(((bits & ~held) != 0).sum())
            logs = [
                math.log(chance) + sum(alone[unit.name][0][k] for unit in members)
                for k, (chance, _) in enumerate(worlds)
            ]
            total = float(np.logaddexp.reduce(logs)) + left * slip
            yield _team(members, [alone[unit.name][1] for unit in members]), total


def _alone(unit: Unit, board: MemoryMap, worlds: Worlds) -> tuple[list[float], Mode]:
    """A chip's likelihood of its own bits in each world, and its likeliest way of failing."""
    share = sum(one[1] for one in unit.modes)
    sums: list[float] = []
    modes = np.full(len(unit.modes), -math.inf)
    for chance, seen in worlds:
        mask = unit.mask(seen.address, board.drawn(seen.address, seen.picture))
        rows = Rows(replace(seen, read=seen.wrote ^ ((seen.wrote ^ seen.read) & mask)), mask, board.width)
        logs = np.array([math.log(one[1] / share) + one[2](rows) for one in unit.modes])
        sums.append(float(np.logaddexp.reduce(logs)))
        modes = np.logaddexp(modes, logs + math.log(chance))
    return sums, unit.modes[int(np.argmax(modes))]


def _team(members: tuple[Unit, ...], modes: list[Mode]) -> Unit:
    ordered = sorted(zip(members, modes, strict=True), key=lambda pair: pair[0].parts)
    refs = [unit.parts[0] for unit, _ in ordered]
    words = "; ".join(f"{ref}: {mode[0]}" for ref, (_, mode) in zip(refs, ordered, strict=True))
    return Unit(
        f"parts {', '.join(refs[:-1])} and {refs[-1]}",
        "chips",
        tuple(chip for unit, _ in ordered for chip in unit.chips),
        -1,
        ((words, 1.0, _nothing, ""),),
        tuple(pin for unit, _ in ordered for pin in unit.pins),
        (),
        tuple(refs),
        math.prod(unit.prior for unit in members) * TEAM ** (len(members) - 1),
    )


def _nothing(rows: Rows) -> float:
    raise AssertionError("a team is weighed by its members")
