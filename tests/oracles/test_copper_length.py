"""The track of the demonstration machine measured twice: by the graph's runs, and by shapely as centre lines outside lands."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import shapely

from coppermend import bootstrap
from coppermend.core.copper.provable import all_views
from coppermend.core.findings import Refusal
from coppermend.services.ports import ShelvedBoard


@pytest.fixture(scope="module")
def shelved(tmp_path_factory: pytest.TempPathFactory) -> ShelvedBoard:
    if not Path(bootstrap.demo_package()).is_dir():
        pytest.fail("the demonstration package is missing")
    return bootstrap.open_shelved("demo", tmp_path_factory.mktemp("cache"))


def drawn_and_measured(shelved: ShelvedBoard, key: str) -> tuple[float, float]:
    """Track length of a layer in mm: shapely's difference of all centre lines and all lands, and the sum over the graph's runs."""
    layer = shelved.board.layer(key)
    kinds = np.asarray(layer.kind).astype(str)
    stroke = (shapely.get_type_id(layer.shapes.skeleton) == 1) & (kinds != "flash")
    stroke &= np.isin(layer.island, list({s.net for s in shelved.graph.sites}))
    other = np.flatnonzero((shapely.get_type_id(layer.shapes.skeleton) != 1) | (kinds == "flash"))
    lands = shapely.buffer(layer.shapes.skeleton[other], layer.shapes.radius_mm[other], quad_segs=32)
    holes = [h for h in shelved.board.holes if h.plated]
    rims = shapely.buffer(
        shapely.points([(h.x_mm, h.y_mm) for h in holes]), [h.diameter_mm / 2 for h in holes], quad_segs=32
    )
    drawn = shapely.difference(
        shapely.union_all(layer.shapes.skeleton[stroke]), shapely.union_all(np.concatenate([lands, rims]))
    )
    lines = shapely.union_all(layer.shapes.skeleton[stroke])
    shapely.prepare(lines)
    measured = sum(
        s.length_mm
        for s in shelved.graph.sites
        if s.layer == key and len(s.path) > 1 and s.kind.value in ("run", "spoke") and _on(lines, s.path)
    )
    return float(drawn.length), measured


def _on(lines: shapely.Geometry, path: Sequence[tuple[float, float]]) -> bool:
    """Whether a run follows the drawn strokes; one along a region or a long flash has its own middle line, which nobody drew."""
    middle = shapely.line_interpolate_point(shapely.linestrings(path), 0.5, normalized=True)
    return bool(shapely.dwithin(lines, middle, 0.005))


@pytest.mark.parametrize("key", ["c", "s"])
def test_the_runs_are_as_long_as_the_drawn_centre_lines_outside_lands(shelved: ShelvedBoard, key: str) -> None:
    drawn, measured = drawn_and_measured(shelved, key)
    assert measured == pytest.approx(drawn, rel=1e-3)


@pytest.mark.corpus
def test_real_packages_hang_together_and_measure_the_same(corpus: Path, tmp_path: Path) -> None:
    """Every net in one piece; track length within 0.2 % (or 1 mm on a board with little track) of the drawn centre lines outside lands, on outer layers drawn with strokes."""
    tried = 0
    for folder in sorted(p for p in corpus.iterdir() if p.is_dir()):
        try:
            shelved = bootstrap.open_shelved(str(folder), tmp_path)
        except Refusal:
            continue
        tried += 1
        views = all_views(shelved.graph)
        assert {shelved.graph.net_names[n] for n, view in views.items() if view.pieces > 1} == set(), folder.name
        for key in ("c", "s"):
            drawn, measured = drawn_and_measured(shelved, key)
            assert measured == pytest.approx(drawn, rel=2e-3, abs=1.0), (folder.name, key)
    assert tried, "no package of the corpus gave a board"


def test_every_net_of_the_machine_hangs_together(shelved: ShelvedBoard) -> None:
    """Islands come from touching copper, the graph from where centre lines meet: the two must agree on what is joined."""
    views = all_views(shelved.graph)
    assert {net: view.pieces for net, view in views.items() if view.pieces != 1} == {}
    pins: dict[int, set[str]] = {}
    for pin in shelved.graph.pins:
        pins.setdefault(pin.net, set()).add(pin.name)
    for net in shelved.board.nets:
        assert set(net.pins) == pins.get(net.index, set())
