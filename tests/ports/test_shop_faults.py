"""A shop's store on a real PostgreSQL: eight benches on one case while the server crashes or hands over; nothing acknowledged is lost or doubled.

What is relied on: PostgreSQL's manual, "Asynchronous Commit", "synchronous_commit", "Synchronous Replication", "LISTEN", "pg_advisory_xact_lock".
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from threading import Barrier

import psycopg
import pytest
from tests.shop_server import ShopServer

from coppermend.adapters.storage import listening
from coppermend.adapters.storage.postgres import PostgresStore
from coppermend.adapters.storage.system import Uuid7Ids
from coppermend.core.findings import Refusal
from coppermend.core.log.chain import check_chain
from coppermend.core.log.model import Draft, Entry

IDS = Uuid7Ids()
BENCHES = 8


def draft(store: PostgresStore, case: str, kind: str = "remark", **payload: object) -> Draft:
    filled = payload or {"words": "a remark"}
    at = "2026-03-01T09:00:00.000Z"
    return Draft(IDS.new(), case, store.bench, at, at, "me", kind, 1, filled)  # type: ignore[arg-type]


def new_case(store: PostgresStore) -> str:
    case = IDS.new()
    store.append(draft(store, case, "case", title="Machine"))
    return case


def write(url: str, bench: str, case: str, count: int, all_open: Barrier) -> list[Entry]:
    """Many entries of one bench, once all have opened the store; what was acknowledged."""
    with closing(PostgresStore(url, bench)) as store:
        all_open.wait(60)
        return [store.append(draft(store, case, words=f"{bench} {k}")) for k in range(count)]


def all_there_once(url: str, case: str, acknowledged: list[Entry]) -> None:
    with closing(PostgresStore(url, "reader")) as store:
        read = store.entries(case)
        assert store.check() == ()
    assert len({one.id for one in read}) == len(read) == len(acknowledged) + 1
    assert {one.id: one.body() for one in read[1:]} == {one.id: one.body() for one in acknowledged}
    assert [one.lamport for one in read] == list(range(1, len(read) + 1))
    assert check_chain(read) == ()


def eight_benches(url: str, case: str, count: int, meanwhile: object) -> list[Entry]:
    all_open = Barrier(BENCHES + 1)
    with ThreadPoolExecutor(BENCHES) as pool:
        jobs = [pool.submit(write, url, f"bench-{k}", case, count, all_open) for k in range(BENCHES)]
        all_open.wait(60)
        meanwhile()  # type: ignore[operator]
        return [entry for job in jobs for entry in job.result()]


@pytest.fixture
def own() -> Iterator[ShopServer]:
    """A server that this test may stop."""
    server = ShopServer()
    server.start()
    yield server
    server.remove()


@pytest.mark.parametrize(("count", "away_s"), [(40, 1.0), pytest.param(1000, 30.0, marks=pytest.mark.soak)])
def test_eight_benches_go_on_through_a_crash_of_the_server(own: ShopServer, count: int, away_s: float) -> None:
    url = own.url(own.new_database())
    with closing(PostgresStore(url, "first")) as store:
        case = new_case(store)

    def crash() -> None:
        time.sleep(0.5)
        own.stop("immediate")
        time.sleep(away_s)
        own.start()

    all_there_once(url, case, eight_benches(url, case, count, crash))


@pytest.mark.parametrize(("count", "away_s"), [(40, 0.5), pytest.param(1000, 30.0, marks=pytest.mark.soak)])
def test_eight_benches_go_on_at_the_synchronous_standby(own: ShopServer, count: int, away_s: float) -> None:
    second = ShopServer(beside=own)
    try:
        second.start()
        own.wait_for_standby()
        name = own.new_database()
        url = f"postgresql://bench@127.0.0.1:{own.port},127.0.0.1:{second.port}/{name}?target_session_attrs=read-write"
        with closing(PostgresStore(url, "first")) as store:
            case = new_case(store)

        def hand_over() -> None:
            time.sleep(0.5)
            own.stop("immediate")
            time.sleep(away_s)
            second.promote()

        all_there_once(second.url(name), case, eight_benches(url, case, count, hand_over))
    finally:
        second.remove()


def test_a_bench_is_told_of_another_ones_entry(shop: ShopServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "FRESH_S", 1e9)  # nothing but the notice can bring the news
    url = shop.url(shop.new_database())
    with closing(PostgresStore(url, "a")) as a, closing(PostgresStore(url, "b")) as b:
        case = new_case(a)
        for _ in range(5):
            before = b.mark(case)
        end = time.monotonic() + 20
        while not (b._listener and b._listener.hears) and time.monotonic() < end:
            time.sleep(0.05)
        assert b._listener is not None and b._listener.hears and b.mark(case) == before
        with psycopg.connect(url) as line:  # the store is not asked while nothing is told
            line.execute("DELETE FROM entries")
            line.commit()
            assert b.mark(case) == before
        c = new_case(a)
        b.mark(c)
        a.append(draft(a, c))
        while b.mark(c) != a.mark(c) and time.monotonic() < end:
            time.sleep(0.05)
        assert b.mark(c) == a.mark(c) == "2.2"


def test_every_connection_waits_for_the_disk_whatever_the_default_is(shop: ShopServer) -> None:
    name = shop.new_database()
    with psycopg.connect(shop.url("postgres"), autocommit=True) as line:
        line.execute(f"ALTER DATABASE {name} SET synchronous_commit = off")
    with closing(PostgresStore(shop.url(name), "a")) as store, store._engine.connect() as line:
        assert line.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"


def test_a_server_that_can_lose_a_commit_is_named(own: ShopServer) -> None:
    url = own.url(own.new_database())
    with closing(PostgresStore(url, "a")) as store:
        assert store.check() == ()
        with psycopg.connect(url, autocommit=True) as line:
            line.execute("ALTER SYSTEM SET fsync = off")
            line.execute("SELECT pg_reload_conf()")
        time.sleep(0.5)
        assert [(one.code, "fsync off" in one.words) for one in store.check()] == [("STO-016", True)]


def test_what_was_changed_behind_the_back_is_found_and_the_rest_is_read(shop: ShopServer) -> None:
    url = shop.url(shop.new_database())
    with closing(PostgresStore(url, "a")) as store:
        bad, good = new_case(store), new_case(store)
        for case in (bad, good):
            store.append(draft(store, case, words="before"))
        kept = store.attach(b"photo")
        with psycopg.connect(url) as line:
            line.execute("UPDATE entries SET body = replace(body, 'before', 'after') WHERE case_id = %s", (bad,))
            line.execute("UPDATE attachments SET data = 'changed'")
        store.append(draft(store, good, words="still written"))
        store.append(draft(store, bad, words="after it"))
        assert {one.code for one in store.check()} == {"STO-017", "LOG-011", "STO-021"}
        assert [one.payload.get("words") for one in store.entries(good)][1:] == ["before", "still written"]
        with pytest.raises(Refusal, match="STO-021"):
            store.attachment(kept)


def test_what_does_not_open_is_said_without_the_password(shop: ShopServer) -> None:
    secret = "f6kJw3"
    for address, code in (
        (f"127.0.0.1:{shop.port}/nothing_of_that_name", "STO-004"),
        ("127.0.0.1:9/shop", "STO-014"),
    ):
        with pytest.raises(Refusal) as refusal:
            PostgresStore(f"postgresql://bench:{secret}@{address}", "a", patience_s=0.1)
        assert refusal.value.finding.code == code and secret not in str(refusal.value)
        assert refusal.value.finding.remedy and address in str(refusal.value.finding.place)


def test_a_newer_store_is_refused_and_left_as_it_is(shop: ShopServer) -> None:
    url = shop.url(shop.new_database())
    PostgresStore(url, "a").close()
    with psycopg.connect(url) as line:
        line.execute("UPDATE coppermend_store SET value = '99' WHERE name = 'schema_version'")
    with pytest.raises(Refusal, match="STO-005"):
        PostgresStore(url, "a")


def test_a_server_that_stays_away_is_said_and_the_entry_can_be_sent_again(own: ShopServer) -> None:
    url = own.url(own.new_database())
    with closing(PostgresStore(url, "a", patience_s=0.5)) as store:
        case = new_case(store)
        wanted = draft(store, case, words="once")
        own.stop()
        with pytest.raises(Refusal, match="STO-014"):
            store.append(wanted)
        with ThreadPoolExecutor(1) as pool:
            back = pool.submit(own.start)
            with closing(
                PostgresStore(url, "b")
            ) as late:  # as every command opens it: refused, then "starting up", then there
                assert len(late.entries(case)) == 1
            back.result()
        assert store.append(wanted) == store.append(wanted)
        assert len(store.entries(case)) == 2
