"""A copper graph as plain arrays and one JSON value, and back: what the board cache keeps beside a board. No pickle, no code."""

from __future__ import annotations

import itertools
from dataclasses import asdict, fields
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import PartState
from coppermend.core.copper.model import CopperGraph, PinPlace, ProbePoint, Sheet, Site, SiteKind, Through
from coppermend.core.copper.version import GRAPH_VERSION
from coppermend.core.findings import Finding, Place, Severity

PACK_VERSION = 1
_SITE_TEXTS = ("id", "kind", "layer", "part", "pin", "words")
_SITE_WHOLE = ("net", "a", "b")
_SITE_REAL = ("length_mm", "width_mm", "resistance_ohm")


def pack_graph(graph: CopperGraph) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """The graph as number arrays and a JSON value; ``unpack_graph`` gives an equal one."""
    arrays: dict[str, NDArray[Any]] = {"node_net": np.array(graph.node_net, dtype=np.int32)}
    arrays["node_xy"] = np.array([p[:2] for p in graph.node_place], dtype=np.float64).reshape(-1, 2)
    for name in _SITE_WHOLE:
        arrays[f"site.{name}"] = np.array([getattr(s, name) for s in graph.sites], dtype=np.int32)
    for name in _SITE_REAL:
        arrays[f"site.{name}"] = np.array([getattr(s, name) for s in graph.sites], dtype=np.float64)
    arrays["site.path"] = np.array([xy for s in graph.sites for xy in s.path], dtype=np.float64).reshape(-1, 2)
    arrays["site.path_count"] = np.array([len(s.path) for s in graph.sites], dtype=np.int32)
    arrays["site.widths"] = np.array([w for s in graph.sites for w in s.widths_mm], dtype=np.float64)
    arrays["site.widths_count"] = np.array([len(s.widths_mm) for s in graph.sites], dtype=np.int32)
    rings = [ring for sheet in graph.sheets for polygon in sheet.rings for ring in polygon]
    arrays["ring.xy"] = np.array([xy for ring in rings for xy in ring], dtype=np.float64).reshape(-1, 2)
    arrays["ring.count"] = np.array([len(ring) for ring in rings], dtype=np.int32)
    needs = {one: k for k, one in enumerate(dict.fromkeys(p.needs for p in graph.points))}
    value = {
        "version": [PACK_VERSION, GRAPH_VERSION],
        "package_id": graph.package_id,
        "net_names": graph.net_names,
        "node_layer": [p[2] for p in graph.node_place],
        "node_kind": graph.node_kind,
        "sites": {name: [str(getattr(s, name)) for s in graph.sites] for name in _SITE_TEXTS},
        "points": _columns(graph.points, needs),
        "needs": [list(n) for n in needs],
        "part_states": graph.part_states,
        "built_states": graph.built_states,
        "pins": [_row(p) for p in graph.pins],
        "sheets": [[s.node, s.layer, s.sheet_ohm, [len(polygon) for polygon in s.rings]] for s in graph.sheets],
        "conditions": [graph.copper_spread, graph.copper_c],
        "through": [_row(t) for t in graph.through],
        "findings": [[f.code, f.severity, asdict(f.place), f.words, f.remedy] for f in graph.findings],
    }
    return arrays, value


def unpack_graph(arrays: dict[str, NDArray[Any]], value: dict[str, Any]) -> CopperGraph:
    """The graph that ``pack_graph`` packed. Any exception means that the pack is damaged or of another version."""
    if value["version"] != [PACK_VERSION, GRAPH_VERSION]:
        raise ValueError("another version")
    xy = arrays["node_xy"].tolist()
    return CopperGraph(
        package_id=value["package_id"],
        net_names=tuple(value["net_names"]),
        node_net=tuple(arrays["node_net"].tolist()),
        node_place=tuple((x, y, layer) for (x, y), layer in zip(xy, value["node_layer"], strict=True)),
        node_kind=tuple(value["node_kind"]),
        sites=_sites(arrays, value["sites"]),
        points=_points(value["points"], [_states(rows) for rows in value["needs"]]),
        part_states=_states(value["part_states"]),
        built_states=_states(value["built_states"]),
        pins=tuple(_pin(row) for row in value["pins"]),
        sheets=_sheets(arrays, value["sheets"]),
        through=tuple(Through(part, a, b, float(ohm)) for part, a, b, ohm in value["through"]),
        findings=tuple(
            Finding(code, Severity(severity), Place(**place), words, remedy)
            for code, severity, place, words, remedy in value["findings"]
        ),
        copper_spread=float(value["conditions"][0]),
        copper_c=float(value["conditions"][1]),
    )


def _row(one: Any) -> list[Any]:
    return [getattr(one, field.name) for field in fields(one)]


def _states(rows: Any) -> tuple[tuple[str, PartState], ...]:
    return tuple((ref, PartState(state)) for ref, state in rows)


def _cut(items: list[Any], counts: NDArray[Any]) -> list[tuple[Any, ...]]:
    ends = np.concatenate([[0], np.cumsum(counts)]).tolist()
    return [tuple(items[a:b]) for a, b in pairwise(ends)]


def _sites(arrays: dict[str, NDArray[Any]], texts: dict[str, list[str]]) -> tuple[Site, ...]:
    paths = _cut([tuple(p) for p in arrays["site.path"].tolist()], arrays["site.path_count"])
    widths = _cut(arrays["site.widths"].tolist(), arrays["site.widths_count"])
    kinds = {kind.value: kind for kind in SiteKind}
    columns = zip(
        texts["id"],
        [kinds[k] for k in texts["kind"]],
        *(arrays[f"site.{n}"].tolist() for n in _SITE_WHOLE),
        texts["layer"],
        paths,
        widths,
        *(arrays[f"site.{n}"].tolist() for n in _SITE_REAL),
        texts["part"],
        texts["pin"],
        texts["words"],
        strict=True,
    )
    return tuple(Site(*row) for row in columns)


_POINT_FIELDS = tuple(field.name for field in fields(ProbePoint))[:-1]


def _columns(points: tuple[ProbePoint, ...], needs: dict[Any, int]) -> list[list[Any]]:
    return [*([getattr(p, name) for p in points] for name in _POINT_FIELDS), [needs[p.needs] for p in points]]


def _points(columns: list[list[Any]], needs: list[tuple[tuple[str, PartState], ...]]) -> tuple[ProbePoint, ...]:
    columns = [*columns[:-1], [needs[k] for k in columns[-1]]]
    return tuple(itertools.starmap(ProbePoint, zip(*columns, strict=True)))


def _pin(row: list[Any]) -> PinPlace:
    part, number, net, x, y, hole, side, lands, leg, joint, masked = row
    held = tuple((key, int(node)) for key, node in lands)
    return PinPlace(part, number, net, x, y, hole, side, held, leg, joint, masked)


def _sheets(arrays: dict[str, NDArray[Any]], rows: list[Any]) -> tuple[Sheet, ...]:
    rings = iter(_cut([tuple(p) for p in arrays["ring.xy"].tolist()], arrays["ring.count"]))
    return tuple(
        Sheet(node, layer, tuple(tuple(next(rings) for _ in range(count)) for count in polygons), float(ohm))
        for node, layer, ohm, polygons in rows
    )
