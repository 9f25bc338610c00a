"""The demonstration package: made anew byte for byte, sound by its rules, and read the same by foreign libraries."""

from __future__ import annotations

import csv
import hashlib
import io
import itertools
import json
import re
import warnings
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from demo import spacing
from demo.copper import Board, Track, Via
from demo.generate import load_board, package_files
from demo.pour import one_contour

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "demo" / "package"
COPPER = {"c": "larkenfell64-copper-component.gbr", "s": "larkenfell64-copper-solder.gbr"}


@pytest.fixture(scope="module")
def board() -> Board:
    return load_board()


def test_the_committed_files_are_what_the_generator_writes(board):
    made = {name: hashlib.sha256(data).hexdigest() for name, data in package_files(board).items()}
    committed = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in PACKAGE.iterdir()}
    assert made == committed


def test_the_board_breaks_no_rule_and_every_net_is_one_piece(board):
    assert spacing.check(board) == []
    islands = spacing.islands(board)
    routed = {p.net for p in board.lands if p.net}
    alone = [p for p in board.lands if not p.net]
    assert len(islands) == len(routed) + len(alone)


def shifted(board: Board, index: int, dx: float) -> Board:
    track = board.tracks[index]
    moved = replace(track, points=tuple((x + dx, y) for x, y in track.points))
    return replace(board, tracks=(*board.tracks[:index], moved, *board.tracks[index + 1 :]))


def rules(board: Board) -> set[str]:
    return {v.rule for v in spacing.check(board)}


def test_the_rule_check_sees_a_missing_track(board):
    """Without any one of these tracks some net falls apart (all nets but ground and +5 V are trees)."""
    trees = [i for i, t in enumerate(board.tracks) if t.net not in ("GND", "VCC")]
    for index in trees[:: len(trees) // 4]:
        cut = replace(board, tracks=board.tracks[:index] + board.tracks[index + 1 :])
        assert [(v.rule, board.tracks[index].net in v.words) for v in spacing.check(cut)] == [("open", True)]


def test_the_rule_check_sees_a_missing_via(board):
    index = next(i for i, v in enumerate(board.vias) if v.net == "/CAS")
    assert "open" in rules(replace(board, vias=board.vias[:index] + board.vias[index + 1 :]))


def test_the_rule_check_sees_tracks_too_close_and_shorts(board):
    near = next(p for p in board.lands if (p.ref, p.number) == ("U20", "3"))
    foreign = Track(
        "D0", "s", 0.3, ((near.x_mm + 1.09, near.y_mm), (near.x_mm + 1.09, near.y_mm + 1))
    )  # 1.09 - 0.75 - 0.15 = 0.19 mm
    assert "copper gap" in rules(replace(board, tracks=(*board.tracks, foreign)))
    across = Track("D0", "s", 0.3, ((near.x_mm, near.y_mm), (near.x_mm, near.y_mm + 1)))
    assert {"short", "copper gap"} <= rules(replace(board, tracks=(*board.tracks, across)))


def test_the_rule_check_sees_holes_rings_and_edges(board):
    close = Via("GND", board.vias[-1].x_mm + 0.6, board.vias[-1].y_mm, 1.05, 0.65)
    assert "hole to hole" in rules(replace(board, vias=(*board.vias, close)))
    thin = replace(board.vias[-1], land_mm=0.9)
    assert "ring" in rules(replace(board, vias=(*board.vias[:-1], thin)))
    edge = Track("GND", "s", 0.3, ((0.3, 50.0), (0.3, 60.0)))
    assert "edge" in rules(replace(board, tracks=(*board.tracks, edge)))


def test_tracks_run_level_on_the_component_side_and_upright_on_the_solder_side(board):
    """As boards of its time did: most of the length of signal tracks in the side's own direction, the rest at 45 degrees or across."""
    for side, along in (("c", 0), ("s", 1)):
        lengths = {True: 0.0, False: 0.0}
        for track in board.tracks:
            if track.side == side and track.width_mm == 0.3:
                for a, b in zip(track.points, track.points[1:], strict=False):
                    dx, dy = abs(a[0] - b[0]), abs(a[1] - b[1])
                    assert dx == 0 or dy == 0 or dx == pytest.approx(dy)
                    lengths[(dx, dy)[1 - along] == 0] += max(dx, dy)
        assert lengths[True] > 0.85 * sum(lengths.values())


def foreign_copper(name: str):
    """The dark copper of a Gerber file as gerbonara reads it: a list of shapely shapes."""
    from gerbonara import GerberFile
    from gerbonara.graphic_primitives import ArcPoly, Circle, Line, Rectangle
    from gerbonara.utils import MM

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        objects = GerberFile.open(PACKAGE / name).objects
    shapes = []
    for item in objects:
        for p in item.to_primitives(MM):
            assert p.polarity_dark
            if isinstance(p, Circle):
                shapes.append(shapely.Point(p.x, p.y).buffer(p.r))
            elif isinstance(p, Line):
                shapes.append(shapely.LineString([(p.x1, p.y1), (p.x2, p.y2)]).buffer(p.width / 2))
            elif isinstance(p, Rectangle):
                shapes.append(shapely.box(p.x - p.w / 2, p.y - p.h / 2, p.x + p.w / 2, p.y + p.h / 2))
            else:
                assert isinstance(p, ArcPoly)
                shapes.append(shapely.make_valid(shapely.Polygon(p.outline)))
    return shapes


@pytest.fixture(scope="module")
def read_back() -> dict[str, list]:
    return {side: foreign_copper(name) for side, name in COPPER.items()}


def test_gerbonara_finds_the_same_copper(board, read_back):
    """Area of the union and of the difference, both sides; the foreign library knows nothing of our shapes."""
    pieces = spacing.copper(board)
    for side, shapes in read_back.items():
        ours = shapely.union_all([p.shape for p in pieces if p.side == side])
        theirs = shapely.union_all(shapes)
        assert theirs.area == pytest.approx(ours.area, rel=0.002)
        assert ours.symmetric_difference(theirs).area < 0.002 * ours.area


def test_copper_and_drill_read_by_gerbonara_give_the_netlist_read_by_gerbonara(board, read_back):
    """Islands of copper joined through drilled holes, against the IPC-D-356A records: same partition of all points, no code of ours."""
    from gerbonara import ExcellonFile
    from gerbonara.ipc356 import Netlist
    from gerbonara.utils import MM

    shapes = [(side, shape) for side in "cs" for shape in read_back[side]]
    tree = shapely.STRtree([shape for _, shape in shapes])
    up = list(range(len(shapes)))

    def find(i: int) -> int:
        while up[i] != i:
            up[i] = up[up[i]]
            i = up[i]
        return i

    for i, j in tree.query(tree.geometries, predicate="intersects").T:
        if shapes[i][0] == shapes[j][0]:
            up[find(int(i))] = find(int(j))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        hits = ExcellonFile.open(PACKAGE / "larkenfell64-drill-plated.xnc").objects
        records = [r for r in Netlist.open(PACKAGE / "larkenfell64.ipc").test_records if r.is_via or r.ref_des]
    holes = [shapely.Point(MM(h.x, h.unit), MM(h.y, h.unit)) for h in hits]
    first: dict[int, int] = {}
    for i, j in tree.query(holes, predicate="intersects").T:
        up[find(first.setdefault(int(i), int(j)))] = find(int(j))
    assert len(holes) == len(records) == len(board.lands) + len(board.vias)
    nets_of: dict[int, set[str]] = {}
    islands_of: dict[str, set[int]] = {}
    for number, record in enumerate(records):
        point = shapely.Point(MM(record.x, record.unit), MM(record.y, record.unit))
        island = find(int(tree.query(point, predicate="intersects")[0]))
        name = f"alone {number}" if record.net_name in (None, "N/C") else record.net_name
        nets_of.setdefault(island, set()).add(name)
        islands_of.setdefault(name, set()).add(island)
    assert {len(v) for v in nets_of.values()} == {1}
    assert {len(v) for v in islands_of.values()} == {1}


def test_pygerber_reads_the_sizes(board):
    """A second, unrelated reader: the outer edges of outline and mask (units, format and apertures understood)."""
    from pygerber.gerberx3.api.v2 import GerberFile

    def size(name: str) -> tuple[float, float]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            info = GerberFile.from_file(PACKAGE / name).parse().get_info()
        return float(info.width_mm), float(info.height_mm)

    assert size("larkenfell64-outline.gbr") == pytest.approx(
        (279.5, 200.76), abs=1e-3
    )  # the board and a line of 0.1 mm
    round_openings = [(p.x_mm, p.y_mm, p.land.size_mm / 2 + 0.1) for p in board.lands]
    round_openings += [(v.x_mm, v.y_mm, v.land_mm / 2 + 0.1) for v in board.vias]
    width = max(x + r for x, _, r in round_openings) - min(x - r for x, _, r in round_openings)
    height = max(y + r for _, y, r in round_openings) - min(y - r for _, y, r in round_openings)
    assert size("larkenfell64-mask-solder.gbr") == pytest.approx((width, height), abs=1e-3)


def test_netlist_records_have_the_columns_of_the_standard():
    """IPC-D-356A: 80 columns; net in 4-17, designator 21-26, pin 28-31, hole 34-37, access 39-41, X 42-49, Y 50-57."""
    lines = (PACKAGE / "larkenfell64.ipc").read_bytes().decode("ascii").split("\r\n")
    records = [line for line in lines if line.startswith("317")]
    assert {len(line) for line in records} == {80}
    cpu = next(line for line in records if line[20:26] == "U1    " and line[27:31] == "11  ")
    assert (cpu[3:17].strip(), cpu[32:38], cpu[38:41], cpu[41], cpu[49]) == ("VCC", "D0800P", "A00", "X", "Y")
    assert all(re.fullmatch(r"[+-]\d{6}", line[42:49]) and re.fullmatch(r"[+-]\d{6}", line[50:57]) for line in records)
    assert lines[-2:] == ["999", ""]


def test_the_job_file_states_what_the_files_say_themselves():
    job = json.loads((PACKAGE / "larkenfell64.gbrjob").read_text(encoding="ascii"))
    stated = {f["Path"]: f["FileFunction"] for f in job["FilesAttributes"]}
    own = {}
    for path in sorted(PACKAGE.iterdir()):
        match = (
            re.search(r"TF\.FileFunction,([^*\r\n]+)", path.read_text(encoding="ascii"))
            if path.suffix in (".gbr", ".xnc")
            else None
        )
        if match:
            own[path.name] = match.group(1).removesuffix(",NP")
    assert stated == own
    assert job["GeneralSpecs"]["LayerNumber"] == 2


def test_the_parts_list_holds_every_part_once(board):
    rows = list(csv.DictReader(io.StringIO((PACKAGE / "parts.csv").read_text(encoding="utf-8"))))
    assert [r["ref"] for r in rows] == [p.part.ref for p in board.parts]
    assert {r["ref"] for r in rows if r["state"] == "socketed"} == {"U1", "U4", "U5", "U22", "U29"}
    cpu = next(r for r in rows if r["ref"] == "U1")
    pins = [p for p in board.lands if p.ref == "U1"]
    assert float(cpu["x_mm"]) == pytest.approx(sum(p.x_mm for p in pins) / 40, abs=0.001)
    assert float(cpu["y_mm"]) == pytest.approx(sum(p.y_mm for p in pins) / 40, abs=0.001)


def test_an_area_with_holes_becomes_one_contour_of_the_same_area():
    """Shoelace area of a 10 mm square with two holes of 2 mm and 1 mm: 100 - 4 - 1 = 95 square millimetres."""
    outer = ((0, 0), (10_000, 0), (10_000, 10_000), (0, 10_000))
    first = ((2000, 2000), (2000, 4000), (4000, 4000), (4000, 2000))
    second = ((6000, 2500), (6000, 3500), (7000, 3500), (7000, 2500))
    contour = one_contour((outer, first, second))
    area = sum(ax * by - bx * ay for (ax, ay), (bx, by) in itertools.pairwise(contour)) / 2
    assert area == pytest.approx(95.0)
    assert contour[0] == contour[-1]


@pytest.mark.soak
def test_the_tracks_are_found_again():
    """The track search run anew gives the committed routes.json (minutes)."""
    from demo.route import ROUTES, find_routes

    assert find_routes(False) == ROUTES.read_text(encoding="utf-8")
