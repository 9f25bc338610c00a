"""What the commands and routes print of a board: its report, its comparison with netlists, its nets, as plain JSON values."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from coppermend.core.board.drillfit import one_each
from coppermend.core.board.model import Board, Hole, NetlistPoint
from coppermend.core.board.names import nearest_names
from coppermend.core.findings import Place, Refusal, refuse

if TYPE_CHECKING:
    from coppermend.core.copper.compare import Disagreement, Missed, SourceRow


def _holes_and_slots(holes: Sequence[Hole]) -> int:
    """How many holes and slots there are: a slot routed in several pieces counts once."""
    ends = np.array([(h.x_mm, h.y_mm, h.x2_mm, h.y2_mm, h.diameter_mm) for h in holes]).reshape(-1, 5)
    return len(np.unique(one_each(*ends.T)))


def board_report(board: Board) -> dict[str, Any]:
    """The board in numbers, with its findings, as plain JSON values."""
    return {
        "package_id": board.package_id,
        "title": board.title,
        "layers": [{"key": one.key, "file": one.file, "pieces": len(one.shapes)} for one in board.layers],
        "holes": _holes_and_slots(board.holes),
        "plated_holes": _holes_and_slots([hole for hole in board.holes if hole.plated]),
        "parts": len(board.parts),
        "pins": sum(len(part.pins) for part in board.parts),
        "nets": len(board.nets),
        "named_nets": sum(bool(net.names) for net in board.nets),
        "origin_shift_mm": list(board.origin_shift_mm),
        "findings": [finding.as_dict() for finding in board.findings],
        "seconds": dict(board.seconds),
    }


def compare_board(board: Board) -> dict[str, Any]:
    """Copper against every netlist source, as plain JSON values: one row per source in ``sources``, their sums at the top.

    ``points, agree, missed, split_nets, joined_nets, origin_shift_mm, sources, findings, seconds``. ``agrees`` says whether all is exact.
    """
    from coppermend.core.copper.compare import compare

    begun = time.perf_counter()
    rows = compare(board)
    if not rows:
        raise refuse(
            "BRD-040",
            "The package has no netlist to compare with: no X2 net names in copper files, no IPC-D-356 file, no pin list beside copper.",
            "Add a netlist, name a list (--with pins.csv), or use 'coppermend board nets' to see what is joined.",
            Place(thing=board.title),
        )
    seconds = dict(board.seconds)
    seconds["compare"] = time.perf_counter() - begun
    seconds["total"] = seconds.get("total", 0.0) + seconds["compare"]
    seconds.setdefault("parse", 0.0)
    return {
        "points": sum(row.points for row in rows),
        "agree": sum(row.agree for row in rows),
        "missed": [_missed(row, one) for row in rows for one in row.missed],
        "split_nets": [_disagreement(row, one) for row in rows for one in row.split_nets],
        "joined_nets": [_disagreement(row, one) for row in rows for one in row.joined_nets],
        "origin_shift_mm": list(board.origin_shift_mm),
        "sources": [_row(row) | {"placing": _placing(board, row.source)} for row in rows],
        "findings": [finding.as_dict() for finding in board.findings],
        "seconds": seconds,
        "agrees": all(row.exact for row in rows),
    }


def _placing(board: Board, source: str) -> str:
    """How the source's points had to be turned to lie on the copper (mirrored, turned, scaled), "" where a shift at most was needed."""
    said = (f.words for f in board.findings if f.code == "BRD-020" and f.place.file == source)
    return next((words for words in said if words.startswith("Against the copper, the netlist is ")), "")


def _row(row: SourceRow) -> dict[str, Any]:
    return {
        "source": row.source,
        "nets": row.nets,
        "points": row.points,
        "agree": row.agree,
        "missed": len(row.missed),
        "split_nets": len(row.split_nets),
        "joined_nets": len(row.joined_nets),
        "origin_shift_mm": list(row.origin_shift_mm),
    }


def _missed(row: SourceRow, one: Missed) -> dict[str, Any]:
    return {
        "source": row.source,
        "point": one.point,
        "net": one.net,
        "x_mm": one.x_mm,
        "y_mm": one.y_mm,
        "line": one.line,
        "words": one.words,
    }


def _disagreement(row: SourceRow, one: Disagreement) -> dict[str, Any]:
    return {
        "source": row.source,
        "nets": list(one.nets),
        "points": list(one.points),
        "why": one.why,
        "x_mm": one.x_mm,
        "y_mm": one.y_mm,
        "layer": one.layer,
        "words": one.words,
    }


def board_nets(board: Board, origin: str = "copper", net: str | None = None) -> dict[str, Any]:
    """Per island (``origin`` copper) or per net of one netlist source its points: part, pin, layer, x_mm, y_mm, as plain JSON values.

    ``origin``: ``copper``, ``x2``, or the name of a netlist file; ``net``: one net by any of its names. Refusal BRD-041 for an unknown
    source, BRD-042 for an unknown net, both with the nearest names.
    """
    result = _all_nets(board, origin)
    if net is None:
        return result
    chosen = [one for one in result["nets"] if net == one["name"] or net in one.get("names", ())]
    if not chosen:
        names = [name for one in result["nets"] for name in (one["name"], *one.get("names", ())) if name]
        raise unknown_name("BRD-042", "net", net, names)
    return {"from": result["from"], "nets": chosen}


def unknown_name(code: str, kind: str, word: str, names: Sequence[str]) -> Refusal:
    """A refusal for a name that the board does not have, with the nearest ones."""
    near = nearest_names(word, names)
    remedy = f"Did you mean {' or '.join(near)}?" if near else f"'coppermend board nets' lists every {kind}."
    return refuse(code, f"The board has no {kind} {word!r}.", remedy)


def _all_nets(board: Board, origin: str) -> dict[str, Any]:
    if origin == "copper":
        return {"from": "copper", "nets": _copper_nets(board)}
    from coppermend.core.board.build import X2_SOURCE
    from coppermend.core.board.naming import says_a_net
    from coppermend.core.copper.compare import sources

    found = sources(board)
    wanted = X2_SOURCE if origin.lower() in ("x2", X2_SOURCE.lower()) else origin
    short = {name.rsplit("/", 1)[-1]: name for name in found}
    name = wanted if wanted in found else short.get(wanted, "")
    if not name:
        choices = ["copper", *(["x2"] if X2_SOURCE in found else []), *(key for key in short if key != X2_SOURCE)]
        near = nearest_names(origin, choices) or tuple(choices)
        raise refuse(
            "BRD-041",
            f"The package has no netlist {origin!r}.",
            f"Nearest: {', '.join(near)}. There are: {', '.join(choices)}.",
            Place(thing=board.title),
        )
    nets: dict[str, list[NetlistPoint]] = {}
    for point in found[name]:
        nets.setdefault(point.net if says_a_net(point.net) else "", []).append(point)
    return {
        "from": name,
        "nets": [{"name": net, "points": [_point(one) for one in points]} for net, points in sorted(nets.items())],
    }


def _point(point: NetlistPoint) -> dict[str, Any]:
    return {
        "part": point.part,
        "pin": point.pin,
        "layer": ",".join(point.layers),
        "x_mm": round(point.x_mm, 6),
        "y_mm": round(point.y_mm, 6),
        "island": point.island,
    }


def _copper_nets(board: Board) -> list[dict[str, Any]]:
    points: dict[int, list[dict[str, Any]]] = {net.index: [] for net in board.nets}
    used = set()
    for part in board.parts:
        for pin in part.pins:
            if pin.hole is not None:
                used.add(pin.hole)
            if pin.net is not None:
                place = {"layer": ",".join(pin.layers), "x_mm": round(pin.x_mm, 6), "y_mm": round(pin.y_mm, 6)}
                points[pin.net].append({"part": part.ref, "pin": pin.number, **place})
    for number, hole in enumerate(board.holes):
        if number not in used and hole.island is not None:
            place = {"layer": ",".join(hole.layers), "x_mm": round(hole.x_mm, 6), "y_mm": round(hole.y_mm, 6)}
            points[hole.island].append({"part": "VIA", "pin": "", **place})
    return [
        {"island": net.index, "name": net.name, "names": list(net.names), "points": points[net.index]}
        for net in board.nets
    ]
