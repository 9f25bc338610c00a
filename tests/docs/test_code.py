"""The code itself: lint, format of the lint rules, strict types, import contracts, and every docstring example."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import coppermend

ROOT = Path(__file__).resolve().parents[2]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """A command of the environment, in the checkout."""
    return subprocess.run(
        [sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, timeout=600, check=False
    )


def test_lint() -> None:
    done = run("ruff", "check", "--no-cache", ".")
    assert done.returncode == 0, done.stdout


def test_strict_types() -> None:
    done = run("mypy", "--strict", "src")
    assert done.returncode == 0, done.stdout


def test_import_contracts() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports; raise SystemExit(lint_imports())"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-4000:]
    assert "0 broken" in done.stdout


MODULES = sorted(
    name
    for _, name, _ in pkgutil.walk_packages(coppermend.__path__, "coppermend.")
    if not name.endswith("__main__") and ".page." not in name
)


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples(name: str) -> None:
    """Every example in a docstring gives what it says."""
    outcome = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert outcome.failed == 0
