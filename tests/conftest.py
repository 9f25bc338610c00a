"""What all tests share: a steady hypothesis profile and the folder of packages to try things on, where there is one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# The same examples in every run (a red test must stay red when looked at), no time limit per example: two busy cores.
settings.register_profile("steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def corpus() -> Path:
    """Folder of real fabrication packages named by COPPERMEND_CORPUS; the test says that it was not run without it."""
    where = os.environ.get("COPPERMEND_CORPUS", "")
    if not where or not Path(where).is_dir():
        pytest.skip("not run: COPPERMEND_CORPUS names no folder of fabrication packages")
    return Path(where)


@pytest.fixture(scope="session")
def demo_package() -> Path:
    """The committed fabrication package of the demonstration machine."""
    return ROOT / "demo" / "package"
