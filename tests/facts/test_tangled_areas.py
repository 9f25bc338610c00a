"""Areas whose contours cross themselves: counted against closed forms, repaired where they are few, refused soon where they are hostile."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.core.findings import Refusal
from coppermend.core.geometry.tangles import MOST_MEETINGS, meetings
from coppermend.formats.gerber import read_gerber
from coppermend.formats.ipc2581 import read_ipc2581

SECONDS = 20.0
"""Processor time that a refusal may take; measured 0.3 to 3 s. Without the limit the same files take minutes."""


def comb(teeth: int) -> np.ndarray:
    """A saw-tooth line of ``teeth`` strokes that the closing edge crosses: each tooth from y = -1 to y = 1, back along y = 0."""
    x = np.arange(teeth + 1, dtype=float)
    return np.column_stack([x, np.where(np.arange(teeth + 1) % 2, 1.0, -1.0)])


def star(corners: int, step: int) -> np.ndarray:
    """The star polygon {corners/step} on the unit circle."""
    angle = 2 * np.pi * step * np.arange(corners) / corners
    return np.column_stack([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize(("corners", "step"), [(5, 2), (7, 2), (7, 3), (101, 2), (101, 50), (307, 7)])
def test_crossings_of_star_polygons(corners: int, step: int) -> None:
    """{n/k} has n (k - 1) crossings (each edge crosses 2 (k - 1) others): closed form."""
    assert meetings(star(corners, step), 10**6) == corners * (step - 1)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 10), st.floats(0, 10)), min_size=4, max_size=40, unique=True))
def test_a_ring_meets_itself_exactly_where_shapely_says_it_is_not_simple(points: list[tuple[float, float]]) -> None:
    ring = np.round(np.array(points), 3)
    if len(np.unique(ring, axis=0)) < len(ring):
        return
    closed = shapely.LinearRing(ring)
    folded = any(
        shapely.intersection(
            shapely.LineString(ring[[k - 1, k]]), shapely.LineString(ring[[k, (k + 1) % len(ring)]])
        ).length
        > 1e-9
        for k in range(len(ring))
    )
    if not folded:
        assert (meetings(ring) > 0) == (not closed.is_simple)


def gerber(ring: np.ndarray) -> bytes:
    """A region with this contour, in mm."""
    words = [f"X{round(x * 1e4)}Y{round(y * 1e4)}D01*" for x, y in ring]
    words[0] = words[0].replace("D01", "D02")
    return (
        "%FSLAX44Y44*%%MOMM*%%LPD*%G36*\n" + "\n".join([*words, words[0].replace("D02", "D01")]) + "\nG37*M02*"
    ).encode()


def ipc2581(ring: np.ndarray) -> bytes:
    """The same as a contour of an IPC-2581 feature."""
    steps = "".join(f'<PolyStepSegment x="{x:.4f}" y="{y:.4f}"/>' for x, y in [*ring[1:], ring[0]])
    return (
        '<IPC-2581 revision="B"><Ecad><CadHeader units="MILLIMETER"/><CadData><Layer name="TOP" layerFunction="SIGNAL" side="TOP"/>'
        '<Step name="a"><LayerFeature layerRef="TOP"><Set net="N"><Features><UserSpecial><Contour>'
        f'<Polygon><PolyBegin x="{ring[0][0]:.4f}" y="{ring[0][1]:.4f}"/>{steps}</Polygon>'
        "</Contour></UserSpecial></Features></Set></LayerFeature></Step></CadData></Ecad></IPC-2581>"
    ).encode()


READERS = [(lambda r: read_gerber(gerber(r), "a.gbr"), "a.gbr"), (lambda r: read_ipc2581(ipc2581(r), "a.xml"), "a.xml")]


@pytest.mark.parametrize(("read", "name"), READERS)
@pytest.mark.parametrize("shape", ["comb", "walk", "pile"])
def test_a_contour_that_crosses_itself_a_hundred_thousand_times_is_refused_soon(read, name, shape) -> None:  # type: ignore[no-untyped-def]
    if shape == "comb":
        ring = np.vstack([comb(100_000), [(100_000.0, 0.0), (0.0, 0.0)]]) * (0.01, 1.0)
    elif shape == "walk":
        ring = np.cumsum(np.random.default_rng(1).normal(size=(100_000, 2)), axis=0) * 0.1
    else:  # the same square again and again
        ring = np.tile(np.array([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]), (25_000, 1))
    begun = time.process_time()
    with pytest.raises(Refusal) as told:
        read(ring)
    assert time.process_time() - begun < SECONDS
    found = told.value.finding
    assert (found.code, found.place.file) == ("GEO-001", name) and found.place.x_mm is not None and found.remedy


@pytest.mark.parametrize(("read", "name"), READERS)
def test_a_contour_that_crosses_itself_at_some_places_is_read_by_the_even_odd_rule(read, name) -> None:  # type: ignore[no-untyped-def]
    """A comb of 101 teeth, closed along its middle: each tooth leaves two triangles; together half of (length times height)."""
    ring = np.vstack([comb(100), [(100.0, 0.0), (0.0, 0.0)]])
    made = read(ring)
    image = made if hasattr(made, "shapes") else made.images[0]
    area = float(shapely.area(image.shapes.skeleton).sum())
    assert area == pytest.approx(100 * 0.5, rel=1e-6)
    assert meetings(ring) < MOST_MEETINGS
