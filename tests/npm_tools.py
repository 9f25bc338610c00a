"""Tools from npm that only tests use: fetched once into a cache folder, never into the checkout."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import platformdirs
import pytest


def npm_tool(name: str, version: str) -> Path:
    """The folder of an npm package at exactly that version; the calling test is skipped, with the reason in words, where it cannot be had."""
    npm = shutil.which("npm")
    if npm is None or shutil.which("node") is None:
        pytest.skip("not run: no Node with npm on this machine (users need none; only this test does)")
    home = Path(platformdirs.user_cache_dir("coppermend-tests", appauthor=False)) / f"{name}-{version}"
    made = home / "node_modules" / name
    if not (made / "package.json").exists():
        fresh = home.with_name(f"{home.name}.{os.getpid()}")
        fresh.mkdir(parents=True)
        words = [npm, "install", "--prefix", str(fresh), "--no-audit", "--no-fund", "--no-save", "--ignore-scripts"]
        try:
            run = subprocess.run(
                [*words, f"{name}@{version}"], capture_output=True, text=True, timeout=180, check=False
            )
        except subprocess.TimeoutExpired:
            run = None
        if run is None or run.returncode != 0 or not (fresh / "node_modules" / name / "package.json").exists():
            shutil.rmtree(fresh, ignore_errors=True)
            pytest.skip(f"not run: npm could not fetch {name} {version}")
        try:
            fresh.rename(home)
        except OSError:  # another worker was first
            shutil.rmtree(fresh, ignore_errors=True)
    return made
