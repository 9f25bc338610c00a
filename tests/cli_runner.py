"""What the tests of the command line share: the board read once, and the type of a runner (fixtures in tests/cli/conftest.py)."""

from __future__ import annotations

import functools
from collections.abc import Callable

from coppermend.bootstrap import open_shelved
from coppermend.services.ports import ShelvedBoard

Run = Callable[..., tuple[int, str, str]]
"""(words of a command line) -> (status, standard output, standard error)."""


@functools.cache
def shelved_once(package: str, cache_dir: str | None = None) -> ShelvedBoard:
    """What a command would read from the board cache each time, read once; refusals are not kept."""
    return open_shelved(package, cache_dir)
