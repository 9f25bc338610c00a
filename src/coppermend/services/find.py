"""Finding what a person types on the board: a pin, a part, a net, a place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.core.board.names import nearest_names
from coppermend.core.copper.model import ProbePoint
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.services.bind import Binding
from coppermend.services.points import parts_of, resolve


@dataclass(frozen=True, slots=True)
class Found:
    """What a word means on the board: ``net`` its index (-1 for a whole part), ``point`` id or "", ``places`` ((x_mm, y_mm), ...), ``side`` c, s or ""."""

    net: int
    point: str
    places: tuple[tuple[float, float], ...]
    side: str
    part: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {
            "net": self.net,
            "point": self.point,
            "places": [list(one) for one in self.places],
            "side": self.side,
            "part": self.part,
        }


def find_on_board(binding: Binding, text: str) -> Found:
    """The pin, part, net or point that ``text`` names, case ignored. Refusal PNT-001 with the nearest names of every kind when there is none."""
    wanted = text.strip()
    return _part(binding, wanted) or _net(binding, wanted) or _point(binding, wanted)


def _part(binding: Binding, wanted: str) -> Found | None:
    for part in binding.board.parts:
        if part.ref.casefold() == wanted.casefold() and part.pins:
            first = next((p for p in binding.graph.points if p.part == part.ref and p.reachable), None)
            places = tuple((pin.x_mm, pin.y_mm) for pin in part.pins)
            return Found(-1, "", places, first.side if first else part.side, part.ref)
    return None


def _net(binding: Binding, wanted: str) -> Found | None:
    graph = binding.graph
    for index, name in enumerate(graph.net_names):
        if name.casefold() == wanted.casefold():
            return _at(index, "", [p for p in graph.points if p.net == index], "")
    return None


def _point(binding: Binding, wanted: str) -> Found:
    try:
        point = resolve(binding.graph, wanted)
    except Refusal as err:
        covered = next((p for p in binding.graph.points if p.id.casefold() == wanted.casefold()), None)
        if covered is not None:
            return _at(covered.net, covered.id, [covered], covered.side)
        raise _unknown(binding, wanted, err) from err
    return _at(point.net, point.id, [point], point.side)


def _at(net: int, point: str, points: list[ProbePoint], side: str) -> Found:
    return Found(net, point, tuple((p.x_mm, p.y_mm) for p in points), side)


def _unknown(binding: Binding, wanted: str, err: Refusal) -> Refusal:
    if err.finding.code != "PNT-001" or "." in wanted:
        return err
    near = nearest_names(wanted, [*parts_of(binding.graph), *binding.graph.net_names])
    remedy = f"Nearest names: {', '.join(near)}." if near else "Type a pin like U1.8, a part or a net."
    return refuse("PNT-001", f"This board has no pin, part or net {wanted!r}.", remedy, Place(thing=wanted))
