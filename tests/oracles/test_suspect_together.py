"""Readings that rest or lie together against Bayesian networks (pyAgrum): a net with one hidden level, places where a tip bites badly.

The networks hold one node for each hidden state and one for each reading; only the error rates are shared with the belief.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
import pyagrum as gum
import pytest
from tests.oracles.test_suspect_networks import small_field

from coppermend.core.belief.model import Basis
from coppermend.core.belief.suspects.afloat import shown_afloat
from coppermend.core.belief.suspects.field import Block, Predicted
from coppermend.core.belief.suspects.posterior import Beep, Look, evidence_logs, initial, look_likelihoods, observed
from coppermend.core.belief.suspects.table import FaultTable, level_likelihood
from coppermend.core.belief.suspects.together import Tone, false_open_now, patterns_logs, sink_logs, sink_next

FLOATS, STEADY = 4, 5
TABLE = FaultTable()


def node(net: gum.BayesNet, name: str, size: int, parents: dict[str, int], rule) -> None:  # type: ignore[no-untyped-def]
    net.add(gum.LabelizedVariable(name, "", size))
    for one in parents:
        net.addArc(one, name)
    for index in np.ndindex(*parents.values()):
        net.cpt(name)[dict(zip(parents, map(int, index), strict=True))] = rule(*index)


def chance(net: gum.BayesNet, seen: dict[str, int]) -> float:
    engine = gum.LazyPropagation(net)
    engine.setEvidence(seen)
    engine.makeInference()
    return float(engine.evidenceProbability())


def resting(looks: list[tuple[int, int]]) -> float:
    """P(looks) at one net, each (symbol of its place, outcome): where it rests, its one hidden level shows; where nothing drives it, the one way in which it
    looks then; elsewhere the place's own symbol."""
    e = TABLE.misread
    marginal = level_likelihood(TABLE, False, False)[STEADY][[0, 1, 2, 4]]
    hidden = [(x - e / 3) / (1 - 4 * e / 3) for x in marginal.tolist()]
    net = gum.BayesNet()
    node(net, "level", 4, {}, lambda: hidden)
    net.cpt("level").fillWith(hidden)
    node(net, "afloat", 4, {}, lambda: list(shown_afloat("free", "")))
    net.cpt("afloat").fillWith(list(shown_afloat("free", "")))
    for k, (symbol, outcome) in enumerate(looks):
        which = {0: 0, 1: 1, 2: 2, 4: 3}[outcome]
        own = float(level_likelihood(TABLE, False, False)[symbol, outcome])
        rule = (
            (lambda at, w=which: [e / 3, 1 - e / 3] if at != w else [1 - e, e])
            if symbol in (FLOATS, STEADY)
            else (lambda _, p=own: [p, 1 - p])
        )
        node(net, f"look{k}", 2, {"afloat" if symbol == FLOATS else "level": 4}, rule)
    return chance(net, {f"look{k}": 0 for k in range(len(looks))})


def test_looks_at_a_net_that_rests_equal_a_junction_tree() -> None:
    """Fifty draws of one to six looks at the two ends of one net, ends that rest, are held, move or float."""
    field = small_field()
    rng = np.random.default_rng(7)
    spots = [k for k, one in enumerate(field.spots) if one.net == "B"]
    for _ in range(50):
        symbols = {k: int(rng.choice([0, 1, 2, FLOATS, FLOATS, STEADY, STEADY, STEADY])) for k in spots}
        row = np.zeros((1, len(field.spots)), np.uint8)
        for k, symbol in symbols.items():
            row[0, k] = symbol
        block = Block(np.full((1, 3), -1, np.int32), np.zeros(1), (Predicted.of_symbols(row, np.zeros(1, np.uint8)),))
        some = [(int(rng.choice(spots)), int(rng.choice([0, 1, 2, 4]))) for _ in range(int(rng.integers(1, 7)))]
        got = evidence_logs(field, block, [Look("B", field.spots[k].node, o) for k, o in some])[0]
        assert exp(got) == pytest.approx(resting([(symbols[k], o) for k, o in some]), rel=1e-9)


def judged_afloat(outcomes: list[int]) -> float:
    """P(judged looks) at metal that nothing drives: its way of looking (low, high, a neighbour's pulses, floating), whether those pulses pass for the line's
    own, what each look reads, and how the pattern of what it reads as pulsing is judged."""
    e, good, bad, own = (TABLE.misread, TABLE.pattern_false_wrong, TABLE.pattern_false_right, TABLE.foreign_right)
    net = gum.BayesNet()
    for name, chances in (("way", list(shown_afloat("free", "scope"))), ("passes", [1 - own, own])):
        net.add(gum.LabelizedVariable(name, "", len(chances)))
        net.cpt(name).fillWith(chances)
    seen = {}
    for k, outcome in enumerate(outcomes):
        node(net, f"read{k}", 4, {"way": 4}, lambda way: [1 - e if at == way else e / 3 for at in range(4)])
        node(net, f"right{k}", 2, {"way": 4, "passes": 2},
            lambda way, passes: [1 - own, own] if way != 2 else [good, 1 - good] if passes else [1 - bad, bad])  # fmt: skip
        seen[f"read{k}"] = {0: 0, 1: 1, 2: 2, 3: 2, 4: 3}[outcome]
        if outcome in (2, 3):
            seen[f"right{k}"] = int(outcome == 2)
    return chance(net, seen)


def test_judged_looks_at_what_nothing_drives_equal_a_junction_tree() -> None:
    """Forty draws of one to five judged looks at two places of one metal; the neighbour's pulses are judged alike each time, but for misjudging."""
    field = small_field()
    made = replace(field, spots=tuple(replace(one, content=True) for one in field.spots), memo={})
    rng = np.random.default_rng(23)
    row = np.full((1, len(field.spots)), FLOATS, np.uint8)
    block = Block(np.full((1, 3), -1, np.int32), np.zeros(1), (Predicted.of_symbols(row, np.zeros(1, np.uint8)),))
    for _ in range(40):
        outcomes = rng.choice([0, 1, 2, 2, 3, 3, 4], size=int(rng.integers(1, 6))).tolist()
        looks = [Look("B", int(rng.integers(2)), o, True, by="scope") for o in outcomes]
        assert exp(evidence_logs(made, block, looks)[0]) == pytest.approx(judged_afloat(outcomes), rel=1e-9)
    state = observed(initial(made), [Look("B", 1, 3, True, by="scope")], widen=False)
    again = look_likelihoods(state, True)[field.spot_at[("B", 1)], FLOATS]
    assert again[3] == pytest.approx(judged_afloat([3, 3]) / judged_afloat([3]), rel=1e-9) and again[3] > 0.5


def test_the_next_look_at_a_net_that_rests_is_foretold_by_the_last() -> None:
    """P(high again | high) of the network, as the planner's gain takes it."""
    field = small_field()
    state = observed(initial(field), [Look("B", 0, 1)], widen=False)
    want = resting([(STEADY, 1), (STEADY, 1)]) / resting([(STEADY, 1)])
    here = field.spot_at[("B", 1)]
    assert look_likelihoods(state, False)[here, STEADY, 1] == pytest.approx(want, rel=1e-9) and want > 0.9
    assert look_likelihoods(initial(field), False)[here, STEADY, 1] == pytest.approx(resting([(STEADY, 1)]), rel=1e-9)


def beeped(basis: Basis, tones: list[Tone], held: list[bool]) -> float:
    """P(beeps): every place is bad with the basis's share, a bad one reads open with its rate."""
    share = sum(s * w for s, w in basis.contact_shares)
    net = gum.BayesNet()
    places = sorted({p for one in tones for p in (one.place_a, one.place_b)})
    for k in range(len(places)):
        net.add(gum.LabelizedVariable(f"bad{k}", "", 2))
        net.cpt(f"bad{k}").fillWith([1 - share, share])
    for r, (one, cut) in enumerate(zip(tones, held, strict=True)):
        conducts = cut if one.bridge else not cut

        def rule(a: int, b: int, conducts: bool = conducts, closed: bool = one.closed) -> list[float]:
            p = (
                (1 - basis.false_open) * (1 - basis.contact_false_open * a) * (1 - basis.contact_false_open * b)
                if conducts
                else basis.false_closed
            )
            return [p, 1 - p] if closed else [1 - p, p]

        node(net, f"r{r}", 2, {f"bad{places.index(one.place_a)}": 2, f"bad{places.index(one.place_b)}": 2}, rule)
    return chance(net, {f"r{r}": 0 for r in range(len(tones))})


def test_beeps_through_shared_places_equal_a_junction_tree() -> None:
    basis = Basis()
    rng = np.random.default_rng(11)
    for _ in range(40):
        count = int(rng.integers(1, 7))
        tones = []
        for _ in range(count):
            a, b = rng.choice(4, 2, replace=False).tolist()
            tones.append(Tone((), ("N", a), ("N", b), bool(rng.integers(2)), bool(rng.integers(2))))
        held = [bool(x) for x in rng.integers(2, size=count)]
        got = float(patterns_logs(basis, tones, np.array([held]))[0])
        assert exp(got) == pytest.approx(beeped(basis, tones, held), rel=1e-9)


def test_the_second_open_through_one_place_says_less() -> None:
    """P(open | copper whole) after an open through the same place, of the network; through two other places it is as at first."""
    basis = Basis()
    first, same, other = (Tone((), ("N", a), ("N", b), False) for a, b in ((0, 1), (0, 2), (2, 3)))
    once = false_open_now(basis, [], first)
    again = false_open_now(basis, [first], same)
    assert again == pytest.approx(
        beeped(basis, [first, same], [False, False]) / beeped(basis, [first], [False]), rel=1e-9
    )
    assert again > 2 * once and false_open_now(basis, [first], other) == pytest.approx(once, rel=1e-9)


def compared(holder: int, answers: list[int], pins: int) -> float:
    """P(comparisons of millivolts | which pin it is): the answer that the board leads to, right or one of the wrong ones for good, read wrongly now and then."""
    lasting = TABLE.sink_misread * TABLE.sink_lasting
    passing = (TABLE.sink_misread - lasting) / (1 - lasting - lasting / pins)
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("leads", "", pins + 1))
    net.cpt("leads").fillWith([1 - lasting if k == holder else lasting / pins for k in range(pins + 1)])
    for r in range(len(answers)):
        node(net, f"r{r}", pins + 1, {"leads": pins + 1},
            lambda at: [1 - passing if k == at else passing / pins for k in range(pins + 1)])  # fmt: skip
    return chance(net, {f"r{r}": one for r, one in enumerate(answers)})


def test_millivolts_compared_again_equal_a_junction_tree() -> None:
    """Thirty draws of one to five comparisons on nets of two to five pins; the first alone errs as ``sink_misread`` says."""
    rng = np.random.default_rng(31)
    for _ in range(30):
        pins = int(rng.integers(2, 6))
        answers = rng.integers(pins + 1, size=int(rng.integers(1, 6))).tolist()
        counts = [answers.count(k) for k in range(pins + 1)]
        want = [compared(k, answers, pins) for k in range(pins + 1)]
        assert np.exp(sink_logs(TABLE, counts)) == pytest.approx(want, rel=1e-9)
        more = [compared(k, [*answers, 0], pins) / compared(k, answers, pins) for k in range(pins + 1)]
        assert sink_next(TABLE, counts)[:, 0] == pytest.approx(more, rel=1e-9)
    assert compared(0, [0], 3) == pytest.approx(1 - TABLE.sink_misread, rel=1e-9)


def test_the_order_of_beeps_and_looks_changes_nothing() -> None:
    """Added one by one in any order, or all at once."""
    field = small_field()
    rows = [Beep("B", 0, 1, False), Look("B", 1, 4), Beep("B", 0, 1, True), Look("B", 1, 1), Look("C", 1, 0)]
    whole = observed(initial(field), rows, widen=False).units()
    rng = np.random.default_rng(3)
    for _ in range(5):
        state = initial(field)
        for k in rng.permutation(len(rows)):
            state = observed(state, [rows[k]], widen=False)
        assert np.abs(state.units() - whole).max() < 1e-12
