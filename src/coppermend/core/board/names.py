"""Names that a person may have meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest_names(word: str, names: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """Up to ``count`` of ``names`` nearest to ``word``, best first; case does not matter. Empty when nothing is near.

    Likeness is difflib's ratio (at least 0.6); of equally near names the one with the longer common beginning comes first, then the shorter.

    >>> nearest_names("u1.9", ["U1.8", "U1.9", "R4.1"])
    ('U1.9', 'U1.8')
    """
    wanted = word.upper()
    by_key: dict[str, str] = {}
    for name in names:
        by_key.setdefault(name.upper(), name)
    near = difflib.get_close_matches(wanted, by_key, n=10 * count, cutoff=0.6)

    def rank(key: str) -> tuple[bool, float, int, int, str]:
        likeness = difflib.SequenceMatcher(None, key, wanted).ratio()
        return key != wanted, -round(likeness, 6), -_common_start(key, wanted), len(key), key

    return tuple(by_key[key] for key in sorted(near, key=rank)[:count])


def _common_start(a: str, b: str) -> int:
    return next((k for k, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
