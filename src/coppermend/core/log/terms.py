"""The terms an entry is found by: what a person may type to find a case again, whatever said it.

A term is a word as it stands in the log, without capitals and accents (Unicode NFKD, combining marks left out, case folded). A term joined by
``. - / + # ' : @ ,`` stands as a whole and in its pieces, so that ``U1.8`` is found as such and ``U1`` too. Readings have terms of their own: a pin, a part
or a net with what was found there (``d3:open``, ``u1.8:stuck``). Numbers stand as they were typed and as the log keeps them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping

from coppermend.core.log.canonical import Json
from coppermend.core.log.kinds import KINDS
from coppermend.core.log.model import Entry

LONGEST = 60
"""Characters of a term; what is longer is cut."""
MOST = 500
"""Terms of one entry: a book pasted into a remark is found by its beginning."""
MOST_ASKED = 8
"""Terms of one question."""

_RUN = re.compile(r"[^\W_]+(?:[.\-/+#':@,_]+[^\W_]+)*")
_PIECE = re.compile(r"[^\W_]+")
_SILENT = frozenset(
    (
        "sha256",
        "package_id",
        "media",
        "path",
        "polygon",
        "features",
        "values",
        "patient",
        "plan",
        "lens",
        "taps",
        "picture",
    )
)
"""Fields that nobody reads: digests, shapes, tables of numbers, and what a practice patient keeps to itself."""
_SILENT_KINDS = ("basis", "lay")
_FOUND = ("level", "finding", "state", "result", "effect", "goodness")
"""Fields that say how a part or a place was found."""


def terms_of(entry: Entry) -> frozenset[str]:
    """Every term of an entry, at most ``MOST``.

    >>> p = {"points": [{"id": "U1.8/leg", "part": "U1", "pin": "8", "net": "D3"}], "raw": "o"}
    >>> sorted(terms_of(Entry("i", "c", "b", 1, 1, "", "2026-03-01T09:00:00Z", "", "Ann", "open", 1, p)))
    ['2026-03-01', 'ann', 'd3', 'd3:open', 'o', 'open', 'u1', 'u1.8', 'u1.8:open', 'u1:open']
    """
    found: dict[str, None] = {}
    for term in _all(entry):
        if len(found) == MOST:
            break
        found[term] = None
    return frozenset(found)


def asked_terms(text: str, most: int = MOST_ASKED) -> tuple[str, ...]:
    """The terms of a question, in the order asked, each once, at most ``most``. One that ends in ``*`` stands for all that begin so.

    >>> asked_terms("Blaupunkt  U1.8 d3:OPEN kryst*")
    ('blaupunkt', 'u1.8', 'd3:open', 'kryst*')
    """
    found: dict[str, None] = {}
    for word in folded(text).split():
        runs = [one[:LONGEST] for one in _RUN.findall(word)]
        if runs and word.endswith("*"):
            runs[-1] += "*"
        found.update(dict.fromkeys(runs))
    return tuple(found)[:most]


def folded(text: str) -> str:
    """Text without capitals and accents.

    >>> folded("Müller ÅNGSTRÖM 4,7 kΩ")
    'muller angstrom 4,7 kω'
    """
    if text.isascii():
        return text.lower()
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(one for one in plain if not unicodedata.combining(one)).casefold()


def _all(entry: Entry) -> Iterator[str]:
    if entry.observed_at[:10]:
        yield entry.observed_at[:10]
    yield from _split(entry.author)
    if entry.kind in _SILENT_KINDS:
        return
    yield from _split(KINDS[entry.kind].words if entry.kind in KINDS else entry.kind)
    found = _how_found(entry)
    for where in _places(entry.payload):
        yield where
        if found and "@" not in where:
            yield f"{where}:{found}"[:LONGEST]
    for name, value in entry.payload.items():
        if name not in _SILENT and name not in ("points", "sense"):
            yield from _texts(value, 6)


def _how_found(entry: Entry) -> str:
    """What was found at the places of an entry, one word; "" for a closed check, which says that nothing was."""
    if entry.kind == "open":
        return "open"
    if entry.kind == "look" and entry.payload.get("seen") is False:
        return ""
    return next(
        (
            folded(str(entry.payload[name])).replace(" ", "-")
            for name in _FOUND
            if isinstance(entry.payload.get(name), str)
        ),
        "",
    )


def _places(payload: Mapping[str, Json]) -> Iterator[str]:
    """Parts, pins, nets and places that a payload names."""
    part = payload.get("part")
    if isinstance(part, str):
        yield from _split(part)
    for name in ("points", "sense"):
        points = payload.get(name)
        for point in points if isinstance(points, (list, tuple)) else ():
            if isinstance(point, Mapping):
                yield from _point(point)


def _point(point: Mapping[str, Json]) -> Iterator[str]:
    part, pin, net = (str(point.get(name) or "") for name in ("part", "pin", "net"))
    place = f"{part}.{pin}" if part and pin else str(point.get("id") or "").rsplit("/", 1)[0]
    yield from (folded(one)[:LONGEST] for one in (place, part) if one.strip())
    yield from _split(net)


def _texts(value: Json, depth: int) -> Iterator[str]:
    """Terms of every text and number within a value."""
    if isinstance(value, str):
        yield from _split(value)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield f"{value:.6g}"
    elif depth and isinstance(value, Mapping):
        for name, one in value.items():
            if name not in _SILENT:
                yield from _texts(one, depth - 1)
    elif depth and isinstance(value, (list, tuple)):
        for one in value:
            yield from _texts(one, depth - 1)


def _split(text: str) -> Iterator[str]:
    """The runs of a text and, of runs that are joined, their pieces of two characters and more."""
    for run in _RUN.findall(folded(text)):
        yield run[:LONGEST]
        pieces = _PIECE.findall(run)
        if len(pieces) > 1:
            yield from (one[:LONGEST] for one in pieces if len(one) > 1)


def fit(term: str, terms: Iterable[str]) -> list[str]:
    """Those of ``terms`` that an asked term stands for: itself; where nobody said it, or it ends in ``*``, all that begin so.

    >>> fit("u1", ["u1", "u10"]), fit("u1*", ["u1", "u10"]), fit("kry", ["krystal", "u1"])
    (['u1'], ['u1', 'u10'], ['krystal'])
    """
    known = sorted(set(terms))
    if not term.endswith("*") and term in known:
        return [term]
    return [one for one in known if one.startswith(term.removesuffix("*"))]
