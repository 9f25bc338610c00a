"""Pytest runs against a copy of the source, each in a fork of one process that holds the libraries but nothing of Coppermend.

What a run then costs is reading Coppermend and running its tests; the interpreter, pytest and the libraries are read once.
``python -m tests.forked`` is that process: a line of JSON in (``source``, ``words``, ``out``), the run's return code out.
"""

from __future__ import annotations

import importlib
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LIBRARIES = (
    "pytest", "hypothesis", "hypothesis.strategies", "shapely", "rustworkx", "sqlalchemy", "fastapi", "httpx", "PIL.Image",
    "scipy.ndimage", "scipy.optimize", "scipy.signal", "scipy.sparse.csgraph", "scipy.sparse.linalg", "scipy.spatial", "scipy.special",
)  # fmt: skip
LIMIT_S = 300
WRONG_SOURCE = 97
"""Return code of a run that did not come to its tests, or would have imported another Coppermend than the copy."""


@dataclass(frozen=True, slots=True)
class Forks:
    """The process that forks, and a folder for what its runs print."""

    process: subprocess.Popen[str]
    folder: Path

    def run(self, source: Path, tests: tuple[str, ...]) -> tuple[int, str]:
        """Run these tests against the copy of the source below ``source``: (return code of pytest, what it printed). After 300 s it is ended (-14)."""
        out = self.folder / "out.txt"
        plain = ["-q", "-x", "-p", "_hypothesis_pytestplugin", "-p", "no:cacheprovider", "--no-header"]
        words = [*plain, f"--basetemp={self.folder / 'tests'}", *tests]
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(json.dumps({"source": str(source), "words": words, "out": str(out)}) + "\n")
        self.process.stdin.flush()
        code = self.process.stdout.readline()
        return int(code), out.read_text(encoding="utf-8", errors="replace")


@contextmanager
def forks(folder: Path) -> Iterator[Forks]:
    """Start the process that forks; it ends with its input."""
    # the plugins of other libraries are left out: reading them costs more than most of the tests
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    for name in ("PYTEST_XDIST_WORKER", "PYTEST_ADDOPTS"):
        environment.pop(name, None)
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.forked"],
        cwd=ROOT,
        env=environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        yield Forks(process, folder)
        assert process.stdin is not None
        process.stdin.close()


def child(source: str, words: list[str], out: str) -> int:
    """In the fork: what is printed goes to ``out``, Coppermend comes from ``source``, and pytest runs."""
    paper = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(paper, 1)
    os.dup2(paper, 2)
    signal.alarm(LIMIT_S)
    os.environ["PYTHONPATH"] = source
    sys.path.insert(0, source)
    found = importlib.import_module("coppermend").__file__
    if found is None or not Path(found).is_relative_to(source):
        print(f"coppermend comes from {found}, not from {source}")
        return WRONG_SOURCE
    return int(importlib.import_module("pytest").main(words))


def serve() -> None:
    """Fork for each line of the input."""
    for name in LIBRARIES:
        importlib.import_module(name)
    assert "coppermend" not in sys.modules
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            code = WRONG_SOURCE  # not 1: a fault before pytest is no red test
            try:
                code = child(**json.loads(line))
            finally:
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(code)
        print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)


if __name__ == "__main__":
    serve()
