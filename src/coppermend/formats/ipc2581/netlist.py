"""What an IPC-2581 file states about nets, as netlist records: logical nets, physical net points, and the nets of feature sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
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


def _around(x_mm: float, y_mm: float) -> list[tuple[int, int]]:
    """The cell of a place and those beside it."""
    i, j = _cell(x_mm, y_mm)
    return [(i + di, j + dj) for di in (0, -1, 1) for dj in (0, -1, 1)]


@dataclass(frozen=True, slots=True)
class _Bore:
    """A hole at a place: ``first`` and ``last`` copper layer that it passes (from 1), ``through`` all of them."""

    diameter_mm: float
    plated: int
    first: int
    last: int
    through: bool

    def touched(self, layer: int, outer: int) -> int:
        """Where a land of a layer can be touched: 0 on any layer by the wall of a through hole, else its own layer or the outer one (1 or ``outer``) that the hole comes out on."""
        if self.through:
            return 0 if self.plated else layer
        if layer in (1, outer):
            return layer
        return self.first if self.first == 1 else self.last if self.last == outer else layer

    @property
    def where(self) -> int:
        """What tells places on this hole from others: 0 for a hole through all layers, else a number below 0 by its layers."""
        return 0 if self.through else -(self.first * 1000 + self.last)


class _Drilled:
    """The holes at a place that pass a layer."""

    def __init__(self, rows: Iterable[tuple[float, float, _Bore]]) -> None:
        self._at: dict[tuple[int, int], list[_Bore]] = defaultdict(list)
        for x, y, bore in rows:
            self._at[_cell(x, y)].append(bore)

    def at(self, x: float, y: float, layer: int) -> _Bore | None:
        """The hole at a place that passes the copper layer of that number, the one through most layers; None where none reaches it."""
        found = [bore for cell in _around(x, y) for bore in self._at.get(cell, ()) if bore.first <= layer <= bore.last]
        return max(found, key=lambda bore: bore.last - bore.first, default=None)


class _Records:
    """The records of one netlist: each pin, via or land once at each place and hole."""

    def __init__(self, drilled: _Drilled, access: Mapping[str, int]) -> None:
        self.drilled, self.access = drilled, access
        self.outer = max(access.values())
        self.made: dict[tuple[object, ...], NetlistRecord] = {}
        self._covered: dict[tuple[tuple[int, int], int], list[tuple[object, ...]]] = defaultdict(list)

    def add(self, net: str, part: str, pin: str, x: float, y: float, layer: str) -> None:
        """A pin, via or land of a copper layer. Inner lands that no hole passes cannot be touched and are left out."""
        at = self.access[layer]
        bore = self.drilled.at(x, y, at)
        if bore is None and at not in (1, self.outer):
            return
        where = at if bore is None else bore.where
        cell = _cell(x, y)
        key = (part, pin, cell, where)
        touched = at if bore is None else bore.touched(at, self.outer)
        if key in self.made:
            old = self.made[key]
            # lands of one pin on both sides of a hole without a wall: its lead joins them
            both = bore is not None and bore.through and old.access != touched
            self.made[key] = replace(old, net=old.net or net, access=0 if both else old.access)
            return
        self._covered[cell, where].append(key)
        lead = bore is not None and (bore.through or not pin)  # no lead stands in a blind or buried hole
        self.made[key] = _record(net, part, pin, x, y, touched, bore if lead else None)

    def here(self, x: float, y: float, layer: str) -> list[tuple[object, ...]]:
        """Keys of the records at a place, on the layer or on the hole that passes it."""
        bore = self.drilled.at(x, y, self.access[layer])
        where = self.access[layer] if bore is None else bore.where
        return [key for cell in _around(x, y) for key in self._covered.get((cell, where), ())]

    def name(self, keys: Iterable[tuple[object, ...]], net: str) -> None:
        """Gives a net to those records that have none."""
        for key in keys:
            if not self.made[key].net:
                self.made[key] = replace(self.made[key], net=net)


def _bores(step: _Step, count: int, spans: Mapping[str, tuple[int, int] | None]) -> list[tuple[float, float, _Bore]]:
    """The holes of the drill layers with the layers they pass; those of the padstacks, through all layers, where there are none."""
    rows = []
    for name, group in step.holes.items():
        first, last = spans.get(name) or (1, count)
        whole = (first, last) == (1, count)
        rows += [(h.x_mm, h.y_mm, _Bore(h.diameter_mm, h.plated, first, last, whole)) for h in group]
    return rows or [(x, y, _Bore(d, plated, 1, count, True)) for x, y, d, plated in step.stack_holes]


def netlist_of(
    name: str,
    step: _Step,
    order: Sequence[str],
    moves: Mapping[str, Move],
    spans: Mapping[str, tuple[int, int] | None],
) -> Netlist | None:
    """One netlist of all statements, each place once; None where the file states no net.

    A pin's net is that of its LogicalNet where there is one, else that of the Set its land lies in. Records of holes and of lands without a pin
    take the net of their Set; PhyNet points come last: they name what has no net yet and add places that nothing else covers.
    ``spans`` by drill layer the first and last copper layer (from 1) that its holes pass, None for all: a land above or below a blind or
    buried hole that does not reach its layer is a land without a hole.
    """
    said = step.said
    access = {layer: at + 1 for at, layer in enumerate(order)}
    drilled = _Drilled(_bores(step, len(order), spans))
    records = _Records(drilled, access)
    pinned: set[PinName] = set()
    for layer, net, pins, (x, y) in said.lands:
        for part, pin in pins:
            pinned.add((part, pin))
            records.add(said.logical.get((part, pin), net), part, pin, x, y, layer)
    missing = _from_packages(step, moves, pinned, records.add, order)
    for layer, net, pins, (x, y) in said.lands:
        if net and not pins and not records.here(x, y, layer):
            records.add(net, "VIA" if drilled.at(x, y, access[layer]) else "", "", x, y, layer)
    for drill, group in step.holes.items():
        layer = order[(spans.get(drill) or (1, 1))[0] - 1]
        for hole in group:
            if hole.net and not records.here(hole.x_mm, hole.y_mm, layer):
                records.add(hole.net, "VIA", "", hole.x_mm, hole.y_mm, layer)
    findings = _physical(name, said, records)
    if missing:
        words = f"{missing} pins of logical nets have no land and no place in a package; they are not compared."
        findings.append(Finding("IPC-030", Severity.WARNING, Place(file=name), words))
    if not any(one.net for one in records.made.values()):
        return None
    return Netlist(name, tuple(records.made.values()), tuple(findings), counted=True)


def _record(net: str, part: str, pin: str, x: float, y: float, access: int, hole: _Bore | None) -> NetlistRecord:
    return NetlistRecord(
        net=net,
        part=part,
        pin=pin,
        midpoint=False,
        hole_mm=hole.diameter_mm if hole else None,
        plated=None if hole is None else hole.plated != 0,
        access=access,
        x_mm=x,
        y_mm=y,
        size_x_mm=0.0,
        size_y_mm=0.0,
        rotation_deg=0.0,
        mask=-1,
        line=0,
    )


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


def _physical(name: str, said: Statements, records: _Records) -> list[Finding]:
    """Takes the points of physical nets: they name records without a net and add what nothing covers yet.

    Names that only physical nets use are a numbering of their own and left out, unless no other part of the file names a net.
    """
    nets = {net for _, net, _, _ in said.lands if net} | set(said.logical.values())
    foreign = 0
    for point in said.points:
        net = point.net if point.net in nets or not nets else point.net.removesuffix("_PHY")
        if nets and net not in nets:
            foreign += 1
        elif point.layer in records.access:
            here = records.here(point.x_mm, point.y_mm, point.layer)
            if here:
                records.name(here, net)
            else:
                records.add(net, "VIA" if point.via else "", "", point.x_mm, point.y_mm, point.layer)
    if not foreign:
        return []
    words = f"{foreign} points of physical nets have names that no other part of the file uses; they were left out."
    return [Finding("IPC-031", Severity.NOTE, Place(file=name), words)]
