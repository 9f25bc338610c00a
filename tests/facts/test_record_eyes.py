"""What was seen at the board in the record, its marks and labels on the maps, photos by their moment, letters without a font, words that copy as they are.
The PDF is read with PDFium, which copies as a viewer does and is not ours."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from types import SimpleNamespace
from typing import Any, cast

import pypdfium2
import pytest
from tests.facts import record_sample as sample

from coppermend.adapters.files.typesetter import TypstTypesetter
from coppermend.adapters.lan import qr
from coppermend.core.findings import Refusal
from coppermend.core.log import state as log
from coppermend.services import suspectcourse
from coppermend.services.bind import Binding, bind_state
from coppermend.services.labels import Label, label_pdf
from coppermend.services.powered import PoweredBoard
from coppermend.services.recording.editions import edition
from coppermend.services.recording.gather import CaseFacts, Judgement, gather
from coppermend.services.recording.html import record_html
from coppermend.services.recording.maps import AREA, Marks, board_map
from coppermend.services.recording.model import RecordView
from coppermend.services.records import _refuse_shortened, lacking_letters, moment_of, record_pdf_of
from coppermend.services.workshop import Workshop

QUIET = replace(sample.state("Machine"), areas=(), readings=(), wires=(), notes=(), power_ups=())
CASE_ID = "01a2174b-dc37-74a1-8c59-0123456789ab"
HASH = "0123456789abcdef" * 4


def act(at: int, kind: str, **other: Any) -> log.Act:
    made = log.Act(f"a{at}", at, kind, "", (), "", "", None, False, "", "2026-11-20T10:00:00Z")
    return replace(made, **other)


def record(state: log.CaseState, reader: str = "owner", parts: tuple[str, ...] = ()) -> RecordView:
    facts = CaseFacts(1, 76, HASH, "2026-11-20T12:05:00.000Z")
    return edition(gather(state, facts, sample.board(), sample.graph(), Judgement()), reader, parts)


def look(at: int = 30, **other: Any) -> log.Act:
    return act(at, "look", points=(sample.point("U9.4/joint-s", 38, 40),), finding="cracked joint", seen=True, **other)


def test_what_was_seen_is_what_was_wrong() -> None:
    cell = log.Area("a2", 1, ((70, 5), (95, 5), (95, 20)), "corrosion", 1, "under the cell", "", None)
    leaked = act(2, "remove", part="BT1", words="leaked; green crust")
    view = record(replace(QUIET, acts=(leaked, look()), areas=(cell,)))
    assert view.wrong == (
        "A cell has leaked and attacked the board: under the cell.",
        "BT1 was taken out: leaked; green crust.",
        "Seen: a cracked solder joint at U9.4.",
    )
    assert "Seen and not mended yet: a cracked solder joint at U9.4." in view.still_open


def test_what_was_soldered_since_is_not_left_over() -> None:
    soldered = act(31, "solder", points=(sample.point("U9.4/joint-s", 38, 40),), soldering=True)
    view = record(replace(QUIET, acts=(look(), soldered)))
    assert "Seen: a cracked solder joint at U9.4." in view.wrong
    assert not [one for one in view.still_open if "cracked" in one]


def test_a_finding_stands_on_the_map_of_its_side_with_its_entrys_number() -> None:
    view = record(replace(QUIET, acts=(look(),)), "technician")
    drawn = {one.name: one.svg for one in view.maps}
    assert drawn["map-s"].count('class="seen"') == 1 and ">31</text>" in drawn["map-s"]
    assert "seen here (number of its entry)" in drawn["map-s"]
    assert 'class="seen"' not in drawn["map-c"]


def test_labels_of_areas_round_one_part_stand_apart_and_inside() -> None:
    """Half a height a letter: about the mean width of a serif face (from memory)."""
    ring = ((30.0, 20.0), (50.0, 20.0), (50.0, 28.0), (30.0, 28.0))
    words = ["the processor's socket, changed before", "zone " + "W" * 400, "U9 rework", "U9 rework"]
    svg, _ = board_map(sample.board(), "c", Marks(areas=tuple((ring, one) for one in words)), "m")
    text = rf'<text x="([\d.-]+)" y="([\d.-]+)" font-size="([\d.]+)" fill="{AREA}" text-anchor="start">([^<]*)<'
    boxes = [(float(x), float(y) - float(h), float(x) + 0.5 * float(h) * len(said), float(y)) for x, y, h, said in re.findall(text, svg)]  # fmt: skip
    assert len(boxes) == 4
    wide, high = (float(one) for one in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
    assert all(b[0] >= 0 and b[1] >= 0 and b[2] <= wide and b[3] <= high for b in boxes)
    assert not any(a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3] for a, b in combinations(boxes, 2))


def photo(at: int, words: str = "", sha256: str = "aa") -> log.Photo:
    return log.Photo(f"p{at}", at, sha256, "image/png", 9, "x.png", words, "c", "2026-11-20T10:00:00Z")


@pytest.mark.parametrize(
    ("shown", "moment"),
    [
        (photo(9, "intake: condition", "cc"), "on arrival"),
        (photo(9, "arrival, lid off"), "on arrival"),
        (photo(9, "before the repair"), "before the repair"),
        (photo(3), "before the repair"),
        (photo(9), "during the repair"),
        (photo(21), "after the repair"),
    ],
)
def test_a_photo_of_the_arrival_is_never_after_the_repair(shown: log.Photo, moment: str) -> None:
    told = log.IntakeNote("i", 8, "condition", "dusty", None, None, "", (), ("cc",), "2026-11-20T10:00:00Z")
    state = replace(QUIET, acts=(act(5, "remove", part="BT1"), act(20, "fit", part="BT1")), intake=(told,))
    assert moment_of(state, shown) == moment


def test_a_sentence_ends_with_one_full_stop() -> None:
    still = log.Note("n", 3, "symptom", "", "", "Black screen, no sound, power light on.", "")
    view = record(replace(QUIET, notes=(still,)))
    assert "Still seen: Black screen, no sound, power light on." in view.still_open


def test_a_machine_is_not_simply_ready_while_it_waits_or_fails() -> None:
    waits = log.Wait("w", 3, "part", "EPROM", "", "", "2026-11-20T10:00:00Z")
    fails = log.Note("n", 4, "test", "sound", "fails", "", "")
    ready = replace(QUIET, waits=(waits,), notes=(fails,), progress="ready")
    said = record(ready).heading.progress.split("; ")
    assert said[:3] == ["ready", "it still waits for part: EPROM", "does not work: sound"]
    assert record(replace(ready, progress="waiting")).heading.progress == "waiting"


@pytest.mark.parametrize("parts", [(), ("wires", "readings")])
def test_every_link_within_the_page_leads_somewhere(parts: tuple[str, ...]) -> None:
    page = record_html(record(sample.state(), "owner", parts))
    ids = set(re.findall(r'\bid="([^"]+)"', page))
    links = re.findall(r'href="#([^"]+)"', page)
    assert "record" in links and set(links) <= ids


def test_letters_without_a_font_stand_as_their_numbers_and_ids_copy_as_they_are() -> None:
    """U+10FFFC is for private use (Unicode, chapter 23.5): no font here gives it a shape; Cyrillic is in the record's own font."""
    odd = "\U0010fffc"
    state = replace(QUIET, owner=f"Пётр Müller {odd}\u202exyz", case=CASE_ID)
    view = replace(record(state), maps=())
    setter = TypstTypesetter()
    assert setter.lacking("Пётр Müller α→°Ω 40 µm " + odd) == (odd,)
    assert lacking_letters(view, setter) == (odd,)
    pages = pypdfium2.PdfDocument(record_pdf_of(view, setter))
    text = "".join(pages[i].get_textpage().get_text_range() for i in range(len(pages)))
    assert "Пётр Müller [U+10FFFC][right-to-left" in re.sub(r"\s+", " ", text)
    assert HASH in text and text.count(CASE_ID) == 2
    assert "stand as their Unicode numbers: U+10FFFC." in re.sub(r"\s+", " ", text)
    assert "\u202e" not in record_html(view)


def test_a_label_shows_the_number_of_a_letter_without_a_font() -> None:
    made = Label("Machine", "A\U0010fffcB", 7, CASE_ID, "2026-11-20", (2026, 11, 20, 12, 5, 0), "code")
    page = pypdfium2.PdfDocument(label_pdf(made, TypstTypesetter(), qr.rows))[0]
    assert "Serial A[U+10FFFC]B" in re.sub(r"\s+", " ", page.get_textpage().get_text_range())


def test_a_record_of_a_shortened_log_is_refused() -> None:
    store = SimpleNamespace(heads_of=lambda cases: (SimpleNamespace(head=SimpleNamespace(entries=10)),))
    workshop = cast(Workshop, SimpleNamespace(store=store))
    _refuse_shortened(workshop, CASE_ID, 10)
    with pytest.raises(Refusal, match="counted 10, the log holds 9"):
        _refuse_shortened(workshop, CASE_ID, 9)


def test_each_stretch_has_the_parts_that_it_had(monkeypatch: pytest.MonkeyPatch) -> None:
    """Today U1 is out; before entry 5 it was in, before entry 9 it is out already: one other board is reckoned, and that once."""
    inside, out = (("U1", "socketed"),), (("U1", "out"),)
    case = bind_state(replace(QUIET, part_states=out), sample.board(), sample.graph())
    before = replace(case, state=replace(QUIET, part_states=inside))
    monkeypatch.setattr(suspectcourse, "bind_state", lambda state, *_: replace(case, state=state))
    built: list[log.CaseState] = []

    def build(then: Binding) -> PoweredBoard:
        built.append(then.state)
        return cast(PoweredBoard, then.state.part_states)

    found = suspectcourse._boards({3: before, 5: before, 9: case}, case, cast(PoweredBoard, out), build)
    assert {cut: cast(object, board) for cut, (_, board) in found.items()} == {3: inside, 5: inside}
    assert [one.part_states for one in built] == [inside]
