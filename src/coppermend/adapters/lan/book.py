"""Devices and the code of now as one small file beside the store, for its owner only."""

from __future__ import annotations

import json
import os
import tempfile
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Any

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.services.lan import Device, PairCode

BOOK = "devices.json"


class FolderBook:
    """A LanBook in a folder. It is read anew when the file changed, so that a revocation by another process counts at once."""

    def __init__(self, folder: Path) -> None:
        self.folder, self._file = folder, folder / BOOK
        self._door = threading.Lock()
        self._stamp: tuple[int, int, int] | None = None
        self._kept: dict[str, Any] = {}

    def devices(self) -> tuple[Device, ...]:
        """Every device that was let in."""
        return tuple(Device(**one) for one in self._read().get("devices", ()))

    def put_devices(self, devices: tuple[Device, ...]) -> None:
        """Keep these, synced."""
        self._write({**self._read(), "devices": [asdict(one) for one in devices]})

    def code(self) -> PairCode | None:
        """The code of now."""
        found = self._read().get("code")
        return PairCode(**found) if found else None

    def put_code(self, code: PairCode | None) -> None:
        """Keep this code, or none."""
        self._write({**self._read(), "code": asdict(code) if code else None})

    def _read(self) -> dict[str, Any]:
        with self._door:
            try:
                stat = self._file.stat()
                stamp = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
                if stamp != self._stamp:
                    self._kept, self._stamp = _checked(json.loads(self._file.read_text(encoding="utf-8"))), stamp
            except FileNotFoundError:
                self._kept, self._stamp = {}, None
            except (OSError, ValueError, TypeError) as err:
                raise _broken(self._file, err) from err
            return self._kept

    def _write(self, value: dict[str, Any]) -> None:
        with self._door:
            try:
                private_folder(self.folder)
                put_private(self._file, json.dumps(value, ensure_ascii=False, indent=1).encode())
            except OSError as err:
                raise refuse(
                    "LAN-006",
                    f"The list of devices cannot be written ({err.strerror or err}).",
                    "Give yourself the right to write beside the store, or free some space.",
                    Place(file=str(self._file)),
                ) from err
            self._stamp = None


def _checked(value: Any) -> dict[str, Any]:
    """The file's content; ValueError or TypeError when it is of another form."""
    if not isinstance(value, dict):
        raise ValueError("no JSON object")
    for one in value.get("devices", ()):
        Device(**one)
    if value.get("code"):
        PairCode(**value["code"])
    return value


def _broken(file: Path, err: Exception) -> Refusal:
    return refuse(
        "LAN-006",
        f"The list of devices cannot be read ({type(err).__name__}); nobody on the network is let in.",
        "Delete the file and pair the devices again.",
        Place(file=str(file)),
    )


def private_folder(folder: Path) -> None:
    """A folder for its owner only (POSIX; elsewhere the user's data folder is private already)."""
    folder.mkdir(parents=True, exist_ok=True)
    if os.name == "posix":
        folder.chmod(0o700)


def put_private(file: Path, data: bytes) -> None:
    """Write a file whole, for its owner only, and sync it: never half of it, never readable by others in between."""
    handle, temporary = tempfile.mkstemp(prefix=".new-", dir=file.parent)  # made with 0600
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        Path(temporary).replace(file)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
