"""Clear polarity: what is left of dark objects. Areas by elementary geometry; the order rule is Ucamco, The Gerber Layer Format Specification, 4.9.2."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from coppermend.core.geometry.polarity import CHORD_MM, after_clearing, as_polygons, negated, quadrant_chords
from coppermend.core.geometry.shapes import ShapeSet


def test_a_clear_disc_leaves_a_ring_of_the_area_between_the_circles() -> None:
    left = after_clearing(ShapeSet.of([shapely.Point(0, 0)] * 2, [2.0, 1.0]), np.array([True, False]))
    area = float(shapely.area(left.shapes.polygons()[0]))
    assert area == pytest.approx(math.pi * (2.0**2 - 1.0**2), rel=2e-3)  # both circles inscribed, chords within 0.5 um
    assert left.source.tolist() == [0]


def test_a_clear_object_takes_nothing_from_what_is_drawn_after_it() -> None:
    shapes = ShapeSet.of([shapely.Point(0, 0)] * 3, [2.0, 1.0, 0.5])
    left = after_clearing(shapes, np.array([True, False, True]))
    assert left.source.tolist() == [0, 2]
    assert left.shapes.radius_mm.tolist() == [0.0, 0.5]  # the later dark disc keeps its exact shape


def test_what_no_clear_object_reaches_stays_exact() -> None:
    shapes = ShapeSet.of([shapely.LineString([(0, 0), (5, 0)]), shapely.Point(9, 9)], [0.25, 1.0])
    left = after_clearing(shapes, np.array([True, False]))
    assert left.shapes.radius_mm.tolist() == [0.25]
    assert left.shapes.skeleton[0].equals(shapes.skeleton[0])


def test_a_stroke_cut_across_becomes_two_pieces() -> None:
    shapes = ShapeSet.of([shapely.LineString([(0, 0), (10, 0)]), shapely.LineString([(5, -2), (5, 2)])], [0.5, 0.3])
    left = after_clearing(shapes, np.array([True, False]))
    assert left.source.tolist() == [0, 0]
    lengths = sorted(round(x1 - x0, 3) for x0, _, x1, _ in left.shapes.bounds_mm())
    assert lengths == [5.2, 5.2]  # from -0.5 to 5 - 0.3 and the same mirrored


def test_an_object_wholly_cleared_is_gone() -> None:
    left = after_clearing(ShapeSet.of([shapely.Point(0, 0)] * 2, [1.0, 1.5]), np.array([True, False]))
    assert len(left.shapes) == 0


def test_clear_objects_that_overlap_each_other_take_their_union() -> None:
    plane = shapely.box(0, 0, 10, 10)
    holes = [shapely.box(1, 1, 4, 4), shapely.box(3, 3, 6, 6)]
    left = after_clearing(ShapeSet.of([plane, *holes], [0.0] * 3), np.array([True, False, False]))
    assert float(shapely.area(left.shapes.skeleton).sum()) == pytest.approx(100 - (9 + 9 - 1))


def test_a_negative_image_is_its_frame_without_what_it_draws() -> None:
    shapes, dark = negated(ShapeSet.of([shapely.box(2, 2, 4, 4)], [0.0]), np.array([True]), shapely.box(0, 0, 10, 10))
    left = after_clearing(shapes, dark)
    assert float(shapely.area(left.shapes.skeleton).sum()) == pytest.approx(100 - 4)


@pytest.mark.parametrize("radius", [0.05, 0.4, 1.5, 3.0])
def test_chords_lie_within_the_stated_distance_of_the_circle(radius: float) -> None:
    ring = shapely.get_coordinates(as_polygons(ShapeSet.of([shapely.Point(0, 0)], [radius]))[0])
    middles = (ring[:-1] + ring[1:]) / 2
    assert radius - np.hypot(*middles.T).min() <= CHORD_MM * 1.001
    assert quadrant_chords(radius) in (4, 8, 16, 32, 64)


def test_objects_without_any_extent_are_left_out() -> None:
    left = after_clearing(ShapeSet.of([shapely.Point(), shapely.Point(1, 1)], [1.0, 1.0]), np.array([True, True]))
    assert left.source.tolist() == [1]
