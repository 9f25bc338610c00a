"""Spans of drill data told elsewhere than in a name or one header line: in a report beside the drill files, or tool by tool in a header.

``report_spans``: a text that names drill files and layer pairs. ``tool_spans``: comments of a drill file that give its tools different layers.
The wording is that of several design systems' reports and headers (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

from coppermend.formats.member import Member
from coppermend.formats.package.spanwords import Layers, in_comments

Span = tuple[int, int]

MOST_CHARACTERS = 400_000
_REPORT = re.compile(r"\.(?:drr|rep|rpt|log|lst|rpo|txt|doc|readme)\Z|\A[^.]*\Z", re.I)
_TOOL = re.compile(r"\s*T0*(\d{1,4})(?!\d)(?P<more>[^;(]*)(?:[;(](?P<said>[^)]*))?")
_ABOUT_TOOL = re.compile(r"\s*[;(/#]+\s*(?:TOOL\s*)?T0*(\d{1,4})(?!\d)(?P<said>.*)", re.I)
_COMMENT = re.compile(r"\s*(?:;|\(|//|#|M47\s*,?)(?P<said>.*)")
_COUNTS = re.compile(r"\b\d+(?:\.\d+)?\s*(?:holes?|hits|drills?|tools?|mm|mils?|inch|in)\b")
_SPEAKS = re.compile(r"layer|lyr|lage|pair|span|from|between|thru|through|blind|buried|via", re.I)


def report_spans(members: Sequence[Member], drills: Collection[str], layers: Layers) -> dict[str, Span | None]:
    """Spans by drill file (base name, small letters) that reports beside them give; None where two lines contradict each other.

    A report names a file and a layer pair on one line, or lines with pairs before (or after) the lines of their files, whichever comes first in it.

    >>> text = b"Layer Pair : Top Layer to Bottom Layer\\nASCII File : b.txt\\nLayer Pair : Top Layer to Mid-Layer 1\\nASCII File : b-1.txt\\n"
    >>> report_spans([Member("b.drr", text)], {"b.txt", "b-1.txt"}, Layers(4))
    {'b.txt': (1, 4), 'b-1.txt': (1, 2)}
    """
    out: dict[str, Span | None] = {}
    for member in members:
        if not _REPORT.search(member.base) or b"\0" in member.data[:1000]:
            continue
        for name, span in _in_report(member.data[:MOST_CHARACTERS].decode("latin-1"), drills, layers):
            out[name] = span if out.get(name, span) == span else None
    return out


def _in_report(text: str, drills: Collection[str], layers: Layers) -> list[tuple[str, Span]]:
    events: list[tuple[str | None, Span | None]] = []
    for line in text.splitlines():
        lower = line.lower()
        named = [name for name in drills if re.search(rf"(?<![\w.-]){re.escape(name)}(?![\w.-])", lower)]
        bare = lower
        for name in named:
            bare = bare.replace(name, " ")
        bare = _COUNTS.sub(" ", bare)
        span = in_comments([bare], layers).span if _SPEAKS.search(bare) else None
        if len(named) == 1 or (span is not None and not named):
            events.append((named[0] if named else None, span))
    found = [(name, span) for name, span in events if name is not None and span is not None]
    if found or not any(name for name, _ in events):
        return found
    return _in_blocks(events)


def _in_blocks(events: Sequence[tuple[str | None, Span | None]]) -> list[tuple[str, Span]]:
    """Pairs and files on lines of their own: what stands first in the text leads."""
    out: list[tuple[str, Span]] = []
    pair_leads = events[0][1] is not None
    name, span = None, None
    for one, pair in events:
        name, span = one or name, pair or span
        if name is not None and span is not None and (one is not None) == pair_leads:
            out.append((name, span))
    return out


def tool_spans(text: str, layers: Layers) -> dict[int, Span]:
    """Spans by tool number where a drill file's comments give all its tools one each, and not the same to all; empty else.

    A comment about a tool (``T1 : layers 1-2``, ``T1C0.3 ; layers 1-2``) counts for that tool, any other for the tools defined after it.

    >>> tool_spans("M48\\n;Layers 1-2\\nT1C0.2\\n;Layers 1-4\\nT2C0.8\\n%\\nT1\\nX0Y0\\nT2\\nX1Y1\\nM30\\n", Layers(4))
    {1: (1, 2), 2: (1, 4)}
    """
    told: dict[int, set[Span]] = {}
    tools: set[int] = set()
    now: Span | None = None
    for line in text[:MOST_CHARACTERS].splitlines():
        about = _ABOUT_TOOL.match(line)
        comment = _COMMENT.match(line)
        tool = _TOOL.match(line)
        if about is not None:
            _add(told, int(about[1]), _span(about["said"], layers))
        elif comment is not None:
            now = _span(comment["said"], layers) or now
        elif tool is not None:
            tools.add(int(tool[1]))
            own = _span(tool["said"] or "", layers)
            if own is not None or "C" in tool["more"].upper():
                _add(told, int(tool[1]), own or now)
    tools.discard(0)
    single = {tool: spans.copy().pop() for tool, spans in told.items() if len(spans) == 1}
    whole = tools and tools <= set(single) and len(single) == len(told)
    out = {tool: single[tool] for tool in sorted(tools)} if whole else {}
    return out if len(set(out.values())) > 1 else {}


def _span(said: str, layers: Layers) -> Span | None:
    return in_comments([said.strip()], layers).span if _SPEAKS.search(said) or re.search(r"\bL\d", said, re.I) else None


def _add(told: dict[int, set[Span]], tool: int, span: Span | None) -> None:
    if span is not None:
        told.setdefault(tool, set()).add(span)


def words_of_tools(spans: Mapping[int, Span]) -> str:
    """The spans in words, tool by tool.

    >>> words_of_tools({1: (1, 2), 2: (1, 4)})
    'T1: 1 to 2, T2: 1 to 4'
    """
    shown = [f"T{tool}: {a} to {b}" for tool, (a, b) in list(spans.items())[:8]]
    return ", ".join(shown) + (" ..." if len(spans) > 8 else "")
