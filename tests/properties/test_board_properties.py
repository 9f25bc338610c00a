"""Invariants of boards: moving, rotating or mirroring changes no net; stripping names changes no island; the order of objects changes no net."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.handmade import area, clear, drill, land, nets_of_pins, point, records, track

from coppermend.core.board.records import GerberImage, ObjectAttributes
from coppermend.core.board.sources import PackageRecords
from coppermend.core.copper.compare import compare
from coppermend.core.copper.fabricate import board_from
from coppermend.core.geometry.shapes import ShapeSet

STEP_MM = 0.25
"""Everything lies on this grid and has widths of multiples of it, so that no gap is within rounding of the touching distance."""

spots = st.tuples(st.integers(0, 40), st.integers(0, 40)).map(lambda p: (p[0] * STEP_MM, p[1] * STEP_MM))
widths = st.integers(1, 4).map(lambda k: k * STEP_MM)


@st.composite
def packages(draw: Any) -> PackageRecords:
    """Two layers of lands, tracks, a pour and clear strokes, with plated and bare holes and a netlist of the pins."""
    pins = draw(st.lists(spots, min_size=2, max_size=8, unique=True))
    layers: list[list[Any]] = [[], []]
    for side in layers:
        if draw(st.booleans()):
            x, y = draw(spots)
            side.append(area(shapely.box(x, y, x + 4, y + 3)))
        for _ in range(draw(st.integers(0, 2))):
            a, b = draw(spots), draw(spots)
            side.append(clear(track(a, b, width=draw(widths))))
        for k, (x, y) in enumerate(pins):
            side.append(land(x, y, f"U1.{k + 1}", diameter=1.0))
        for _ in range(draw(st.integers(0, 6))):
            a, b = draw(spots), draw(spots)
            side.append(track(a, b, width=draw(widths)))
    holes = [(x, y, 0.5) for x, y in pins]
    vias = [(x, y, 0.25) for x, y in draw(st.lists(spots, max_size=3, unique=True)) if (x, y) not in pins]
    bare = [(x, y, 0.75) for x, y in draw(st.lists(spots, max_size=2, unique=True)) if (x, y) not in pins]
    rows = [point(f"N{k}", f"U1.{k + 1}", x, y) for k, (x, y) in enumerate(pins)]
    drills = [drill([*holes, *vias])] + ([drill(bare, plated=0, name="bare")] if bare else [])
    return records(layers, drills, rows)


def moved(package: PackageRecords, matrix: tuple[float, ...]) -> PackageRecords:
    """The package with every coordinate mapped by (a, b, d, e, dx, dy): x' = a x + b y + dx, y' = d x + e y + dy."""
    a, b, d, e, dx, dy = matrix

    def image(one: GerberImage) -> GerberImage:
        shapes = [shapely.affinity.affine_transform(s, [a, b, d, e, dx, dy]) for s in one.shapes.skeleton]
        at = one.at_mm @ np.array([[a, d], [b, e]]) + np.array([dx, dy])
        return replace(one, shapes=ShapeSet.of(shapes, one.shapes.radius_mm), at_mm=at)

    def holes(one: Any) -> Any:
        x, y, x2, y2 = one.x_mm, one.y_mm, one.x2_mm, one.y2_mm
        return replace(
            one,
            x_mm=a * x + b * y + dx,
            y_mm=d * x + e * y + dy,
            x2_mm=a * x2 + b * y2 + dx,
            y2_mm=d * x2 + e * y2 + dy,
        )

    def rows(one: Any) -> Any:
        return replace(
            one,
            records=tuple(
                replace(r, x_mm=a * r.x_mm + b * r.y_mm + dx, y_mm=d * r.x_mm + e * r.y_mm + dy) for r in one.records
            ),
        )

    return replace(
        package,
        images=tuple(image(one) for one in package.images),
        drills=tuple(holes(one) for one in package.drills),
        netlists=tuple(rows(one) for one in package.netlists),
    )


@settings(max_examples=40)
@given(packages(), st.floats(0, 360), st.booleans(), st.floats(-300, 300), st.floats(-300, 300))
def test_moving_rotating_or_mirroring_changes_no_net(
    package: PackageRecords, degrees: float, mirror: bool, dx: float, dy: float
) -> None:
    turn = math.radians(degrees)
    sign = -1.0 if mirror else 1.0
    matrix = (sign * math.cos(turn), -math.sin(turn), sign * math.sin(turn), math.cos(turn), dx, dy)
    before, after = board_from(package), board_from(moved(package, matrix))
    assert nets_of_pins(before) == nets_of_pins(after)
    assert len(before.nets) == len(after.nets)


@settings(max_examples=20)
@given(packages(), st.sampled_from([0, 90, 180, 270]), st.booleans())
def test_quarter_turns_change_no_island_and_no_comparison(package: PackageRecords, degrees: int, mirror: bool) -> None:
    c, s = {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}[degrees]
    sign = -1 if mirror else 1
    before, after = board_from(package), board_from(moved(package, (sign * c, -s, sign * s, c, 0.0, 0.0)))
    for a, b in zip(before.layers, after.layers, strict=True):
        assert len(a.shapes) == len(b.shapes)
        assert len(np.unique(a.island)) == len(np.unique(b.island))
    said = [
        [(r.points, r.agree, len(r.split_nets), len(r.joined_nets)) for r in compare(one)] for one in (before, after)
    ]
    assert said[0] == said[1]


@settings(max_examples=25)
@given(packages())
def test_stripping_names_and_netlist_changes_no_island(package: PackageRecords) -> None:
    bare = replace(
        package,
        images=tuple(
            replace(one, attributes=tuple(ObjectAttributes() for _ in one.attributes)) for one in package.images
        ),
        netlists=(),
    )
    before, after = board_from(package), board_from(bare)
    for a, b in zip(before.layers, after.layers, strict=True):
        assert np.array_equal(a.island, b.island)
    assert [hole.island for hole in before.holes] == [hole.island for hole in after.holes]


@settings(max_examples=25)
@given(packages(), st.randoms(use_true_random=False))
def test_the_order_of_dark_objects_and_holes_changes_no_net(package: PackageRecords, chance: Any) -> None:
    def shuffled(one: GerberImage) -> GerberImage:
        if not one.dark.all():
            return one
        order = list(range(len(one.kind)))
        chance.shuffle(order)
        index = np.array(order, dtype=int)
        return replace(
            one,
            kind=one.kind[index],
            shapes=one.shapes.take(index),
            attribute=one.attribute[index],
            at_mm=one.at_mm[index],
        )

    def turned(one: Any) -> Any:
        columns = ("x_mm", "y_mm", "x2_mm", "y2_mm", "diameter_mm", "plated")
        return replace(one, **{name: getattr(one, name)[::-1] for name in columns})

    other = replace(package, images=tuple(map(shuffled, package.images)), drills=tuple(map(turned, package.drills)))
    assert nets_of_pins(board_from(package)) == nets_of_pins(board_from(other))


@settings(max_examples=25)
@given(packages(), spots, spots)
def test_adding_a_track_never_splits_a_net(
    package: PackageRecords, a: tuple[float, float], b: tuple[float, float]
) -> None:
    first = package.images[0]
    more = replace(
        first,
        kind=np.append(first.kind, "draw"),
        dark=np.append(first.dark, True),
        shapes=ShapeSet.of([*first.shapes.skeleton, shapely.LineString([a, b])], [*first.shapes.radius_mm, 0.125]),
        attribute=np.append(first.attribute, np.int32(len(first.attributes))),
        attributes=(*first.attributes, ObjectAttributes()),
        at_mm=np.vstack([first.at_mm, [a]]),
    )
    before = nets_of_pins(board_from(package))
    after = nets_of_pins(board_from(replace(package, images=(more, *package.images[1:]))))
    for group in before:
        assert any(group <= other for other in after)
