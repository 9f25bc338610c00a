"""One behaviour suite for every CaseStore: the fake in memory, SQLite, PostgreSQL. What the services rely on is asked of all."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.fakes import CountingIds, MemoryStore

from coppermend.adapters.storage.postgres import PostgresStore
from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.core.findings import Refusal
from coppermend.core.log.fold import fold
from coppermend.core.log.model import NO_PREV, Draft, Entry, entry_from_dict
from coppermend.services.ports import CaseStore

IDS = CountingIds(10_000)
Make = Callable[[str], CaseStore]


@pytest.fixture(params=["memory", "sqlite folder", "sqlite file", "postgresql"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Make]:
    """Makes stores by bench name, each with its own place."""
    with contextlib.ExitStack() as opened_here:

        def shared(bench: str) -> CaseStore:
            shop = request.getfixturevalue("shop")
            return opened_here.enter_context(contextlib.closing(PostgresStore(shop.url(shop.new_database()), bench)))

        kinds: dict[str, Make] = {
            "memory": MemoryStore,
            "postgresql": shared,
            "sqlite folder": lambda bench: SqliteStore(str(tmp_path / f"Werkstatt Süd 50% #1 {bench} 作業台"), bench),
            "sqlite file": lambda bench: SqliteStore(str(tmp_path / f"{bench}.db"), bench),
        }
        yield kinds[request.param]


def draft(store: CaseStore, case: str, kind: str = "remark", undoes: str | None = None, **payload: object) -> Draft:
    filled = payload or ({"words": "a remark"} if kind == "remark" else {})
    return Draft(
        IDS.new(),
        case,
        store.bench,
        "2026-03-01T09:00:00.000Z",
        "2026-03-01T09:00:01.000Z",
        "me",
        kind,
        1,
        filled,
        undoes,
    )  # type: ignore[arg-type]


def opened(store: CaseStore, title: str = "Machine") -> str:
    case = IDS.new()
    store.append(draft(store, case, "case", title=title))
    return case


def test_entries_come_back_as_they_were_acknowledged(make: Make) -> None:
    store = make("a")
    case = opened(store)
    written = [store.append(draft(store, case, "remark", words=f"Ω ünïcode \n {i}")) for i in range(5)]
    read = store.entries(case)
    assert [one.body() for one in read[1:]] == [one.body() for one in written]
    assert [one.bench_seq for one in read] == [1, 2, 3, 4, 5, 6]
    assert [one.lamport for one in read] == [1, 2, 3, 4, 5, 6]


def test_each_entry_states_the_hash_of_the_one_before_it(make: Make) -> None:
    store = make("a")
    case = opened(store)
    for _ in range(3):
        store.append(draft(store, case))
    read = store.entries(case)
    assert [one.prev for one in read] == [NO_PREV, *(one.sha256() for one in read[:-1])]
    assert store.check() == ()


def test_a_draft_sent_again_is_written_once(make: Make) -> None:
    store = make("a")
    case = opened(store)
    wanted = draft(store, case)
    assert store.append(wanted) == store.append(wanted)
    assert len(store.entries(case)) == 2


def test_another_draft_under_a_used_id_is_refused(make: Make) -> None:
    store = make("a")
    case = opened(store)
    first = store.append(draft(store, case))
    other = Draft(
        **{**{name: getattr(first.draft(), name) for name in Draft.__slots__}, "payload": {"words": "something else"}}
    )
    with pytest.raises(Refusal, match="STO-030"):
        store.append(other)
    assert len(store.entries(case)) == 2


def test_a_payload_that_does_not_fit_its_kind_is_refused_and_nothing_is_written(make: Make) -> None:
    store = make("a")
    case = opened(store)
    with pytest.raises(Refusal, match="LOG-003"):
        store.append(draft(store, case, "closed", words="no points"))
    assert len(store.entries(case)) == 1


def test_cases_have_short_numbers_and_heads(make: Make) -> None:
    store = make("a")
    first, second = opened(store, "first"), opened(store, "second")
    store.append(draft(store, first, "board", package="p", package_id="0" * 64))
    heads = store.heads()
    assert [(one.number, one.id, one.entries, one.head.title) for one in heads] == [
        (1, first, 2, "first"),
        (2, second, 1, "second"),
    ]
    assert (heads[0].head.board, heads[0].head.last_kind, heads[1].head.board) == ("p", "board", "")
    assert (store.case_of(2), store.case_of(3), store.case_of(10**12)) == (second, "", "")
    assert store.heads_of([second, "no such case"]) == heads[1:]
    assert store.numbers() == ((1, first), (2, second))
    assert (store.number_of(first), store.number_of(second), store.number_of("no such case")) == (1, 2, 0)


def test_the_mark_changes_with_every_entry(make: Make) -> None:
    store = make("a")
    case = opened(store)
    marks = [store.mark(case)]
    for _ in range(3):
        store.append(draft(store, case))
        marks.append(store.mark(case))
    assert len(set(marks)) == 4


def test_two_benches_merge_into_one_agreed_order(make: Make) -> None:
    a, b = make("a"), make("b")
    case = opened(a)
    b.absorb(a.entries(case))
    for number in range(3):
        a.append(draft(a, case, words=f"a{number}"))
        b.append(draft(b, case, words=f"b{number}"))
    assert a.absorb(b.entries(case)) == 3
    assert b.absorb(a.entries(case)) == 3
    assert [one.body() for one in a.entries(case)] == [one.body() for one in b.entries(case)]
    assert fold(a.entries(case)).sha256() == fold(b.entries(case)).sha256()
    assert a.absorb(b.entries(case)) == 0
    after = a.append(draft(a, case, words="after the merge"))
    assert after.lamport == 5 and a.check() == () == b.check()


def changed(entry: Entry, **fields: object) -> Entry:
    return entry_from_dict(json.loads(json.dumps({**entry.as_dict(), **fields})))


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (lambda log: [*log[:2], changed(log[2], payload={"words": "forged"}), *log[3:]], "LOG-011"),
        (lambda log: [log[0], *log[2:]], "LOG-010"),
        (
            lambda log: [
                *log,
                changed(log[-1], id="01900000-0000-7000-8000-00000000ffff", payload={"words": "a fork"}),
            ],
            "STO-030",
        ),
    ],
    ids=["changed afterwards", "one missing", "two entries in one place"],
)
def test_a_log_that_is_not_whole_is_not_taken_in(
    make: Make, spoil: Callable[[list[Entry]], list[Entry]], code: str
) -> None:
    a, b = make("a"), make("b")
    case = opened(a)
    for _ in range(3):
        a.append(draft(a, case))
    with pytest.raises(Refusal) as refusal:
        b.absorb(spoil(list(a.entries(case))))
    assert refusal.value.finding.code in (code, "LOG-010")
    assert b.entries(case) == () and b.heads() == ()


def test_attachments_are_kept_by_their_hash(make: Make) -> None:
    store = make("a")
    # SHA-256 of "abc": FIPS 180-4 / NIST example vectors
    name = store.attach(b"abc")
    assert name == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert store.attach(b"abc") == name and store.attachment(name) == b"abc"
    with pytest.raises(Refusal, match="STO-020"):
        store.attachment("0" * 64)


def test_a_photo_without_its_file_is_found_by_the_check(make: Make) -> None:
    store = make("a")
    case = opened(store)
    store.append(draft(store, case, "photo", sha256="1" * 64, media="image/png", bytes=3))
    assert [one.code for one in store.check()] == ["STO-020"]


def test_every_entry_that_keeps_a_file_is_checked_for_it(make: Make) -> None:
    store = make("a")
    case = opened(store)
    point = {"id": "U1.6/leg", "x_mm": 1.0, "y_mm": 2.0, "side": "c"}
    for kind, more in (
        ("wave", {"points": [point]}),
        ("heat", {"celsius": 41.0}),
        ("rom", {"part": "U5", "verdict": "right"}),
    ):
        store.append(draft(store, case, kind, sha256=kind.encode().hex().ljust(64, "0"), **more))
    kept = store.attach(b"a photo")
    store.append(draft(store, case, "photo", sha256=kept, media="image/png", bytes=7))
    assert [one.code for one in store.check()] == ["STO-020"] * 3
