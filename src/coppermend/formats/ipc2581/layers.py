"""Layers of an IPC-2581 file: what each is for, the order of the copper, thicknesses, spans of drills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.findings import Finding, Place, Severity

COPPER = frozenset({"CONDUCTOR", "CONDFILM", "CONDFOIL", "PLANE", "SIGNAL", "MIXED"})
MASK = frozenset({"SOLDERMASK"})
PASTE = frozenset({"SOLDERPASTE", "PASTEMASK"})
SILK = frozenset({"SILKSCREEN", "LEGEND"})
DRILL = frozenset({"DRILL", "ROUT", "ROUTE"})

OTHER = frozenset(
    (
        "ASSEMBLY", "BOARDFAB", "BOARD_OUTLINE", "CAPACITIVE", "COMPONENT", "COMPONENT_TOP", "COMPONENT_BOTTOM", "COMPONENT_EMBEDDED",
        "COMPONENT_FORMED", "CONDUCTIVE_ADHESIVE", "COURTYARD", "DOCUMENT", "EDGE_CHAMFER", "EDGE_PLATING", "FIXTURE", "GLUE", "GRAPHIC", "HOLEFILL",
        "LANDPATTERN", "OTHER", "PIN", "PROBE", "RESISTIVE", "REWORK", "SOLDERBUMP", "STACKUP_COMPOSITE", "STIFFENER", "THIEVING_KEEP_INOUT", "V_CUT",
        "VCUT", "WIRE_FRAME", "",
    )
)  # fmt: skip
"""Functions of layers that hold no copper of nets (IPC-2581, from memory)."""
NO_COPPER = (
    "DIEL",
    "COAT",
    "FINISH",
    "MASK",
    "PASTE",
    "ASSEMB",
    "DOC",
    "OUTLINE",
    "ROUT",
    "DRILL",
    "KEEP",
    "DRAW",
    "ADHES",
    "COVER",
)
"""Parts of words that name no copper."""

SIDES = {"TOP": "c", "BOTTOM": "s"}
MAX_LAYERS = 500


@dataclass(frozen=True, slots=True)
class Layer:
    """A Layer element. ``kind`` copper, mask, paste, silk, drill or other; ``side`` c, s or ""; ``span`` first and last layer of a drill.

    ``polarity`` POSITIVE, NEGATIVE or "" and ``function`` as the file states them.
    """

    name: str
    kind: str
    side: str
    negative: bool
    span: tuple[str, str] | None = None
    polarity: str = ""
    function: str = ""


def kind_of(function: str) -> str:
    """What a layerFunction is for: copper, mask, paste, silk, drill or other.

    >>> kind_of("PLANE"), kind_of("DIELCORE")
    ('copper', 'other')
    """
    names = (("copper", COPPER), ("mask", MASK), ("paste", PASTE), ("silk", SILK), ("drill", DRILL))
    word = function.strip().upper()
    return next((kind for kind, functions in names if word in functions), "other")


def is_known(function: str) -> bool:
    """Whether a layerFunction is one of the standard's (IPC-2581, from memory) or plainly one of no copper.

    >>> is_known("DIELCORE"), is_known("POWER_GROUND")
    (True, False)
    """
    word = function.strip().upper()
    return kind_of(word) != "other" or word in OTHER or any(part in word for part in NO_COPPER)


def laminate_gaps(stackups: Sequence[Sequence[tuple[str, float, float]]], order: Sequence[str]) -> tuple[float, ...]:
    """Laminate between the copper layers in ``order``, mm: what the first stack-up that names them all in that order, or turned over, has between them.

    >>> laminate_gaps([[("TOP", 1, 0.035), ("core", 2, 1.5), ("BOT", 3, 0.035)]], ["TOP", "BOT"])
    (1.5,)
    """
    for rows in stackups:
        placed = sorted(rows, key=lambda row: row[1])
        named = [row[0] for row in placed if row[0] in order]
        if named not in (list(order), list(reversed(order))):
            continue
        gaps = [0.0] * (len(order) - 1)
        at = -1
        for name, _, thick in placed:
            if name in order:
                at += 1
            elif 0 <= at < len(gaps):
                gaps[at] += thick
        return tuple(gaps if named == list(order) else reversed(gaps))
    return ()


def copper_order(
    layers: Sequence[Layer], stackups: Sequence[Sequence[tuple[str, float, float]]], name: str
) -> tuple[list[str], list[Finding]]:
    """Names of the copper layers from the component side.

    ``stackups``: per stack-up rows (layer name, sequence, thickness). The stack-up that names every copper layer orders them, else the order
    of the Layer elements, which the sides TOP and BOTTOM may turn over; a stack that is not in order of its sides is a finding.
    """
    copper = [one for one in layers if one.kind == "copper"]
    by_name = {one.name: one for one in copper}
    findings: list[Finding] = []
    order = [one.name for one in copper]
    for rows in stackups:
        named = [row[0] for row in sorted(rows, key=lambda row: row[1]) if row[0] in by_name]
        if set(named) == set(by_name) and len(named) == len(by_name):
            order = named
            break
    else:
        if len(copper) > 2:
            words = (
                "No stack-up of the file names every copper layer; they are taken in the order of its Layer elements."
            )
            findings.append(Finding("IPC-010", Severity.GUESS, Place(file=name), words))
    if order and (by_name[order[0]].side == "s" or by_name[order[-1]].side == "c"):
        order.reverse()
    wrong = [one for one in order[1:] if by_name[one].side == "c"] + [
        one for one in order[:-1] if by_name[one].side == "s"
    ]
    if wrong:
        top = [one for one in order if by_name[one].side == "c"][:1]
        bottom = [one for one in order if by_name[one].side == "s"][:1]
        order = [*top, *(one for one in order if one not in (*top, *bottom)), *bottom]
        words = f"The order of the copper layers contradicts their sides (at {', '.join(wrong[:4])}); TOP was put first and BOTTOM last."
        findings.append(
            Finding("IPC-011", Severity.WARNING, Place(file=name), words, "Check the stack-up of the file.")
        )
    return order, findings


def span_numbers(layer: Layer, order: Sequence[str]) -> tuple[int, int] | None:
    """First and last copper layer (from 1) that a drill layer passes; None for all of them or not stated."""
    if layer.span is None:
        return None
    found = [order.index(one) + 1 for one in layer.span if one in order]
    if len(found) != 2:
        return None
    first, last = min(found), max(found)
    return None if (first, last) == (1, len(order)) else (first, last)
