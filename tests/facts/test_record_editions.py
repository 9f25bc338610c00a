"""The owner's record, chosen parts, and the label. PDF is read with qpdf (pikepdf) and pypdf, HTML with html5lib's strict parser, the QR picture
with zxing-cpp on a picture that typst sets: none of them is ours."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from importlib.resources import files
from typing import Any

import html5lib
import numpy as np
import pikepdf
import pypdf
import pytest
import typst
import zxingcpp
from PIL import Image
from tests.facts import record_sample as sample

from coppermend.adapters.files.typesetter import TypstTypesetter
from coppermend.adapters.lan import qr
from coppermend.core.findings import Refusal
from coppermend.core.log import state as log
from coppermend.services.labels import HEIGHT_MM, WIDTH_MM, Label, label_pdf
from coppermend.services.recording.editions import PARTS, READERS, edition
from coppermend.services.recording.gather import CaseFacts, Judgement, gather
from coppermend.services.recording.html import record_html
from coppermend.services.recording.model import RecordView
from coppermend.services.recording.plainly import bench_minutes
from coppermend.services.records import first_repair, record_pdf_of

SPACES = re.compile(r"[\s\u200b\u00ad]+")


def words_of(pdf: bytes) -> str:
    return SPACES.sub("", "".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(pdf)).pages))


@pytest.fixture(scope="module")
def owner() -> RecordView:
    return edition(sample.view("Machine of a test"), "owner")


@pytest.fixture(scope="module")
def owner_pdf(owner: RecordView) -> bytes:
    return record_pdf_of(owner, TypstTypesetter())


@pytest.mark.parametrize(
    "sentence",
    [
        "A connection on the board was broken near U9.",
        "9 connections were measured from end to end.",  # nine readings of the sample: three closed, three open, three ohms
        "1 wire fitted in place of broken copper.",
        "1 wire not measured yet after fitting.",
        "1 measurement still to be made round the places that were worked on.",
        "Not tested: picture, sound, ports, drives, memory soak and soak.",
        "keyboard",
        "Mains supplies and picture tubes hold dangerous voltages",
        "Patch wire",
        "48 mm",
    ],
)
def test_the_owner_reads_it_in_plain_words(sentence: str, owner: RecordView, owner_pdf: bytes) -> None:
    assert SPACES.sub("", sentence) in words_of(owner_pdf)
    text = "".join(html5lib.parse(record_html(owner), namespaceHTMLElements=False).itertext())
    assert SPACES.sub("", sentence) in SPACES.sub("", text)


@pytest.mark.parametrize("word", ["Every reading", "via at 31.2", "99.8", "isolation", "GBR-001", "0.001"])
def test_the_owner_is_spared_what_only_a_technician_reads(word: str, owner: RecordView, owner_pdf: bytes) -> None:
    assert SPACES.sub("", word) not in words_of(owner_pdf)
    assert word not in record_html(owner).partition("<main ")[2]
    full = edition(sample.view("Machine of a test"), "technician")
    assert word in record_html(full)


def test_the_owners_record_is_short_and_the_technicians_holds_every_reading(owner_pdf: bytes) -> None:
    assert len(pypdf.PdfReader(io.BytesIO(owner_pdf)).pages) <= 2
    full = edition(sample.view(), "technician")
    assert len(full.readings) == 9 and full.maps and not full.wrong


@pytest.mark.parametrize("reader", list(READERS))
def test_both_editions_are_valid_and_always_the_same_bytes(reader: str) -> None:
    view = edition(sample.view(), reader)
    pdf = record_pdf_of(view, TypstTypesetter())
    assert pdf == record_pdf_of(edition(sample.view(), reader), TypstTypesetter())
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.check_pdf_syntax() == []
        assert bool(opened.Root.MarkInfo.Marked)  # tagged, so that it can be read aloud (ISO 32000-2, 14.8)
    html5lib.HTMLParser(strict=True).parse(record_html(view))  # raises at the first error of the HTML standard's parser


def test_parts_are_chosen_by_name() -> None:
    view = edition(sample.view(), parts=("wires", "readings"))
    text = record_html(view)
    assert re.findall(r'<h2 id="(\w+)">', text) == ["wires", "readings"]
    with pytest.raises(Refusal, match="no part photograph") as refusal:
        edition(sample.view(), parts=("wires", "photograph"))
    assert refusal.value.finding.code == "REC-004"
    assert all(key in str(refusal.value.finding.remedy) for key in PARTS)


def test_every_field_that_a_page_shows_belongs_to_a_part() -> None:
    """What no part holds could never be left out: only the heading and the reader's name may."""
    held = {name for _, names in PARTS.values() for name in names}
    assert set(RecordView.__dataclass_fields__) - held == {"heading", "reader"}
    assert set(READERS["owner"]) | set(READERS["technician"]) == set(PARTS)


def test_a_machine_without_a_fault_or_a_test_says_so() -> None:
    bare = replace(sample.state(), areas=(), readings=(), wires=(), notes=(), power_ups=())
    view = edition(gather(bare, CaseFacts(1, 3, "ab" * 32, ""), sample.board(), sample.graph(), Judgement()), "owner")
    assert view.wrong == ("No fault has been found so far.",)
    assert "The machine has not been switched on in this repair." in view.still_open
    assert not view.done
    assert [name for name, _ in view.used] == ["At the bench, gaps of more than 15 minutes between entries left out"]


def test_time_at_the_bench_leaves_pauses_out() -> None:
    """By hand: 5 min + 90 s; the hour between and a clock set back count nothing."""
    times = ["10:00:00", "10:05:00", "11:05:00", "11:06:30", "09:00:00"]
    items = [log.TimelineItem(t, 0, 1, "", "closed", f"2026-01-01T{t}Z", "", "", False) for t in times]
    assert bench_minutes(items) == 6.5


def test_photos_are_told_apart_by_the_first_repair() -> None:
    case = sample.state()
    assert first_repair(case) == 20  # the sample's wire is its only repair
    assert first_repair(replace(case, wires=())) is None


def label(**other: Any) -> Label:
    date = (2026, 11, 20, 12, 5, 0)
    code = f"Coppermend case 0193-case\n{sample.NASTY[:40]}\nSerial 42"
    made = Label("Machine " + sample.NASTY, "42", 7, "0193-case", "2026-11-20", date, code)
    return replace(made, **other)


def seen_by_a_camera(made: Label) -> str:
    """The label set as a picture of 203 dots an inch, as label printers have, greyed and tilted by two degrees, read by zxing-cpp."""
    caught: dict[str, bytes] = {}

    class Catcher(TypstTypesetter):
        def label(self, words: Any, picture: bytes) -> bytes:
            caught.update({"label.json": json.dumps(dict(words)).encode(), "qr.svg": picture})
            return super().label(words, picture)

    label_pdf(made, Catcher(), qr.rows)
    source: Any = {"main.typ": files("coppermend.adapters.files").joinpath("label.typ").read_bytes(), **caught}
    png = typst.compile(source, format="png", ppi=203.0)
    assert isinstance(png, bytes)
    grey = Image.open(io.BytesIO(png)).convert("L").rotate(2.0, fillcolor=255, expand=True)
    found = zxingcpp.read_barcodes(np.asarray(grey).copy())
    assert len(found) == 1
    return str(found[0].text)


def test_an_independent_decoder_reads_the_label() -> None:
    made = label()
    assert seen_by_a_camera(made) == made.code


def test_a_label_is_one_page_of_its_size_with_the_same_bytes() -> None:
    pdf = label_pdf(label(), TypstTypesetter(), qr.rows)
    assert pdf == label_pdf(label(), TypstTypesetter(), qr.rows)
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert [round(float(x) * 25.4 / 72.0, 1) for x in page.mediabox[2:]] == [WIDTH_MM, HEIGHT_MM]
    assert "Case7" in words_of(pdf) and "Serial42" in words_of(pdf)
