"""A package of files and the board that is made of it: its identity, its cache key, the cache asked first.

The readers and the builder are imported only when a board is built: one from the cache opens without them.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from coppermend.core.board.model import Board
from coppermend.formats.member import Member
from coppermend.formats.sidecars import CORRECTIONS_NAME, MAP_NAME
from coppermend.services.collection import without_collection

BUILDER_VERSION = "32"
"""Changes with everything that makes the same files give another board; part of the cache key."""

Progress = Callable[[str, float], None]
"""Told the stage's name and the share of the whole build that is done (0 to 1)."""


class Stopped(Exception):
    """The caller asked to stop; nothing was kept."""


@dataclass(frozen=True, slots=True)
class Package:
    """A package's files: ``title`` for people, ``members`` of the package itself, ``beside`` files that stand beside it (corrections, parts list)."""

    title: str
    members: tuple[Member, ...]
    beside: tuple[Member, ...] = ()


class PackageSource(Protocol):
    """Reads packages, whole and within limits."""

    def read(self, path: str) -> Package:
        """The files of a folder or zip. Refusal when there is none or it is unsafe."""

    def keep_map(self, path: str, data: bytes) -> str:
        """Write the map file of a package, whole or not at all; the name it got. Refusal when that place cannot be written."""


class BoardCache(Protocol):
    """Keeps built boards. It may lose them at any time and never gives a damaged one."""

    def load(self, key: str) -> Board | None:
        """The board kept under the key, or None."""

    def save(self, key: str, board: Board) -> None:
        """Keep a board; a failure to write is no error."""


def package_id(members: Sequence[Member]) -> str:
    """SHA-256 (hex) over the sorted member names and bytes; corrections and map files do not count.

    Per file: name in UTF-8, a zero byte, the length as 8 bytes (big-endian), the bytes.

    >>> package_id([Member("b", b"2"), Member("a", b"1")]) == package_id([Member("a", b"1"), Member("b", b"2")])
    True
    """
    digest = hashlib.sha256()
    for member in sorted(members, key=lambda one: one.name):
        if member.base.lower() in (CORRECTIONS_NAME, MAP_NAME):
            continue
        digest.update(member.name.encode("utf-8", "surrogatepass") + b"\0" + len(member.data).to_bytes(8, "big"))
        digest.update(member.data)
    return digest.hexdigest()


def cache_key(package: Package) -> str:
    """Key of a built board: package id, everything that stands beside it or corrects it, and the builder's version."""
    extra = [
        one
        for one in (*package.members, *package.beside)
        if one.base.lower() in (CORRECTIONS_NAME, MAP_NAME) or one in package.beside
    ]
    digest = hashlib.sha256(f"{package_id(package.members)} {BUILDER_VERSION}".encode())
    for member in sorted(extra, key=lambda one: one.name):
        digest.update(member.name.encode() + b"\0" + len(member.data).to_bytes(8, "big") + member.data)
    return digest.hexdigest()


class Stages:
    """Times the stages of a build, tells progress, stops when asked."""

    SHARES = (
        ("read", 0.0),
        ("plan", 0.03),
        ("parse", 0.05),
        ("clear", 0.35),
        ("contacts", 0.5),
        ("islands", 0.7),
        ("pins", 0.72),
    )

    def __init__(self, progress: Progress | None, stop: Callable[[], bool] | None) -> None:
        self.progress, self.stop = progress, stop
        self.begun = self.last = time.perf_counter()
        self.seconds: dict[str, float] = {}
        self.stage = ""

    def enter(self, stage: str, words: str = "") -> None:
        """Begin a stage; the time since the last one is booked on that one."""
        if self.stop is not None and self.stop():
            raise Stopped
        now = time.perf_counter()
        if self.stage:
            self.seconds[self.stage] = self.seconds.get(self.stage, 0.0) + now - self.last
        self.last, self.stage = now, stage
        if self.progress is not None:
            self.progress(words or stage, dict(self.SHARES).get(stage, 1.0))

    def close(self) -> tuple[tuple[str, float], ...]:
        """Seconds by stage, with ``total`` first."""
        now = time.perf_counter()
        self.seconds[self.stage] = self.seconds.get(self.stage, 0.0) + now - self.last
        if self.progress is not None:
            self.progress("done", 1.0)
        return (("total", now - self.begun), *self.seconds.items())


def build_board(
    source: PackageSource,
    path: str,
    cache: BoardCache | None = None,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    fresh: bool = False,
) -> Board:
    """The board of a package, from the cache where it is kept there (``fresh``: built now all the same).

    ``seconds`` of the board say how long this took by stage; ``cached`` stands there when it was not built now. ``extra["key"]`` is the
    cache key, for whatever else is computed from this board and kept beside it.

    Raises Refusal for a package that gives no board, Stopped when ``stop`` answered True between two steps.
    """
    with without_collection():
        return _board(source, path, cache, Stages(progress, stop), fresh)


def _board(source: PackageSource, path: str, cache: BoardCache | None, stages: Stages, fresh: bool) -> Board:
    stages.enter("read", f"reading {path}")
    package = source.read(path)
    key = cache_key(package)
    kept = cache.load(key) if cache is not None and not fresh else None
    if kept is not None:
        return replace(kept, seconds=(*stages.close(), ("cached", 1.0)))
    from coppermend.services.boards import board_of

    board = board_of(package, stages)
    board = replace(board, seconds=stages.close(), extra={**board.extra, "key": key})
    if cache is not None:
        cache.save(key, board)
    return board
