"""Words that can be words of this board: what is too wide for its data bus or beyond its addresses is said, by its line, and left out."""

from __future__ import annotations

from dataclasses import replace

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.memory.errors import MOST_SAID, ErrorLog, ErrorWord
from coppermend.core.memory.model import MemoryMap

CONFLICT = "Look at how these addresses and the line range were written down, or give the range that was really tested."


def fitting(log: ErrorLog, board: MemoryMap) -> ErrorLog:
    """The log without words that this board cannot have: each is said (MEM-001). A stated range that error words contradict is said (MEM-008) and not used.
    Refusal MEM-006 when more than half of the words cannot be.

    >>> from coppermend.core.memory.derive import map_from_text
    >>> from coppermend.core.memory.errors import read_errors
    >>> fits = fitting(read_errors("8000 55 54\\n8001 55 54\\n8002 55 454"), map_from_text("U50 8000-FFFF D0-D7"))
    >>> len(fits.words), fits.findings[0].code, fits.findings[0].place.line
    (2, 'MEM-001', 3)
    """
    bad = {k: why for k, one in enumerate(log.words) if (why := _why_not(one, board))}
    if 2 * len(bad) > len(log.words):
        first = min(bad)
        raise refuse(
            "MEM-006",
            f"{bad[first]}{f' So with {len(bad)} of {len(log.words)} words.' if len(bad) > 1 else ''}",
            "Give addresses and words as the processor reads them, in hexadecimal (32768 is 8000), and the right board.",
            Place(line=log.words[first].line or None),
        )
    notes = list(log.findings)
    for k, why in list(bad.items())[:MOST_SAID]:
        line = log.words[k].line
        words = f"{f'Line {line}' if line else 'A word'} is left out: {why}"
        notes.append(Finding("MEM-001", Severity.WARNING, Place(line=line or None), words, "Write it as 8000 55 54."))
    if len(bad) > MOST_SAID:
        notes.append(
            Finding(
                "MEM-001", Severity.WARNING, Place(), f"{len(bad) - MOST_SAID} more words are left out for the same."
            )
        )
    kept = replace(log, words=tuple(one for k, one in enumerate(log.words) if k not in bad), findings=tuple(notes))
    return _within(kept)


def _why_not(one: ErrorWord, board: MemoryMap) -> str:
    if one.address >> board.space:
        top = (1 << board.space) - 1
        return f"the address {one.address:X} is beyond the processor's {top:X}."
    if max(one.wrote, one.read) >> board.width:
        return f"the word {max(one.wrote, one.read):X} at {one.address:04X} is wider than the {board.width} data bits of this board."
    return ""


def _within(log: ErrorLog) -> ErrorLog:
    if log.tested is None:
        return log
    first, last = log.tested
    out = [one for one in log.errors if not first <= one.address <= last]
    if not out:
        return log
    named = ", ".join(f"{one.address:04X}{f' (line {one.line})' if one.line else ''}" for one in out[:4])
    words = (
        f"The log says that {first:04X}-{last:04X} was tested, but {len(out)} of {len(log.errors)} error words lie outside it: "
        f"{named}{' ...' if len(out) > 4 else ''}. They are weighed as if no range had been said."
    )
    said = Finding("MEM-008", Severity.WARNING, Place(line=out[0].line or None), words, CONFLICT)
    return replace(log, tested=None, findings=(*log.findings, said))
