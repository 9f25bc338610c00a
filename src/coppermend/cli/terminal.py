"""What a terminal shows of text that others wrote: words of an entry, titles, names of devices. Control characters are shown, not obeyed.

A remark that a paired device sent, or a case that came in a bundle, could otherwise move the cursor, rename the window or hide a line.
"""

from __future__ import annotations

import io
import re
import sys

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]|\r(?!\n)")
"""C0 and C1 control characters (ECMA-48, 5.2 and 5.3) but tab and the ends of lines."""
_BUT_RETURN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def shown(text: str, returns: bool = False) -> str:
    """Text with its control characters as the signs of Unicode's block Control Pictures. ``returns``: a lone carriage return stays, for a line that is written anew.

    >>> shown("a\\x1b[2Jb\\tc\\r\\nd"), shown("10%\\r20%"), shown("10%\\r20%", returns=True), shown("\\x9b")
    ('a␛[2Jb\\tc\\r\\nd', '10%␍20%', '10%\\r20%', '�')
    """
    return (_BUT_RETURN if returns else _CONTROL).sub(_sign, text)


def _sign(found: re.Match[str]) -> str:
    code = ord(found[0])
    return chr(0x2400 + code) if code < 0x20 else "␡" if code == 0x7F else "�"


class Terminal(io.TextIOWrapper):
    """A stream of text to a terminal."""

    returns = False

    def write(self, text: str) -> int:
        """Write text with its control characters shown."""
        return super().write(shown(text, self.returns))


def guard_terminal() -> None:
    """Put standard output and error behind ``Terminal`` where they are terminals; files and pipes get every byte as it is."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper) and not isinstance(stream, Terminal) and stream.isatty():
            guarded = Terminal(stream.buffer, encoding="utf-8", errors="replace", line_buffering=True)
            guarded.returns = name == "stderr"
            setattr(sys, name, guarded)
