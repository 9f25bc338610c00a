"""The next step towards the first certain suspect: looks, waves, checks without power, swaps, each with its gain in bits, seconds and reason.

The gain of a step is the information its answer carries about which fault sets hold, H(answer) - H(answer | set), over the likeliest sets
(their share of the belief is stated). A wave of several points is filled point by point, each time with what the earlier points leave open.
Steps are compared by gain with the seconds as a mild divisor: a pure ratio chases cheap looks (shared measurements in docs/explanation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.field import Field, Floats, widened_rows
from coppermend.core.belief.suspects.posterior import (
    State,
    Swapped,
    path_causes,
    short_causes,
    sink_of,
    spot_likelihoods,
    top_rows,
    verdict,
)
from coppermend.core.planning.costs import CostTable

TOP_SETS = 1024
WAVE_POINTS = 8
"""Channels of a usual logic analyser."""
FIRST_SPOTS = 96
"""How many spots are weighed as further channels of a wave."""
TIME_POWER = 0.35
"""Steps are ranked by gain / seconds**TIME_POWER: 0 would be gain alone, 1 gain per second."""
SINK_PIN_S = 3.0
"""Seconds for each pin whose millivolts are compared (an assumption)."""
NOTHING_BITS = 1e-2
"""Less than this is nothing."""


@dataclass(frozen=True, slots=True)
class BenchNow:
    """The state of the bench: ``powered`` power is on; ``scope_ready`` the probe is set up; ``may_power`` power may be put on.

    ``analyser`` there is a logic analyser; ``swaps`` parts with a known-good one at hand.
    """

    powered: bool = True
    scope_ready: bool = False
    may_power: bool = True
    analyser: bool = True
    swaps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SuspectStep:
    """A recommended act. ``kind`` look, wave, rail, check, apart, sink, swap; ``spots`` (net, node) of each point; ``seconds`` modelled; ``gain_bits`` expected."""

    kind: str
    spots: tuple[tuple[str, int], ...]
    seconds: float
    gain_bits: float
    part: str = ""
    judged: bool = False
    score: float = 0.0
    rivals: tuple[str, ...] = ()
    """Set where the look only tells what is about to be named from these."""


def ranked_steps(state: State, bench: BenchNow, costs: CostTable, most: int = 12) -> tuple[SuspectStep, ...]:
    """The steps worth most now, best first; empty when a unit is named beyond doubt or nothing more can be told apart."""
    settled = verdict(state)
    if settled.stands:
        return ()
    view = _View(state)
    steps: list[SuspectStep] = []
    power = 0.0 if bench.powered else costs.power_s
    if bench.powered or bench.may_power:
        look = (costs.scope_next_s if bench.scope_ready else costs.scope_first_s) + power
        gains = view.look_gains(False)
        for k in np.argsort(-gains, kind="stable")[:most].tolist():
            spot = state.field.spots[k]
            seconds = costs.rail_s + power if spot.rail else look
            steps.append(
                SuspectStep(
                    "rail" if spot.rail else "look",
                    ((spot.net, spot.node),),
                    seconds,
                    float(gains[k]),
                    judged=spot.clocked,
                )
            )
        if bench.analyser:
            steps += view.waves(costs.wave_s + power)
        steps += view.sinks(costs.rail_s + power)
        steps += view.swaps(bench.swaps, costs.swap_s + 2 * costs.power_s)
    off = costs.power_s * (2.0 if bench.powered else 0.0) + costs.read_s + 2 * costs.move_s
    steps += view.checks(off)
    if settled.spot >= 0 and (bench.powered or bench.may_power):
        spot = state.field.spots[settled.spot]
        seconds = costs.rail_s if spot.rail else costs.scope_next_s if bench.scope_ready else costs.scope_first_s
        gain = float(view.look_gains(True)[settled.spot])
        return (
            SuspectStep(
                "rail" if spot.rail else "look",
                ((spot.net, spot.node),),
                seconds + power,
                gain,
                judged=True,
                rivals=settled.rivals,
            ),
        )
    made = [_scored(one) for one in steps if one.gain_bits > NOTHING_BITS]
    made.sort(key=lambda s: (-s.score, s.seconds, s.kind, s.spots))
    return tuple(made[:most])


def _scored(step: SuspectStep) -> SuspectStep:
    score = step.gain_bits / step.seconds**TIME_POWER
    return SuspectStep(step.kind, step.spots, step.seconds, step.gain_bits, step.part, step.judged, score)


class _View:
    """The likeliest sets of a state with what they predict at every spot."""

    def __init__(self, state: State) -> None:
        self.state = state
        made = state.field
        which = top_rows(state.weights, TOP_SETS)
        symbols = made.main.picked(which, len(made.spots))
        members = made.main.members[which]
        weights = state.weights[which]
        if state.wide is not None and len(state.wide_weights):
            more = top_rows(state.wide_weights, TOP_SETS)
            symbols = np.concatenate([symbols, state.wide.picked(more, len(made.spots))], axis=1)
            weights = np.concatenate([weights, state.wide_weights[more]])
            wide = state.wide.members[more]
            width = max(members.shape[1], wide.shape[1])
            members = np.concatenate([widened_rows(members, width), widened_rows(wide, width)])
        self.share = float(weights.sum())
        self.symbols = symbols
        self.members = members
        self.weights = weights / self.share
        first, self.like_row = _alike(symbols)
        self.mass = _symbol_mass(symbols[first], self.weights)[self.like_row]

    def look_gains(self, wave: bool) -> Floats:
        """Bits of a look at each spot, (spots,). ``wave``: patterns are judged wherever they can be."""
        made = self.state.field
        return information(self.mass, spot_likelihoods(made, wave))

    def waves(self, seconds: float) -> list[SuspectStep]:
        """A wave on the points that together tell most, filled greedily."""
        made = self.state.field
        gains = self.look_gains(True)
        gains[[k for k, s in enumerate(made.spots) if s.rail]] = 0.0
        order = np.argsort(-gains, kind="stable")[:FIRST_SPOTS]
        order = order[gains[order] > NOTHING_BITS]
        if not len(order):
            return []
        order = order[np.sort(np.unique(self.like_row[order], return_index=True)[1])]
        like = spot_likelihoods(made, True)
        group = np.zeros(len(self.weights), np.int64)
        chosen: list[int] = []
        total = 0.0
        for _ in range(WAVE_POINTS):
            best, gain = -1, NOTHING_BITS
            added = self._added(group, order, like)
            for k, bits in zip(order.tolist(), added.tolist(), strict=True):
                if k not in chosen and bits > gain:
                    best, gain = k, bits
            if best < 0:
                break
            chosen.append(best)
            total += gain
            group = np.unique(group * 8 + self._class(best), return_inverse=True)[1]
        spots = tuple((made.spots[k].net, made.spots[k].node) for k in chosen)
        return [SuspectStep("wave", spots, seconds, total, judged=True)] if chosen else []

    def _class(self, k: int) -> NDArray[np.int64]:
        symbols = self.symbols[k].astype(np.int64)
        spot = self.state.field.spots[k]
        if not spot.content or spot.loose:
            symbols = np.where(symbols == 3, 2, symbols)
        return np.asarray(symbols, dtype=np.int64)

    def _added(self, group: NDArray[np.int64], order: NDArray[np.int64], like: Floats) -> Floats:
        """Bits that each spot adds to a partition of the sets."""
        count = int(group.max()) + 1
        symbols = self.symbols[order].astype(np.int64)
        index = (np.arange(len(order))[:, None] * count + group[None, :]) * 6 + np.minimum(symbols, 5)
        mass = np.bincount(
            index.ravel(),
            weights=np.broadcast_to(self.weights, symbols.shape).ravel(),
            minlength=len(order) * count * 6,
        )
        mass = mass.reshape(len(order), count, 6)
        own = like[order]
        outcome = np.einsum("kgs,kso->kgo", mass, own)
        there = outcome.sum(axis=2)
        inner = np.einsum("kgs,ks->k", mass, _entropy(own))
        with np.errstate(divide="ignore", invalid="ignore"):
            terms = np.where(
                outcome > 0,
                -outcome * np.log2(np.where(outcome > 0, outcome, 1.0) / np.maximum(there, 1e-300)[:, :, None]),
                0.0,
            )
        made: Floats = terms.sum(axis=(1, 2)) - inner
        return made

    def sinks(self, seconds: float) -> list[SuspectStep]:
        """Millivolts along the nets that are likeliest held at a level by some pin; each pin more costs ``SINK_PIN_S``."""
        made = self.state.field
        p = self.state.causes()
        held: dict[str, float] = {}
        for k in np.flatnonzero(p > 0.02).tolist():
            cause = made.causes[k]
            if cause.key[0] in ("stuck0", "stuck1"):
                net = _net_of(made, str(cause.key[1]))
                held[net] = held.get(net, 0.0) + float(p[k])
        found = []
        for net in sorted(held, key=lambda n: -held[n])[:3]:
            pins = [t.id for t in made.behaviour.circuit.nets.get(net, ()) if t.kind != "passive"]
            mass = np.bincount(
                sink_of(made, self.members, net, pins) + 1, weights=self.weights, minlength=len(pins) + 1
            )
            e = made.table.sink_misread
            like = np.full((len(mass), len(mass)), e / max(1, len(pins)))
            np.fill_diagonal(like, 1.0 - e)
            gain = float(_entropy(mass @ like) - mass @ _entropy(like))
            found.append(SuspectStep("sink", ((net, 0),), seconds + SINK_PIN_S * len(pins), gain))
        return found

    def swaps(self, parts: Sequence[str], seconds: float) -> list[SuspectStep]:
        """A swap of each part with a known-good one at hand."""
        made = self.state.field
        found = []
        tried = {one.part for one in self.state.evidence if isinstance(one, Swapped)}
        for part in parts:
            if part in tried:
                continue
            mine = np.array([k for k, c in enumerate(made.causes) if c.part == part] + [-1], np.int32)
            cured = np.isin(self.members, mine).all(axis=1)
            found.append(
                SuspectStep(
                    "swap", (), seconds, _binary_gain(float(self.weights[cured].sum()), made.table.swap_misread), part
                )
            )
        return found

    def checks(self, seconds: float) -> list[SuspectStep]:
        """Continuity across the likeliest spans and isolation at the likeliest bridges, power off."""
        made = self.state.field
        p = self.state.causes()
        found = []
        for k in np.argsort(-p, kind="stable")[:6].tolist():
            cause = made.causes[k]
            if p[k] < 0.02:
                break
            if cause.key[0] == "cut":
                a, b = made.behaviour.trees[cause.net].edges[int(cause.key[2])]
                ends = _beep_ends(made, cause.net, a, b)
                if ends is not None:
                    held = np.isin(self.members, np.array(path_causes(made, cause.net, *ends), np.int32)).any(axis=1)
                    gain = _binary_gain(float(self.weights[held].sum()), made.table.copper.false_open)
                    found.append(SuspectStep("check", ((cause.net, ends[0]), (cause.net, ends[1])), seconds, gain))
            elif cause.key[0] == "short":
                short = made.behaviour.shorts[int(cause.key[2])]
                which = np.array(short_causes(made, short.net_a, short.net_b), np.int32)
                held = np.isin(self.members, which).any(axis=1)
                gain = _binary_gain(float(self.weights[held].sum()), made.table.copper.false_open)
                found.append(
                    SuspectStep("apart", ((short.net_a, short.node_a), (short.net_b, short.node_b)), seconds, gain)
                )
        return found


def information(mass: Floats, like: Floats) -> Floats:
    """Bits that a look at each spot is expected to tell, (spots,): H(outcome) - H(outcome | symbol).

    ``mass`` (spots, symbols): how likely each prediction is; ``like`` (spots, symbols, outcomes): P(outcome | prediction).

    >>> information(np.array([[0.5, 0.5]]), np.array([[[1.0, 0.0], [0.0, 1.0]]])).tolist()
    [1.0]
    """
    outcome = np.einsum("ks,kso->ko", mass, like)
    inner = np.einsum("ks,ks->k", mass, _entropy(like))
    made: Floats = np.maximum(0.0, _entropy(outcome) - inner)
    return made


def _net_of(made: Field, pin: str) -> str:
    part = made.behaviour.circuit.by_ref[pin.split(".")[0]]
    return next(t.net for t in part.terminals if t.id == pin)


def _beep_ends(made: Field, net: str, a: int, b: int) -> tuple[int, int] | None:
    """The nearest nodes with a point on either side of an edge."""
    edges = made.behaviour.trees[net].edges
    near: dict[int, list[int]] = {}
    for x, y in edges:
        if {x, y} != {a, b}:
            near.setdefault(x, []).append(y)
            near.setdefault(y, []).append(x)
    ends = []
    for start in (a, b):
        queue, seen = [start], {start}
        hit = -1
        for node in queue:
            if (net, node) in made.spot_at:
                hit = node
                break
            for other in near.get(node, ()):
                if other not in seen:
                    seen.add(other)
                    queue.append(other)
        ends.append(hit)
    return (ends[0], ends[1]) if min(ends) >= 0 and ends[0] != ends[1] else None


def _symbol_mass(symbols: NDArray[np.uint8], weights: Floats) -> Floats:
    spots, _ = symbols.shape
    index = np.arange(spots)[:, None] * 6 + np.minimum(symbols, 5)
    flat = np.bincount(index.ravel(), weights=np.broadcast_to(weights, symbols.shape).ravel(), minlength=spots * 6)
    return np.asarray(flat.reshape(spots, 6), dtype=np.float64)


def _alike(symbols: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(first of each kind, kind of each row) of spots that predict the same under every set, told apart by two random sums."""
    rng = np.random.default_rng(1987)
    sums = symbols.astype(np.float32) @ rng.random((symbols.shape[1], 2)).astype(np.float32)
    _, first, kind = np.unique(sums.view(np.complex64).ravel(), return_index=True, return_inverse=True)
    return first, kind


def _entropy(p: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        made: Floats = -np.where(p > 0, p * np.log2(np.where(p > 0, p, 1.0)), 0.0).sum(axis=-1)
    return made


def _binary_gain(p: float, error: float) -> float:
    seen = p * (1.0 - error) + (1.0 - p) * error
    both = _entropy(np.array([[seen, 1.0 - seen], [error, 1.0 - error]]))
    return max(0.0, float(both[0] - both[1]))
