"""``coppermend demo`` and ``serve`` as a person starts them: a process that says its address, answers, and ends cleanly at Ctrl-C."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from coppermend.cli.serve import listening
from coppermend.core.findings import Refusal


@contextmanager
def started(*words: str, store: Path) -> Iterator[tuple[subprocess.Popen[str], str, str]]:
    """The command as its own process: (process, address it printed, text before the address)."""
    env = {**os.environ, "PYTHONUNBUFFERED": "1", "COPPERMEND_CACHE": str(store.parent / "cache")}
    command = [sys.executable, "-m", "coppermend", "--store", str(store), *words, "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env)
    try:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            found = re.search(r"http://127\.0\.0\.1:\d+\S*", line)
            if found:
                yield process, found[0], said
                break
        else:
            raise AssertionError(f"no address was printed: {said}")
    finally:
        process.kill()
        process.wait(10)
        if process.stdout is not None:
            process.stdout.close()


def get(url: str) -> bytes:
    """A GET without proxy."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with opener.open(url, timeout=30) as answer:
        data: bytes = answer.read()
    return data


@pytest.mark.skipif(os.name == "nt", reason="not run: Ctrl-C is sent another way on Windows")
def test_demo_says_its_address_serves_the_case_and_ends_at_ctrl_c(tmp_path: Path) -> None:
    with started("demo", store=tmp_path / "demo") as (process, address, _):
        home, _, case = address.partition("/#/case/")
        assert b"Coppermend" in get(home + "/")
        bench = json.loads(get(f"{home}/api/cases/{case.split('/')[0]}/bench"))
        assert bench["practice"] is True and bench["step"]["check"] is not None
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=20)
        assert process.returncode == 0 and "closed" in rest and "Traceback" not in rest
    with started("demo", store=tmp_path / "demo") as (_, again, _):
        assert again.partition("/#/")[2] == address.partition("/#/")[2]


def test_a_free_port_is_taken_when_the_usual_one_is_not() -> None:
    held = listening(None)
    other = listening(None)
    try:
        assert held.getsockname()[0] == other.getsockname()[0] == "127.0.0.1"
        assert held.getsockname()[1] != other.getsockname()[1]
    finally:
        held.close()
        other.close()


def test_a_named_port_that_is_taken_is_refused_in_words() -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        with pytest.raises(Refusal) as caught:
            listening(held.getsockname()[1])
    assert caught.value.finding.code == "SRV-001" and caught.value.finding.remedy
