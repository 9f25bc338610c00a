"""A processor in free run and a diagnostic's steps: judged against a counter simulated here, weighed by Bayes' rule, refused in words.

Rates of address lines: a counter's bit k changes every 2^k steps, so it runs at 1 / 2^(k + 1) of the steps (arithmetic). Clocks of NOP: the makers' manuals, from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.posterior import Start, Witness, initial, observed
from coppermend.core.circuit.freerun import CLOCKS, REFRESHING, judge_free_run, line_hz
from coppermend.core.circuit.planes import Key
from coppermend.core.findings import Refusal
from coppermend.core.log.model import Entry
from coppermend.core.log.state import Note
from coppermend.formats.machinefile import read_machine
from coppermend.services.bringup import diagnostic_witnesses, free_run_witnesses, named_diagnostic, parse_lines
from coppermend.services.powered import PoweredBoard

CLOCK, PER = 4e6, 4


def counted(tied: tuple[int, ...] = (), held: int = -1, bits: int = 10) -> dict[int, float]:
    """Rising edges of each line while a counter runs through all states four times; ``tied`` lines show their AND, ``held`` one stays low."""
    states = np.arange(4 << bits)
    lines = {k: (states >> k) & 1 for k in range(bits)}
    if tied:
        both = np.bitwise_and.reduce([lines[k] for k in tied])
        lines |= dict.fromkeys(tied, both)
    if held >= 0:
        lines[held] = np.zeros_like(states)
    steps_per_s = CLOCK / PER
    return {
        k: float(np.count_nonzero(np.diff(row) > 0) + 1e-9) / len(states) * steps_per_s if row.any() else 0.0
        for k, row in lines.items()
    }


def test_a_healthy_counter_runs_right() -> None:
    run = judge_free_run(counted(), CLOCK, PER)
    assert {one.verdict for one in run.lines} == {"right"} and run.words == "" and run.odd == ()
    assert line_hz(1e6, 2, 0) == 250e3 and CLOCKS["Z80"] == 4 and CLOCKS["6502"] == 2


@pytest.mark.parametrize("pair", [(0, 1), (0, 5), (2, 3), (3, 7), (1, 9), (8, 9)])
def test_two_lines_that_touch_are_named(pair: tuple[int, int]) -> None:
    run = judge_free_run(counted(pair), CLOCK, PER)
    assert {(one.bit, one.other) for one in run.odd} == {pair, pair[::-1]}
    assert all(one.verdict == "shorted" for one in run.odd)


@pytest.mark.parametrize("bit", [0, 4, 9])
def test_a_held_line_stands_still_and_no_other(bit: int) -> None:
    run = judge_free_run(counted(held=bit), CLOCK, PER)
    assert [(one.bit, one.verdict) for one in run.odd] == [(bit, "still")]


def test_a_held_line_beside_two_that_touch() -> None:
    run = judge_free_run(counted((1, 6), held=4), CLOCK, PER)
    assert {(one.bit, one.verdict) for one in run.odd} == {(1, "shorted"), (6, "shorted"), (4, "still")}


def test_another_clock_is_said_and_is_no_fault() -> None:
    run = judge_free_run({k: hz / 2 for k, hz in counted().items()}, CLOCK, PER)
    assert run.odd == () and "0.5 times" in run.words
    two = judge_free_run({k: 2 * hz for k, hz in counted().items() if k < 2}, CLOCK, PER)
    assert two.odd == () and "2 times" in two.words, (
        "two lines off alike are another clock: lines that touch show one signal"
    )
    still = judge_free_run(dict.fromkeys(range(4), 0.0), CLOCK, PER)
    assert "does not run" in still.words and len(still.odd) == 4


def test_refresh_addresses_of_a_z80_are_not_judged() -> None:
    """Between two fetches a Z80 shows refresh addresses: from A7 on the raw rate says only that it moves (Zilog's manual, from memory)."""
    seen = counted() | {8: 123456.0}
    assert [one.bit for one in judge_free_run(seen, CLOCK, PER).odd] == [8]
    run = judge_free_run(seen, CLOCK, PER, REFRESHING["Z80"])
    assert run.odd == () and {one.verdict for one in run.lines if one.bit >= 7} == {"moves"}


@pytest.mark.parametrize(
    ("lines", "clock", "clocks"),
    [({0: 5e5}, 4e6, 4), ({0: 5e5, 1: -1.0}, 4e6, 4), ({0: 5e6, 1: 1.0}, 4e6, 4), ({0: 1.0, 40: 1.0}, 4e6, 4), ({0: 1.0, 1: 1.0}, 0.0, 4), ({0: 1.0, 1: 1.0}, 4e6, 0)],
)  # fmt: skip
def test_rates_that_cannot_be_are_refused(lines: dict[int, float], clock: float, clocks: float) -> None:
    with pytest.raises(Refusal) as err:
        judge_free_run(lines, clock, clocks)
    assert err.value.finding.code == "FRR-001" and err.value.finding.remedy


def test_typed_lines() -> None:
    assert parse_lines(["A0=500k", "A15=15.26", "ad3=0"]) == {0: 5e5, 15: 15.26, 3: 0.0}
    for words in (["A0"], ["B0=5k"], ["A0=fast"], ["A0=5k", "A0=6k"]):
        with pytest.raises(Refusal) as err:
            parse_lines(words)
        assert err.value.finding.code == "FRR-002"


# ---- evidence ----
@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


class _State:
    """A case's notes, which is all that the witnesses look at."""

    def __init__(self, kind: str) -> None:
        self.notes = (Note("e1", 5, kind, "", "", "", ""),)


def entry(kind: str, payload: dict[str, object]) -> dict[str, Entry]:
    return {"e1": Entry("e1", "c", "b", 1, 1, "", "", "", "", kind, 1, payload)}  # type: ignore[arg-type]


def test_a_held_line_in_free_run_names_what_holds_it(board: PoweredBoard) -> None:
    lines = [[k, hz] for k, hz in counted(held=3, bits=7).items()]
    rows = free_run_witnesses(
        _State("freerun"), board.circuit, entry("freerun", {"lines": lines, "clock_hz": CLOCK, "clocks": PER})
    )  # type: ignore[arg-type]
    assert [good for _, _, good in rows] == [False, True]
    state = observed(initial(board.field), [Start(-1), *(one for one, _, _ in rows)], widen=False)
    p, before = state.causes(), observed(initial(board.field), [Start(-1)]).causes()
    holders = [
        k
        for k, c in enumerate(board.field.causes)
        if "A3" in str(c.words) and c.kind in ("part", "short") and (c.part != "" or c.kind == "short")
    ]
    assert holders and p[holders].sum() > 10 * before[holders].sum()
    cut = [k for k, c in enumerate(board.field.causes) if c.kind == "span" and c.net == "A3"]
    assert p[cut].sum() < 2 * max(before[cut].sum(), 1e-4)
    other = [
        k for k, c in enumerate(board.field.causes) if c.key[0] == "short" and c.net == "A2" and "A3" not in c.words
    ]
    assert p[other].sum() < before[other].sum()


def test_touching_lines_in_free_run_name_the_bridge(board: PoweredBoard) -> None:
    pair = next(
        (int(s.net_a[1:]), int(s.net_b[1:]))
        for s in board.behaviour.shorts
        if s.net_a[0] == s.net_b[0] == "A"
        and s.net_a[1:].isdigit()
        and s.net_b[1:].isdigit()
        and max(int(s.net_a[1:]), int(s.net_b[1:])) < 7
    )
    lines = [[k, hz] for k, hz in counted(tuple(sorted(pair)), bits=7).items()]
    rows = free_run_witnesses(
        _State("freerun"), board.circuit, entry("freerun", {"lines": lines, "clock_hz": CLOCK, "clocks": PER})
    )  # type: ignore[arg-type]
    state = observed(initial(board.field), [Start(-1), *(one for one, _, _ in rows)])
    best = board.field.causes[int(np.argmax(state.causes()))]
    assert best.key[0] == "short" and {f"A{k}" for k in pair} == {
        board.behaviour.shorts[int(best.key[2])].net_a,
        board.behaviour.shorts[int(best.key[2])].net_b,
    }


def test_whole_and_held_are_told_from_pins_and_copper(board: PoweredBoard) -> None:
    """Bayes' rule on the odds of the named causes: times 20 where 0.05 is the chance otherwise."""
    start = observed(initial(board.field), [Start(-1)])
    of_a3 = {t.id for part in board.circuit.parts for t in part.terminals if t.net == "A3"}

    def on_a3(key: Key) -> bool:
        if key[0] == "short":
            short = board.behaviour.shorts[int(key[2])]
            return "A3" in (short.net_a, short.net_b)
        return str(key[1]) in of_a3

    whole = [k for k, c in enumerate(board.field.causes) if c.part == "U1" and "." not in str(c.key[1])]
    held = [k for k, c in enumerate(board.field.causes) if c.kind != "span" and on_a3(c.key)]
    for kind, name, which in (("whole", "U1", whole), ("held", "A3", held)):
        seen = observed(start, [Witness(((kind, name, 0.0),), math.log(0.05), "x")], widen=False)
        sets = np.isin(board.field.main.members, which).any(axis=1)
        before, after = float(start.weights[sets].sum()), float(seen.weights[sets].sum())
        assert which and after == pytest.approx(before / (before + 0.05 * (1 - before)), rel=1e-6), kind


def test_a_diagnostic_that_stops_names_what_its_step_needs(board: PoweredBoard) -> None:
    machine = bootstrap.machine_model("demo")
    rows = diagnostic_witnesses(
        _State("diagnostic"),
        machine,
        entry(
            "diagnostic",
            {"name": machine.diagnostics[0].name, "passed": 2},
        ),
    )  # type: ignore[arg-type]
    assert [good for _, _, good in rows] == [True, False] and "stopped at step 3" in rows[1][0].words
    state = observed(initial(board.field), [Start(-1), *(one for one, _, _ in rows)])
    before = observed(initial(board.field), [Start(-1)])
    names = list(board.field.units)

    def p(of: object, unit: str) -> float:
        return float(of.units()[names.index(unit)])  # type: ignore[attr-defined]

    assert all(p(state, f"part U{k}") > 2 * p(before, f"part U{k}") for k in range(50, 58))
    assert p(state, "part U26") < p(before, "part U26") and p(state, "part U1") < p(before, "part U1")
    whole = diagnostic_witnesses(
        _State("diagnostic"), machine, entry("diagnostic", {"name": machine.diagnostics[0].name, "passed": 5})
    )  # type: ignore[arg-type]
    assert [good for _, _, good in whole] == [True]


def test_a_machine_file_with_a_diagnostic() -> None:
    text = b'[[diagnostic]]\nname = "test"\n[[diagnostic.step]]\nwords = "ticks"\nparts = ["U1"]\n[[diagnostic.step]]\nwords = "bars"\nnets = ["D0"]\n'
    found = read_machine(text).diagnostics
    assert [(s.number, s.words, s.parts, s.nets) for s in found[0].steps] == [
        (1, "ticks", ("U1",), ()),
        (2, "bars", (), ("D0",)),
    ]
    for bad in (
        b"[[diagnostic]]\nname = 'x'",
        b"[[diagnostic]]\n[[diagnostic.step]]\nwords='a'\nparts=['U1']",
        b"[[diagnostic]]\nname='x'\n[[diagnostic.step]]\nwords='a'",
    ):
        with pytest.raises(Refusal) as err:
            read_machine(bad)
        assert err.value.finding.code == "MAC-002"
    with pytest.raises(Refusal) as err:
        named_diagnostic(bootstrap.machine_model("demo"), "nothing of the kind")
    assert err.value.finding.code == "DIA-001"
