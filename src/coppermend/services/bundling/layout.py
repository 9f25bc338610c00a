"""How a bundle is laid out: a BagIt bag (RFC 8493) in a zip, readable without Coppermend. docs/reference/bundle.md says the same for people.

``data/cases/CASE/log.jsonl`` the log, one entry a line; ``data/attachments/SHA256`` original bytes; ``data/boards/PACKAGE_ID/about.json`` with the
package's files beside it; ``data/left-out.jsonl`` what could not be read; ``manifest-sha256.txt`` and ``tagmanifest-sha256.txt`` for ``sha256sum -c``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from coppermend.services.bundling.bag import Kind, Limits

VERSION = 1
"""Of this layout; a bundle with a higher one is refused."""

CASES, ATTACHMENTS, BOARDS, LEFT_OUT = "data/cases/", "data/attachments/", "data/boards/", "data/left-out.jsonl"

READ_ME_TEXT = """Repair cases, readable without the program that wrote them.

data/cases/CASE/log.jsonl    the log of a case, one entry (JSON) a line, oldest first
data/attachments/SHA256      photos, waves and other files that entries name by SHA-256, as they came
data/boards/ID/              a board's fabrication files; about.json says which name each had
data/left-out.jsonl          what could not be read when this was written (only where there was such a thing)

Check it: unzip it, then: sha256sum -c manifest-sha256.txt tagmanifest-sha256.txt
Each entry's "prev" is the SHA-256 of the line (without its line end) of the entry before it by the same bench.
"""

_UUID = "[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"
_HEX = "[0-9a-f]{64}"
UUID = re.compile(_UUID)
_OURS = re.compile(
    rf"data/cases/({_UUID})/log\.jsonl|data/attachments/({_HEX})|data/boards/({_HEX})/(about\.json|files/[0-9]{{5}}|package/.+|beside/.+)"
    rf"|data/left-out\.jsonl"
)
_PLAIN = re.compile(r"[A-Za-z0-9_()+=@,-][A-Za-z0-9 _()+=@,.-]{0,99}(?<![ .])")
"""A part of a file name that every system takes as it is."""
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")


UPLOADED = Limits(20_000, 256 * 2**20, 2 * 2**30)
"""For a bundle that came over the network and lies in memory."""
FROM_DISK = Limits(500_000, 512 * 2**20, 2**42)
"""For a file on this computer, read piece by piece."""


LARGEST_LOG = 128 * 2**20
"""Bytes of one case's log: it is read whole, a million entries are less."""
LARGEST_BOARD = 2**30
"""Bytes of one board's files: they are read whole; a package holds half of that at most."""


def log_name(case: str) -> str:
    """Where a case's log lies."""
    return f"{CASES}{case}/log.jsonl"


def is_ours(name: str) -> bool:
    """Whether a bundle may hold a file of this name: nothing climbs, nothing is hidden, nothing is strange."""
    found = _OURS.fullmatch(name)
    return found is not None and all(_is_plain(part) for part in (found[4] or "").split("/") if part)


def _is_plain(part: str) -> bool:
    return _PLAIN.fullmatch(part) is not None and _RESERVED.fullmatch(part) is None


def places_of(names: Iterable[str], folder: str) -> dict[str, str]:
    """Where each file of a package lies below its board: under its own name where every system takes that, else under a number.

    >>> places_of(["top.gbr", "../evil", "TOP.GBR"], "package")
    {'top.gbr': 'package/top.gbr', '../evil': 'files/00001', 'TOP.GBR': 'files/00002'}
    """
    out: dict[str, str] = {}
    taken: set[str] = set()
    for number, name in enumerate(names):
        parts = name.split("/")
        plain = all(_is_plain(part) for part in parts) and name.lower() not in taken and not _runs_into(name, taken)
        out[name] = f"{folder}/{name}" if plain else f"files/{number:05}"
        if plain:
            taken.add(name.lower())
            taken.update(f"{'/'.join(parts[:k]).lower()}/" for k in range(1, len(parts)))
    return out


def _runs_into(name: str, taken: set[str]) -> bool:
    """Whether a file would lie where a folder is, or below a file."""
    low = name.lower()
    parts = low.split("/")
    return f"{low}/" in taken or any("/".join(parts[:k]) in taken for k in range(1, len(parts)))


KIND = Kind("bundle of cases", "Coppermend-Bundle", VERSION, "bundle export", is_ours)
