"""``board path`` and ``board graph`` on the demonstration machine, as typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from coppermend.cli import cli
from coppermend.core.findings import Refusal


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


def run(cache: Path, *words: str) -> Result:
    return CliRunner(env={"COPPERMEND_CACHE": str(cache)}).invoke(cli, ["board", *words], standalone_mode=False)


def test_the_way_between_two_pins(cache: Path) -> None:
    text = run(cache, "path", "demo", "U1.8", "U5.15").output
    assert "the socket contact of U1.8" in text and "mm of track" in text and "mohm" in text
    way = json.loads(run(cache, "path", "demo", "U1.8", "U5.15", "--json").output)
    assert way["joined"] is True
    runs = [step for step in way["steps"] if step["kind"] == "run"]
    assert runs and all(step["layer"] in ("c", "s") and step["length_mm"] > 0 and step["width_mm"] > 0 for step in runs)
    assert way["length_mm"] == pytest.approx(sum(step["length_mm"] for step in runs), abs=1e-3)
    assert (
        way["effective_ohm_low"] < way["effective_ohm"] <= way["along_ohm"] * (1 + 1e-9) < way["effective_ohm_high"] * 2
    )
    back = json.loads(run(cache, "path", "demo", "U5.15", "U1.8", "--json").output)
    assert back["effective_ohm"] == pytest.approx(way["effective_ohm"], rel=1e-9)


def test_two_nets_are_status_one(cache: Path) -> None:
    found = run(cache, "path", "demo", "U1.8", "U1.9")
    assert found.return_value == 1
    assert "No copper joins U1.8 (net D3) and U1.9 (net D5)." in found.output


def test_an_unknown_pin_gets_the_nearest_names(cache: Path) -> None:
    found = run(cache, "path", "demo", "U1.8", "U5.99")
    assert isinstance(found.exception, Refusal)
    assert "U5.9" in str(found.exception)
    assert isinstance(run(cache, "graph", "demo", "--net", "D33").exception, Refusal)


def test_one_net_as_json(cache: Path) -> None:
    net = json.loads(run(cache, "graph", "demo", "--net", "D3", "--json").output)
    nodes = {node["id"] for node in net["nodes"]}
    assert all(site["a"] in nodes and site["b"] in nodes for site in net["sites"])
    assert {"kind", "layer", "length_mm", "width_mm", "resistance_ohm", "provable"} <= set(net["sites"][0])
    assert {site["kind"] for site in net["sites"]} >= {"run", "barrel", "joint", "contact", "leg"}
    assert all(point["node"] in nodes for point in net["points"])
    assert sum(len(edge["sites"]) for edge in net["super_edges"]) == len(
        [s for s in net["sites"] if s["kind"] != "through"]
    )


def test_all_nets_are_counted(cache: Path) -> None:
    rows = json.loads(run(cache, "graph", "demo", "--json").output)["nets"]
    assert all(0 <= row["provable"] <= row["sites"] for row in rows)
    assert len(rows) > 200
