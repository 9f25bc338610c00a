"""Real packages against the netlists that their design systems wrote: islands come from copper and drill alone, names from outside."""

from __future__ import annotations

import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

from coppermend.adapters.files.packages import DiskPackages
from coppermend.core.board.model import Board
from coppermend.core.copper.compare import SourceRow, compare
from coppermend.services.boards import build_board

EXPECTED_NETS = {"fella_z80pc": 260, "6502atty": 145}
"""Nets on which copper, IPC-D-356A and X2 agree: README beside the packages, counted there with other tools."""


def built(folder: Path) -> tuple[Board, tuple[SourceRow, ...]]:
    board = build_board(DiskPackages(), str(folder))
    return board, compare(board)


@pytest.mark.corpus
@pytest.mark.parametrize("name", sorted(EXPECTED_NETS))
def test_two_layer_boards_agree_exactly_with_both_netlists(corpus: Path, name: str) -> None:
    board, rows = built(corpus / name)
    assert len(rows) == 2
    assert all(row.exact and row.nets == EXPECTED_NETS[name] for row in rows)
    assert sum(bool(net.names) for net in board.nets) == EXPECTED_NETS[name]


@pytest.mark.corpus
def test_the_four_layer_board_agrees_in_all_689_pins(corpus: Path) -> None:
    # README beside the packages: 131 nets (N/C counted as one), 689 pins.
    _, (row,) = built(corpus / "mackerel08_v11")
    assert row.exact and row.points == 689 and row.nets == 130


@pytest.mark.corpus
def test_the_ten_layer_board_agrees_but_for_four_intended_sense_ties(corpus: Path) -> None:
    # README beside the packages; the ties are the lands SP1 to SP4 of the layout.
    _, (row,) = built(corpus / "minnowmax")
    assert not row.split_nets and len(row.joined_nets) == 4 and len(row.missed) <= 2
    assert {one.why for one in row.joined_nets} == {"tie"}
    assert {part for one in row.joined_nets for part in ("SP1", "SP2", "SP3", "SP4") if part in one.words} == {
        "SP1",
        "SP2",
        "SP3",
        "SP4",
    }


@pytest.fixture(scope="module")
def a64(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The A64 board in the source package of gerberdiff, fetched by the usual client into a temporary folder."""
    folder = tmp_path_factory.mktemp("a64")
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--no-binary",
        ":all:",
        "--no-deps",
        "-q",
        "-d",
        str(folder),
        "gerberdiff",
    ]
    try:
        subprocess.run(command, check=True, capture_output=True, timeout=180)
    except (OSError, subprocess.SubprocessError):
        pytest.skip("not run: the source package of gerberdiff could not be fetched")
    (archive,) = folder.glob("gerberdiff-*.tar.gz")
    with tarfile.open(archive) as packed:
        packed.extractall(folder, filter="data")
    found = next(folder.glob("gerberdiff-*/tests/fixtures/gerbers-after"), None)
    if found is None:
        pytest.skip("not run: this version of gerberdiff holds no A64 board")
    return found


@pytest.mark.soak
def test_the_a64_board_agrees_with_its_x2_nets_but_for_copper_marked_as_ties(a64: Path) -> None:
    # 458 X2 names (N/C among them) and 2,046 pins: counted in the files. Six of its layers' strokes are marked EtchedComponent by X2: intended ties.
    _, (row,) = built(a64)
    assert (row.nets, row.points, len(row.missed), len(row.split_nets)) == (457, 2046, 0, 0)
    named = [one for one in row.joined_nets if one.why != "no net"]
    # the seventh runs over copper that X2 says is in no net (a printed antenna): a tie or a short, the data do not say
    assert sorted(one.why for one in named) == ["tie"] * 6 + ["tie or short"]
    assert sum("etched component" in one.words for one in named) == 6


@pytest.mark.soak
def test_boards_of_the_registry_fixtures_build_without_refusal(tmp_path: Path) -> None:
    try:
        subprocess.run(
            ["npm", "pack", "@tracespace/fixtures"], cwd=tmp_path, check=True, capture_output=True, timeout=180
        )
    except (OSError, subprocess.SubprocessError):
        pytest.skip("not run: npm or the package @tracespace/fixtures is not to be had")
    (archive,) = tmp_path.glob("*.tgz")
    with tarfile.open(archive) as packed:
        packed.extractall(tmp_path, filter="data")
    boards = sorted((tmp_path / "package" / "boards").iterdir())
    assert len(boards) >= 8
    for folder in boards:
        board = build_board(DiskPackages(), str(folder))
        assert len(board.layers) == 2 and board.nets and any(hole.plated for hole in board.holes), folder.name
        joined = sum(hole.island is not None for hole in board.holes if hole.plated)
        assert joined >= 0.85 * sum(hole.plated for hole in board.holes), folder.name
