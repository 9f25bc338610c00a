"""Schematics: words with their places read from PDFs made here by hand, searched by part, pin and net, refused in words.

The PDFs are written here operator by operator (ISO 32000-1: 7.5 file structure, 9.4 text objects), so that it is known where each word stands. pypdf, an
unrelated reader, reads the same words.
"""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest
from PIL import Image
from pypdf import PdfWriter

from coppermend.bootstrap import workshop
from coppermend.core.findings import Refusal
from coppermend.core.log.kinds import attachments_of
from coppermend.formats.schematic import MOST_PAGES, page_png, read_schematic
from coppermend.services.cases import new_case
from coppermend.services.schematics import _plain, attach_schematic, find_in_schematics, schematic_page, schematics_of

WORDS = [
    [("U1", 100, 700), ("A11", 160, 690), ("1", 150, 680), ("/RD", 300, 500), ("CPUCLK", 180, 640)],
    [("U19A", 90, 400), ("U19-B", 300, 400), ("8", 112, 396), ("CPUCLK", 130, 402), ("~RD", 400, 100), ("C10", 50, 50)],
]
SIZE = (595, 842)


def pdf(pages: list[list[tuple[str, int, int]]], size: tuple[int, int] = SIZE) -> bytes:
    """A PDF of pages of words at (x, y) in points from the lower left, Helvetica 10."""
    objects = [b"<< /Type /Catalog /Pages 2 0 R >>", b"", b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>"]
    kids = []
    for words in pages:
        stream = "".join(f"BT /F1 10 Tf {x} {y} Td ({text}) Tj ET\n" for text, x, y in words).encode()
        objects.append(b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream))
        objects.append(
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 %d %d] /Contents %d 0 R /Resources << /Font << /F1 3 0 R >> >> >>"
            % (*size, len(objects))
        )
        kids.append(b"%d 0 R" % len(objects))
    objects[1] = b"<< /Type /Pages /Kids [%s] /Count %d >>" % (b" ".join(kids), len(kids))
    out, at = bytearray(b"%PDF-1.4\n"), []
    for k, one in enumerate(objects, 1):
        at.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (k, one)
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1) + b"".join(b"%010d 00000 n \n" % one for one in at)
    out += b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, start)
    return bytes(out)


def test_every_word_stands_where_it_was_written() -> None:
    pages = read_schematic(pdf(WORDS))
    assert [(p.number, p.width, p.height) for p in pages] == [(1, 595, 842), (2, 595, 842)]
    for page, words in zip(pages, WORDS, strict=True):
        assert [w.text for w in page.words] == [text for text, _, _ in words]
        for word, (_, x, y) in zip(page.words, words, strict=True):
            assert abs(word.box[0] - x) < 2 and abs(word.box[3] - (842 - y)) < 3 and word.box[1] < word.box[3]
    theirs = pypdf.PdfReader(io.BytesIO(pdf(WORDS)))
    for page, other in zip(pages, theirs.pages, strict=True):  # the other reader joins words that stand close
        said = other.extract_text()
        assert all(w.text in said for w in page.words)
        assert sorted("".join(said.split())) == sorted("".join(w.text for w in page.words))


def test_a_page_is_drawn() -> None:
    drawn = Image.open(io.BytesIO(page_png(pdf(WORDS), 1, 1.0)))
    assert drawn.size == SIZE and drawn.getextrema()[0] < 128
    black = drawn.crop((98, 842 - 712, 116, 842 - 696)).getextrema()
    assert black[0] < 128 and drawn.crop((400, 300, 500, 400)).getextrema()[0] > 250


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "SCH-001"),
        (b"GIF89a", "SCH-001"),
        (b"%PDF-1.4\nnothing more", "SCH-001"),
        (pdf(WORDS)[:300], "SCH-001"),
        (pdf([[]] * (MOST_PAGES + 1)), "SCH-003"),
        (b"%PDF-1.4" + bytes(65 * 2**20), "SCH-003"),
    ],
)
def test_what_is_no_schematic_is_refused(data: bytes, code: str) -> None:
    with pytest.raises(Refusal) as err:
        read_schematic(data, "sheet.pdf")
    assert err.value.finding.code == code and err.value.finding.remedy


def test_a_locked_one_is_refused_and_a_page_that_is_not_there() -> None:
    writer = PdfWriter()
    writer.append(io.BytesIO(pdf(WORDS)))
    writer.encrypt("secret", algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    with pytest.raises(Refusal) as err:
        read_schematic(out.getvalue())
    assert err.value.finding.code == "SCH-002"
    with pytest.raises(Refusal) as err:
        page_png(pdf(WORDS), 3)
    assert err.value.finding.code == "SCH-004"


def test_one_byte_changed_is_a_schematic_or_a_refusal() -> None:
    whole = pdf(WORDS)
    for at in range(0, len(whole), 41):
        data = whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :]
        try:
            assert len(read_schematic(data)) >= 1
        except Refusal as err:
            assert err.finding.code in ("SCH-001", "SCH-002", "SCH-003")


def test_a_bar_is_written_in_many_ways() -> None:
    assert {_plain(one) for one in ("/RD", "~RD", "!RD", "RD*", "RD#", "\\RD\\", "rd\u0305*")} == {"/RD"}
    assert _plain("RD") == "RD" != _plain("/RD")


def test_parts_pins_and_nets_are_found_on_page_and_board(tmp_path: Path) -> None:
    shop = workshop(str(tmp_path / "store"))
    case = new_case(shop, "demo", "Machine").state.case
    with pytest.raises(Refusal) as err:
        find_in_schematics(shop, case, "U1")
    assert err.value.finding.code == "SCH-006"
    noted = attach_schematic(shop, case, pdf(WORDS), "sheet.pdf")
    assert attachments_of(shop.store.entries(case)) == (noted.entry.payload["sha256"],)

    def hits(text: str) -> list[tuple[int, str]]:
        return [(one["page"], one["text"]) for one in find_in_schematics(shop, case, text)["hits"]]

    assert hits("u1") == [(1, "U1")] and hits("U19") == [(2, "U19A"), (2, "U19-B")]
    assert (
        hits("/RD") == [(1, "/RD"), (2, "~RD")]
        and hits("CPUCLK") == [(1, "CPUCLK"), (2, "CPUCLK")]
        and hits("nothing") == []
    )
    assert hits("U1.1")[0] in ((1, "1"), (1, "A11")) and set(hits("U1.1")) == {(1, "1"), (1, "A11")}
    assert (2, "8") in hits("U19.8")
    part, pin, net = (find_in_schematics(shop, case, one)["on_board"] for one in ("U1", "U1.1", "CPUCLK"))
    assert part["what"] == "part" and pin["what"] == "pin" and pin["side"] == "c" and {"U1", "U19"} & set(net["parts"])
    both = find_in_schematics(shop, case, "D3")["on_board"]
    assert both["part"] == "D3" and "U1" in both["net_too"] and part["net_too"] == [], "a diode D3 and a data line D3"
    assert Image.open(io.BytesIO(schematic_page(shop, case, noted.entry.id, 2))).size[0] > 595
    attach_schematic(shop, case, pdf([[]]), "scan.pdf")
    rows = schematics_of(shop, case)
    assert [one["searchable"] for one in rows] == [True, False] and "no text" in rows[1]["note"]
    for text, code in (("", "SCH-005"), ("x" * 99, "SCH-005")):
        with pytest.raises(Refusal) as err:
            find_in_schematics(shop, case, text)
        assert err.value.finding.code == code
    with pytest.raises(Refusal) as err:
        schematic_page(shop, case, "nothing", 1)
    assert err.value.finding.code == "SCH-007"
