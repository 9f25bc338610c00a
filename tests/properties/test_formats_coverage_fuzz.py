"""The coverage-guided fuzz job, where atheris is at hand; it says in words when it is not."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib.util import find_spec

import pytest
from tests.coverage_fuzz import ABSENT, SECONDS_A_TRIAL
from tests.soak import ROOT

MINUTES = 5


@pytest.mark.soak
@pytest.mark.parametrize("reader", ["gerber", "drill", "ipcd356", "ipc2581", "centroid"])
def test_no_input_that_atheris_finds_gets_past_a_reader(reader: str) -> None:
    if find_spec("atheris") is None:
        pytest.skip(ABSENT)
    seconds = float(os.environ.get("COPPERMEND_SOAK_SECONDS", 60 * MINUTES))
    done = subprocess.run(
        [sys.executable, "-m", "tests.coverage_fuzz", reader, str(int(seconds))],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=seconds + 4 * SECONDS_A_TRIAL,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]


def test_without_atheris_the_job_says_so_and_ends() -> None:
    code = "import sys; sys.modules['atheris'] = None; from tests.coverage_fuzz import main; sys.exit(main(['gerber', '1']))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )
    assert (done.returncode, done.stdout.strip()) == (2, ABSENT)
