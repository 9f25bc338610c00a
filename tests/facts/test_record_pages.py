"""The record: complete, the same every time, and deaf to markup in what people typed. HTML is read with the standard library's parser,
SVG as XML (W3C), PDF with pypdf: none of them is ours."""

from __future__ import annotations

import base64
import io
import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import pypdf
import pytest
from PIL import Image
from tests.facts import record_sample as sample

from coppermend.adapters.files.typesetter import TypstTypesetter
from coppermend.core.findings import Refusal
from coppermend.core.log import state as log
from coppermend.services.recording.gather import CaseFacts, gather
from coppermend.services.recording.html import record_html
from coppermend.services.recording.model import Photo, RecordView
from coppermend.services.recording.pictures import shown_copy
from coppermend.services.records import record_pdf_of

VOID = {"meta", "br", "img", "link", "input", "hr"}


class Page(HTMLParser):
    """Elements, attributes and text of a page; complains about tags that do not close."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "title"):
            self.words.append(data)


@pytest.fixture(scope="module")
def html() -> str:
    return record_html(sample.view())


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    read = Page()
    read.feed(html)
    assert read.open == []
    return read


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return record_pdf_of(sample.view(), TypstTypesetter())


@pytest.fixture(scope="module")
def pdf_words(pdf: bytes) -> str:
    text = "\n".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    return squeezed(text)


def squeezed(words: str) -> str:
    """Without blanks, line breaks and the invisible break marks."""
    return re.sub(r"[\s\u200b\u00ad]+", "", words)


def shown(words: str) -> str:
    """What a reader sees of typed words: everything but control characters."""
    return re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", words)


def test_nothing_typed_becomes_markup(page: Page, html: str) -> None:
    kinds = {tag for tag, _ in page.elements}
    assert not kinds & {"script", "iframe", "object", "embed", "link", "form", "base"}
    for tag, attributes in page.elements:
        assert not [name for name in attributes if name.startswith("on")], tag
        for name in ("href", "src"):
            assert not str(attributes.get(name) or "#").lower().startswith(("http", "javascript", "//")), tag
    assert "alert(1)" in "".join(page.words)
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", html)


def test_the_page_loads_nothing(page: Page) -> None:
    policy = next(
        a["content"] for t, a in page.elements if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    assert "default-src 'none'" in policy
    assert "script-src" not in policy


@pytest.mark.parametrize(
    "words",
    [
        "Machine " + sample.NASTY,
        "S/N 42",
        "Black screen. " + sample.NASTY,
        "Second line.",
        "between the via under U9 and U9.5, solder side " + sample.NASTY,
        "U9.5 joint, solder side",
        "30 AWG (0.25 mm), 48 mm long",
        "patch wire 1",
        "2.25 Ω",
        "via at 31.2, 40.0 mm, component side",
        "there are two ways round",
        "lift one leg",
        "the track number 8",
        "screen: checkerboard, sound: one beep, current: 410 mA",
        "keyboard",
        "Not tested since the last repair: picture, sound, ports, drives, memory soak, soak.",
        "1 isolation check not made",
        "GBR-001",
        "A cell has leaked on this board",
        "closed by mistake (taken back)",
        "8 of 13",
        "abababab",
    ],
)
def test_html_and_pdf_both_say_it(words: str, page: Page, pdf_words: str) -> None:
    assert squeezed(shown(words)) in squeezed("".join(page.words))
    assert squeezed(shown(words)) in pdf_words


def test_every_reading_is_there(page: Page) -> None:
    said = "".join(page.words)
    for i in range(9):
        assert f"2026-11-20 10:{i:02d}" in said


def test_a_title_read_aloud(page: Page, html: str) -> None:
    """WCAG 2.2: language (3.1.1), page title (2.4.2), text alternatives (1.1.1), table headers (1.3.1), headings in order (2.4.6)."""
    assert '<html lang="en">' in html
    assert re.search(r"<title>Machine .*: repair record</title>", html)
    names = {a["id"] for t, a in page.elements if t == "title" and "id" in a}
    pictures = [a for t, a in page.elements if t == "svg"]
    assert len(pictures) == 6
    assert all(a["role"] == "img" and a["aria-labelledby"] in names for a in pictures)
    assert all(a.get("scope") == "col" for t, a in page.elements if t == "th")
    levels = [int(t[1]) for t, _ in page.elements if re.fullmatch("h[1-6]", t)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels) if b > a)
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))


def test_the_same_case_gives_the_same_bytes(pdf: bytes) -> None:
    assert record_pdf_of(sample.view(), TypstTypesetter()) == pdf
    assert record_html(sample.view()) == record_html(sample.view())


def test_the_documents_date_is_the_last_entrys(pdf: bytes) -> None:
    meta = pypdf.PdfReader(io.BytesIO(pdf)).metadata
    assert meta is not None
    assert meta.creation_date is not None
    assert meta.creation_date.strftime("%Y-%m-%dT%H:%M:%S") == "2026-11-20T12:05:00"
    assert shown("Machine " + sample.NASTY).split()[0] in str(meta.title)


def test_the_pdf_is_tagged_and_knows_its_language(pdf: bytes) -> None:
    """PDF 1.7 (ISO 32000-1) 14.8: a tagged document has MarkInfo and a structure tree; 14.9.2: a language."""
    root = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"


@pytest.mark.parametrize("picture", sample.view().maps, ids=lambda one: str(one.name))
def test_maps_are_sound_xml_without_reach(picture: object) -> None:
    tree = ElementTree.fromstring(picture.svg)  # type: ignore[attr-defined]
    kinds = {one.tag.rpartition("}")[2] for one in tree.iter()}
    assert kinds <= {"svg", "rect", "g", "path", "text", "circle", "clipPath"}
    assert not [a for one in tree.iter() for a in one.attrib if a.startswith("on") or a.endswith("href")]


def numbers(svg: str, kind: str) -> dict[str, float]:
    """Where the badge texts stand, by their words."""
    tree = ElementTree.fromstring(svg)
    return {
        one.text or "": float(one.attrib["x"])
        for one in tree.iter()
        if one.tag.endswith("}text") and kind in (one.text or "")
    }


def test_the_solder_side_is_turned_over() -> None:
    """Left and right exchanged: a chip at a third of the width stands at two thirds of it."""
    maps = {one.name: one.svg for one in sample.view().maps}
    width = float(ElementTree.fromstring(maps["map-c"]).attrib["viewBox"].split()[2])
    there, turned = numbers(maps["map-c"], "U9")["U9"], numbers(maps["map-s"], "U9")["U9"]
    assert there + turned == pytest.approx(width, abs=0.02)
    assert there < width / 2 < turned


def test_marks_differ_without_colour() -> None:
    """What is proven, open, broken and wired differs by line pattern or width, so that a print in grey says the same."""
    svg = next(one.svg for one in sample.view().maps if one.name == "map-s")
    grey = re.sub(r'(stroke|fill)="#[0-9a-f]{6}"', "", svg)
    lines = set(re.findall(r'<path [^>]*stroke-width="([0-9.]+)"(?: stroke-dasharray="([^"]+)")?', grey))
    assert len(lines) >= 7
    for words in (
        "work area",
        "proven sound",
        "at risk, not proven",
        "break (number in a square)",
        "patch wire (number in a circle)",
    ):
        assert words in svg


def test_a_record_that_cannot_be_set_says_so() -> None:
    with pytest.raises(Refusal) as caught:
        TypstTypesetter().pdf({"heading": {}}, {})
    assert caught.value.finding.code == "REC-001"
    assert "--html" in caught.value.finding.remedy


def test_closed_readings_in_a_row_are_one_line_of_the_story() -> None:
    kinds = ["closed"] * 5 + ["open"] + ["closed"] * 2
    items = tuple(
        log.TimelineItem(f"e{i}", i, i + 1, "b", kind, f"2026-11-20T10:{i:02d}:00.000Z", "tech", f"{kind} {i}", i == 2)
        for i, kind in enumerate(kinds)
    )
    case = replace(sample.state(), timeline=items)
    story = gather(case, CaseFacts(1, 8, "", ""), sample.board(), sample.graph(), sample.judgement()).story
    assert [(one.numbers, one.words, one.undone) for one in story] == [
        ("1", "closed 0", False),
        ("2", "closed 1", False),
        ("3", "closed 2", True),  # taken back: never part of a run
        ("4", "closed 3", False),
        ("5", "closed 4", False),
        ("6", "open 5", False),
        ("7", "closed 6", False),
        ("8", "closed 7", False),
    ]
    long = replace(case, timeline=tuple(replace(one, kind="closed", undone=False) for one in items))
    story = gather(long, CaseFacts(1, 8, "", ""), sample.board(), sample.graph(), sample.judgement()).story
    assert [(one.numbers, one.words) for one in story] == [("1-8", "8 readings, all closed")]


def test_an_inner_layer_is_drawn_when_something_is_marked_on_it() -> None:
    board = sample.board()
    four = replace(
        board,
        layers=(
            board.layers[0],
            replace(sample.layer("c"), key="i1"),
            replace(sample.layer("s"), key="i2"),
            board.layers[1],
        ),
    )
    graph = sample.graph()
    inner = replace(graph, sites=(*graph.sites[:3], replace(graph.sites[3], layer="i1"), *graph.sites[4:]), memo={})
    view = gather(sample.state(), CaseFacts(1, 8, "", ""), four, inner, sample.judgement())
    assert [one.name for one in view.maps][:3] == ["map-c", "map-s", "map-i1"]
    assert "patch wire" not in next(one.svg for one in view.maps if one.name == "map-i1")


def picture(kind: str, size: tuple[int, int] = (40, 30)) -> bytes:
    """A small picture of one colour, written by Pillow."""
    file = io.BytesIO()
    Image.new("RGB", size, (180, 90, 40)).save(file, kind)
    return file.getvalue()


def with_photos(*photos: bytes) -> RecordView:
    """The sample with these photos."""
    found = []
    for data in photos:
        copy = shown_copy(data)
        words = f"after cleaning {sample.NASTY}"
        jpeg = base64.b64encode(copy.jpeg).decode() if copy else ""
        found.append(
            Photo(words, "2026-11-20 10:00", jpeg, copy.width_px if copy else 0, copy.height_px if copy else 0)
        )
    return replace(sample.view(), photos=tuple(found))


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "GIF"])
def test_photos_are_shown(kind: str) -> None:
    view = with_photos(picture(kind))
    pages = pypdf.PdfReader(io.BytesIO(record_pdf_of(view, TypstTypesetter()))).pages
    assert sum(len(one.images) for one in pages) == 1
    read = Page()
    read.feed(record_html(view))
    shown_there = [a["src"] for t, a in read.elements if t == "img"]
    assert len(shown_there) == 1
    assert Image.open(io.BytesIO(base64.b64decode(str(shown_there[0]).partition(",")[2]))).size == (40, 30)


def test_a_photo_that_cannot_be_decoded_does_not_cost_the_record() -> None:
    view = with_photos(b"no picture at all", picture("PNG")[:60])
    pdf = record_pdf_of(view, TypstTypesetter())
    words = squeezed("".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(pdf)).pages))
    assert words.count(squeezed("This photo cannot be decoded")) == 2
    assert record_html(view).count("This photo cannot be decoded") == 2


def test_copies_stand_upright_small_and_tell_no_place() -> None:
    """EXIF 2.3: tag 274 orientation (6: turn right), tag 34853 the GPS block."""
    image = Image.new("RGB", (4000, 2000), (10, 200, 10))
    exif = Image.Exif()
    exif[274] = 6
    exif[271] = "a camera"
    exif.get_ifd(34853)[1] = "N"
    file = io.BytesIO()
    image.save(file, "JPEG", exif=exif)
    copy = shown_copy(file.getvalue())
    assert copy is not None
    assert (copy.width_px, copy.height_px) == (800, 1600)
    assert b"a camera" in file.getvalue()
    assert len(Image.open(io.BytesIO(copy.jpeg)).getexif()) == 0
