"""Panels of one board: the copies' names follow from the drawing, whichever source states them."""

from __future__ import annotations

import numpy as np
import pytest
from tests.handmade import board, drill, land, point, track

from coppermend.core.board.panel import find_panel
from coppermend.core.board.sources import PartRow
from coppermend.core.copper.compare import compare

PINS = [("U1.1", 0.0, 0.0, "GND"), ("U1.2", 5.0, 0.0, "A"), ("R1.1", 0.0, 5.0, "GND"), ("R1.2", 5.0, 5.0, "A"), ("R2.1", 8.0, 0.0, "A")]  # fmt: skip


def copies(steps: list[tuple[float, float]], named: bool) -> tuple[list, list, list]:
    copper, holes, points = [], [], []
    for dx, dy in steps:
        for pin, x, y, net in PINS:
            copper.append(land(x + dx, y + dy, pin if named else "", net if named else ""))
            holes.append((x + dx, y + dy, 0.8))
            points.append(point(net, pin, x + dx, y + dy, line=len(points)))
        at = [(x + dx, y + dy) for _, x, y, _ in PINS]
        copper += [track(at[0], at[2]), track(at[1], at[3]), track(at[1], at[4])]
    return copper, holes, points


@pytest.mark.parametrize("named", [True, False], ids=["X2", "IPC-D-356"])
@pytest.mark.parametrize("steps", [[(0, 0), (40, 0)], [(0, 0), (40, 0), (0, 30), (40, 30)]])
def test_each_board_of_a_panel_has_its_own_parts_and_nets(named: bool, steps: list[tuple[float, float]]) -> None:
    copper, holes, points = copies(steps, named)
    made = board([copper, []], [drill(holes)], () if named else points)
    assert len(made.nets) == 2 * len(steps) and len(made.parts) == 3 * len(steps)
    assert {"U1", "U1_2", "R2_2"} <= {part.ref for part in made.parts}
    assert not any("#" in pin.name for part in made.parts for pin in part.pins)
    assert all(row.exact for row in compare(made)) and "BRD-037" in {one.code for one in made.findings}


def test_lands_of_equal_numbers_are_no_panel() -> None:
    """Two shell lands of each of four connectors, 10 mm apart, and a transistor: one board."""
    names = [f"J{k}.S" for k in range(4) for _ in range(2)] + ["Q1.1", "Q1.2", "Q1.3"]
    xy = np.array([(20.0 * k + step, 0.0) for k in range(4) for step in (0, 10)] + [(5, 9), (7, 9), (9, 9)])
    assert find_panel(names, xy) is None
    assert find_panel([f"J{k}.S" for k in range(4) for _ in range(2)], xy[:8]) is None


@pytest.mark.parametrize("named", [True, False], ids=["X2", "IPC-D-356"])
def test_each_board_of_a_panel_has_the_values_of_the_parts_list(named: bool) -> None:
    """A row of the list holds for every board; one that names a copy itself counts there. R9 stands on no board and is said once."""
    copper, holes, points = copies([(0, 0), (40, 0)], named)
    rows = [PartRow("U1", "6502", "DIP40"), PartRow("R1", "33R"), PartRow("R1_2", "47R"), PartRow("R9", "1k")]
    made = board([copper, []], [drill(holes)], () if named else points, rows=rows)
    assert {part.ref: part.value for part in made.parts} == {
        "U1": "6502",
        "U1_2": "6502",
        "R1": "33R",
        "R1_2": "47R",
        "R2": "",
        "R2_2": "",
    }
    assert made.part("U1_2").package == "DIP40"
    (said,) = [f for f in made.findings if f.code == "BRD-031"]
    assert said.words.endswith("copper: R9.")


def test_a_placement_list_of_the_whole_panel_tells_the_copies_apart() -> None:
    """One row for each board and part, as laid by ``copies``: nothing lies elsewhere, and each copy has its own value."""
    steps = [(0.0, 0.0), (40.0, 0.0), (0.0, 30.0), (40.0, 30.0)]
    copper, holes, _ = copies(steps, True)
    middle = {"U1": (2.5, 0.0), "R1": (2.5, 5.0), "R2": (8.0, 0.0)}
    rows = [
        PartRow(ref, f"{ref} {n}", "", None, f"p.csv line {n}", "", x + dx, y + dy)
        for n, (dx, dy) in enumerate(steps)
        for ref, (x, y) in middle.items()
    ]
    made = board([copper, []], [drill(holes)], rows=rows)
    assert not [f for f in made.findings if f.code.startswith("CEN")]
    assert [made.part(ref).value for ref in ("U1", "U1_2", "U1_3", "U1_4")] == ["U1 0", "U1 2", "U1 1", "U1 3"]
