"""The page's pure functions (how the board lies, picking, the slip's state), run as they are by Node where there is one.

Without Node these are not run; the browser tests still load every module.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FILES = sorted(HERE.glob("*.tests.mjs"))


def test_pure_functions_of_the_page() -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("not run: no Node on this machine (users need none; only this test does)")
    words = [node, str(HERE / "run.mjs"), *(str(one) for one in FILES)]
    run = subprocess.run(words, capture_output=True, text=True, timeout=240, check=False)
    assert run.returncode == 0, run.stderr
    results = json.loads(run.stdout)
    assert len(results) > 25
    assert {name: wrong for name, wrong in results.items() if wrong} == {}
