"""Packages on disk and the cache of built boards: what comes back is what was kept; damage, limits and odd names are answered in words."""

from __future__ import annotations

import io
import zipfile
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
import shapely
from tests.facts.test_board_packages import PLACES, excellon, gerber
from tests.handmade import area, board, drill, image, land, point, track

from coppermend.adapters.files.cache import DiskBoards
from coppermend.adapters.files.packages import DiskPackages
from coppermend.core.board.model import Board, CopperLayer
from coppermend.core.findings import Refusal
from coppermend.services.board_pack import pack_board, unpack_board
from coppermend.services.boards import build_board


def rich() -> Board:
    """A board with every kind of value in it."""
    ring = shapely.box(0, 0, 9, 9).difference(shapely.box(2, 2, 3, 3))
    copper = [[land(0, 0, "U1.1", "A"), track((0, 0), (5, 0), net="A"), area(ring, "GND")], [land(0, 0, "U1.1", "A")]]
    silk = image("silk", [track((0, 0), (4, 0), (4, 4), (0, 4), (0, 0))])
    mask = image("mask", [land(0, 0)])
    return board(
        copper,
        [drill([(0, 0, 0.8), (3, 3, 1.0, 6, 3)])],
        [point("A", "U1.1", 0, 0), point("A", "U9.1", 99, 0, 1, None)],
        others=[(silk, "silk", "c"), (mask, "mask", "s"), (silk, "outline", "")],
    )


def same(a: Board, b: Board) -> None:
    """Every field of two boards is equal."""
    for field in fields(Board):
        one, two = getattr(a, field.name), getattr(b, field.name)
        if field.name == "layers":
            for x, y in zip(one, two, strict=True):
                for part in fields(CopperLayer):
                    p, q = getattr(x, part.name), getattr(y, part.name)
                    if part.name == "shapes":
                        same_shapes(p, q)
                    elif isinstance(p, np.ndarray):
                        assert p.tolist() == q.tolist()
                    else:
                        assert p == q
        elif field.name in ("silk", "mask_openings"):
            assert [side for side, _ in one] == [side for side, _ in two]
            for (_, p), (_, q) in zip(one, two, strict=True):
                same_shapes(p, q)
        elif field.name == "outline":
            assert [ring.tolist() for ring in one] == [ring.tolist() for ring in two]
        elif field.name == "parts":
            for x, y in zip(one, two, strict=True):
                assert x.outline.tolist() == y.outline.tolist()
                assert (x.ref, x.side, x.pins, x.value, x.state, x.through_ohm) == (
                    y.ref,
                    y.side,
                    y.pins,
                    y.value,
                    y.state,
                    y.through_ohm,
                )
        else:
            assert one == two, field.name


def same_shapes(a, b) -> None:
    assert a.radius_mm.tolist() == b.radius_mm.tolist()
    assert [one.wkb for one in a.skeleton] == [one.wkb for one in b.skeleton]


def write_package(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "top.gbr").write_bytes(gerber("Copper,L1,Top"))
    (folder / "bottom.gbr").write_bytes(gerber("Copper,L2,Bot"))
    (folder / "board-PTH.drl").write_bytes(excellon("METRIC\nT1C0.8\n", [f"X{x:.1f}Y{y:.1f}" for x, y in PLACES]))
    return folder


def test_a_packed_board_unpacks_to_an_equal_one() -> None:
    made = rich()
    same(made, unpack_board(*pack_board(made)))


def test_a_kept_board_comes_back_equal_and_says_that_it_was_kept(tmp_path: Path) -> None:
    cache, packages = DiskBoards(tmp_path / "cache"), DiskPackages()
    first = build_board(packages, str(write_package(tmp_path / "board")), cache)
    again = build_board(packages, str(tmp_path / "board"), cache)
    assert "cached" in dict(again.seconds) and "cached" not in dict(first.seconds)
    kept = cache.load(first.extra["key"])
    assert kept is not None
    same(first, kept)


def test_a_changed_file_or_correction_is_another_board(tmp_path: Path) -> None:
    cache, packages = DiskBoards(tmp_path / "cache"), DiskPackages()
    folder = write_package(tmp_path / "board")
    build_board(packages, str(folder), cache)
    (tmp_path / "board.coppermend-corrections.toml").write_text('[file."board-PTH.drl"]\nplated = false\n')
    board = build_board(packages, str(folder), cache)
    assert "cached" not in dict(board.seconds) and not any(hole.plated for hole in board.holes)


@pytest.mark.parametrize(
    "damage", [lambda d: d[: len(d) // 2], lambda d: b"", lambda d: d[:500] + b"\xff" * 40 + d[540:]]
)
def test_a_damaged_cache_file_is_built_anew(tmp_path: Path, damage) -> None:
    cache, packages = DiskBoards(tmp_path / "cache"), DiskPackages()
    folder = write_package(tmp_path / "board")
    build_board(packages, str(folder), cache)
    (file,) = (tmp_path / "cache").glob("*.npz")
    file.write_bytes(damage(file.read_bytes()))
    assert "cached" not in dict(build_board(packages, str(folder), cache).seconds)
    assert "cached" in dict(build_board(packages, str(folder), cache).seconds)


def test_a_cache_that_cannot_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("a file stands where the folder would be")
    assert build_board(DiskPackages(), str(write_package(tmp_path / "board")), DiskBoards(tmp_path / "cache")).nets


def test_no_part_file_is_left_behind(tmp_path: Path) -> None:
    build_board(DiskPackages(), str(write_package(tmp_path / "board")), DiskBoards(tmp_path / "cache"))
    assert not list((tmp_path / "cache").glob("*.part"))


def test_a_zip_and_its_folder_are_the_same_package(tmp_path: Path) -> None:
    folder = write_package(tmp_path / "board")
    archive = tmp_path / "board.zip"
    with zipfile.ZipFile(archive, "w") as out:
        for file in folder.iterdir():
            out.write(file, file.name)
    a, b = (build_board(DiskPackages(), str(one)) for one in (folder, archive))
    assert a.package_id == b.package_id and a.title == b.title == "board"


def test_what_is_no_package_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "text.txt").write_text("hello")
    (tmp_path / "cut.zip").write_bytes(b"PK\x03\x04" + b"\0" * 30)
    for name, code in (
        ("missing", "FIL-001"),
        ("empty", "FIL-006"),
        ("text.txt", "FIL-004"),
        ("cut.zip", "ZIP-"),
        ("a\0b", "FIL-001"),
    ):
        with pytest.raises(Refusal) as refused:
            DiskPackages().read(str(tmp_path / name))
        assert refused.value.finding.code.startswith(code) and refused.value.finding.remedy


def test_climbing_names_in_a_zip_are_refused(tmp_path: Path) -> None:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as out:
        out.writestr("../outside.gtl", "x")
    (tmp_path / "bad.zip").write_bytes(data.getvalue())
    with pytest.raises(Refusal) as refused:
        DiskPackages().read(str(tmp_path / "bad.zip"))
    assert refused.value.finding.code == "ZIP-004"


def test_hidden_files_and_links_in_a_folder_are_left_alone(tmp_path: Path) -> None:
    folder = write_package(tmp_path / "board")
    (folder / ".git").mkdir()
    (folder / ".git" / "x.gtl").write_text("x")
    (tmp_path / "secret.gtl").write_text("secret")
    try:
        (folder / "link.gtl").symlink_to(tmp_path / "secret.gtl")
    except OSError:
        pytest.skip("not run: this system makes no links")
    names = {member.name for member in DiskPackages().read(str(folder)).members}
    assert names == {"top.gbr", "bottom.gbr", "board-PTH.drl"}


def test_a_folder_of_too_many_files_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coppermend.adapters.files.packages.MAX_MEMBERS", 2)
    with pytest.raises(Refusal) as refused:
        DiskPackages().read(str(write_package(tmp_path / "board")))
    assert refused.value.finding.code == "FIL-005"
