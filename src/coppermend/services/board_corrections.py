"""The tables of a corrections file that the board builder applies: parts, net names, netlists, board. docs/reference/corrections.md has the form."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from coppermend.core.board.model import Board, PartState
from coppermend.core.board.names import nearest_names
from coppermend.core.board.sources import NO_CORRECTIONS, Corrections, Cut, FactoryWire, PartCorrection, WireEnd
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.units import UM_PER_MM
from coppermend.formats.package import Corrections as CorrectionsFile

_PART_KEYS = ("side", "value", "package", "state", "outline_mm")
_NETLIST_KEYS = ("ignore", "shift_mm")
_BOARD_KEYS = ("thickness_mm", "copper_um", "copper_spread", "temperature_c")
_CUT_KEYS = ("layer", "at_mm", "from_mm", "to_mm", "width_mm")
_WIRE_KEYS = ("from", "to", "diameter_mm")
_LAYER_KEY = re.compile(r"c|s|i[1-9]\d?")


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
    _only(netlists, _NETLIST_KEYS, "netlists", notes)
    _only(board, _BOARD_KEYS, "board", notes)
    said = Corrections(
        parts,
        names,
        tuple(ignore),
        shift,
        _number(board, "thickness_mm", (0.0, 20.0), "a number of mm between 0 and 20", notes),
        digest(file.text),
        cuts,
        wires,
        _copper(board.get("copper_um"), notes),
        _number(board, "copper_spread", (0.0, 0.6), "a share between 0 and 0.6, such as 0.1 for 10 %", notes),
        _number(board, "temperature_c", (-60.0, 160.0), "degrees Celsius between -60 and 160", notes),
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
    for key, thick in said.copper_mm.items():
        words.append((f"layer {key}" if key else "board", f"copper {thick * UM_PER_MM:g} um thick"))
    if said.copper_spread is not None:
        words.append(("board", f"copper known to within {said.copper_spread * 100:g} %"))
    if said.temperature_c is not None:
        words.append(("board", f"copper at {said.temperature_c:g} degC"))
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
        if _strange(said, _CUT_KEYS, thing, notes):
            continue
        stroke = {"from_mm", "to_mm"} & said.keys()
        begin, end = (_numbers(said.get(key if stroke else "at_mm")) for key in ("from_mm", "to_mm"))
        if stroke and "at_mm" in said:
            begin = None
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
        if _strange(said, _WIRE_KEYS, f"wire {number}", notes):
            continue
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


def _number(
    table: Mapping[str, Any], key: str, between: tuple[float, float], expected: str, notes: _Notes
) -> float | None:
    """A number of [board] strictly between two bounds, None where it is not given or not possible."""
    value = table.get(key)
    if value is None:
        return None
    if _is_between(value, between):
        return float(value)
    notes.wrong(f"board.{key}", value, expected)
    return None


def _is_between(value: Any, between: tuple[float, float]) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and between[0] < value < between[1]


def _copper(value: Any, notes: _Notes) -> dict[str, float]:
    """``copper_um``: one number for every layer (key ""), or a table of layer keys; in mm."""
    if value is None:
        return {}
    out: dict[str, float] = {}
    for key, thick in (value if isinstance(value, dict) else {"": value}).items():
        thing = f"board.copper_um.{key}" if key else "board.copper_um"
        if key and not _LAYER_KEY.fullmatch(key):
            notes.wrong(thing, key, "a layer: c, s, i1 ...")
        elif not _is_between(thick, (1.0, 1000.0)):
            notes.wrong(thing, thick, "micrometres between 1 and 1000")
        else:
            out[key] = float(thick) / UM_PER_MM
    return out


def _only(table: Mapping[str, Any], keys: Sequence[str], name: str, notes: _Notes) -> None:
    """A note for each key that a table does not have."""
    for key in table:
        if key not in keys:
            notes.wrong(f"{name}.{key}", key, "one of " + ", ".join(keys))


def _strange(said: Mapping[str, Any], keys: Sequence[str], thing: str, notes: _Notes) -> bool:
    """Whether a [[cut]] or [[wire]] has a key that there is none of; noted, and the statement is left out as a whole."""
    strange = [key for key in said if key not in keys]
    if strange:
        notes.wrong(thing, ", ".join(strange), "only the keys " + ", ".join(keys))
    return bool(strange)


def settled(board: Board, said: Corrections) -> Board:
    """The board with a finding (COR-004) for each correction of a part that it does not have, or of copper where it knows none, and none of
    those listed as applied (COR-010)."""
    refs = {part.ref for part in board.parts}
    more = []
    for ref, part in said.parts.items():
        if ref not in refs and any((part.side, part.value, part.package, part.state, part.outline)):
            near = ", ".join(nearest_names(ref, refs))
            more.append(
                _unmet(f"part.{ref}", f"no part {ref} is on the board" + (f"; nearest names: {near}" if near else ""))
            )
    if not board.layers:
        things = {"cut": said.cuts, "wire": said.wires, "board.copper_um": said.copper_mm}
        why = "the package is a list of pins and holds no copper"
        more += [_unmet(thing, why) for thing, given in things.items() if given]
    return replace(board, findings=without_refuted([*board.findings, *more]))


def _unmet(thing: str, why: str) -> Finding:
    place = Place(file="coppermend-corrections.toml", thing=thing)
    return Finding(
        "COR-004", Severity.WARNING, place, f"The correction {thing} cannot be met: {why}. It is not applied."
    )


def without_refuted(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings without those that list as applied (COR-010) what another finding says could not be: a file, net or wire that is not there."""
    lost = {one.place.thing for one in findings if one.code in ("COR-003", "BRD-030") and one.place.thing}
    unmet = {one.place.thing or "" for one in findings if one.code == "COR-004" and "cannot be met" in one.words}
    lost |= {thing.removeprefix("part.") for thing in unmet}
    ends = {
        f"{one.place.x_mm:g}, {one.place.y_mm:g} {one.place.layer}"
        for one in findings
        if one.code == "BRD-036" and one.place.x_mm is not None and one.place.y_mm is not None
    }

    def refuted(one: Finding) -> bool:
        if one.code != "COR-010":
            return False
        if "board.copper_um" in unmet and _of_copper(one):
            return True
        told = one.words.rstrip(".").split()
        return one.place.thing in lost or (one.place.thing == "wire" and any(_names_end(told, end) for end in ends))

    return tuple(one for one in findings if not refuted(one))


def _of_copper(one: Finding) -> bool:
    return one.code == "COR-010" and re.search(r": copper .* um thick", one.words) is not None


def _names_end(told: Sequence[str], end: str) -> bool:
    """Whether words name a wire's end "x, y layer"."""
    words = end.split()
    return any(list(told[k : k + 3]) == words for k in range(len(told)))
