"""Faults and what they do to a circuit, reckoned by hand for small circuits; the belief and the next step on the demonstration machine."""

from __future__ import annotations

import itertools
from time import process_time

import numpy as np
import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.afloat import shown_afloat
from coppermend.core.belief.suspects.explain import explanations
from coppermend.core.belief.suspects.field import masks_of, padded
from coppermend.core.belief.suspects.posterior import (
    Beep,
    Look,
    Start,
    _without_each,
    each_log,
    group_logs,
    initial,
    log_likelihood,
    observed,
    spot_likelihood,
    verdict,
)
from coppermend.core.belief.suspects.reasons import suspects
from coppermend.core.belief.suspects.table import FLOATING, HIGH, LOW, OUTCOMES, PULSING
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.examples import inverter_chain
from coppermend.core.circuit.planes import (
    SYMBOL_WORDS,
    Behaviour,
    Key,
    NetTree,
    ShortSpec,
    _Run,
    symbol_of_bits,
    whole_trees,
)
from coppermend.core.circuit.toychip import Toy
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_next import BenchNow, ranked_steps
from coppermend.practice import powered
from coppermend.practice.powered import Lies, PoweredPatient
from coppermend.services.powered import PoweredBoard
from coppermend.services.powered_practice import powered_patient, run_powered

ALL = np.full(1, 0xFFFFFFFFFFFFFFFF, np.uint64)


def words(b: Behaviour, net: str, *faults: Key, node: int = 0) -> str:
    place = b.simulate(dict.fromkeys(faults, ALL), 1).at(net, node)
    return SYMBOL_WORDS[symbol_of_bits([int(p[0]) & 1 for p in place])]


def test_gates_faults_by_hand() -> None:
    """A is pulled high; B = not A, C = not B. An open TTL input reads high (TTL data books), so with R1 open nothing changes behind A."""
    circuit = inverter_chain()
    b = Behaviour(circuit, whole_trees(circuit))
    assert [words(b, n) for n in "ABC"] == ["high", "low", "high"]
    assert [words(b, n, ("open", "R1")) for n in "ABC"] == ["floating", "low", "high"]
    assert [words(b, n, ("stuck1", "U1.2")) for n in "BC"] == ["high", "low"]
    assert [words(b, n, ("stuck0", "U1.1")) for n in "ABC"] == ["low", "high", "low"]
    assert [words(b, n, ("norail", "VCC")) for n in "BC"] == ["floating", "floating"]
    assert [words(b, n, ("float", "U1")) for n in "BC"] == ["floating", "floating"]


def clock_tree() -> tuple[Behaviour, dict[str, NetTree]]:
    """A gate oscillator of one inverter, a divider, and a latch that needs the clock: OSC1 -Y1- OSC2, U1 inverts, U2 counts."""
    gate = Toy("INV", "1 A input|2 Y output|7 GND ground|14 VCC power", {"Y": "!A"})
    count = Toy("CNT", "1 CK clock|2 Q output|3 /CL reset|7 GND ground|14 VCC power", needs={"Q": ("CK", "/CL")})
    supply = (("7", "", "GND"), ("14", "", "VCC"))
    rows = (
        PartInput("U1", "INV", (("1", "", "OSC1"), ("2", "", "OSC2"), *supply)),
        PartInput("U2", "CNT", (("1", "", "OSC2"), ("2", "", "Q"), ("3", "", "PU"), *supply)),
        PartInput("U3", "INV", (("1", "", "Q"), ("2", "", "NQ"), *supply)),
        PartInput("R1", "1k", (("1", "", "PU"), ("2", "", "VCC"))),
        PartInput("Y1", "4 MHz", (("1", "", "OSC1"), ("2", "", "OSC2"))),
        PartInput("J1", "", (("1", "", "VCC"), ("2", "", "GND"))),
    )
    circuit = build_circuit(rows, {"INV": gate, "CNT": count}.get)
    trees = whole_trees(circuit)
    trees["OSC2"] = NetTree("OSC2", 3, ((0, 1), (1, 2)), {"U1.2": 0, "Y1.2": 1, "U2.1": 2})
    return Behaviour(circuit, trees, (ShortSpec("Q", 0, "PU", 0),)), trees


def test_a_clock_tree_by_hand() -> None:
    b, _ = clock_tree()
    assert [words(b, n) for n in ("OSC1", "OSC2", "Q", "NQ", "PU")] == ["moving"] * 4 + ["high"]
    assert b.hertz["OSC2"] == 4e6
    assert words(b, "Q", ("open", "Y1")) == "steady"
    assert words(b, "Q", ("float", "U1")) == "steady"
    assert words(b, "Q", ("hz", "Y1")) == "moving, not as expected"
    assert (
        words(b, "OSC2", ("cut", "OSC2", 1), node=2) == "floating"
        and words(b, "OSC2", ("cut", "OSC2", 1), node=0) == "moving"
    )
    assert words(b, "Q", ("cut", "OSC2", 1)) == "steady"
    assert words(b, "OSC2", ("cut", "OSC2", 0), node=2) == "floating"


def test_a_bridge_pulls_the_quiet_net_along() -> None:
    """Q moves, PU is held high by 1 kΩ: a TTL output pulls the bridge low whenever it is low, so PU moves."""
    b, _ = clock_tree()
    assert words(b, "PU", ("short", "", 0)) == "moving, not as expected"


def test_two_buffers_back_to_back_do_not_keep_each_other_alive() -> None:
    buffer = Toy("BUF", "1 A input|2 Y tri-state|7 GND ground|14 VCC power", {"Y": "A"})
    supply = (("7", "", "GND"), ("14", "", "VCC"))
    rows = (
        PartInput("U1", "BUF", (("1", "", "A"), ("2", "", "B"), *supply)),
        PartInput("U2", "BUF", (("1", "", "B"), ("2", "", "A"), *supply)),
    )
    circuit = build_circuit(rows, {"BUF": buffer}.get)
    b = Behaviour(circuit, whole_trees(circuit))
    assert words(b, "A") == "high" == words(b, "B")  # nobody drives: open TTL inputs read high, nothing moves


@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


def test_many_at_once_is_one_at_a_time(board: PoweredBoard) -> None:
    """The bit planes of many sets against the same sets simulated alone."""
    field = board.field
    rng = np.random.default_rng(5)
    rows = np.sort(rng.choice(field.sets, 25, replace=False))
    together = field.main.picked(rows, len(field.spots))
    for k, row in enumerate(rows.tolist()):
        members = [int(c) for c in field.main.members[row] if c >= 0]
        patient = PoweredPatient(board.behaviour, [field.causes[c].key for c in members], 1, Lies())
        for s in rng.choice(len(field.spots), 150, replace=False).tolist():
            spot = field.spots[s]
            if not spot.rail:
                assert patient._symbol(spot.net, spot.node) == together[s, k], (members, spot)


def test_nets_that_no_fault_reaches_are_as_they_would_be_reckoned(board: PoweredBoard) -> None:
    """A simulation that takes over what no fault reaches, against one of every net, over every kind of fault that the board has."""
    field, behaviour = board.field, board.behaviour
    rng = np.random.default_rng(11)
    kinds: dict[str, list[int]] = {}
    for k, cause in enumerate(field.causes):
        kinds.setdefault(str(cause.key[0]), []).append(k)
    sets = [[int(rng.choice(rows))] for rows in kinds.values() for _ in range(4)]
    sets += [[int(rng.choice(kinds["short"])), int(rng.choice(len(field.causes)))] for _ in range(4)]
    behaviour.simulate({}, 1)
    for some in (*([one] for one in sets), sets):
        masks, words = masks_of(field.causes, padded(some))
        first = _Run(behaviour, {key: mask for key, mask in masks.items() if key[0] != "short"}, words, None)
        first.like = None
        whole = first.go(behaviour._order)
        if any(key[0] == "short" for key in masks):
            second = _Run(behaviour, masks, words, whole)
            second.like = None
            whole = second.go(behaviour._order)
        quick = behaviour.simulate(masks, words)
        for net, groups in whole.groups.items():
            assert quick.groups[net] == groups, (net, some)
            for node in range(len(groups)):
                assert np.array_equal(quick.seen(net, node), whole.seen(net, node)), (net, some)
        assert all(np.array_equal(quick.low[net], plane) for net, plane in whole.low.items())


def test_sets_that_are_listed_are_looked_up_as_they_were_predicted(board: PoweredBoard) -> None:
    """``remembered`` of listed and unlisted sets against the same sets predicted alone."""
    field = board.field
    rows = [tuple(int(c) for c in field.main.members[k]) for k in (0, 7, 9_000, field.sets - 1)]
    some = padded([*rows, (3, 900, 1800, 2700)])
    found, alone = field.remembered(some), field.predicted(some)
    every = np.arange(len(some))
    assert [field.held_at(sorted(c for c in row if c >= 0)) for row in rows] == [0, 7, 9_000, field.sets - 1]
    assert np.array_equal(found.picked(every, len(field.spots)), alone.picked(every, len(field.spots)))
    assert np.array_equal(found.screens(), alone.screens())


def test_probabilities_are_exact_over_the_sets(board: PoweredBoard) -> None:
    """P(unit) against the plain sum over all sets, likelihoods multiplied one by one."""
    field = board.field
    evidence = [Start(-1), look(board, "CPUCLK", "U1.6", FLOATING), look(board, "/RESET", "U1.26", HIGH)]
    state = observed(initial(field), evidence, widen=False)
    weight = np.exp(field.main.prior + sum(log_likelihood(field, field.main, one) for one in evidence))
    weight /= weight.sum()
    unit = field.units.index("part U1")
    holds = (np.isin(field.main.members, np.flatnonzero(field.unit_of == unit))).any(axis=1)
    assert state.units()[unit] == pytest.approx(float(weight[holds].sum()), abs=1e-9)


def look(board: PoweredBoard, net: str, pin: str, outcome: int, judged: bool = False, by: str = "probe") -> Look:
    return Look(net, board.behaviour.trees[net].taps[pin], outcome, judged, by=by)


def test_readings_weighed_at_once_are_weighed_one_by_one(board: PoweredBoard) -> None:
    """``each_log`` against ``log_likelihood``; what a group of looks says without one of them, against the group weighed anew."""
    field = board.field
    looks = [
        look(board, "A0", "U1.30", FLOATING),
        look(board, "A0", "U12.2", LOW, True),
        look(board, "A0", "U5.10", LOW),
    ]
    looks += [look(board, "VCC", "U1.11", HIGH), look(board, "/RESET", "U1.26", LOW, by="scope")]
    beep = Beep("A0", 0, board.behaviour.trees["A0"].taps["U1.30"], False)
    small = field.remembered(field.main.members[:400])
    logs = each_log(field, small, [*looks, beep, Start(-1)])
    for row, one in zip(logs, [*looks, beep, Start(-1)], strict=True):
        assert np.array_equal(row, log_likelihood(field, small, one))
    for k, change in enumerate(_without_each(field, small, looks[:3], [0, 1, 2])):
        anew = group_logs(field, small, [*looks[:k], *looks[k + 1 : 3]]) - group_logs(field, small, looks[:3])
        assert np.abs(change - anew).max() < 1e-9


def test_the_order_of_readings_changes_nothing(board: PoweredBoard) -> None:
    evidence = [
        Start(1),
        look(board, "CPUCLK", "U1.6", PULSING),
        look(board, "/RESET", "U1.26", LOW),
        look(board, "A0", "U1.30", FLOATING),
    ]
    answers = [
        observed(initial(board.field), order, widen=False).units()
        for order in itertools.islice(itertools.permutations(evidence), 0, 24, 5)
    ]
    assert all(np.abs(one - answers[0]).max() < 1e-9 for one in answers)


def test_a_chip_without_clock_is_not_blamed(board: PoweredBoard) -> None:
    """The processor's strobes rest and its clock pin floats: the clock's way is suspect, not the processor."""
    silent = [look(board, "/CMREQ", "U1.19", FLOATING), look(board, "/CRD", "U1.21", FLOATING)]
    field = board.field
    p = observed(initial(field), [Start(-1), *silent, look(board, "CPUCLK", "U1.6", FLOATING, True)]).units()
    clock = sum(p[k] for k, unit in enumerate(field.units) if unit.startswith("span CPUCLK"))
    assert clock > 10 * p[field.units.index("part U1")]
    sound = [
        look(board, "CPUCLK", "U1.6", PULSING, True),
        look(board, "/RESET", "U1.26", HIGH),
        look(board, "VCC", "U1.11", HIGH),
        look(board, "GND", "U1.29", LOW),
        look(board, "/WAIT", "U1.24", HIGH),
        look(board, "/BUSRQ", "U1.25", HIGH),
    ]
    right = observed(initial(field), [Start(-1), *silent, *sound]).units()
    assert field.units[int(right.argmax())] == "part U1" and right.max() > 0.5


@pytest.mark.parametrize("by", ["", "scope", "probe"])
def test_pulses_at_the_driver_and_none_at_the_listener_blame_the_copper_between(board: PoweredBoard, by: str) -> None:
    """A line cut before an NMOS input reads low to a scope or a meter (data sheets: it only leaks; 10 megohm to ground), floating to a logic probe: both name the
    copper between, first of all, and a chip that drives a line low is not taken for it."""
    field = board.field
    seen = FLOATING if by == "probe" else LOW
    evidence = [Start(2), look(board, "CPUCLK", "U19.8", PULSING, by=by), look(board, "CPUCLK", "U1.6", seen, by=by)]
    p = observed(initial(field), evidence).units()
    order = [field.units[k] for k in np.argsort(-p)]
    between = sum(float(p[k]) for k, unit in enumerate(field.units) if unit.startswith("span CPUCLK"))
    assert order[0].startswith("span CPUCLK") and order[1].startswith("span CPUCLK") and between > 0.2
    assert between > 5 * sum(float(p[field.units.index(f"part {part}")]) for part in ("U1", "U19", "U20"))


def test_what_an_open_line_shows_depends_on_family_and_instrument(board: PoweredBoard) -> None:
    """A bipolar input holds it between the thresholds of 0.8 and 2.0 V (TTL data books), so that no instrument with 10 megohm reads it low; without one
    a scope mostly does. The patient draws voltages of its own, once for the metal that hangs together."""
    tree = board.behaviour.trees["CPUCLK"]
    cut = [k for k, (a, b) in enumerate(tree.edges) if tree.taps["U1.6"] in (a, b)]
    nodes = {"free": ("CPUCLK", tree.taps["U1.6"], [("cut", "CPUCLK", k) for k in cut])}
    for one in board.field.spots:
        if one.pull == "bipolar" and one.healthy == 2 and not one.loose:
            keys = [("float", t.part) for t in board.behaviour.circuit.drivers(one.net)]
            nodes["bipolar"] = (one.net, one.node, keys)
    for pull, (net, node, keys) in nodes.items():
        said = [PoweredPatient(board.behaviour, keys, seed, Lies()).look(net, node, False) for seed in range(60)]
        share = [said.count(word) / 60 for word in ("low", "high", "pulsing", "floating")]
        assert np.abs(np.array(share) - shown_afloat(pull, "scope")).max() < 0.17, (pull, share)
        assert (share[0] > 0.7) if pull == "free" else (share[0] == 0.0 and share[3] > 0.7)
        twice = PoweredPatient(board.behaviour, keys, 5, Lies())
        assert twice.look(net, node, False) == twice.look(net, node, False)


def test_a_neighbours_pulses_are_judged_alike_by_patient_and_belief(
    board: PoweredBoard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pulses that a neighbour couples into a cut line have that line's frequency, so that they mostly judge as wrong, the same each time; the belief holds as
    many of them for right. So with those of a pin that the tip slipped to (the shares are assumptions, no source)."""
    monkeypatch.setattr(powered, "COUPLES", 1.0)
    field, tree = board.field, board.behaviour.trees["CPUCLK"]
    here = tree.taps["U1.6"]
    keys: list[Key] = [("cut", "CPUCLK", k) for k, edge in enumerate(tree.edges) if here in edge]
    patients = [PoweredPatient(board.behaviour, keys, seed, Lies()) for seed in range(60)]
    said = [(one.look("CPUCLK", here, True), one.look("CPUCLK", here, True)) for one in patients]
    assert all(first == second and first in ("pulsing", "wrong") for first, second in said)
    like = spot_likelihood(field, field.spot_at[("CPUCLK", here)], True, "scope")[4]
    share = float(like[2] / (like[2] + like[3]))
    assert share == pytest.approx(field.table.foreign_right, abs=0.05)
    assert [first for first, _ in said].count("pulsing") / 60 == pytest.approx(share, abs=0.15)
    monkeypatch.setattr(powered, "COUPLES", 0.0)
    slips = PoweredPatient(board.behaviour, keys, 1, Lies(level=1.0))
    slipped = [word for _ in range(300) if (word := slips.look("CPUCLK", here, True)) in ("pulsing", "wrong")]
    assert slipped.count("pulsing") / len(slipped) == pytest.approx(share, abs=0.13)


def test_a_beep_speaks_in_the_same_belief(board: PoweredBoard) -> None:
    """A continuity reading across the clock's span changes the powered suspects, and the other way round."""
    field = board.field
    state = observed(initial(field), [Start(-1), look(board, "CPUCLK", "U1.6", FLOATING, True)])
    k = max(
        (k for k, c in enumerate(field.causes) if c.key[0] == "cut" and c.key[1] == "CPUCLK"),
        key=lambda k: float(state.causes()[k]),
    )
    a, b = field.behaviour.trees["CPUCLK"].edges[int(field.causes[k].key[2])]
    closed = observed(state, [Beep("CPUCLK", a, b, True)])
    opened = observed(state, [Beep("CPUCLK", a, b, False)])
    assert closed.causes()[k] < 0.3 * state.causes()[k] < opened.causes()[k] and opened.causes()[k] > 0.85


def test_more_than_three_faults_are_explained(board: PoweredBoard) -> None:
    field = board.field
    keys: list[Key] = [("float", "U19"), ("float", "U37"), ("float", "U32"), ("float", "U9")]
    chosen = [next(k for k, c in enumerate(field.causes) if c.key == key) for key in keys]
    patient = PoweredPatient(board.behaviour, keys, 3, Lies())
    evidence = [
        Look(net, node, {"low": LOW, "high": HIGH, "pulsing": PULSING, "floating": FLOATING}[patient.look(net, node, False)])
        for net, pin in (("CPUCLK", "U19.8"), ("/RESET", "U37.4"), ("SYNC", "U32.6"), ("/ROM0", "U9.15"), ("DOTCLK", "U19.6"), ("/VSEL", "U9.14"), ("INK", "U32.3"))
        for node in (board.behaviour.trees[net].taps[pin],)
    ]  # fmt: skip
    evidence += [look(board, "VCC", pin, HIGH) for pin in ("U19.14", "U37.14", "U32.14", "U9.16", "U1.11")]
    evidence += [look(board, "GND", pin, LOW) for pin in ("U19.7", "U37.7", "U32.7", "U9.8")]
    state = observed(initial(field), evidence)
    begun = process_time()
    best = next(one for one in explanations(state) if one.left == 0)
    assert process_time() - begun < 1.0
    assert {field.causes[c].unit for c in best.causes} == {field.causes[c].unit for c in chosen}


def test_the_next_step_keeps_power_off_where_it_must(board: PoweredBoard) -> None:
    state = observed(initial(board.field), [Start(-1), look(board, "CPUCLK", "U1.6", FLOATING, True)])
    steps = ranked_steps(state, BenchNow(powered=False, may_power=False), CostTable())
    assert steps and {one.kind for one in steps} <= {"check", "apart"}


def test_reasons_say_what_speaks_for_and_against(board: PoweredBoard) -> None:
    state = observed(
        initial(board.field),
        [Start(-1), look(board, "CPUCLK", "U1.6", FLOATING, True), look(board, "CPUCLK", "U19.8", PULSING, True)],
    )
    first = suspects(state, 3)[0]
    assert first.unit.startswith("span CPUCLK") and any("floating" in one.words for one in first.pro) and first.clears
    assert verdict(state).unit == "" or verdict(state).unit.startswith("span CPUCLK")


@pytest.mark.parametrize(("seed", "kinds"), [(4, "any"), (9, "copper"), (3, "parts")])
def test_a_patient_is_solved_in_few_steps(board: PoweredBoard, seed: int, kinds: str) -> None:
    case = powered_patient(board, seed, 1, kinds, noise_off=True)
    row = run_powered(board, case)
    assert row["named_true"] and row["top3_true"] and row["steps"] <= 22
    again = run_powered(board, powered_patient(board, seed, 1, kinds, noise_off=True))
    assert [a["answers"] for a in again["acts"]] == [a["answers"] for a in row["acts"]]


def test_sets_are_padded() -> None:
    assert padded([(1,), (2, 3)]).tolist() == [[1, -1, -1], [2, 3, -1]]


def test_remembered_sets_predict_what_fresh_ones_do(board: PoweredBoard) -> None:
    """A set met before, met first, and met among others gives the same symbols, screens and weights as a fresh simulation."""
    field = board.field
    rng = np.random.default_rng(11)
    rows = padded(
        [tuple(int(c) for c in rng.choice(len(field.causes), n, replace=False)) for n in (1, 2, 3, 4, 5, 6) * 12], 6
    )
    field.remembered(rows[::2])
    again, fresh = field.remembered(rows), field.predicted(rows)
    every = np.arange(len(rows))
    assert np.array_equal(again.picked(every, len(field.spots)), fresh.picked(every, len(field.spots)))
    assert np.array_equal(again.screens(), fresh.screens()) and np.array_equal(again.prior, fresh.prior)
    assert [int(s) for s in again.one(7).picked(np.zeros(1, np.int64), len(field.spots))[:, 0]] == [
        int(s) for s in fresh.one(7).picked(np.zeros(1, np.int64), len(field.spots))[:, 0]
    ]
    assert all(np.array_equal(again.symbols(k), fresh.symbols(k)) for k in range(0, len(field.spots), 17))


def test_sets_that_join_later_weigh_as_if_weighed_at_once(board: PoweredBoard) -> None:
    """The belief after wider sets joined against one softmax over all the logs, and each cause against the plain sum."""
    state = initial(board.field)
    for seed in range(1, 9):
        made, state = powered_patient(board, seed, 3), initial(board.field)
        for _ in range(4):
            steps = ranked_steps(state, BenchNow(), CostTable(), 1)
            if not steps or state.wide is not None:
                break
            seen = [Look(n, k, OUTCOMES.index(made.patient.look(n, k, False))) for n, k in steps[0].spots]
            state = observed(state, seen)
        if state.wide is not None:
            break
    assert state.wide is not None
    logs = np.concatenate([state.logs, state.wide_logs])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    assert np.allclose(np.concatenate([state.weights, state.wide_weights]), weights, atol=1e-12)
    top = logs.max()
    assert state.log_evidence == pytest.approx(top + np.log(np.exp(logs - top).sum()), abs=1e-9)
    p = np.zeros(len(board.field.causes) + 1)
    for members, share in ((board.field.main.members, state.weights), (state.wide.members, state.wide_weights)):
        for column in members.T:
            np.add.at(p, column + 1, share)
    assert np.allclose(state.causes(), np.minimum(p[1:], 1.0), atol=5e-5)
