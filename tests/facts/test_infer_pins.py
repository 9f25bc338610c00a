"""Pins of chips without a data sheet: inferred with the chip's own entry hidden, compared with that entry; readings of boards that work again."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from coppermend.bootstrap import device_book, open_board, workshop
from coppermend.core.circuit.build import build_circuit
from coppermend.core.circuit.infer import as_own_entry, infer_pins
from coppermend.core.findings import Refusal
from coppermend.services.cases import new_case
from coppermend.services.customchips import custom_chip
from coppermend.services.notes import note
from coppermend.services.powered import _inputs, circuit_of
from coppermend.services.typed import request_from_words

LISTENS = {"input", "clock", "reset", "select", "enable"}
DRIVES = {"output", "tri-state", "open collector", "open-collector"}


def test_hidden_chips_are_inferred_as_the_book_has_them() -> None:
    """Of every chip of the demonstration machine the entry is hidden in turn. Supplies are always right; of pins said to drive or to listen at least nine in
    ten are as in the book. What is left: control lines that a hidden processor alone drives, and buses of which it was the only master."""
    board, book = open_board("demo"), device_book(None)
    rows = list(_inputs(board, {}))
    whole = circuit_of(board, book)
    right = wrong = 0
    for part in (p for p in whole.parts if p.chip is not None):
        hidden = build_circuit(
            [type(r)(r.ref, "" if r.ref == part.ref else r.value, r.pins, r.socketed) for r in rows], book.find
        )
        known = {t.number: t.kind for t in part.terminals}
        for pin in infer_pins(hidden, part.ref):
            kind = known.get(pin.number, "")
            if pin.kind in ("power", "ground"):
                assert kind in ("power", "ground") or whole.rails.get(pin.net), (part.ref, pin)
            elif pin.kind in ("input", "clock", "output") and kind != "":
                good = (
                    kind in LISTENS or kind == "bidirectional"
                    if pin.kind != "output"
                    else kind in DRIVES or kind == "bidirectional"
                )
                right, wrong = right + good, wrong + (not good)
    assert right + wrong > 200 and right / (right + wrong) >= 0.9, (right, wrong)


def test_an_entry_for_ones_own_book_is_read_again() -> None:
    board, book = open_board("demo"), device_book(None)
    rows = infer_pins(circuit_of(board, book), "U19")
    made = tomllib.loads(as_own_entry("MY-19", rows))
    assert made["chip"][0]["type"] == "MY-19" and len(made["chip"][0]["pins"].split()) == len(rows)
    assert made["chip"][0]["power"] == "VCC" and "GND" in made["chip"][0]["ground"].split()
    with pytest.raises(Refusal) as err:
        infer_pins(circuit_of(board, book), "U99")
    assert err.value.finding.code == "INF-001"
    with pytest.raises(Refusal, match="R1 is a resistor, no chip"):
        infer_pins(circuit_of(board, book), "R1")


def test_what_pins_read_on_boards_that_work(tmp_path: Path) -> None:
    store = str(tmp_path / "store")
    shop = workshop(store)
    book = device_book(store)
    for value in ("0.61V", "0.65V"):
        other = new_case(shop, "demo", f"good {value}").state.case
        note(shop, other, request_from_words(shop, other, "diode", ["U1.14", "U1.29", "0.2V"]))
        for points in (["U1.14", "U1.29"], ["U1.29", "U1.14"]):
            note(shop, other, request_from_words(shop, other, "diode", [*points, value]))
        note(shop, other, request_from_words(shop, other, "diode", ["U1.15", "U1.29", "OL"]))
        note(shop, other, request_from_words(shop, other, "level", ["U1.6", "pulsing"]))
        note(shop, other, request_from_words(shop, other, "progress", ["ready"]))
    waiting = new_case(shop, "demo", "not done").state.case
    note(shop, waiting, request_from_words(shop, waiting, "diode", ["U1.14", "U1.29", "0.1V"]))
    case = new_case(shop, "demo", "this one").state.case
    view = custom_chip(shop, case, book, "u1")
    read = {one["number"]: one["read"] for one in view["pins"] if one["read"]}
    assert view["cases"] == 2 and set(read) == {"6", "14", "15"}, (
        "a reading is the pin's, whichever tip stood on ground (29)"
    )
    assert read["14"][0] == {
        "kind": "diode", "tip": "red", "of": 2, "median": 0.63, "least": 0.61, "most": 0.65, "words": "diode 0.63 V, red tip on the pin (2)",
    }, "of each case the last one"  # fmt: skip
    assert [one["tip"] for one in read["14"]] == ["red", "black"]
    assert [read[n][0]["words"] for n in ("15", "6")] == ["diode overload, red tip on the pin (2)", "level pulsing (2)"]
    with pytest.raises(Refusal):
        custom_chip(shop, case, book, "U99")
