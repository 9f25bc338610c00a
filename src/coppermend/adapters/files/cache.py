"""Built boards kept on disk: one file per board, arrays without pickle, written whole or not at all, rebuilt when damaged.

A kept board is an ``.npz`` of plain number arrays: geometry as well-known binary (one byte array with offsets), everything else as one
JSON text. The same store keeps other values by key and kind (``load_blob``, ``save_blob``), such as the copper graph.
"""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
import zipfile
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import Board
from coppermend.services.board_pack import pack_board, unpack_board

KEEP_BYTES = 1024 * 1024 * 1024
"""The cache's size limit; the files used longest ago are removed beyond it."""


class DiskBoards:
    """Boards kept in a folder (services.boards.BoardCache). A folder that cannot be written keeps nothing and is no error."""

    def __init__(self, folder: Path, version: str = "") -> None:
        """``version`` names the code that builds what is kept: other code does not find it."""
        self.folder = folder
        self.version = version

    def load(self, key: str) -> Board | None:
        """The board kept under the key; None when there is none or the file is damaged (it is removed then)."""
        found = self.load_blob(key, "board")
        if found is None:
            return None
        try:
            return unpack_board(*found)
        except Exception:  # whatever a damaged file makes the unpacking do, the answer is "not kept"
            self._drop(key, "board")
            return None

    def save(self, key: str, board: Board) -> None:
        """Keep a board."""
        self.save_blob(key, "board", *pack_board(board))

    def load_blob(self, key: str, kind: str) -> tuple[dict[str, NDArray[Any]], Any] | None:
        """Arrays and a JSON value kept under key and kind, or None."""
        path = self._path(key, kind)
        try:
            data = path.read_bytes()
            with np.load(BytesIO(data), allow_pickle=False) as stored:
                arrays = {name: stored[name] for name in stored.files}
            text = arrays.pop("json").tobytes().decode("utf-8")
            value = json.loads(text)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, RecursionError, MemoryError):
            self._drop(key, kind)
            return None
        with contextlib.suppress(OSError):
            os.utime(path)
        return arrays, value

    def save_blob(self, key: str, kind: str, arrays: Mapping[str, NDArray[Any]], value: Any) -> None:
        """Keep arrays of numbers and a JSON value under key and kind: written beside, synced, then renamed."""
        text = np.frombuffer(
            json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode("utf-8"), dtype=np.uint8
        )
        path = self._path(key, kind)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self.folder, suffix=".part")
            try:
                with os.fdopen(handle, "wb") as file:
                    np.savez(file, json=text, **arrays)  # type: ignore[arg-type]  # numpy types the keywords as its own options
                    file.flush()
                    os.fsync(file.fileno())
                Path(name).replace(path)
            except BaseException:
                with contextlib.suppress(OSError):
                    Path(name).unlink()
                raise
            self._trim()
        except OSError:
            return

    def _path(self, key: str, kind: str) -> Path:
        return self.folder / f"{key[:64]}.{kind}{self.version and '-' + self.version}.npz"

    def _drop(self, key: str, kind: str) -> None:
        with contextlib.suppress(OSError):
            self._path(key, kind).unlink()

    def _trim(self) -> None:
        files = [(path.stat().st_mtime, path.stat().st_size, path) for path in self.folder.glob("*.npz")]
        total = sum(size for _, size, _ in files)
        for _, size, path in sorted(files)[:-1]:
            if total <= KEEP_BYTES:
                return
            path.unlink()
            total -= size
