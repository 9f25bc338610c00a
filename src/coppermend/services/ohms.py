"""Ohms where a beep is not enough: a stretch with too much resistance, and stretches with another way round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, OhmsReading
from coppermend.core.belief.partial import SURE, PartialBelief, PartialModel, locate_excess, pair_columns, partial_model
from coppermend.core.belief.partial_places import LARGE, at_their_spots, few_nodes, grouped
from coppermend.core.belief.ratio import RatioReading, chance_broken, fine_enough, ratio_readings
from coppermend.core.copper.model import CopperGraph
from coppermend.core.log.state import plain
from coppermend.core.log.values import ohm_words
from coppermend.core.planning.ohms_next import next_excess_reading
from coppermend.core.planning.spans import span_words
from coppermend.services.bench import posterior_of
from coppermend.services.bind import Binding, bind
from coppermend.services.meters import instrument_of
from coppermend.services.ohmsassumed import excess_assumed, ohms_assumed
from coppermend.services.wires import net_index
from coppermend.services.workshop import Workshop

LEAST_BITS = 0.05
"""A reading that is expected to tell less than this is not proposed."""
LEAST_BITS_LARGE = 0.005
"""The same on a large net, where a reading between two of a hundred pins tells little even with the best meter."""


ExcessRow = tuple[str, float, float | None]
"""A stretch in words, its chance, and the ohm it has too much; None where no reading runs through it: nothing is known of its ohms then."""
THROUGH = 1e-6
"""A reading runs through a stretch that takes more than this share of its current."""


@dataclass(frozen=True, slots=True)
class ExcessAnswer:
    """Where a net has too much resistance. ``state``: located, narrowing, sound, too coarse. ``stretches`` (words, P, ohm of excess), likeliest first; the ohm
    None where no reading runs through the stretch."""

    net: str
    state: str
    words: str
    p_sound: float
    stretches: tuple[ExcessRow, ...]
    readings: tuple[str, ...]
    instrument: str
    next: str
    next_points: tuple[str, ...]
    bits: float
    assumed: tuple[str, ...] = ()
    """What stretches and ohms rest on."""

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


@dataclass(frozen=True, slots=True)
class ExcessAsked:
    """A net whose excess is to be located: all that is needed of the case, so that the rest can be worked out while the case goes on.

    ``ends`` the nodes of each stretch of the model, for words; ``assumed`` what the answer rests on.
    """

    net: str
    graph: CopperGraph
    model: PartialModel
    ends: tuple[tuple[int, int], ...]
    readings: tuple[OhmsReading, ...]
    said: tuple[str, ...]
    instrument: Instrument
    assumed: tuple[str, ...] = ()


def locate_excess_for_case(workshop: Workshop, case: str, net: str, meter: Instrument | None = None) -> ExcessAnswer:
    """Which stretch of a net holds a partial open, from the case's ohms readings on it. Refusal WIR-008 for an unknown net."""
    return located_excess(ask_excess(workshop, case, net, meter))


def ask_excess(workshop: Workshop, case: str, net: str, meter: Instrument | None = None) -> ExcessAsked:
    """A net prepared, with the case's readings on it. Refusal WIR-008 for an unknown net."""
    return ask_excess_of(bind(workshop, case), net, meter)


def ask_excess_of(binding: Binding, net: str, meter: Instrument | None = None) -> ExcessAsked:
    """``ask_excess`` of a bound case."""
    index = net_index(binding.graph, net)
    drawn = partial_model(binding.graph, index, _weights(binding, index))
    model = at_their_spots(binding.graph, index, drawn)
    readings, said = _readings(binding, model)
    instrument = meter or (readings[-1].instrument if readings else FOUR_WIRE)
    assumed = excess_assumed(binding.board, binding.graph, readings, instrument)
    return ExcessAsked(net, binding.graph, model, drawn.ends, tuple(readings), said, instrument, assumed)


def located_excess(asked: ExcessAsked) -> ExcessAnswer:
    """Where the excess is, and the next reading. Asks nothing of the case."""
    model, graph, instrument = asked.model, asked.graph, asked.instrument
    found = locate_excess(model, asked.readings)
    at = {p.node: p.id for p in reversed(graph.points) if p.reachable and p.node in model.net.at}
    nodes = few_nodes(model, list(at), found)
    step = next_excess_reading(grouped(model, found, nodes), asked.readings, nodes, instrument)
    bits = step[1] if step else 0.0
    least = LEAST_BITS if len(model.edges) < LARGE else LEAST_BITS_LARGE
    points = tuple(at[n] for n in step[0]) if step and bits >= least else ()
    rows = excess_rows(asked, found)
    state, words = _state(asked.net, found, rows, bool(points), instrument)
    following = f"Ohms from {points[0]} to {points[1]}: {bits:.1f} bits expected." if points else ""
    return ExcessAnswer(
        asked.net,
        state,
        words,
        round(found.p_sound, 5),
        rows,
        asked.said,
        instrument.words,
        following,
        points,
        round(bits, 3),
        asked.assumed,
    )


def excess_rows(asked: ExcessAsked, found: PartialBelief) -> tuple[ExcessRow, ...]:
    """The likeliest stretches with too much resistance (at most five): words, P, ohm of excess (None: no reading runs through it)."""
    order = np.argsort(-found.p, kind="stable")[:5].tolist()
    _, share, _ = pair_columns(asked.model, [one.force for one in asked.readings])
    read = np.abs(share).max(axis=0, initial=0.0) > THROUGH
    return tuple(
        (_words(asked, k), round(float(found.p[k]), 5), round(float(found.excess_ohm[k]), 4) if read[k] else None)
        for k in order
        if found.p[k] > 0.01
    )


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


def _words(asked: ExcessAsked, k: int) -> str:
    return span_words(asked.graph, [asked.graph.site(s) for s in asked.model.edges[k]], *asked.ends[k])


def _state(
    net: str, found: PartialBelief, rows: tuple[ExcessRow, ...], more: bool, instrument: Instrument
) -> tuple[str, str]:
    if found.p_sound >= SURE:
        return "sound", f"Net {net} reads as sound copper does ({100 * found.p_sound:.0f} %)."
    if rows and rows[0][1] >= SURE and rows[0][2] is not None:
        return "located", f"Net {net}: {ohm_words(rows[0][2])} too much {rows[0][0]} ({100 * rows[0][1]:.0f} %)."
    if more:
        left = int(np.searchsorted(np.cumsum(np.sort(found.p)[::-1]), SURE * found.p.sum())) + 1
        far = (
            " So many ends want a reading each: begin at those that fail with the machine."
            if left > MANY and len(found.p) >= LARGE
            else ""
        )
        return "narrowing", f"Net {net}: not told yet, {left} of {len(found.p)} stretches are in question.{far}"
    return (
        "too coarse",
        f"The instrument is too coarse here: no further reading ({instrument.words}) tells the stretches of net {net} apart.",
    )


MANY = 20
"""With more stretches in question than this the way to the place is long, and that is said."""


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
    assumed: tuple[str, ...] = ()
    """What the readings' two values rest on."""

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
    return WaysAnswer(
        graph.net_names[index], tuple(rows), others, ohms_assumed(binding.board, graph, (), meter or FOUR_WIRE)
    )
