"""What a moving signal's oddity says: runts and glitches, a reset let go too early or too late, as evidence over fault sets.

None of them names a fault by itself. Runts come where two drivers meet, where a joint hardly makes contact or where the supply sags; a reset at the wrong
time comes from what makes the reset. So each lists the faults that make it likely; under all others it is a rarity. The shares are assumptions
(common practice, no source): ``HIT`` how often such a fault shows so, ``MISS`` how often a good net does. Ringing tells no fault from another: it says
that the edge arrives, and is taken as a signal that moves.
"""

from __future__ import annotations

import numpy as np

from coppermend.core.belief.suspects.field import Field, Floats, Ints
from coppermend.core.circuit.model import DRIVING

RUNTS, EARLY, LATE = "runts", "early", "late"
ODDITIES = (RUNTS, EARLY, LATE)
HIT = {RUNTS: 0.3, EARLY: 0.3, LATE: 0.3}
MISS = {RUNTS: 0.02, EARLY: 0.01, LATE: 0.01}
DEEP = 3
"""How many stages back from a reset its makers are looked for."""


def odd_causes(made: Field, net: str, node: int, odd: str) -> tuple[int, ...]:
    """The causes that make an oddity at a place likely, ascending.

    Runts: two that drive one net (a held pin, a bridge), a span of the net, a rail that is too low. Reset: whatever makes the net, up to ``DEEP`` stages
    back (parts that drive it, hand it on or pull it, spans on the way), and a rail that is too low.
    """
    key = ("odd", net, node, odd)
    if key not in made.memo:
        nets, parts = ({net}, set()) if odd == RUNTS else _makers(made, net)
        shorts = made.behaviour.shorts
        pins = {t.id for one in nets for t in made.behaviour.circuit.nets.get(one, ())}
        found = []
        for k, one in enumerate(made.causes):
            kind = one.key[0]
            if (
                (kind == "cut" and one.net in nets)
                or (kind == "lowrail")
                or (kind in ("stuck0", "stuck1") and str(one.key[1]) in pins)
                or (kind == "short" and {shorts[int(one.key[2])].net_a, shorts[int(one.key[2])].net_b} & nets)
                or (one.part in parts and kind not in ("stuck0", "stuck1"))
            ):
                found.append(k)
        made.memo[key] = tuple(found)
    kept: tuple[int, ...] = made.memo[key]
    return kept


def odd_logs(made: Field, members: Ints, net: str, node: int, odd: str) -> Floats:
    """Log P(oddity | set) for every fault set (n, size)."""
    mine = np.isin(members, np.array([*odd_causes(made, net, node, odd), -2], np.int32)).any(axis=1)
    return np.asarray(np.where(mine, np.log(HIT[odd]), np.log(MISS[odd])), dtype=np.float64)


def _makers(made: Field, net: str) -> tuple[set[str], set[str]]:
    """The nets and the parts that make a reset: the net's drivers, links and pulls, and what these are made of; rails not."""
    circuit = made.behaviour.circuit
    nets, parts, edge = {net}, set(), {net}
    for _ in range(DEEP):
        more: set[str] = set()
        for link in circuit.links:
            if link.target.net in edge:
                parts.add(link.part)
                more.add(link.source.net)
        for pull in circuit.pulls:
            if pull.terminal.net in edge:
                parts.add(pull.terminal.part)
        for one in edge:
            for t in circuit.nets.get(one, ()):
                chip = circuit.by_ref[t.part].chip
                if t.kind in DRIVING and chip is not None:
                    parts.add(t.part)
                    names = set(chip.needs.get(t.name, ()))
                    more |= {x.net for x in circuit.by_ref[t.part].terminals if x.name in names and x.net}
        edge = {one for one in more if one not in nets and one not in circuit.rails}
        nets |= edge
    return nets, parts
