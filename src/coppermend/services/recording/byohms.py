"""What ohms readings found, for the record: shorts between two nets and stretches with too much resistance, each with place, ohms, band and readings."""

from __future__ import annotations

from collections.abc import Iterable
from heapq import heappop, heappush

from coppermend.core.belief.partial import SOUND_PRIOR, locate_excess
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.findings import Refusal
from coppermend.core.log.values import ohm_words
from coppermend.services.bind import Binding
from coppermend.services.ohms import ExcessRow, ask_excess_of, excess_rows
from coppermend.services.recording.model import OhmsRow
from coppermend.services.shorts import short_of
from coppermend.services.shortwork import ring_of

MOST_SHORTS = 20
"""Shorts whose place is worked out; more at once point to tips on wrong pins."""
BAND = 0.9
ONE_PLACE = "One place alone holds 90 % of the probability: no ellipse is needed round it."

BELOW_THE_PARTS = 0.5
"""An ohms reading between two nets that low-ohm parts join tells of a bridge when it is below this share of what the parts would read."""


def ohms_rows(binding: Binding, joined: Iterable[tuple[str, str]]) -> tuple[OhmsRow, ...]:
    """Shorts (``joined``: names of the nets that are likely joined) first, then the nets with too much resistance, in the order of their readings."""
    pairs = {frozenset(pair): pair for pair in (*joined, *_past_parts(binding))}
    shorts = [row for pair in list(pairs.values())[:MOST_SHORTS] if (row := _short(binding, pair)) is not None]
    return (*shorts, *_too_much(binding))


def _past_parts(binding: Binding) -> Iterable[tuple[str, str]]:
    """Pairs of nets that parts of a few ohms join and that read lower than those parts: a beep alone says nothing there."""
    graph = binding.graph
    points = {p.id: p for p in graph.points}
    for one in binding.evidence:
        a, b = points.get(one.point_a), points.get(one.point_b)
        if one.ohms is None or one.sense or a is None or b is None or a.net == b.net:
            continue
        if one.ohms < BELOW_THE_PARTS * parts_ohm(graph, a.net, b.net):
            first, second = sorted((a.net, b.net))
            yield graph.net_names[first], graph.net_names[second]


def parts_ohm(graph: CopperGraph, net_a: int, net_b: int) -> float:
    """The least ohms from one net to the other through parts alone; 0.0 where none join them (their short is told by beeps too)."""
    beside: dict[int, list[tuple[int, float]]] = {}
    for site in graph.sites:
        if site.kind is SiteKind.THROUGH:
            ends = graph.node_net[site.a], graph.node_net[site.b]
            for here, there in (ends, ends[::-1]):
                beside.setdefault(here, []).append((there, site.resistance_ohm))
    todo, done = [(0.0, net_a)], set[int]()
    while todo:
        ohm, net = heappop(todo)
        if net == net_b:
            return ohm
        if net not in done:
            done.add(net)
            for other, more in beside.get(net, ()):
                heappush(todo, (ohm + more, other))
    return 0.0


def _short(binding: Binding, pair: tuple[str, str]) -> OhmsRow | None:
    """The row of one short; None where its place cannot be asked for (a board from a pin list, a net without name)."""
    try:
        found = short_of(binding, pair, propose=False)
    except Refusal:
        return None
    ohms = f"bridge {found.bridge_words}" if found.bridge_words else "no one bridge" if found.readings else "not read"
    if not found.places:
        nets = f"{found.net_a} and {found.net_b}"
        return OhmsRow("short", nets, found.words, ohms, "", found.readings, assumed=found.assumed)
    place = found.places[0]
    where = place.words if len(found.places) == 1 else f"{place.words} ({100 * place.p:.0f} %)"
    band = (
        f"90 % within {max(found.width_90_mm, 0.5):.1f} mm: {found.state}" if found.readings else "by the copper alone"
    )
    drawn = bool(found.readings) and found.state in ("located", "narrowing")
    return OhmsRow(
        "short", f"{found.net_a} and {found.net_b}", where, ohms, band, found.readings, place.layer,
        ring_of(found.ellipse) if drawn else (), (found.ellipse_words or ONE_PLACE) if drawn else found.ellipse_words, found.assumed,
    )  # fmt: skip


def _too_much(binding: Binding) -> Iterable[OhmsRow]:
    points = {p.id: p for p in binding.graph.points}
    nets: dict[str, None] = {}
    for one in binding.evidence:
        a, b = points.get(one.point_a), points.get(one.point_b)
        if one.ohms is not None and a is not None and b is not None and a.net == b.net:
            nets[binding.graph.net_names[a.net]] = None
    for net in nets:
        try:
            asked = ask_excess_of(binding, net)
        except Refusal:
            continue
        found = locate_excess(asked.model, asked.readings)
        rows = [row for row in excess_rows(asked, found) if row[2] is not None] if asked.readings else []
        if not rows or found.p_sound >= SOUND_PRIOR:  # the readings speak for copper as it should be
            continue
        held: list[ExcessRow] = []
        total = 0.0
        for row in rows:
            if total < BAND:
                held.append(row)
                total += row[1]
        where = "\n".join(words for words, _, _ in held)
        much = "\n".join(f"{ohm_words(ohm)} too much ({100 * p:.0f} %)" for _, p, ohm in held if ohm is not None)
        stretches = "1 stretch" if len(held) == 1 else f"{len(held)} stretches"
        sure = f"{100 * total:.0f} % in {stretches}"
        yield OhmsRow("too much resistance", net, where, much, sure, asked.said, assumed=asked.assumed)
