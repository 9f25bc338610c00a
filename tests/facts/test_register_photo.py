"""Photos laid on the board, against made photos whose every pixel is known (tests/photo_maker.py: pinhole, Brown's lens, lamp, grain, by formulas of its own).

What is asked: the true place of every pin within 0.15 mm (a land of the demonstration board has 1.5 mm) where the photo is usable, the reported residual
no better than the truth by more than its grain, and a refusal with its reason where it is not.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray
from tests import handmade as hand
from tests.photo_maker import Shot, photograph, project

from coppermend.bootstrap import DiskPackages, demo_package
from coppermend.core.board.model import Board
from coppermend.core.findings import Refusal
from coppermend.core.geometry.lens import Lens, fit_lens
from coppermend.core.geometry.register import Drawing, Registered, register
from coppermend.services.boards import build_board
from coppermend.services.sidepicture import circles_of, drawing_of

Box = tuple[float, float, float, float]
SOFT = Shot(k1=-0.02)
"""About 5 % barrel at the corner, 9 and 6 degrees of tilt, uneven light, a lamp's glare, 2 % grain."""


@lru_cache
def demo() -> tuple[Board, Drawing, Box, dict[str, tuple[float, float]]]:
    """The demonstration board, its drawing, its outline's box, its pins."""
    board = build_board(DiskPackages(), str(demo_package()), None)
    ring = np.vstack([o for o in board.outline if len(o)])
    box = (*map(float, ring.min(axis=0)), *map(float, ring.max(axis=0)))
    return board, drawing_of(board), box, {p.name: (p.x_mm, p.y_mm) for part in board.parts for p in part.pins}


def corner_pins() -> list[tuple[float, float]]:
    """The pins nearest to the four corners."""
    _, _, (x0, y0, x1, y1), pins = demo()
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return [min(pins.values(), key=lambda p, c=c: np.hypot(p[0] - c[0], p[1] - c[1])) for c in corners]


@lru_cache
def photo(shot: Shot, side: str) -> NDArray[np.float32]:
    rgb = photograph(demo()[0], side, shot)
    return np.asarray(rgb.astype(np.float32) @ np.array([0.299, 0.587, 0.114], np.float32) / 255.0)


def laid(
    shot: Shot,
    side: str = "c",
    given_as: str = "",
    jitter_px: float = 3.0,
    taps: list[tuple[float, float]] | None = None,
) -> Registered:
    """The registration with taps that miss by some pixels."""
    taps = taps or corner_pins()
    px = project(shot, demo()[2], taps, side) + np.random.default_rng(5).normal(0, jitter_px, (len(taps), 2))
    return register(photo(shot, side), given_as or side, [(float(x), float(y)) for x, y in px], taps, demo()[1])


def truth(found: Registered, shot: Shot, side: str) -> NDArray[np.float64]:
    """How far each pin is from where it really is in the photo, mm."""
    _, _, box, pins = demo()
    spots = np.array(list(pins.values()))
    px = project(shot, box, spots, side)
    seen = ((px > 0) & (px < np.array(shot.size))).all(axis=1)
    return np.hypot(*(found.lens.to_mm(px[seen]) - spots[seen]).T)


@pytest.mark.parametrize(
    ("shot", "side"),
    [(SOFT, "c"), (SOFT, "s"), (Shot(size=(3648, 2736), tilt=20, lean=14, turn=30, k1=-0.02, fill=0.7), "c")],
    ids=["component side", "solder side", "10 megapixels, steep and turned"],
)
def test_every_pin_is_found_where_it_is(shot: Shot, side: str) -> None:
    found = laid(shot, side)
    off = truth(found, shot, side)
    assert off.max() < 0.15 and found.matched > 60
    # the figure that is shown is honest: neither far below nor far above what is true
    assert 0.3 * np.sqrt((off**2).mean()) < found.residual_mm < np.sqrt((off**2).mean()) + 0.05


def test_taps_need_not_be_exact_and_say_by_how_much_they_missed() -> None:
    """12 px of jitter at 7.6 px a mm: some 1.6 mm; the lands put it right."""
    found = laid(SOFT, jitter_px=10.0)
    assert truth(found, SOFT, "c").max() < 0.15
    assert len(found.taps_mm) == 4 and 0.3 < max(found.taps_mm) < 5.0


def test_one_tap_of_four_one_pin_off_is_overruled_by_the_lands() -> None:
    taps = corner_pins()
    shifted = [*taps[:2], (taps[2][0] - 2.54, taps[2][1]), taps[3]]
    px = project(SOFT, demo()[2], taps, "c")
    found = register(photo(SOFT, "c"), "c", [(float(x), float(y)) for x, y in px], shifted, demo()[1])
    assert truth(found, SOFT, "c").max() < 0.15
    assert found.taps_mm[2] == pytest.approx(2.54, abs=0.1)


@pytest.mark.parametrize(
    ("shot", "side", "given_as", "code", "words"),
    [
        (Shot(k1=-0.02, blur_px=3.5), "c", "c", "PHO-011", "blurred"),
        (Shot(k1=-0.02, motion_px=14), "c", "c", "PHO-011", "blurred"),
        (Shot(size=(800, 600), k1=-0.02), "c", "c", "PHO-010", "too coarse"),
        (SOFT, "s", "c", "PHO-012", "shows the solder side"),
        (Shot(k1=-0.02, mirrored=True), "c", "c", "PHO-012", "mirrored"),
    ],
    ids=["out of focus", "camera moved", "too small", "the other side", "mirrored"],
)
def test_photos_that_are_no_use_are_refused_with_the_reason(
    shot: Shot, side: str, given_as: str, code: str, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        laid(shot, side, given_as)
    assert refused.value.finding.code == code and words in refused.value.finding.words and refused.value.finding.remedy


def test_another_board_is_refused() -> None:
    """A board of the same size with lands and tracks elsewhere, its own pins tapped at the places where they would be."""
    rng = np.random.default_rng(8)
    _, _, (x0, y0, x1, y1), _ = demo()
    spots = np.column_stack([rng.uniform(x0, x1, 500), rng.uniform(y0, y1, 500)]).round(2)
    copper = [hand.land(float(x), float(y), diameter=1.5) for x, y in spots]
    copper += [hand.track((float(a), float(b)), (float(a) + 9, float(b)), width=0.4) for a, b in spots[:200]]
    other = drawing_of(hand.board([copper, copper]))
    px = project(SOFT, demo()[2], corner_pins(), "c")
    with pytest.raises(Refusal) as refused:
        register(photo(SOFT, "c"), "c", [(float(x), float(y)) for x, y in px], corner_pins(), other)
    assert refused.value.finding.code == "PHO-013" and "by chance" in refused.value.finding.words


def test_the_lens_and_its_inverse_agree_and_a_known_one_is_found_again() -> None:
    """Closed form one way, Newton the other; the fit takes the same lens from 400 exact pairs (no outside source: consistency)."""
    rng = np.random.default_rng(2)
    true = Lens(
        np.array([[0.08, 0.01, 3.0], [0.005, -0.08, 200.0], [1e-5, 2e-5, 1.0]]), (2000.0, 1500.0), 2500.0, 0.04, 0.01
    )
    px = np.column_stack([rng.uniform(0, 4000, 400), rng.uniform(0, 3000, 400)])
    mm = true.to_mm(px)
    assert np.abs(true.to_px(mm) - px).max() < 1e-6
    found = fit_lens(Lens(true.matrix, true.centre_px, true.reach_px), px, mm)
    assert np.abs(found.to_mm(px) - mm).max() < 0.02


def test_circles_are_the_boards_round_lands_with_their_holes() -> None:
    """A land of 1.6 mm without hole, one with a hole of 0.8 mm, a bare hole of 3.2 mm: radii by hand."""
    made = hand.board(
        [[hand.land(1, 1), hand.land(5, 5)], [hand.land(5, 5)]],
        [hand.drill([(5, 5, 0.8)]), hand.drill([(9, 9, 3.2)], plated=0, name="bare")],
    )
    found = {(x, y): (land, hole) for x, y, land, hole in circles_of(made).round(3).tolist()}
    assert found == {(1.0, 1.0): (0.8, 0.0), (5.0, 5.0): (0.8, 0.4), (9.0, 9.0): (0.0, 1.6)}
