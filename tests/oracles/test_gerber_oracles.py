"""Our Gerber reader against closed forms and two unrelated libraries (gerbonara 1.5.0, pygerber 2.4.3)."""

from __future__ import annotations

from typing import Any

import pytest
import shapely
from tests.oracles.gerber_cases import CASES, FAULTS, Case
from tests.oracles.gerber_oracles import Pixels, gerbonara_area, ours, scatter

from coppermend.formats.gerber import read_gerber

ids = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)


@ids
def test_area_and_spots_follow_from_elementary_geometry(case: Case) -> None:
    area = ours(read_gerber(case.text.encode(), "case.gbr"))
    assert area.area == pytest.approx(case.area, rel=1e-3)  # arcs are chords within 0.5 um, round ends 256-gons
    for x, y, copper in case.spots:
        assert bool(area.contains(shapely.Point(x, y))) is copper, (x, y)


def gerbonara_agrees(case: Case, mine: Any) -> bool:
    theirs = gerbonara_area(case.text)
    return bool(shapely.symmetric_difference(mine, theirs).area < 2e-3 * mine.length + 1e-3 * mine.area)


def pygerber_agrees(case: Case, mine: Any) -> bool:
    pixels = Pixels(case.text, dots_per_mm=60)
    xy, inside = scatter(mine, 2000, away_mm=0.06)
    assert inside.any()
    return bool((pixels.dark(xy) == inside).all())


ORACLES = {"gerbonara": gerbonara_agrees, "pygerber": pygerber_agrees}
rights = [(o, c) for o in ORACLES for c in CASES if c.name not in FAULTS[o]]
wrongs = [(o, c) for o in ORACLES for c in CASES if c.name in FAULTS[o]]


def name_of(value: object) -> str:
    return value.name if isinstance(value, Case) else str(value)


@pytest.mark.parametrize(("oracle", "case"), rights, ids=name_of)
def test_a_foreign_library_sees_the_same_copper(oracle: str, case: Case) -> None:
    mine = ours(read_gerber(case.text.encode(), "case.gbr"))
    assert ORACLES[oracle](case, mine)


@pytest.mark.parametrize(("oracle", "case"), wrongs, ids=name_of)
def test_faults_that_the_decision_record_names_are_still_there(oracle: str, case: Case) -> None:
    mine = ours(read_gerber(case.text.encode(), "case.gbr"))
    try:
        agrees = ORACLES[oracle](case, mine)
    except Exception:  # a refusal of the library, of whatever kind
        agrees = False
    assert not agrees, "the library reads this now: take it off the list and correct docs/decisions/0002"


def test_faults_name_existing_cases() -> None:
    names = {c.name for c in CASES}
    for oracle, faults in FAULTS.items():
        assert set(faults) <= names, oracle


def test_gerbonara_flashes_macro_polygons_at_the_origin() -> None:
    from gerbonara import GerberFile
    from gerbonara.utils import MM

    case = next(c for c in CASES if c.name == "macro polygon away from the origin")
    (flash,) = GerberFile.from_string(case.text).objects
    (polygon,) = flash.to_primitives(MM)
    assert sum(x for x, _ in polygon.outline) / len(polygon.outline) == pytest.approx(0.0, abs=1e-9)  # should be 5


def test_gerbonara_makes_a_wrong_polygon_of_a_turned_rectangle() -> None:
    from gerbonara import GerberFile
    from gerbonara.utils import MM

    case = next(c for c in CASES if c.name == "macro center line turned")
    (flash,) = GerberFile.from_string(case.text).objects
    (bar,) = flash.to_primitives(MM)
    theirs = shapely.Polygon(bar.to_arc_poly().outline)
    mine = ours(read_gerber(case.text.encode(), "case.gbr"))
    assert shapely.symmetric_difference(mine, theirs).area > mine.area
