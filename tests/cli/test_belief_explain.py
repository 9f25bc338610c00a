"""``coppermend belief explain``: posteriors of given readings, as the plain enumerator gives them; refusals in words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.belief.enumerator import enumerate_breaks
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis
from coppermend.core.findings import Refusal
from coppermend.services.explain import explain, read_readings
from coppermend.services.practice import PracticeSetting

SETTING = PracticeSetting(example_graph([(0, 1), (1, 2), (1, 3), (3, 0)], [0, 1, 2, 3]), (EXAMPLE_AREA,))
BASIS = Basis(contact_shares=(), damage_scales=())


def test_posteriors_and_evidence_are_those_of_the_enumerator() -> None:
    readings = read_readings(
        '[["p0", "p2", "open"], ["p1", "p3", "closed"], ["p0", "p3", "closed"], ["p2", "p3", "open"]]'
    )
    got = explain(SETTING, readings, BASIS)
    prior = [0.02] * 4
    want = enumerate_breaks(SETTING.graph, prior, readings, BASIS)  # type: ignore[arg-type]
    for row in got["sites"]:
        assert row["p"] == pytest.approx(want.sites[int(row["site"][1:])], abs=1e-9)
    assert got["log_evidence"] == pytest.approx(want.log_evidence, abs=1e-9)
    assert got["error_bound"] == 0.0
    product = 1.0
    for row in got["readings"]:
        product *= row["p"]
    assert product == pytest.approx(2.718281828459045**want.log_evidence, rel=1e-9)


def test_ohms_count_by_their_values() -> None:
    """A ring of three and a twig, 10 milliohm each: 10 x 20 / 30 between p0 and p1 when whole, 10 or 20 with one way broken (Ohm's law)."""
    p = {}
    for ohm in (0.00667, 0.02):
        readings = read_readings(f'[["p0", "p1", {ohm}, {{"wires": 4}}], ["p0", "p1", "closed"]]')
        got = explain(SETTING, readings, BASIS)
        p[ohm] = {row["site"]: row["p"] for row in got["sites"]}["s0"]
        assert got["readings"][0]["p"] > 0.0
    assert p[0.00667] < 0.01 < 0.5 < p[0.02]
    assert explain(SETTING, readings, BASIS)["partial_opens"][0]["sites"] == ["s0"]


def test_the_transfer_form_is_understood() -> None:
    """Current from p0 to p2, voltage between p0 and p1: the twig beyond p1 carries it all and counts for nothing (definition of four-terminal resistance)."""
    (one,) = read_readings('[["p0", "p2", 0.00667, {"sense": ["p0", "p1"]}]]')
    assert one.sense == ("p0", "p1") and one.instrument is not None and one.instrument.wires == 4
    got = explain(SETTING, (one,), BASIS)
    assert {row["site"]: row["p"] for row in got["sites"]}["s0"] < 0.01


@pytest.mark.parametrize(
    "text",
    [
        '[["p0", "p1", 0.1, {"wires": 3}]]',
        '[["p0", "p1", 0.1, {"sense": ["p2"]}]]',
        "{",
        '{"a": 1}',
        '[["p0", "p1"]]',
        '[["p0", "p1", "maybe"]]',
        '[["p0", "p1", true]]',
        '[["p0", "p1", -1]]',
    ],
)
def test_readings_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(Refusal, match="BLF-010"):
        read_readings(text)


def test_the_command_prints_one_object(tmp_path: Path) -> None:
    file = tmp_path / "readings.json"
    file.write_text('[["U1.8/leg", "U1.8/joint-s", "open"], ["U1.8/leg", "no such point", "closed"]]', encoding="utf-8")
    args = ["belief", "explain", "--board", "demo", "--readings", str(file), "--json"]
    got = json.loads(CliRunner().invoke(cli, args, standalone_mode=False).output)
    # by hand: the joint (0.04), the contact (0.03) and the leg (0.0005) lie between the two points; one open makes the joint the likeliest
    assert got["sites"][0]["site"] == "joint@U1.8"
    assert got["sites"][0]["p"] > 0.2
    assert got["unknown"] == [["U1.8/leg", "no such point", "closed"]]
