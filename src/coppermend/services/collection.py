"""The cyclic garbage collector while a million small values are made that hold no cycles."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def without_collection() -> Iterator[None]:
    """No cyclic garbage collection inside: a build makes a million small objects in no cycles, and looking through them again and again
    costs as much as making them (measured: half of a large board's graph, two thirds of its time from the cache).

    >>> with without_collection():
    ...     gc.isenabled()
    False
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
