"""What the evidence leaves of the fault sets: the posterior of every unit of repair, exact over the sets that are held.

Evidence under power (a level, a pattern, a rail, a start) and without (a beep, an isolation check) weighs the same sets. When the best set
leaves something unexplained, sets of more faults are made from it and from single faults that would explain the rest (``wider_sets``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from dataclasses import field as make
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.afloat import ANY, SCOPE
from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.field import DEEPEST, Block, Field, Floats, Ints, Predicted, hash_part, padded
from coppermend.core.belief.suspects.hands import Effect, Worked, effect_logs, swap_logs, worked_logs
from coppermend.core.belief.suspects.oddity import odd_logs
from coppermend.core.belief.suspects.starts import Starts, starts_logs
from coppermend.core.belief.suspects.table import (
    FLOATING,
    HIGH,
    LOW,
    OUTCOMES,
    PULSING,
    WRONG,
    FaultTable,
    afloat_states,
    level_likelihood,
    read_afloat,
)
from coppermend.core.belief.suspects.together import (
    Seen,
    Tone,
    afloat_counts,
    counts_of,
    foretold,
    hidden_levels,
    looks_extra,
    read_levels,
    sink_logs,
    tones_logs,
)
from coppermend.core.belief.suspects.warmth import warmth_logs
from coppermend.core.belief.suspects.witness import Say, witness_logs
from coppermend.core.circuit.planes import STEADY

UNEXPLAINED = 0.1
"""A reading that the best set gives less than this is unexplained by it."""
SEEDS, HELPERS, WIDEST, MOST_WIDE = 12, 12, 800, 6000
"""Likeliest sets that are widened, single faults tried on each, new sets at most at a time, and before the older ones are let go."""


SHARING, SHARING_PAIRS, SHARING_SEEDS, SHARING_TRIPLES = 160, 192, 24, 96
"""Single faults that are put together where several share the symptoms out, pairs that are taken, pairs that are made triples, triples that are taken."""
SHARING_FACTOR = 3000.0
"""Sets that seem more than so many times less likely than the best one are left."""
MOST_KEPT = 1000
"""Readings whose likelihoods under every single fault are kept."""
DECIDING = 1024
"""Likeliest sets that are weighed without one reading, to see whether a name rests on it alone."""
RIVALS_FROM, RIVAL_SEEDS, RIVALS = 0.8, 3, 12
"""From this probability of a unit on its rivals are listed: of so many of the likeliest sets, so many for each fault."""


@dataclass(frozen=True, slots=True)
class Look:
    """A look at a place under power: ``outcome`` index of ``OUTCOMES``; ``judged``: the frequency or the pattern was compared with the expected one.

    At a rail: high is the rail's voltage, low a voltage below its range, floating none; at ground: low is ground, floating lifted.
    ``by``: what it was taken with, where told (``afloat``): a place that nothing drives looks otherwise to each.
    """

    net: str
    node: int
    outcome: int
    judged: bool = False
    entry: str = ""
    by: str = ANY


@dataclass(frozen=True, slots=True)
class Beep:
    """A continuity check on one net, power off: ``closed`` or not, between two nodes of its tree."""

    net: str
    node_a: int
    node_b: int
    closed: bool
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Apart:
    """An isolation check between two nets, power off: ``joined`` when it beeped, between a node of each net's tree."""

    net_a: str
    net_b: str
    joined: bool
    entry: str = ""
    node_a: int = 0
    node_b: int = 0


@dataclass(frozen=True, slots=True)
class Start:
    """What a start showed: index into the field's screens; -1: not as it should, no more is known."""

    screen: int
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Swapped:
    """A part was swapped for another one for a try: ``started`` whether the machine then started. ``good``: how likely the other one is good;
    ``socket``: it sits in a socket, whose contacts the swap wiped, too."""

    part: str
    started: bool
    entry: str = ""
    good: float = 1.0
    socket: bool = False


@dataclass(frozen=True, slots=True)
class Sink:
    """Millivolts along a net that some pin holds at a level, power on: ``pin`` is the one they lead to ("U22.5"), "" when none stands out.

    A pin that holds the net low is the lowest while others drive it high, one that holds it high the highest.
    """

    net: str
    pin: str
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Renewed:
    """A part was replaced for good: its own faults are ``table.renewed`` times as likely as before."""

    part: str
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Warmth:
    """A part in a thermal picture: ``verdict`` cold (that should be warm), hot or even. Of one part only the latest picture is evidence."""

    part: str
    verdict: str
    words: str = ""
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Odd:
    """A signal that moves or rests but is odd: ``odd`` runts (and glitches), early or late (a reset let go against its rules), at a place of a net."""

    net: str
    node: int
    odd: str
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Witness:
    """What other work found (a memory test, a ROM's read-out, readings compared): see ``witness``."""

    says: tuple[Say, ...]
    other: float
    words: str
    entry: str = ""


Observation = Look | Beep | Apart | Start | Swapped | Sink | Renewed | Warmth | Odd | Witness | Effect | Worked | Starts


@dataclass(slots=True)
class State:
    """The belief after some evidence. ``weights`` of the main sets and of the wider ones, together 1; ``logs`` their unnormalised logs."""

    field: Field
    evidence: tuple[Observation, ...]
    logs: Floats
    wide: Block | None
    wide_logs: Floats
    weights: Floats = make(default_factory=lambda: np.empty(0))
    wide_weights: Floats = make(default_factory=lambda: np.empty(0))
    log_evidence: float = 0.0
    memo: dict[str, Any] = make(default_factory=dict)
    _causes: Floats | None = None

    def units(self) -> Floats:
        """Probability of every unit (in the order of ``field.units``) to hold a fault, (units,)."""
        made = self.field
        return np.minimum(np.bincount(made.unit_of, weights=self.causes(), minlength=len(made.units)), 1.0)

    def causes(self) -> Floats:
        """Probability of every single cause, (causes,)."""
        if self._causes is None:
            n = len(self.field.causes)
            p = _sums(_main_columns(self.field), self.weights, n)
            if self.wide is not None:
                p += _sums(_columns(self.wide.members), self.wide_weights, n)
            self._causes = np.minimum(p, 1.0)
        return self._causes

    def best(self, most: int = 1) -> list[tuple[tuple[int, ...], float]]:
        """The likeliest fault sets with their probabilities, best first."""
        return [(tuple(int(c) for c in block.members[row] if c >= 0), p) for block, row, p in self.best_rows(most)]

    def best_rows(self, most: int = 1) -> list[tuple[Block, int, float]]:
        """The likeliest fault sets as (block, row, probability), best first."""
        rows: list[tuple[Block, int, float]] = []
        for block, weights in ((self.field.main, self.weights), (self.wide, self.wide_weights)):
            if block is None or not len(weights):
                continue
            top = [int(weights.argmax())] if most == 1 else top_rows(weights, most).tolist()
            rows += [(block, k, float(weights[k])) for k in top]
        rows.sort(key=lambda row: -row[2])
        return rows[:most]


def top_rows(weights: Floats, most: int, least: float = 1e-6) -> NDArray[np.int64]:
    """Indices of the ``most`` greatest weights, ascending; fewer where the others are below ``least`` of the greatest (but one at least).

    >>> top_rows(np.array([0.1, 0.6, 0.0, 0.3]), 2).tolist(), top_rows(np.array([0.1, 0.6, 0.0, 0.3]), 4).tolist()
    ([1, 3], [0, 1, 3])
    """
    if not len(weights):
        return np.empty(0, np.int64)
    top = float(weights.max())
    for floor in (0.03, 0.001, least):
        live = np.flatnonzero(weights >= top * floor)
        if len(live) >= most:
            break
    if len(live) > most:
        live = np.sort(live[np.argpartition(weights[live], len(live) - most)[-most:]])
    return np.asarray(live, dtype=np.int64)


def initial(made: Field) -> State:
    """The belief before any evidence. What every later step looks up is laid out here, once a field."""
    made.held_at(())
    _main_columns(made)
    return _weighed(State(made, (), made.main.prior.copy(), None, np.empty(0)))


def observed(state: State, more: Iterable[Observation], widen: bool = True) -> State:
    """The belief after more evidence. Order does not matter. ``widen``: look for more than three faults when something stays unexplained."""
    fresh = tuple(more)
    logs = state.logs + _added_logs(state.field, state.field.main, state.evidence, fresh)
    wide_logs = state.wide_logs.copy()
    if state.wide is not None:
        wide_logs += _added_logs(state.field, state.wide, state.evidence, fresh)
    made = _weighed(replace(state, evidence=state.evidence + fresh, logs=logs, wide_logs=wide_logs))
    if not widen:
        return made
    open_ = bool(unexplained(made))
    if open_ or _near(made):
        # one call for both: a simulation costs about as much for 1 set as for 500
        made = _with_sets(made, list(dict.fromkeys([*(wider_sets(made) if open_ else ()), *shared_out(made)])))
    return rivalled(made) if _near(made) else made


def _near(state: State) -> bool:
    """Whether something is about to be named."""
    return float(state.units().max()) >= RIVALS_FROM


Group = tuple[str, ...]
"""What readings share: a net that may rest, a net whose places were beeped, or nothing."""


def group_of(one: Observation) -> Group | None:
    """The group in which a reading is weighed together with others; None for one that stands by itself."""
    if isinstance(one, Look):
        return ("look", one.net)
    if isinstance(one, Beep):
        return ("beep", one.net)
    if isinstance(one, Apart):
        return ("apart", *sorted((one.net_a, one.net_b)))
    return ("sink", one.net) if isinstance(one, Sink) else None


def grouped(evidence: Iterable[Observation]) -> dict[Group, list[Observation]]:
    """Readings that are weighed together, by group; each that stands by itself under a group of its own."""
    found: dict[Group, list[Observation]] = {}
    for k, one in enumerate(evidence):
        found.setdefault(group_of(one) or ("alone", str(k)), []).append(one)
    return found


def evidence_logs(made: Field, block: Block, evidence: Iterable[Observation]) -> Floats:
    """Log P(all readings | set) for every set of a block, (sets,): those that lie or rest together are weighed together."""
    total = np.zeros(len(block.members))
    for rows in grouped(evidence).values():
        total += group_logs(made, block, rows)
    return total


def group_logs(made: Field, block: Block, rows: Sequence[Observation]) -> Floats:
    """Log P(the readings of one group | set), (sets,)."""
    if isinstance(rows[0], (Beep, Apart)):
        return tones_logs(made, block.members, [_tone(made, one) for one in rows if isinstance(one, (Beep, Apart))])
    if isinstance(rows[0], Sink):
        pins = sink_pins(made, rows[0].net)
        return sink_logs(made.table, sink_counts(rows, pins))[sink_of(made, block.members, rows[0].net, pins)]
    total = np.zeros(len(block.members))
    for one in rows:
        total += log_likelihood(made, block, one)
    extra = _looks_extra(made, block, rows)
    return total if extra is None else total + extra


def _added_logs(made: Field, block: Block, old: Sequence[Observation], fresh: Sequence[Observation]) -> Floats:
    """What more readings add to the logs of every set: of the groups that they belong to."""
    total = np.zeros(len(block.members))
    touched = grouped(fresh)
    before = grouped(one for one in old if group_of(one) in touched)
    for group, rows in touched.items():
        earlier = before.get(group, []) if group[0] != "alone" else []
        if isinstance(rows[0], Look):
            for one in rows:
                total += log_likelihood(made, block, one)
            for sign, some in ((1.0, [*earlier, *rows]), (-1.0, earlier)):
                extra = _looks_extra(made, block, some)
                if extra is not None:
                    total += sign * extra
        else:
            total += group_logs(made, block, [*earlier, *rows])
            if earlier:
                total -= group_logs(made, block, earlier)
    return total


def _looks_extra(made: Field, block: Block, rows: Sequence[Observation]) -> Floats | None:
    seen = [
        Seen(k, one.outcome, one.by, _compared(made, k, one.judged))
        for one in rows
        if isinstance(one, Look) and (k := made.spot_at.get((one.net, one.node))) is not None
    ]
    return looks_extra(made, block, seen)


def _tone(made: Field, one: Beep | Apart) -> Tone:
    if isinstance(one, Beep):
        which = path_causes(made, one.net, one.node_a, one.node_b)
        return Tone(which, (one.net, one.node_a), (one.net, one.node_b), one.closed)
    return bridge_tone(made, (one.net_a, one.node_a), (one.net_b, one.node_b), one.joined)


def bridge_tone(made: Field, place_a: tuple[str, int], place_b: tuple[str, int], joined: bool) -> Tone:
    """An isolation check between two places (net, node): the bridges between their nets, each with the cuts that would part the tips from it."""
    key = ("bridge tone", *sorted((place_a, place_b)))
    if key not in made.memo:
        which = short_causes(made, place_a[0], place_b[0])
        behind = tuple(_between(made, k, place_a) + _between(made, k, place_b) for k in which)
        made.memo[key] = (which, behind if any(behind) else ())
    which, behind = made.memo[key]
    return Tone(which, place_a, place_b, joined, True, behind)


def _between(made: Field, cause: int, place: tuple[str, int]) -> tuple[int, ...]:
    """The cuts between a place and the end of a bridge (or of a shorted part) on its net."""
    net, node = place
    ends = bridge_ends(made, cause)
    return path_causes(made, net, node, ends[net]) if net in ends and net in made.behaviour.trees else ()


def bridge_ends(made: Field, cause: int) -> dict[str, int]:
    """The nodes that a bridge or a shorted part joins, by net."""
    one = made.causes[cause]
    if one.key[0] == "short":
        short = made.behaviour.shorts[int(one.key[2])]
        return {short.net_a: short.node_a, short.net_b: short.node_b}
    trees = made.behaviour.trees
    rows = made.behaviour.circuit.by_ref[one.part].terminals
    return {t.net: trees[t.net].taps[t.id] for t in rows if t.net in trees and t.id in trees[t.net].taps}


def tones_of(evidence: Iterable[Observation], made: Field, net: str) -> list[Tone]:
    """The continuity checks on a net so far."""
    return [_tone(made, one) for one in evidence if isinstance(one, Beep) and one.net == net]


def apart_tones(evidence: Iterable[Observation], made: Field, net_a: str, net_b: str) -> list[Tone]:
    """The isolation checks between two nets so far."""
    return [_tone(made, one) for one in evidence if isinstance(one, Apart) and {one.net_a, one.net_b} == {net_a, net_b}]


def log_likelihood(made: Field, block: Block, one: Observation) -> Floats:
    """Log P(observation | set) for every set of a block, (sets,): this reading by itself."""
    table = made.table
    if isinstance(one, Look):
        k = made.spot_at.get((one.net, one.node))
        if k is None:
            return np.zeros(len(block.members))
        picked: Floats = _look_column(made, k, one)[block.symbols(k)]
        return picked
    if isinstance(one, Start):
        n = len(made.screens)
        e = table.screen_misread
        hit, miss = np.log(1.0 - e), np.log(e / max(1, n - 1))
        if one.screen < 0:
            works = next((k for k, s in enumerate(made.screens) if s.name == "works"), -1)
            return np.asarray(np.where(block.screens() == works, np.log(e), hit), dtype=np.float64)
        return np.asarray(np.where(block.screens() == one.screen, hit, miss), dtype=np.float64)
    if isinstance(one, (Beep, Apart)):
        return tones_logs(made, block.members, [_tone(made, one)])
    if isinstance(one, Sink):
        return group_logs(made, block, [one])
    if isinstance(one, Renewed):
        mine = _holds_any(block.members, part_causes(made, one.part))
        return np.asarray(np.where(mine, np.log(table.renewed), 0.0), dtype=np.float64)
    if isinstance(one, Warmth):
        return warmth_logs(made, block.members, one.part, one.verdict)
    if isinstance(one, Starts):
        return starts_logs(made, block.members, block.screens(), one.tallies)
    if isinstance(one, Witness):
        return witness_logs(made, block.members, one.says, one.other)
    if isinstance(one, Odd):
        return odd_logs(made, block.members, one.net, one.node, one.odd)
    if isinstance(one, Effect):
        return effect_logs(made, block.members, one)
    if isinstance(one, Worked):
        return worked_logs(made, block.members, one)
    e = table.swap_misread
    if one.socket or one.good < 1.0:
        return swap_logs(made, block.members, one.part, one.started, one.good, e)
    cured = _within(block.members, part_causes(made, one.part))
    return np.asarray(np.where(cured == one.started, np.log(1.0 - e), np.log(e)), dtype=np.float64)


def each_log(made: Field, block: Block, evidence: Sequence[Observation]) -> Floats:
    """Log P(reading | set) of every reading by itself for the sets of a small block, (readings, sets)."""
    count = len(block.members)
    symbols = block.picked(np.arange(count), len(made.spots))
    rows = np.zeros((len(evidence), count))
    for row, one in zip(rows, evidence, strict=True):
        if not isinstance(one, Look):
            row[:] = log_likelihood(made, block, one)
        elif (k := made.spot_at.get((one.net, one.node))) is not None:
            row[:] = _look_column(made, k, one)[symbols[k]]
    return rows


def _look_column(made: Field, k: int, one: Look) -> Floats:
    """Log P(what a look at a spot said | symbol), (8,)."""
    spot = made.spots[k]
    key = ("column", spot.rail, spot.ground, _compared(made, k, one.judged), spot.loose, spot.pull, one.by, one.outcome)
    if key not in made.memo:
        column = np.log(np.maximum(spot_likelihood(made, k, one.judged, one.by)[:, one.outcome], 1e-12))
        made.memo[key] = np.concatenate([column, (0.0, 0.0)])
    found: Floats = made.memo[key]
    return found


def _compared(made: Field, k: int, judged: bool) -> bool:
    """Whether a judged look at a spot says something of its pattern or frequency."""
    spot = made.spots[k]
    return judged and spot.content and not spot.rail


def spot_likelihood(made: Field, k: int, judged: bool, by: str = SCOPE) -> Floats:
    """P(outcome | symbol) at a spot, (6, 5), looked at with ``by``."""
    spot = made.spots[k]
    content = _compared(made, k, judged)
    key = ("likelihood", spot.rail, spot.ground, content, spot.loose, spot.pull, by)
    if key not in made.memo:
        made.memo[key] = (
            rail_likelihood(made.table, spot.ground)
            if spot.rail
            else level_likelihood(made.table, content, spot.loose, spot.pull, by)
        )
    found: Floats = made.memo[key]
    return found


def spot_likelihoods(made: Field, judged: bool) -> Floats:
    """P(outcome | symbol) at every spot, (spots, 6, 5); ``judged``: at every spot whose pattern can be, else at the clocked ones only."""
    key = ("likelihoods", judged)
    if key not in made.memo:
        made.memo[key] = np.stack([spot_likelihood(made, k, judged or s.clocked) for k, s in enumerate(made.spots)])
    found: Floats = made.memo[key]
    return found


def look_likelihoods(state: State, judged: bool) -> Floats:
    """P(outcome | symbol) of one more look at every spot, (spots, 6, 5): a net that rests, or that the program moves or rests, will be found as the
    looks at it so far found it, so that another one tells no more than whether it floats or is held; a place that nothing drives, too. Taken with a scope."""
    key = f"look likelihoods {judged}"
    if key not in state.memo:
        state.memo[key] = _look_likelihoods(state, judged)
    found: Floats = state.memo[key]
    return found


def _look_likelihoods(state: State, judged: bool) -> Floats:
    made = state.field
    like = spot_likelihoods(made, judged)
    seen: dict[str, list[tuple[int, bool]]] = {}
    for one in state.evidence:
        if (
            isinstance(one, Look)
            and (k := made.spot_at.get((one.net, one.node))) is not None
            and not made.spots[k].rail
        ):
            seen.setdefault(one.net, []).append((one.outcome, _compared(made, k, one.judged)))
    again = [k for k, spot in enumerate(made.spots) if spot.net in seen]
    if again:
        like = like.copy()
    levels = [LOW, HIGH, PULSING, FLOATING]
    told: dict[tuple[str, str], Floats] = {}
    for k in again:
        spot, looks = made.spots[k], seen[made.spots[k].net]
        if (spot.net, "") not in told:
            hidden = hidden_levels(made.table, spot.loose)
            told[(spot.net, "")] = foretold(hidden, read_levels(made.table), counts_of([one[0] for one in looks]))
        for symbol in (LOW, HIGH, PULSING, WRONG, STEADY) if spot.loose else (STEADY,):
            moving = like[k, symbol, PULSING] + like[k, symbol, WRONG]
            wrong = like[k, symbol, WRONG] / moving if moving > 0 else 0.0
            like[k, symbol, levels] = told[(spot.net, "")]
            like[k, symbol, WRONG] = like[k, symbol, PULSING] * wrong
            like[k, symbol, PULSING] *= 1.0 - wrong
        if (spot.net, spot.pull) not in told:
            afloat = afloat_states(made.table, spot.pull, SCOPE)
            told[(spot.net, spot.pull)] = foretold(afloat, read_afloat(made.table), afloat_counts(looks))
        low, high, moves, right, wrong, floating = told[(spot.net, spot.pull)]
        compared = _compared(made, k, judged or spot.clocked)
        like[k, FLOATING] = (low, high, right, wrong, floating) if compared else (low, high, moves, 0.0, floating)
    return like


def rail_likelihood(table: FaultTable, ground: bool) -> Floats:
    """P(outcome | symbol) at a supply pin, (6, 5): a rail reads high, too low (low) or none (floating); ground reads low or lifted (floating)."""
    e = table.rail_misread
    out = np.full((6, len(OUTCOMES)), e / 4.0)
    for symbol, outcome in ((0, LOW), (1, HIGH), (2, HIGH), (3, HIGH), (4, FLOATING), (5, LOW)):
        out[symbol, outcome] = 1.0 - e
    return out


def sink_pins(made: Field, net: str) -> list[str]:
    """The pins of a net whose millivolts are compared."""
    return [t.id for t in made.behaviour.circuit.nets.get(net, ()) if t.kind != "passive"]


def sink_counts(evidence: Iterable[Observation], pins: Sequence[str]) -> list[int]:
    """How many comparisons led to each pin, the last: to none."""
    counts = [0] * (len(pins) + 1)
    for one in evidence:
        if isinstance(one, Sink):
            counts[pins.index(one.pin) if one.pin in pins else -1] += 1
    return counts


def sink_of(made: Field, members: Ints, net: str, pins: Sequence[str]) -> Ints:
    """The index in ``pins`` of the pin that holds a net low or high under every set, -1 where none does."""
    where = np.full(len(made.causes) + 1, -1, np.int32)
    number = {pin: k for k, pin in enumerate(pins)}
    driving = {t.id for t in made.behaviour.circuit.drivers(net)}
    of_part = {pin.split(".")[0]: k for k, pin in sorted(enumerate(pins), key=lambda row: row[1] in driving)}
    for k, one in enumerate(made.causes):
        if one.key[0] in ("stuck0", "stuck1"):
            where[k] = number.get(str(one.key[1]), -1)
        elif one.key[0] in ("low", "high"):
            where[k] = of_part.get(one.part, -1)
    return np.asarray(where[members].max(axis=1), dtype=np.int32)


def _holds_any(members: Ints, which: Sequence[int]) -> NDArray[np.bool_]:
    if not len(which):
        return np.zeros(len(members), np.bool_)
    return np.asarray(np.isin(members, np.array(which, np.int32)).any(axis=1))


def _within(members: Ints, which: Sequence[int]) -> NDArray[np.bool_]:
    """Sets all of whose causes are among these."""
    mine = np.isin(members, np.array([*which, -1], np.int32))
    return np.asarray(mine.all(axis=1))


def part_causes(made: Field, part: str) -> tuple[int, ...]:
    """The causes that go away when a part is swapped: those inside it."""
    return tuple(k for k, one in enumerate(made.causes) if one.part == part)


def short_causes(made: Field, net_a: str, net_b: str) -> tuple[int, ...]:
    """The bridges between two nets, and the shorted parts from one to the other."""
    if "bridges" not in made.memo:
        kept: dict[frozenset[str], tuple[int, ...]] = {}
        by_ref = made.behaviour.circuit.by_ref
        for k, one in enumerate(made.causes):
            if one.key[0] == "short":
                short = made.behaviour.shorts[int(one.key[2])]
                both = frozenset((short.net_a, short.net_b))
            elif one.key[0] == "shorted":
                both = frozenset(t.net for t in by_ref[one.part].terminals if t.net)
            else:
                continue
            kept[both] = (*kept.get(both, ()), k)
        made.memo["bridges"] = kept
    found: dict[frozenset[str], tuple[int, ...]] = made.memo["bridges"]
    return found.get(frozenset((net_a, net_b)), ())


def path_causes(made: Field, net: str, a: int, b: int) -> tuple[int, ...]:
    """The spans on the way between two nodes of a net."""
    key = ("path", net, min(a, b), max(a, b))
    if key not in made.memo:
        edges = made.behaviour.trees[net].edges
        came: dict[int, tuple[int, int]] = {a: (a, -1)}
        queue = [a]
        near: dict[int, list[tuple[int, int]]] = {}
        for k, (x, y) in enumerate(edges):
            near.setdefault(x, []).append((y, k))
            near.setdefault(y, []).append((x, k))
        for node in queue:
            for other, k in near.get(node, ()):
                if other not in came:
                    came[other] = (node, k)
                    queue.append(other)
        used: set[int] = set()
        node = b
        while node in came and came[node][1] >= 0:
            node, k = came[node]
            used.add(k)
        made.memo[key] = tuple(
            k for k, one in enumerate(made.causes) if one.key[0] == "cut" and one.key[1] == net and one.key[2] in used
        )
    found: tuple[int, ...] = made.memo[key]
    return found


def _weighed(state: State) -> State:
    top = float(state.logs.max()) if len(state.logs) else -np.inf
    if len(state.wide_logs):
        top = max(top, float(state.wide_logs.max()))
    weights, wide = np.exp(state.logs - top), np.exp(state.wide_logs - top)
    total = float(weights.sum() + wide.sum())
    state.weights, state.wide_weights = weights / total, wide / total
    state._causes = None
    state.memo = {}
    state.log_evidence = top + float(np.log(total))
    return state


def _columns(members: Ints) -> list[NDArray[np.int64]]:
    """The causes of fault sets plus 1 (0: none), a contiguous array for each column."""
    return [members[:, k].astype(np.int64) + 1 for k in range(members.shape[1])]


def _main_columns(made: Field) -> list[NDArray[np.int64]]:
    if "columns" not in made.memo:
        made.memo["columns"] = _columns(made.main.members)
    found: list[NDArray[np.int64]] = made.memo["columns"]
    return found


def _sums(columns: Sequence[NDArray[np.int64]], weights: Floats, count: int) -> Floats:
    """The weight of every cause, (causes,)."""
    out = np.zeros(count + 1)
    live = np.flatnonzero(weights > 1e-10)
    kept = weights[live]
    for column in columns:
        out += np.bincount(column[live], weights=kept, minlength=count + 1)
    return out[1:]


# ---- more than three faults ----
def unexplained(state: State) -> list[Observation]:
    """The evidence that the likeliest set makes unlikely."""
    made = state.field
    block, row, _ = state.best_rows(1)[0]
    best = block.one(row)
    if int(best.members.max()) < 0:
        return []
    logs = each_log(made, best, state.evidence)[:, 0]
    return [one for one, log in zip(state.evidence, logs.tolist(), strict=True) if log < np.log(UNEXPLAINED)]


def wider_sets(state: State) -> list[tuple[int, ...]]:
    """Further sets of up to six faults: the likeliest sets, each with one fault more (or one exchanged) that explains what they do not."""
    made = state.field
    helpers = _helpers(state)
    if not helpers:
        return []
    seeds = [s for s, _ in state.best(SEEDS)]
    known = (
        set(made.memo.setdefault("known wide", set()))
        if state.wide is None
        else {_key(r) for r in state.wide.members.tolist()}
    )
    fresh: dict[tuple[int, ...], None] = {}
    for seed in seeds:
        parts = {made.causes[c].part for c in seed if made.causes[c].part}
        for helper in helpers:
            if helper in seed:
                continue
            if made.causes[helper].part not in parts or not made.causes[helper].part:
                _offer(made, fresh, known, (*seed, helper))
            for out in range(len(seed)):
                left = (*seed[:out], *seed[out + 1 :], helper)
                if (
                    made.causes[helper].part not in {made.causes[c].part for c in left[:-1]}
                    or not made.causes[helper].part
                ):
                    _offer(made, fresh, known, left)
    return list(fresh)[:WIDEST]


def shared_out(state: State) -> list[tuple[int, ...]]:
    """The likeliest pairs and triples that are not listed yet, whose faults share the symptoms out among them, each explaining some: such a set may be too unlikely before
    any reading to have been listed, and one fault that explains all of them at once would win for want of it (two cuts against a bridge of their nets)."""
    made = state.field
    fine = liked_by_none(state)
    block, row, _ = state.best_rows(1)[0]
    best = block.one(row)
    told = sum(each_log(made, best, state.evidence)[:, 0].tolist())
    least = float(best.prior[0]) + told - float(fine.sum()) - np.log(SHARING_FACTOR)
    known: set[tuple[int, ...]] = set() if state.wide is None else {_key(r) for r in state.wide.members.tolist()}
    fresh: dict[tuple[int, ...], None] = {}
    for one in sharing_sets(made, liked_by_singles(state) - fine[:, None], least):
        _offer(made, fresh, known, one)
    return list(fresh)


def sharing_sets(made: Field, gain: Floats, least: float = -np.inf) -> list[tuple[int, ...]]:
    """Pairs and triples of faults by what their members would explain together, best first. ``gain`` (readings, causes): how much likelier each fault alone
    makes each reading than no fault does (log); ``least``: the log weight that a set's prior and its gains must come to. A reading counts with the fault that
    explains it best, or that spoils it most where none explains it; what the set truly makes of it is weighed by whoever takes the set."""
    logs = np.log(made.odds)
    few = np.flatnonzero((gain > np.log(1.0 / EXPLAINS)).any(axis=0))
    worth = logs[few] + gain[:, few].sum(axis=0)
    few = few[np.argsort(-worth, kind="stable")[:SHARING]]
    if len(few) < 2:
        return []
    some = np.ascontiguousarray(gain[:, few].T)
    some = some[:, some.any(axis=0)]
    part = np.array([hash_part(made.causes[c]) for c in few.tolist()])
    clash = (part[:, None] == part[None, :]) & (part[:, None] >= 0)
    np.fill_diagonal(clash, True)
    count = made.log_prior(padded([few[:k].tolist() for k in (2, 3)])) - [logs[few[:k]].sum() for k in (2, 3)]
    alone = [((k,), some[k]) for k in range(len(few))]
    pairs = _one_more(alone, some, logs[few], clash, SHARING_PAIRS)
    triples = _one_more(pairs[:SHARING_SEEDS], some, logs[few], clash, SHARING_TRIPLES)
    found = [
        (row, float(count[len(row) - 2] + logs[few[list(row)]].sum() + gains.sum()))
        for row, gains in (*pairs, *triples)
    ]
    return [tuple(int(few[c]) for c in row) for row, value in found if value >= least]


def _one_more(
    sets: Sequence[tuple[tuple[int, ...], Floats]], some: Floats, logs: Floats, clash: NDArray[np.bool_], most: int
) -> list[tuple[tuple[int, ...], Floats]]:
    """The best sets with one fault more, each with what its readings gain: ``sets`` (members, gains), ``some`` (faults, readings), ``clash`` (faults, faults)
    those that shut each other out."""
    value = np.full((len(sets), len(some)), -np.inf)
    for k, (row, gains) in enumerate(sets):
        members = list(row)
        value[k] = logs[members].sum() + logs + _together(gains, some).sum(axis=1)
        value[k, clash[members].any(axis=0)] = -np.inf
    found: dict[tuple[int, ...], Floats] = {}
    for at in np.argsort(-value, axis=None, kind="stable")[: 4 * most].tolist():
        k, other = divmod(at, len(some))
        row = tuple(sorted((*sets[k][0], other)))
        if len(found) == most or value[k, other] == -np.inf:
            break
        if row not in found:
            found[row] = _together(sets[k][1], some[[other]])[0]
    return list(found.items())


def _together(one: Floats, others: Floats) -> Floats:
    """What readings gain by a fault and each of ``others``: (others, readings)."""
    high, low = np.maximum(one, others), np.minimum(one, others)
    made: Floats = np.where(high > 0.0, high, low)
    return made


def _with_sets(state: State, rows: Sequence[tuple[int, ...]], few: bool = False) -> State:
    """The belief with further sets. ``few``: what they predict is remembered."""
    made = state.field
    if not rows:
        return state
    wide = padded(rows, DEEPEST)
    block = made.remembered(wide) if few else made.predicted(wide)
    logs = block.prior + evidence_logs(made, block, state.evidence)
    if state.wide is not None and len(state.wide.members) > MOST_WIDE:
        return _weighed(replace(state, wide=block, wide_logs=logs))
    return _joined(state, block, logs)


def _joined(state: State, block: Block, logs: Floats) -> State:
    """The belief with a block more: what was weighed keeps its proportions, so only the new sets are weighed."""
    top = float(logs.max())
    fresh = np.exp(logs - top)
    evidence = float(np.logaddexp(state.log_evidence, top + np.log(fresh.sum())))
    old, new = np.exp(state.log_evidence - evidence), np.exp(top - evidence)
    n = len(state.field.causes)
    causes = None if state._causes is None else state._causes * old + _sums(_columns(block.members), fresh * new, n)
    return replace(
        state,
        wide=block if state.wide is None else state.wide.with_more(block),
        wide_logs=np.concatenate([state.wide_logs, logs]),
        weights=state.weights * old,
        wide_weights=np.concatenate([state.wide_weights * old, fresh * new]),
        log_evidence=evidence,
        memo={},
        _causes=causes,
    )


def _key(row: Sequence[int]) -> tuple[int, ...]:
    return tuple(sorted(c for c in row if c >= 0))


def _offer(
    made: Field, fresh: dict[tuple[int, ...], None], known: set[tuple[int, ...]], members: tuple[int, ...]
) -> None:
    key = tuple(sorted(members))
    if 1 < len(key) <= DEEPEST and key not in known and made.held_at(key) < 0:
        fresh[key] = None


def rivalled(state: State) -> State:
    """The belief with the rivals of what is about to be named: the likeliest sets with one fault exchanged for another that explains the same
    readings. Without them a fault would win merely because its rival's sets were too unlikely to be listed."""
    made = state.field
    liked = liked_by_singles(state)
    known: set[tuple[int, ...]] = set() if state.wide is None else {_key(r) for r in state.wide.members.tolist()}
    fresh: dict[tuple[int, ...], None] = {}
    score = np.log(made.odds)
    fine = liked_by_none(state)
    seeds = [
        (block.one(row), _key(block.members[row].tolist()))
        for block, row, p in state.best_rows(RIVAL_SEEDS)
        if p >= 0.02
    ]
    shorter = [seed[:k] + seed[k + 1 :] for _, seed in seeds for k in range(len(seed))]
    if not shorter:
        return state
    less = made.remembered(padded(shorter))
    without = each_log(made, less, state.evidence)
    at = 0
    found: list[tuple[tuple[int, ...], int, _StandIns]] = []
    for alone, seed in seeds:
        full = each_log(made, alone, state.evidence)[:, 0]
        for k in range(len(seed)):
            left = without[:, at : at + 1]
            at += 1
            owed = (left[:, 0] < np.log(UNEXPLAINED)) & (full >= np.log(UNEXPLAINED))
            if owed.any():
                worth = score + np.minimum(0.0, liked - fine[:, None])[~owed].sum(axis=0)
                found.append((seed, k, _stand_ins(state, liked, owed, worth, seed, k)))
    beside = [(*one.rest, c) for _, _, one in found for c in one.tried]
    if beside:
        made.remembered(padded(beside))
    for seed, k, one in found:
        parts = {made.causes[c].part for c in seed if c != seed[k] and made.causes[c].part}
        for c in (*one.alone, *_fitting(made, one)):
            if c not in seed and made.causes[c].part not in parts:
                _offer(made, fresh, known, (*seed[:k], c, *seed[k + 1 :]))
    return _with_sets(state, list(fresh)[:WIDEST], few=True)


@dataclass(frozen=True, slots=True)
class _StandIns:
    """What may stand in for one fault of a set: ``alone`` those that explain its readings by themselves, ``tried`` those to be tried beside the ``rest``."""

    rest: tuple[int, ...]
    alone: tuple[int, ...]
    tried: tuple[int, ...]
    readings: tuple[Observation, ...]


def _stand_ins(
    state: State, liked: Floats, owed: NDArray[np.bool_], worth: Floats, seed: tuple[int, ...], k: int
) -> _StandIns:
    """Faults that may explain what ``seed[k]`` explains in its set, best first. Where that fault shows only beside the others of the set (a line of a dead chip
    that floats beyond a cut), what a rival does alone says nothing: those on the same nets are tried beside the others, too."""
    fits = np.flatnonzero((liked[owed] > np.log(EXPLAINS)).all(axis=0))
    alone = tuple(fits[np.argsort(-worth[fits], kind="stable")][:RIVALS].tolist())
    rest = (*seed[:k], *seed[k + 1 :])
    readings = tuple(one for one, due in zip(state.evidence, owed.tolist(), strict=True) if due)
    if not rest or (liked[owed, seed[k]] > np.log(EXPLAINS)).all():
        return _StandIns(rest, alone, (), readings)
    return _StandIns(rest, alone, tuple(_on_nets(state.field, readings, worth, rest)), readings)


def _fitting(made: Field, one: _StandIns) -> list[int]:
    """Those that explain the readings beside the rest of the set."""
    if not one.tried:
        return []
    beside = made.remembered(padded([(*one.rest, c) for c in one.tried]))
    logs = each_log(made, beside, one.readings)
    fits = (logs > np.log(EXPLAINS)).all(axis=0)
    return [c for c, fine in zip(one.tried, fits.tolist(), strict=True) if fine][:RIVALS]


def _on_nets(made: Field, readings: Sequence[Observation], worth: Floats, rest: tuple[int, ...]) -> list[int]:
    """The likeliest faults of the nets that readings were taken on: their copper, pins that hold them, bridges; none of the set's own."""
    nets = {one.net for one in readings if isinstance(one, (Look, Beep, Sink))}
    key = ("on nets", *sorted(nets))
    if key not in made.memo:
        made.memo[key] = [k for k, cause in enumerate(made.causes) if _touches(made, cause, nets)]
    mine: list[int] = [c for c in made.memo[key] if c not in rest]
    return sorted(mine, key=lambda c: (-worth[c], c))[:BESIDE]


def _touches(made: Field, cause: Cause, nets: set[str]) -> bool:
    if cause.key[0] == "short":
        short = made.behaviour.shorts[int(cause.key[2])]
        return short.net_a in nets or short.net_b in nets
    if cause.net:
        return cause.net in nets
    part = made.behaviour.circuit.by_ref.get(cause.part)
    pin = str(cause.key[1])
    return part is not None and any(t.net in nets and pin in (t.id, t.part) for t in part.terminals)


EXPLAINS = 0.3
"""A reading is explained by what makes it at least so likely."""
BESIDE = 64
"""So many faults are tried beside the others of a set."""
MISREADING = "a misreading"
"""The rival of a unit that rests on one reading alone: that reading is taken again (common practice, no source)."""


def liked_by_singles(state: State) -> Floats:
    """Log P(reading | one fault alone) for every reading and fault, (readings, causes); kept by reading."""
    made = state.field
    kept: dict[Observation, Floats] = made.memo.setdefault("liked", {})
    if len(kept) > MOST_KEPT:
        kept.clear()
    for one in state.evidence:
        if one not in kept:
            kept[one] = log_likelihood(made, made.singles(), one)
    return np.array([kept[one] for one in state.evidence]).reshape(len(state.evidence), len(made.causes))


def liked_by_none(state: State) -> Floats:
    """Log P(reading | nothing is wrong) for every reading, (readings,): a further fault that leaves a place as it was takes nothing from this."""
    made = state.field
    whole = made.remembered(padded([()]))
    return each_log(made, whole, state.evidence)[:, 0]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked before a unit is named: ``kind`` look, check, apart or sink, its places (net, node)."""

    kind: str
    spots: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a unit can be named. ``unit`` the one beyond ``table.named_above`` ("" none); ``rivals`` other units that the readings speak for about as
    much, so that only the priors are against them, or ``MISREADING``; ``asked`` the reading that settles it, None where none does."""

    unit: str
    p: float
    rivals: tuple[str, ...] = ()
    asked: Asked | None = None

    @property
    def stands(self) -> bool:
        """Named, and no reading would tell it from a rival."""
        return self.unit != "" and self.asked is None


def verdict(state: State) -> Verdict:
    """The unit that can be named now, and what still stands in its way."""
    if "verdict" not in state.memo:
        state.memo["verdict"] = _verdict(state)
    found: Verdict = state.memo["verdict"]
    return found


def _verdict(state: State) -> Verdict:
    made = state.field
    p = state.units()
    top = int(p.argmax())
    if p[top] < made.table.named_above:
        return Verdict("", float(p[top]))
    unit = made.units[top]
    for block, row, _ in state.best_rows(4):
        seed = _key(block.members[row].tolist())
        mine = [c for c in seed if made.unit_of[c] == top]
        if mine:
            rivals, spot = _rivals(state, block.one(row), seed, mine[0])
            asked = _look_at(made, spot) if spot >= 0 else None
            if asked is None and p[top] < made.table.sure_above:
                asked = _decisive(state, top)
                rivals = (MISREADING,) if asked is not None else rivals
            return Verdict(unit, float(p[top]), rivals, asked)
    return Verdict(unit, float(p[top]))


def _look_at(made: Field, spot: int) -> Asked:
    return Asked("look", ((made.spots[spot].net, made.spots[spot].node),))


def _decisive(state: State, unit: int) -> Asked | None:
    """The one reading, taken once so far, without which the unit would be less likely than ``table.leans_above``: it is taken again. None where none is."""
    made = state.field
    mine = np.append(made.unit_of == unit, False)
    blocks, weights, held = [], [], []
    for block, some in ((made.main, state.weights), (state.wide, state.wide_weights)):
        if block is not None and len(some):
            which = top_rows(some, DECIDING)
            blocks.append(_part_of(made, block, which))
            weights.append(some[which])
            held.append(mine[block.members[which]].any(axis=1))
    found, least = None, made.table.leans_above
    for rows in grouped(state.evidence).values():
        ways = [_again(made, one) for one in rows]
        once = [k for k, asked in enumerate(ways) if asked is not None and ways.count(asked) == 1]
        taken = [_without_each(made, block, rows, once) for block in blocks]
        for at, k in enumerate(once):
            asked = ways[k]
            with_it = without = 0.0
            for weight, own, logs in zip(weights, held, taken, strict=True):
                left = weight * np.exp(logs[at])
                with_it += float(left[own].sum())
                without += float(left[~own].sum())
            share = with_it / max(with_it + without, 1e-300)
            if share < least:
                found, least = asked, share
    return found


def _without_each(made: Field, block: Block, rows: Sequence[Observation], some: Sequence[int]) -> list[Floats]:
    """What taking each of ``some`` readings of a group out changes the log of the group by, (sets,) each."""
    if not isinstance(rows[0], Look):
        full = group_logs(made, block, rows)
        left = [[*rows[:k], *rows[k + 1 :]] for k in some]
        return [(group_logs(made, block, rest) if rest else 0.0) - full for rest in left]
    extra = _looks_extra(made, block, rows)
    found = []
    for k in some:
        rest = _looks_extra(made, block, [*rows[:k], *rows[k + 1 :]])
        change = -log_likelihood(made, block, rows[k])
        if rest is not None:
            change += rest
        found.append(change if extra is None else change - extra)
    return found


def _again(made: Field, one: Observation) -> Asked | None:
    """How a reading is taken again; None for one that is not (a start, a swap, a picture)."""
    if isinstance(one, Look) and (one.net, one.node) in made.spot_at:
        return Asked("look", ((one.net, one.node),))
    if isinstance(one, Beep):
        return Asked("check", tuple(sorted(((one.net, one.node_a), (one.net, one.node_b)))))
    if isinstance(one, Apart):
        return Asked("apart", tuple(sorted(((one.net_a, 0), (one.net_b, 0)))))
    return Asked("sink", ((one.net, 0),)) if isinstance(one, Sink) else None


def _part_of(made: Field, block: Block, which: NDArray[np.int64]) -> Block:
    """Some sets (ascending indices) of a block as a block of their own."""
    symbols = block.picked(which, len(made.spots)).T
    alone = Predicted.of_symbols(np.ascontiguousarray(symbols), block.screens_of(which))
    return Block(block.members[which], block.prior[which], (alone,))


def _rivals(state: State, alone: Block, seed: tuple[int, ...], mine: int) -> tuple[tuple[str, ...], int]:
    made = state.field
    liked = liked_by_singles(state)
    rest = tuple(c for c in seed if c != mine)
    less = made.remembered(padded([rest]))
    left = each_log(made, less, state.evidence)[:, 0]
    full = each_log(made, alone, state.evidence)[:, 0]
    owed = (left < np.log(UNEXPLAINED)) & (full >= np.log(UNEXPLAINED))
    if not owed.any():
        return (), -1
    if owed.sum() == 1:
        only = state.evidence[int(np.argmax(owed))]
        again = made.spot_at.get((only.net, only.node), -1) if isinstance(only, Look) else -1
        if again >= 0:
            return (MISREADING,), again
    near = np.minimum(0.0, liked - full[:, None])
    worth = np.where(owed[:, None], near, np.minimum(0.0, liked - liked_by_none(state)[:, None])).sum(axis=0)
    worth[made.unit_of == made.unit_of[mine]] = -np.inf
    worth[list(rest)] = -np.inf
    order = [int(c) for c in np.argsort(-(worth + 0.1 * np.log(made.odds)), kind="stable")[:RIVALS] if worth[c] > -4.0]
    if (liked[owed, mine] <= np.log(EXPLAINS)).any():
        readings = [one for one, due in zip(state.evidence, owed.tolist(), strict=True) if due]
        beside = [c for c in _on_nets(made, readings, np.log(made.odds), rest) if worth[c] > -np.inf]
        order = list(dict.fromkeys([*order, *beside]))
    if not order:
        return (), -1
    block = made.remembered(padded([(*rest, c) for c in order]))
    logs = evidence_logs(made, block, state.evidence)
    ours_log = float(evidence_logs(made, alone, state.evidence)[0])
    close = [k for k in range(len(order)) if logs[k] > ours_log - np.log(made.table.rival_factor)]
    if not close:
        return (), -1
    ours = alone.picked(np.zeros(1, np.int64), len(made.spots))[:, 0]
    theirs = block.picked(np.array(close, np.int64), len(made.spots))
    like = look_likelihoods(state, True)
    every = np.arange(len(made.spots))
    apart = sum(np.abs(like[every, ours] - like[every, theirs[:, k]]).sum(axis=1) for k in range(len(close)))
    spot = int(np.argmax(apart))
    rivals = tuple(dict.fromkeys(made.units[made.unit_of[order[k]]] for k in close))
    return rivals, spot if float(np.max(apart)) > 0.5 else -1


def _helpers(state: State) -> list[int]:
    """Single faults that would explain a reading the best set leaves open, likeliest first."""
    made = state.field
    liked = liked_by_singles(state)
    score = np.log(made.odds)
    found: dict[int, float] = {}
    for one in unexplained(state):
        like = liked[state.evidence.index(one)]
        for k in np.argsort(-(score + 4.0 * like), kind="stable")[:HELPERS].tolist():
            if like[k] > np.log(0.3):
                found[k] = max(found.get(k, -np.inf), float(score[k]))
    return sorted(found, key=lambda k: (-found[k], k))[: 2 * HELPERS]
