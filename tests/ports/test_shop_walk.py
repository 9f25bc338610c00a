"""docs/how-to/shop.md as a newcomer follows it: a user with a password, three benches that read it from libpq's file, one store.

PostgreSQL documentation, "The Password File": host:port:database:user:password, a : in the password written \\:; on Unix not
readable by others, or it is not used.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from tests.shop_server import ShopServer

PASSWORD = "three benches: one store"


@pytest.fixture
def database(shop: ShopServer) -> Iterator[str]:
    """A database that only its owner may reach, and only with the password."""
    name = shop.new_database()
    rules = shop.data / "pg_hba.conf"
    before = rules.read_text()
    with psycopg.connect(shop.url("postgres"), autocommit=True) as line:
        line.execute(f"CREATE ROLE teller_{name} LOGIN PASSWORD '{PASSWORD}'")
        line.execute(f"ALTER DATABASE {name} OWNER TO teller_{name}")
        rules.write_text(f"host {name} teller_{name} 127.0.0.1/32 scram-sha-256\n{before}")
        line.execute("SELECT pg_reload_conf()")
        yield name
        rules.write_text(before)
        line.execute("SELECT pg_reload_conf()")


def bench(home: Path, url: str, *words: str) -> tuple[int, str]:
    """One command at a computer of its own, named by its home folder."""
    env = {k: v for k, v in os.environ.items() if k not in ("XDG_DATA_HOME", "PGPASSWORD", "PGPASSFILE")}
    env |= {"HOME": str(home), "COPPERMEND_STORE": url}
    program = [sys.executable, "-m", "coppermend", *words]
    done = subprocess.run(program, capture_output=True, text=True, env=env, timeout=180)
    assert "Traceback" not in done.stderr + done.stdout and PASSWORD not in done.stderr + done.stdout
    return done.returncode, done.stdout + done.stderr


@pytest.mark.skipif(os.name == "nt", reason="not run: libpq reads its password file elsewhere on Windows")
def test_three_benches_from_nothing(shop: ShopServer, database: str, tmp_path: Path) -> None:
    user = f"teller_{database}"
    url = f"postgresql://{user}@127.0.0.1:{shop.port}/{database}"
    homes = [tmp_path / name for name in ("window", "door", "store room")]
    for home in homes:
        home.mkdir()
    status, said = bench(homes[0], url, "case", "list")
    assert status == 2 and "STO-004" in said and ".pgpass" in said, said
    kept = PASSWORD.replace(":", "\\:")
    for home in homes:
        (home / ".pgpass").write_text(f"127.0.0.1:{shop.port}:{database}:{user}:{kept}\n")
        (home / ".pgpass").chmod(0o644)
    assert bench(homes[0], url, "case", "list")[0] == 2, "a password that others may read is not used"
    for home in homes:
        (home / ".pgpass").chmod(0o600)
    status, said = bench(homes[0], url, "case", "list")
    assert status == 0 and "No cases yet" in said, said
    assert bench(homes[1], url, "bench", "name", "by the door")[0] == 0
    assert bench(homes[1], url, "case", "list")[0] == bench(homes[2], url, "store", "check")[0] == 0
    ids = {next((home / ".local").rglob("bench-id")).read_text() for home in homes}
    assert len(ids) == 3, "each computer is a bench of its own"
