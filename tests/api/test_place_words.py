"""Words that lead a hand to a pin, against the numbering of dual in-line packages.

Source: JEDEC MS-001 (from memory): seen from above with the notch up, pin 1 is upper left, numbers run down the left row and up the right one.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import pytest

from coppermend.core.board.model import Part, Pin
from coppermend.core.copper.model import SiteKind
from coppermend.services.placewords import (
    chip_rows,
    loose_in_words,
    near_words,
    notch_of,
    pin_row,
    pin_where,
    places_in_words,
    point_words,
)
from coppermend.services.ports import ShelvedBoard


def dip(pins: int, turn: float = 0.0) -> Part:
    """A dual in-line part, notch up, then turned by ``turn`` radians counter-clockwise as seen from the component side."""
    half, made = pins // 2, []
    for k in range(1, pins + 1):
        x, y = (-7.62, -(k - 1) * 2.54) if k <= half else (7.62, -(pins - k) * 2.54)
        made.append(
            Pin("U1", str(k), 100 + x * cos(turn) - y * sin(turn), 80 + x * sin(turn) + y * cos(turn), 0, ("c", "s"), 0)
        )
    return Part("U1", "c", np.zeros((0, 2)), "", tuple(made))


# pin of a 40-pin package -> row and rank as counted on the drawing
FROM_ABOVE = {
    1: "left row, 1st from it", 8: "left row, 8th from it", 20: "left row, last", 21: "right row, last",
    22: "right row, 2nd from last", 30: "right row, 11th from it", 38: "right row, 3rd from it", 40: "right row, 1st from it",
}  # fmt: skip


@pytest.mark.parametrize("turn", [0.0, pi / 2, pi, -pi / 2, 0.3])
@pytest.mark.parametrize(("pin", "words"), FROM_ABOVE.items())
def test_pins_are_counted_from_the_notch(pin: int, words: str, turn: float) -> None:
    assert pin_where(dip(40, turn), str(pin), "c") == f"notch up: {words}"


@pytest.mark.parametrize(("pin", "words"), FROM_ABOVE.items())
def test_left_and_right_change_on_the_solder_side(pin: int, words: str) -> None:
    other = {"left": "right", "right": "left"}[words.split()[0]]
    assert pin_where(dip(40), str(pin), "s") == "notch up: " + other + words[len(words.split()[0]) :]


@pytest.mark.parametrize(("turn", "up"), [(0.0, [0, 1]), (pi / 2, [-1, 0]), (pi, [0, -1]), (-pi / 2, [1, 0])])
def test_a_row_lies_on_the_board_as_the_part_is_turned(turn: float, up: list[int]) -> None:
    """Pin 1's row is a quarter turn anticlockwise from the notch, pin 40's the other way (numbering as above)."""
    first, last = pin_row(dip(40, turn), "1"), pin_row(dip(40, turn), "40")
    assert first is not None and last is not None
    assert first["up"] == last["up"] == pytest.approx(up, abs=1e-4)
    assert first["out"] == pytest.approx([-up[1], up[0]], abs=1e-4)
    assert last["out"] == pytest.approx([up[1], -up[0]], abs=1e-4)


def test_rows_face_each_other_and_the_notch_is_beyond_pin_one() -> None:
    assert chip_rows(dip(8)) == ((1, 2, 3, 4), (8, 7, 6, 5))
    x, y = notch_of(dip(8)) or (0.0, 0.0)
    assert (round(x, 6), y > 80) == (100, True)


def test_other_parts_are_told_by_rank_or_end() -> None:
    row = Part(
        "J1", "c", np.zeros((0, 2)), "", tuple(Pin("J1", str(k), k * 2.54, 0, 0, ("c", "s"), 0) for k in range(1, 6))
    )
    assert chip_rows(row) is None and pin_where(row, "3", "c") == "3rd of 5, counted from pin 1"
    two = Part(
        "R1",
        "c",
        np.zeros((0, 2)),
        "",
        (Pin("R1", "1", 0, 0, 0, ("c", "s"), 0), Pin("R1", "2", 0, 10, 0, ("c", "s"), 0)),
    )
    assert pin_where(two, "2", "s") == "the end towards the top edge"


def test_two_vias_by_one_pin_have_different_words(shelved: ShelvedBoard) -> None:
    """A 3-4-5 triangle: 3 mm right of the pin and 4 mm up is 5 mm away; coordinates grow to the right and upwards on the component side."""
    pin = shelved.board.part("U1").pins[0]
    far, way = near_words(
        replace(shelved.board, parts=(Part("U1", "c", np.zeros((0, 2)), "", (pin,)),)), pin.x_mm + 3, pin.y_mm + 4
    )
    assert (far, way) == ("5.0 mm from U1 pin 1", "towards top right as seen on the component side")
    loose = [p for p in shelved.graph.points if p.kind == "via" and not p.part]
    words = Counter(
        (said["name"], said["where"], said["side_words"]) for said in (point_words(shelved.board, p) for p in loose)
    )
    assert len(loose) > 100
    assert [one for one, times in words.items() if times > 1] == []


def test_a_loose_place_and_an_end_come_with_their_way(shelved: ShelvedBoard) -> None:
    """A 3-4-5 triangle again, and two pins one above the other: unit vectors of a drawing turned any way."""
    pin = shelved.board.part("U1").pins[0]
    alone = replace(shelved.board, parts=(Part("U1", "c", np.zeros((0, 2)), "", (pin,)),))
    via = next(p for p in shelved.graph.points if p.kind == "via" and not p.part)
    said = point_words(alone, replace(via, x_mm=pin.x_mm + 3, y_mm=pin.y_mm + 4))
    assert said["way"] == [0.6, 0.8] and said["by"] == {"pin": "U1 pin 1", "far": "5.0"}
    assert point_words(alone, replace(via, x_mm=pin.x_mm + 0.1, y_mm=pin.y_mm))["way"] is None, "too short a step"
    two = tuple(Pin("R1", number, 0, y, 0, ("c", "s"), 0) for number, y in (("1", 0), ("2", 10)))
    board = replace(shelved.board, parts=(Part("R1", "c", np.zeros((0, 2)), "", two),))
    end = replace(via, part="R1", pin="2")
    assert point_words(board, end)["way"] == [0.0, 1.0] and point_words(board, end)["by"] is None
    assert point_words(shelved.board, replace(via, part="U1", pin="3"))["way"] is None


def test_a_logs_loose_places_are_told_by_their_pin_and_side(shelved: ShelvedBoard) -> None:
    """The same triangle: 3 mm right of the pin and 4 mm up; ids hold whole micrometres."""
    pin = shelved.board.part("U1").pins[0]
    alone = replace(shelved.board, parts=(Part("U1", "c", np.zeros((0, 2)), "", (pin,)),))
    via = f"via@{round((pin.x_mm + 3) * 1000)},{round((pin.y_mm + 4) * 1000)}/s"
    told = "via 5.0 mm from U1 pin 1 towards top right as seen on the component side"
    texts = [f"closed: U1.1/leg and {via}", "power: on", f"{via}."]
    assert loose_in_words(alone, texts, sides=True) == [
        f"closed: U1.1/leg and {told} (solder side)",
        "power: on",
        f"{told} (solder side).",
    ]
    assert places_in_words(alone, texts[0]) == f"closed: U1.1 and {told}"


def test_no_two_tracks_or_vias_go_by_the_same_words(shelved: ShelvedBoard) -> None:
    words = Counter(site.words for site in shelved.graph.sites if site.kind in (SiteKind.RUN, SiteKind.BARREL))
    assert len(words) > 500
    assert [one for one, times in words.items() if times > 1] == []


def test_no_id_of_a_point_is_left_in_a_line_for_a_person(shelved: ShelvedBoard) -> None:
    """Every id of the board's own points, as the log writes it, goes; what is said instead names the same pin or a distance to a pin."""
    kinds = {}
    for point in shelved.graph.points:
        kinds.setdefault((point.kind, bool(point.part)), point)
    assert len(kinds) >= 3
    for point in kinds.values():
        line = places_in_words(shelved.board, f"cannot reach: {point.id} (loose)")
        assert point.id not in line and "@" not in line and "/" not in line
        assert line.startswith(
            f"cannot reach: {point.part}.{point.pin} (" if point.part else f"cannot reach: {point.kind} "
        ), line
        if not point.part:
            assert near_words(shelved.board, point.x_mm, point.y_mm)[0] in line
