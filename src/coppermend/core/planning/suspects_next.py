"""The next step towards the first certain suspect: looks, waves, thermal pictures, starts, checks without power, swaps, each with its gain in bits,
seconds, risk and reason.

The gain of a step is the information its answer carries about which fault sets hold, H(answer) - H(answer | set), over the likeliest sets
(their share of the belief is stated), less what it tells apart among sets that would be named by one and the same unit (``told_of_leads``): the goal is
the first unit named, and its other faults are looked for once it is mended. A wave of several points is filled point by point, each time with what the earlier points leave open.
Steps are compared by gain with a power of the seconds as divisor: a pure ratio chases cheap looks. A step's risk counts as seconds: how likely it does
harm, times the time that the harm costs. What a step leads up to counts too (the swap after a rail, power on again after a check); setting up the probe
does not, it is spent once and serves the looks that follow.

Nothing dangerous is proposed: no step with power on while power must stay off (``BenchNow.may_power``), no look at a rail of more than ``TOUCH_V``, no
known-good part into a socket whose rails were not measured right.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.field import Field, Floats, widened_rows
from coppermend.core.belief.suspects.looks import OVER_FALSE
from coppermend.core.belief.suspects.posterior import (
    Look,
    Sink,
    Start,
    State,
    Swapped,
    Verdict,
    Warmth,
    apart_tones,
    look_likelihoods,
    sink_counts,
    sink_of,
    sink_pins,
    tones_of,
    top_rows,
    verdict,
)
from coppermend.core.belief.suspects.starts import Tally
from coppermend.core.belief.suspects.table import HIGH
from coppermend.core.belief.suspects.together import Tone, false_open_now, sink_next
from coppermend.core.belief.suspects.warmth import likelihoods, states_under, supply_places, warms
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_checks import likely_checks
from coppermend.core.planning.suspects_hands import HandsNow, hand_gains, yes_or_no
from coppermend.core.planning.suspects_starts import repeats

TOP_SETS = 1024
WAVE_POINTS = 8
"""Channels of a usual logic analyser."""
FIRST_SPOTS = 96
"""How many spots are weighed as further channels of a wave."""
TIME_POWER = 0.85
"""Steps are ranked by gain / seconds**TIME_POWER: 0 would be gain alone, 1 gain per second."""
SINK_PIN_S = 3.0
"""Seconds for each pin whose millivolts are compared (an assumption)."""
NOTHING_BITS = 1e-2
"""Less than this is nothing."""
LOOKS = 12
"""Looks at single places that are weighed against the other kinds of step."""
HARM_S = 3600.0
"""What one harm costs: an hour to replace what a slip, a bent pin or static has killed (an assumption)."""
HARM = {
    "look": 0.001, "rail": 0.001, "wave": 0.0005, "sink": 0.002, "swap": 0.01, "start": 0.002,
    "repeat": 0.01, "spray": 0.015, "reseat": 0.01, "press": 0.005, "piggyback": 0.01, "replace": 0.05,
}  # fmt: skip
"""How likely a step does harm; assumptions, no source. Clips of an analyser slip less than a tip; a thermal picture touches nothing; a check is without power."""
TOUCH_V = 60.0
"""No step puts a tip on a rail above this: 60 V DC is the limit of what may be touched (class ES1 of IEC 62368-1, from memory)."""
BLAMED_RAIL, RAIL_SHARE = 0.5, 0.5
"""A rail that is so likely at fault is measured first, where that tells this share of what the best step tells (assumptions)."""
MOST_LEADS, LEAD_P = 16, 0.02
"""Units that may be named next and are told apart by themselves: so many, each at least so likely."""
HEAT_PARTS = 12
"""Parts whose warmth is reckoned together in one picture; the others tell little more."""


@dataclass(frozen=True, slots=True)
class SideShows:
    """A side of a work area not looked over yet: its label and side (c, s), modelled seconds, and which causes (index) would show there, each with its
    chance."""

    area: str
    label: str
    side: str
    seconds: float
    shows: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class BenchNow:
    """The state of the bench: ``powered`` power is on; ``scope_ready`` the probe is set up; ``may_power`` power may be put on.

    ``sides`` sides of work areas that nobody looked over yet. ``analyser`` there is a logic analyser; ``camera`` a thermal camera; ``swaps`` parts with a
    known-good one at hand. ``seen_start`` a start was seen as the board is now; ``mended`` how likely the last repair was the last one needed, 0 without a
    repair since the last start.
    """

    powered: bool = True
    scope_ready: bool = False
    may_power: bool = True
    analyser: bool = True
    swaps: tuple[str, ...] = ()
    camera: bool = True
    seen_start: bool = True
    mended: float = 0.0
    sides: tuple[SideShows, ...] = ()
    tallies: tuple[Tally, ...] | None = None
    """Starts counted since the last repair, where it works and fails by turns; None where it does not."""
    hands: HandsNow = field(default_factory=HandsNow)
    """What hands may do: reseat, press, a good chip on top, replace what is soldered."""


@dataclass(frozen=True, slots=True)
class SuspectStep:
    """A recommended act. ``kind`` look, wave, rail, heat, start, repeat, spray, check, apart, sink, swap, reseat, press, piggyback, replace,
    inspect (by eye, ``part`` the area's label, ``parts`` area and
    side); ``spots`` (net, node) of each point; ``parts`` of a thermal
    picture those that tell most; ``seconds`` modelled; ``risk_s`` expected seconds of harm; ``gain_bits`` expected."""

    kind: str
    spots: tuple[tuple[str, int], ...]
    seconds: float
    gain_bits: float
    part: str = ""
    judged: bool = False
    score: float = 0.0
    rivals: tuple[str, ...] = ()
    """Set where the look only tells what is about to be named from these."""
    parts: tuple[str, ...] = ()
    risk_s: float = 0.0
    then_s: float = 0.0
    """Seconds that it leads up to and that are not its own: of a rail measured before a swap (``part``) that swap, which is what the gain comes from; of a
    check that power is put off for, putting it on again."""
    once_s: float = 0.0
    """Of ``seconds`` those spent once, for setting up the probe; not counted when steps are ranked."""

    @property
    def whole_s(self) -> float:
        """What the gain costs: seconds, what it leads up to, and the risk counted as time."""
        return self.seconds + self.then_s + self.risk_s

    @property
    def gain_per_minute(self) -> float:
        """Bits a minute of bench time, the risk counted as time."""
        return 60.0 * self.gain_bits / self.whole_s


def ranked_steps(state: State, bench: BenchNow, costs: CostTable, most: int = 12) -> tuple[SuspectStep, ...]:
    """The steps worth most now, best first; empty when a unit is named beyond doubt or nothing more can be told apart.

    What tells of the unit to be named goes first; where nothing does, what tells any sets apart: other faults of theirs may be named instead.
    """
    settled = verdict(state)
    if settled.stands:
        return ()
    view = _View(state)
    return _ranked(view, bench, costs, settled, most) or _ranked(view.of_sets(), bench, costs, settled, most)


def _ranked(view: _View, bench: BenchNow, costs: CostTable, settled: Verdict, most: int) -> tuple[SuspectStep, ...]:
    """The steps that tell something of what the view tells apart, best first."""
    state = view.state
    steps: list[SuspectStep] = []
    power = 0.0 if bench.powered else costs.power_s
    if bench.powered or bench.may_power:
        set_up = 0.0 if bench.scope_ready else costs.scope_first_s - costs.scope_next_s
        look = costs.scope_next_s + set_up + power
        gains = view.look_gains(False)
        for k in np.argsort(-gains, kind="stable")[:LOOKS].tolist():
            spot = state.field.spots[k]
            if not _touchable(state.field, spot.net):
                continue
            seconds = costs.rail_s + power if spot.rail else look
            steps.append(
                SuspectStep(
                    "rail" if spot.rail else "look",
                    ((spot.net, spot.node),),
                    seconds,
                    float(gains[k]),
                    judged=spot.clocked,
                    once_s=0.0 if spot.rail else set_up,
                )
            )
        if bench.analyser:
            steps += view.waves(costs.wave_s + power)
        steps += view.sinks(costs.rail_s + power)
        swaps = view.swaps(bench.swaps, costs.swap_s + 2 * costs.power_s, costs.rail_s + power)
        steps += [_paid(one, bench.hands.pay_s(one.part)) for one in swaps]
        steps += view.by_hand(bench.hands, costs, power)
        if bench.camera:
            steps += view.heat(costs.thermal_s + power)
        if bench.tallies is not None:
            steps += view.repeats(bench.tallies, costs.power_s)
        if not bench.seen_start:
            steps += view.start(costs.power_s * (2.0 if bench.powered else 1.0), bench.mended)
    again = costs.power_s if bench.powered else 0.0
    steps += view.checks(again + costs.read_s + 2 * costs.move_s, again)
    steps += view.inspections(bench.sides, 2.0 * costs.power_s if bench.powered else 0.0)
    asked = _asked(view, bench, costs, settled, steps)
    if asked is not None:
        return (asked,)
    faulty = 1.0 - bench.mended
    steps = [one if one.kind == "start" else replace(one, gain_bits=faulty * one.gain_bits) for one in steps]
    made = [_scored(one) for one in steps if one.gain_bits > NOTHING_BITS]
    made.sort(key=lambda s: (-s.score, s.seconds, s.kind, s.spots, s.part))
    return tuple(_blamed_rail_first(view, bench, costs, made, faulty)[:most])


def _blamed_rail_first(
    view: _View, bench: BenchNow, costs: CostTable, made: list[SuspectStep], faulty: float
) -> list[SuspectStep]:
    """Where a rail is the likeliest suspect, its voltage comes first when that tells ``RAIL_SHARE`` of what the best step tells (rails before signals: common
    practice, no source): one touch with the meter, and nothing else under power means much until it is known."""
    field = view.state.field
    units = view.state.units()
    k = int(units.argmax())
    cause = field.causes[int(np.flatnonzero(field.unit_of == k)[0])]
    if cause.kind != "rail" or units[k] < BLAMED_RAIL or not (bench.powered or bench.may_power) or not made:
        return made
    gains = view.look_gains(False)
    spots = [j for j, one in enumerate(field.spots) if one.rail and one.net == cause.net]
    best = max(spots, key=lambda j: (round(float(gains[j]), 9), -j), default=None)
    if best is None or not _touchable(field, cause.net) or made[0].spots[:1] == ((cause.net, field.spots[best].node),):
        return made
    gain = faulty * float(gains[best])
    if gain <= NOTHING_BITS or gain < RAIL_SHARE * made[0].gain_bits:
        return made
    seconds = costs.rail_s + (0.0 if bench.powered else costs.power_s)
    step = _scored(SuspectStep("rail", ((cause.net, field.spots[best].node),), seconds, gain))
    return [step, *(one for one in made if one.spots != step.spots)]


def _asked(
    view: _View, bench: BenchNow, costs: CostTable, settled: Verdict, steps: Sequence[SuspectStep]
) -> SuspectStep | None:
    """The reading that settles what is about to be named; None where nothing is, or where it cannot be taken now. A check is best taken between other places
    than the first time: of those that are offered on its net the one that tells most."""
    asked = settled.asked
    if asked is None:
        return None
    made = view.state.field
    net, node = asked.spots[0]
    power = 0.0 if bench.powered else costs.power_s
    if asked.kind in ("check", "apart"):
        again = costs.power_s if bench.powered else 0.0
        nets = {net for net, _ in asked.spots}
        rows = [one for one in steps if one.kind == asked.kind and {net for net, _ in one.spots} == nets]
        best = max(rows, key=lambda one: one.gain_bits, default=None)
        seconds = again + costs.read_s + 2 * costs.move_s
        found = best or SuspectStep(asked.kind, asked.spots, seconds, 0.0, then_s=again)
        return replace(found, rivals=settled.rivals)
    if not (bench.powered or bench.may_power) or not _touchable(made, net):
        return None
    if asked.kind == "sink":
        pins = sink_pins(made, net)
        return SuspectStep(
            "sink", asked.spots, costs.rail_s + power + SINK_PIN_S * len(pins), 0.0, rivals=settled.rivals
        )
    k = made.spot_at[(net, node)]
    rail = made.spots[k].rail
    seconds = costs.rail_s if rail else costs.scope_next_s if bench.scope_ready else costs.scope_first_s
    gain = float(view.look_gains(True)[k])
    kind = "rail" if rail else "look"
    return SuspectStep(kind, asked.spots, seconds + power, gain, judged=True, rivals=settled.rivals)


def best_of_kinds(steps: Sequence[SuspectStep]) -> tuple[SuspectStep, ...]:
    """Of ranked steps the best of each kind, best first: what can be done instead where the first one cannot."""
    found: dict[str, SuspectStep] = {}
    for one in steps:
        found.setdefault(one.kind, one)
    return tuple(found.values())


def _scored(step: SuspectStep) -> SuspectStep:
    first = step.kind == "rail" and step.then_s > 0
    swapped = step.kind == "swap" or first
    harm = HARM.get(step.kind, 0.0) + (HARM["start"] if swapped else 0.0) + (HARM["swap"] if first else 0.0)
    return with_risk(step, HARM_S * harm)


def with_risk(step: SuspectStep, risk_s: float) -> SuspectStep:
    """A step whose risk counts as so many seconds, with the score that it is ranked by: bits for its time, what is spent once left out."""
    made = replace(step, risk_s=risk_s)
    return replace(made, score=made.gain_bits / (made.whole_s - made.once_s) ** TIME_POWER)


def _paid(step: SuspectStep, pay_s: float) -> SuspectStep:
    """A swap with what its chip costs: in its own seconds, or in those that a rail measured first leads up to."""
    if step.then_s > 0:
        return replace(step, then_s=step.then_s + pay_s)
    return replace(step, seconds=step.seconds + pay_s)


def _touchable(made: Field, net: str) -> bool:
    rail = made.behaviour.circuit.rails.get(net)
    return rail is None or abs(rail.nominal_v) <= TOUCH_V


class _View:
    """The likeliest sets of a state with what they predict at every spot."""

    def __init__(self, state: State) -> None:
        self.state = state
        made = state.field
        which = top_rows(state.weights, TOP_SETS)
        symbols = made.main.picked(which, len(made.spots))
        screens = made.main.screens_of(which)
        members = made.main.members[which]
        weights = state.weights[which]
        if state.wide is not None and len(state.wide_weights):
            more = top_rows(state.wide_weights, TOP_SETS)
            symbols = np.concatenate([symbols, state.wide.picked(more, len(made.spots))], axis=1)
            screens = np.concatenate([screens, state.wide.screens_of(more)])
            weights = np.concatenate([weights, state.wide_weights[more]])
            wide = state.wide.members[more]
            width = max(members.shape[1], wide.shape[1])
            members = np.concatenate([widened_rows(members, width), widened_rows(wide, width)])
        self.share = float(weights.sum())
        self.symbols = symbols
        self.screens = screens
        self.members = members
        self.weights = weights / self.share
        first, self.like_row = _alike(symbols)
        self._first = first
        self._told_apart(self._leads())

    def _told_apart(self, leads: NDArray[np.int64]) -> None:
        self.leads = leads
        self.masses = _symbol_masses(self.symbols[self._first], self.weights, leads)[:, self.like_row]

    def of_sets(self) -> _View:
        """The same with every set told apart from every other: what is left to ask where nothing tells of the unit to be named, before it is said that
        nothing more can be told apart."""
        view = copy(self)
        view._told_apart(np.zeros_like(self.leads))
        return view

    def _leads(self) -> NDArray[np.int64]:
        """The unit that each set would be named by, its likeliest one, (sets,): numbered from 1 for the ``MOST_LEADS`` that are likelier than ``LEAD_P``, else 0."""
        made = self.state.field
        units = np.append(self.state.units(), -1.0)
        mine = np.append(made.unit_of, len(units) - 1)[self.members]
        lead = np.take_along_axis(mine, units[mine].argmax(axis=1)[:, None], axis=1)[:, 0]
        mass = np.bincount(lead, weights=self.weights, minlength=len(units))
        mass[-1] = 0.0
        top = [k for k in np.argsort(-mass, kind="stable")[:MOST_LEADS].tolist() if mass[k] >= LEAD_P]
        number = np.zeros(len(units), np.int64)
        number[top] = np.arange(1, len(top) + 1)
        return np.asarray(number[lead])

    def told(self, chances: Floats) -> float:
        """Bits that an answer tells about the unit that will be named (``told_of_leads``). ``chances`` (sets, answers): P(answer | set)."""
        rest = self.leads == 0
        inner = float(self.weights[rest] @ _entropy(chances[rest]))
        for lead in range(1, int(self.leads.max()) + 1):
            mine = self.weights * (self.leads == lead)
            share = float(mine.sum())
            inner += share * float(_entropy(mine @ chances / share)) if share > 0 else 0.0
        return max(0.0, float(_entropy(self.weights @ chances)) - inner)

    def look_gains(self, wave: bool) -> Floats:
        """Bits of a look at each spot, (spots,). ``wave``: patterns are judged wherever they can be."""
        return told_of_leads(self.masses, look_likelihoods(self.state, wave))

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
        classes = np.stack([self._class(k) for k in order.tolist()])
        chosen, total = self._greedy(
            self.symbols[order], classes, look_likelihoods(self.state, True)[order], WAVE_POINTS
        )
        spots = tuple((made.spots[k].net, made.spots[k].node) for k in order[chosen].tolist())
        return [SuspectStep("wave", spots, seconds, total, judged=True)] if chosen else []

    def heat(self, seconds: float) -> list[SuspectStep]:
        """A thermal picture: the warmth of all parts that one can judge and that none has shown yet, those that tell most first."""
        made = self.state.field
        shown = {one.part for one in self.state.evidence if isinstance(one, Warmth)}
        parts = [one for one in made.warm if one not in shown and warms(made, one)]
        if not parts:
            return []
        states = np.stack([states_under(made, self.members, one) for one in parts]).astype(np.uint8)
        like = np.broadcast_to(np.pad(likelihoods(), ((0, 2), (0, 0)), mode="edge"), (len(parts), 6, 3))
        gains = told_of_leads(_symbol_masses(states, self.weights, self.leads), like)
        order = np.argsort(-gains, kind="stable")[: 2 * HEAT_PARTS]
        order = order[gains[order] > NOTHING_BITS]
        if not len(order):
            return []
        chosen, total = self._greedy(states[order], states[order].astype(np.int64), like[order], HEAT_PARTS)
        told = tuple(parts[k] for k in order[chosen].tolist())
        return [SuspectStep("heat", (), seconds, total, parts=told)] if chosen else []

    def start(self, seconds: float, mended: float) -> list[SuspectStep]:
        """Power up and look what it shows: whether a repair was the last one (``mended``), else which of the machine's screens."""
        made = self.state.field
        count = len(made.screens)
        if count == 0 or any(isinstance(one, Start) and one.screen >= 0 for one in self.state.evidence):
            return []
        e = made.table.screen_misread
        like = np.full((count, count), e / max(1, count - 1))
        np.fill_diagonal(like, 1.0 - e)
        screens = self.told(like[self.screens])
        return [SuspectStep("start", (), seconds, _binary_gain(mended, e) + (1.0 - mended) * screens)]

    def _greedy(
        self, symbols: NDArray[np.uint8], classes: NDArray[np.int64], like: Floats, most: int
    ) -> tuple[list[int], float]:
        """Rows of ``symbols`` (rows, sets) that together tell most, each with what the earlier leave open, and their bits. ``like`` (rows, 6, outcomes)."""
        group = np.zeros(len(self.weights), np.int64)
        led = np.flatnonzero(self.leads)
        chosen: list[int] = []
        total = 0.0
        for _ in range(min(most, len(symbols))):
            added = self._added(group, symbols, like)
            if len(led):
                within = np.unique(group[led] * (MOST_LEADS + 1) + self.leads[led], return_inverse=True)[1]
                added -= self._added(within, symbols[:, led], like, self.weights[led])
            added[chosen] = 0.0
            best = int(np.argmax(added))
            if added[best] <= NOTHING_BITS:
                break
            chosen.append(best)
            total += float(added[best])
            group = np.unique(group * 8 + classes[best], return_inverse=True)[1]
        return chosen, total

    def _class(self, k: int) -> NDArray[np.int64]:
        symbols = self.symbols[k].astype(np.int64)
        spot = self.state.field.spots[k]
        if not spot.content or spot.loose:
            symbols = np.where(symbols == 3, 2, symbols)
        return np.asarray(symbols, dtype=np.int64)

    def _added(
        self, group: NDArray[np.int64], symbols: NDArray[np.uint8], like: Floats, weights: Floats | None = None
    ) -> Floats:
        """Bits that each row adds to a partition of the sets, of some ``weights`` (all where none are given)."""
        weights = self.weights if weights is None else weights
        count, rows = int(group.max()) + 1, len(symbols)
        index = (np.arange(rows)[:, None] * count + group[None, :]) * 6 + np.minimum(symbols.astype(np.int64), 5)
        mass = np.bincount(
            index.ravel(),
            weights=np.broadcast_to(weights, symbols.shape).ravel(),
            minlength=rows * count * 6,
        )
        mass = mass.reshape(rows, count, 6)
        outcome = np.einsum("kgs,kso->kgo", mass, like)
        there = outcome.sum(axis=2)
        inner = np.einsum("kgs,ks->k", mass, _entropy(like))
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
            pins = sink_pins(made, net)
            before = [one for one in self.state.evidence if isinstance(one, Sink) and one.net == net]
            like = sink_next(made.table, sink_counts(before, pins))
            gain = self.told(like[sink_of(made, self.members, net, pins) % (len(pins) + 1)])
            found.append(SuspectStep("sink", ((net, 0),), seconds + SINK_PIN_S * len(pins), gain))
        return found

    def swaps(self, parts: Sequence[str], seconds: float, rail_s: float) -> list[SuspectStep]:
        """A swap of each part with a known-good one at hand; first its rails, where they were not measured right: a wrong one would kill it too."""
        made = self.state.field
        found = []
        tried = {one.part for one in self.state.evidence if isinstance(one, Swapped)}
        looks = [one for one in self.state.evidence if isinstance(one, Look)]
        right = {one.net for one in looks if one.outcome == HIGH}
        wrong = {one.net for one in looks if one.outcome != HIGH}
        for part in parts:
            if part in tried:
                continue
            mine = np.array([k for k, c in enumerate(made.causes) if c.part == part] + [-1], np.int32)
            cured = np.isin(self.members, mine).all(axis=1)
            e = made.table.swap_misread
            gain = self.told(yes_or_no(np.where(cured, 1.0 - e, e)))
            missing = _rails_of(made, part) - right
            if not missing:
                found.append(SuspectStep("swap", (), seconds, gain, part))
                continue
            spots = [(net, node) for net, node in supply_places(made, part) if net in missing and _touchable(made, net)]
            if len({net for net, _ in spots}) == len(missing) and not missing & wrong:
                found.append(SuspectStep("rail", tuple(spots[:1]), rail_s, gain, part, then_s=seconds))
        return found

    def repeats(self, tallies: tuple[Tally, ...], power_s: float) -> list[SuspectStep]:
        """Starting again several times, plain and with spray on the likeliest parts."""
        rows = repeats(
            self.state.field, self.members, self.screens, self.weights, self.state.causes(), tallies, power_s
        )
        return [
            SuspectStep("repeat" if not one.part else "spray", (), one.seconds, one.gain_bits, one.part) for one in rows
        ]

    def inspections(self, sides: Sequence[SideShows], seconds: float) -> list[SuspectStep]:
        """A look with the eyes over each side: every set shows the first of its causes that lie open there with that cause's chance, else nothing."""
        found = []
        for side in sides:
            chance = np.zeros(len(self.state.field.causes) + 1)
            for k, detect in side.shows:
                chance[k] = detect
            shows = chance[self.members]
            column = shows.argmax(axis=1)
            rows = np.arange(len(self.members))
            d, cause = shows[rows, column], self.members[rows, column]
            shown = np.bincount(cause[d > 0], weights=(self.weights * d)[d > 0], minlength=len(chance) - 1)
            seen = float(shown.sum())
            taken = OVER_FALSE * (1.0 - seen)
            outcome = np.array([*(shown[shown > 0]).tolist(), taken, 1.0 - seen - taken])
            inner = float(
                (
                    self.weights
                    * _entropy(np.stack([d, (1.0 - d) * OVER_FALSE, (1.0 - d) * (1.0 - OVER_FALSE)], axis=1))
                ).sum()
            )
            gain = max(0.0, float(_entropy(outcome)) - inner)
            found.append(
                SuspectStep("inspect", (), side.seconds + seconds, gain, side.label, parts=(side.area, side.side))
            )
        return found

    def by_hand(self, hands: HandsNow, costs: CostTable, power_s: float) -> list[SuspectStep]:
        """Reseat, press, a good chip on top, a soldered part replaced: each where it may be done."""
        state = self.state
        gains = hand_gains(state.field, self.members, state.causes(), hands, costs, power_s, self.told, state.evidence)
        return [SuspectStep(one.kind, (), one.seconds, one.gain_bits, one.part) for one in gains]

    def checks(self, seconds: float, again_s: float) -> list[SuspectStep]:
        """Continuity and isolation that the likeliest copper calls for, power off; ``again_s`` to have power on again."""
        made = self.state.field
        basis = made.table.copper
        evidence = self.state.evidence
        rows = likely_checks(made, self.members, self.weights, self.state.causes(), evidence)
        found = []
        for one in rows:
            a, b = one.spots
            bridge = one.kind == "apart"
            before = apart_tones(evidence, made, a[0], b[0]) if bridge else tones_of(evidence, made, a[0])
            miss = false_open_now(basis, before, Tone((), a, b, False, bridge))
            there, whole = (1.0 - miss, basis.false_closed) if bridge else (1.0 - basis.false_closed, miss)
            gain = self.told(yes_or_no(np.where(one.there, there, whole)))
            found.append(SuspectStep(one.kind, one.spots, seconds, gain, then_s=again_s))
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


def _rails_of(made: Field, part: str) -> set[str]:
    """The supply rails that a part is on, ground not among them."""
    row = made.behaviour.circuit.by_ref.get(part)
    rails = made.behaviour.circuit.rails
    return {t.net for t in (row.terminals if row is not None else ()) if t.net in rails and not rails[t.net].ground}


def _net_of(made: Field, pin: str) -> str:
    part = made.behaviour.circuit.by_ref[pin.split(".")[0]]
    return next(t.net for t in part.terminals if t.id == pin)


def told_of_leads(masses: Floats, like: Floats) -> Floats:
    """Bits that a look at each spot tells about the unit that will be named, (spots,): what it tells about the sets, less what it tells apart among sets
    that one and the same unit leads (which of their other faults are there is found out when that unit is mended). Next to nothing is left as it is.

    ``masses`` (leads, spots, symbols): how likely each prediction is together with each lead, the first row those of no lead that counts; ``like`` (spots,
    symbols, outcomes).

    >>> like = np.array([[[1.0, 0.0], [0.0, 1.0]]])
    >>> told_of_leads(np.array([[[0.0, 0.0]], [[0.5, 0.0]], [[0.0, 0.5]]]), like).tolist()      # it tells one lead from the other
    [1.0]
    >>> told_of_leads(np.array([[[0.0, 0.0]], [[0.25, 0.25]], [[0.25, 0.25]]]), like).tolist()  # it tells of other faults alone
    [0.0]
    """
    total = information(masses.sum(axis=0), like)
    some = np.flatnonzero(total > NOTHING_BITS)
    few = like[some]
    for mass in masses[1:, some]:
        share = mass.sum(axis=1)
        total[some] -= share * information(mass / np.maximum(share, 1e-300)[:, None], few)
    made: Floats = np.maximum(0.0, total)
    return made


def _symbol_masses(symbols: NDArray[np.uint8], weights: Floats, leads: NDArray[np.int64]) -> Floats:
    """How likely each symbol is at each spot together with each lead, (leads, spots, 6)."""
    spots, count = len(symbols), int(leads.max(initial=0)) + 1
    index = (leads[None, :] * spots + np.arange(spots)[:, None]) * 6 + np.minimum(symbols, 5)
    flat = np.bincount(
        index.ravel(), weights=np.broadcast_to(weights, symbols.shape).ravel(), minlength=count * spots * 6
    )
    return np.asarray(flat.reshape(count, spots, 6), dtype=np.float64)


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
