"""The tutorial of a board without fabrication data: its list is written to a file, its commands run as they stand."""

from __future__ import annotations

import re
from pathlib import Path
from unittest.mock import patch

import pytest
from click.testing import CliRunner
from tests.docs import test_tutorial

from coppermend.bootstrap import workshop
from coppermend.cli import cli

PAGE = test_tutorial.PAGE.with_name("board-without-data.md")


def test_the_page_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COPPERMEND_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(test_tutorial, "PAGE", PAGE)
    table = re.search(r"```csv\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert table is not None
    (tmp_path / "pins.csv").write_text(table[1], encoding="utf-8")
    shop = workshop(str(tmp_path / "store"), tmp_path / "cache")
    every = test_tutorial.steps()
    assert len(every) > 18
    with patch("coppermend.cli.shop.workshop", lambda _: shop):
        for step in every:
            done = CliRunner().invoke(cli, list(step.words), standalone_mode=False)
            assert done.exit_code == step.status, (step.words, done.output, done.exception)
            printed = iter(done.output.splitlines())
            for line in step.says:
                begins = re.compile(re.escape(line).replace(re.escape("..."), ".*"))
                assert any(begins.match(one) for one in printed), (step.words, line, done.output)
    page = (tmp_path / "record.html").read_text(encoding="utf-8")
    for words in ("1 break found, 1 of them mended", "patch wire 1", "whose course is not known"):
        assert words in page, words
