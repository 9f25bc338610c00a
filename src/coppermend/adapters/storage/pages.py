"""Names the pages of an SQLite file that can no longer be part of their table or index, where SQLite itself only says that the file is malformed.

SQLite documentation, fileformat.html, section 1.6 "B-tree Pages": type byte 2 or 10 (index), 5 or 13 (table), number of cells in bytes 3 and 4,
the right-most child in bytes 8 to 11 of an interior page, then two bytes a cell; an interior cell begins with its left child.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import IO

_INTERIOR, _KINDS = {2, 5}, {True: {5, 13}, False: {2, 10}}
_MOST = 20


def damaged_pages(file: Path, roots: list[tuple[str, bool, int]]) -> list[str]:
    """Words for each page that does not fit, at most 20. ``roots`` of the trees: name, whether it is a table, number of its first page."""
    found: list[str] = []
    with file.open("rb") as source:
        head = source.read(18)
        size = int.from_bytes(head[16:18], "big") or 1
        size = 65536 if size == 1 else size
        count = file.stat().st_size // size
        for name, is_table, root in roots:
            for words in _walk(source, size, count, name, is_table, root):
                found.append(words)
                if len(found) == _MOST:
                    return found
    return found


def _walk(source: IO[bytes], size: int, count: int, name: str, is_table: bool, root: int) -> Iterator[str]:
    seen, todo = set(), [root]
    kind = "table" if is_table else "index"
    while todo:
        number = todo.pop()
        if number in seen:
            yield f"page {number} of the {kind} {name} is reached twice"
            continue
        seen.add(number)
        if not 1 <= number <= count:
            yield f"page {number} of the {kind} {name} lies outside the file"
            continue
        source.seek((number - 1) * size)
        children = _children(source.read(size), 100 if number == 1 else 0, is_table)
        if children is None:
            yield f"page {number} of the {kind} {name} is damaged"
        else:
            todo += children


def _children(page: bytes, at: int, is_table: bool) -> list[int] | None:
    """Numbers of the pages below this one; None when it is no page of such a tree."""
    kind = page[at]
    if kind not in _KINDS[is_table]:
        return None
    cells = int.from_bytes(page[at + 3 : at + 5], "big")
    first = at + (12 if kind in _INTERIOR else 8)
    places = [int.from_bytes(page[first + 2 * k : first + 2 * k + 2], "big") for k in range(cells)]
    end = first + 2 * cells
    if end > len(page) or any(not end <= one <= len(page) - 4 for one in places):
        return None
    if kind not in _INTERIOR:
        return []
    below = [int.from_bytes(page[one : one + 4], "big") for one in places]
    return [*below, int.from_bytes(page[at + 8 : at + 12], "big")]
