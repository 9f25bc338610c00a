"""Removal and wire plans kept in a case: K/W, order, shields and the cutting list stand in both records, as the plan printed them."""

from __future__ import annotations

import json
from pathlib import Path

import pypdf
import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.services.plans import checked_plan


def run(home: Path, *words: str) -> str:
    """One command's output; a refusal is raised."""
    done = CliRunner(env={"COPPERMEND_STORE": str(home), "COPPERMEND_CACHE": str(home / "cache")}).invoke(cli, words)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.output


def test_removal_and_wire_plans_reach_the_record(tmp_path: Path) -> None:
    """Every pin with its K/W, the order, each neighbour to shield, the wire's ends and length: found again in HTML and PDF by their words."""
    run(tmp_path, "case", "new", "--board", "demo", "--title", "Lists kept")
    out = json.loads(run(tmp_path, "removal", "plan", "demo", "U1", "--note", "1", "--json"))
    broken = "run@c:86360,119380>129540,118110"
    wires = json.loads(run(tmp_path, "wire", "plan", "1", "--net", "A5", "--broken", broken, "--note", "1", "--json"))
    page, pdf = tmp_path / "r.html", tmp_path / "r.pdf"
    run(tmp_path, "record", "1", "--html", str(page), "--pdf", str(pdf))
    html = page.read_text(encoding="utf-8")
    flat = " ".join("\n".join(one.extract_text() for one in pypdf.PdfReader(pdf).pages).replace("\u200b", "").split())
    joints = next(one for one in out["plan"]["tables"] if one["title"].startswith("Joints"))
    kept = {row[1]: row[2] for row in joints["rows"]}
    assert all(float(kept[pin["number"]]) == pytest.approx(pin["k_per_w"], abs=0.06) for pin in out["pins"])
    for text in (html, flat):
        assert "Taking out U1" in text and "Patch wires of net A5" in text and "Cutting list" in text
        assert " ".join(out["order"][:8]) in text, text[text.find("Order of work") :][:300]
        assert all(one in text for one in kept.values())
        assert "Every pin must move freely in its hole" in text
        assert all(one["part"] in text for one in out["shield"])
        assert f"{wires['plans'][0]['wires'][0]['cut_mm']:.0f}" in text
    assert len(out["order"]) == 40 and html.count("<td>") > 240


@pytest.mark.parametrize(
    "tables",
    [
        [{"title": "t", "names": ["a", "b"], "rows": [["1"]]}],
        [{"title": "t", "names": ["a"], "rows": [[1]]}],
        [{"title": "t", "names": ["a"], "rows": [["x" * 601]]}],
        [{"title": "t", "names": ["a"], "rows": [["x"]] * 401}],
        "abc",
    ],
)
def test_lists_that_are_none_are_refused(tables: object) -> None:
    with pytest.raises(Refusal, match="NOT-011"):
        checked_plan({"what": "lists", "title": "x", "tables": tables, "assumed": []})
