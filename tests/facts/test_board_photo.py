"""Photos as maps: the homography against the closed form of a pinhole camera, pins placed by templates, the flattened picture.

A pinhole camera with rotation R, position and focal length f takes (X, Y, 0) to f (r1 X + r2 Y + t)_{x,y} / (...)_z: a homography (Hartley and
Zisserman, Multiple View Geometry, section 8.1.1). The tests project with that formula and never call the code under test to do so.
"""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from coppermend.core.board.pinboard import board_of_pins, made_up_places
from coppermend.core.board.pinlist import MapFile, Mark, PartSpot, PhotoMarks, PinList, PinRow
from coppermend.core.board.places import place_pins
from coppermend.core.board.templates import template, turned
from coppermend.core.findings import Refusal
from coppermend.core.geometry.homography import homography
from coppermend.services.boardphoto import flatten

Spot = tuple[float, float]


def camera(xy: Spot, tilt_deg: float = 18.0, turn_deg: float = 7.0, mirrored: bool = False) -> Spot:
    """Pixel of a board point (mm) in a photo from 400 mm away, board tilted and turned; picture y runs down."""
    x, y = (-xy[0] if mirrored else xy[0]) - 60.0, xy[1] - 40.0
    t, r = math.radians(tilt_deg), math.radians(turn_deg)
    x, y = math.cos(r) * x - math.sin(r) * y, math.sin(r) * x + math.cos(r) * y
    depth = 400.0 + math.sin(t) * y
    return 1000.0 + 3000.0 * x / depth, 800.0 - 3000.0 * math.cos(t) * y / depth


CORNERS: list[Spot] = [(0.0, 0.0), (120.0, 0.0), (120.0, 80.0), (0.0, 80.0)]


@given(st.floats(-40, 40), st.floats(-180, 180), st.booleans(), st.tuples(st.floats(0, 120), st.floats(0, 80)))
@settings(max_examples=150, deadline=None)
def test_four_marks_fix_a_pinhole_view(tilt: float, turn: float, mirrored: bool, spot: Spot) -> None:
    view = homography([camera(c, tilt, turn, mirrored) for c in CORNERS], CORNERS)
    found = view.apply([camera(spot, tilt, turn, mirrored)])[0]
    assert math.dist(found, spot) < 1e-6 and view.residual < 1e-6


def test_more_marks_average_the_hand_and_a_wrong_one_stands_out() -> None:
    rng = np.random.default_rng(5)
    marks = [(float(x), float(y)) for x in range(0, 121, 20) for y in range(0, 81, 20)]
    pixels = [camera(m) + rng.normal(0.0, 2.0, 2) for m in marks]
    view = homography([(float(x), float(y)) for x, y in pixels], marks)
    # 2 px of jitter at some 7.5 px/mm is 0.27 mm a coordinate, 0.38 mm in the plane; the fit takes 8 of 70 numbers away
    assert 0.2 < view.residual < 0.5
    pixels[9] = pixels[9] + np.array([60.0, 0.0])
    bad = homography([(float(x), float(y)) for x, y in pixels], marks)
    assert bad.worst_mark == 9 and bad.worst > 3.0


@pytest.mark.parametrize(
    ("pixels", "code"),
    [
        ([(0, 0), (1, 0), (1, 1)], "MAP-001"),
        ([(0, 0), (1, 0), (2, 0), (3, 0)], "MAP-002"),
        ([(0, 0), (1, 0), (2, 0), (0, 1)], "MAP-002"),
        ([(5, 5)] * 4, "MAP-002"),
        ([(0, 0), (100, 80), (100, 0), (0, 80)], "MAP-002"),
    ],
)
def test_marks_that_fix_no_view_are_refused(pixels: list[Spot], code: str) -> None:
    with pytest.raises(Refusal) as refused:
        homography(pixels, CORNERS[: len(pixels)])
    assert refused.value.finding.code == code


def machine() -> tuple[PinList, dict[str, dict[str, Spot]]]:
    """A 40-pin chip at 0, 0, two 14-pin chips (one turned), one resistor; true places of all pins."""
    true = {
        "U1": turned(template("DIP-40").places(), (0.0, 0.0), 0.0, "c"),
        "U2": turned(template("DIP-14").places(), (40.0, -10.0), 0.0, "c"),
        "U3": turned(template("DIP-14").places(), (60.0, -30.0), 90.0, "c"),
        "R1": turned(template("AXIAL-10.16").places(), (30.0, -40.0), 0.0, "c"),
    }
    rows = tuple(PinRow(ref, pin, f"N{k % 7}") for ref, pins in true.items() for k, pin in enumerate(pins))
    return PinList("pins.csv", rows), true


def test_a_photo_places_the_parts() -> None:
    """Four marks on the large chip, two pins of each other chip: every pin within 0.01 mm; the resistor that nobody marked is said to be made up."""
    pins, true = machine()
    marks = tuple(Mark(camera(true["U1"][n]), f"u1.{n}") for n in ("1", "20", "21", "40"))
    parts = tuple(PartSpot(ref, pins_px={n: camera(true[ref][n]) for n in ("1", "8")}) for ref in ("U2", "U3"))
    said = MapFile("m", (PhotoMarks("c", "c.jpg", marks),), parts)
    board = board_of_pins(pins, "id", "b", said)
    off = [
        math.dist((p.x_mm, p.y_mm), true[part.ref][p.number])
        for part in board.parts
        if part.ref != "R1"
        for p in part.pins
    ]
    assert len(off) == 68 and max(off) < 0.01
    assert made_up_places(board) == {"R1"} and "photo.c" in board.extra
    assert {"PIN-020", "PIN-021", "PIN-026", "PIN-027"} <= {f.code for f in board.findings}


def test_a_photo_of_the_solder_side_needs_no_mirroring_by_hand() -> None:
    pins, true = machine()
    marks = tuple(Mark(camera(true["U1"][n], mirrored=True), f"U1.{n}") for n in ("1", "20", "21", "40"))
    spot = PartSpot("U2", pins_px={n: camera(true["U2"][n], mirrored=True) for n in ("1", "7")})
    said = MapFile("m", (PhotoMarks("s", "s.jpg", marks),), (spot,))
    places = place_pins(pins, said)
    assert math.dist(places.at["U2.14"], true["U2"]["14"]) < 0.01


def test_wrong_marks_are_said() -> None:
    """U2's pin 4 marked at pin 7, and one mark of six at a wrong pin: both findings name the thing and the miss."""
    pins, true = machine()
    wanted = ("1", "10", "20", "21", "30", "40")
    marks = [Mark(camera(true["U1"][n]), f"U1.{n}") for n in wanted]
    marks[1] = Mark(camera(true["U1"]["12"]), "U1.10")
    spots = (
        PartSpot("U2", pins_px={"1": camera(true["U2"]["1"]), "4": camera(true["U2"]["7"])}),
        PartSpot("U9"),
    )
    places = place_pins(pins, MapFile("m", (PhotoMarks("c", "c.jpg", tuple(marks)),), spots))
    codes = {f.code: f for f in places.findings}
    assert "misses by" in codes["PIN-026"].words and "U2" in codes["PIN-022"].words and "U9" in codes["PIN-023"].words


def test_the_flattened_photo_shows_each_thing_at_its_place() -> None:
    """Coloured discs at known places are drawn through the camera formula; the flat picture has their colours there again."""
    spots = {(20.0, 20.0): (250, 20, 20), (100.0, 60.0): (20, 250, 20), (60.0, 70.0): (20, 20, 250)}
    picture = Image.new("RGB", (2000, 1600), (90, 90, 90))
    draw = ImageDraw.Draw(picture)
    for at, colour in spots.items():
        u, v = camera(at)
        draw.ellipse([u - 12, v - 12, u + 12, v + 12], fill=colour)
    data = io.BytesIO()
    picture.save(data, "PNG")
    view = homography([camera(c) for c in CORNERS], CORNERS)
    flat = flatten(data.getvalue(), "c.png", view.matrix, (0.0, 0.0, 120.0, 80.0))
    with Image.open(io.BytesIO(flat.jpeg)) as shown:
        assert shown.size == (1440, 960)  # 12 pixels a mm
        for (x, y), colour in spots.items():
            seen = shown.getpixel((round(x * 12), round((80.0 - y) * 12)))
            assert isinstance(seen, tuple) and all(abs(a - b) < 40 for a, b in zip(seen, colour, strict=True))
    with pytest.raises(Refusal):
        flatten(b"no picture", "c.png", view.matrix, (0.0, 0.0, 120.0, 80.0))
