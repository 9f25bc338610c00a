"""Whole packages against foreign libraries: the boards of npm's @tracespace/fixtures and those of COPPERMEND_CORPUS.

Nothing of them is kept in the project: the fixtures are fetched with the ordinary npm client when the test runs, else the tests
say that they were not run.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tarfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from tests.oracles.gerber_oracles import Pixels, gerbonara_area, ours, scatter

from coppermend.core.findings import Severity
from coppermend.formats.drill import read_drill
from coppermend.formats.gerber import read_gerber
from coppermend.formats.ipcd356 import read_ipcd356
from coppermend.formats.member import Member
from coppermend.formats.package import Format, PackagePlan, PlannedFile, RoleKind, plan_package

FIXTURES = "@tracespace/fixtures@4.2.7"
ROUND = 8
"""Chords to a quarter of a round end, on both sides of the comparison."""
QUICK = ("core", "mchck", "usbvil")
LONG = ("8bit-mixtape", "arduino-uno", "bus-pirate", "clockblock", "freeduino")
BOARDS = (*QUICK, *(pytest.param(board, marks=pytest.mark.soak) for board in LONG))


@pytest.fixture(scope="session")
def fixtures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip(f"not run: no npm client to fetch {FIXTURES}")
    folder = tmp_path_factory.mktemp("fixtures")
    try:
        done = subprocess.run([npm, "pack", FIXTURES], cwd=folder, capture_output=True, timeout=120, check=False)
    except subprocess.TimeoutExpired:
        pytest.skip(f"not run: {FIXTURES} could not be fetched in 120 s")
    if done.returncode != 0:
        pytest.skip(f"not run: {FIXTURES} could not be fetched")
    with tarfile.open(next(folder.glob("*.tgz"))) as archive:
        archive.extractall(folder, filter="data")
    return folder / "package" / "boards"


def members(folder: Path) -> list[Member]:
    return [Member(p.relative_to(folder).as_posix(), p.read_bytes()) for p in sorted(folder.rglob("*")) if p.is_file()]


def gerbers(plan: PackagePlan) -> Iterator[PlannedFile]:
    for file in plan.files:
        if file.format is Format.GERBER and file.role.kind in (RoleKind.COPPER, RoleKind.MASK):
            yield file


def assert_same_copper(file: PlannedFile) -> None:
    """Area, symmetric difference and 10,000 random points agree with gerbonara."""
    mine = ours(read_gerber(file.member.data, file.member.name), ROUND)
    if mine.is_empty:
        return
    theirs = gerbonara_area(file.member.data.decode("utf-8"), ROUND)
    off = shapely.symmetric_difference(mine, theirs).area
    assert off <= 2e-3 * mine.length, (file.member.name, off)  # 2 um along every edge: chords here and there
    xy, inside = scatter(mine, 10_000, away_mm=0.005)
    shapely.prepare(theirs)
    assert (shapely.contains(theirs, shapely.points(xy)) == inside).all(), file.member.name


@pytest.mark.parametrize("board", BOARDS)
def test_layers_of_the_fixture_boards_agree_with_gerbonara(fixtures: Path, board: str) -> None:
    plan = plan_package(members(fixtures / board))
    assert len(plan.of_kind(RoleKind.COPPER)) == 2
    assert plan.of_kind(RoleKind.DRILL)
    for file in gerbers(plan):
        assert_same_copper(file)


@pytest.mark.parametrize("layer", ["core/core.GTS", "usbvil/pic18f14k50.gbs"])
def test_a_layer_agrees_with_pygerber(fixtures: Path, layer: str) -> None:
    data = (fixtures / layer).read_bytes()
    mine = ours(read_gerber(data, layer))
    pixels = Pixels(data.decode(), dots_per_mm=40)
    xy, inside = scatter(mine, 10_000, away_mm=0.08)
    assert inside.any()
    assert (pixels.dark(xy) == inside).all()


@pytest.mark.parametrize("board", (*QUICK, *LONG))
def test_holes_of_the_fixture_boards_lie_in_lands(fixtures: Path, board: str) -> None:
    """Whatever format was guessed, most holes lie in copper."""
    plan = plan_package(members(fixtures / board))
    images = [read_gerber(f.member.data, f.member.name) for f in plan.of_kind(RoleKind.COPPER)]
    lands = shapely.STRtree(np.concatenate([i.shapes.polygons(4) for i in images]))
    drills = [read_drill(f.member.data, f.member.name, f.drill_hint, f.side) for f in plan.of_kind(RoleKind.DRILL)]
    points = np.concatenate([shapely.points(d.x_mm, d.y_mm) for d in drills])
    hit, _ = lands.query(points, predicate="within")
    assert len(set(hit.tolist())) > 0.85 * len(points)


def test_attributes_of_a_six_layer_board(tmp_path: Path) -> None:
    """The A64 board in PyPI's gerberdiff source package: 458 net names and 2,046 pins in its X2 attributes (issue 2)."""
    fetch = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--quiet",
        "--no-deps",
        "--no-binary",
        ":all:",
        "gerberdiff==0.30.0",
    ]
    try:
        done = subprocess.run(fetch, cwd=tmp_path, capture_output=True, timeout=120, check=False)
    except subprocess.TimeoutExpired:
        pytest.skip("not run: gerberdiff could not be fetched in 120 s")
    if done.returncode != 0:
        pytest.skip("not run: gerberdiff could not be fetched with pip")
    with tarfile.open(next(tmp_path.glob("*.tar.gz"))) as archive:
        archive.extractall(tmp_path, filter="data")
    plan = plan_package(members(next(tmp_path.glob("*/tests/fixtures/gerbers-after"))))
    copper = plan.of_kind(RoleKind.COPPER)
    assert [f.role.key for f in copper] == ["c", "i1", "i2", "i3", "i4", "s"]
    attributes = [a for f in copper for a in read_gerber(f.member.data, f.member.name).attributes]
    assert len({net for a in attributes for net in a.nets}) == 458
    assert len({(a.part, a.pin) for a in attributes if a.pin}) == 2046


# ---- the corpus ----
@pytest.mark.corpus
@pytest.mark.parametrize("board", ["6502atty", pytest.param("mackerel08_v11", marks=pytest.mark.soak)])
def test_corpus_layers_agree_with_gerbonara(corpus: Path, board: str) -> None:
    for file in gerbers(plan_package(members(corpus / board))):
        assert_same_copper(file)


@pytest.mark.corpus
def test_corpus_ten_layers_are_found_in_order(corpus: Path) -> None:
    plan = plan_package(members(corpus / "minnowmax"))
    copper = plan.of_kind(RoleKind.COPPER)
    assert [f.role.key for f in copper] == ["c", "i1", "i2", "i3", "i4", "i5", "i6", "i7", "i8", "s"]
    images = [read_gerber(f.member.data, f.member.name) for f in copper]
    # shared/boards/README: 41,956 copper objects, 6,214 of them clear
    assert sum(len(i) for i in images) == 41_956
    assert sum(int((~i.dark).sum()) for i in images) == 6_214
    assert not [f for i in images for f in i.findings if f.severity in (Severity.ERROR, Severity.WARNING)]


@pytest.mark.corpus
@pytest.mark.parametrize(("board", "records"), [("fella_z80pc", 2146), ("6502atty", 525), ("minnowmax", 5763)])
def test_corpus_netlists_agree_with_gerbonara(corpus: Path, board: str, records: int) -> None:
    from gerbonara.ipc356 import Netlist

    plan = plan_package(members(corpus / board))
    (file,) = plan.of_kind(RoleKind.NETLIST)
    mine = read_ipcd356(file.member.data, file.member.name)
    theirs = Netlist.open(corpus / board / file.member.name)
    assert len(mine.records) == len(theirs.test_records) == records
    for a, b in zip(mine.records, theirs.test_records, strict=True):
        assert (a.x_mm, a.y_mm) == pytest.approx((b.unit.convert_to("mm", b.x), b.unit.convert_to("mm", b.y)), abs=1e-6)
        assert a.net == (b.net_name or a.net)
        assert (a.ref or a.via, a.pin) == (b.ref_des or a.via, b.pin or "")
    assert all(r.pin_num is None for r in theirs.test_records)  # the field it documents is never filled


@pytest.mark.corpus
@pytest.mark.parametrize("board", ["fella_z80pc", "6502atty", "minnowmax"])
def test_corpus_drills_agree_with_the_netlist(corpus: Path, board: str) -> None:
    """Every drilled test record of the netlist has a hole of its size, after the shift of origin; sizes rounded to 0.0001 inch."""
    plan = plan_package(members(corpus / board))
    (file,) = plan.of_kind(RoleKind.NETLIST)
    wanted = [r for r in read_ipcd356(file.member.data, file.member.name).records if r.hole_mm > 0 and r.plated]
    drills = [read_drill(f.member.data, f.member.name, f.drill_hint, f.side) for f in plan.of_kind(RoleKind.DRILL)]
    holes = np.concatenate(
        [np.column_stack([(d.x_mm + d.x2_mm) / 2, (d.y_mm + d.y2_mm) / 2, d.diameter_mm]) for d in drills]
    )
    ends = np.array([(r.x_mm, r.y_mm) for r in wanted])
    tree = shapely.STRtree(shapely.points(holes[:, :2]))
    _, distance = tree.query_nearest(shapely.points(ends), return_distance=True, all_matches=False)
    assert (distance < 0.01).mean() > 0.99


@pytest.mark.corpus
def test_corpus_slots_that_the_library_refuses(corpus: Path) -> None:
    from gerbonara import ExcellonFile

    path = next((corpus / "mackerel08_v11").glob("*-PTH.drl"))
    with pytest.raises(SyntaxError):
        ExcellonFile.open(path)
    drill = read_drill(path.read_bytes(), path.name)
    assert (drill.kind == 1).sum() == 3
