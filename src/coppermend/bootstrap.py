"""Joins adapters to services: the only place that builds adapters."""

from __future__ import annotations

import getpass
import os
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from coppermend.adapters.files.cache import DiskBoards
from coppermend.adapters.files.packages import DiskPackages
from coppermend.adapters.storage.store import SqlCaseStore
from coppermend.adapters.storage.system import SystemClock, Uuid7Ids
from coppermend.core.board.model import Board
from coppermend.services.boards import Progress, build_board
from coppermend.services.graphs import shelved
from coppermend.services.ports import ShelvedBoard
from coppermend.services.shelf import Builder, MemoryShelf
from coppermend.services.workshop import Workshop

if TYPE_CHECKING:
    from coppermend.services.records import Typesetter


def workshop(
    store_url: str | None = None,
    cache_dir: str | Path | None = None,
    *,
    author: str | None = None,
    builder: Builder | None = None,
) -> Workshop:
    """A workshop on this machine: the store, the shelf of boards, the clock.

    ``store_url`` a folder or an SQLite file; None: COPPERMEND_STORE, else the user's data folder. ``cache_dir`` where built boards are kept;
    None: COPPERMEND_CACHE, else the user's cache folder. ``author`` who works here; None: COPPERMEND_AUTHOR, else the login name.
    ``builder`` makes boards of packages; None: this machine's files and disk cache.
    """
    ids = Uuid7Ids()
    url = store_url or os.environ.get("COPPERMEND_STORE") or None
    return Workshop(
        store=SqlCaseStore(url, ids.new()),
        shelf=MemoryShelf(builder or board_builder(cache_dir)),
        clock=SystemClock(),
        ids=ids,
        author=author if author is not None else who(),
    )


def cache_folder(cache_dir: str | Path | None = None) -> Path:
    """Where built boards are kept."""
    named = cache_dir or os.environ.get("COPPERMEND_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("coppermend", appauthor=False))


def who() -> str:
    """Who works here, for the entries: COPPERMEND_AUTHOR, else the login name, else nothing."""
    named = os.environ.get("COPPERMEND_AUTHOR")
    if named is not None:
        return named
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


# ---- boards ----
def demo_package() -> Path:
    """Where the demonstration machine's fabrication package lies: beside the sources in a checkout."""
    return Path(__file__).resolve().parents[2] / "demo" / "package"


def package_path(package: str) -> str:
    """A package as named by a person: the word ``demo`` stands for the demonstration machine (a folder of that name is ``./demo``)."""
    return str(demo_package()) if package == "demo" else package


def open_board(
    package: str, cache_dir: str | Path | None = None, *, fresh: bool = False, progress: Progress | None = None
) -> Board:
    """The board of a package (folder, zip, or ``demo``); ``fresh`` builds it anew. Refusal when it gives no board."""
    cache = DiskBoards(cache_folder(cache_dir))
    return build_board(DiskPackages(), package_path(package), cache, progress, fresh=fresh)


def open_shelved(
    package: str, cache_dir: str | Path | None = None, *, fresh: bool = False, progress: Progress | None = None
) -> ShelvedBoard:
    """The board of a package with its copper graph, both kept in the cache; ``fresh`` builds both anew. Refusal when it gives no board."""
    board = open_board(package, cache_dir, fresh=fresh, progress=progress)
    return shelved(package_path(package), board, DiskBoards(cache_folder(cache_dir)), fresh)


def board_builder(cache_dir: str | Path | None = None) -> Builder:
    """What builds boards with their graphs for the shelf, on this machine's files and disk cache."""
    return lambda package: open_shelved(package, cache_dir)


def typesetter() -> Typesetter:
    """What sets the record as a PDF; loaded when it is asked for."""
    from coppermend.adapters.files.typesetter import TypstTypesetter

    return TypstTypesetter()


def demo_store() -> Path:
    """Where the demonstration keeps its cases: ``.coppermend/demo`` in a checkout, else beside the user's own cases."""
    checkout = demo_package().parents[1]
    if (checkout / "run.py").exists() and os.access(checkout, os.W_OK):
        return checkout / ".coppermend" / "demo"
    return Path(platformdirs.user_data_dir("coppermend", appauthor=False)) / "demo"
