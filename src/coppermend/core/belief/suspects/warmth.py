"""What a thermal picture says of a part, as evidence over fault sets: each verdict weighs every set by what its faults would make of that part.

The likelihoods are assumptions, not observations: a chip without supply is cold nearly always; a dead one is cold, hot or like a good one; a chip that
fights another output or holds a pin is hot more often than a good one. A chip that only lacks its clock or reset is not blamed and not told apart: the
old ones draw nearly as much at rest. A part that is even speaks against a missing supply and, less, against its death.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.suspects.field import Field, Floats, Ints

HEALTHY, FIGHTING, DEAD, UNPOWERED = range(4)
VERDICTS = ("cold", "hot", "even")
LIKELY = {
    "cold": (0.02, 0.02, 0.35, 0.95),
    "hot": (0.02, 0.20, 0.30, 0.005),
    "even": (0.96, 0.78, 0.35, 0.045),
}
"""P(verdict | healthy, fighting, dead, without supply). Assumptions; columns add up to 1."""
DEAD_KEYS = ("float", "low", "high")


def likelihoods() -> Floats:
    """P(verdict | state of the part), (4, 3): rows healthy, fighting, dead, without supply; columns as ``VERDICTS``.

    >>> [round(float(x), 12) for x in likelihoods().sum(axis=1)]
    [1.0, 1.0, 1.0, 1.0]
    """
    return np.array([LIKELY[one] for one in VERDICTS], dtype=np.float64).T


def warms(made: Field, part: str) -> bool:
    """Whether a picture of this part tells anything: a chip of the circuit with supply pins that are places of the belief."""
    return bool(_supply_spots(made, part))


def state_of_causes(made: Field, part: str) -> Ints:
    """The state that each cause alone puts a chip into: without supply or ground, dead, fighting, healthy; (causes + 1,), the last for no cause."""
    kept: dict[Any, Ints] = made.memo.setdefault("warmth", {})
    if part not in kept:
        kept[part] = _states(made, part)
    return kept[part]


def states_under(made: Field, members: Ints, part: str) -> Ints:
    """The state of a part under every fault set (n, size), -1 where fewer; of several causes the worst counts."""
    return np.asarray(state_of_causes(made, part)[members].max(axis=1), dtype=np.int32)


def warmth_logs(made: Field, members: Ints, part: str, verdict: str) -> Floats:
    """Log P(verdict | set) for every fault set; 0 where the picture tells nothing of the part."""
    if verdict not in LIKELY or not warms(made, part):
        return np.zeros(len(members))
    row = np.log(np.array(LIKELY[verdict]))
    return np.asarray(row[states_under(made, members, part)], dtype=np.float64)


def supply_places(made: Field, part: str) -> tuple[tuple[str, int], ...]:
    """The (net, node) of a chip's supply and ground pins."""
    return tuple((made.spots[k].net, made.spots[k].node) for k in _supply_spots(made, part))


def _supply_spots(made: Field, part: str) -> tuple[int, ...]:
    """Spots at a chip's supply and ground pins."""
    kept: dict[str, tuple[int, ...]] = made.memo.setdefault("supply spots", {})
    if part not in kept:
        circuit, trees = made.behaviour.circuit, made.behaviour.trees
        row = circuit.by_ref.get(part)
        found = []
        for one in row.terminals if row is not None and row.chip is not None else ():
            node = trees[one.net].taps.get(one.id) if one.net in circuit.rails and one.net in trees else None
            k = made.spot_at.get((one.net, node)) if node is not None else None
            if k is not None:
                found.append(k)
        kept[part] = tuple(found)
    return kept[part]


def _states(made: Field, part: str) -> Ints:
    singles = made.singles()
    without: NDArray[np.bool_] = np.zeros(len(made.causes), dtype=bool)
    for spot in _supply_spots(made, part):
        without |= (singles.symbols(spot) == 4) & (made.spots[spot].healthy != 4)
    circuit, shorts = made.behaviour.circuit, made.behaviour.shorts
    nets = {one.net for one in circuit.by_ref[part].terminals if one.net and one.net not in circuit.rails}
    dead, fight = [], []
    for k, one in enumerate(made.causes):
        if one.part == part and one.key[0] in DEAD_KEYS:
            dead.append(k)
        elif (one.part == part and one.key[0] in ("stuck0", "stuck1")) or (
            one.key[0] == "short" and {shorts[int(one.key[2])].net_a, shorts[int(one.key[2])].net_b} & nets
        ):
            fight.append(k)
    found = np.full(len(made.causes) + 1, HEALTHY, np.int32)
    found[fight] = FIGHTING
    found[dead] = DEAD
    found[np.flatnonzero(without)] = UNPOWERED
    return found
