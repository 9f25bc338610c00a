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
SURE = 0.9
"""How often a lost capacity shows as a reset let go too early."""
MISS = {RUNTS: 0.02, EARLY: 0.002, LATE: 0.002}
DEEP = 3
"""How many stages back from a reset its makers are looked for."""


def odd_causes(made: Field, net: str, node: int, odd: str) -> tuple[int, ...]:
    """The causes that make an oddity at a place likely, ascending.

    Runts: two that drive one net (a held pin, a bridge), a span of the net, a rail that is too low. Reset: the passive parts that make it, up to ``DEEP``
    stages back (what hands it on, pulls it or sets its time), spans of nets that no chip drives, and a rail that is too low. What holds a level (a dead
    chip, a held pin, a bridge) lets nothing go at any time.
    """
    key = ("odd", net, node, odd)
    if key not in made.memo:
        nets, parts = ({net}, set()) if odd == RUNTS else _makers(made, net)
        circuit = made.behaviour.circuit
        open_nets = {one for one in nets if odd == RUNTS or not circuit.drivers(one)}
        shorts = made.behaviour.shorts
        pins = {t.id for one in nets for t in made.behaviour.circuit.nets.get(one, ())}
        found = []
        for k, one in enumerate(made.causes):
            kind = one.key[0]
            if (
                (kind == "cut" and one.net in open_nets)
                or (kind == "lowrail")
                or (odd == RUNTS and kind in ("stuck0", "stuck1") and str(one.key[1]) in pins)
                or (
                    odd == RUNTS
                    and kind == "short"
                    and {shorts[int(one.key[2])].net_a, shorts[int(one.key[2])].net_b} & nets
                )
                or one.part in parts
            ):
                found.append(k)
        made.memo[key] = tuple(found)
    kept: tuple[int, ...] = made.memo[key]
    return kept


def odd_logs(made: Field, members: Ints, net: str, node: int, odd: str) -> Floats:
    """Log P(oddity | set) for every fault set (n, size)."""
    likely = odd_causes(made, net, node, odd)
    sure = [k for k in likely if odd == EARLY and _is_capacitor(made, made.causes[k].part)]
    mine, surely = (np.isin(members, np.array([*one, -2], np.int32)).any(axis=1) for one in (likely, sure))
    shares = np.where(surely, SURE, np.where(mine, HIT[odd], MISS[odd]))
    return np.asarray(np.log(shares), dtype=np.float64)


def _is_capacitor(made: Field, part: str) -> bool:
    row = made.behaviour.circuit.by_ref.get(part)
    return row is not None and row.role == "capacitor"


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
                if _is_capacitor(made, t.part):
                    parts.add(t.part)
                if t.kind in DRIVING and chip is not None:
                    names = set(chip.needs.get(t.name, ()))
                    more |= {x.net for x in circuit.by_ref[t.part].terminals if x.name in names and x.net}
        edge = {one for one in more if one not in nets and one not in circuit.rails}
        nets |= edge
    return nets, parts
