"""Suspects of small circuits against junction trees (pyAgrum): four inverters in a row, 16 faults, up to three at a time, random readings.

The network is written from the truth table of an inverter and the rule that an open TTL input reads high (TTL data books), not from the simulator; only
the error rates of readings are shared.
"""

from __future__ import annotations

from itertools import combinations
from math import prod

import numpy as np
import pyagrum as gum

from coppermend.core.belief.suspects.afloat import shown_afloat
from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.field import Field, Spot, build_field
from coppermend.core.belief.suspects.posterior import Look, initial, observed
from coppermend.core.belief.suspects.table import OUTCOMES, FaultTable, level_likelihood
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.planes import Behaviour, NetTree
from coppermend.core.circuit.toychip import Toy

NETS = "ABCDE"
STATES = ("low", "high", "floating")
SYMBOLS = {"low": 0, "high": 1, "floating": 4}
MODES = ("float", "low", "high")
ODDS = {"R1": 0.02, "float": 0.004, "low": 0.0035, "high": 0.0025, "B": 0.01, "C": 0.03, "D": 0.006}

ALL = ["R1", *[m for _ in range(4) for m in MODES], *"BCD"]
SHARE = FaultTable().unlike_table
SMOOTH = {name: (1.0 - SHARE) * ODDS[name] + SHARE * sum(ODDS[n] for n in ALL) / len(ALL) for name in ODDS}
"""With the chance that a fault is one the priors know nothing of: any of the 16 alike."""


def small_field() -> Field:
    """R1 holds A high; U1 to U4 invert on to B, C, D, E; the copper of B, C and D can be broken between driver and listener."""
    gate = Toy("INV", "1 A input|2 Y output|7 GND ground|14 VCC power", {"Y": "!A"})
    supply = (("7", "", "GND"), ("14", "", "VCC"))
    chips = [PartInput(f"U{k + 1}", "INV", (("1", "", NETS[k]), ("2", "", NETS[k + 1]), *supply)) for k in range(4)]
    rows = (
        *chips,
        PartInput("R1", "4k7", (("1", "", "A"), ("2", "", "VCC"))),
        PartInput("J1", "", (("1", "", "VCC"), ("2", "", "GND"))),
    )
    trees = {net: NetTree(net, 2, ((0, 1),), {f"U{k + 1}.2": 0, f"U{k + 2}.1": 1}) for k, net in enumerate("BCD")}
    behaviour = Behaviour(build_circuit(rows, {"INV": gate}.get), trees)
    causes = [Cause(("open", "R1"), "part R1", "part", _p("R1"), "R1 open", "R1", "A")]
    for k in range(1, 5):
        causes += [Cause((m, f"U{k}"), f"part U{k}", "part", _p(m), f"U{k} {m}", f"U{k}") for m in MODES]
    causes += [Cause(("cut", net, 0), f"span {net} 0", "span", _p(net), f"{net} open", "", net) for net in "BCD"]
    spots = [Spot(net, node, False, False, False, False, False, NETS.index(net) % 2 ^ 1) for net, node in places()]
    return build_field(behaviour, causes, FaultTable(), spots)


def _p(name: str) -> float:
    return ODDS[name] / (1.0 + ODDS[name])


def places() -> list[tuple[str, int]]:
    return [("A", 0), ("B", 0), ("B", 1), ("C", 0), ("C", 1), ("D", 0), ("D", 1), ("E", 0)]


def rows_of(child: int, size: int) -> list[float]:
    return [float(k == child) for k in range(size)]


class Network:
    """The same circuit as a Bayesian network."""

    def __init__(self, gum: object) -> None:
        self.gum, self.net, self.faults = gum, gum.BayesNet(), []  # type: ignore[attr-defined]
        self.root("R1", [SMOOTH["R1"]])
        for k in range(1, 5):
            self.root(f"U{k}", [SMOOTH[m] for m in MODES])
        for name in "BCD":
            self.root(f"cut{name}", [SMOOTH[name]])
        self.node("A0", 3, {"R1": 2}, lambda r1: 2 if r1 else 1)
        before = "A0"
        for k in range(1, 5):
            here = f"{NETS[k]}0"
            self.node(here, 3, {before: 3, f"U{k}": 4}, lambda seen, dead: inverted(seen, dead))
            if NETS[k] in "BCD":
                self.node(f"{NETS[k]}1", 3, {here: 3, f"cut{NETS[k]}": 2}, lambda level, cut: 2 if cut else level)
                here = f"{NETS[k]}1"
            before = here
        number = "n0"
        self.node(number, 5, {"R1": 2}, lambda r1: r1)
        for k, fault in enumerate(self.faults[1:], 1):
            size = 4 if fault.startswith("U") else 2
            self.node(f"n{k}", 5, {number: 5, fault: size}, lambda n, x: min(4, n + (x > 0)))
            number = f"n{k}"
        self.count = number

    def root(self, name: str, odds: list[float]) -> None:
        self.faults.append(name)
        self.net.add(self.gum.LabelizedVariable(name, "", 1 + len(odds)))  # type: ignore[attr-defined]
        total = 1.0 + sum(odds)
        self.net.cpt(name).fillWith([1.0 / total, *(o / total for o in odds)])

    def node(self, name: str, size: int, parents: dict[str, int], rule) -> None:  # type: ignore[no-untyped-def]
        self.net.add(self.gum.LabelizedVariable(name, "", size))  # type: ignore[attr-defined]
        for one in parents:
            self.net.addArc(one, name)
        sizes = list(parents.values())
        for index in np.ndindex(*sizes):
            self.net.cpt(name)[dict(zip(parents, map(int, index), strict=True))] = rows_of(rule(*index), size)

    def posterior(self, looks: list[tuple[str, int, int]], weights: list[float]) -> dict[str, float]:
        """P(a unit is faulty). ``looks`` (net, node, outcome); ``weights`` of no, one, ... faults."""
        net = self.gum.BayesNet(self.net)  # type: ignore[attr-defined]
        like = level_likelihood(FaultTable(), False, False)[[SYMBOLS[s] for s in STATES]]
        seen: dict[str, object] = {}
        for k, (name, node, outcome) in enumerate(looks):
            net.add(self.gum.LabelizedVariable(f"look{k}", "", 2))  # type: ignore[attr-defined]
            net.addArc(f"{name}{node}", f"look{k}")
            if (way := f"afloat{name}") not in net.names():
                net.add(self.gum.LabelizedVariable(way, "", 4))  # type: ignore[attr-defined]
                net.cpt(way).fillWith(list(shown_afloat("free", "")))
            net.addArc(way, f"look{k}")
            for level, at in np.ndindex(3, 4):
                e = FaultTable().misread
                read = 1.0 - e if at == {0: 0, 1: 1, 2: 2, 4: 3}[outcome] else e / 3.0
                p = read if level == 2 else float(like[level, outcome])
                net.cpt(f"look{k}")[{f"{name}{node}": level, way: at}] = [1.0 - p, p]
            seen[f"look{k}"] = 1
        engine = self.gum.LazyPropagation(net)  # type: ignore[attr-defined]
        engine.setEvidence({**seen, self.count: weights})
        engine.makeInference()
        return {name: 1.0 - float(engine.posterior(name)[0]) for name in self.faults}


def inverted(seen: int, dead: int) -> int:
    """What an inverter's output does: ``seen`` low, high, floating (reads high); ``dead`` 0 sound, 1 open, 2 low, 3 high."""
    return {0: 1 if seen == 0 else 0, 1: 2, 2: 0, 3: 1}[dead]


def set_weights(table: FaultTable) -> list[float]:
    """The belief's weights of 0 to 4 faults: its numbers, each over the sum of the odds of all sets of that size, reckoned plainly."""
    odds = [SMOOTH[name] for name in ALL]
    sums = [sum(prod(c) for c in combinations(odds, k)) for k in (1, 2, 3)]
    made = [0.0, *(n / s for n, s in zip(table.number, sums, strict=True)), 0.0]
    return [w / max(made) for w in made]


def test_a_hundred_small_cases_equal_a_junction_tree() -> None:
    field, network = small_field(), Network(gum)
    assert field.sets > 500
    unit = {**{f"part {n}": n for n in ("R1", "U1", "U2", "U3", "U4")}, **{f"span {n} 0": f"cut{n}" for n in "BCD"}}
    rng = np.random.default_rng(1987)
    weights = set_weights(field.table)
    worst, moved = 0.0, 0.0
    for _ in range(100):
        looks = [
            (*places()[int(rng.integers(8))], int(rng.choice([0, 1, 2, 4]))) for _ in range(int(rng.integers(0, 7)))
        ]
        state = observed(initial(field), [Look(n, k, o) for n, k, o in looks], widen=False)
        got = dict(zip(field.units, state.units().tolist(), strict=True))
        want = network.posterior(looks, weights)
        worst = max(worst, *(abs(got[u] - want[n]) for u, n in unit.items()))
        moved = max(moved, *(abs(got[u] - 0.5) for u in unit))
    assert len(OUTCOMES) == 5 and moved > 0.4
    assert worst <= 1e-7, worst
