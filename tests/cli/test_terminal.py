"""Words that others wrote do not steer the terminal they are shown in. What a terminal obeys: ECMA-48 (C0, C1 and control sequences)."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pty = pytest.importorskip("pty", reason="needs a pseudo-terminal")

EVIL = "\x1b]0;owned\x07\x1b[2J\rall is well\x9b31m"


def on_a_terminal(*words: str, store: Path) -> bytes:
    """What a command writes when its standard output and error are a terminal."""
    ours, its = pty.openpty()
    command = [sys.executable, "-m", "coppermend", *words]
    done = subprocess.Popen(command, stdout=its, stderr=its, env={**os.environ, "COPPERMEND_STORE": str(store)})
    os.close(its)
    said = b""
    while True:
        try:
            some = os.read(ours, 65536)
        except OSError:  # Linux: the other end was closed
            break
        if not some:
            break
        said += some
    os.close(ours)
    assert done.wait(60) == 0, said
    return said


def test_control_characters_of_a_case_are_shown_and_not_obeyed(tmp_path: Path) -> None:
    for words in (("case", "new", "--board", "demo", "--title", EVIL, "--owner", EVIL), ("note", "1", "remark", EVIL)):
        said = on_a_terminal(*words, store=tmp_path)
        assert b"\x1b" not in said.replace(b"\x1b[?25", b"") and b"\x07" not in said
    listed = on_a_terminal("case", "list", store=tmp_path)
    assert not any(one in listed for one in (b"\x1b", b"\x07", "\x9b".encode()))
    assert "␛]0;owned␇␛[2J␍all is well�31m" in listed.decode()
    assert listed.count(b"\r") == listed.count(b"\r\n"), "a terminal ends lines so, and nothing else returns"


def test_files_and_pipes_get_every_character(tmp_path: Path) -> None:
    at = {**os.environ, "COPPERMEND_STORE": str(tmp_path)}
    for words in (("case", "new", "--board", "demo", "--title", EVIL), ("case", "list", "--json")):
        done = subprocess.run([sys.executable, "-m", "coppermend", *words], capture_output=True, env=at, check=True)
    assert "\x9b31m" in done.stdout.decode()
