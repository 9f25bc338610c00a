"""Every text field of every kind of entry with one nasty string, as a bundle from elsewhere can bring it: it stays text in the record.

What is defended against: OWASP ASVS 4.0.3, V5.3.3 and V5.3.6 (docs/explanation/asvs.md). The record is read by html5lib and pypdf, which are not ours.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import html5lib
import pytest
from pypdf import PdfReader
from tests.api.conftest import Client

from coppermend.core.log import kinds
from coppermend.core.log.model import Draft
from coppermend.services.cases import new_case
from coppermend.services.workshop import Workshop

NASTY = '"></td><img src=x onerror="window.hurt=1"><script>window.hurt=1</script><svg onload=window.hurt=1>'
LEFT_OUT = ("case", "board", "practice", "undo", "basis", *kinds.KEEPS_FILE)
"""``case`` and ``board`` open the case and are given below; the others hold no text that is shown, or name a file that must be there."""
POINT = {"id": "U1.1", "x_mm": 1.0, "y_mm": 1.0, "side": "c", "net": NASTY, "part": "U1", "pin": "1"}
WORDS = [one for name in dir(kinds) if name.isupper() for one in [getattr(kinds, name)] if isinstance(one, tuple)]
SAMPLES: list[Any] = [
    NASTY, [NASTY], [POINT], [POINT, POINT], [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]], {}, True, 1, "c", "works", 2, "done", "override",
    *(word for row in WORDS for word in row if isinstance(word, str)),
]  # fmt: skip
NAMES = {"part": "U1", "area": "", "rail": NASTY}
"""Fields that name a thing of the board: the nasty string goes in where any text may stand."""


def sample(name: str, test: kinds.Test) -> Any:
    """A value that the field takes; the nasty string where it takes any text."""
    if name in NAMES and test(NAMES[name]):
        return NAMES[name]
    return next(one for one in SAMPLES if test(one))


def nasty_entries(shop: Workshop, case: str) -> Iterator[str]:
    """Write one entry of every kind with every field that it may have; the kinds written."""
    for kind, spec in kinds.KINDS.items():
        if kind in LEFT_OUT:
            continue
        payload = {name: sample(name, test) for name, test in {**spec.may, **spec.must}.items()}
        now = shop.clock.now()
        shop.store.append(Draft(shop.ids.new(), case, shop.store.bench, now, now, NASTY, kind, spec.v, payload))
        yield kind


@pytest.fixture
def nasty_case(shop: Workshop) -> str:
    """A case in which everything that can be said was said nastily."""
    case = new_case(shop, "demo", NASTY, serial=NASTY, complaint=NASTY, owner=NASTY).state.case
    written = list(nasty_entries(shop, case))
    assert len(written) > 35
    return case


@pytest.mark.parametrize("who", ["technician", "owner"])
def test_the_record_holds_it_as_text_and_nothing_of_it_as_markup(client: Client, nasty_case: str, who: str) -> None:
    answer = client.get(f"/api/cases/{nasty_case}/record.html", params={"for": who})
    assert answer.status_code == 200, answer.text[:500]
    tree = html5lib.parse(answer.text, namespaceHTMLElements=False)
    assert [one.tag for one in tree.iter() if one.tag in ("script", "iframe", "object", "embed", "form")] == []
    hooks = [(one.tag, name) for one in tree.iter() for name in one.attrib if str(name).lower().startswith("on")]
    assert hooks == []
    assert [
        one.attrib.get("src", "")[:30] for one in tree.iter("img") if not one.attrib.get("src", "").startswith("data:")
    ] == []
    assert "".join(tree.itertext()).count("onerror=") >= 5
    if who == "owner":  # one PDF is enough: both are set from the same words
        return
    pdf = client.get(f"/api/cases/{nasty_case}/record.pdf", params={"for": who})
    assert pdf.status_code == 200, pdf.text[:500]
    assert "onerror" in "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf.content)).pages)
    assert not any(mark in pdf.content for mark in (b"/JavaScript", b"/JS ", b"/OpenAction", b"/Launch"))
