"""Two nets that read joined, and what was done to part them since: cleared, resoldered, or a track cut. Whether it did is read next, wherever it lies.

Those readings speak no more (``services/evidence.py``); until the pair reads open nobody knows whether the short is gone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.planning.costs import check_seconds
from coppermend.core.planning.describe import tips_words
from coppermend.core.planning.model import Check, NextStep
from coppermend.core.planning.touching import NO_NAME
from coppermend.core.rework.pieces import components, nodes_of, points_of, sites_of
from coppermend.services.bind import Binding
from coppermend.services.evidence import MAY_PART, PARTS_NETS
from coppermend.services.map_doubt import tips_of

MOST = 12
"""Pairs of pieces listed at most: a net that was cut often has many."""


@dataclass(frozen=True, slots=True)
class Cleared:
    """Two pieces of copper that read joined before (``numbers``: those readings) and were not read since: ``a`` and ``b`` the points to read."""

    net_a: str
    net_b: str
    a: ProbePoint
    b: ProbePoint
    numbers: tuple[int, ...]
    since: str
    """What was done: "a cut (no. 8)"."""

    @property
    def words(self) -> str:
        """What is not proven, without the full stop."""
        plural = len(self.numbers) > 1
        said = f"reading{'s' if plural else ''} no. {', '.join(map(str, self.numbers))} said that {'they are' if plural else 'it is'} joined"
        return f"{self.net_a} and {self.net_b} were not read since they were to be parted ({said}): {self.a.id} to {self.b.id} must be open"


def cleared_pairs(binding: Binding) -> tuple[Cleared, ...]:
    """The pairs of pieces to read because something was done to part them, in the order of the log. Kept with the binding."""
    if "cleared pairs" not in binding.memo:
        binding.memo["cleared pairs"] = _cleared(binding)
    found: tuple[Cleared, ...] = binding.memo["cleared pairs"]
    return found


def _cleared(binding: Binding) -> tuple[Cleared, ...]:
    why, done = dict(binding.expired), _done(binding)
    refs = {one.entry: one.ref for one in binding.state.timeline}
    asked: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for reading in binding.state.readings:
        if MAY_PART in why.get(reading.entry, ""):
            nets = sorted({_net(binding.graph, ref.net) for ref in reading.points} - {-1})
            if len(nets) == 2:
                asked.setdefault((nets[0], nets[1]), []).append((reading.at, refs.get(reading.entry, 0)))
    out: list[Cleared] = []
    for (a, b), before in asked.items():
        names = [binding.graph.net_names[net] or NO_NAME for net in (a, b)]
        for one, other in _unread(binding, a, b, max(at for at, _ in before)):
            numbers, last = tuple(number for _, number in before), max(at for at, _ in before)
            since = next((words for at, words in done if at > last), "work")
            out.append(Cleared(names[0], names[1], one, other, numbers, since))
    return tuple(out[:MOST])


def _done(binding: Binding) -> list[tuple[int, str]]:
    """What may have parted nets, by place in the log."""
    refs = {one.entry: one.ref for one in binding.state.timeline}
    named = {"clean": "the cleaning", "solder": "the soldering"}
    acts = [
        (one.at, f"{named[one.kind]} (no. {refs.get(one.entry, 0)})")
        for one in binding.state.acts
        if one.kind in PARTS_NETS
    ]
    return sorted([*acts, *((one.at, f"the cut (no. {refs.get(one.id, 0)})") for one in binding.state.cuts)])


def _net(graph: CopperGraph, name: str) -> int:
    try:
        return graph.net_index(name) if name else -1
    except KeyError:
        return -1


def _unread(binding: Binding, a: int, b: int, since: int) -> list[tuple[ProbePoint, ProbePoint]]:
    """The nearest points of each two pieces of both nets that no reading after ``since`` was taken between."""
    graph = binding.graph
    home = {net: components(nodes_of(graph, net), [(s.a, s.b) for s in sites_of(graph, net)]) for net in (a, b)}
    at = {reading.entry: reading.at for reading in binding.state.readings}
    points = {point.id: point for point in graph.points}
    read = set()
    for one in binding.evidence:
        ends = {points[name].net: points[name] for name in (one.point_a, one.point_b) if name in points}
        if set(ends) == {a, b} and at.get(one.entry, -1) > since:
            read.add((home[a][ends[a].node], home[b][ends[b].node]))
    pieces = {net: _touchable(graph, net, home[net]) for net in (a, b)}
    return [
        min(
            product(ones, others),
            key=lambda p: (p[0].side != p[1].side, (p[0].x_mm - p[1].x_mm) ** 2 + (p[0].y_mm - p[1].y_mm) ** 2, p[0].id, p[1].id),
        )
        for (first, ones), (second, others) in product(pieces[a].items(), pieces[b].items())
        if (first, second) not in read
    ]  # fmt: skip


def _touchable(graph: CopperGraph, net: int, home: dict[int, int]) -> dict[int, list[ProbePoint]]:
    """The pins that a tip can reach, by piece; pieces without one tell nothing."""
    out: dict[int, list[ProbePoint]] = {}
    for point in points_of(graph, net):
        if point.reachable and point.part:
            out.setdefault(home[point.node], []).append(point)
    return out


def cleared_step(binding: Binding) -> NextStep | None:
    """The reading that tells whether two nets that read joined are apart now; None where nothing was done to part any."""
    found = cleared_pairs(binding)
    if not found:
        return None
    one, tips = found[0], tips_of(binding)
    seconds, after = check_seconds(binding.costs, tips, one.a, one.b)
    over = after.up != tips.up
    reason = f"{one.net_a} and {one.net_b} read joined (no. {', '.join(map(str, one.numbers))}); what was done since was to part them: open says that it did"
    check = Check(
        f"isolation:{one.a.id}:{one.b.id}", "isolation", one.a.id, one.b.id, one.net_a, one.net_b, None, (), seconds, reason, turn_over=over,
    )  # fmt: skip
    words = tips_words(one.a, one.b, over)
    step = NextStep("check", words, reason, seconds, 0.0, check=check)
    return replace(step, left=len(found) - 1, left_seconds=(len(found) - 1) * seconds)
