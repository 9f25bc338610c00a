"""The file of what past cases taught (``coppermend-learned``, version 2; version 1, which had no parts, is read too): JSON, one row a case, nothing of it but counts.

See docs/how-to/learn-from-cases.md.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from typing import Any

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.canonical import canonical_bytes
from coppermend.core.planning.learned import CaseCounts, Cell

FORMAT, VERSION = "coppermend-learned", 2
LARGEST_BYTES = 64 * 1024 * 1024
MOST_CASES = 200_000
MOST_CELLS = 320
MOST_SITES = 1_000_000
_HASH = re.compile(r"[0-9a-f]{64}")
_WORD = re.compile(r"[a-z_]{1,20}")
_KIND = re.compile(r"[a-z0-9][a-z0-9 _./+-]{0,39}")


def learned_bytes(rows: Iterable[CaseCounts]) -> bytes:
    """The file of these rows, sorted by key: the same rows give the same bytes (RFC 8785)."""
    cases = [row_as_dict(one) for one in sorted(rows, key=lambda one: one.key)]
    return canonical_bytes({"format": FORMAT, "version": VERSION, "cases": cases}) + b"\n"


def row_as_dict(one: CaseCounts) -> dict[str, Any]:
    """A row as plain JSON values."""
    cells = [
        {
            "damage": c.damage,
            "site": c.site,
            "sites": c.sites,
            "broken": round(c.broken, 6),
            "expected": round(c.expected, 6),
        }
        for c in one.cells
    ]
    return {"case_sha256": one.key, "package_id": one.board, "cells": cells}


def read_learned(data: bytes, name: str = "") -> tuple[CaseCounts, ...]:
    """The rows of a file. Refusal LRN-001 when it is none, of another version, or holds numbers that no bench counts."""
    place = Place(file=name or None)
    if len(data) > LARGEST_BYTES:
        raise _no(f"it has {len(data)} bytes", place)
    try:
        value = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError):
        raise _no("it is not JSON", place) from None
    if not isinstance(value, dict) or value.get("format") != FORMAT or value.get("version") not in (1, VERSION):
        raise _no(f"it is not {FORMAT} version 1 or {VERSION}", place)
    cases = value.get("cases")
    if not isinstance(cases, list) or len(cases) > MOST_CASES:
        raise _no("its cases are no list that can be read", place)
    rows = tuple(row_from_dict(one, place) for one in cases)
    if len({one.key for one in rows}) != len(rows):
        raise _no("a case stands in it twice", place)
    return rows


def row_from_dict(value: Any, place: Place | None = None) -> CaseCounts:
    """A row of plain JSON values. Refusal LRN-001."""
    at = place or Place()
    if not isinstance(value, dict) or set(value) != {"case_sha256", "package_id", "cells"}:
        raise _no("a row has not the fields case_sha256, package_id, cells", at)
    hashes = (value["case_sha256"], value["package_id"])
    if not all(isinstance(one, str) and _HASH.fullmatch(one) for one in hashes):
        raise _no("a row's case or package is no SHA-256", at)
    if not isinstance(value["cells"], list) or len(value["cells"]) > MOST_CELLS:
        raise _no("a row's cells are no list that can be read", at)
    return CaseCounts(*hashes, tuple(_cell(one, at) for one in value["cells"]))


def _cell(value: Any, place: Place) -> Cell:
    if not isinstance(value, dict) or set(value) != {"damage", "site", "sites", "broken", "expected"}:
        raise _no("a cell has not the fields damage, site, sites, broken, expected", place)
    words = (value["damage"], value["site"])
    if not all(isinstance(one, str) and how.fullmatch(one) for one, how in zip(words, (_WORD, _KIND), strict=True)):
        raise _no(f"a cell is called {words!r}", place)
    sites, broken, expected = value["sites"], value["broken"], value["expected"]
    good = isinstance(sites, int) and not isinstance(sites, bool) and 0 < sites <= MOST_SITES
    if not good or not _share(broken, sites) or not _share(expected, sites) or not expected > 0:
        raise _no(f"{words[0]} {words[1]} counts {broken!r} of {sites!r}, expected {expected!r}", place)
    return Cell(*words, sites, float(broken), float(expected))


def _share(value: Any, most: int) -> bool:
    return (
        isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value) and 0 <= value <= most
    )


def _no(why: str, place: Place) -> Refusal:
    return refuse(
        "LRN-001",
        f"The file holds nothing that was learned: {why}.",
        "Give a file that 'coppermend learn export' wrote.",
        place,
    )
