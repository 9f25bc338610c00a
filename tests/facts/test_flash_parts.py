"""One flash whose image lies in several parts: each part is copper of its own. Expected islands by construction of the drawing.

Source of the apertures: Ucamco, The Gerber Layer Format Specification, 4.4 (holes) and 4.5 (macro primitives 1, 7, 20, 21; exposure off).
"""

from __future__ import annotations

import pytest
import shapely

from coppermend.core.copper.build import build_graph
from coppermend.core.geometry.polarity import in_parts
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of, compare_board

HEAD = "%FSLAX46Y46*%%MOMM*%"

CASES = {
    # two dots of 1 mm, 4 mm apart
    "two dots": ("%AMA*1,1,1,0,0*1,1,1,4,0*%%ADD10A*%", [("A", 0.4, 0), ("B", 4, 0.3)]),
    # a bar of 6 mm with a gap of 0.4 mm that is not exposed
    "gap not exposed": ("%AMA*21,1,6,1,0,0,0*21,0,0.4,2,0,0,0*%%ADD10A*%", [("A", -2, 0), ("B", 2, 0)]),
    # thermal primitive: ring from 3 to 4 mm, four gaps of 0.5 mm on the axes
    "thermal": (
        "%AMA*7,0,0,4,3,0.5,0*%%ADD10A*%",
        [("A", 1.24, 1.24), ("B", -1.24, 1.24), ("C", -1.24, -1.24), ("D", 1.24, -1.24)],
    ),
    # a dot of 1 mm in a ring from 3 to 4 mm
    "fiducial": ("%AMA*1,1,4,0,0*1,0,3,0,0*1,1,1,0,0*%%ADD10A*%", [("DOT", 0, 0), ("GND", 1.75, 0), ("GND", 0, -1.75)]),
    # a rectangle of 4 x 1 mm with a hole of 1 x 2 mm
    "hole splits": ("%ADD10R,4X1X1X2*%", [("A", -1.5, 0), ("B", 1.5, 0)]),
    # two bars that overlap stay one
    "bars that overlap": ("%AMA*21,1,6,1,0,0,0*21,1,1,6,0,0,0*%%ADD10A*%", [("A", -2.5, 0), ("A", 0, 2.5)]),
}


def package(aperture: str, points: list[tuple[str, float, float]], more: str = "") -> Package:
    """One flash at 10, 10 and a netlist with a surface point of its own part at each place; a dot of 0.02 mm lies there, too."""
    dots = "".join(f"X{round((x + 10) * 1e6)}Y{round((y + 10) * 1e6)}D03*" for _, x, y in points)
    gerber = f"{HEAD}{aperture}{more}%ADD99C,0.02*%G01*D10*X10000000Y10000000D03*D99*{dots}M02*"
    rows = "".join(
        f"327{net:<14}   {f'P{k}':<6}-1           A01X{round((x + 10) * 1000):+07d}Y{round((y + 10) * 1000):+07d}X0020Y0020R000S2\n"
        for k, (net, x, y) in enumerate(points)
    )
    netlist = "P  UNITS CUST 1\n" + rows + "999\n"
    return Package("parts", (Member("a.gtl", gerber.encode()), Member("n.ipc", netlist.encode())))


@pytest.mark.parametrize("case", CASES)
def test_each_part_of_a_flash_is_an_island_of_its_own(case: str) -> None:
    made = board_of(package(*CASES[case]))
    expected = {net for net, _, _ in CASES[case][1]}
    found = {net.name: net.pins for net in made.nets}
    assert set(found) == expected
    assert sum(map(len, found.values())) == len(CASES[case][1])
    said = compare_board(made)
    assert said["points"] == said["agree"] == len(CASES[case][1]) and said["agrees"]
    graph = build_graph(made)
    assert {graph.net_names[site.net] for site in graph.sites} == expected
    assert len({point.net for point in graph.points}) == len(expected)


def test_a_track_across_two_parts_joins_them() -> None:
    aperture, points = CASES["two dots"]
    stroke = "%ADD11C,0.2*%D11*X10000000Y10000000D02*G01*X14000000Y10000000D01*"
    made = board_of(package(aperture, points, stroke))
    assert len(made.nets) == 1 and len(made.nets[0].names) == 2


def test_a_netlist_that_joins_the_parts_is_told_of_the_open() -> None:
    aperture, points = CASES["two dots"]
    said = compare_board(board_of(package(aperture, [("A", x, y) for _, x, y in points])))
    (split,) = said["split_nets"]
    assert split["nets"] == ["A"] and split["x_mm"] == pytest.approx(12.0)


def test_parts_keep_the_radius_and_name_their_object() -> None:
    both = shapely.MultiPoint([(0, 0), (5, 0)])
    found = in_parts(ShapeSet.of([shapely.Point(9, 9), both, shapely.LineString([(0, 9), (9, 9)])], [0.5, 0.25, 0.1]))
    assert found.source.tolist() == [0, 1, 1, 2] and found.shapes.radius_mm.tolist() == [0.5, 0.25, 0.25, 0.1]
    assert [one.geom_type for one in found.shapes.skeleton] == ["Point", "Point", "Point", "LineString"]
