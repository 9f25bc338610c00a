"""Plans of alloys and of warming kept in a case: the record draws them from the log alone, in figures that can be read back off the picture."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET

import pypdf
import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.services.plans import checked_plan
from coppermend.services.warmingdrawing import draw_warming

SVG = "{http://www.w3.org/2000/svg}"
WARM = {
    "what": "warming",
    "rows": [[0, 22, 22, 22, 22], [60, 60, 64, 50, 55], [120, 100, 108, 100, 104]],
    "target_c": 100,
    "tg_c": 120,
    "time_s": 110,
    "held": [["laminate, hottest place", "108", "110 degC", True, "x"]],
    "assumed": ["y"],
}


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, dict[str, object]]:
    """HTML, the PDF's text, and the warming plan's answer of a case that keeps one plan of each kind."""
    home = tmp_path_factory.mktemp("plans")

    def run(*words: str) -> str:
        done = CliRunner(env={"COPPERMEND_STORE": str(home), "COPPERMEND_CACHE": str(home / "cache")}).invoke(
            cli, words
        )
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return done.output

    run("case", "new", "--board", "demo", "--title", "Plans kept")
    fed = ("--base", "Sn63Pb37", "--add", "Bi52Pb32Sn16", "--keep-c", "130", "--old-mg", "10")
    run("alloy", "plan", *fed, "--note", "1")
    heat = ("--size", "100x80", "--heater", "air", "--heater-c", "150")
    warm = json.loads(run("heat", "preheat", *heat, "--note", "1", "--json"))
    page, pdf = home / "r.html", home / "r.pdf"
    run("record", "1", "--html", str(page), "--pdf", str(pdf))
    text = "\n".join(one.extract_text() for one in pypdf.PdfReader(pdf).pages)
    return page.read_text(encoding="utf-8"), text, warm


def bare(text: str) -> str:
    """Without the spaces and breaks that setting a page moves."""
    return re.sub(r"[\s\u200b]+", "", text)


def drawings(page: str) -> list[ET.Element]:
    """The pictures in the section of plans."""
    part = page.split('<h2 id="plans">')[1].split("</section>")[0]
    return [ET.fromstring(one) for one in re.findall(r"<svg .*?</svg>", part, re.DOTALL)]


def readable(svg: ET.Element) -> tuple[dict[float, float], list[list[tuple[float, float]]]]:
    """The labels of the upright axis (degC -> y) and the drawn lines, as somebody with a ruler reads them."""
    axis = {
        float(one.text or ""): float(one.get("y", "0")) - 4.5
        for one in svg.iter(f"{SVG}text")
        if one.get("text-anchor") == "end" and re.fullmatch(r"\d+", one.text or "") and float(one.get("x", "0")) < 70
    }
    lines = [
        [(float(x), float(y)) for x, y in (spot.split(",") for spot in one.get("points", "").split())]
        for one in svg.iter(f"{SVG}polyline")
    ]
    return axis, lines


def degrees(axis: dict[float, float], y: float) -> float:
    """degC at a height, by the two outer labels."""
    (c0, y0), (c1, y1) = min(axis.items()), max(axis.items())
    return c0 + (c1 - c0) * (y - y0) / (y1 - y0)


def test_the_melting_diagram_shows_nists_eutectics(record: tuple[str, str, dict[str, object]]) -> None:
    """NIST Bi-Pb-Sn (docs/sources.md): the ternary eutectic at 98.0 degC is where the broken line lies flat; Pb-Sn begins at 182.2 degC."""
    axis, lines = readable(drawings(record[0])[0])
    solidus = next(one for one in lines if len(one) > 10 and min(degrees(axis, y) for _, y in one) < 99)
    heights = [[round(degrees(axis, y), 1) for _, y in one] for one in lines[:2]]
    assert min(min(one) for one in heights) == pytest.approx(98.0, abs=1.0) and solidus
    assert max(max(one) for one in heights) == pytest.approx(183, abs=1.5)


def test_the_warming_curve_can_be_read_off_the_picture() -> None:
    """A plan made by hand: what is drawn are its own rows, for all four lines, and limit and target stand where they belong."""
    svg = ET.fromstring(draw_warming(checked_plan(WARM)))  # type: ignore[arg-type]
    axis, lines = readable(svg)
    assert len(lines) == 4
    for column, line in zip((3, 4, 1, 2), lines, strict=True):
        assert [round(degrees(axis, y)) for _, y in line] == [row[column] for row in WARM["rows"]]  # type: ignore[attr-defined]
    levels = [
        round(degrees(axis, float(one.get("y1", "0")))) for one in svg.iter(f"{SVG}line") if one.get("stroke-dasharray")
    ]
    assert levels == [110, 100]  # 10 K under a Tg of 120 degC (preheat practice, docs/sources.md), and the target


def test_words_limits_and_what_it_rests_on_stand_in_both_records(record: tuple[str, str, dict[str, object]]) -> None:
    page, pdf, warm = record
    rests = str(warm["assumed"][0])  # type: ignore[index]
    assert len(drawings(page)) == 2 and page.count("What this rests on") == 2 and rests in page
    flat = " ".join(pdf.split())
    assert "Plans of the rework" in flat and "laminate, hottest place" in flat and flat.count("What this rests on") == 2
    assert bare(str(warm["words"])[:60]) in bare(pdf)
    for words in ("Doses, per pin", "Rounds of wick and refill", "wick, then fresh solder"):
        assert words in page and bare(words) in bare(pdf)


@pytest.mark.parametrize(
    "broken",
    [
        {"what": "dance"},
        {**WARM, "rows": [[0, 22, 22, 22, 22]]},
        {**WARM, "rows": [[5, 22, 22, 22, 22], [5, 22, 22, 22, 22]]},
        {**WARM, "rows": [[0, 22, 22, 22], [60, 1, 1, 1]]},
        {**WARM, "tg_c": "hot"},
        {**WARM, "assumed": ["x" * 10_000]},
        {"what": "alloy", "base": "Sn63Pb37", "add": "Xx50", "shares": [0], "keep_c": 130, "assumed": []},
        {"what": "alloy", "base": "Sn63Pb37", "add": "Sn42Bi58", "shares": [0, 1.5], "keep_c": 130, "assumed": []},
        [],
    ],
)
def test_figures_that_are_no_plan_are_refused(broken: object) -> None:
    with pytest.raises(Refusal, match="NOT-011"):
        checked_plan(broken)
