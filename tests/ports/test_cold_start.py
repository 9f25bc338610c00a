"""A board and its graph from the cache open without the readers, the builder and the libraries that only those need (issue 3: under 1 s)."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from coppermend import bootstrap

OPEN = """
import sys
from coppermend import bootstrap
found = bootstrap.open_shelved("demo", sys.argv[1])
assert found.graph.sites and found.board.parts
print(*sys.modules)
"""
NOT_WANTED = (
    "coppermend.services.boards", "coppermend.formats.gerber", "coppermend.core.copper.build", "coppermend.core.board.build",
    "scipy.sparse", "scipy.spatial", "sqlalchemy", "fastapi",
)  # fmt: skip


def opened(cache: Path) -> set[str]:
    """What a fresh process has imported after it opened the demonstration board."""
    done = subprocess.run(
        [sys.executable, "-c", OPEN, str(cache)], capture_output=True, text=True, timeout=300, check=True
    )
    return set(done.stdout.split())


def test_a_kept_board_opens_without_readers_and_builder(tmp_path: Path) -> None:
    assert "coppermend.services.boards" in opened(tmp_path), "the first one builds"
    assert not opened(tmp_path) & set(NOT_WANTED)


def test_a_kept_board_is_the_built_one(tmp_path: Path) -> None:
    built, kept = bootstrap.open_shelved("demo", tmp_path), bootstrap.open_shelved("demo", tmp_path)
    assert dict(kept.board.seconds).get("cached") == 1.0
    assert kept.graph.sites == built.graph.sites and kept.graph.points == built.graph.points
