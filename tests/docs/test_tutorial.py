"""The tutorial's commands run as they stand, in order, in one store, and say what the page says they say."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import pytest
from click.testing import CliRunner

from coppermend.bootstrap import workshop
from coppermend.cli import cli
from coppermend.core.findings import Refusal

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "tutorial" / "first-repair.md"


@dataclass(frozen=True)
class Step:
    """A command of the page, the status it must end with, and the beginnings of the lines it must print, in order; "..." is anything."""

    words: tuple[str, ...]
    status: int
    says: tuple[str, ...]


def steps() -> list[Step]:
    """All commands of the page."""
    found = []
    for block in re.findall(r"```console\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, *lines = part.rstrip("\n").split("\n")
            status = re.search(r"#\s*ends with (\d)", command)
            words = shlex.split(command, comments=True)
            assert words[0] == "coppermend"
            says = tuple(line for line in lines if line.strip() not in ("", "..."))
            found.append(Step(tuple(words[1:]), int(status[1]) if status else 0, says))
    return found


def test_the_tutorial_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    shop = workshop(str(tmp_path / "store"), tmp_path / "cache")
    every = steps()
    assert len(every) > 20
    with patch("coppermend.cli.shop.workshop", lambda _: shop):
        for step in every:
            done = CliRunner().invoke(cli, list(step.words), standalone_mode=False)
            answer = done.return_value if isinstance(done.return_value, int) else done.exit_code
            status = 2 if isinstance(done.exception, Refusal) else answer
            assert status == step.status, (step.words, done.output, done.exception)
            printed = iter(done.output.splitlines())
            for line in step.says:
                begins = re.compile(re.escape(line).replace(re.escape("..."), ".*"))
                assert any(begins.match(one) for one in printed), (step.words, line, done.output)
    assert (tmp_path / "record.pdf").read_bytes().startswith(b"%PDF")
    page = (tmp_path / "record.html").read_text(encoding="utf-8")
    for words in ("1 break found, 1 of them mended", "patch wire 1", "What remains to be tested"):
        assert words in page
    assert (tmp_path / "larkenfell.zip").is_file()
