"""``coppermend belief explain``: posteriors of given readings, as the plain enumerator gives them; refusals in words."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from coppermend.cli import cli
from coppermend.core.belief.engine import belief
from coppermend.core.belief.enumerator import enumerate_breaks
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.findings import Refusal
from coppermend.services.explain import explain, read_readings
from coppermend.services.practice import PracticeSetting

SETTING = PracticeSetting(example_graph([(0, 1), (1, 2), (1, 3), (3, 0)], [0, 1, 2, 3]), (EXAMPLE_AREA,))
BASIS = Basis(contact_shares=(), damage_scales=(), open_scales=())


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
    # by hand: the joint (0.04), the contact (0.03) and the leg (0.0005) lie between the two points, all times a damage scale of mean
    # 0.03*0.4 + 0.1*0.3 + 0.3*0.2 + 1*0.1 = 0.202; a whole way reads open 0.01 or 0.04 (0.025 on average) or, with a tenth
    # of the points bad, 0.0826, the second four times as likely:
    # 0.04*0.202 / (0.0705*0.202 + 0.0711*(1 - 0.0705*0.202)) = 0.096, products of two breaks left out
    assert got["sites"][0]["site"] == "joint@U1.8"
    assert got["sites"][0]["p"] == pytest.approx(0.096, abs=0.003)
    assert got["unknown"] == [["U1.8/leg", "no such point", "closed"]]
    assert (got["used"], [one["reading"] for one in got["set_aside"]]) == (1, [2])


def _said(tmp_path: Path, readings: str, *more: str) -> Result:
    file = tmp_path / "readings.json"
    file.write_text(readings, encoding="utf-8")
    args = ["belief", "explain", "--board", "demo", "--readings", str(file), *more]
    return CliRunner().invoke(cli, args, standalone_mode=False)


def test_points_are_named_as_in_note_and_status_1_says_that_readings_were_set_aside(tmp_path: Path) -> None:
    short = _said(tmp_path, '[["U1.22", "U3.8", "open"]]', "--json")
    full = _said(tmp_path, '[["U1.22/leg", "U3.8/leg", "open"]]', "--json")
    assert json.loads(short.output) == json.loads(full.output)
    assert json.loads(short.output)["sites"] and short.return_value == 0
    none = _said(tmp_path, '[["U1.22", "U1.9999", "open"]]')
    assert none.return_value == 1
    assert "no reading could be used" in none.output and "exact" not in none.output
    assert "set aside: reading 1, U1.22 to U1.9999" in none.output


def test_a_truth_file_takes_the_same_names(tmp_path: Path) -> None:
    truth = tmp_path / "truth.json"
    for pair, fine in ((["U1.22", "U3.8"], True), (["U1.22", "U3.9999"], False)):
        truth.write_text(
            json.dumps({"broken": [{"between": pair}], "noise": {"oxidised": ["U1.22"]}}), encoding="utf-8"
        )
        done = _said(tmp_path, '[["U1.22", "U3.8", "open"]]', "--truth", str(truth))
        assert (done.exception is None) == fine
    assert "U3.9999" in str(done.exception)


def test_both_tips_on_one_point_are_refused(tmp_path: Path) -> None:
    for pair in ('"U1.22/leg", "U1.22/leg"', '"U1.22", "U1.22/leg"'):
        assert "NOT-002" in str(_said(tmp_path, f'[[{pair}, "open"]]').exception)


def test_a_closed_reading_between_two_nets_is_said_as_a_possible_short(tmp_path: Path) -> None:
    done = _said(tmp_path, '[["U1.22", "U1.23", "closed"]]')
    assert "possible short: U1.22/leg [" in done.output and "look for a bridge" in done.output
    assert "possible short" not in _said(tmp_path, '[["U1.22", "U1.23", "open"]]').output


def test_a_readings_file_that_is_not_there_is_said_without_a_number_of_the_system(tmp_path: Path) -> None:
    args = ["belief", "explain", "--board", "demo", "--readings", str(tmp_path / "none.json")]
    said = str(CliRunner().invoke(cli, args, standalone_mode=False).exception)
    assert "BLF-011" in said and "No such file" in said and "Errno" not in said


@pytest.mark.parametrize("ohms", ["1e308", "1e160", "1e15", "1" + "0" * 400])
def test_ohms_that_no_meter_shows_are_refused_as_note_refuses_them(ohms: str) -> None:
    with pytest.raises(Refusal, match=r"VAL-001.*no value in ohm"):
        read_readings(f'[["p0", "p1", {ohms}]]')


def test_a_number_of_thousands_of_digits_is_refused_in_words() -> None:
    with pytest.raises(Refusal, match="BLF-010"):
        read_readings('[["p0", "p1", ' + "1" * 5000 + "]]")


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("ohm", [9.9e14, 1e160, 1e308, float("inf"), float("nan"), -1e308])
def test_a_belief_is_finite_whatever_the_ohms(ohm: float) -> None:
    """No NaN and no overflow: what is too large for a meter is an overload, as OL; what is no number changes nothing."""
    said = (Evidence("1", "p0", "p1", "closed"), Evidence("2", "p0", "p2", "ohms", ohm))
    got = belief(SETTING.graph, SETTING.areas, said, BASIS)
    assert np.isfinite(got.sites).all() and np.isfinite(got.log_evidence)
    if ohm >= 1e15:
        as_open = belief(SETTING.graph, SETTING.areas, (said[0], Evidence("2", "p0", "p2", "open")), BASIS)
        assert got.sites.tolist() == as_open.sites.tolist()
    if not ohm >= 0.0:
        assert got.sites.tolist() == belief(SETTING.graph, SETTING.areas, said[:1], BASIS).sites.tolist()
