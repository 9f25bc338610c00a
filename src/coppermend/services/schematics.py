"""Schematics of a case: PDF pages kept by their hash, searched by part, pin and net, a part's place on the page and on the map.

Kept as they are; nothing of them is copied anywhere but into the case. Words are read when they are asked for and remembered for the last few files.
"""

from __future__ import annotations

import math
import re
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.board.model import Board, Pin
from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.model import Entry
from coppermend.formats.schematic import PageWord, SchematicPage, page_png, read_schematic
from coppermend.services.bind import Binding, bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.scene import bounds_mm
from coppermend.services.workshop import Workshop

MOST_HITS = 60
KEPT = 4
NEAR_PT = 200.0
"""A pin's name is looked for this near to its part's name on the page (points)."""
UNIT_OF = re.compile(r"([A-Z]{1,3}\d+)[-:.]?[A-H]", re.IGNORECASE)
"""A part drawn in several pieces: U5A, U5-B, U5:C."""
_READ: OrderedDict[str, tuple[SchematicPage, ...]] = OrderedDict()


@dataclass(frozen=True, slots=True)
class Hit:
    """Something found: which schematic (entry) and page, its box in points, the word as it stands there, ``what`` part, pin or net."""

    entry: str
    page: int
    box: tuple[float, float, float, float]
    text: str
    what: str
    near: str = ""
    """Of a pin: the part's name beside it."""


def attach_schematic(
    workshop: Workshop, case: str, data: bytes, name: str = "", words: str = "", *, entry_id: str | None = None
) -> Noted:
    """Keep a schematic with a case, its bytes unchanged. Refusals SCH-001 to SCH-003 before anything is written."""
    bind(workshop, case)
    pages = read_schematic(data, name)
    sha256 = workshop.store.attach(data)
    _keep(sha256, pages)
    payload: dict[str, Json] = {
        "sha256": sha256, "bytes": len(data), "name": name, "pages": len(pages), "found": sum(len(p.words) for p in pages), "words": words,
    }  # fmt: skip
    return noted(write(workshop, case, "schematic", payload, entry_id=entry_id))


def schematics_of(workshop: Workshop, case: str) -> list[dict[str, Any]]:
    """The schematics of a case, in the order of the log, each with its pages' sizes in points and how many words each has."""
    binding = bind(workshop, case)
    rows = []
    for entry in _entries(workshop, case, binding):
        pages = _pages(workshop, entry)
        rows.append(
            {
                "entry": entry.id,
                "ref": entry.bench_seq,
                "name": str(entry.payload.get("name") or "schematic"),
                "words": str(entry.payload.get("words") or ""),
                "pages": [
                    {"number": p.number, "width": p.width, "height": p.height, "words": len(p.words)} for p in pages
                ],
                "searchable": any(p.words for p in pages),
                "note": ""
                if any(p.words for p in pages)
                else "Its pages hold no text (scanned or drawn as lines): they can be looked at, not searched.",
            }
        )
    return rows


def find_in_schematics(workshop: Workshop, case: str, text: str) -> dict[str, Any]:
    """Where a part (``U5``), a pin (``U5.3``) or a net (``/RD``) stands on the case's schematics, and where it is on the board.

    Refusals SCH-005 (nothing asked), SCH-006 (no schematic, or none with text). Nothing found is an answer with no hits.
    """
    wanted = text.strip()
    if not wanted or len(wanted) > 80:
        raise refuse("SCH-005", "What is looked for?", "Name a part (U5), a pin (U5.3) or a net (/RD).")
    binding = bind(workshop, case)
    entries = _entries(workshop, case, binding)
    if not entries:
        raise refuse("SCH-006", "The case has no schematic.", "Attach one: coppermend schematic add CASE FILE.pdf.")
    books = [(entry, _pages(workshop, entry)) for entry in entries]
    if not any(page.words for _, pages in books for page in pages):
        raise refuse(
            "SCH-006",
            "No schematic of the case has text: its pages are pictures.",
            "Look at the page itself; the map finds parts, pins and nets: coppermend board path.",
        )
    hits = [hit for entry, pages in books for hit in found_on(entry.id, pages, wanted, binding.board)]
    return {
        "asked": wanted,
        "hits": [_as_dict(one) for one in hits[:MOST_HITS]],
        "left_off": max(0, len(hits) - MOST_HITS),
        "on_board": _on_board(binding, wanted),
    }


def found_on(entry: str, pages: Sequence[SchematicPage], wanted: str, board: Board) -> list[Hit]:
    """The places of a part, pin or net on some pages; a name that is none of the board's is looked for as it stands."""
    part, dot, pin = wanted.partition(".")
    row = next((p for p in board.parts if p.ref.upper() == part.upper()), None)
    if dot and row is not None:
        own = next((p for p in row.pins if p.number.upper() == pin.upper()), None)
        names = {pin.upper()} | (
            set() if own is None else {_plain(name) for name in (*_net_names(board, own), own.function) if name}
        )
        return _pin_hits(entry, pages, row.ref, names)
    net = any(_plain(wanted) in {_plain(name) for name in (one.name, *one.names)} for one in board.nets)
    what = "part or net" if row is not None and net else "part" if row is not None else "net"
    return [
        Hit(entry, page.number, word.box, word.text, what)
        for page in pages
        for word in page.words
        if _is(word, wanted, what)
    ]


def _net_names(board: Board, pin: Pin) -> tuple[str, ...]:
    return (board.nets[pin.net].name, *board.nets[pin.net].names) if pin.net is not None else ()


def _pin_hits(entry: str, pages: Sequence[SchematicPage], ref: str, names: set[str]) -> list[Hit]:
    """The pin's number, net or function near a place of its part, nearest first."""
    found: list[tuple[float, Hit]] = []
    for page in pages:
        parts = [w for w in page.words if _is(w, ref, "part")]
        for word in page.words:
            if _plain(word.text) not in names:
                continue
            far, near = min(((math.dist(word.middle, p.middle), p.text) for p in parts), default=(math.inf, ""))
            if far <= NEAR_PT:
                found.append((far, Hit(entry, page.number, word.box, word.text, "pin", near)))
    return [hit for _, hit in sorted(found, key=lambda one: one[0])]


def _is(word: PageWord, wanted: str, what: str) -> bool:
    if what == "part or net":
        return _is(word, wanted, "part") or _is(word, wanted, "net")
    if what == "part":
        unit = UNIT_OF.fullmatch(word.text)
        return word.text.upper() == wanted.upper() or (unit is not None and unit[1].upper() == wanted.upper())
    return _plain(word.text) == _plain(wanted)


def _plain(net: str) -> str:
    """A net's name without how its bar is written: /RD, ~RD, !RD, RD*, RD#, \\RD\\, and overlined letters are one.

    >>> {_plain(x) for x in ("/RD", "~RD", "!rd", "RD*", "RD#", "-RD")}, _plain("RD")
    ({'/RD'}, 'RD')
    """
    bare = net.strip().upper().replace("\u0305", "")
    barred = bare[:1] in ("/", "~", "!", "\\", "-") or bare[-1:] in ("*", "#") or "\u0305" in net
    return ("/" if barred else "") + bare.strip("/~!\\-*#")


def schematic_page(workshop: Workshop, case: str, entry: str, number: int, scale: float = 2.0) -> bytes:
    """A page of a schematic as PNG. Refusals SCH-004 (no such page), SCH-007 (no such schematic)."""
    binding = bind(workshop, case)
    row = next(
        (one for one in _entries(workshop, case, binding) if one.id == entry or str(one.bench_seq) == entry), None
    )
    if row is None:
        raise refuse(
            "SCH-007",
            f"The case has no schematic {entry[:40]!r}.",
            "See which there are: coppermend schematic list CASE.",
        )
    return page_png(
        workshop.store.attachment(str(row.payload["sha256"])),
        number,
        max(0.5, min(6.0, scale)),
        str(row.payload.get("name") or ""),
    )


def _entries(workshop: Workshop, case: str, binding: Binding) -> list[Entry]:
    undone = set(binding.state.undone)
    return [one for one in workshop.store.entries(case) if one.kind == "schematic" and one.id not in undone]


def _pages(workshop: Workshop, entry: Entry) -> tuple[SchematicPage, ...]:
    sha256 = str(entry.payload["sha256"])
    pages = _READ.get(sha256)
    if pages is None:
        try:
            pages = read_schematic(workshop.store.attachment(sha256), str(entry.payload.get("name") or ""))
        except Refusal:
            pages = ()
        _keep(sha256, pages)
    return pages


def _keep(sha256: str, pages: tuple[SchematicPage, ...]) -> None:
    _READ[sha256] = pages
    while len(_READ) > KEPT:
        _READ.popitem(last=False)


def _as_dict(one: Hit) -> dict[str, Any]:
    return {
        "entry": one.entry,
        "page": one.page,
        "box": list(one.box),
        "text": one.text,
        "what": one.what,
        "near": one.near,
    }


def _on_board(binding: Binding, wanted: str) -> dict[str, Any] | None:
    """Where it is on the board: the part's middle or the pin, mm; of a net its parts; None for what the board does not have. ``net_too``: a net has the part's
    very name (D3 a diode and a line of data), the parts on it."""
    part, _, pin = wanted.partition(".")
    row = next((p for p in binding.board.parts if p.ref.upper() == part.upper()), None)
    nets = {n.index for n in binding.board.nets if _plain(wanted) in {_plain(name) for name in (n.name, *n.names)}}
    parts = sorted({p.ref for p in binding.board.parts for q in p.pins if q.net in nets})
    if row is None:
        return {"what": "net", "parts": parts[:40]} if parts else None
    own = next((p for p in row.pins if p.number.upper() == pin.upper()), None)
    xs, ys = [p.x_mm for p in row.pins], [p.y_mm for p in row.pins]
    x, y = (own.x_mm, own.y_mm) if own is not None else (sum(xs) / len(xs), sum(ys) / len(ys)) if xs else (0.0, 0.0)
    return {
        "what": "pin" if own is not None else "part",
        "part": row.ref,
        "x_mm": round(x, 2),
        "y_mm": round(y, 2),
        "side": row.side,
        "net_too": parts[:40] if not pin else [],
    }


def schematic_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """The case's schematics and what a map beside them draws (mm): outline and parts, as plain JSON values."""
    binding = bind(workshop, case)
    board = binding.board
    x0, y0, x1, y1 = bounds_mm(board)
    return {
        "schematics": schematics_of(workshop, case),
        "map": {
            "bounds_mm": [x0, y0, x1, y1],
            "outline": [[[round(float(x), 2), round(float(y), 2)] for x, y in ring] for ring in board.outline],
            "parts": [
                {
                    "ref": p.ref,
                    "side": p.side,
                    "outline": [[round(float(x), 2), round(float(y), 2)] for x, y in p.outline],
                }
                for p in board.parts
                if len(p.outline)
            ],
        },
        "mark": binding.mark,
    }
