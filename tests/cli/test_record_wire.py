"""A break found, bridged and proven on the demonstration board through the command line, and the record that comes out of it."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import networkx as nx
import pypdf
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from coppermend.bootstrap import workshop
from coppermend.cli import cli
from coppermend.core.copper.provable import NetView, net_view
from coppermend.core.findings import Refusal
from coppermend.services.bench import plan_of, proven_for_case
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import find_case
from coppermend.services.workshop import Workshop


@dataclass(frozen=True)
class Bench:
    """A store of its own and the board cache of this run."""

    store: Path
    shop: Workshop

    def run(self, *words: str) -> Result:
        """One command, as a person types it; all of them share one workshop, which spares building the board again."""
        with patch("coppermend.cli.shop.workshop", lambda _: self.shop):
            return CliRunner().invoke(cli, ["--store", str(self.store), *words])

    def json(self, *words: str) -> dict:  # type: ignore[type-arg]
        """Its JSON answer; status 0."""
        done = self.run(*words, "--json")
        assert done.exit_code == 0, (done.output, done.exception)
        return json.loads(done.output)  # type: ignore[no-any-return]


@dataclass(frozen=True)
class Story:
    """What was done: the broken track, its net, the wire plan, the bench."""

    bench: Bench
    site: str
    net: str
    ends: tuple[str, str]
    plan: dict  # type: ignore[type-arg]
    following: dict  # type: ignore[type-arg]
    """The next step right after the wire was noted."""


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    """Case, area, four open readings across one track, the proposed wire fitted, a closed reading over it, power on and seen."""
    folder = tmp_path_factory.mktemp("bänch – 1")
    bench = Bench(folder / "store", workshop(str(folder / "store"), folder / "cache", author="Bénch"))
    title = "Larkenfell <64> & #one"
    bench.json("case", "new", "--board", "demo", "--title", title, "--owner", "O'Neil", "--complaint", "dark")
    assert bench.run("area", "add", "1", "--part", "U1", "--kind", "rework").exit_code == 0
    binding = bind(bench.shop, find_case(bench.shop, "1"))
    site, net, (left, right) = a_bridge(binding)
    for says, a, b in [
        ("open", left[0], right[0]),
        ("open", left[1], right[1]),
        ("closed", left[0], left[1]),
        ("closed", right[0], right[1]),
        ("open", left[0], right[1]),
        ("open", left[1], right[0]),
        ("open", left[0], right[0]),
        ("open", left[1], right[1]),
    ]:
        assert bench.run("note", "1", says, a, b).exit_code == 0
    plan = bench.json("wire", "plan", "1", "--net", net)
    wire = plan["plans"][0]["wires"][0]
    done = bench.run("note", "1", "patch", wire["a"], wire["b"], f"{wire['awg']}awg", f"{wire['cut_mm']:.0f}mm")
    assert done.exit_code == 0, done.output
    following = bench.json("next", "1")
    for check in bench.json("wire", "prove", "1"):
        assert bench.run("note", "1", check["expect"], check["point_a"], check["point_b"]).exit_code == 0  # type: ignore[index]
    picture = folder / "socket.png"
    Image.new("RGB", (60, 40), (90, 60, 30)).save(picture)
    done = bench.run("photo", "1", str(picture), "--words", "the new socket")
    assert done.exit_code == 0, (done.output, done.exception)
    assert bench.run("note", "1", "gate", "override", "only a test").exit_code == 0
    assert bench.run("note", "1", "power", "on").exit_code == 0
    assert bench.run("note", "1", "seen", "screen=checkerboard", "current=410mA").exit_code == 0
    return Story(bench, site, net, (wire["a"], wire["b"]), plan, following)


def a_bridge(binding: Binding) -> tuple[str, str, tuple[list[str], list[str]]]:
    """A track at risk that is the only way between two nodes with a point each: site, net, and two points on either side, nearest first."""
    at_risk = set(plan_of(binding).provable)
    for net in range(len(binding.graph.net_names)):
        view = net_view(binding.graph, net)
        for edge in view.super_edges:
            runs = [site for site in edge.sites if site.startswith("run@")]
            if edge.provable and runs and set(runs) <= at_risk and edge.a in view.points and edge.b in view.points:
                sides = two_sides(binding, view, edge.sites, edge.a, edge.b)
                if all(len(side) == 2 for side in sides):
                    return runs[0], binding.graph.net_names[net], sides
    raise AssertionError("no such track on the demonstration board")


def two_sides(binding: Binding, view: NetView, sites: tuple[str, ...], a: int, b: int) -> tuple[list[str], list[str]]:
    """Two points on each side of these sites, found with networkx, the fewest sites away first."""
    graph = nx.Graph((s.a, s.b) for s in binding.graph.sites if s.net == view.net and s.id not in sites)
    graph.add_nodes_from((a, b))
    found = []
    for end in (a, b):
        away = nx.single_source_shortest_path_length(graph, end)
        near = sorted((node for node in view.points if node in away), key=lambda node: (away[node], node))
        found.append([view.points[node][0] for node in near[:2]])
    return found[0], found[1]


def test_the_plan_restores_the_net_in_words_and_numbers(story: Story) -> None:
    best = story.plan["plans"][0]
    assert best["restores"]
    assert len(best["wires"]) == 1
    assert best["wires"][0]["awg"] == 30
    assert best["rules"]
    assert any("lead" in words for words in best["cautions"])
    assert all(plan["restores"] for plan in story.plan["plans"])


def test_a_bare_package_gives_the_same_wire(story: Story) -> None:
    found = story.bench.json("wire", "plan", "demo", "--net", story.net, "--broken", story.site)
    assert found["plans"][0]["restores"]
    assert found["plans"][0]["cost_mm"] <= story.plan["plans"][0]["cost_mm"] + 1e-6


def test_the_proof_crosses_the_wire_and_leaves_no_neighbour_out(story: Story) -> None:
    checks = story.bench.json("wire", "prove", "1")
    purposes = [one["purpose"] for one in checks]  # type: ignore[index]
    assert purposes[0] == "bridge"
    assert "isolation" in purposes
    assert all(one["reason"] for one in checks)  # type: ignore[index]


def test_the_wires_own_check_is_the_next_step_after_the_patch(story: Story) -> None:
    bridge = story.bench.json("wire", "prove", "1")[0]  # type: ignore[index]
    assert "only way" in bridge["reason"]
    check = story.following["check"]
    assert {check["point_a"], check["point_b"]} == {bridge["point_a"], bridge["point_b"]}


def test_the_record_tells_it(story: Story, tmp_path: Path) -> None:
    html, pdf = tmp_path / "ein Bericht.html", tmp_path / "ein Bericht.pdf"
    done = story.bench.run("record", "1", "--html", str(html), "--pdf", str(pdf))
    assert done.exit_code == 0, (done.output, done.exception)
    page = html.read_text(encoding="utf-8")
    words = "".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages)
    assert "<h1>Larkenfell &lt;64&gt; &amp; #one</h1>" in page
    for said in ("Larkenfell <64> & #one", "1 break found, 1 of them mended", "checkerboard", "only a test", story.net):
        assert said.replace(" ", "") in words.replace(" ", "").replace("\n", ""), said
    shop = story.bench.shop
    case = find_case(shop, "1")
    assert page.count("<svg ") == 4
    assert page.count("<img ") == 1
    assert "the new socket" in page
    last = shop.store.entries(case)[-1]
    assert last.sha256() in page
    assert not proven_for_case(shop, case).all_proven
    assert "What remains to be tested" in page


def test_the_same_case_gives_the_same_record(story: Story, tmp_path: Path) -> None:
    files = [tmp_path / f"{i}.pdf" for i in range(2)]
    for one in files:
        assert story.bench.run("record", "1", "--pdf", str(one)).exit_code == 0
    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("record", "1"), "REC-002"),
        (("record", "1", "--pdf", "no/such/folder/x.pdf"), "REC-003"),
        (("wire", "plan", "1", "--net", "NOSUCH"), "WIR-008"),
        (("wire", "plan", "1", "--net", "A4"), "WIR-006"),
        (("wire", "plan", "demo", "--net", "GND"), "WIR-007"),
        (("wire", "plan", "demo", "--net", "GND", "--broken", "run@nowhere"), "WIR-003"),
        (("wire", "prove", "1", "--entry", "none"), "NOT-003"),
        (("wire", "prove", "1", "--entry", "1"), "WIR-010"),
        (("wire", "gauge", "--awg", "99", "--length-mm", "10"), "WIR-001"),
    ],
)
def test_refusals_name_what_to_do(words: tuple[str, ...], code: str, story: Story) -> None:
    done = story.bench.run(*words)
    assert isinstance(done.exception, Refusal), (done.output, done.exception)
    assert done.exception.finding.code == code
    assert done.exception.finding.remedy


def test_fixed_fields_of_the_gauge(story: Story) -> None:
    """Issue 7: `coppermend wire gauge --awg 30 --length-mm 100 --json`; 33.86 milliohm after 1/58 ohm mm2/m and ASTM B258."""
    found = story.bench.json("wire", "gauge", "--awg", "30", "--length-mm", "100")
    assert {"resistance_ohm", "diameter_mm", "preece_a", "onderdonk_a"} <= set(found)
    assert found["resistance_ohm"] == pytest.approx(33.86e-3, rel=5e-4)
