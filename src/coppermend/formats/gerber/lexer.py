"""A Gerber file cut into tokens by one regular expression (linear time whatever comes in)."""

from __future__ import annotations

import re

Token = tuple[str, str, str, str, str, str, str]
"""G 1 to 3, X, Y, I, J, D 1 to 3, and the whole text of anything else. Most are empty."""

_TOKEN = re.compile(
    r"\s*+(?:"
    r"(?:G0{0,3}([123]))?(?:X([+-]?[\d.]++))?(?:Y([+-]?[\d.]++))?(?:I([+-]?[\d.]++))?(?:J([+-]?[\d.]++))?(?:D0{0,3}([123]))?\*"
    r"|(G(?:04|4(?!\d))[^*]{0,4000}+\*|%[^%]*+%|[^%*]++\*|%|[^%*]++)"
    r")"
)
"""A comment may hold a percent sign; a lone % or text without * at its end is something that belongs to no statement."""

WORD = re.compile(r"([A-Z])\s*([+-]?[\d.]*)")
"""Letter and digits of an unusual word."""


def tokens(text: str) -> list[Token]:
    """All tokens in order.

    >>> tokens("G01X1Y2D02*G36*")
    [('1', '1', '2', '', '', '2', ''), ('', '', '', '', '', '', 'G36*')]
    """
    return _TOKEN.findall(text.rstrip())


def offsets(text: str, wanted: set[int]) -> dict[int, int]:
    """Where the tokens of those indexes start, as character offsets."""
    out: dict[int, int] = {}
    if not wanted:
        return out
    last = max(wanted)
    for k, match in enumerate(_TOKEN.finditer(text.rstrip())):
        if k in wanted:
            raw = match.group()
            out[k] = match.start() + len(raw) - len(raw.lstrip())
        if k >= last:
            break
    return out
