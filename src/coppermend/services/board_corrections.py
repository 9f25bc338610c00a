"""The tables of a corrections file that the board builder applies: parts, net names, netlists, board. docs/reference/corrections.md has the form."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from coppermend.core.board.model import PartState
from coppermend.core.board.sources import NO_CORRECTIONS, Corrections, Cut, FactoryWire, PartCorrection, WireEnd
from coppermend.core.findings import Finding, Place, Severity
from coppermend.formats.package import Corrections as CorrectionsFile

_PART_KEYS = ("side", "value", "package", "state", "outline_mm")


class _Notes:
    def __init__(self, name: str) -> None:
        self.name = name
        self.findings: list[Finding] = []

    def wrong(self, thing: str, value: object, expected: str) -> None:
        self.findings.append(
            Finding(
                "COR-004",
                Severity.WARNING,
                Place(file=self.name, thing=thing),
                f"{str(value)[:60]!r} is not possible here; expected {expected}. It is not applied.",
            )
        )


def builder_corrections(file: CorrectionsFile | None) -> tuple[Corrections, list[Finding]]:
    """What the corrections file says to the builder, and a finding for each statement (applied, or not possible)."""
    if file is None:
        return NO_CORRECTIONS, []
    notes = _Notes(file.name)
    tables = dict(file.tables or {})
    parts = _parts(_table(tables.pop("part", {}), "part", notes), notes)
    names = _names(_table(tables.pop("net", {}), "net", notes), notes)
    netlists = _table(tables.pop("netlists", {}), "netlists", notes)
    board = _table(tables.pop("board", {}), "board", notes)
    cuts = _cuts(tables.pop("cut", []), notes)
    wires = _wires(tables.pop("wire", []), notes)
    for key in tables:
        notes.wrong(key, key, "one of the tables file, part, net, netlists, board, cut, wire")
    shift = _pair(netlists.get("shift_mm"), "netlists.shift_mm", notes)
    ignore = netlists.get("ignore", [])
    if not (isinstance(ignore, list) and all(isinstance(one, str) for one in ignore)):
        notes.wrong("netlists.ignore", ignore, "a list of file names")
        ignore = []
    said = Corrections(
        parts, names, tuple(ignore), shift, _positive(board.get("thickness_mm"), notes), digest(file.text), cuts, wires
    )
    return said, [*notes.findings, *_applied(file, said)]


def digest(text: str) -> str:
    """The name of a corrections text: the first 16 hex digits of its SHA-256."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _applied(file: CorrectionsFile, said: Corrections) -> list[Finding]:
    """One note per correction, so that the record lists what the user changed."""
    words: list[tuple[str, str]] = []
    for one in file.files:
        stated = {
            "role": one.role,
            "polarity": one.polarity,
            "plated": one.plated,
            "layers": one.span,
            "format": None if one.drill_format.words() == "unknown unit" else one.drill_format.words(),
        }
        words += [(one.name, f"{key} = {value}") for key, value in stated.items() if value is not None]
    for ref, part in said.parts.items():
        said_of = {"side": part.side, "value": part.value, "package": part.package, "state": part.state}
        words += [(ref, f"{key} = {value}") for key, value in said_of.items() if value]
        words += [(ref, "outline given")] if part.outline is not None else []
    words += [(where, f"net is called {name}") for where, name in said.net_names.items()]
    words += [(name, "netlist is ignored") for name in said.ignore_netlists]
    words += [
        (f"layer {c.layer}", f"copper is cut at {c.x_mm:g}, {c.y_mm:g} mm ({c.width_mm:g} mm wide)") for c in said.cuts
    ]
    words += [
        (
            "wire",
            f"a wire joins {w.start.x_mm:g}, {w.start.y_mm:g} {w.start.layer} and {w.end.x_mm:g}, {w.end.y_mm:g} {w.end.layer}",
        )
        for w in said.wires
    ]
    if said.origin_shift_mm is not None:
        words.append(("netlists", f"origin shift {said.origin_shift_mm[0]:g}, {said.origin_shift_mm[1]:g} mm"))
    if said.thickness_mm is not None:
        words.append(("board", f"thickness {said.thickness_mm:g} mm"))
    return [
        Finding("COR-010", Severity.NOTE, Place(file=file.name, thing=thing), f"Corrected by the user: {text}.")
        for thing, text in words
    ]


def _table(value: Any, name: str, notes: _Notes) -> Mapping[str, Any]:
    if isinstance(value, dict):
        return value
    notes.wrong(name, value, f"a table [{name}]")
    return {}


def _cuts(value: Any, notes: _Notes) -> tuple[Cut, ...]:
    """The [[cut]] tables: ``layer``, ``at_mm`` or ``from_mm`` and ``to_mm``, ``width_mm``."""
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        notes.wrong("cut", value, "tables [[cut]]")
        return ()
    out: list[Cut] = []
    for number, said in enumerate(value, 1):
        thing = f"cut {number}"
        begin = _numbers(said.get("from_mm", said.get("at_mm")))
        end = _numbers(said.get("to_mm", said.get("from_mm", said.get("at_mm"))))
        width, layer = said.get("width_mm", 0.5), said.get("layer")
        wide = isinstance(width, int | float) and not isinstance(width, bool) and 0 < width < 50
        if begin is None or end is None or not wide or not isinstance(layer, str):
            notes.wrong(thing, said, 'layer = "c", at_mm = [x, y] (or from_mm and to_mm), width_mm = a number above 0')
            continue
        out.append(Cut(layer, *begin, *end, float(width)))
    return tuple(out)


def _wires(value: Any, notes: _Notes) -> tuple[FactoryWire, ...]:
    """The [[wire]] tables: ``from`` and ``to`` as "x, y layer", ``diameter_mm``."""
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        notes.wrong("wire", value, "tables [[wire]]")
        return ()
    out: list[FactoryWire] = []
    for number, said in enumerate(value, 1):
        start, end = _wire_end(said.get("from")), _wire_end(said.get("to"))
        wide = said.get("diameter_mm")
        sized = wide is None or (isinstance(wide, int | float) and not isinstance(wide, bool) and 0 < wide < 10)
        if start is None or end is None or not sized:
            notes.wrong(
                f"wire {number}", said, 'from = "12.7, 30.48 c", to = "50.8, 30.48 s", diameter_mm = a number above 0'
            )
            continue
        out.append(FactoryWire(start, end, None if wide is None else float(wide)))
    return tuple(out)


def _wire_end(value: Any) -> WireEnd | None:
    words = value.replace(",", " ").split() if isinstance(value, str) else []
    if len(words) != 3:
        return None
    try:
        x, y = float(words[0]), float(words[1])
    except ValueError:
        return None
    return WireEnd(x, y, words[2]) if abs(x) < 1e6 and abs(y) < 1e6 else None


def _parts(table: Mapping[str, Any], notes: _Notes) -> dict[str, PartCorrection]:
    out: dict[str, PartCorrection] = {}
    for ref, said in table.items():
        thing = f"part.{ref}"
        if not isinstance(said, dict):
            notes.wrong(thing, said, f"a table [part.{ref}]")
            continue
        for key in said:
            if key not in _PART_KEYS:
                notes.wrong(f"{thing}.{key}", key, "one of " + ", ".join(_PART_KEYS))
        side = said.get("side", "")
        if side not in ("", "c", "s"):
            notes.wrong(f"{thing}.side", side, "c (component side) or s (solder side)")
            side = ""
        out[ref] = PartCorrection(
            side,
            str(said.get("value", "")),
            str(said.get("package", "")),
            _state(said.get("state"), thing, notes),
            _ring(said, thing, notes),
        )
    return out


def _state(value: Any, thing: str, notes: _Notes) -> PartState | None:
    if value is None:
        return None
    try:
        return PartState(value)
    except ValueError:
        notes.wrong(f"{thing}.state", value, "one of " + ", ".join(PartState))
        return None


def _ring(said: Mapping[str, Any], thing: str, notes: _Notes) -> tuple[tuple[float, float], ...] | None:
    value = said.get("outline_mm")
    if value is None:
        return None
    if isinstance(value, list) and len(value) >= 3:
        points = [_numbers(point) for point in value]
        if all(point is not None for point in points):
            return tuple(point for point in points if point is not None)
    notes.wrong(f"{thing}.outline_mm", value, "three or more points [x, y] in mm")
    return None


def _numbers(value: Any) -> tuple[float, float] | None:
    if not (isinstance(value, list) and len(value) == 2):
        return None
    if not all(isinstance(v, int | float) and not isinstance(v, bool) and abs(v) < 1e6 for v in value):
        return None
    return float(value[0]), float(value[1])


def _pair(value: Any, thing: str, notes: _Notes) -> tuple[float, float] | None:
    if value is None:
        return None
    found = _numbers(value)
    if found is None:
        notes.wrong(thing, value, "two numbers [dx, dy] in mm")
    return found


def _names(table: Mapping[str, Any], notes: _Notes) -> dict[str, str]:
    out: dict[str, str] = {}
    for where, name in table.items():
        if isinstance(name, str) and name.strip():
            out[where] = name.strip()
        else:
            notes.wrong(f"net.{where}", name, 'a name, as in "U1.8" = "RESET"')
    return out


def _positive(value: Any, notes: _Notes) -> float | None:
    if value is None:
        return None
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 20:
        return float(value)
    notes.wrong("board.thickness_mm", value, "a number of mm between 0 and 20")
    return None
