"""Keeping a store by command: check, backup, restore, migrate, copy to and from a real PostgreSQL.

Outside: SQLite documentation (backup.html; pragma.html "integrity_check"; fileformat.html: page 1 holds the header, a page's number counts from 1), RFC 8493.
"""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import sqlite3
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image
from tests.cli_runner import Run
from tests.shop_server import ShopServer

from coppermend.adapters.storage.schema import SCHEMA_VERSION

Store = Callable[[str], None]


@pytest.fixture(scope="session")
def shop() -> Iterator[ShopServer]:
    server = ShopServer()
    server.start()
    yield server
    server.remove()


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Store:
    """Work at another store: a folder below the test's, or a URL."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "user data"))
    return lambda name: monkeypatch.setenv("COPPERMEND_STORE", name if "://" in name else str(tmp_path / name))


@pytest.fixture
def run(plain_run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: Store) -> Run:
    """Two cases with notes, one with a photo."""
    monkeypatch.chdir(tmp_path)
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(picture, "PNG")
    (tmp_path / "board.png").write_bytes(picture.getvalue())
    for words in (
        ("case", "new", "--board", "demo", "--title", "Machine Ω"),
        ("case", "new", "--board", "demo", "--title", "Second"),
        ("photo", "1", "board.png"),
        *(("note", str(1 + k % 2), "remark", f"note {k} " + "x" * 900) for k in range(12)),
    ):
        assert plain_run(*words)[0] == 0
    return plain_run


def answer(run: Run, *words: str, status: int = 0) -> dict:
    done, out, err = run(*words, "--json")
    assert done == status, err + out
    return json.loads(out)


def logs(run: Run) -> dict[int, list[str]]:
    """Notes of every case by its number."""
    return {
        row["number"]: [one["words"] for one in answer(run, "case", "show", str(row["number"]))["notes"]]
        for row in json.loads(run("case", "list", "--json")[1])
    }


def test_a_backup_restored_elsewhere_is_the_same_store_and_both_can_go_on(run: Run, at: Store, tmp_path: Path) -> None:
    before = logs(run)
    done = answer(run, "store", "backup", "--to", "Sicherung März.zip")
    assert (done["cases"], done["attachments"], done["findings"]) == (2, 1, [])
    assert answer(run, "store", "check", "--backup", "Sicherung März.zip")["well"] is True
    run("note", "1", "remark", "after the backup")
    at("an other place/über")
    back = answer(run, "store", "restore", "Sicherung März.zip")
    assert back["well"] is True and (back["cases"], back["entries"]) == (done["cases"], done["entries"])
    assert logs(run) == before
    run("note", "1", "remark", "after the restore")
    answer(run, "bundle", "export", "--all", "--to", "there.zip", "--without-boards")
    at("store")  # the restored store has a bench of its own, so what went on at both places comes together
    assert [one["new"] for one in answer(run, "bundle", "import", "there.zip")["cases"]] == [1, 0]
    assert logs(run)[1][-2:] == ["after the backup", "after the restore"]
    assert answer(run, "store", "check")["well"] is True


@pytest.mark.skipif(not all(map(shutil.which, ("sha256sum", "unzip"))), reason="not run: needs sha256sum, unzip")
def test_a_backup_is_checked_by_standard_tools(run: Run, tmp_path: Path) -> None:
    answer(run, "store", "backup", "--to", "b.zip")
    subprocess.run(["unzip", "-q", "b.zip", "-d", "b"], cwd=tmp_path, check=True)
    check = ["sha256sum", "--quiet", "--strict", "-c", "manifest-sha256.txt", "tagmanifest-sha256.txt"]
    subprocess.run(check, cwd=tmp_path / "b", check=True)
    with contextlib.closing(sqlite3.connect(tmp_path / "b" / "data" / "coppermend.db")) as line:
        assert line.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_a_store_that_is_there_is_put_aside_only_when_asked(run: Run, tmp_path: Path) -> None:
    answer(run, "store", "backup", "--to", "b.zip")
    before = logs(run)
    run("note", "1", "remark", "later")
    status, _, err = run("store", "restore", "b.zip")
    assert status == 2 and "STO-040" in err and logs(run)[1][-1] == "later"
    done = answer(run, "store", "restore", "b.zip", "--replace")
    assert logs(run) == before and done["well"]
    aside = Path(done["aside"])
    with contextlib.closing(sqlite3.connect(aside)) as line:
        assert "later" in line.execute("SELECT body FROM entries ORDER BY rowid DESC LIMIT 1").fetchone()[0]


@pytest.mark.parametrize("spoil", ["bytes", "cut", "another", "newer", "none"])
def test_a_backup_that_is_not_whole_is_refused_and_nothing_is_made(
    run: Run, at: Store, tmp_path: Path, spoil: str
) -> None:
    answer(run, "store", "backup", "--to", "b.zip")
    good = (tmp_path / "b.zip").read_bytes()
    bad = {"cut": good[: len(good) // 2], "another": (tmp_path / "board.png").read_bytes()}.get(spoil, good)
    if spoil in ("bytes", "newer"):
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(out, "w") as new:
            for one in old.infolist():
                data = old.read(one)
                if one.filename.endswith(".db") and spoil == "bytes":
                    data = data[:5000] + b"\xff" * 40 + data[5040:]
                new.writestr(
                    one,
                    data.replace(b"Backup: 1", b"Backup: 9")
                    if one.filename == "bag-info.txt" and spoil == "newer"
                    else data,
                )
        bad = out.getvalue()
    (tmp_path / "bad.zip").write_bytes(bad)
    at("elsewhere")
    status, _, err = run("store", "restore", "bad.zip" if spoil != "none" else "nothing.zip")
    assert status == 2 and any(code in err for code in ("BUN-00", "CLI-002")) and "CLI-900" not in err
    assert not (tmp_path / "elsewhere" / "coppermend.db").exists()


VERSION_1 = """
CREATE TABLE coppermend_store (name TEXT NOT NULL, value TEXT NOT NULL, PRIMARY KEY (name));
CREATE TABLE cases (number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL, UNIQUE (id));
CREATE TABLE entries (id TEXT NOT NULL, case_id TEXT NOT NULL, lamport INTEGER NOT NULL, bench TEXT NOT NULL, bench_seq INTEGER NOT NULL,
 kind TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (id), CONSTRAINT entries_once UNIQUE (case_id, bench, bench_seq));
CREATE INDEX entries_in_order ON entries (case_id, lamport, bench, bench_seq);
"""
"""The tables of version 1 (commit 5b9973a), written out."""


VERSION_2 = VERSION_1.replace("body TEXT NOT NULL,", "body TEXT NOT NULL, sha256 TEXT NOT NULL,")
"""The tables of version 2 (commit ccce809)."""


def made_old(new: Path, old: Path, version: int = 1) -> None:
    """A store of version 1 or 2 with the entries of a new one, made by its own statements."""
    old.parent.mkdir(parents=True, exist_ok=True)
    with contextlib.closing(sqlite3.connect(old)) as line:
        line.executescript(VERSION_1 if version == 1 else VERSION_2)
        line.execute("ATTACH ? AS new", (str(new),))
        line.execute(
            "INSERT INTO coppermend_store SELECT name, CASE name WHEN 'schema_version' THEN ? ELSE value END FROM new.coppermend_store",
            (str(version),),
        )
        line.execute("INSERT INTO cases SELECT number, id FROM new.cases")
        columns = "id, case_id, lamport, bench, bench_seq, kind, body" + (", sha256" if version == 2 else "")
        line.execute(f"INSERT INTO entries SELECT {columns} FROM new.entries")
        line.commit()


def test_a_store_of_version_3_is_brought_up_with_what_fails_in_its_list(run: Run, tmp_path: Path) -> None:
    """Version 3 (commit db2143c): the tables of today, heads without ``fails``. A line that alone knows of lost entries stays as it is."""
    assert run("note", "1", "test", "video", "fails")[0] == 0 and run("note", "2", "remark", "the last word")[0] == 0
    listed = run("case", "list", "--json")[1]
    database = tmp_path / "store" / "coppermend.db"
    with contextlib.closing(sqlite3.connect(database)) as line:
        line.execute("UPDATE heads SET body = json_remove(body, '$.fails')")
        line.execute("UPDATE coppermend_store SET value = '3' WHERE name = 'schema_version'")
        line.execute("DELETE FROM entries WHERE body LIKE '%the last word%'")
        line.commit()
    assert "STO-006" in run("case", "list")[2]
    done = answer(run, "store", "migrate")
    assert (done["before"], done["after"]) == (3, SCHEMA_VERSION) and Path(done["backup"]).is_file()
    now = run("case", "list", "--json")[1]
    assert json.loads(now) == json.loads(listed) and json.loads(now)[0]["fails"] == ["video"]
    assert "does not work: video" in run("case", "list")[1]
    assert [one["code"] for one in answer(run, "store", "check", status=1)["findings"]] == ["STO-043"]


@pytest.mark.parametrize("version", [1, 2])
def test_an_older_store_is_refused_then_brought_up_with_a_backup(
    run: Run, at: Store, tmp_path: Path, version: int
) -> None:
    before = logs(run)
    listed = run("case", "list", "--json")[1]
    made_old(tmp_path / "store" / "coppermend.db", tmp_path / "old" / "coppermend.db", version)
    shutil.copytree(tmp_path / "store" / "attachments", tmp_path / "old" / "attachments")
    as_it_was = (
        sqlite3.connect(tmp_path / "old" / "coppermend.db").execute("SELECT * FROM entries ORDER BY id").fetchall()
    )
    at("old")
    status, _, err = run("case", "list")
    assert status == 2 and "STO-006" in err and "store migrate" in err
    done = answer(run, "store", "migrate")
    assert (done["before"], done["after"]) == (version, SCHEMA_VERSION)
    assert (
        run("case", "list", "--json")[1] == listed and '"number": 2' in run("case", "find", "note", "11", "--json")[1]
    )
    assert sqlite3.connect(done["backup"]).execute("SELECT * FROM entries ORDER BY id").fetchall() == as_it_was
    assert logs(run) == before and answer(run, "store", "check")["well"] is True
    assert run("note", "2", "remark", "it goes on")[0] == 0 and answer(run, "store", "check")["well"] is True
    assert answer(run, "store", "migrate") | {"where": ""} == {
        "where": "", "before": SCHEMA_VERSION, "after": SCHEMA_VERSION, "backup": "",
    }  # fmt: skip


def test_a_backup_of_version_1_comes_back_brought_up(run: Run, at: Store, tmp_path: Path) -> None:
    before = logs(run)
    made_old(tmp_path / "store" / "coppermend.db", tmp_path / "old" / "coppermend.db")
    shutil.copytree(tmp_path / "store" / "attachments", tmp_path / "old" / "attachments")
    at("old")
    answer(run, "store", "backup", "--to", "old.zip")
    at("back")
    assert answer(run, "store", "restore", "old.zip")["version"] == SCHEMA_VERSION and logs(run) == before


def test_a_newer_store_is_neither_migrated_nor_copied(run: Run, tmp_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / "store" / "coppermend.db")) as line:
        line.execute("UPDATE coppermend_store SET value = '99' WHERE name = 'schema_version'")
        line.commit()
    for words in (("migrate",), ("check",), ("copy", "--to", "elsewhere")):
        status, _, err = run("store", *words)
        assert status == 2 and "STO-005" in err
    assert not (tmp_path / "store" / "backups").exists() and not (tmp_path / "elsewhere").exists()


def test_a_store_goes_to_postgresql_and_back(run: Run, at: Store, shop: ShopServer, tmp_path: Path) -> None:
    before, url = logs(run), shop.url(shop.new_database())
    done = answer(run, "store", "copy", "--to", url)
    assert (done["cases"], done["attachments"], done["verified"]) == (2, 1, True) and done["new"] == done["entries"]
    assert answer(run, "store", "copy", "--to", url)["new"] == 0
    at(url)
    assert logs(run) == before and answer(run, "store", "check")["well"] is True
    assert run("case", "new", "--board", "demo", "--title", "Third")[0] == 0
    assert run("note", "2", "remark", "at the shop")[0] == 0
    back = answer(run, "store", "copy", "--to", str(tmp_path / "laptop"))
    answer(run, "store", "backup", "--to", "shop.zip")
    at("laptop")
    assert back["cases"] == 3 and logs(run) == {**before, 2: [*before[2], "at the shop"], 3: []}
    for place in ("from the shop", shop.url(shop.new_database())):
        at(place)
        assert answer(run, "store", "restore", "shop.zip")["well"] is True and logs(run)[2][-1] == "at the shop"
    at("laptop")
    answer(run, "store", "backup", "--to", "laptop.zip")
    at(shop.url(shop.new_database()))  # a snapshot of SQLite goes into PostgreSQL too
    assert answer(run, "store", "restore", "laptop.zip")["cases"] == 3 and logs(run)[3] == []
    assert run("store", "restore", "laptop.zip")[0] == 2


@pytest.mark.parametrize("version", [1, 2, 3])
def test_an_older_postgresql_is_brought_up_with_a_backup(
    run: Run, at: Store, shop: ShopServer, tmp_path: Path, version: int
) -> None:
    import psycopg

    before, url = logs(run), shop.url(shop.new_database())
    answer(run, "store", "copy", "--to", url)
    with psycopg.connect(url) as line:
        if version == 1:
            line.execute("ALTER TABLE entries DROP COLUMN sha256")
        if version < 3:
            line.execute("DROP TABLE heads, terms")
        else:
            line.execute("UPDATE heads SET body = (body::jsonb - 'fails')::text")
        line.execute("UPDATE coppermend_store SET value = %s WHERE name = 'schema_version'", (str(version),))
    listed = run("case", "list", "--json")[1]
    at(url)
    assert "STO-006" in run("case", "list")[2]
    done = answer(run, "store", "migrate")
    assert (done["before"], done["after"]) == (version, SCHEMA_VERSION) and answer(
        run, "bundle", "verify", done["backup"]
    )["well"] is True
    assert logs(run) == before and answer(run, "store", "check")["well"] is True
    assert run("case", "list", "--json")[1] == listed
    assert run("note", "1", "remark", "it goes on")[0] == 0


def test_copying_is_refused_when_the_other_store_cannot_be_had(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coppermend.adapters.storage.postgres.PATIENCE_S", 0.1)
    (tmp_path / "letter.db").write_text("this is a letter, no database")
    for target, code in (("letter.db", "STO-003"), ("mysql://x/y", "STO-001"), ("postgresql://127.0.0.1:9/x", "STO-0")):
        status, _, err = run("store", "copy", "--to", target)
        assert status == 2 and code in err


def test_numbers_with_gaps_are_kept(run: Run, at: Store, tmp_path: Path, shop: ShopServer) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / "store" / "coppermend.db")) as line:
        line.execute("UPDATE cases SET number = 41 WHERE number = 2")
        line.commit()
    for target in ("copy", shop.url(shop.new_database())):
        answer(run, "store", "copy", "--to", target if "://" in target else str(tmp_path / target))
        at(target)
        assert set(logs(run)) == {1, 41}
        assert answer(run, "case", "new", "--board", "demo", "--title", "Next")["number"] == 42
        at("store")


def page_of(database: Path, word: bytes) -> tuple[int, int]:
    """(number, size in bytes) of the first page that holds a word; the header's bytes 16 and 17 tell the size (fileformat.html)."""
    data = database.read_bytes()
    size = int.from_bytes(data[16:18], "big")
    return data.index(word) // size + 1, size


def test_a_corrupted_page_is_named_and_the_rest_is_still_read(run: Run, at: Store, tmp_path: Path) -> None:
    database = tmp_path / "store" / "coppermend.db"
    with contextlib.closing(sqlite3.connect(database)) as line:
        line.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        line.execute("PRAGMA journal_mode=DELETE")
    whole = logs(run)
    with contextlib.closing(sqlite3.connect(database)) as line:
        line.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    page, size = page_of(database, b"note 0 ")
    data = bytearray(database.read_bytes())
    data[(page - 1) * size : page * size] = b"\xa5" * size
    database.write_bytes(bytes(data))
    found = answer(run, "store", "check", status=1)
    words = [one["words"] for one in found["findings"] if one["code"] == "STO-013"]
    assert any(f"page {page}" in one for one in words), words
    assert any("lies in a damaged page" in one for one in words)
    status, out, _ = run("case", "list")
    assert status == 0 and "Machine Ω" in out and "Second" in out, "the list does not need the damaged logs"
    assert "store check --rebuild" not in out
    readable = [number for number in whole if run("case", "show", str(number))[0] == 0]
    status, out, _ = run("bundle", "export", "--all", "--to", "rest.zip", "--rescue", "--without-boards", "--json")
    assert status == 1 and json.loads(out)["cases"] == len(readable) and json.loads(out)["left_out"]
    doctor, out, _ = run("doctor")
    assert doctor == 1 and f"page {page}" in out


def test_a_corrupted_attachment_is_named_and_the_rest_is_backed_up(run: Run, tmp_path: Path) -> None:
    (photo,) = (tmp_path / "store" / "attachments").glob("??/*")
    photo.write_bytes(photo.read_bytes()[:-1] + b"x")
    found = answer(run, "store", "check", status=1)["findings"]
    assert [(one["code"], photo.name in one["place"]["thing"]) for one in found] == [("STO-021", True)]
    done = answer(run, "store", "backup", "--to", "b.zip", status=1)
    assert [one["code"] for one in done["findings"]] == ["STO-021"] and done["cases"] == 2


def test_what_is_no_store_is_said(run: Run, at: Store, tmp_path: Path) -> None:
    at("nothing here")
    status, _, err = run("store", "backup", "--to", "b.zip")
    assert status == 2 and "STO-007" in err and not (tmp_path / "b.zip").exists()
    at("store")
    assert "CLI-001" in run("store", "backup", "--to", "nowhere/b.zip")[2]
