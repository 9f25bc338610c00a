"""The worked examples of the founding papers on diagnosis from first principles.

Sources: J. de Kleer & B. C. Williams, "Diagnosing multiple faults", Artificial Intelligence 32 (1987) 97-130: three multipliers and two adders,
A=3 B=2 C=2 D=3 E=3, seen F=10 and G=12; conflicts, diagnoses, posteriors, best probe. R. Reiter, "A theory of diagnosis from first principles",
Artificial Intelligence 32 (1987) 57-95: full adder, hitting sets. Posterior and gain were recomputed by brute force (shared check values, section 10).
"""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from coppermend.core.belief.suspects.hitting import hitting_sets
from coppermend.core.planning.suspects_next import information

PARTS = ("M1", "M2", "M3", "A1", "A2")
INPUTS = {"A": 3, "B": 2, "C": 2, "D": 3, "E": 3}
WIRES = {
    "M1": ("A", "C", "X"),
    "M2": ("B", "D", "Y"),
    "M3": ("C", "E", "Z"),
    "A1": ("X", "Y", "F"),
    "A2": ("Y", "Z", "G"),
}
POINTS = ("X", "Y", "Z", "F", "G")
P_FAIL, VALUES = 0.01, 16


def predicted(broken: frozenset[str], seen: dict[str, int]) -> dict[str, int] | None:
    """What sound parts make of the inputs and of what was seen, forwards and backwards; None when they contradict each other."""
    known = {**INPUTS, **seen}
    for _ in range(6):
        for part, (a, b, out) in WIRES.items():
            if part in broken:
                continue
            times = part.startswith("M")
            rules = [(out, (a, b), lambda x, y, t=times: x * y if t else x + y)]
            if not times:
                rules += [(b, (out, a), lambda o, x, t=times: o - x), (a, (out, b), lambda o, y, t=times: o - y)]
            for goal, sources, make in rules:
                if all(s in known for s in sources):
                    value = make(*(known[s] for s in sources))
                    if known.setdefault(goal, value) != value:
                        return None
    return known


def every_set() -> list[frozenset[str]]:
    return [frozenset(c) for n in range(6) for c in combinations(PARTS, n)]


def conflicts_of(seen: dict[str, int]) -> list[frozenset[int]]:
    """Minimal sets of parts that cannot all be sound."""
    bad = [frozenset(PARTS) - s for s in every_set() if predicted(s, seen) is None]
    return [frozenset(PARTS.index(p) for p in one) for one in bad if not any(other < one for other in bad)]


def posterior(seen_in_order: list[tuple[str, int]]) -> dict[frozenset[str], float]:
    weight = {}
    for s in every_set():
        w = P_FAIL ** len(s) * (1 - P_FAIL) ** (5 - len(s))
        seen: dict[str, int] = {}
        for point, value in seen_in_order:
            known = predicted(s, seen)
            if known is None:
                w = 0.0
                break
            w *= (1.0 if known[point] == value else 0.0) if point in known else 1.0 / VALUES
            seen[point] = value
        weight[s] = w
    total = sum(weight.values())
    return {s: w / total for s, w in weight.items()}


@pytest.mark.parametrize(
    ("seen", "conflicts", "diagnoses"),
    [
        ({"F": 10}, [{"A1", "M1", "M2"}], [{"A1"}, {"M1"}, {"M2"}]),
        (
            {"F": 10, "G": 12},
            [{"A1", "M1", "M2"}, {"A1", "A2", "M1", "M3"}],
            [{"A1"}, {"M1"}, {"A2", "M2"}, {"M2", "M3"}],
        ),
    ],
)
def test_polybox_conflicts_and_diagnoses(
    seen: dict[str, int], conflicts: list[set[str]], diagnoses: list[set[str]]
) -> None:
    found = conflicts_of(seen)
    assert {frozenset(PARTS[k] for k in one) for one in found} == {frozenset(one) for one in conflicts}
    sets = hitting_sets(found, dict.fromkeys(range(5), 1.0))
    assert {frozenset(PARTS[k] for k in one) for one in sets} == {frozenset(one) for one in diagnoses}


def test_polybox_posteriors() -> None:
    after_f = posterior([("F", 10)])
    assert sum(p > 0 for p in after_f.values()) == 28
    for part in ("A1", "M1", "M2"):  # paper: 0.323
        assert after_f[frozenset({part})] == pytest.approx(0.3234, abs=1e-4)
    after_both = posterior([("F", 10), ("G", 12)])
    assert sum(p > 0 for p in after_both.values()) == 27
    for part in ("A1", "M1"):
        assert after_both[frozenset({part})] == pytest.approx(0.4962, abs=1e-4)


def test_polybox_best_probe_is_x() -> None:
    """Our information formula on the paper's candidates: X with 0.716 nat, Y 0.0054, Z 0.0030."""
    seen = {"F": 10, "G": 12}
    weight = posterior(list(seen.items()))
    symbols = [*range(VALUES), None]
    mass = np.zeros((3, len(symbols)))
    for s, p in weight.items():
        known = predicted(s, seen) if p else None
        for k, point in enumerate("XYZ") if known is not None else ():
            mass[k, symbols.index(known[point]) if point in known else VALUES] += p
    like = np.concatenate([np.eye(VALUES), np.full((1, VALUES), 1.0 / VALUES)])
    bits = information(mass, np.broadcast_to(like, (3, *like.shape)))
    nats = bits * np.log(2)
    assert int(nats.argmax()) == 0
    assert nats == pytest.approx([0.716, 0.0054, 0.0030], abs=5e-4)


def test_full_adder() -> None:
    """Inputs 1, 0, 1; seen sum 1 and carry 0: conflicts {X1, X2} and {A2, O1, X1}; diagnoses {X1}, {X2, O1}, {X2, A2}."""
    parts = ("X1", "X2", "A1", "A2", "O1")
    logic = {
        "X1": ("a", "b", "p", "^"),
        "X2": ("p", "c", "sum", "^"),
        "A1": ("a", "b", "q", "&"),
        "A2": ("p", "c", "r", "&"),
        "O1": ("q", "r", "carry", "|"),
    }

    def possible(broken: set[str]) -> bool:
        seen = {"a": 1, "b": 0, "c": 1, "sum": 1, "carry": 0}
        for p, q, r in product((0, 1), repeat=3):
            wires = {**seen, "p": p, "q": q, "r": r}
            made = {"^": lambda x, y: x ^ y, "&": lambda x, y: x & y, "|": lambda x, y: x | y}
            if all(k in broken or made[op](wires[x], wires[y]) == wires[z] for k, (x, y, z, op) in logic.items()):
                return True
        return False

    bad = [
        frozenset(c)
        for n in range(1, 6)
        for c in combinations(range(5), n)
        if not possible(set(parts) - {parts[k] for k in c})
    ]
    least = [one for one in bad if not any(other < one for other in bad)]
    assert {frozenset(parts[k] for k in one) for one in least} == {
        frozenset({"X1", "X2"}),
        frozenset({"A2", "O1", "X1"}),
    }
    sets = hitting_sets(least, dict.fromkeys(range(5), 1.0))
    assert {frozenset(parts[k] for k in one) for one in sets} == {
        frozenset({"X1"}),
        frozenset({"X2", "O1"}),
        frozenset({"X2", "A2"}),
    }


def test_hitting_sets_of_reiters_family() -> None:
    family = [{2, 4, 5}, {1, 2, 3}, {1, 3, 5}, {2, 4, 6}, {2, 4}, {2, 3, 5}, {1, 6}]
    found = hitting_sets([frozenset(one) for one in family], dict.fromkeys(range(1, 7), 1.0))
    assert {frozenset(one) for one in found} == {
        frozenset(s) for s in ({1, 2}, {2, 3, 6}, {2, 5, 6}, {1, 3, 4}, {1, 4, 5}, {3, 4, 6})
    }
    assert len(found[0]) == 2
