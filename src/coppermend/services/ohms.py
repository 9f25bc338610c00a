"""Ohms where a beep is not enough: a stretch with too much resistance, and stretches with another way round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, OhmsReading
from coppermend.core.belief.partial import SURE, PartialModel, locate_excess, partial_model
from coppermend.core.belief.ratio import RatioReading, chance_broken, fine_enough, ratio_readings
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.log.values import ohm_words
from coppermend.core.planning.ohms_next import next_excess_reading
from coppermend.core.planning.spans import span_words
from coppermend.services.bench import posterior_of
from coppermend.services.bind import Binding, bind
from coppermend.services.meters import instrument_of
from coppermend.services.wires import net_index
from coppermend.services.workshop import Workshop

LEAST_BITS = 0.05
"""A reading that is expected to tell less than this is not proposed."""


@dataclass(frozen=True, slots=True)
class ExcessAnswer:
    """Where a net has too much resistance. ``state``: located, narrowing, sound, too coarse. ``stretches`` (words, P, ohm of excess), likeliest first."""

    net: str
    state: str
    words: str
    p_sound: float
    stretches: tuple[tuple[str, float, float], ...]
    readings: tuple[str, ...]
    instrument: str
    next: str
    next_points: tuple[str, ...]
    bits: float

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


def locate_excess_for_case(workshop: Workshop, case: str, net: str, meter: Instrument | None = None) -> ExcessAnswer:
    """Which stretch of a net holds a partial open, from the case's ohms readings on it. Refusals WIR-008 for an unknown net, OHM-001 for one that is too large."""
    binding = bind(workshop, case)
    index = net_index(binding.graph, net)
    sites = sum(1 for one in binding.graph.sites if binding.graph.node_net[one.a] == index)
    if sites > MOST_SITES:
        raise refuse(
            "OHM-001",
            f"Net {net} has {sites} places that can fail; this is worked out for at most {MOST_SITES}.",
            "Compare single stretches of it by their two ways round, or read from pin to pin against board path.",
            Place(thing=net),
        )
    model = partial_model(binding.graph, index, _weights(binding, index))
    readings, said = _readings(binding, model)
    found = locate_excess(model, readings)
    instrument = meter or (readings[-1].instrument if readings else FOUR_WIRE)
    terminals = [p.node for p in binding.graph.points if p.reachable and p.node in model.net.at]
    step = next_excess_reading(model, readings, _few(model, terminals), instrument)
    bits = step[1] if step else 0.0
    at = {p.node: p.id for p in reversed(binding.graph.points) if p.reachable}
    points = tuple(at[n] for n in step[0]) if step and bits >= LEAST_BITS else ()
    order = np.argsort(-found.p, kind="stable")[:5].tolist()
    rows = tuple(
        (_words(binding.graph, model, k), round(float(found.p[k]), 5), round(float(found.excess_ohm[k]), 4))
        for k in order
        if found.p[k] > 0.01
    )
    state, words = _state(net, found.p_sound, rows, bool(points), instrument)
    following = f"Ohms from {points[0]} to {points[1]}: {bits:.1f} bits expected." if points else ""
    return ExcessAnswer(
        net, state, words, round(found.p_sound, 5), rows, said, instrument.words, following, points, round(bits, 3)
    )


MOST_POINTS = 25

MOST_SITES = 300
"""Sites of a net whose excess is located; a rail of 556 took 58 s of processor time, nearly all of it for the next reading."""


def _few(model: PartialModel, terminals: list[int]) -> list[int]:
    """At most MOST_POINTS nodes, spread evenly by the order of their resistance from the first: pairs grow with the square."""
    nodes = list(dict.fromkeys(terminals))
    if len(nodes) <= MOST_POINTS:
        return nodes
    g, first = model.net.g, model.net.at[nodes[0]]
    nodes.sort(
        key=lambda n: (float(g[model.net.at[n], model.net.at[n]] + g[first, first] - 2 * g[model.net.at[n], first]), n)
    )
    return [nodes[k] for k in np.linspace(0, len(nodes) - 1, MOST_POINTS).round().astype(int).tolist()]


def _weights(binding: Binding, net: int) -> dict[str, float]:
    posterior = posterior_of(binding)
    return {s.id: max(posterior.p(s.id), 1e-6) for s in binding.graph.sites if binding.graph.node_net[s.a] == net}


def _readings(binding: Binding, model: PartialModel) -> tuple[list[OhmsReading], tuple[str, ...]]:
    by_entry = {one.entry: one for one in binding.state.readings if one.kind == "ohms" and not one.sense}
    points = {p.id: p for p in binding.graph.points}
    took, said = [], []
    for one in binding.evidence:
        reading, a, b = by_entry.get(one.entry), points.get(one.point_a), points.get(one.point_b)
        if reading is None or one.ohms is None or a is None or b is None:
            continue
        if a.node in model.net.at and b.node in model.net.at and a.node != b.node:
            took.append(OhmsReading((a.node, b.node), (a.node, b.node), one.ohms, instrument_of(reading), one.entry))
            said.append(f"{a.id} to {b.id}: {ohm_words(one.ohms)}, {took[-1].instrument.words}")
    return took, tuple(said)


def _words(graph: CopperGraph, model: PartialModel, k: int) -> str:
    return span_words(graph, [graph.site(s) for s in model.edges[k]], *model.ends[k])


def _state(
    net: str, p_sound: float, rows: tuple[tuple[str, float, float], ...], more: bool, instrument: Instrument
) -> tuple[str, str]:
    if p_sound >= SURE:
        return "sound", f"Net {net} reads as sound copper does ({100 * p_sound:.0f} %)."
    if rows and rows[0][1] >= SURE:
        return "located", f"Net {net}: {ohm_words(rows[0][2])} too much {rows[0][0]} ({100 * rows[0][1]:.0f} %)."
    if more:
        return "narrowing", f"Net {net}: not told yet."
    return (
        "too coarse",
        f"The instrument is too coarse here: no further reading ({instrument.words}) tells the stretches of net {net} apart.",
    )


@dataclass(frozen=True, slots=True)
class WayRow:
    """A stretch with another way round: its words, the reading that proves it, whether the instrument is fine enough, P(broken) after a reading taken."""

    stretch: str
    reading: RatioReading
    words: str
    ratio: float
    fine_enough: bool
    p_broken: float | None


@dataclass(frozen=True, slots=True)
class WaysAnswer:
    """The stretches of a net that a beep cannot prove: those that one ohms reading can, and words for the others."""

    net: str
    rows: tuple[WayRow, ...]
    others: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


def ways_for_case(workshop: Workshop, case: str, net: str, meter: Instrument | None = None) -> WaysAnswer:
    """For every stretch of a net with two ways round: the ohms reading that proves it, and what readings of it already say. Refusal WIR-008."""
    binding = bind(workshop, case)
    graph, index = binding.graph, net_index(binding.graph, net)
    found, none = ratio_readings(graph, index)
    posterior = posterior_of(binding)
    read = {frozenset((e.point_a, e.point_b)): e for e in binding.evidence if e.ohms is not None}
    by_entry = {one.entry: one for one in binding.state.readings}
    rows = []
    for one in found:
        taken = read.get(frozenset((one.point_a, one.point_b)))
        p = None
        if taken is not None and taken.ohms is not None:
            prior = 1.0 - float(np.prod([1.0 - posterior.p(s) for s in one.sites]))
            p = chance_broken(one, taken.ohms, prior, instrument_of(by_entry[taken.entry]))
        sites = [graph.site(s) for s in one.sites]
        rows.append(
            WayRow(
                span_words(graph, sites, sites[0].a, sites[-1].b),
                one,
                one.words,
                round(one.ratio, 3),
                fine_enough(one, meter or FOUR_WIRE),
                p,
            )
        )
    others = tuple(f"{graph.site(s).words or s}: no reading changes enough; lift a leg or look" for s in none)
    return WaysAnswer(graph.net_names[index], tuple(rows), others)
