"""What was seen under power in the record: symptoms, waves with measured values, suspects and how they changed, in HTML and PDF."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path

import numpy as np
import pypdf
from tests.cli_runner import Run

HERTZ = 4e6
"""The processor's clock on the demonstration machine; the wave is made here, so its values are known: 0.2 and 3.6 V, half of the time high."""


def scope_csv(path: Path) -> str:
    t = np.arange(10_000) * 4e-9
    v = np.where((t * HERTZ) % 1 < 0.5, 3.6, 0.2) + np.random.default_rng(1).normal(0, 0.03, t.size)
    rows = "".join(f"{a:.6e},{b:.3f}\n" for a, b in zip(t, v, strict=True))
    path.write_text(f"Time (s),CH1 (V)\n{rows}", encoding="utf-8")
    return str(path)


def rows_of(page: str, section: str) -> list[list[str]]:
    """The table of a section, cell by cell, as a reader sees it."""
    part = page.split(f'<h2 id="{section}">')[1].split("</section>")[0]
    cells = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in re.findall(r"<tr>(.*?)</tr>", part)]
    return [[html.unescape(cell).replace("<br>", "\n") for cell in row] for row in cells if row]


def test_the_record_tells_what_was_seen_and_how_the_suspects_changed(plain_run: Run, tmp_path: Path) -> None:
    plain_run("case", "new", "--board", "demo", "--title", "Seen under power")
    for words in (("level", "U1.6", "pulsing"), ("level", "U1.26", "high"), ("level", "U1.1", "low")):
        assert plain_run("note", "1", *words)[0] == 0
    status, _, err = plain_run("wave", "measure", scope_csv(tmp_path / "a.csv"), "--case", "1", "--at", "U19.8")
    assert status == 0, err
    plain_run("note", "1", "symptom", "rolling", "picture")
    plain_run("note", "1", "swap", "U1", "known", "good")
    plain_run("note", "1", "level", "U1.1", "pulsing")
    page, pdf = tmp_path / "r.html", tmp_path / "r.pdf"
    assert plain_run("record", "1", "--html", str(page), "--pdf", str(pdf))[0] == 0
    text = page.read_text(encoding="utf-8")
    assert [row[1:] for row in rows_of(text, "symptoms")] == [["rolling picture", "noted"]]
    ((_, where, channel, measured, verdict),) = rows_of(text, "waves")
    assert where == "U19.8\nCPUCLK" and channel == "CH1" and verdict == "right"
    hertz = float(re.search(r"([\d.]+) MHz", measured)[1]) * 1e6  # type: ignore[index]
    duty = float(re.search(r"high for ([\d.]+) %", measured)[1])  # type: ignore[index]
    low, high = (float(x) for x in re.search(r"low ([\d.]+) V, high ([\d.]+) V", measured).groups())  # type: ignore[union-attr]
    assert abs(hertz - HERTZ) < 1e-4 * HERTZ and abs(duty - 50) < 1 and abs(low - 0.2) < 0.02 and abs(high - 3.6) < 0.02
    course = rows_of(text, "course")
    seen = [row[1] for row in course]
    assert seen[1:5] == ["U1.6 (CPUCLK) is pulsing", "U1.26 (/RESET) is high", "U1.1 (A11) is low", "U19.8 (CPUCLK) moves as expected"]  # fmt: skip
    assert seen[5].startswith("Repair: swapped: U1") and seen[6] == "U1.1 (A11) is pulsing"
    assert (
        "U1" in course[3][2] and "U1 is dead" not in course[6][2]
    )  # silence at its pin speaks against U1 until another one is in
    assert all(re.fullmatch(r"\d+\.\d %|over 99\.9 %", row[3]) for row in course)
    assert rows_of(text, "suspects")
    drawn = text.split('<h2 id="waves">')[1].split("</section>")[0]
    levels = sorted(float(x) for x in re.findall(r">([\d.]+) V</text>", drawn))
    assert drawn.count("<svg") == 1 and "U19.8 CPUCLK" in drawn.split("<figcaption>")[1].split("<")[0]
    assert abs(levels[0] - 0.2) < 0.02 and abs(levels[-1] - 3.6) < 0.02  # beside the thresholds
    assert 14 <= drawn.count('class="edge"') <= 17  # its first eight periods
    said = " ".join(" ".join(one.extract_text() for one in pypdf.PdfReader(pdf).pages).split())
    for words in (
        "Suspects over time",
        "its beginning is shown",
        "Waves measured",
        "U1.1 (A11) is low",
        "rolling picture",
    ):
        assert words in said


def test_the_map_of_suspects_is_printed_too(plain_run: Run) -> None:
    plain_run("case", "new", "--board", "demo", "--title", "Map")
    plain_run("note", "1", "level", "U1.6", "low")
    status, out, _ = plain_run("suspects", "1", "--map", "--json")
    drawn = json.loads(out)
    assert status == 1 and not drawn["suspects"]["named"]
    (mark,) = drawn["marks"]
    assert mark["net"] == "CPUCLK" and mark["agrees"] is False and "4 MHz" in mark["expected"]
    assert {one["net"]: one["agrees"] for one in drawn["tracks"]} == {"CPUCLK": False}
    assert len(drawn["lies"]) == len(drawn["suspects"]["suspects"]) and len(drawn["course"]) == 2


def test_a_case_without_power_has_no_suspects_in_its_record(plain_run: Run, tmp_path: Path) -> None:
    plain_run("case", "new", "--board", "demo", "--title", "Cold")
    page = tmp_path / "r.html"
    assert plain_run("record", "1", "--html", str(page))[0] == 0
    text = page.read_text(encoding="utf-8")
    assert (
        'id="story"' in text and 'id="course"' not in text and 'id="suspects"' not in text and 'id="waves"' not in text
    )


def test_a_board_without_a_known_chip_is_said_not_reckoned(plain_run: Run, tmp_path: Path) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "pins.csv").write_text("part,pin,net\nX1,1,A\nX1,2,B\nX2,1,A\nX2,2,B\n", encoding="utf-8")
    plain_run("case", "new", "--board", str(bare), "--title", "Bare")
    plain_run("note", "1", "level", "X1.1", "low")
    status, _, err = plain_run("suspects", "1", "--json")
    assert status == 2 and "EXP-011" in err and "device book" in err
    page = tmp_path / "r.html"
    assert plain_run("record", "1", "--html", str(page))[0] == 0
    assert "The suspects cannot be reckoned" in page.read_text(encoding="utf-8")
