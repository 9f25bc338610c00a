"""Exported cases made by somebody who means harm: right checksums, wrong contents. Each is refused in words and nothing of it is taken in."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.copper_boards import board, pad, part, track
from tests.fakes import CountingIds, fake_workshop

from coppermend.core.copper.build import build_graph
from coppermend.core.findings import Refusal
from coppermend.core.log.model import NO_PREV
from coppermend.services.bundles import export_case, import_case
from coppermend.services.cases import new_case
from coppermend.services.workshop import Workshop

CASE = "01900000-0000-7000-8000-000000000001"
WHEN = "2026-03-01T09:00:00.000Z"


def bench() -> Workshop:
    lands = [pad(0, 0, 1.6), pad(20, 0, 1.6)]
    made = board(
        {"c": lands, "s": [*lands, *track(0.3, (0, 0), (20, 0))]},
        [(0, 0, 0.8), (20, 0, 0.8)],
        [part("U1", "c", [("1", 0, 0, 0)]), part("U2", "c", [("1", 20, 0, 1)])],
    )
    return fake_workshop(made, build_graph(made))


def entries(*acts: tuple[str, Any], **fields: Any) -> list[str]:
    """Lines of a log with a whole chain, as another program would write them."""
    ids, lines, prev = CountingIds(900), [], NO_PREV
    case = fields.get("case", ids.new())
    for seq, (kind, payload) in enumerate((("case", {"title": "M"}), *acts), 1):
        entry = {
            "id": ids.new(), "case": case, "bench": "b", "bench_seq": seq, "lamport": seq, "prev": prev, "observed_at": WHEN,
            "recorded_at": WHEN, "author": "x", "kind": kind, "v": 1, "payload": payload, "undoes": None, **fields,
        }  # fmt: skip
        lines.append(json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False))
        prev = hashlib.sha256(lines[-1].encode("utf-8", "surrogatepass")).hexdigest()
    return lines


def listed(members: dict[str, bytes]) -> bytes:
    return "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in members.items()).encode()


def bundle(lines: list[str], **more: bytes) -> bytes:
    """A bag as docs/reference/bundle.md describes it, made by nothing of ours."""
    case = json.loads(lines[0])["case"] if lines and lines[0].startswith('{"author') else CASE
    payload = {f"data/cases/{case}/log.jsonl": "\n".join(lines).encode("utf-8", "surrogatepass"), **more}
    tags = {
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": b"Coppermend-Bundle: 1\n",
        "read-me.txt": b"",
        "manifest-sha256.txt": listed(payload),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, data in {**payload, **tags, "tagmanifest-sha256.txt": listed(tags)}.items():
            file.writestr(name, data)
    return out.getvalue()


def test_a_log_written_by_another_program_is_taken_in() -> None:
    """The form is open: what this test writes by itself, with whole numbers only, hashes as the RFC says."""
    made = bench()
    answer = import_case(made, bundle(entries(("remark", {"words": "Grüße, 作業台"}))))
    assert (answer.new, answer.entries) == (2, 2)


def test_a_file_that_is_not_the_listed_one_is_refused() -> None:
    """The zip is whole and the list is complete; one SHA-256 in it is that of other bytes."""
    made, sha256 = bench(), hashlib.sha256(b"a picture").hexdigest()
    photo = {f"data/attachments/{sha256}": b"a picture"}
    lines = entries(("photo", {"sha256": sha256, "media": "image/png", "bytes": 9}))
    good, bad = bundle(lines, **photo), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(bad, "w") as new:
        for name in old.namelist():
            new.writestr(name, b"A PICTURE" if name in photo else old.read(name))
    with pytest.raises(Refusal, match="BUN-003"):
        import_case(made, bad.getvalue())
    assert made.store.heads() == () and import_case(made, good).new == 2
    assert made.store.attachment(sha256) == b"a picture"


DEEP = '{"words":' + "[" * 5000 + "]" * 5000 + "}"


@pytest.mark.parametrize(
    "lines",
    [
        entries(("remark", {"words": "\ud800"})),
        entries(("remark", {"words": float("nan")})),
        entries(("remark", {"words": "x", "site": "run@c:1,2>3,4"})),
        entries(("area", {"polygon": [[0, 0], [1, float("inf")], [1, 1]], "kind": "rework", "severity": 2})),
        entries(("closed", {"points": [{"id": "U1.1/leg"}, {"id": "U2.1/leg"}]})),
        entries(("remove", {"part": "U1", "state": "<script>"})),
        entries(("basis", {"name": "priors", "sha256": "0" * 64, "values": {"false_open": "often"}})),
        entries(("basis", {"name": "priors", "sha256": "0" * 64, "values": {"prior_in": [1]}})),
        entries(("basis", {"name": "costs", "sha256": "0" * 64, "values": {"read_s": -1}})),
        entries(("hologram", {})),
        entries(("photo", {"sha256": "1" * 64, "media": "image/png", "bytes": 4})),
        entries(case="../../../etc/passwd"),
        entries(id="x"),
        entries(v=0),
        [entries(("remark", {"words": "x"}))[0], entries(("remark", {"words": "x"}))[1].replace('{"words":"x"}', DEEP)],
        ["[]"],
        ["{"],
        [],
    ],
    ids=lambda lines: lines[-1][:60] if lines else "empty",
)
def test_what_no_bench_could_have_written_is_refused(lines: list[str]) -> None:
    made = bench()
    with pytest.raises(Refusal) as refusal:
        import_case(made, bundle(lines))
    assert refusal.value.finding.remedy and made.store.heads() == ()


@given(st.data())
def test_no_change_of_bytes_gets_through_unseen(data: st.DataObject) -> None:
    """Whatever is changed in an exported file: either it is refused, or what is taken in is what was exported."""
    made = bench()
    case = new_case(made, "by hand", "M").state.case
    whole = export_case(made, case)
    at = data.draw(st.integers(0, len(whole) - 1))
    changed = whole[:at] + bytes([whole[at] ^ data.draw(st.integers(1, 255))]) + whole[at + 1 :]
    other = bench()
    try:
        import_case(other, changed)
    except Refusal:
        assert other.store.heads() == ()
    else:
        assert [one.body() for one in other.store.entries(case)] == [one.body() for one in made.store.entries(case)]
