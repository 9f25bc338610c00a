"""The commands of intake, supply and chips: printed, as JSON, and refused in words."""

from __future__ import annotations

import json
from pathlib import Path

from PIL import Image
from tests.cli_runner import Run


def test_from_arrival_to_the_gate(plain_run: Run, tmp_path: Path) -> None:
    plain_run("case", "new", "--board", "demo", "--title", "T")
    Image.new("RGB", (40, 30), "#557744").save(tmp_path / "front.png")
    assert plain_run("intake", "note", "1", "condition", "dusty", "--photo", str(tmp_path / "front.png"))[0] == 0
    assert "80 EUR" in plain_run("intake", "note", "1", "limit", "--amount", "80", "--currency", "EUR")[1]
    status, _, err = plain_run("intake", "note", "1", "consent", "--act", "unsolder")
    assert status == 2 and "INT-002" in err and "--yes" in err
    said = json.loads(plain_run("intake", "note", "1", "consent", "--yes", "--act", "unsolder", "--json")[1])
    assert said["intake"]["limit"] == 80 and len(said["intake"]["left"]) == 4
    shown = plain_run("intake", "show", "1")[1]
    assert "1 photos" in shown and "unsolder (take a soldered part out): yes" in shown and "[ ] minimum" in shown
    status, _, err = plain_run("supply", "note", "1", "VBB", "-5.02V", "--at", "far", "--part", "U1")
    assert status == 2 and "SUP-004" in err
    out = plain_run("supply", "note", "1", "VCC", "5.7V", "--load", "1A")[1]
    assert "Do not put it on the board" in out
    plain_run("supply", "note", "1", "VCC", "5.01V", "--load", "1A", "--ripple", "30mV", "--rise", "20ms")
    shown = plain_run("supply", "show", "1")[1]
    assert "4.75 to 5.25 V" in shown and "proven" in shown and "switch off above" in shown and "qualified" in shown
    value = json.loads(plain_run("supply", "show", "1", "--json")[1])
    assert value["rails"][0]["rail"] == "VCC" and value["to_ground"][0]["points"]
    status, _, err = plain_run("supply", "short", "1")
    assert status == 2 and "SUP-006" in err
    status, out, _ = plain_run("supply", "short", "1", "--rail", "VCC")
    assert status == 1 and "C10" in out and "No ohms reading" in out


def test_chips_by_command(plain_run: Run) -> None:
    plain_run("case", "new", "--board", "demo", "--title", "T")
    assert plain_run("chip", "list", "1")[1].startswith("No chip has a label yet")
    plain_run(
        "chip", "card", "1", "C7", "--type", "4164", "--speed", "150 ns", "--known", "known good", "--place", "stock"
    )
    listed = plain_run("chip", "list", "1")[1]
    assert "C7: 4164 150 ns, known good, now stock" in listed and "U1 Z80A (socketed)" in listed
    assert json.loads(plain_run("chip", "list", "1", "--json")[1])["chips"][0]["chip"] == "C7"
    out = plain_run("chip", "check", "1", "U50", "free", "1-7", "9-16")[1]
    assert "Do not pull yet: 1 legs" in out
    out = plain_run("chip", "show", "1", "U50")[1]
    assert "In stock: C7" in out and "held on top" in out and "In stock" in out
    value = json.loads(plain_run("chip", "show", "1", "U50", "--json")[1])
    assert value["piggyback"] == "tri-state" and value["pins"][0]["free"] is True
    status, _, err = plain_run("chip", "check", "1", "U50", "free", "41")
    assert status == 2 and "CHP-005" in err
    noted = plain_run("note", "1", "tap", "U1", "effect=changed", "with", "a", "pencil")[1]
    assert "tapped: U1: it shows something else" in noted and "with a pencil" in noted
