"""Names that a person may have meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest_names(word: str, names: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """Up to ``count`` of ``names`` nearest to ``word``, best first; case does not matter. Empty when nothing is near.

    >>> nearest_names("u1.9", ["U1.8", "U1.9", "R4.1"])
    ('U1.9', 'U1.8')
    """
    by_key: dict[str, str] = {}
    for name in names:
        by_key.setdefault(name.upper(), name)
    if word.upper() in by_key:
        first = [word.upper()]
    else:
        first = []
    near = difflib.get_close_matches(word.upper(), by_key, n=count + 1, cutoff=0.6)
    keys = list(dict.fromkeys([*first, *near]))[:count]
    return tuple(by_key[key] for key in keys)
