"""Track runs, and their tidying: series pieces become runs, overshoots go, junctions a fraction of a width apart become one, meshes are sheets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coppermend.core.copper.blobs import Point
from coppermend.core.copper.centreline import MEET_MM
from coppermend.core.copper.unite import Union

SHORT_WIDTHS = 0.5
"""A run between junctions shorter than this share of its width is part of the junction. Our choice."""
STUB_WIDTHS = 1.0
"""A loose end shorter than this share of the widest copper where it hangs is an overshoot, no run. Our choice."""
HATCH_LOOPS = 12
"""Tracks that close at least this many loops among themselves, outside any land, are a hatched pour. Our choice."""


@dataclass(slots=True)
class Run:
    """A track run between the local nodes ``a`` and ``b``: path in mm from a to b, width of each of its segments, length."""

    a: int
    b: int
    path: list[Point]
    widths: list[float]
    length: float

    def turned(self) -> Run:
        """The same run read from b to a."""
        return Run(self.b, self.a, self.path[::-1], self.widths[::-1], self.length)


class Simplifier:
    """Series pieces become runs; overshoots go; junctions a fraction of a width apart become one."""

    def __init__(self, runs: list[Run], fixed: int) -> None:
        self.fixed = fixed
        self.runs: dict[int, Run] = {}
        self.at: dict[int, list[int]] = {}
        self.next_key = 0
        for run in runs:
            if run.a != run.b:
                self._add(run)

    def _add(self, run: Run) -> None:
        key = self.next_key
        self.next_key += 1
        self.runs[key] = run
        self.at.setdefault(run.a, []).append(key)
        self.at.setdefault(run.b, []).append(key)

    def _drop(self, key: int) -> Run:
        run = self.runs.pop(key)
        for node in (run.a, run.b):
            self.at[node].remove(key)
        return run

    def run(self) -> list[Run]:
        """The runs that remain."""
        self._series()
        while self._stubs() or self._shorts():
            self._series()
        return [self.runs[k] for k in sorted(self.runs)]

    def _series(self) -> None:
        for node in sorted(self.at):
            keys = self.at[node]
            if node < self.fixed or len(keys) != 2 or keys[0] == keys[1]:
                continue
            first, second = self._drop(keys[0]), self._drop(keys[0])
            first = first if first.b == node else first.turned()
            second = second if second.a == node else second.turned()
            joined = Run(
                first.a,
                second.b,
                first.path + second.path[1:]
                if math.dist(first.path[-1], second.path[0]) <= MEET_MM
                else first.path + second.path,
                first.widths + second.widths
                if math.dist(first.path[-1], second.path[0]) <= MEET_MM
                else [*first.widths, min(first.widths[-1], second.widths[0]), *second.widths],
                first.length + second.length,
            )
            if joined.a != joined.b:
                self._add(joined)

    def _stubs(self) -> bool:
        gone = False
        for node in sorted(self.at):
            keys = self.at[node]
            if node < self.fixed or len(keys) != 1:
                continue
            run = self.runs[keys[0]]
            other = run.a if run.b == node else run.b
            wide = max(w for k in self.at[other] for w in self.runs[k].widths)
            if run.length <= STUB_WIDTHS * wide:
                self._drop(keys[0])
                gone = True
        return gone

    def _shorts(self) -> bool:
        gone = False
        for key in sorted(self.runs):
            run = self.runs.get(key)
            if run is None:
                continue
            lowest, highest = min(run.a, run.b), max(run.a, run.b)
            if highest < self.fixed or run.length > SHORT_WIDTHS * max(run.widths) or len(self.at[highest]) < 2:
                continue
            self._drop(key)
            for k in list(self.at[highest]):
                moved = self._drop(k)
                moved.a = lowest if moved.a == highest else moved.a
                moved.b = lowest if moved.b == highest else moved.b
                if moved.a != moved.b:
                    self._add(moved)
            gone = True
        return gone


def hatched(runs: list[Run], fixed: int) -> tuple[list[Run], dict[int, list[Run]]]:
    """Meshes of tracks that meet outside any land (hatched pours) taken together: the runs that remain, and per mesh node its runs.

    A mesh is what is left of runs between junctions after loose ends are taken away, where it closes at least HATCH_LOOPS loops.
    """
    meshes: dict[int, list[int]] = {}
    group = Union(max((max(r.a, r.b) for r in runs), default=0) + 1)
    live = _without_loose_ends(runs, fixed)
    for k in live:
        group.join(runs[k].a, runs[k].b)
    for k in sorted(live):
        meshes.setdefault(group.find(runs[k].a), []).append(k)
    nodes: dict[int, int] = {}
    gone: dict[int, list[Run]] = {}
    taken: set[int] = set()
    for root, keys in meshes.items():
        ends = {n for k in keys for n in (runs[k].a, runs[k].b)}
        if len(keys) - len(ends) + 1 >= HATCH_LOOPS:
            gone[root] = [runs[k] for k in keys]
            nodes |= dict.fromkeys(ends, root)
            taken |= set(keys)
    left = [run for k, run in enumerate(runs) if k not in taken]
    for run in left:
        run.a, run.b = nodes.get(run.a, run.a), nodes.get(run.b, run.b)
    return [run for run in left if run.a != run.b], gone


def _without_loose_ends(runs: list[Run], fixed: int) -> set[int]:
    """The runs between junctions that are left when loose ends are taken away again and again."""
    near: dict[int, list[int]] = {}
    for k, run in enumerate(runs):
        if run.a >= fixed and run.b >= fixed:
            near.setdefault(run.a, []).append(k)
            near.setdefault(run.b, []).append(k)
    live = {k for keys in near.values() for k in keys}
    degree = {node: len(keys) for node, keys in near.items()}
    todo = [node for node, d in degree.items() if d == 1]
    while todo:
        node = todo.pop()
        for k in near[node]:
            if k in live:
                live.discard(k)
                other = runs[k].a if runs[k].b == node else runs[k].b
                degree[other] -= 1
                if degree[other] == 1:
                    todo.append(other)
    return live
