"""What the store survives, really done: kill -9, two processes, a full disk, a store that cannot be written, a newer store, damage.

Durability of the settings asked for: SQLite documentation, pragma.html "synchronous" (FULL in WAL mode syncs the log after each commit).
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from tests.fakes import CountingIds

from coppermend.adapters.storage.schema import SCHEMA_VERSION
from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.adapters.storage.system import Uuid7Ids
from coppermend.bootstrap import back_up, migrate, restore
from coppermend.core.findings import Refusal
from coppermend.core.log.fold import fold
from coppermend.core.log.model import Draft
from coppermend.services.bundling.reading import _read_log, open_bundle
from coppermend.services.bundling.taking import take_in
from coppermend.services.bundling.writing import write_bundle

ROOT = Path(__file__).resolve().parents[2]
IDS = CountingIds(50_000)

WRITER = textwrap.dedent("""
    import sys
    from coppermend.adapters.storage.sqlite import SqliteStore
    from coppermend.adapters.storage.system import Uuid7Ids
    from coppermend.core.log.model import Draft
    url, case, count, words = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
    store, ids = SqliteStore(url, "bench"), Uuid7Ids()
    for number in range(count):
        when = "2026-03-01T09:00:00.000Z"
        store.append(entry := Draft(ids.new(), case, store.bench, when, when, "w", "remark", 1, {"words": f"{words} {number}"}))
        sys.stdout.write(entry.id + "\\n")
        sys.stdout.flush()
""")


def writer(url: Path, case: str, count: int, words: str = "x") -> subprocess.Popen[bytes]:
    """Another process that appends and prints each id after it was acknowledged."""
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(url), case, str(count), words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
    )


def draft(store: SqliteStore, case: str, kind: str = "remark", **payload: object) -> Draft:
    when = "2026-03-01T09:00:00.000Z"
    return Draft(IDS.new(), case, store.bench, when, when, "me", kind, 1, payload or {"words": "r"})  # type: ignore[arg-type]


def new_case(store: SqliteStore) -> str:
    case = IDS.new()
    store.append(draft(store, case, "case", title="M"))
    return case


def kill_at(folder: Path, case: str, seconds: float) -> set[str]:
    """Start a writer, kill it -9 some time after its first acknowledgement; the ids whose acknowledgement got out."""
    process = writer(folder, case, 1_000_000)
    assert process.stdout is not None and process.stderr is not None
    first = process.stdout.readline()
    time.sleep(seconds)
    process.send_signal(signal.SIGKILL)
    rest = process.stdout.read()
    process.wait()
    process.stdout.close()
    process.stderr.close()
    lines = (first + rest).split(b"\n")
    return {line.decode() for line in lines[:-1]}  # the last piece has no line end: it never got out whole


def kills(tmp_path: Path, count: int) -> None:
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    acknowledged: set[str] = set()
    for number in range(count):
        acknowledged |= kill_at(tmp_path, case, 0.0007 * (number % 40))
        entries = store.entries(case)
        assert acknowledged <= {one.id for one in entries}
    assert len(acknowledged) >= count
    assert store.check() == ()
    fold(store.entries(case))
    store.close()


@pytest.mark.skipif(os.name == "nt", reason="not run: there is no kill -9 on Windows")
def test_nothing_acknowledged_is_lost_by_kill_9(tmp_path: Path) -> None:
    kills(tmp_path, 30)


@pytest.mark.soak
@pytest.mark.skipif(os.name == "nt", reason="not run: there is no kill -9 on Windows")
def test_nothing_acknowledged_is_lost_by_500_kills(tmp_path: Path) -> None:
    kills(tmp_path, 500)


def test_two_processes_write_one_case(tmp_path: Path) -> None:
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    both = [writer(tmp_path, case, 60, words) for words in ("left", "right")]
    said = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0], said
    entries = store.entries(case)
    assert len(entries) == 121 and [one.bench_seq for one in entries] == list(range(1, 122))
    assert {one.id for one in entries} >= {line for out, _ in said for line in out.decode().split()}
    assert store.check() == ()
    store.close()


def test_many_threads_write_one_case(tmp_path: Path) -> None:
    """The server answers requests from a pool of threads, all on one store object."""
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    drafts = [draft(store, case, words=f"number {number}") for number in range(80)]
    with ThreadPoolExecutor(8) as pool:
        written = list(pool.map(store.append, drafts))
    assert sorted(one.bench_seq for one in written) == list(range(2, 82))
    assert {one.id for one in store.entries(case)} >= {one.id for one in drafts}
    assert store.check() == ()
    store.close()


FULL = textwrap.dedent("""
    import resource, signal, sys
    from coppermend.adapters.storage.sqlite import SqliteStore
    from coppermend.adapters.storage.system import Uuid7Ids
    from coppermend.core.findings import Refusal
    from coppermend.core.log.model import Draft
    url, case = sys.argv[1:3]
    store, ids = SqliteStore(url, "bench"), Uuid7Ids()
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))
    when, done = "2026-03-01T09:00:00.000Z", 0
    try:
        while done < 10_000:
            store.append(Draft(ids.new(), case, store.bench, when, when, "w", "remark", 1, {"words": "x" * 900}))
            done += 1
    except Refusal as err:
        print(err.finding.code, done, len(store.entries(case)))
        try:
            store.attach(b"x" * 2_000_000)
        except Refusal as again:
            print(again.finding.code)
""")


@pytest.mark.skipif(os.name == "nt", reason="not run: no file size limit on Windows")
def test_no_room_left_is_a_clear_error_and_the_case_stays_readable(tmp_path: Path) -> None:
    """A real limit of the operating system on the size of files stands in for a full disk: writes fail with EFBIG at some byte."""
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    found = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path), case], capture_output=True, text=True, cwd=ROOT, timeout=120
    )
    assert found.returncode == 0, found.stderr
    code, done, readable = found.stdout.split()[:3]
    assert code in ("STO-010", "STO-014") and int(done) > 10
    assert found.stdout.split()[3:] == ["STO-010"]
    assert int(readable) == int(done) + 1 == len(store.entries(case))
    assert store.check() == ()
    store.append(draft(store, case, words="there is room again"))
    store.close()


def test_sqlite_reports_a_full_database_in_words(tmp_path: Path) -> None:
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    with store._engine.connect() as line:  # the real SQLITE_FULL, by the page limit of this connection
        pages = line.exec_driver_sql("PRAGMA page_count").scalar_one()
        line.exec_driver_sql(f"PRAGMA max_page_count={pages}")
    with pytest.raises(Refusal, match="STO-010") as refusal:
        for _ in range(100):
            store.append(draft(store, case, words="x" * 2000))
    assert "Nothing that was acknowledged is lost" in refusal.value.finding.words
    assert store.entries(case)[0].kind == "case"
    store.close()


READER = textwrap.dedent("""
    import os, sys, tempfile
    from coppermend.adapters.storage.sqlite import SqliteStore
    from coppermend.core.findings import Refusal
    from coppermend.core.log.model import Draft
    with tempfile.TemporaryDirectory() as warm:
        SqliteStore(warm, "warm").close()  # imports everything while this user may still read it
    if os.getuid() == 0:
        os.setgid(65534); os.setuid(65534)
    store = SqliteStore(sys.argv[1], "other")
    print(store.writable, len(store.entries(sys.argv[2])))
    try:
        when = "2026-03-01T09:00:00.000Z"
        store.append(Draft("x", sys.argv[2], "b", when, when, "w", "remark", 1, {"words": "x"}))
    except Refusal as err:
        print(err.finding.code)
""")


@pytest.mark.skipif(os.name == "nt", reason="not run: rights of files are others on Windows")
def test_a_store_that_cannot_be_written_is_read_with_all_acknowledged_entries(tmp_path: Path) -> None:
    """Another user without the right to write, while the newest entries stand in the write-ahead log only."""
    for folder in (tmp_path, *list(tmp_path.parents)[:3]):
        if folder != Path("/tmp"):
            folder.chmod(0o755)
    store = SqliteStore(str(tmp_path / "store"), "bench")
    case = new_case(store)
    for _ in range(5):
        store.append(draft(store, case))
    assert (tmp_path / "store" / "coppermend.db-wal").stat().st_size > 0
    (tmp_path / "store").chmod(0o555)
    found = subprocess.run(
        [sys.executable, "-c", READER, str(tmp_path / "store"), case],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=60,
    )
    (tmp_path / "store").chmod(0o755)
    store.close()
    assert found.stdout.split() == ["False", "6", "STO-011"], found.stderr


def test_a_newer_store_is_refused_and_left_alone(tmp_path: Path) -> None:
    SqliteStore(str(tmp_path), "bench").close()
    line = sqlite3.connect(tmp_path / "coppermend.db")
    line.execute("UPDATE coppermend_store SET value = '99' WHERE name = 'schema_version'")
    line.commit()
    line.close()
    before = (tmp_path / "coppermend.db").read_bytes()
    with pytest.raises(Refusal, match="STO-005"):
        SqliteStore(str(tmp_path), "bench")
    assert (tmp_path / "coppermend.db").read_bytes() == before


@pytest.mark.parametrize(
    "content",
    [b"this is a letter, no database", b"SQLite format 3\x00" + b"\xff" * 3000],
    ids=["text", "a head and rubbish"],
)
def test_a_file_that_is_no_store_is_refused_in_words(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "a.db"
    file.write_bytes(content)
    with pytest.raises(Refusal) as refusal:
        SqliteStore(str(file), "bench")
    assert refusal.value.finding.code in ("STO-003", "STO-013")
    assert file.read_bytes() == content


def test_a_database_of_someone_else_is_refused(tmp_path: Path) -> None:
    line = sqlite3.connect(tmp_path / "a.db")
    line.execute("CREATE TABLE songs (name TEXT)")
    line.commit()
    line.close()
    with pytest.raises(Refusal, match="STO-003"):
        SqliteStore(str(tmp_path / "a.db"), "bench")


def test_a_changed_entry_and_a_changed_attachment_are_named(tmp_path: Path) -> None:
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    for _ in range(4):
        store.append(draft(store, case, words="the truth"))
    name = store.attach(b"a picture")
    line = sqlite3.connect(tmp_path / "coppermend.db")
    line.execute("UPDATE entries SET body = replace(body, 'the truth', 'something') WHERE bench_seq = 3")
    line.execute("UPDATE entries SET body = '{' WHERE bench_seq = 5")
    line.commit()
    line.close()
    (tmp_path / "attachments" / name[:2] / name).write_bytes(b"a PICTURE")
    found = [(one.code, one.place.words()) for one in store.check()]
    assert [code for code, _ in found] == ["STO-017", "STO-015", "LOG-011", "STO-021"]
    assert "entry 4" in found[2][1] and name in found[3][1]
    with pytest.raises(Refusal, match="STO-021"):
        store.attachment(name)
    with pytest.raises(Refusal, match="STO-017"):
        store.entries(case)
    other = new_case(store)
    assert [one.head.title for one in store.heads()] == ["M", "M"]
    assert len(store.entries(other)) == 1
    store.close()


def test_the_durability_that_sqlite_documents_is_asked_for(tmp_path: Path) -> None:
    """pragma.html: synchronous 2 is FULL; in WAL mode FULL syncs the log after every commit, NORMAL (1) does not."""
    store = SqliteStore(str(tmp_path), "bench")
    with store._engine.connect() as line:
        asked = [line.exec_driver_sql(f"PRAGMA {name}").scalar() for name in ("journal_mode", "synchronous")]
    store.close()
    assert asked == ["wal", 2]


@pytest.mark.skipif(os.name == "nt", reason="not run: folders cannot be synced on Windows")
def test_an_attachment_is_synced_with_every_folder_made_for_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """POSIX fsync: a file's data by its own descriptor, its name by the folder's. What is asked of the system is recorded, by inode."""
    store = SqliteStore(str(tmp_path), "bench")
    synced: list[int] = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (synced.append(os.fstat(handle).st_ino), real(handle)))
    name = store.attach(b"a picture")
    store.close()
    file = tmp_path / "attachments" / name[:2] / name
    order = [synced.index(one.stat().st_ino) for one in (file, file.parent, file.parent.parent, tmp_path)]
    assert order[0] == 0 and len(set(order)) == 4


def test_an_unknown_kind_of_store_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="STO-001"):
        SqliteStore("postgresql://shop/cases", "bench")


MIGRATOR = textwrap.dedent("""
    import sys
    from coppermend.bootstrap import migrate
    print(migrate(sys.argv[1]).after, flush=True)
""")


def old_store(folder: Path, entries: int) -> tuple[str, list[tuple[str, str]]]:
    """A store of version 1 (its tables written out as they were at commit 5b9973a); its case, and (id, body) of its entries."""
    store = SqliteStore(str(folder / "new"), "bench")
    case = new_case(store)
    for number in range(entries):
        store.append(draft(store, case, words=f"{number} " + "x" * 1500))
    store.close()
    rows = sqlite3.connect(folder / "new" / "coppermend.db").execute(
        "SELECT id, case_id, lamport, bench, bench_seq, kind, body FROM entries ORDER BY rowid"
    )
    kept = rows.fetchall()
    (folder / "old").mkdir()
    line = sqlite3.connect(folder / "old" / "coppermend.db")
    line.executescript(
        """
        PRAGMA journal_mode=WAL;
        CREATE TABLE coppermend_store (name TEXT NOT NULL, value TEXT NOT NULL, PRIMARY KEY (name));
        CREATE TABLE cases (number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL, UNIQUE (id));
        CREATE TABLE entries (id TEXT NOT NULL, case_id TEXT NOT NULL, lamport INTEGER NOT NULL, bench TEXT NOT NULL, bench_seq INTEGER NOT NULL,
         kind TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (id), CONSTRAINT entries_once UNIQUE (case_id, bench, bench_seq));
        CREATE INDEX entries_in_order ON entries (case_id, lamport, bench, bench_seq);
        INSERT INTO coppermend_store VALUES ('schema_version', '1'), ('bench', 'bench');
        """
    )
    line.execute("INSERT INTO cases (id) VALUES (?)", (case,))
    line.executemany("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?)", kept)
    line.commit()
    line.close()
    return case, [(row[0], row[6]) for row in kept]


def kills_while_migrating(tmp_path: Path, count: int, entries: int) -> None:
    """kill -9 somewhere in the migration, from before its backup to after its end: the store is the old one or the new one, and complete."""
    case, kept = old_store(tmp_path, entries)
    begun = time.monotonic()
    shutil.copytree(tmp_path / "old", tmp_path / "whole")
    subprocess.run(
        [sys.executable, "-c", MIGRATOR, str(tmp_path / "whole")], cwd=ROOT, check=True, stdout=subprocess.PIPE
    )
    whole_s = time.monotonic() - begun
    versions = set()
    for number in range(count):
        place = tmp_path / f"try {number}"
        shutil.copytree(tmp_path / "old", place)
        process = subprocess.Popen([sys.executable, "-c", MIGRATOR, str(place)], cwd=ROOT, stdout=subprocess.DEVNULL)
        time.sleep(whole_s * (0.3 + 0.8 * number / count))
        process.send_signal(signal.SIGKILL)
        process.wait()
        line = sqlite3.connect(place / "coppermend.db")
        version = int(line.execute("SELECT value FROM coppermend_store WHERE name = 'schema_version'").fetchone()[0])
        assert line.execute("SELECT id, body FROM entries ORDER BY bench_seq").fetchall() == kept
        assert line.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        line.close()
        versions.add(version)
        for backup in (place / "backups").glob("version-1-*.db"):  # one that has its name is complete
            copy = sqlite3.connect(backup)
            assert copy.execute("SELECT id, body FROM entries ORDER BY bench_seq").fetchall() == kept
            copy.close()
        assert version == 1 or any((place / "backups").glob("version-1-*.db"))
        assert migrate(str(place)).after == SCHEMA_VERSION
        store = SqliteStore(str(place), "bench")
        assert store.check() == () and len(store.entries(case)) == len(kept)
        store.append(draft(store, case, words="it goes on"))
        store.close()
        shutil.rmtree(place)
    assert versions <= {1, SCHEMA_VERSION}


@pytest.mark.skipif(os.name == "nt", reason="not run: there is no kill -9 on Windows")
def test_a_migration_that_is_killed_leaves_the_old_store_or_the_new_one(tmp_path: Path) -> None:
    kills_while_migrating(tmp_path, 2, 200)


@pytest.mark.soak
@pytest.mark.skipif(os.name == "nt", reason="not run: there is no kill -9 on Windows")
def test_a_migration_that_is_killed_100_times(tmp_path: Path) -> None:
    kills_while_migrating(tmp_path, 100, 4_000)


def test_a_clock_that_was_set_back_changes_no_order(tmp_path: Path) -> None:
    """The agreed order is that of Lamport's counters (CACM 21(7), 1978); times are only told."""
    store = SqliteStore(str(tmp_path), "bench")
    case = new_case(store)
    ids = Uuid7Ids()
    years = ("2026-03-01", "2026-03-01", "1999-12-31", "1970-01-01", "2031-01-01")
    written = []
    for number, day in enumerate(years):
        when = f"{day}T09:00:00.000Z"
        wanted = Draft(ids.new(), case, store.bench, when, when, "me", "remark", 1, {"words": f"{number}"})
        written.append(store.append(wanted))
        assert store.append(wanted) == written[-1]
    read = store.entries(case)
    assert [one.payload.get("words") for one in read[1:]] == ["0", "1", "2", "3", "4"]
    assert store.check() == () and [one.observed_at[:10] for one in read[1:]] == list(years)
    store.close()


def small_disk() -> Path | None:
    """A file system of 4 MiB of memory, where this user may mount one."""
    place = Path(tempfile.mkdtemp(prefix="coppermend-small-"))
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "none", str(place)], capture_output=True)
    if done.returncode:
        place.rmdir()
        return None
    return place


@pytest.mark.skipif(sys.platform != "linux" or shutil.which("mount") is None, reason="not run: needs Linux's mount")
def test_a_disk_that_is_really_full_loses_nothing(tmp_path: Path) -> None:
    place = small_disk()
    if place is None:
        pytest.skip("not run: this user may not mount a small file system")
    try:
        store = SqliteStore(str(place / "store"), "bench")
        case, done = new_case(store), 0
        with pytest.raises(Refusal, match="STO-010") as refusal:
            for _ in range(10_000):
                store.append(draft(store, case, words="x" * 900))
                done += 1
        assert "is full" in refusal.value.finding.words and done > 100
        with pytest.raises(Refusal, match="STO-010"):
            store.attach(b"x" * 3_000_000)
        assert len(store.entries(case)) == done + 1 and store.check() == ()
        with pytest.raises(Refusal, match="STO-0"):
            restore(str(place / "other"), io.BytesIO(backup_of(tmp_path)), "b.zip")
        assert not (place / "other" / "coppermend.db").exists()
        assert [one.name for one in (place / "store").iterdir() if one.name.startswith(".")] == []
        store.close()
        room = SqliteStore(str(place / "store"), "bench")
        assert len(room.entries(case)) == done + 1
        room.close()
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)
        place.rmdir()


@pytest.mark.parametrize("closed", [True, False])
def test_a_store_on_a_disk_without_a_byte_left_is_opened_and_read(tmp_path: Path, closed: bool) -> None:
    """SQLite needs room for what lies beside an open database (wal.html, 4); with ``closed`` False a write-ahead log lies there."""
    place = small_disk()
    if place is None:
        pytest.skip("not run: this user may not mount a small file system")
    try:
        store = SqliteStore(str(place / "store"), "bench")
        case = new_case(store)
        store.append(draft(store, case))
        kept = store.entries(case)
        if not closed:
            shutil.copytree(place / "store", place / "copy")
        store.close()
        if not closed:
            shutil.rmtree(place / "store")
            (place / "copy").rename(place / "store")
            (place / "store" / "coppermend.db-shm").unlink()
        with contextlib.suppress(OSError), (place / "rest").open("wb", buffering=0) as rest:
            while rest.write(b"x" * 4096):
                pass
        with contextlib.closing(SqliteStore(str(place / "store"), "bench")) as tight:
            assert not tight.writable and tight.entries(case) == kept and tight.check() == ()
            assert [one.head.entries for one in tight.heads()] == [len(kept)]
            with pytest.raises(Refusal, match="STO-010"):
                tight.append(draft(tight, case))
        (place / "rest").unlink()
        with contextlib.closing(SqliteStore(str(place / "store"), "bench")) as room:
            assert room.writable
            room.append(draft(room, case))
            assert len(room.entries(case)) == len(kept) + 1
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)
        place.rmdir()


def backup_of(folder: Path) -> bytes:
    """A backup of a store that is larger than the small disk."""
    store = SqliteStore(str(folder / "large"), "bench")
    case = new_case(store)
    store.append(draft(store, case, "photo", sha256=store.attach(os.urandom(6_000_000)), media="image/png", bytes=6))
    store.close()
    out = io.BytesIO()
    back_up(str(folder / "large"), out, folder)
    return out.getvalue()


@pytest.mark.skipif(sys.platform != "linux" or shutil.which("mount") is None, reason="not run: needs Linux's mount")
@pytest.mark.parametrize("closed", [True, False])
def test_a_store_on_a_disk_that_can_only_be_read_is_checked_backed_up_and_exported(
    tmp_path: Path, closed: bool
) -> None:
    """A file system that is really read-only (EROFS for root, too); with ``closed`` False a write-ahead log lies beside the database."""
    place = small_disk()
    if place is None:
        pytest.skip("not run: this user may not mount a small file system")
    try:
        store = SqliteStore(str(place / "store"), "bench")
        case = new_case(store)
        store.append(draft(store, case, "photo", sha256=store.attach(b"photo"), media="image/png", bytes=5))
        for _ in range(5):
            store.append(draft(store, case))
        if closed:
            store.close()
        else:
            copy = place / "copy"
            shutil.copytree(place / "store", copy)
            store.close()
            shutil.rmtree(place / "store")
            copy.rename(place / "store")
            assert (place / "store" / "coppermend.db-wal").stat().st_size > 0
        subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
        url, out, bundle = str(place / "store"), io.BytesIO(), io.BytesIO()
        with contextlib.closing(SqliteStore(url, "x")) as only:
            assert not only.writable and only.check() == () and len(only.entries(case)) == 7
            with pytest.raises(Refusal, match="STO-011"):
                only.append(draft(only, case))
            with pytest.raises(Refusal, match="STO-011"):
                only.attach(b"new")
            write_bundle(bundle, only, [case])
        done = back_up(url, out, tmp_path)
        assert (done.cases, done.entries, done.attachments, done.findings) == (1, 7, 1, ())
        with pytest.raises(Refusal, match="STO-0"):
            restore(str(place / "other"), out, "b.zip")
        restore(str(tmp_path / "back"), out, "b.zip")
        with contextlib.closing(SqliteStore(str(tmp_path / "back"), "x")) as back:
            assert len(back.entries(case)) == 7 and back.check() == ()
            assert take_in(back, open_bundle(bundle)).cases[0].new == 0
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)
        place.rmdir()


@pytest.mark.parametrize("what", ["cases", "heads", "heads_by_last", "terms", "entries_in_order", "entries_once"])
def test_a_damaged_page_beside_the_log_leaves_the_log_readable(tmp_path: Path, what: str) -> None:
    """The pages are found in the table sqlite_schema, as SQLite's file format documents it ("B-tree pages"); a root page is overwritten whole."""
    with contextlib.closing(SqliteStore(str(tmp_path), "bench")) as store:
        case = new_case(store)
        store.append(draft(store, case, words="before"))
        other = new_case(store)
        wanted = {one: [entry.id for entry in store.entries(one)] for one in (case, other)}
    file = tmp_path / "coppermend.db"
    with contextlib.closing(sqlite3.connect(file)) as line:
        line.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        line.execute("PRAGMA journal_mode=DELETE")
        size = line.execute("PRAGMA page_size").fetchone()[0]
        name = "sqlite_autoindex_entries_2" if what == "entries_once" else what
        page = line.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)).fetchone()[0]
    with file.open("r+b") as opened:
        opened.seek((page - 1) * size)
        opened.write(b"\xa5" * size)
    with contextlib.closing(SqliteStore(str(tmp_path), "bench")) as store:
        assert {one: [entry.id for entry in store.entries(one)] for one in (case, other)} == wanted
        assert store.numbers() == ((1, case), (2, other)) and store.mark(case) == "2.2"
        assert (store.case_of(1), store.number_of(other)) == (case, 2)
        assert [one.id for one in store.heads()] == [case, other]
        assert store.check()
        sink = io.BytesIO()
        assert write_bundle(sink, store, [number[1] for number in store.numbers()], rescue=True).entries == 3


def test_a_log_whose_lines_stand_in_another_order_is_no_whole_bundle(tmp_path: Path) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path), "bench")) as store:
        case = new_case(store)
        for words in ("one", "two"):
            store.append(draft(store, case, words=words))
        first, second, third = (entry.body() for entry in store.entries(case))
    assert len(_read_log(b"\n".join((first, second, third)), "a.jsonl")) == 3
    for lines in ((first, third, second), (first, second, second, third)):
        with pytest.raises(Refusal):
            _read_log(b"\n".join(lines), "a.jsonl")
