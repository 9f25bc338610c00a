"""Use cases of the copper graph: have it (kept beside the board in the cache), find a way through the copper, show a net."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

from numpy.typing import NDArray

from coppermend.core.board.conditions import with_conditions
from coppermend.core.board.model import Board
from coppermend.core.board.names import nearest_names
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site
from coppermend.core.copper.provable import NetView, net_view
from coppermend.core.copper.version import GRAPH_VERSION
from coppermend.core.copper.worked import node_of
from coppermend.core.findings import Refusal, refuse
from coppermend.core.units import UM_PER_MM
from coppermend.services.collection import without_collection
from coppermend.services.graph_pack import pack_graph, unpack_graph
from coppermend.services.packages import Progress
from coppermend.services.ports import ShelvedBoard

if TYPE_CHECKING:
    from coppermend.core.copper.path import Way

KIND = f"graph{GRAPH_VERSION}"


class BlobStore(Protocol):
    """Keeps arrays and a JSON value by key and kind. It may lose them at any time and never gives damaged ones."""

    def load_blob(self, key: str, kind: str) -> tuple[dict[str, NDArray[Any]], Any] | None:
        """What is kept, or None."""

    def save_blob(self, key: str, kind: str, arrays: Mapping[str, NDArray[Any]], value: Any) -> None:
        """Keep it; a failure to write is no error."""


def graph_of(
    board: Board, cache: BlobStore | None = None, fresh: bool = False, progress: Progress | None = None
) -> CopperGraph:
    """The copper graph of a board with its parts as built, from the cache where it is kept beside the board (``fresh``: built now all the same)."""
    with without_collection():
        return _graph_of(board, cache, fresh, progress or (lambda _words, _share: None))


def _graph_of(board: Board, cache: BlobStore | None, fresh: bool, progress: Progress) -> CopperGraph:
    key = board.extra.get("key", "")
    kept = cache.load_blob(key, KIND) if cache is not None and key and not fresh else None
    if kept is not None:
        try:
            return unpack_graph(*kept)
        except Exception:  # a damaged or foreign pack is no graph: build it
            kept = None
    from coppermend.core.copper.build import build_graph
    from coppermend.core.copper.factory import with_board_wires

    graph = with_board_wires(build_graph(board, progress), board)
    if cache is not None and key:
        cache.save_blob(key, KIND, *pack_graph(graph))
    return graph


def graph_under(
    board: Board,
    copper_um: float | None = None,
    copper_spread: float | None = None,
    temperature_c: float | None = None,
) -> CopperGraph:
    """The copper graph of a board with another copper thickness (um, every layer), spread (share) or temperature (degC); built now, kept nowhere."""
    thick = None if copper_um is None else copper_um / UM_PER_MM
    return graph_of(with_conditions(board, thick, copper_spread, temperature_c), fresh=True)


def shelved(
    package: str,
    board: Board,
    cache: BlobStore | None = None,
    fresh: bool = False,
    progress: Progress | None = None,
) -> ShelvedBoard:
    """A board with its graph, ready for work."""
    return ShelvedBoard(package, board, graph_of(board, cache, fresh, progress))


def point_named(graph: CopperGraph, word: str) -> str:
    """The point a person means by ``U1.8``, ``U1.8/leg``, ``via@x,y/s``. Refusal GRF-020 with the nearest names when there is none."""
    if node_of(graph, word) is not None:
        return word
    pins = {f"{pin.part}.{pin.number}" for pin in graph.pins}
    by_letters = {name.upper(): name for name in (*pins, *(p.id for p in graph.points))}
    if word.upper() in by_letters:
        return by_letters[word.upper()]
    near = nearest_names(word, pins if "@" not in word else {p.id for p in graph.points})
    hint = f"Nearest names: {', '.join(near)}." if near else "See the points of a net with: coppermend board graph."
    raise refuse("GRF-020", f"There is no point {word} on this board.", hint)


def net_named(graph: CopperGraph, word: str) -> int:
    """The index of the net a person means. Refusal GRF-022 with the nearest names when there is none."""
    exact = {name: k for k, name in reversed(list(enumerate(graph.net_names)))}
    loose = {name.upper().lstrip("/"): k for name, k in reversed(list(exact.items()))}
    found = exact.get(word, loose.get(word.upper().lstrip("/")))
    if found is None:
        near = nearest_names(word, exact)
        hint = f"Nearest names: {', '.join(near)}." if near else "List them with: coppermend board nets."
        raise refuse("GRF-022", f"There is no net {word} on this board.", hint)
    return found


def way_between(graph: CopperGraph, first: str, second: str) -> Way | None:
    """The way through the copper between two points as a person names them; None where no copper joins them. Refusal GRF-020."""
    from coppermend.core.copper.path import way

    a, b = point_named(graph, first), point_named(graph, second)
    try:
        return way(graph, a, b)
    except Refusal as refusal:
        if refusal.finding.code == "GRF-021":
            return None
        raise


def net_of_point(graph: CopperGraph, word: str) -> str:
    """The name of the net a point is on. Refusal GRF-020."""
    node = node_of(graph, point_named(graph, word))
    return graph.net_names[graph.node_net[node]] if node is not None else ""


def net_graph(graph: CopperGraph, net: int) -> dict[str, Any]:
    """One net as plain JSON values: nodes, sites with what continuity can prove, probe points, super-edges, findings."""
    view = net_view(graph, net)
    nets = set(view.nets)
    nodes = sorted({n for s in graph.sites for n in (s.a, s.b) if graph.node_net[s.a] in nets} | set(view.terminals))
    return {
        "net": graph.net_names[net],
        "joined_by_wires": [graph.net_names[n] for n in view.nets if n != net],
        "nodes": [
            {
                "id": n,
                "kind": graph.node_kind[n],
                "x_mm": plain_mm(graph.node_place[n][0]),
                "y_mm": plain_mm(graph.node_place[n][1]),
                "layer": graph.node_place[n][2],
            }
            for n in nodes
        ],
        "sites": [_site(s, view) for s in graph.sites if graph.node_net[s.a] in nets],
        "points": [_point(p) for p in graph.points if graph.node_net[p.node] in nets],
        "super_edges": [
            {"sites": list(e.sites), "a": e.a, "b": e.b, "bridge": e.bridge, "provable": e.provable, "block": e.block}
            for e in view.super_edges
        ],
        "findings": [finding.as_dict() for finding in graph.findings],
    }


def plain_mm(value: float) -> float:
    """A coordinate to a millionth of a micrometre, and never minus zero.

    >>> plain_mm(-0.0), plain_mm(-1e-17), plain_mm(12.7000000000001)
    (0.0, 0.0, 12.7)
    """
    return round(value, 9) + 0.0


def _site(site: Site, view: NetView) -> dict[str, Any]:
    why, what = view.why_not.get(site.id, ("", ""))
    return {
        "id": site.id,
        "kind": site.kind.value,
        "layer": site.layer,
        "a": site.a,
        "b": site.b,
        "length_mm": round(site.length_mm, 6),
        "width_mm": round(site.width_mm, 6),
        "resistance_ohm": site.resistance_ohm,
        "provable": site.id in view.super_of and site.id not in view.why_not,
        "why_not": why,
        "proved_by": what,
        "words": site.words,
        "path": [[plain_mm(x), plain_mm(y)] for x, y in site.path],
    }


def _point(point: ProbePoint) -> dict[str, Any]:
    return {
        "id": point.id,
        "node": point.node,
        "kind": point.kind,
        "x_mm": plain_mm(point.x_mm),
        "y_mm": plain_mm(point.y_mm),
        "side": point.side,
        "part": point.part,
        "pin": point.pin,
        "reachable": point.reachable,
        "why_not": point.why_not,
        "needs": [f"{ref} {state.value}" for ref, state in point.needs],
    }
