"""What thermal pictures say in the belief over parts and copper: each verdict weighs every set of faults by what it would make of that part.

The likelihoods are assumptions, not observations: a chip without supply is cold nearly always; a dead one is cold, hot or like a good one; a chip that
fights another output or holds a pin is hot more often than a good one. A chip that only lacks its clock or reset is not blamed and not told apart: the
old ones draw nearly as much at rest. A part that is even speaks against a missing supply and, less, against its death.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from coppermend.core.belief.suspects.field import Field, Floats, Ints
from coppermend.core.belief.suspects.posterior import State
from coppermend.core.belief.suspects.reasons import SPEAKS, TOP, Reason, Suspect
from coppermend.core.thermal.expect import COLD, EVEN, HOT
from coppermend.services.powered import PoweredBoard

HEALTHY, FIGHTING, DEAD, UNPOWERED = range(4)
LIKELY = {
    COLD: (0.02, 0.02, 0.35, 0.95),
    HOT: (0.02, 0.20, 0.30, 0.005),
    EVEN: (0.96, 0.78, 0.35, 0.045),
}
"""P(verdict | healthy, fighting, dead, without supply). Assumptions; columns add up to 1."""
DEAD_KEYS = ("float", "low", "high")


@dataclass(frozen=True, slots=True)
class PartSeen:
    """What a picture said of a part."""

    part: str
    verdict: str
    words: str
    entry: str


@dataclass(frozen=True, slots=True)
class _Weight:
    """A seen part and the state that each cause puts it into, (causes + 1,); the last for no cause. Of several the worst counts."""

    seen: PartSeen
    state_of: Ints

    def logs(self, members: Ints) -> Floats:
        """Log P(verdict | set) for every set (n, size), -1 where fewer."""
        row = np.log(np.array(LIKELY[self.seen.verdict]))
        return np.asarray(row[self.state_of[members].max(axis=1)], dtype=np.float64)


@dataclass(slots=True)
class HeatedField(Field):
    """A field whose sets are weighed by what thermal pictures said, besides their own odds."""

    heat: tuple[_Weight, ...] = ()

    def log_prior(self, members: Ints) -> Floats:
        """Log weight of fault sets (n, size): their prior and the pictures."""
        made = Field.log_prior(self, members)
        for one in self.heat:
            made = made + one.logs(members)
        return made


def heated(made: PoweredBoard, seen: Iterable[PartSeen]) -> tuple[Field, tuple[PartSeen, ...], tuple[PartSeen, ...]]:
    """The field with the pictures' say, what was used of them, and what was not (no chip of the circuit, no verdict). Of one part the last picture counts."""
    last: dict[str, PartSeen] = {}
    other = []
    for one in seen:
        if one.verdict in LIKELY and made.circuit.by_ref.get(one.part) is not None and _has_supply(made, one.part):
            last.pop(one.part, None)
            last[one.part] = one
        else:
            other.append(one)
    if not last:
        return made.field, (), tuple(other)
    old = made.field
    weights = tuple(_Weight(one, _states(made, one.part)) for one in last.values())
    parts = {one.name: getattr(old, one.name) for one in fields(Field)}
    parts["memo"] = {k: v for k, v in old.memo.items() if k not in ("known wide",)}
    new = HeatedField(**parts, heat=weights)
    logs = old.main.prior.copy()
    for weight in weights:
        logs += weight.logs(old.main.members)
    new.main = type(old.main)(old.main.members, logs, old.main.chunks)
    return new, tuple(last.values()), tuple(other)


def _has_supply(made: PoweredBoard, part: str) -> bool:
    return bool(_supply_spots(made, part))


def _supply_spots(made: PoweredBoard, part: str) -> list[tuple[int, bool]]:
    """Spots at a chip's supply and ground pins: index, whether ground."""
    row = made.circuit.by_ref[part]
    if row.chip is None:
        return []
    found = []
    for one in row.terminals:
        rail = made.circuit.rails.get(one.net)
        place = made.node_of_pin(one.id) if rail is not None else None
        k = made.field.spot_at.get(place) if place is not None else None
        if rail is not None and k is not None:
            found.append((k, rail.ground))
    return found


def _states(made: PoweredBoard, part: str) -> Ints:
    """The state that each cause alone puts a chip into: without supply or ground, dead, fighting, healthy; (causes + 1,)."""
    field = made.field
    singles = field.singles()
    without = np.zeros(len(field.causes), dtype=bool)
    for spot, _ in _supply_spots(made, part):
        symbols = singles.symbols(spot)
        without |= (symbols == 4) & (field.spots[spot].healthy != 4)
    nets = {one.net for one in made.circuit.by_ref[part].terminals if one.net and one.net not in made.circuit.rails}
    shorts = made.behaviour.shorts
    dead, fight = [], []
    for k, one in enumerate(field.causes):
        if one.part == part and one.key[0] in DEAD_KEYS:
            dead.append(k)
        elif (one.part == part and one.key[0] in ("stuck0", "stuck1")) or (
            one.key[0] == "short" and {shorts[int(one.key[2])].net_a, shorts[int(one.key[2])].net_b} & nets
        ):
            fight.append(k)
    found = np.full(len(field.causes) + 1, HEALTHY, np.int32)
    found[fight] = FIGHTING
    found[dead] = DEAD
    found[np.flatnonzero(without)] = UNPOWERED
    return found


def with_heat_reasons(state: State, suspects: Sequence[Suspect]) -> tuple[Suspect, ...]:
    """The suspects with what the pictures say for and against each, by the likeliest sets."""
    made = state.field
    if not isinstance(made, HeatedField):
        return tuple(suspects)
    which = np.argpartition(-state.weights, TOP)[:TOP] if len(state.weights) > TOP else np.arange(len(state.weights))
    blocks = [(made.main.members[which], state.weights[which])]
    if state.wide is not None:
        blocks.append((state.wide.members, state.wide_weights))
    likely = [[np.exp(weight.logs(members)) for members, _ in blocks] for weight in made.heat]
    return tuple(_reasoned(made, blocks, likely, one) for one in suspects)


def _reasoned(
    made: HeatedField, blocks: Sequence[tuple[Ints, Floats]], likely: Sequence[Sequence[Floats]], one: Suspect
) -> Suspect:
    mine = np.flatnonzero(made.unit_of == made.units.index(one.unit)).astype(np.int32)
    holds = [np.isin(members, mine).any(axis=1) for members, _ in blocks]
    pro, con = list(one.pro), list(one.con)
    for weight, given in zip(made.heat, likely, strict=True):
        now_with = before_with = now_without = before_without = 0.0
        for (_, now), like, held in zip(blocks, given, holds, strict=True):
            before = now / like
            now_with += float(now[held].sum())
            before_with += float(before[held].sum())
            now_without += float(now[~held].sum())
            before_without += float(before[~held].sum())
        if before_with <= 0 or before_without <= 0 or now_without <= 0:
            continue
        factor = (now_with / before_with) / (now_without / before_without)
        reason = Reason(f"{weight.seen.part} {weight.seen.words}", factor, weight.seen.entry)
        if factor >= SPEAKS:
            pro.append(reason)
        elif factor <= 1.0 / SPEAKS:
            con.append(reason)
    pro.sort(key=lambda r: -r.factor)
    con.sort(key=lambda r: r.factor)
    return replace(one, pro=tuple(pro[:6]), con=tuple(con[:6]))
