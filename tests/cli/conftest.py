"""The command line run in the test's own process, on the demonstration machine."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli_runner import Run, shelved_once

from coppermend.cli import main


@pytest.fixture(scope="session")
def demo_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One board cache for a worker: the demonstration board is built once."""
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def plain_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], demo_cache: Path
) -> Run:
    """Run a command line on an empty store: (status, standard output, standard error)."""
    monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / "store"))
    monkeypatch.setenv("COPPERMEND_CACHE", str(demo_cache))
    monkeypatch.setattr("coppermend.bootstrap.open_shelved", shelved_once)

    def go(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["coppermend", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return go
