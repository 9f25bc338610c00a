"""IPC-2581 (revisions A, B and C) to records: one walk over the XML."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from coppermend.core.board.records import (
    DrillImage,
    GerberImage,
    LayerRole,
    ObjectAttributes,
)
from coppermend.core.findings import Place, Refusal, Severity, refuse
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.core.geometry.tangles import in_file
from coppermend.formats.collect import FindingList
from coppermend.formats.ipc2581.canvas import Canvas
from coppermend.formats.ipc2581.layers import (
    MAX_LAYERS,
    SIDES,
    Layer,
    copper_order,
    is_known,
    kind_of,
    laminate_gaps,
    span_numbers,
)
from coppermend.formats.ipc2581.model import Ipc2581
from coppermend.formats.ipc2581.netlist import Statements, netlist_of
from coppermend.formats.ipc2581.parts import Bom, Component, Package, component_of, move_on_board, package_of, part_rows
from coppermend.formats.ipc2581.shapes import (
    STILL,
    TOLERANCE_MM,
    UNITS,
    Dictionary,
    Move,
    Piece,
    Points,
    TooMany,
    child,
    move_of,
    moved,
    path_points,
)
from coppermend.formats.ipc2581.slots import Slot, slot_of
from coppermend.formats.ipc2581.xmlread import BadNumber, Element, bad_number, local, number, tree

Point = tuple[float, float]
NO_SAID = ObjectAttributes()


@dataclass(frozen=True, slots=True)
class Padstack:
    """A PadStackDef: holes as (dx, dy, diameter, plated), lands by (layer, use), ``surface``: a land on one copper layer only."""

    holes: tuple[tuple[float, float, float, int], ...]
    lands: dict[tuple[str, str], tuple[Piece, ...]]
    surface: bool


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole of a drill layer."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    plated: int
    net: str


@dataclass(slots=True)
class Step:
    """Everything of one Step element."""

    name: str
    kind: str
    canvases: dict[str, Canvas] = field(default_factory=dict)
    holes: dict[str, list[Hole]] = field(default_factory=dict)
    slots: dict[str, list[Slot]] = field(default_factory=dict)
    stack_holes: list[tuple[float, float, float, int]] = field(default_factory=list)
    padstacks: dict[str, Padstack] = field(default_factory=dict)
    packages: dict[str, Package] = field(default_factory=dict)
    components: list[Component] = field(default_factory=list)
    said: Statements = field(default_factory=Statements)
    outline: list[Points] = field(default_factory=list)
    repeats: int = 0

    def size(self) -> int:
        """Objects, holes and parts of the step."""
        return sum(len(one) for one in self.canvases.values()) + sum(len(one) for one in self.holes.values())


_PLATED = {"PLATED": 1, "VIA": 1, "VIA_CAPPED": 1, "NONPLATED": 0}


class _Reader:
    def __init__(self, data: bytes, name: str) -> None:
        self.data, self.name = data, name
        self.notes = FindingList()
        self.dictionary = Dictionary()
        self.unit = 1.0
        self.layers: dict[str, Layer] = {}
        self.stackups: list[list[tuple[str, float, float]]] = []
        self.thickness: float | None = None
        self.bom = Bom()
        self.steps: list[Step] = []
        self.wanted = ""
        self.revision = ""
        self._layer = ""
        self._canvas: Canvas | None = None
        self._moved: dict[tuple[int, Move], tuple[Piece, ...]] = {}
        self._hold: list[tuple[Piece, ...]] = []

    # ---- the walk ----
    def read(self) -> None:
        root = tree(self.data, self.name)
        if root.tag != "IPC-2581":
            words = f"The root element is {root.tag[:40]}; expected IPC-2581."
            raise refuse(
                "IPC-003", words, "Check that it is an IPC-2581 file.", Place(file=self.name, text=root.tag[:40])
            )
        self.revision = root.get("revision", "")
        outside = Statements()
        for part in root:
            if part.tag == "Content":
                self._content(part)
            elif part.tag == "Bom":
                for item in part.iter("BomItem"):
                    self.bom.add(item)
            elif part.tag == "Ecad":
                self._ecad(part, outside)
            else:
                outside.take(part, self.unit)
        for step in self.steps:
            step.said.more(outside)

    def _content(self, content: Element) -> None:
        for part in content:
            if part.tag == "StepRef":
                self.wanted = self.wanted or part.get("name", "")
            elif part.tag.startswith("Dictionary"):
                unit = self._unit(part)
                for entry in part:
                    self.dictionary.add(entry.tag, entry, unit)

    def _ecad(self, ecad: Element, outside: Statements) -> None:
        for part in ecad:
            if part.tag == "CadHeader":
                self.unit = self._unit(part)
            elif part.tag == "CadData":
                for one in part:
                    if one.tag == "Layer":
                        self._add_layer(one)
                    elif one.tag == "Stackup":
                        self._add_stackup(one)
                self._unknown_layers()
                for one in part.findall("Step"):
                    self._step(one)
            else:
                outside.take(part, self.unit)

    def _step(self, element: Element) -> None:
        step = Step(element.get("name", ""), element.get("type", "").upper())
        self.steps.append(step)
        self._moved.clear()
        self._hold.clear()
        for part in element:
            if part.tag == "LayerFeature":
                self._layer_feature(step, part)
                part.clear()
            else:
                self._in_step(step, part)

    def _layer_feature(self, step: Step, element: Element) -> None:
        self._layer = element.get("layerRef", "")
        layer = self.layers.get(self._layer)
        if layer is None or layer.kind == "other":
            return
        self._canvas = step.canvases.setdefault(self._layer, Canvas(f"{self.name}#{self._layer}"))
        for one in element.findall("Set"):
            self._set(step, layer.kind, one)

    def _unit(self, element: Element) -> float:
        word = element.get("units", "MILLIMETER").strip().upper()
        if word not in UNITS:
            words = f"{element.tag} has units {word[:20]!r}; expected MILLIMETER, MICRON or INCH."
            raise refuse("IPC-006", words, "Export the file again.", Place(file=self.name, text=word[:20]))
        return UNITS[word]

    def _in_step(self, step: Step, element: Element) -> None:
        tag = element.tag
        if tag == "PadStackDef":
            step.padstacks[element.get("name", "")] = self._padstack(element)
        elif tag == "Package":
            package = package_of(element, self.unit)
            step.packages[package.name] = package
        elif tag == "Component":
            component = component_of(element, self.unit)
            if component is not None:
                step.components.append(component)
        elif tag == "Profile":
            step.outline = [path_points(one, self.unit) for one in element if one.tag in ("Polygon", "Cutout")]
        elif tag == "StepRepeat":
            step.repeats += 1
        else:
            step.said.take(element, self.unit)

    # ---- layers ----
    def _add_layer(self, element: Element) -> None:
        if len(self.layers) >= MAX_LAYERS:
            raise refuse("IPC-005", f"More than {MAX_LAYERS} layers.", "Check the file.", Place(file=self.name))
        span = child(element, "Span")
        ends = (span.get("fromLayer", ""), span.get("toLayer", "")) if span is not None else None
        name = element.get("name", "")
        polarity = element.get("polarity", "").strip().upper()
        self.layers[name] = Layer(
            name,
            kind_of(element.get("layerFunction", "")),
            SIDES.get(element.get("side", "").strip().upper(), ""),
            polarity == "NEGATIVE",
            ends,
            polarity if polarity in ("POSITIVE", "NEGATIVE") else "",
            element.get("layerFunction", "").strip()[:40],
        )

    def _unknown_layers(self) -> None:
        """Layers of the stack-up whose function is no word of the standard are taken as copper; others are left out. Both are said."""
        stacked = {row[0] for rows in self.stackups for row in rows}
        for layer in list(self.layers.values()):
            if is_known(layer.function):
                continue
            words = f"The layer's function {layer.function!r} is not known."
            if layer.name in stacked:
                self.layers[layer.name] = replace(layer, kind="copper")
                words += " It lies in the stack-up: it is taken as copper."
                severity, remedy = (
                    Severity.GUESS,
                    "Look whether it belongs to the copper; else give it its true layerFunction.",
                )
            else:
                words += " It is left out."
                severity, remedy = (
                    Severity.WARNING,
                    "Give it its true layerFunction if it holds copper (CONDUCTOR, SIGNAL, PLANE, MIXED).",
                )
            self.notes.add("IPC-018", severity, Place(file=self.name, layer=layer.name), words, remedy)

    def _add_stackup(self, element: Element) -> None:
        rows = []
        for at, one in enumerate(one for one in element.iter() if local(one.tag) == "StackupLayer"):
            sequence = number(one, "sequence", 1.0, float(at))
            rows.append((one.get("layerOrGroupRef", ""), sequence, number(one, "thickness", self.unit, 0.0)))
        self.stackups.append(rows)
        whole = number(element, "overallThickness", self.unit, 0.0)
        if self.thickness is None and 0.1 <= whole <= 10.0:
            self.thickness = whole

    # ---- lands ----
    def _padstack(self, element: Element) -> Padstack:
        holes: list[tuple[float, float, float, int]] = []
        lands: dict[tuple[str, str], tuple[Piece, ...]] = {}
        for one in element:
            tag = local(one.tag)
            if tag == "PadstackHoleDef":
                holes.append(
                    (
                        number(one, "x", self.unit, 0.0),
                        number(one, "y", self.unit, 0.0),
                        number(one, "diameter", self.unit),
                        _PLATED.get(one.get("platingStatus", "").upper(), -1),
                    )
                )
            elif tag == "PadstackPadDef":
                key = (one.get("layerRef", ""), one.get("padUse", "REGULAR").upper())
                lands[key] = self._located(one, self._own_shape(one, True))
        copper = {layer for layer, use in lands if use == "REGULAR" and self._is_copper(layer)}
        return Padstack(tuple(holes), lands, len(copper) == 1)

    def _is_copper(self, name: str) -> bool:
        layer = self.layers.get(name)
        return layer is not None and layer.kind == "copper"

    def _located(self, element: Element, pieces: Sequence[Piece]) -> tuple[Piece, ...]:
        """Pieces turned and moved by the element's own Xform and Location."""
        turned = moved(pieces, move_of(child(element, "Xform"), self.unit))
        x, y = self._location(element)
        return turned if (x, y) == (0.0, 0.0) else moved(turned, Move(dx_mm=x, dy_mm=y))

    def _location(self, element: Element) -> Point:
        place = child(element, "Location")
        if place is None:
            return (0.0, 0.0)
        return number(place, "x", self.unit), number(place, "y", self.unit)

    def _own_shape(self, element: Element, land: bool) -> tuple[Piece, ...]:
        out: tuple[Piece, ...] = ()
        for one in element:
            if local(one.tag) not in ("Location", "Xform", "PinRef", "NonstandardAttribute", "LineDesc", "LineDescRef"):
                out += self.dictionary.shape(one, self.unit, land)
        return out

    def _turned(self, pieces: tuple[Piece, ...], move: Move) -> tuple[Piece, ...]:
        """Turned pieces, the same object for the same pieces and turn."""
        if move == STILL or not pieces:
            return pieces
        key = (id(pieces), move)
        if key not in self._moved:
            self._hold.append(pieces)
            self._moved[key] = moved(pieces, move)
        return self._moved[key]

    # ---- sets ----
    def _set(self, step: Step, kind: str, element: Element) -> None:
        net = element.get("net", "")
        clear = element.get("polarity", "").upper() == "NEGATIVE"
        usage = element.get("padUsage", "").upper()
        owner = element.get("componentRef", "") if kind == "silk" else ""
        for one in element:
            tag = local(one.tag)
            if tag == "Pad" or tag.endswith("Fiducial"):
                self._pad(step, kind, one, net, clear, usage)
            elif tag == "Hole" and kind == "drill":
                self._hole(step, one, net)
            elif tag == "SlotCavity" and kind == "drill":
                self._slot(step, one)
            elif tag not in ("NonstandardAttribute", "ColorRef", "SpecRef"):
                self._features(kind, one, net, clear, owner)

    def _pad(self, step: Step, kind: str, element: Element, net: str, clear: bool, usage: str) -> None:
        at = self._location(element)
        stack = step.padstacks.get(element.get("padstackDefRef", ""))
        pieces = self._pad_shape(stack, element, clear)
        move = move_of(child(element, "Xform"), self.unit)
        pins = [
            (one.get("componentRef", ""), one.get("pin", ""))
            for one in element
            if local(one.tag) == "PinRef" and one.get("componentRef") and one.get("pin")
        ]
        holes = stack.holes if stack is not None else ()
        if kind == "copper" and not clear:
            if len(holes):
                offsets = move.apply(np.array([(h[0], h[1]) for h in holes]))
                step.stack_holes += [
                    (at[0] + float(o[0]), at[1] + float(o[1]), h[2], h[3]) for o, h in zip(offsets, holes, strict=True)
                ]
            step.said.land(self._layer, net, pins, at)
        surface = stack is not None and not holes and stack.surface
        said = _said(net, pins, usage, bool(holes), surface) if kind == "copper" else NO_SAID
        if not pieces:
            place = Place(file=self.name, layer=self._layer, x_mm=at[0], y_mm=at[1])
            words = "A land without a shape: neither it nor its padstack draws anything on this layer."
            if kind == "copper":
                self.notes.add("IPC-020", Severity.NOTE, place, words)
            return
        if self._canvas is not None:
            self._canvas.add(self._turned(pieces, move), at, said, clear, land=True)

    def _pad_shape(self, stack: Padstack | None, element: Element, clear: bool) -> tuple[Piece, ...]:
        refs = [one for one in element if local(one.tag) in ("StandardPrimitiveRef", "UserPrimitiveRef")]
        if len(refs) == 1:
            return self.dictionary.shape(refs[0], self.unit, True)
        own = self._own_shape(element, True)
        if own or stack is None:
            return own
        uses = ("ANTIPAD", "THERMAL", "REGULAR") if clear else ("REGULAR",)
        return next((stack.lands[self._layer, use] for use in uses if (self._layer, use) in stack.lands), ())

    def _hole(self, step: Step, element: Element, net: str) -> None:
        hole = Hole(
            number(element, "x", self.unit),
            number(element, "y", self.unit),
            number(element, "diameter", self.unit),
            _PLATED.get(element.get("platingStatus", "").upper(), -1),
            net,
        )
        if hole.diameter_mm <= 0:
            raise BadNumber("Hole", "diameter", element.get("diameter", ""))
        step.holes.setdefault(self._layer, []).append(hole)

    def _slot(self, step: Step, element: Element) -> None:
        pieces = self._located(element, self._own_shape(element, True))
        plated = _PLATED.get(element.get("platingStatus", "").upper(), -1)
        for piece in pieces:
            slot = slot_of(piece.skeleton, piece.radius_mm, plated)
            if slot is None:
                continue
            if not slot.exact:
                x, y = slot.x_mm, slot.y_mm
                words = "A cavity that is no straight slot; it was read as the slot of its length and width."
                self.notes.add(
                    "IPC-021", Severity.WARNING, Place(file=self.name, x_mm=x, y_mm=y, layer=self._layer), words
                )
            step.slots.setdefault(self._layer, []).append(slot)

    def _features(self, kind: str, element: Element, net: str, clear: bool, owner: str) -> None:
        if self._canvas is None:
            return
        pieces = self.dictionary.shape(element, self.unit, False)
        if not pieces:
            return
        if any(one.bare for one in pieces):
            if kind == "copper":
                place = Place(file=self.name, layer=self._layer)
                self.notes.add("IPC-022", Severity.WARNING, place, "A line without width on copper; it was left out.")
            pieces = tuple(one for one in pieces if not one.bare)
        pieces = moved(pieces, move_of(child(element, "Xform"), self.unit))
        said = ObjectAttributes(net=net) if kind == "copper" else ObjectAttributes(part=owner)
        places = [one for one in element if local(one.tag) == "Location"]
        spots = [(number(one, "x", self.unit), number(one, "y", self.unit)) for one in places] or [(0.0, 0.0)]
        for spot in spots:
            self._canvas.add(pieces, spot, said, clear)


def _said(net: str, pins: Sequence[tuple[str, str]], usage: str, drilled: bool, surface: bool) -> ObjectAttributes:
    """What is known of a land. A land with a pin says its net by the netlist, so that copper and net names stay two things."""
    if not pins:
        return ObjectAttributes("ViaPad" if usage == "VIA" or drilled else "", net)
    part, pin = pins[0]
    return ObjectAttributes("ComponentPad" if drilled else "SMDPad,CuDef" if surface else "", "", part, pin)


def read_ipc2581(data: bytes, name: str) -> Ipc2581:
    """One board of an IPC-2581 file (revisions A to C) as records.

    Lengths in mm. Copper is what the layer features draw, in their order, with clear polarity; nets that the file states go to ``netlist`` only.
    Of several steps the board is read, not the panel. Raises Refusal: IPC-001 broken XML or too large, IPC-002 a document type, IPC-003 another
    root, IPC-004 a number, IPC-005 beyond a limit, IPC-006 units, IPC-007 no copper,
    GEO-001 an area that crosses itself too often.
    """
    reader = _Reader(data, name)
    try:
        reader.read()
        return _assemble(reader)
    except Refusal as refusal:
        raise in_file(refusal, name) from None
    except BadNumber as bad:
        raise bad_number(data, name, bad) from None
    except TooMany as bad:
        words = f"The primitive {str(bad)[:40]!r} has too many pieces, or refers to others too deeply."
        raise refuse("IPC-005", words, "Export the file again.", Place(file=name, text=str(bad)[:40])) from None


def _choose(reader: _Reader) -> Step:
    name = reader.name
    steps = [one for one in reader.steps if one.size()]
    if not steps:
        words = "The file draws nothing: no Step has layer features or holes."
        raise refuse(
            "IPC-007",
            words,
            "Export it with fabrication data (function mode FABRICATION or ASSEMBLY).",
            Place(file=name),
        )
    named = [one for one in steps if one.name == reader.wanted and not one.repeats]
    boards = [one for one in steps if one.kind == "BOARD"]
    best = (named or boards or [max(steps, key=Step.size)])[0]
    if len(reader.steps) > 1:
        others = ", ".join(one.name for one in reader.steps if one is not best)
        words = f"The file holds {len(reader.steps)} steps; the board is {best.name!r}. Left out: {others[:120]}."
        reader.notes.add("IPC-012", Severity.NOTE, Place(file=name), words)
    return best


def _assemble(reader: _Reader) -> Ipc2581:
    step, name = _choose(reader), reader.name
    layers = list(reader.layers.values())
    order, findings = copper_order(layers, reader.stackups, name)
    if not order:
        raise refuse(
            "IPC-007",
            "The file has no copper layer (layerFunction CONDUCTOR, SIGNAL, PLANE, MIXED).",
            "Export it again.",
            Place(file=name),
        )
    images, roles = _images(reader, step, order)
    drills = _drills(reader, step, order, roles)
    sides = {order[0]: "c", order[-1]: "s" if len(order) > 1 else "c"}
    sides.update({one.name: one.side for one in layers if one.side and one.name not in sides})
    lands = step.said.lands_of_parts()
    moves = {
        one.ref: move_on_board(one, step.packages[one.package], lands.get(one.ref, {}))
        for one in step.components
        if one.package in step.packages
    }
    spans = {one.name: span_numbers(one, order) for one in layers if one.kind == "drill"}
    netlist = netlist_of(name, step, order, moves, spans)
    rows = part_rows(step.components, step.packages, moves, reader.bom, sides, name)
    thickness = {n: t for rows_ in reversed(reader.stackups) for n, _, t in rows_ if n in order and 0.003 <= t <= 0.5}
    if reader.dictionary.notes:
        _note_missing(reader)
    return Ipc2581(
        name,
        reader.revision,
        step.name,
        tuple(images),
        tuple(drills),
        roles,
        netlist,
        rows,
        reader.thickness,
        {f"{name}#{layer}": t for layer, t in thickness.items()},
        (*findings, *reader.notes.close(name)),
        laminate_gaps(reader.stackups, order),
    )


def _note_missing(reader: _Reader) -> None:
    missing = sorted(reader.dictionary.notes)
    place = Place(file=reader.name)
    if "Text" in missing:
        missing.remove("Text")
        words = "Text elements were left out: their strokes are not in the file."
        reader.notes.add("IPC-023", Severity.NOTE, place, words)
    if missing:
        words = f"{len(missing)} primitives are referred to and not defined: {', '.join(missing[:6])}. What they draw is missing."
        reader.notes.add("IPC-024", Severity.WARNING, place, words, "Export the file again.")


def _images(reader: _Reader, step: Step, order: Sequence[str]) -> tuple[list[GerberImage], dict[str, LayerRole]]:
    images: list[GerberImage] = []
    roles: dict[str, LayerRole] = {}
    for layer in reader.layers.values():
        if layer.kind in ("other", "drill"):
            continue
        full = f"{reader.name}#{layer.name}"
        canvas = step.canvases.get(layer.name)
        if canvas is None:
            if layer.kind != "copper":
                continue
            canvas = Canvas(full)
        stated = layer.polarity if layer.kind == "copper" else ""
        images.append(canvas.image(layer.negative and layer.kind == "copper", (), stated))
        at = order.index(layer.name) + 1 if layer.kind == "copper" else 0
        side = layer.side if layer.kind != "copper" else "c" if at == 1 else "s" if at == len(order) else ""
        roles[full] = LayerRole(full, layer.kind, side, at, False, "x2")
    outline = _outline_image(f"{reader.name}#outline", step.outline)
    if outline is not None:
        images.append(outline)
        roles[outline.name] = LayerRole(outline.name, "outline", "", 0, False, "x2")
    return images, roles


def _outline_image(name: str, rings: Sequence[Points]) -> GerberImage | None:
    lines = [shapely.LineString(ring if ring[0] == ring[-1] else [*ring, ring[0]]) for ring in rings if len(ring) > 2]
    if not lines:
        return None
    count = len(lines)
    kind = np.empty(count, dtype=object)
    kind[:] = "draw"
    return GerberImage(
        name,
        kind,
        np.ones(count, dtype=bool),
        ShapeSet.of(lines, np.zeros(count)),
        np.zeros(count, dtype=np.int32),
        (NO_SAID,),
        {},
        False,
        (),
        TOLERANCE_MM,
        np.array([line.coords[0] for line in lines]),
    )


def _drills(reader: _Reader, step: Step, order: Sequence[str], roles: dict[str, LayerRole]) -> list[DrillImage]:
    out: list[DrillImage] = []
    for layer in reader.layers.values():
        holes, slots = step.holes.get(layer.name, []), step.slots.get(layer.name, [])
        if layer.kind == "drill" and (holes or slots):
            rows = [(h.x_mm, h.y_mm, h.x_mm, h.y_mm, h.diameter_mm, h.plated) for h in holes]
            rows += [(s.x_mm, s.y_mm, s.x2_mm, s.y2_mm, s.width_mm, s.plated) for s in slots]
            out.append(_drill_image(f"{reader.name}#{layer.name}", rows, span_numbers(layer, order)))
    if not any(step.holes.values()) and step.stack_holes:
        rows = sorted({(x, y, x, y, d, plated) for x, y, d, plated in step.stack_holes})
        out.append(_drill_image(f"{reader.name}#padstacks", rows, None))
        words = (
            f"No drill layer holds holes; {len(rows)} were taken from the padstacks of the lands, through all layers."
        )
        reader.notes.add(
            "IPC-025", Severity.GUESS, Place(file=reader.name), words, "Export the file with its drill layers."
        )
    for one in out:
        roles[one.name] = LayerRole(one.name, "drill", "", 0, False, "x2")
    return out


def _drill_image(
    name: str, rows: Sequence[tuple[float, float, float, float, float, int]], span: tuple[int, int] | None
) -> DrillImage:
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    x, y, x2, y2, diameter, plated = (np.ascontiguousarray(column) for column in table.T)
    return DrillImage(name, x, y, x2, y2, diameter, plated.astype(np.int8), span, ())
