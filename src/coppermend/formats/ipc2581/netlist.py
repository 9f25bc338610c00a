"""What an IPC-2581 file states about nets, as netlist records: logical nets, physical net points, and the nets of feature sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from coppermend.core.board.records import Netlist, NetlistRecord
from coppermend.core.findings import Finding, Place, Severity
from coppermend.formats.ipc2581.parts import Component, Package, placed
from coppermend.formats.ipc2581.shapes import Move
from coppermend.formats.ipc2581.xmlread import Element, numbers

Point = tuple[float, float]
PinName = tuple[str, str]

SAME_UM = 10
"""Places nearer than this (in um) are one place of a land and its hole."""


@dataclass(frozen=True, slots=True)
class NetPoint:
    """A PhyNetPoint: place, layer, via or not."""

    net: str
    x_mm: float
    y_mm: float
    layer: str
    via: bool


@dataclass(slots=True)
class Statements:
    """Collects statements while a step is read: ``lands`` (layer, net, pins, place), ``logical`` net of each pin, ``points`` of physical nets."""

    lands: list[tuple[str, str, tuple[PinName, ...], Point]] = field(default_factory=list)
    logical: dict[PinName, str] = field(default_factory=dict)
    points: list[NetPoint] = field(default_factory=list)

    def land(self, layer: str, net: str, pins: Sequence[PinName], at: Point) -> None:
        """Notes a dark land of a copper layer."""
        if net or pins:
            self.lands.append((layer, net, tuple(pins), at))

    def take(self, element: Element, unit: float) -> None:
        """Takes the LogicalNet and PhyNet elements that lie in an element, or the element itself."""
        for net in element.iter("LogicalNet"):
            for one in net.iter("PinRef"):
                if one.get("componentRef") and one.get("pin"):
                    self.logical[one.get("componentRef", ""), one.get("pin", "")] = net.get("name", "")
        for net in element.iter("PhyNet"):
            points = list(net.iter("PhyNetPoint"))
            self.points += [
                NetPoint(net.get("name", ""), x, y, one.get("layerRef", ""), _yes(one.get("via", "false")))
                for one, x, y in zip(points, numbers(points, "x", unit), numbers(points, "y", unit), strict=True)
            ]

    def more(self, other: Statements) -> None:
        """Adds what stands outside any step."""
        self.logical = {**other.logical, **self.logical}
        self.points += other.points

    def lands_of_parts(self) -> dict[str, dict[str, list[Point]]]:
        """Places of lands by part and pin."""
        out: dict[str, dict[str, list[Point]]] = defaultdict(lambda: defaultdict(list))
        for _, _, pins, at in self.lands:
            for part, pin in pins:
                out[part][pin].append(at)
        return out


class _Hole(Protocol):
    @property
    def x_mm(self) -> float: ...
    @property
    def y_mm(self) -> float: ...
    @property
    def diameter_mm(self) -> float: ...
    @property
    def plated(self) -> int: ...
    @property
    def net(self) -> str: ...


class _Step(Protocol):
    @property
    def said(self) -> Statements: ...
    @property
    def components(self) -> list[Component]: ...
    @property
    def packages(self) -> dict[str, Package]: ...
    @property
    def holes(self) -> Mapping[str, Sequence[_Hole]]: ...
    @property
    def stack_holes(self) -> list[tuple[float, float, float, int]]: ...


def _yes(word: str) -> bool:
    return word.strip().lower() in ("true", "1")


def _cell(x_mm: float, y_mm: float) -> tuple[int, int]:
    return round(x_mm * 1000 / SAME_UM), round(y_mm * 1000 / SAME_UM)


class _Drilled:
    """Diameter and plating of the hole at a place."""

    def __init__(self, rows: Iterable[tuple[float, float, float, int]]) -> None:
        self._at: dict[tuple[int, int], tuple[float, int]] = {}
        for x, y, d, plated in rows:
            self._at[_cell(x, y)] = (d, plated)

    def at(self, x: float, y: float) -> tuple[float, int] | None:
        i, j = _cell(x, y)
        for di in (0, -1, 1):
            for dj in (0, -1, 1):
                found = self._at.get((i + di, j + dj))
                if found is not None:
                    return found
        return None


def netlist_of(name: str, step: _Step, order: Sequence[str], moves: Mapping[str, Move]) -> Netlist | None:
    """One netlist of all statements, each place once; None where the file states no net.

    A pin's net is that of its LogicalNet where there is one, else that of the Set its land lies in. Records of holes and of lands without a pin
    take the net of their Set; PhyNet points come last and add only places that nothing else covers.
    """
    said = step.said
    holes = [hole for group in step.holes.values() for hole in group]
    rows = [(h.x_mm, h.y_mm, h.diameter_mm, h.plated) for h in holes] or step.stack_holes
    drilled = _Drilled(rows)
    access = {layer: at + 1 for at, layer in enumerate(order)}
    outer = {order[0], order[-1]}
    records: dict[tuple[object, ...], NetlistRecord] = {}
    covered: set[tuple[int, int, int]] = set()

    def add(net: str, part: str, pin: str, x: float, y: float, layer: str) -> None:
        hole = drilled.at(x, y)
        if hole is None and layer not in outer:
            return
        where = 0 if hole is not None else access[layer]
        key = (part, pin, *_cell(x, y), where)
        if key in records and (records[key].net or not net):
            return
        covered.add((*_cell(x, y), where))
        records[key] = _record(net, part, pin, x, y, where, hole)

    pinned: set[PinName] = set()
    for layer, net, pins, (x, y) in said.lands:
        for part, pin in pins:
            pinned.add((part, pin))
            add(said.logical.get((part, pin), net), part, pin, x, y, layer)
    missing = _from_packages(step, moves, pinned, add, order)
    for layer, net, pins, (x, y) in said.lands:
        if net and not pins and not _taken(covered, x, y, drilled, access[layer]):
            add(net, "VIA" if drilled.at(x, y) else "", "", x, y, layer)
    for hole in holes:
        if hole.net and not _taken(covered, hole.x_mm, hole.y_mm, drilled, 0):
            add(hole.net, "VIA", "", hole.x_mm, hole.y_mm, order[0])
    findings = _physical(name, said, covered, drilled, access, add)
    if missing:
        words = f"{missing} pins of logical nets have no land and no place in a package; they are not compared."
        findings.append(Finding("IPC-030", Severity.WARNING, Place(file=name), words))
    if not any(one.net for one in records.values()):
        return None
    return Netlist(name, tuple(records.values()), tuple(findings))


def _record(
    net: str, part: str, pin: str, x: float, y: float, access: int, hole: tuple[float, int] | None
) -> NetlistRecord:
    return NetlistRecord(
        net=net,
        part=part,
        pin=pin,
        midpoint=False,
        hole_mm=hole[0] if hole else None,
        plated=None if hole is None else hole[1] != 0,
        access=access,
        x_mm=x,
        y_mm=y,
        size_x_mm=0.0,
        size_y_mm=0.0,
        rotation_deg=0.0,
        mask=-1,
        line=0,
    )


def _taken(covered: set[tuple[int, int, int]], x: float, y: float, drilled: _Drilled, access: int) -> bool:
    i, j = _cell(x, y)
    where = 0 if drilled.at(x, y) is not None else access
    return any((i + di, j + dj, where) in covered for di in (0, -1, 1) for dj in (0, -1, 1))


class _Add(Protocol):
    def __call__(self, net: str, part: str, pin: str, x: float, y: float, layer: str) -> None: ...


def _from_packages(
    step: _Step, moves: Mapping[str, Move], pinned: set[PinName], add: _Add, order: Sequence[str]
) -> int:
    """Records for pins of logical nets whose lands name no pin, at the places of their package's pins; how many have no such place."""
    components = {one.ref: one for one in step.components}
    missing = 0
    for (part, pin), net in step.said.logical.items():
        if (part, pin) in pinned:
            continue
        component = components.get(part)
        package = step.packages.get(component.package) if component is not None else None
        if component is None or package is None or pin not in package.pins:
            missing += 1
            continue
        x, y = placed(component, moves.get(part, component.move), [package.pins[pin]])[0].tolist()
        layer = component.layer if component.layer in (order[0], order[-1]) else order[0]
        add(net, part, pin, x, y, layer)
    return missing


def _physical(
    name: str,
    said: Statements,
    covered: set[tuple[int, int, int]],
    drilled: _Drilled,
    access: Mapping[str, int],
    add: _Add,
) -> list[Finding]:
    """Adds the points of physical nets that nothing covers yet. Names that only physical nets use are a numbering of their own and left out."""
    nets = {net for _, net, _, _ in said.lands if net} | set(said.logical.values())
    foreign = 0
    for point in said.points:
        net = point.net if point.net in nets or not nets else point.net.removesuffix("_PHY")
        if nets and net not in nets:
            foreign += 1
        elif point.layer in access and not _taken(covered, point.x_mm, point.y_mm, drilled, access[point.layer]):
            add(net, "VIA" if point.via else "", "", point.x_mm, point.y_mm, point.layer)
    if not foreign:
        return []
    words = f"{foreign} points of physical nets have names that no other part of the file uses; they were left out."
    return [Finding("IPC-031", Severity.NOTE, Place(file=name), words)]
