"""Boards without fabrication data, and pin lists beside boards that have some.

``pinlist_board(package) -> Board | None``; ``with_pinlists(board, package) -> Board``; ``compared_with(board, member) -> Board``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace

from coppermend.core.board.model import Board, NetlistPoint
from coppermend.core.board.names import nearest_names
from coppermend.core.board.pinboard import board_of_pins
from coppermend.core.board.pinlist import NO_MAP, MapFile, PinList, PinRow
from coppermend.core.board.records import Netlist, NetlistRecord
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.formats.ipcd356 import read_ipcd356
from coppermend.formats.member import Member
from coppermend.formats.package import Format, format_of, read_corrections
from coppermend.formats.partslist import read_partslist
from coppermend.formats.pinlist import MAP_NAME, looks_like_pinlist, read_map, read_pinlist
from coppermend.services.board_corrections import builder_corrections, settled
from coppermend.services.board_records import netlist_record

_COPPER = (Format.GERBER, Format.IPC2581)


def pinlist_board(package_id: str, title: str, members: Sequence[Member]) -> Board | None:
    """The board of a package that holds a pin list (or an IPC-D-356 netlist) and no copper at all; None for any other package.

    ``members``: everything the package holds and what stands beside it. Raises Refusal PIN-... or MAP-010 for files that cannot be used.
    """
    formats: dict[str, Format] = {}
    for member in members:
        formats[member.name] = format_of(member)
        if formats[member.name] in _COPPER:
            return None
    lists = [m for m in members if formats[m.name] is Format.TABLE and looks_like_pinlist(m.data)]
    netlists = [m for m in members if formats[m.name] is Format.IPCD356]
    if not lists and not netlists:
        return None
    pins = read_pinlist(lists[0].data, lists[0].name) if lists else pins_of_netlist(netlists[0])
    others = [m.name for m in (*lists, *netlists) if m.name != pins.name]
    findings = [_second(name, pins.name) for name in others]
    said = next((read_map(m.data, m.name) for m in members if m.base.lower() == MAP_NAME), NO_MAP)
    findings += _photos_there(said, members)
    file = next((read_corrections(m.data, m.name) for m in members if formats[m.name] is Format.CORRECTIONS), None)
    corrections, more = builder_corrections(file)
    rows: list[PartRow] = []
    for member in members:
        if formats[member.name] is Format.TABLE and member not in lists:
            rows += read_partslist(member.data, member.name) or ()
    board = board_of_pins(pins, package_id, title, said, rows, corrections, (*findings, *more))
    board = settled(board, corrections)
    return replace(board, corrections=_digest(board.corrections, said))


def _digest(corrections: str, said: MapFile) -> str:
    """Names corrections and map file together; the corrections' own name where there is no map."""
    return hashlib.sha256(f"{corrections} {said.text}".encode()).hexdigest()[:16] if said.text else corrections


def _second(name: str, used: str) -> Finding:
    return Finding(
        "PIN-014",
        Severity.WARNING,
        Place(file=name),
        f"The package holds more than one list of pins; {used} is used.",
        "Leave one of them out, or compare it: coppermend board compare PACKAGE --with LIST.",
    )


def _photos_there(said: MapFile, members: Sequence[Member]) -> list[Finding]:
    names = {m.name for m in members} | {m.base for m in members}
    return [
        Finding(
            "MAP-012",
            Severity.WARNING,
            Place(file=photo.file),
            "The map file names this photo, and it is not in the package; its marks still place the parts.",
            "Put the picture into the package's folder.",
        )
        for photo in said.photos
        if photo.file not in names
    ]


def pins_of_netlist(member: Member) -> PinList:
    """The pins of an IPC-D-356 netlist, for a package that has no copper. Refusal PIN-001 when it names no pin."""
    netlist: Netlist = netlist_record(read_ipcd356(member.data, member.name))
    rows: dict[str, PinRow] = {}
    for one in netlist.records:
        if one.part and one.pin and one.part != "VIA":
            side = {1: "c", 2: "s"}.get(one.access, "") if not one.hole_mm else ""
            net = "" if one.net.upper() in ("N/C", "NC") else one.net
            row = PinRow(one.part, one.pin, net, one.x_mm, one.y_mm, side, "", one.line)
            rows.setdefault(row.name, row)
    if not rows:
        raise refuse(
            "PIN-001",
            "The netlist names no pin of a part.",
            "Add the copper layers, or a pin list.",
            Place(file=member.name),
        )
    return PinList(member.name, tuple(rows.values()), (), netlist.findings)


def placed_lists(members: Sequence[Member]) -> list[Netlist]:
    """Pin lists with a place for every pin, as netlists that name the pins of copper which names none. Lists that cannot be read are left to ``with_pinlists``."""
    out = []
    for member in members:
        if format_of(member) is Format.TABLE and looks_like_pinlist(member.data):
            try:
                pins = read_pinlist(member.data, member.name)
            except Refusal:
                continue
            if pins.rows and pins.placed:
                out.append(Netlist(pins.name, tuple(_record(row) for row in pins.rows), (), holes_known=False))
    return out


def _record(row: PinRow) -> NetlistRecord:
    """A placed pin as a netlist's record; a pin in no net says N/C."""
    access = {"c": 1, "s": 2}.get(row.side, 0)
    x, y = row.x_mm or 0.0, row.y_mm or 0.0
    return NetlistRecord(
        row.net or "N/C", row.part, row.pin, False, None, None, access, x, y, 0.0, 0.0, 0.0, 0, row.line
    )


def with_pinlists(board: Board, members: Sequence[Member]) -> Board:
    """The board with every pin list of its package as a source to compare with: each pin by its name, wherever the copper has it."""
    made = board
    laid = {point.source for point in board.netlist_points}
    for member in members:
        if member.name not in laid and format_of(member) is Format.TABLE and looks_like_pinlist(member.data):
            try:
                made = _with_source(made, read_pinlist(member.data, member.name))
            except Refusal as refusal:
                finding = replace(refusal.finding, severity=Severity.WARNING)
                made = replace(made, findings=(*made.findings, finding))
    return made


def compared_with(board: Board, member: Member) -> Board:
    """The board with one more source to compare its copper with: a pin list (part, pin, net) or a parts list (ref, value) of the original.

    What differs in the parts (missing, more, other values) is added to the findings (PIN-030 to PIN-032). Refusal PIN-002 when it is neither.
    """
    if looks_like_pinlist(member.data):
        pins = read_pinlist(member.data, member.name)
        made = _with_source(board, pins)
        listed = dict.fromkeys(row.part for row in pins.rows)
        rows = {row.ref: row for row in pins.parts}
        found = _pins_beyond(board, pins)
    elif format_of(member) is Format.IPCD356:
        pins = pins_of_netlist(member)
        made, listed, rows = _with_source(board, pins), dict.fromkeys(row.part for row in pins.rows), {}
        found = _pins_beyond(board, pins)
    else:
        table = read_partslist(member.data, member.name)
        if table is None:
            raise refuse(
                "PIN-002",
                "The table is neither a pin list (part, pin, net) nor a parts list (ref, value).",
                "Give it a first line such as: part,pin,net",
                Place(file=member.name, line=1),
            )
        made, listed, rows, found = board, dict.fromkeys(row.ref for row in table), {row.ref: row for row in table}, []
    findings = [*_part_differences(board, member.name, list(listed), rows), *found]
    return replace(made, findings=(*made.findings, *findings))


def _with_source(board: Board, pins: PinList) -> Board:
    at = {pin.name.upper(): pin for part in board.parts for pin in part.pins}
    points = []
    for row in pins.rows:
        pin = at.get(row.name.upper())
        island = -1 if pin is None or pin.net is None else pin.net
        x, y, layers = (pin.x_mm, pin.y_mm, pin.layers) if pin is not None else (0.0, 0.0, ())
        points.append(NetlistPoint(row.net, row.part, row.pin, x, y, layers, pins.name, row.line, island))
    known = tuple(point for point in board.netlist_points if point.source != pins.name)
    return replace(board, netlist_points=(*known, *points))


def _part_differences(board: Board, name: str, listed: Sequence[str], rows: dict[str, PartRow]) -> list[Finding]:
    here = {part.ref.upper(): part for part in board.parts}
    there = {ref.upper() for ref in listed}
    out = []
    missing = [ref for ref in listed if ref.upper() not in here]
    if missing:
        near = [
            f"{ref} (nearest here: {', '.join(nearest_names(ref, list(here))[:2]) or 'none'})" for ref in missing[:6]
        ]
        words = f"{len(missing)} parts of the list are not on this copper: {', '.join(near)}{' ...' if len(missing) > 6 else ''}."
        remedy = "Another revision, or other designators: compare with the board under the lamp."
        out.append(Finding("PIN-030", Severity.WARNING, Place(file=name), words, remedy))
    more = [part.ref for part in board.parts if part.ref.upper() not in there]
    if more:
        words = f"{len(more)} parts of this copper are not in the list: {', '.join(more[:12])}{' ...' if len(more) > 12 else ''}."
        remedy = "Left out of the list, or not on the original."
        out.append(Finding("PIN-031", Severity.NOTE, Place(file=name), words, remedy))
    for ref, row in rows.items():
        part = here.get(ref.upper())
        if part is not None and row.value and part.value and row.value.lower() != part.value.lower():
            words = f"{ref} is {row.value} in the list and {part.value} here."
            out.append(
                Finding("PIN-032", Severity.NOTE, Place(file=name, thing=ref), words, "See which one is fitted.")
            )
    return out


def _pins_beyond(board: Board, pins: PinList) -> list[Finding]:
    """Pins of parts that both have and the list leaves out."""
    named = {row.name.upper() for row in pins.rows}
    parts = {row.part.upper() for row in pins.rows}
    lost = [
        pin.name
        for part in board.parts
        if part.ref.upper() in parts
        for pin in part.pins
        if pin.name.upper() not in named
    ]
    if not lost:
        return []
    words = f"{len(lost)} pins of this copper are not in the list, though their parts are: {', '.join(lost[:12])}{' ...' if len(lost) > 12 else ''}."
    return [Finding("PIN-033", Severity.NOTE, Place(file=pins.name), words, "Pins without a net are often left out.")]
