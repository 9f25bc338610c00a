"""A short found by beep stays in sight until it reads open; a patch wire's own check comes first, and nobody calls an idle beep its proof."""

from __future__ import annotations

import json
from typing import Any

import pytest
from tests.cli_runner import Run


@pytest.fixture
def run(plain_run: Run) -> Run:
    """The runner with case 1, its work area, and a map that agrees."""
    for words in (
        ("case", "new", "--board", "demo", "--title", "Machine"),
        ("area", "add", "1", "--part", "U1", "--json"),
        ("map", "fix", "1", "agreed"),
    ):
        assert plain_run(*words)[0] == 0
    return plain_run


def answer(run: Run, *words: str) -> dict[str, Any]:
    """A JSON answer."""
    return dict(json.loads(run(*words, "--json")[1]))


def pairs_apart(run: Run) -> set[frozenset[str]]:
    """The net pairs of the isolation checks that are left."""
    return {frozenset((c["net_a"], c["net_b"])) for c in answer(run, "round", "1")["round"]["isolation"]}


def test_a_short_found_by_beep_is_read_again_elsewhere_then_named_and_never_lost(run: Run) -> None:
    """U1 pins 8 and 9 of the demonstration board are D3 and D5 (its netlist). 55 %: 0.005 x 0.98 against 0.995 x 0.004, Bayes by hand."""
    nets = frozenset(("D3", "D5"))
    assert nets in pairs_apart(run)
    run("note", "1", "closed", "U1.8/joint-s", "U1.9/joint-s")
    step = answer(run, "next", "1")
    check = step["check"]
    assert step["kind"] == "retest" and {check["net_a"], check["net_b"]} == nets
    assert not {check["point_a"], check["point_b"]} & {"U1.8/joint-s", "U1.9/joint-s"}  # other points, another contact
    assert nets in pairs_apart(run)
    assert "may touch (55 %)" in run("round", "1")[1]
    run("note", "1", "closed", check["point_a"], check["point_b"])
    step = answer(run, "next", "1")
    assert step["kind"] == "short" and "short locate CASE --between" in step["words"]
    for words in (("round", "1"), ("case", "show", "1")):
        out = run(*words)[1]
        assert "Short: D3 and D5 touch" in out or "Short: D5 and D3 touch" in out, out
        assert "short locate 1 --between" in out
    assert nets in pairs_apart(run)
    assert answer(run, "round", "1")["proof"]["touching"]
    assert run("short", "locate", "1", "--between", "D3", "D5")[0] in (0, 1)


def test_an_open_reading_alone_makes_the_pair_done_and_clearing_a_short_does(run: Run) -> None:
    run("note", "1", "open", "U1.8/joint-s", "U1.9/joint-s")
    assert frozenset(("D3", "D5")) not in pairs_apart(run)
    assert answer(run, "round", "1")["proof"]["touching"] == []
    assert run("note", "1", "closed", "U1.8/leg", "U1.9/leg")[0] == 0
    assert frozenset(("D3", "D5")) in pairs_apart(run)
    for _ in range(2):  # odds 0.048 after open and closed, then 0.02 a piece
        run("note", "1", "open", "U1.8/joint-s", "U1.9/joint-s")
    assert frozenset(("D3", "D5")) not in pairs_apart(run)
    assert answer(run, "next", "1")["kind"] == "check"


def test_overload_before_a_patch_quarrels_with_nothing_after_it(run: Run) -> None:
    """Ohms at overload are an open reading: a wire fitted between its points since then makes both speak no more."""
    run("note", "1", "ohms", "U1.22/leg", "U3.8/leg", "OL")
    run("note", "1", "closed", "U1.22/leg", "U3.8/leg")
    assert answer(run, "round", "1")["proof"]["conflicts"]
    assert run("note", "1", "patch", "U1.22/joint-s", "U3.8/joint-s")[0] == 0
    proof = answer(run, "round", "1")["proof"]
    assert proof["conflicts"] == []
    assert [why for _, why in proof["expired"]] == [
        "a way between its points runs through a patch wire fitted since then"
    ]
    assert "read both closed and open" not in run("next", "1")[1]


def test_a_wire_beside_copper_that_may_be_whole_is_read_first_and_a_beep_is_not_called_its_proof(run: Run) -> None:
    assert run("note", "1", "patch", "U1.22/joint-s", "U3.8/joint-s")[0] == 0
    first = json.loads(run("wire", "prove", "1", "--json")[1])[0]
    assert first["purpose"] == "bridge"
    assert "two ways round" in first["reason"] and "only way" not in first["reason"]
    out = run("round", "1", "--all")[1]
    assert any("wire" in line and "two ways round" in line for line in out.splitlines())
    step = answer(run, "next", "1")
    assert {step["check"]["point_a"], step["check"]["point_b"]} == {first["point_a"], first["point_b"]}
    assert "two ways round" in step["reason"]
    run("note", "1", "closed", first["point_a"], first["point_b"])
    after = answer(run, "next", "1")["check"]
    assert after is None or {after["point_a"], after["point_b"]} != {first["point_a"], first["point_b"]}


def test_of_two_wires_side_by_side_neither_is_proven_by_a_beep_whichever_is_asked_for(run: Run) -> None:
    """Net A5 is cut (its one track between U5.5 and U1.35), then two wires join the two pins: of each, the other may be what beeps (two parallel
    conductors, by construction). A wire is asked for by the number that ``note`` printed."""
    numbers = []
    for words in (
        ("cut", "104.00,118.11/c"),
        ("open", "U5.5/joint-s", "U1.35/joint-s"),
        ("patch", "U5.5/joint-s", "U1.35/joint-s", "80mm"),
        ("patch", "U5.5/joint-s", "U1.35/joint-s", "90mm"),
    ):
        status, out, _ = run("note", "1", *words)
        assert status == 0
        numbers.append(out.split("Noted as ")[1].split(":")[0])
    cut, _, first, second = numbers
    for number, other in ((first, second), (second, first)):
        status, out, _ = run("wire", "prove", "1", "--entry", number)
        assert status == 0 and out.startswith(f"Wire no. {number},")
        assert out.count("Not proof of the wire") == 2 and f"Wire no. {other}," in out
        assert "Another patch wire joins U5.5/joint-s and U1.35/joint-s" in out and "The copper from" not in out
        bridge = json.loads(run("wire", "prove", "1", "--entry", number, "--json")[1])[0]
        assert bridge["purpose"] == "bridge" and bridge["proves"] is False
    status, _, err = run("wire", "prove", "1", "--entry", cut)
    assert status != 0 and "WIR-010" in err and f"no. {first}" in err
    assert run("note", "1", "undo", second)[0] == 0
    (alone,) = [one for one in json.loads(run("wire", "prove", "1", "--json")[1]) if one["purpose"] == "bridge"]
    assert alone["proves"] is True and "only way" in alone["reason"]
