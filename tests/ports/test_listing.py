"""One behaviour suite for lists and searches: the fake in memory, which says plainly what has to come out, SQLite and PostgreSQL.

The oracle of every head is the whole log (``head_of``), that of every search the fake's walk over all entries.
"""

from __future__ import annotations

import contextlib
import random
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import event
from tests.fakes import MemoryStore
from tests.three_machines import IDS, machines, point, say

from coppermend.adapters.storage.postgres import PostgresStore
from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.core.findings import Refusal
from coppermend.core.log.fold import fold
from coppermend.core.log.model import Entry
from coppermend.core.log.terms import asked_terms
from coppermend.services.acceptance import acceptance
from coppermend.services.heads import head_of
from coppermend.services.ports import CaseStore, Wanted

Make = Callable[[str], CaseStore]


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Make]:
    """Makes stores by bench name, each with its own place."""
    with contextlib.ExitStack() as opened:

        def shared(bench: str) -> CaseStore:
            shop = request.getfixturevalue("shop")
            return opened.enter_context(contextlib.closing(PostgresStore(shop.url(shop.new_database()), bench)))

        kinds: dict[str, Make] = {
            "memory": MemoryStore,
            "postgresql": shared,
            "sqlite": lambda bench: opened.enter_context(contextlib.closing(SqliteStore(str(tmp_path / bench), bench))),
        }
        yield kinds[request.param]


def found(store: CaseStore, words: str = "", **wanted: object) -> list[int]:
    return [one.number for one in store.find(Wanted(asked_terms(words), **wanted)).cases]  # type: ignore[arg-type]


SAID = (
        ("quillmere", [3, 1]), ("QUILLMERE screen", [1]), ("larkenfell garbage", [2]), ("E031234", [1]), ("E0", [2, 1]), ("muller", [1]), ("Müller", [1]),
        ("u1", [2]), ("U10", [1]), ("u1*", [2, 1]), ("U1.8", [2]), ("d3:open", [2]), ("u1:open", [2]), ("D3 open screen", [2]), ("reset", [2]), ("/RESET", [2]), ("4,7", [2]),
        ("4700", [2]), ("ohms", [2]), ("u10 exchanged", []), ("swapped c7", [1]), ("jorg", [3, 2, 1]), ("2026-03-01", [3, 2, 1]), ("nobody said this", []), ("quill*", [3, 1]),
)  # fmt: skip
"""Words of a question, and the numbers of the cases that say all of them."""


def test_a_case_is_found_by_what_was_said_of_it(make: Make) -> None:
    store = make("a")
    machines(store)
    assert {words: found(store, words) for words, _ in SAID} == dict(SAID)


def test_the_entry_that_says_most_of_what_was_searched_for_is_shown(make: Make) -> None:
    store = make("a")
    machines(store)
    (one,) = store.find(Wanted(asked_terms("larkenfell d3 open"))).cases
    assert one.hit is not None and one.hit.kind == "open" and one.hit.payload["raw"] == "o"
    assert [one.hit for one in store.find(Wanted()).cases] == [None] * 3


def test_the_shown_entry_is_the_first_to_say_a_word(make: Make) -> None:
    """One that says all, but none of them first, is not looked for: a search reads a few entries a case, not its log."""
    store = make("a")
    case = IDS.new()
    say(store, case, "case", title="M")
    for words in ("cleaned", "soaked", "cleaned and soaked"):
        say(store, case, "remark", words=words)
    (one,) = store.find(Wanted(asked_terms("soaked cleaned"))).cases
    assert one.hit is not None and one.hit.payload == {"words": "cleaned"}


def test_filters_orders_and_pages(make: Make) -> None:
    store = make("a")
    ids = machines(store)
    assert found(store) == [3, 2, 1] and found(store, order="last") == [2, 1, 3]
    assert found(store, states=("returned",)) == [1] and found(store, states=("on the bench", "returned")) == [3, 2, 1]
    assert found(store, waits=False) == [3, 2, 1] and found(store, package_id="b" * 64) == [2]
    assert found(store, since="2026-03-01T09:11") == [2] and found(store, since="2027") == []
    assert found(store, "quillmere", states=("returned",)) == [1]
    for order in ("number", "last"):
        for words in ("", "jorg"):
            pages, after = [], None
            while True:
                page = store.find(Wanted(asked_terms(words), order=order, after=after, limit=1))
                pages += [one.number for one in page.cases]
                after = (page.cases[-1].number, page.cases[-1].head.last_at)
                if not page.more:
                    break
            assert pages == found(store, words, order=order), (order, words)
    assert dict(store.states()) == {"on the bench": 2, "returned": 1}
    say(store, ids[2], "progress", state="waiting")
    assert dict(store.states()) == {"on the bench": 1, "returned": 1, "waiting": 1}


def test_hours_parts_and_wires_come_from_the_log(make: Make) -> None:
    store = make("a")
    first, second, _ = machines(store)
    say(store, second, "patch", minute=40, points=[point("U1", "8", "D3"), point("U7", "3", "D3")])
    heads = {one.id: one.head for one in store.heads()}
    assert heads[first].parts == ("U10 exchanged with C7",) and heads[first].worked_s == 600.0
    assert heads[second].wires == 1 and heads[second].worked_s == 720.0, "a gap of 28 minutes is no work"


def test_what_a_case_waits_for_stands_in_its_head_until_it_is_over(make: Make) -> None:
    store = make("a")
    first, second, _ = machines(store)
    part = say(store, first, "waits", what="part", words="a 6502", until="2026-04-01")
    say(store, first, "waits", what="owner", words="may the mask be scraped?")
    say(store, second, "waits", what="case", words="case 1", case=first)
    assert [(one.number, one.head.waits) for one in store.find(Wanted(waits=True)).cases] == [
        (2, "case 1"), (1, "part: a 6502, until 2026-04-01; owner: may the mask be scraped?"),
    ]  # fmt: skip
    over = say(store, first, "waited", entry=part.id)
    assert store.heads_of([first])[0].head.waits == "owner: may the mask be scraped?"
    say(store, first, "undo", undoes=over.id)
    assert store.heads_of([first])[0].head.waits.startswith("part: a 6502") and store.check() == ()


def test_what_does_not_work_stands_in_the_head_until_a_test_or_a_repair(make: Make) -> None:
    """The checklist, folded from the whole log, says the same (``services/acceptance.py``)."""
    store = make("a")
    case, *_ = machines(store)

    def fails() -> tuple[str, ...]:
        found = store.heads_of([case])[0].head.fails
        rows = acceptance(fold(store.entries(case)), None).functions
        assert {one.casefold() for one in found} == {one.name.casefold() for one in rows if one.result == "fails"}
        return found

    say(store, case, "test", item="video", result="fails")
    say(store, case, "test", item="Tape drive", result="fails")
    say(store, case, "test", item="keyboard", result="works")
    assert fails() == ("video", "Tape drive")
    works = say(store, case, "test", item="VIDEO ", result="works")
    assert fails() == ("Tape drive",)
    say(store, case, "undo", undoes=works.id)
    assert fails() == ("video", "Tape drive")
    say(store, case, "reseat", part="U4", trial=True)
    say(store, case, "look", part="U4")
    assert fails() == ("video", "Tape drive"), "what was put back changed nothing"
    cleaned = say(store, case, "clean", points=[point("U1", "8", "D3")])
    assert fails() == (), "tested before the last repair: not tested"
    say(store, case, "test", item="tape  drive", result="not tested")
    say(store, case, "undo", undoes=cleaned.id)
    assert fails() == ("video",)
    for kind, payload in (
        ("patch", {"points": [point("U1", "8", "D3"), point("U7", "3", "D3")]}),
        ("cut", {"x_mm": 1.0, "y_mm": 2.0, "side": "c"}),
        ("solder", {"points": [point("U1", "8", "D3")]}),
        ("swap", {"part": "U10"}),
        ("remove", {"part": "U10", "state": "out"}),
    ):
        done = say(store, case, kind, **payload)
        assert fails() == (), kind
        say(store, case, "undo", undoes=done.id)
        assert fails() == ("video",), kind
    assert store.check() == ()


def test_taking_back_keeps_the_head_right(make: Make) -> None:
    store = make("a")
    first, *_ = machines(store)
    (before,) = store.heads_of([first])
    assert before.head.state == "returned"
    returned = store.entries(first)[-1]
    undo = say(store, first, "undo", undoes=returned.id)
    (head,) = store.heads_of([first])
    assert head.head.state == "on the bench" and head.head.last_words == "taken back: progress: returned"
    say(store, first, "undo", undoes=undo.id)
    (head,) = store.heads_of([first])
    assert head.head.state == "returned" and head.head.entries == 6
    assert head.head == head_of(store.entries(first)) and store.check() == ()
    assert found(store, "u10") == [1], "what was said stays said"


KINDS = ("remark", "progress", "swap", "patch", "closed", "practice", "undo", "board", "test", "clean")


def grown_log(store: CaseStore, case: str, dice: random.Random, count: int) -> None:
    """Entries of many kinds, one in five takes an earlier one back."""
    for _ in range(count):
        kind = dice.choice(KINDS)
        undoes = dice.choice(store.entries(case)[1:] or store.entries(case)).id if kind == "undo" else None
        payload: dict[str, object] = {
            "remark": {"words": dice.choice(("cleaned", "ordered", "soaked"))},
            "progress": {"state": dice.choice(("waiting", "ready"))},
            "swap": {"part": f"U{dice.randrange(5)}"},
            "patch": {"points": [point("U1", "1", "A0"), point("U2", "2", "A0")]},
            "closed": {"points": [point("U3", "1", "A1"), point("U4", "2", "A1")], "raw": "c"},
            "practice": {"patient": {"breaks": ["secret"]}},
            "board": {"package": "p", "package_id": "c" * 64},
            "test": {"item": dice.choice(("video", "sound")), "result": dice.choice(("works", "fails"))},
            "clean": {"part": "U1", "trial": dice.choice((True, False))},
            "undo": {},
        }[kind]
        say(store, case, kind, undoes, dice.randrange(90), **payload)


@pytest.mark.parametrize("seed", range(3))
def test_heads_and_terms_grow_as_the_whole_log_says(make: Make, seed: int) -> None:
    """Also after a merge, which puts entries between those that are here."""
    dice = random.Random(seed)
    a, b, memory = make("a"), make("b"), MemoryStore("m")
    case = IDS.new()
    say(a, case, "case", title="Machine")
    b.absorb(a.entries(case))
    for store in (a, b):
        grown_log(store, case, dice, 12)
    assert a.absorb(b.entries(case)) == 12
    grown_log(a, case, dice, 4)
    memory.absorb(a.entries(case))
    assert a.heads() == memory.heads() and a.check() == ()
    for words in ("secret", "u3", "a1", "cleaned", "ready", "u*", "so", "u2.2 waiting"):
        assert a.find(Wanted(asked_terms(words))) == memory.find(Wanted(asked_terms(words))), words


@pytest.mark.parametrize("table", ["heads", "terms"])
def test_a_damaged_page_of_the_list_leaves_list_and_search(tmp_path: Path, table: str) -> None:
    """Every leaf page of the table overwritten (dbstat names them): the same cases are found as before, from the logs."""
    with contextlib.closing(SqliteStore(str(tmp_path / "s"), "a")) as store:
        machines(store)
    database = tmp_path / "s" / "coppermend.db"
    with contextlib.closing(sqlite3.connect(database)) as line:
        line.execute("PRAGMA journal_mode=DELETE")
        (size,) = line.execute("PRAGMA page_size").fetchone()
        roots = [root for (root,) in line.execute("SELECT rootpage FROM sqlite_schema WHERE tbl_name = ?", (table,))]
    data = bytearray(database.read_bytes())
    for page in roots:
        data[(page - 1) * size : page * size] = b"\xa5" * size
    with contextlib.closing(SqliteStore(str(tmp_path / "s"), "a")) as store:
        whole = {words: found(store, words) for words, _ in SAID} | {"": found(store, order="last")}
        rows, counted = store.heads(), dict(store.states())
    database.write_bytes(bytes(data))
    with contextlib.closing(SqliteStore(str(tmp_path / "s"), "a")) as store:
        assert {words: found(store, words) for words, _ in SAID} | {"": found(store, order="last")} == whole
        assert store.find(Wanted(asked_terms("larkenfell"))).from_logs
        assert store.heads() == rows and dict(store.states()) == counted
        assert store.heads_of([rows[1].id]) == rows[1:2]
        first = store.find(Wanted(limit=2))
        assert [one.number for one in first.cases] == [3, 2] and first.more
        assert [one.number for one in store.find(Wanted(after=(2, ""), limit=2)).cases] == [1]


def test_what_a_patient_keeps_to_itself_is_not_found(make: Make) -> None:
    store = make("a")
    case = IDS.new()
    say(store, case, "case", title="M")
    say(store, case, "practice", patient={"breaks": ["run@12345"]})
    assert found(store, "run") == [] and found(store, "12345") == [] and store.heads()[0].head.practice


def test_a_long_beginning_says_that_it_was_cut(make: Make) -> None:
    store = make("a")
    case = IDS.new()
    say(store, case, "case", title="M")
    for number in range(70):
        say(store, case, "remark", words=f"part{number:02}")
    page = store.find(Wanted(("part",)))
    assert page.cut == ("part",) and [one.number for one in page.cases] == [1]
    assert store.find(Wanted(("part6",))).cut == ()


def test_a_log_of_a_newer_coppermend_has_a_head_too(make: Make) -> None:
    """What cannot be folded here is not lost here either: it stands in the list under its kind's name."""
    a, b = make("a"), make("b")
    case = IDS.new()
    say(a, case, "case", title="M")
    log = a.entries(case)
    when = "2026-03-01T09:00:00.000Z"
    new = Entry(
        IDS.new(),
        case,
        "a",
        2,
        2,
        log[0].sha256(),
        when,
        when,
        "me",
        "hologram",
        7,
        {"words": {"deep": ["shimmer", 4.25]}},
    )
    b.absorb([*log, new])
    assert (
        b.heads()[0].head.last_words.startswith("hologram")
        and found(b, "shimmer") == [1]
        and found(b, "hologram 4.25") == [1]
    )


def test_no_question_reads_a_whole_table_of_entries_or_terms(tmp_path: Path) -> None:
    """SQLite says how it looks things up (eqp.html): SEARCH by an index, SCAN the whole table."""
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        ids = machines(store)
        asked: list[tuple[str, object]] = []
        event.listen(store.engine, "before_cursor_execute", lambda *said: asked.append((said[2], said[3])))
        store.find(Wanted(asked_terms("jorg screen e0 u*"), states=("returned",), after=(9, "")))
        store.find(Wanted(asked_terms("jorg"), order="last", after=(9, "2027")))
        store.states()
        say(store, ids[0], "remark", words="one more")
        plans = [
            f"{row[3]} in {statement}"
            for statement, values in asked
            if statement.startswith(("SELECT", "WITH"))
            for row in sqlite3.connect(tmp_path / "coppermend.db").execute(f"EXPLAIN QUERY PLAN {statement}", values)
        ]
        assert len(plans) > 12 and any("SEARCH entries" in one for one in plans)
        assert [one for one in plans if one.startswith(("SCAN entries", "SCAN terms", "SCAN said"))] == []


# ---- damage, on SQLite -------------------------------------------------------------------------------------------------------------


def spoilt(folder: Path, *statements: str) -> None:
    with contextlib.closing(sqlite3.connect(folder / "coppermend.db")) as line:
        for one in statements:
            line.execute(one)
        line.commit()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE heads SET state = 'ready' WHERE number = 2",
        "UPDATE heads SET body = replace(body, 'Larkenfell', 'Larkinfell')",
        "UPDATE heads SET body = '{' WHERE number = 1",
        "DELETE FROM heads WHERE number = 3",
        "DELETE FROM terms WHERE term = 'd3:open'",
        "UPDATE terms SET lamport = 1 WHERE term = 'd3:open'",
    ],
)
def test_a_list_that_does_not_say_what_the_logs_say_is_found_and_made_anew(tmp_path: Path, statement: str) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        machines(store)
        heads = store.heads()
        spoilt(tmp_path, statement)
        assert {one.code for one in store.check()} == {"STO-019"}
        assert len(store.heads()) in (2, 3) and store.find(Wanted()).cases, "the others are not its fault"
        assert store.rebuild() == 3
        assert store.check() == () and store.heads() == heads and found(store, "d3:open") == [2]


def test_an_entry_of_a_case_whose_line_is_missing_brings_it_back(tmp_path: Path) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        first, *_ = machines(store)
        spoilt(tmp_path, "DELETE FROM heads", "DELETE FROM terms")
        say(store, first, "remark", words="it goes on")
        assert [one.head.title for one in store.heads()] == ["Quillmere II"] and found(store, "e031234") == [1]


def test_entries_that_an_older_program_wrote_beside_this_one_are_taken_up_with_the_next(tmp_path: Path) -> None:
    """Version 2 knew no heads: its row alone is put in, as it did."""
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        first, *_ = machines(store)
        head, terms = (
            sqlite3.connect(tmp_path / "coppermend.db").execute(f"SELECT * FROM {name}").fetchall()
            for name in ("heads", "terms")
        )
        say(store, first, "progress", state="waiting")
        with contextlib.closing(sqlite3.connect(tmp_path / "coppermend.db")) as line:
            for name, rows in (("heads", head), ("terms", terms)):
                line.execute(f"DELETE FROM {name}")
                line.executemany(f"INSERT INTO {name} VALUES ({', '.join('?' * len(rows[0]))})", rows)
            line.commit()
        assert store.heads()[0].head.state == "returned" and {one.code for one in store.check()} == {"STO-019"}
        say(store, first, "remark", words="it goes on")
        assert store.heads()[0].head.state == "waiting" and store.check() == ()


def test_a_damaged_table_of_heads_leaves_the_list_readable(tmp_path: Path) -> None:
    """The page is overwritten on disk; titles then come from the logs, and the check says so."""
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        machines(store)
    with contextlib.closing(sqlite3.connect(tmp_path / "coppermend.db")) as line:
        line.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = line.execute("PRAGMA page_size").fetchone()[0]
        roots = dict(line.execute("SELECT name, rootpage FROM sqlite_schema").fetchall())
    data = bytearray((tmp_path / "coppermend.db").read_bytes())
    for name in ("heads", "terms"):
        data[(roots[name] - 1) * size : roots[name] * size] = b"\xa5" * size
    (tmp_path / "coppermend.db").write_bytes(bytes(data))
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        assert [one.head.title for one in store.heads()] == ["Quillmere II", "Larkenfell 64", "Quillmere Plus"]
        said = [(one.code, one.words) for one in store.check()]
        assert {code for code, _ in said} == {"STO-013", "STO-019"}
        assert any(f"page {roots['heads']} of the table heads" in words for _, words in said), said
        assert found(store, "quillmere") == [3, 1] and store.find(Wanted(asked_terms("quillmere"))).from_logs


def test_an_acknowledged_entry_that_is_gone_is_missed_and_the_list_does_not_forget_it(tmp_path: Path) -> None:
    """The chain of a bench cannot tell that its last entry is gone; the line in the list was written with it."""
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        case, *_ = machines(store)
        kept = store.entries(case)
        say(store, case, "remark", words="the last that was said")
        everything = store.entries(case)
        spoilt(tmp_path, f"DELETE FROM entries WHERE id = '{everything[-1].id}'")
        (one,) = store.check()
        assert one.code == "STO-043" and f"counted {len(everything)}" in one.words
        assert "the last that was said" in one.words
        for act in (store.rebuild, lambda: say(store, case, "remark", words="one more")):
            with pytest.raises(Refusal, match="STO-043"):
                act()
        assert store.entries(case) == kept
        assert store.absorb(everything) == 1
        assert store.check() == () and store.rebuild() == 3


def test_a_lost_entry_can_be_given_up(tmp_path: Path) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        case, *_ = machines(store)
        spoilt(tmp_path, f"DELETE FROM entries WHERE id = '{store.entries(case)[-1].id}'")
        assert store.rebuild(give_up_lost=True) == 3
        assert store.check() == ()


def test_a_log_with_a_changed_entry_is_not_read_as_if_it_were_whole(tmp_path: Path) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path), "a")) as store:
        first, second, *_ = machines(store)
        spoilt(tmp_path, "UPDATE entries SET body = replace(body, 'returned', 'reburned')")
        with pytest.raises(Refusal, match="STO-017"):
            store.entries(first)
        assert store.entries(second), "the others are not its fault"
