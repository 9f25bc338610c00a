"""The record's tables of what a case says beside readings. Expected words are written out by hand; HTML is read by html5lib's strict parser and PDF by
pypdf, neither is ours."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import html5lib
import pypdf
import pytest
from tests.facts import record_sample as sample

from coppermend.adapters.files.typesetter import TypstTypesetter
from coppermend.core.log import state as log
from coppermend.services.recording.editions import edition
from coppermend.services.recording.gather import CaseFacts, gather
from coppermend.services.recording.html import record_html
from coppermend.services.recording.model import RecordView
from coppermend.services.records import record_pdf_of

SPACES = re.compile(r"[\s\u200b\u00ad]+")
AT = "2026-03-02T10:20:00Z"


def case() -> log.CaseState:
    """The sample's case with an intake, a supply, looks, a chip that was tried and counted starts."""
    base = sample.state()
    area, last = base.areas[0], max(one.at for one in base.timeline)
    place = log.PointRef("via@31200,40000/s", 31.2, 40.0, "s", "A0")

    def look(at: int, **said: object) -> log.Act:
        plain = log.Act(f"look{at}", last + at, "look", "", (), "", "", None, False, "", AT)
        return replace(plain, **said)  # type: ignore[arg-type]

    swap = log.Act("swap", last + 5, "swap", "U9", (), "", "", None, False, "", AT, effect="cured", chip_in="C7")
    return replace(
        base,
        intake=(
            log.IntakeNote("i1", last, "condition", f"dusty {sample.NASTY}", None, None, "", (), ("ab",), AT),
            log.IntakeNote("i2", last, "limit", "", None, 80.0, "EUR", (), (), AT),
            log.IntakeNote("i3", last, "consent", "", True, None, "", ("cut track", "scrape mask"), (), AT),
        ),
        supply=(log.SupplyReading("s1", last, "+5V", "far", 4.81, "U9", None, 0.03, None, None, (), "sags"),),
        acts=(
            *base.acts,
            look(1, points=(place,), finding="corrosion", seen=True, side="s"),
            look(2, part="U9", finding="bent leg", seen=False),
            look(3, area=area.id, side="c"),
            swap,
        ),
        chips=(log.ChipNote("c1", last, "C7", "74LS00", "", "donor board", "unknown", "stock box 2", None, "", AT),),
        chip_checks=(log.ChipCheck("k1", last, "U9", "legs", False, ("3", "4"), "straightened", AT),),
        starts=(log.StartsNote("n1", last, 3, 5, "freeze spray", "U9", None, "", AT),),
    )


@pytest.fixture(scope="module")
def view() -> RecordView:
    return edition(gather(case(), CaseFacts(1, 9, "0" * 64, AT), sample.board(), sample.graph(), sample.judgement()))


@pytest.fixture(scope="module")
def pages(view: RecordView) -> str:
    read = pypdf.PdfReader(io.BytesIO(record_pdf_of(view, TypstTypesetter())))
    return SPACES.sub("", "".join(one.extract_text() for one in read.pages))


@pytest.fixture(scope="module")
def cells(view: RecordView) -> list[list[str]]:
    """Every row of every table of the HTML, cell by cell."""
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(record_html(view))
    return [["".join(cell.itertext()) for cell in row.iter("td")] for row in tree.iter("tr")]


@pytest.mark.parametrize(
    "row",
    [
        ["Cost limit", "80 EUR", "2026-03-02 10:20"],
        ["Cannot be undone", "yes: cut a track, scrape the mask off copper", "2026-03-02 10:20"],
        ["Originality", "not asked", ""],
        ["+5V", "far from the connector, at U9", "4.81 V, ripple 30 mV", "sags"],
        ["U9", "legs straight", "no (pins 3, 4)", "straightened"],
        ["2026-03-02 10:20", "freeze spray on U9", "3 of 5", ""],
        # a chip that cured the machine is known good, and its stay at U9 says so
        ["C7", "74LS00", "donor board", "stock box 2U9: it worked there", "known goodworked at U9"],
    ],
)
def test_a_row_stands_in_both_editions_of_the_file(row: list[str], cells: list[list[str]], pages: str) -> None:
    assert row in cells
    assert SPACES.sub("", "".join(row)) in pages or all(SPACES.sub("", cell) in pages for cell in row)


def test_looks_stand_in_the_order_of_the_log_and_say_where(cells: list[list[str]]) -> None:
    rows = [
        row[1:]
        for row in cells
        if len(row) == 4 and row[0].isdigit() and row[3].split()[-1] in ("seen", "then", "since")
    ]
    assert rows[0] == ["via at 31.2, 40.0 mm, solder side", "corrosion", "as seen"]
    assert rows[1] == ["U9", "looked for bent leg: not there", "swap since then"]
    assert rows[2][0].startswith("work area near #panic(") and rows[2][0].endswith(", component side")
    assert rows[2][1:] == ["looked over whole", "something was soldered since"]  # the sample's wire came after


def test_words_from_the_case_stay_words(view: RecordView) -> None:
    text = record_html(view)
    assert "<script>alert" not in text
    assert "dusty #panic(" in text


def test_a_case_without_them_has_no_empty_tables() -> None:
    plain = record_html(edition(sample.view("Machine of a test")))
    assert not re.search('id="(arrival|looks|supply|chips|starts)"', plain)
