"""The shelf of boards: boards and their graphs, built once and kept in memory for this run; the board cache on disk is behind ``Builder``."""

from __future__ import annotations

from collections.abc import Callable

from coppermend.services.ports import ShelvedBoard

Builder = Callable[[str], ShelvedBoard]
"""Builds (or reads from the disk cache) the board of a package named by a path."""


class MemoryShelf:
    """A BoardShelf over a builder. ``most`` boards are kept; the one that was taken longest ago goes first."""

    def __init__(self, build: Builder, most: int = 8) -> None:
        self._build = build
        self._most = most
        self._kept: dict[str, ShelvedBoard] = {}

    def take(self, package: str) -> ShelvedBoard:
        """The board of a package; built again each time it is asked for by path, because files may have changed (the disk cache makes that cheap)."""
        return self.put(self._build(package))

    def put(self, made: ShelvedBoard) -> ShelvedBoard:
        """Keep a board; the one kept before where it is the same, so that what was computed from it still holds."""
        known = self._kept.pop(made.board.package_id, None)
        made = known if known is not None and known.board.corrections == made.board.corrections else made
        self._kept[made.board.package_id] = made
        while len(self._kept) > self._most:
            self._kept.pop(next(iter(self._kept)))
        return made

    def known(self, package_id: str) -> ShelvedBoard | None:
        """A board taken before in this run, by its package id."""
        return self._kept.get(package_id)
