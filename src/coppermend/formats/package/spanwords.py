"""Layer words: what a name or a comment says of the copper layers between which a file drills.

Words become places from the component side; numbers count only where a word leads them (``Layers 1-2``) or, in a name, as a pair
(``1to2``). Revisions, dates, number formats and counts of layers are no span. Wording: seen in headers and names of several design
systems, and its obvious variants (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

_FIRST = r"f[ _.]?cu|front|top|component(?:[ _-]?side)?|comp|cmp|oben"
_LAST = r"b[ _.]?cu|back|bottom|bot|solder(?:[ _-]?side)?|sol|unten"
_INNER = (
    r"(?:inner|internal|int|in|mid|innen|i)(?:[ _.-]*(?:layer|lage|lyr|signal|plane|l))?[ _.-]*\d{1,2}(?:[ _.]?cu)?"
)
_NUMBER = r"(?:layer|lage|lyr|ly|l)[ _.-]*\d{1,2}"
_WORD = rf"{_FIRST}|{_LAST}|{_INNER}|{_NUMBER}"
_PAIR = re.compile(
    rf"(?<![a-z0-9])({_WORD})(?:[ _-]*(?:layer|side|cu))?(?:[ _.~&+-]|and|to|bis|thru)*({_WORD})(?![a-z0-9])"
)
_INNER_WORD, _NUMBER_WORD, _LONE = (
    re.compile(rf"(?<![a-z0-9])(?:{one})(?![a-z0-9])") for one in (_INNER, _NUMBER, rf"{_INNER}|{_NUMBER}")
)
_SIDE_WORD = re.compile(rf"(?<![a-z0-9])(?:({_FIRST})|({_LAST}))(?![a-z0-9])")
_BARE = re.compile(
    r"(?<![\d.])(?P<led>(?<![a-z])(?:layers?|lage|lyrs?|lay|ly|l)[ _.-]*)?(?P<a>\d{1,2})"
    r"(?:[ _.]*(?:to|thru|bis|and|[-_~&+])[ _.]*)(?:(?:layer|lyr|lay|ly|l)[ _.-]*)?(?P<b>\d{1,2})(?![\d.])"
)
_NOT_THROUGH = re.compile(
    r"(?<![a-z])(?:blind|buried|bbv|laser|micro[ _-]?via|u[ _-]?via|sackloch|vergraben|back[ _-]?drill|controlled[ _-]?depth)",
    re.I,
)
_NONE_OF_IT = re.compile(
    r"(?<![a-z])(?:no|none|without|not|ohne|keine)(?![a-z])|[:=]\s*0(?!\d)|(?<!\d)0\s+(?:blind|buried|laser|micro)",
    re.I,
)
_NOISE = re.compile(
    r"(?:19|20)\d\d[ _.:/-]?\d{1,2}[ _.:/-]?\d{1,2}"  # a date
    r"|\d{1,2}[./-]\d{1,2}[./-](?:19|20)\d\d|\d{1,2}:\d{2}(?::\d{2})?"
    r"|(?<![a-z])(?:revision|rev|version|ver|v|r|issue|iss)[ _.:#-]*[a-z]?\d+(?:[ _.-]\d+)*[a-z]?(?![a-z0-9])"
    r"|(?:file[ _-]?)?format[^a-z\d\n]*\d\s*[-:._]\s*\d"
    r"|\d[ _.:-]\d(?=[ _-]*(?:inch|mm|mil|metric|imperial|leading|trailing))"
    r"|\(\d{1,2}\)\s*\Z|layer[ _]colou?r[ _]*=?\s*\d*|(?<![a-z0-9.])\d{1,2}[ _-]?(?:layers?|lagen|lyrs?)(?![a-z]|[ _.-]*\d)"
)
_CUE = re.compile(r"(?<![a-z])(?:layers?|lyrs?|lagen?|couches?|spans?)(?![a-z])")
_LEADS = re.compile(
    r"(?<![a-z])(?:(?:layers|lagen|couches)|layer[ _-]*(?:pair|set|span|range)s?|(?:drill|via)[ _-]*spans?|spans?)(?![a-z])"
)
_CUE_WORDS = frozenset((
    "layer", "layers", "lyr", "lyrs", "lage", "lagen", "couche", "couches", "span", "spans",
))  # fmt: skip
_FILLER = _CUE_WORDS | frozenset((
    "pair", "pairs", "set", "range", "side", "cu", "copper", "from", "to", "and", "thru", "through", "bis", "und",
    "until", "between", "start", "begin", "first", "beginning", "end", "ending", "stop", "last", "no", "number",
    "nr", "the", "drill", "via", "hole", "holes",
))  # fmt: skip
_TOKEN = re.compile(r"@\d+|[a-z][a-z_]*|\d+(?:\.\d+)?|[^\w\s]")
_JOINED = re.compile(
    r"[\s:=#]*([a-z][\w.+-]*?)\s*(?:\s(?:and|to|thru|through|bis)\s|\s-+>?\s|[,/&]\s*|->)\s*(?:layer\s+)?([a-z0-9][\w.+-]*)"
)
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z][a-z])")


@dataclass(frozen=True, slots=True)
class Layers:
    """The copper layers words can name: ``count`` of them, ``own`` words of this package's copper files with their places from 1."""

    count: int
    own: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Said:
    """What words say: a ``span`` and ``by`` what; ``weak`` when it is two bare numbers of a name; ``open`` when words speak of layers and are not understood."""

    span: tuple[int, int] | None = None
    by: str = ""
    weak: bool = False
    open: bool = False


NOTHING_SAID = Said()


def layer_position(word: str, count: int) -> int | None:
    """The place of a copper layer, 1 to ``count`` from the component side, that a word names; None where it names none.

    >>> [layer_position(w, 6) for w in ("F_Cu", "In1_Cu", "in4", "L2", "BOTTOM", "GND")]
    [1, 2, 5, 2, 6, None]
    """
    text = word.strip().lower().rstrip(".,;:")
    if re.fullmatch(_FIRST, text):
        return 1
    if re.fullmatch(_LAST, text):
        return count
    digits = re.search(r"\d{1,2}", text)
    if digits is None:
        return None
    number = int(digits[0])
    if re.fullmatch(_INNER, text):
        number += 1
    elif not re.fullmatch(_NUMBER, text):
        return None
    return number if 1 <= number <= count else None


def ordered(first: int | None, last: int | None) -> tuple[int, int] | None:
    """The span from the component side; None where an end is unknown or both are one."""
    if first is None or last is None or first == last:
        return None
    return min(first, last), max(first, last)


# ---- names ----
def in_name(stem: str, layers: Layers) -> Said:
    """What a file name (without its ending and the board's own name) says.

    >>> six = Layers(6)
    >>> [in_name(w, six).span for w in ("drill_1to2", "Drill Top-Inner2", "via_L5_L6", "amp-v2_3")]
    [(1, 2), (1, 3), (5, 6), None]
    """
    text = _NOISE.sub(" ", _CAMEL.sub("_", stem).lower())
    pairs = list(_PAIR.finditer(text))
    if pairs:
        found = ordered(layer_position(pairs[-1][1], layers.count), layer_position(pairs[-1][2], layers.count))
        if found is not None:
            return Said(found, "its name")
    bare = [m for m in _BARE.finditer(text) if 1 <= int(m["a"]) < int(m["b"]) <= layers.count]
    if len(bare) == 1:
        weak = not bare[0]["led"] and not _NOT_THROUGH.search(text)
        return Said((int(bare[0]["a"]), int(bare[0]["b"])), "the numbers in its name" if weak else "its name", weak)
    lone = [layer_position(one, layers.count) for one in _LONE.findall(text)]
    if _NOT_THROUGH.search(text) or any(one is not None and one != layers.count for one in lone):
        return Said(by="its name", open=True)
    return NOTHING_SAID


# ---- comments ----
def in_comments(lines: Sequence[str], layers: Layers) -> Said:
    """What the comments of a file's head say.

    >>> six = Layers(6)
    >>> [in_comments([w], six).span for w in ("LAYER PAIR: TOP - L2", "Layers 1-2", "PLATED HOLES FROM LAYER 5 TO LAYER 6", "Tools 1-2 plated")]
    [(1, 2), (1, 2), (5, 6), None]
    """
    found: set[tuple[int, int]] = set()
    unclear = False
    start: int | None = None
    for line in lines:
        text = _NOISE.sub(" ", line.lower().replace("@", " "))
        spans, doubtful, lone = _line(text, layers)
        if lone is not None and not spans:
            if start is not None and re.search(r"(?<![a-z])(?:end|stop|last|to|bis)(?![a-z])", text):
                spans, doubtful = [pair for pair in (ordered(start, lone),) if pair], False
                start = None
            elif re.search(r"(?<![a-z])(?:start|begin|first|from|von)(?![a-z])", text):
                start, doubtful = lone, False
        found.update(spans)
        unclear |= doubtful
    unclear |= start is not None
    if len(found) == 1:
        return Said(found.pop(), "its header comment")
    if len(found) > 1:
        return Said(by="its header comments, which name several spans,", open=True)
    unclear |= any(_NOT_THROUGH.search(line) and not _NONE_OF_IT.search(line) for line in lines)
    return Said(by="its header comment", open=True) if unclear else NOTHING_SAID


def _line(text: str, layers: Layers) -> tuple[list[tuple[int, int]], bool, int | None]:
    """The spans one comment line names, whether it speaks of layers in words that are not understood, and a layer that it names alone."""
    marked = _marked(text.replace("_", " "), layers)
    spans: list[tuple[int, int]] = []
    doubtful, lone = False, None
    for places, led in _runs(marked, layers.count):
        span = _span_of(places, layers.count)
        if span is not None:
            spans.append(span)
        elif led and not (len(places) == 1 and places[0] == layers.count):
            doubtful = True
        if len(places) == 1 and led:
            lone = places[0]
    if not spans and not doubtful:
        doubtful = _unknown_pair(text)
    return spans, doubtful, lone


def _marked(text: str, layers: Layers) -> str:
    """The line with every layer word as ``@place`` (``@0``: a number that the board does not have)."""
    for word, place in sorted(layers.own.items(), key=lambda item: -len(item[0])):
        text = re.sub(rf"(?<![a-z0-9]){re.escape(word.replace('_', ' '))}(?![a-z0-9])", f" @{place} ", text)

    def placed(match: re.Match[str]) -> str:
        return f" @{layer_position(match[0], layers.count) or 0} "

    text = _INNER_WORD.sub(placed, text)
    text = re.sub(r"(?<![a-z])(layer|lage)(?=[ _.#:-]*\d)", r"\1 ", text)
    text = re.sub(r"(?<![a-z])(?:ly|l)[ _.-]?(\d{1,2})(?=l\d|[^\w.]|\Z|_)", r" @\1 ", text)
    return _SIDE_WORD.sub(lambda m: " @1 " if m[1] else f" @{layers.count} ", text)


def _runs(text: str, count: int) -> list[tuple[list[int], bool]]:
    """Stretches of layers with nothing but joining words between them, and whether a word such as "layers" leads them.

    A bare number counts only after such a word or beside a layer word.
    """
    out: list[tuple[list[int], bool]] = []
    places: list[int] = []
    named, led, cue = 0, False, False
    for token in [*_TOKEN.findall(text), "stop!"]:
        if token[0] == "@" or token.isdigit():
            named += token[0] == "@"
            led = led or cue
            places.append(int(token.lstrip("@")))
            continue
        if token in _FILLER or not token[0].isalnum():
            cue = cue or token in _CUE_WORDS
            led = led or (bool(places) and token in _CUE_WORDS)
            if not (token in ";|" and places):
                continue
        if places and (led or named > 1):
            out.append((_without_echo(places, count), led))
        places, named, led, cue = [], 0, False, False
    return out


def _without_echo(places: Sequence[int], count: int) -> list[int]:
    """Layers without those said twice running: ``Layer 1 (TOP)``."""
    return [
        place
        for k, place in enumerate(places)
        if not (k and places[k - 1] == place and (place in (1, count) or len(places) > 2))
    ]


def _span_of(places: Sequence[int], count: int) -> tuple[int, int] | None:
    if not all(1 <= place <= count for place in places):
        return None
    if len(places) == 2:
        return ordered(places[0], places[1])
    return (1, count) if list(places) == list(range(1, count + 1)) else None


def _unknown_pair(text: str) -> bool:
    """Whether a line leads with "layers" (or a word of its kind) to names that are no layer words."""
    lead = _LEADS.search(text)
    if lead is None:
        word = _CUE.search(text)
        return word is not None and _two_names(text[word.end() :])
    rest = text[lead.end() :]
    if any(word in lead[0] for word in ("pair", "span", "range", "set")):
        return bool(re.search(r"[a-z0-9]", rest))
    return _two_names(rest)


def _two_names(rest: str) -> bool:
    match = _JOINED.match(rest)
    return match is not None and match[1] not in _FILLER and match[2] not in _FILLER
